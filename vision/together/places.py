"""Which ring of one photo is which of another: by its place on the sheet or around the coin."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.errors import VisionError
from vision.results import COVERAGE_FACTOR, Result, Ring, Status

Array = NDArray[np.float64]
Index = NDArray[np.intp]

NEAR_MM, NEAR_REL = 0.3, 0.01
"""How far a ring may seem to lie from its place: a tenth of the smallest ring's size, and what a
doubtful tilt shifts at this distance from the coin or from the sheet's middle (0.4 degrees at 50 mm
seen from 150 mm: 0.12 mm; the scale's 0.4 %: 0.2 mm)."""

COIN_OFF_MM = 3.0
"""How far from its place a coin may be seen: a rim traced along a hard shadow was 1.4 mm off."""

SIZE_FACTOR = 2.0
"""Sizes farther apart than this many times their U are of different rings, when places are still
to be found. Generous: swapped rings are told later, with the photos' own scatter."""

RIVAL = 0.6
"""Share of the best match's score from which another way to lay the rings over each other is too
good to be left out. Rings strewn by hand reach 0.2; a grid of equal rings reaches 1."""

LEAST_SHARE = 0.5
"""Share of the rings of the poorer photo that must be found again: else they are other rings."""


class TogetherError(VisionError):
    """The photos do not show the same rings, or do not let themselves be laid over each other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A turn about the origin, then a shift; never a mirroring."""

    turn_rad: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)

    def applied(self, places: Array) -> Array:
        """Where places (n, 2) come to lie."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        moved: Array = places @ np.array([[cos, sin], [-sin, cos]]) + self.shift_mm
        return moved


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Match:
    """How one photo's rings lie over another's."""

    move: Move
    """What lays the second photo's places over the first's; nothing on a sheet."""
    pairs: tuple[tuple[int, int], ...]
    """Positions in `rings` of the first and of the second result, of rings with a place."""


def match(first: Result, other: Result) -> Match:
    """Find each ring of the first photo again in another.

    On a sheet a ring is known by its place on the sheet. Around a coin the turn is unknown; the
    coin is the middle, unless its rim was taken for its shadow's, and a table seen from above is
    never mirrored. All moves that bring a ring and the coin, or two rings far apart, over others
    that may be the same are tried. The one with the most rings in place wins, if no other comes
    near it.

    Raises
    ------
    TogetherError
        Different or unsuitable references, too few rings in place, or more than one way to lay the
        rings over each other.
    """
    _check_references(first, other)
    move = _move_between(first, other) if first.scale.kind == "coin" else Move()
    pairs = _mutual(_places(first.rings), move.applied(_places(other.rings)))
    known = [
        (i, k)
        for i, k in pairs
        if Status.MEASURED in (first.rings[i].status, other.rings[k].status)
    ]
    both = sum(_is_pair(first.rings[i], other.rings[k]) for i, k in known)
    if both < _least(first, other):
        raise TogetherError(
            f"{other.photo.file} does not show the same rings as {first.photo.file}: "
            f"{both} of {len(other.measured)} lie where rings lay",
            hint="leave the rings untouched between the photos: turn the sheet under them, move "
            "the camera or the lamp; measure other rings without --same-rings",
        )
    return Match(move=move, pairs=tuple(known))


def _least(first: Result, other: Result) -> float:
    """How many rings must be found again."""
    return max(1.0, LEAST_SHARE * min(len(first.measured), len(other.measured)))


def _check_references(first: Result, other: Result) -> None:
    mine, theirs = ((r.scale.kind, r.scale.reference) for r in (first, other))
    if mine != theirs:
        raise TogetherError(
            f"the photos have different references: {' '.join(mine)} in {first.photo.file}, "
            f"{' '.join(theirs)} in {other.photo.file}",
            hint="take all photos of the same rings with the same coin or the same sheet",
        )
    if mine[0] not in ("coin", "sheet"):
        raise TogetherError(
            "a stated scale does not tell which ring is which: a place in the picture is no "
            "place on the table",
            hint="lay a coin among the rings and name it with --coin, or use the printed sheet",
        )


def _is_pair(one: Ring, two: Ring) -> bool:
    return one.status is two.status is Status.MEASURED and not _sizes_clash(one, two)


def _sizes_clash(one: Ring, two: Ring) -> bool:
    for name in ("wire_mm", "id_mm"):
        a, b = getattr(one, name), getattr(two, name)
        if abs(a.value - b.value) > SIZE_FACTOR * COVERAGE_FACTOR * np.hypot(a.u, b.u):
            return True
    return False


def _places(rings: Sequence[Ring]) -> Array:
    """Centres (n, 2) mm; NaN for rings that have none."""
    return np.array(
        [ring.center_mm if ring.center_mm is not None else (np.nan, np.nan) for ring in rings]
    ).reshape(-1, 2)


def place_tolerance(places: Array) -> Array:
    """How far (n,) mm a ring may seem to lie from its place."""
    return NEAR_MM + NEAR_REL * np.hypot(places[:, 0], places[:, 1])


def _mutual(first: Array, other: Array) -> list[tuple[int, int]]:
    """Pairs that are each other's nearest, and near enough."""
    if not len(first) or not len(other):
        return []
    apart = np.hypot(*(first[:, None] - other[None]).transpose(2, 0, 1))
    apart = np.where(np.isfinite(apart), apart, np.inf)
    to, back = apart.argmin(axis=1), apart.argmin(axis=0)
    near = place_tolerance(first)
    return [(i, int(k)) for i, k in enumerate(to) if back[k] == i and apart[i, k] <= near[i]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Laid:
    """One way to lay one photo's rings over another's."""

    move: Move
    pairs: frozenset[tuple[int, int]]
    score: float
    """Rings in place, each counted less the farther it is off."""


def _move_between(first: Result, other: Result) -> Move:
    """The move that lays the other photo's rings over the first's, the coin nearly on itself."""
    mine, theirs = first.measured, other.measured
    if not mine or not theirs:
        raise TogetherError(
            f"no measured ring in {(other if mine else first).photo.file}",
            hint="spread the rings, each for itself and flat, and take the photo again",
        )
    a, b = _places(mine), _places(theirs)
    alike = np.array([[not _sizes_clash(one, two) for two in theirs] for one in mine])
    ways = [_lay(a, b, alike, move) for move in _moves(a, b, alike)]
    ways = [_lay(a, b, alike, _fitted(a, b, way.pairs)) for way in ways if way.pairs]
    if not ways:
        return Move()
    best = max(ways, key=lambda way: way.score)
    if len(best.pairs) < _least(first, other):
        return best.move
    rivals = [
        way
        for way in ways
        if way.score > RIVAL * best.score and 2 * len(way.pairs & best.pairs) < len(best.pairs)
    ]
    if rivals:
        away = max(rivals, key=lambda way: way.score)
        turn = (away.move.turn_rad - best.move.turn_rad + np.pi) % (2 * np.pi) - np.pi
        raise TogetherError(
            f"the rings around the coin lie too evenly to tell which is which in "
            f"{other.photo.file}: turned by {abs(np.degrees(turn)):.0f} degrees they fit as well "
            f"({len(away.pairs)} rings in place, {len(best.pairs)} otherwise)",
            hint="strew the rings instead of laying them in rows, or use the printed sheet, on "
            "which each ring is known by its place",
        )
    return best.move


def _moves(a: Array, b: Array, alike: NDArray[np.bool_]) -> list[Move]:
    """Moves that bring the coin (the origin) and a ring, or two rings, over their likes.

    Each ring of the first photo and the one farthest from it make a long line; every line of the
    same length in the other photo, whose ends are alike, may be the same one.
    """
    i, k = np.nonzero(
        alike & (_apart(np.hypot(*a.T), np.hypot(*b.T)) <= place_tolerance(a)[:, None])
    )
    turns = np.arctan2(a[i, 1], a[i, 0]) - np.arctan2(b[k, 1], b[k, 0])
    moves = [Move(turn_rad=float(turn)) for turn in turns]
    if min(len(a), len(b)) < 2:
        return moves
    lengths_b = np.hypot(*(b[:, None] - b[None]).transpose(2, 0, 1))
    between = np.hypot(*(a[:, None] - a[None]).transpose(2, 0, 1))
    for one, two in enumerate(between.argmax(axis=1)):
        length = between[one, two]
        same = np.abs(lengths_b - length) <= NEAR_MM + NEAR_REL * length
        for p, q in np.argwhere(same & alike[one][:, None] & alike[two][None]):
            move = _fitted(a, b, frozenset({(one, int(p)), (int(two), int(q))}))
            if p != q and math.hypot(*move.shift_mm) <= COIN_OFF_MM:
                moves.append(move)
    distinct = {(round(m.turn_rad * 500), *(round(5 * s) for s in m.shift_mm)): m for m in moves}
    return list(distinct.values())


def _apart(a: Array, b: Array) -> Array:
    difference: Array = np.abs(a[:, None] - b[None])
    return difference


def _lay(a: Array, b: Array, alike: NDArray[np.bool_], move: Move) -> _Laid:
    near = place_tolerance(a)
    moved = move.applied(b)
    apart = np.hypot(_apart(a[:, 0], moved[:, 0]), _apart(a[:, 1], moved[:, 1]))
    apart = np.where(alike, apart, np.inf)
    to, back = apart.argmin(axis=1), apart.argmin(axis=0)
    rows = np.arange(len(a))
    held = (back[to] == rows) & (apart[rows, to] <= near)
    off = apart[rows, to][held] / near[held]
    return _Laid(
        move=move,
        pairs=frozenset((int(row), int(to[row])) for row in rows[held]),
        score=float(np.sum(1.0 - off**2)),
    )


def _fitted(a: Array, b: Array, pairs: frozenset[tuple[int, int]]) -> Move:
    """The move that fits all pairs best (least squares); one pair turns about the coin alone."""
    one, two = (np.array(side) for side in zip(*sorted(pairs), strict=True))
    p, q = a[one], b[two]
    middle_p, middle_q = (
        (p.mean(axis=0), q.mean(axis=0)) if len(p) > 1 else (np.zeros(2), np.zeros(2))
    )
    p, q = p - middle_p, q - middle_q
    cross = float(np.sum(q[:, 0] * p[:, 1] - q[:, 1] * p[:, 0]))
    turn = Move(turn_rad=math.atan2(cross, float(np.sum(q * p))))
    x, y = middle_p - turn.applied(middle_q[None])[0]
    return Move(turn_rad=turn.turn_rad, shift_mm=(float(x), float(y)))
