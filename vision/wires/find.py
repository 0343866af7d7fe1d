"""Which straight edges are wire: try them, follow the wire to both ends, measure in between."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.results import Scale
from vision.rings.fit import Fit
from vision.rings.others import FRAME_MM
from vision.rings.section import HALF_ROUND, HALF_ROUND_INSIDE, Section
from vision.rings.torus import outlines, ring_angles
from vision.rings.unwrap import WIRE
from vision.scale.camera import Camera
from vision.wires.fit import StretchFit, fit_stretches, settled
from vision.wires.printed import printed
from vision.wires.seeds import Edges, edges_of, guesses_from
from vision.wires.stretch import (
    ANGLE,
    BEND,
    HALF,
    LENGTH,
    X,
    Y,
    axis_of,
    silhouettes,
)

Array = NDArray[np.float64]

LENGTH_LEAST_MM = 15.0
"""Shorter straight wire is not reported."""
RING_RIM = 1.1
"""Edges this near to a ring or coin, in its radii, are its own or its shadow's."""
TRIALS_MOST = 8
"""Edges that may be read in vain."""
HOPE_LEAST = 0.1
"""Presence after the first look at any guess of an edge, under which it is given up."""
PRESENCE_LEAST, SCATTER_MOST = 0.5, 0.04
"""As for rings: by the reader, and scatter of the edges in widths."""
SURE, CONTRAST_LEAST = 0.85, 0.12
"""A piece is wire if the reader is that sure of one of its stretches, and if the stretch differs
from the table by that share of its light (in roots). Grain of wood passes for wire with the reader;
of 150 lines of it all but four differ by less than 0.12, of 207 rendered wires none."""
FAINT_CONTRAST, FAINT_SURE = 0.2, 0.95
"""If it differs by less than this, the reader must be that sure of every stretch."""
NARROWER, NARROWEST = (0.27, 0.4), 0.45
"""Widths of starts along both sides, and greatest width in the end, as shares of the whole, of
narrower wires that may lie there side by side."""
LIKE_TABLE, GAP_SHARE = 0.15, 0.3
"""Greatest difference from the table's light (roots, each channel) of what may be a gap between
them, and the least share of it in the middle two fifths of the whole."""
BOW_LEAST = 50.0
"""Radius, in widths, under which wire is bent, not bowed."""
SAME_WIDTH = 0.1
"""Relative difference in width up to which the wire goes on."""
TURN_MOST = 0.05
"""Angle (radians) by which the wire may differ from its arc, one step ahead."""
FOLLOW_SHARE = 0.6
"""Step with which wire is followed, in the length of the trial."""
ABUT, SHADOW_RELIEF = 1.3, 0.6
"""Strips whose axes are nearer than so many mean widths abut; one whose light spreads less than
this share of the other's across it is a shadow."""
TWIN_SHARE = 0.3
"""Pieces that share so much of their length are one."""
BESIDE = 1.6
"""Edges up to this far from the axis, in widths, belong to the wire or its shadow."""
END_FREE = 1.0
"""Widths that stretches keep clear of the ends."""
WINDOW_MOST, WINDOW_LEAST = 20.0, 3.0
"""Length of a stretch, in widths."""
LOCAL_WIDTHS, LOCAL_MOST = 4.0, 6
"""Least length, in widths, and greatest number of the stretches that tell how the width varies."""
STEP_WIDTHS, BEYOND_WIDTHS = 0.1, 12.0
"""Between cross-cuts in which an end is looked for, and how far."""
CORE = np.linspace(0.12, 0.88, 12)
SIDES = np.array([-0.55, -0.45, -0.35, 1.35, 1.45, 1.55])
"""Lanes on the wire and beside it, in s."""
END_DEPTH, END_RUN = 0.5, 4
"""An end is where the wire differs from the table by less than this share of the usual, for so many
cross-cuts."""
BEND_REACH, BEND_LOOK, BEND_SHARE = 2.5, 1.2, 0.6
"""Beyond an end wire goes on, bent, if within so many widths of it, at an angle of up to so many
radians, some direction is wire for this share of the way."""


Hidden = Callable[[Array], NDArray[np.bool_]]
"""Tells of pixels (n, 2) whether the reference or a ring lies there."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A straight piece of wire: measured stretches and both its ends."""

    fit: StretchFit
    """Of the stretches, in order along the wire."""
    good: NDArray[np.bool_]
    """(n,) which stretches are straight and clear."""
    local: StretchFit
    """Of shorter stretches, read for themselves: how the width varies along the wire."""
    axis_mm: Array
    """(m, 2) the axis on the table from end to end."""
    bent: bool
    """Whether the wire goes on beyond an end, bent."""
    narrower: bool = False
    """Whether narrower wire may be seen along its sides: it may be two, side by side."""

    @property
    def length_mm(self) -> float:
        """From end to end along the axis."""
        return _length(self.axis_mm)

    @property
    def width_mm(self) -> float:
        """Width of the good stretches, each weighed by its length and by how well it was read."""
        which = self.good if self.good.any() else np.ones(len(self.fit), bool)
        weight = self.fit.stretches[which, LENGTH] / self.fit.expected[which] ** 2
        return float(np.average(self.fit.width_mm[which], weights=weight))


def find_wires(
    photo: Photo, lines: Array, scale: Scale, rings: Fit, hides: Callable[[float, float], bool]
) -> list[Piece]:
    """Find the straight pieces of wire, at least 15 mm long.

    Parameters
    ----------
    lines : (n, 2, 2) straight lines in the photo, pixels
    rings : as fitted under `scale.camera`, in whose places no wire is looked for
    hides : whether the reference itself lies at a pixel
    """
    camera, section = scale.camera, lying(rings.section)
    hidden = _hider(scale, rings, hides)
    edges = edges_of(lines, camera, hidden)
    found: list[Piece] = []
    failures = 0
    while len(edges.ends_mm) and failures < TRIALS_MOST:
        index = int(np.argmax(edges.length))
        gone = np.arange(len(edges.ends_mm)) == index
        guesses = _in_the_open(camera, guesses_from(photo, camera, edges.ends_mm[index]), hidden)
        seed = _try(photo, camera, guesses, section, hidden) if len(guesses) else None
        if seed is None:
            failures += len(guesses) > 0
        else:
            piece = _piece(photo, camera, seed, section)
            gone |= _beside(edges, seed, piece)
            if piece is not None and _is_wire(photo, camera, piece):
                found.append(piece)
        edges = edges.without(gone)
    found = _without_shadows(_without_twins(found))
    flat = printed([piece.fit.planes for piece in found], rings.planes)
    return [piece for piece, print_ in zip(found, flat, strict=True) if not print_]


def lying(section: Section) -> Section:
    """The section of straight wire: half-round wire lies on its flat side."""
    return HALF_ROUND if section is HALF_ROUND_INSIDE else section


def _hider(scale: Scale, rings: Fit, hides: Callable[[float, float], bool]) -> Hidden:
    """Tell of pixels (n, 2) whether the reference or a ring lies there."""
    known = np.zeros((0, 2))
    reach = np.zeros(0)
    if len(rings):
        _, outer = outlines(scale.camera, rings.tori, ring_angles(32), rings.section)
        known = outer.mean(axis=1)
        reach = RING_RIM * np.hypot(*np.moveaxis(outer - known[:, None], -1, 0)).max(axis=1)
    margin = FRAME_MM / scale.mm_per_px

    def hidden(points: Array) -> NDArray[np.bool_]:
        apart = np.hypot(*(points[:, None] - known[None]).transpose(2, 0, 1))
        at_ring = (apart < reach).any(axis=1)
        if scale.outline_px is not None and scale.work_px is None:
            middle = scale.outline_px.mean(axis=0)
            rim = np.hypot(*(scale.outline_px - middle).T).max()
            return np.asarray(at_ring | (np.hypot(*(points - middle).T) < RING_RIM * rim))
        if scale.work_px is not None:
            work = scale.work_px.astype(np.float32)
            inside = [cv2.pointPolygonTest(work, (float(x), float(y)), True) for x, y in points]
            return np.asarray(at_ring | (np.array(inside) < margin))
        return np.asarray(at_ring | np.array([hides(float(x), float(y)) for x, y in points], bool))

    return hidden


def _without_twins(pieces: list[Piece]) -> list[Piece]:
    """Of pieces that share their metal keep the longest."""
    kept: list[Piece] = []
    for piece in sorted(pieces, key=lambda one: -one.length_mm):
        if not any(_share_metal(piece, other) for other in kept):
            kept.append(piece)
    return kept


def _without_shadows(pieces: list[Piece]) -> list[Piece]:
    """Of two strips side by side leave out the one that is nearly even: the other's hard shadow."""
    reliefs = [_relief(piece) for piece in pieces]
    return [
        piece
        for piece, relief in zip(pieces, reliefs, strict=True)
        if not any(
            other is not piece and relief < SHADOW_RELIEF * its and _side_by_side(piece, other)
            for other, its in zip(pieces, reliefs, strict=True)
        )
    ]


def _relief(piece: Piece) -> float:
    """Spread of light across the wire, in roots of light relative to the table."""
    light = piece.fit.planes[:, :3].mean(axis=1, dtype=float)
    core = light[:, :, (CORE[0] < WIRE.s) & (CORE[-1] > WIRE.s)]
    return float(np.median(core.std(axis=2)))


def _side_by_side(one: Piece, other: Piece) -> bool:
    """Whether the greater part of `one` lies along `other` without room between them."""
    apart = np.hypot(*(one.axis_mm[:, None] - other.axis_mm[None]).transpose(2, 0, 1)).min(axis=1)
    return float(np.mean(apart < ABUT * (one.width_mm + other.width_mm) / 2.0)) > 0.5


def _share_metal(one: Piece, other: Piece) -> bool:
    apart = np.hypot(*(one.axis_mm[:, None] - other.axis_mm[None]).transpose(2, 0, 1)).min(axis=1)
    near = 0.4 * (one.width_mm + other.width_mm)
    return float(np.mean(apart < near)) > TWIN_SHARE


def _in_the_open(camera: Camera, stretches: Array, hidden: Hidden) -> Array:
    """Those of the stretches (n, 6) whose axes do not run in the place of a ring or coin."""
    axes = axis_of(stretches, np.array([-0.35, 0.0, 0.35]))[0]
    points = camera.project(np.concatenate([axes, np.zeros((*axes.shape[:2], 1))], axis=-1))
    open_: Array = stretches[~hidden(points.reshape(-1, 2)).reshape(-1, 3).all(axis=1)]
    return open_


def _try(
    photo: Photo, camera: Camera, guesses: Array, section: Section, hidden: Hidden
) -> Array | None:
    """The stretch (6,) of wire among guesses (n, 6), if any."""
    fit = fit_stretches(photo, camera, guesses, rounds=1, section=section, once=True)
    if fit.presence.max() < HOPE_LEAST:
        return None
    fit = fit.chosen(np.argsort(-fit.worth)[:2])
    fit = fit_stretches(photo, camera, fit.stretches, rounds=2, section=section, once=True)
    best = fit.chosen(np.array([np.argmax(fit.worth)]))
    if not _is_sure(best) or not len(_in_the_open(camera, best.stretches, hidden)):
        return None
    best = settled(photo, camera, best.stretches, section)
    if not _is_sure(best) or _contrast(photo, camera, best.stretches[0], section) < CONTRAST_LEAST:
        return None
    seed: Array = best.stretches[0]
    return seed


def _is_sure(fit: StretchFit) -> bool:
    """Whether the first stretch is straight wire without doubt."""
    return bool(_straight(fit)[0]) and bool(fit.presence[0] > SURE)


def _straight(fit: StretchFit) -> NDArray[np.bool_]:
    """Which stretches (n,) are wire, and straight enough."""
    bow = np.abs(fit.stretches[:, BEND]) * fit.width_mm * BOW_LEAST
    straight: NDArray[np.bool_] = (
        (fit.presence > PRESENCE_LEAST) & (fit.scatter < SCATTER_MOST) & (bow < 1.0)
    )
    return straight


def is_clear(fit: StretchFit) -> NDArray[np.bool_]:
    """Which stretches (n,) are straight wire that lies wholly inside the picture."""
    clear: NDArray[np.bool_] = _straight(fit) & (fit.clear.min(axis=1) > 0.99)
    return clear


def _piece(photo: Photo, camera: Camera, seed: Array, section: Section) -> Piece | None:
    """Follow wire from a stretch of it to both ends, and measure in between."""
    back = _follow(photo, camera, _turned_round(seed), section)
    ahead = _follow(photo, camera, seed, section)
    last = _end_beyond(photo, camera, ahead[-1], section)
    first = _end_beyond(photo, camera, back[-1], section)
    chain = np.array([_turned_round(row) for row in back[:0:-1]] + ahead)
    axis = _axis_through(chain, first, last)
    width = 2.0 * float(np.median(chain[:, HALF]))
    usable = _length(axis) - 2.0 * END_FREE * width
    if usable < WINDOW_LEAST * width:
        return None
    count = int(np.ceil(usable / (WINDOW_MOST * width)))
    fit = settled(photo, camera, _windows(axis, width, count), section)
    width = float(np.average(fit.width_mm, weights=fit.presence))
    shorter = int(np.clip(usable / (LOCAL_WIDTHS * width), 1, LOCAL_MOST))
    local = _windows(axis, width, shorter)
    return Piece(
        fit=fit,
        good=is_clear(fit),
        local=fit_stretches(photo, camera, local, rounds=1, section=section),
        axis_mm=axis,
        narrower=_holds_narrower(photo, camera, fit, section),
        bent=any(
            _goes_on(photo, camera, end, section)
            for end in (_at_end(ahead[-1], last), _at_end(back[-1], first))
        ),
    )


def _is_wire(photo: Photo, camera: Camera, piece: Piece) -> bool:
    """Whether a piece is long enough, and differs from grain and creases of the table."""
    best = int(np.argmax(piece.fit.presence))
    contrast = _contrast(photo, camera, piece.fit.stretches[best], piece.fit.section)
    faint = contrast < FAINT_CONTRAST and piece.fit.presence.min() < FAINT_SURE
    sure = piece.fit.presence[best] > SURE and contrast > CONTRAST_LEAST and not faint
    return piece.length_mm >= LENGTH_LEAST_MM and bool(sure)


def _contrast(photo: Photo, camera: Camera, stretch: Array, section: Section) -> float:
    """By which share of its light (in roots) the table differs from what lies on it."""
    core, table = _looks(photo, camera, stretch, np.linspace(-0.45, 0.45, 41), section)
    return float(np.median(_rms(core - table)) / max(float(np.median(table)), 1e-3))


def _holds_narrower(photo: Photo, camera: Camera, fit: StretchFit, section: Section) -> bool:
    """Whether the reader, started along both sides, sees a narrower wire along each."""
    best = int(np.argmax(fit.presence))
    lanes = fit.planes[best, :3][:, :, (WIRE.s > 0.3) & (WIRE.s < 0.7)].mean(axis=1)
    if np.mean(np.abs(lanes - 1.0).max(axis=0) < LIKE_TABLE) < GAP_SHARE:
        return False
    whole = fit.stretches[best]
    width, rows = 2.0 * whole[HALF], []
    for share in NARROWER:
        for side in (-1.0, 1.0):
            row = whole.copy()
            aside = side * (1.0 - share) * whole[HALF]
            row[X] += aside * np.sin(whole[ANGLE])
            row[Y] -= aside * np.cos(whole[ANGLE])
            row[HALF] *= share
            row[LENGTH] = min(whole[LENGTH], 9.0 * share * width)
            rows.append(row)
    tried = fit_stretches(photo, camera, np.array(rows), rounds=2, section=section, once=True)
    narrow = _straight(tried) & (tried.width_mm < NARROWEST * width)
    return bool(np.any(narrow.reshape(len(NARROWER), 2).all(axis=1)))


def _turned_round(stretch: Array) -> Array:
    """The same stretch from its other end."""
    turned = stretch.copy()
    turned[ANGLE] += np.pi
    turned[BEND] *= -1.0
    return turned


def _follow(photo: Photo, camera: Camera, seed: Array, section: Section) -> list[Array]:
    """Stretches along the wire, the first one `seed`, until it ends or bends."""
    chain = [seed]
    while True:
        ahead = _shifted(chain[-1], FOLLOW_SHARE)
        if _outside(photo, camera, ahead):
            return chain
        there = _next(photo, camera, seed, ahead, section)
        if there is None:
            return chain
        chain.append(there)


def _next(
    photo: Photo, camera: Camera, seed: Array, ahead: Array, section: Section
) -> Array | None:
    """The stretch that was expected ahead, if wire like the seed's lies there.

    A second look helps where the first one came from too far aside.
    """
    here = ahead
    for _ in range(2):
        fit = fit_stretches(photo, camera, here[None], rounds=1, section=section, once=True)
        here = fit.stretches[0]
        same = abs(here[HALF] / seed[HALF] - 1.0) < SAME_WIDTH
        turned = abs(here[ANGLE] - ahead[ANGLE]) > TURN_MOST
        if bool(_straight(fit)[0]) and same and not turned:
            found: Array = here
            return found
    return None


def _shifted(stretch: Array, share: float) -> Array:
    """The stretch that follows along the same arc, `share` of its length further."""
    there = stretch.copy()
    there[[X, Y]] = axis_of(stretch[None], np.array([share]))[0][0, 0]
    there[ANGLE] += stretch[BEND] * share * stretch[LENGTH]
    return there


def _outside(photo: Photo, camera: Camera, stretch: Array) -> bool:
    middle = camera.project(np.array([stretch[X], stretch[Y], 0.0]))
    return bool(np.any(middle < 2.0) or np.any(middle > np.array(photo.size) - 3.0))


def _end_beyond(photo: Photo, camera: Camera, stretch: Array, section: Section) -> float:
    """Where the wire ends: way along the stretch's arc from its middle, in its lengths."""
    width = 2.0 * stretch[HALF]
    reach = 0.5 + BEYOND_WIDTHS * width / stretch[LENGTH]
    places = np.arange(-0.5, reach, STEP_WIDTHS * width / stretch[LENGTH])
    core, table = _looks(photo, camera, stretch, places, section)
    sure = places < 0.0
    from_table = _rms(core - table)
    from_wire = _rms(core - np.median(core[sure], axis=0))
    # A shadow beyond the end differs from the table too, but more from the wire.
    off = (from_table < END_DEPTH * np.median(from_table[sure])) | (from_table < from_wire)
    runs = np.convolve(off.astype(int), np.ones(END_RUN, int))[END_RUN - 1 :] == END_RUN
    ends = np.flatnonzero(runs & (places > -0.3))
    return float(places[ends[0]]) if len(ends) else 0.5


def _looks(
    photo: Photo, camera: Camera, stretch: Array, places: Array, section: Section
) -> tuple[Array, Array]:
    """Light on the wire (m, 12, 3) and of the table beside it (m, 1, 3), as square roots."""
    left, right = (line[0] for line in silhouettes(camera, stretch[None], places, section))
    lanes = np.concatenate([CORE, SIDES])
    points = left[:, None] + lanes[None, :, None] * (right - left)[:, None]
    light = np.sqrt(np.maximum(photo.sample(points), 0.0)).astype(float)
    core, beside = light[:, : len(CORE)], light[:, len(CORE) :]
    return core, np.median(beside, axis=1, keepdims=True)


def _rms(light: Array) -> Array:
    """Root of the mean square (m,) over lanes and channels."""
    mean: Array = np.sqrt(np.mean(light**2, axis=(1, 2)))
    return mean


def _at_end(stretch: Array, end: float) -> Array:
    """A short stretch whose far end is the wire's end."""
    there = _shifted(stretch, end)
    there[LENGTH] = 2.0 * stretch[HALF]
    return there


def _goes_on(photo: Photo, camera: Camera, end: Array, section: Section) -> bool:
    """Whether wire goes on from an end, at an angle."""
    width = end[LENGTH]
    back = _shifted(end, -1.5)
    places = np.linspace(-1.0, 1.0, 21)
    core, table = _looks(photo, camera, back, places[:11] / 2, section)
    usual = float(np.median(_rms(core - table)))
    for turn in np.linspace(-BEND_LOOK, BEND_LOOK, 13):
        there = end.copy()
        there[ANGLE] += turn
        there[BEND] = 0.0
        there[LENGTH] = width
        ahead = np.linspace(0.6, BEND_REACH, 16)
        core, table = _looks(photo, camera, there, ahead, section)
        if float(np.mean(_rms(core - table) > END_DEPTH * usual)) > BEND_SHARE:
            return True
    return False


def _axis_through(chain: Array, first: float, last: float) -> Array:
    """Axis (m, 2) through stretches in order, from end to end, as smooth as a cubic."""
    steps = np.linspace(-0.4, 0.4, 9)
    points = np.concatenate(axis_of(chain, steps)[0])
    start = axis_of(_turned_round(chain[0])[None], np.array([first]))[0][0, 0]
    end = axis_of(chain[-1:], np.array([last]))[0][0, 0]
    way = (end - start) / np.hypot(*(end - start))
    left = np.array([-way[1], way[0]])
    along, aside = (points - start) @ way, (points - start) @ left
    smooth = np.polynomial.Polynomial.fit(along, aside, min(3, 1 + len(chain)))
    length = float((end - start) @ way)
    place = np.linspace(0.0, length, max(9, int(length / 0.5)))
    axis: Array = start + place[:, None] * way + smooth(place)[:, None] * left
    return axis


def _length(line: Array) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _windows(axis: Array, width: float, count: int) -> Array:
    """As many stretches (n, 6), which abut along the axis, clear of both ends."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(axis, axis=0).T))])
    usable = float(along[-1]) - 2.0 * END_FREE * width
    cuts = END_FREE * width + usable * np.arange(count + 1) / count

    def at(place: Array) -> Array:
        return np.column_stack([np.interp(place, along, axis[:, k]) for k in (0, 1)])

    starts, middles, ends = at(cuts[:-1]), at((cuts[:-1] + cuts[1:]) / 2.0), at(cuts[1:])
    chord = ends - starts
    length = np.hypot(*chord.T)
    way = chord / length[:, None]
    # The middle of an arc lies aside its chord by bend * length^2 / 8.
    sag = np.sum((middles - (starts + ends) / 2.0) * np.column_stack([-way[:, 1], way[:, 0]]), 1)
    bend = -8.0 * sag / length**2
    angle = np.arctan2(way[:, 1], way[:, 0])
    half = np.full(count, width / 2.0)
    return np.column_stack([middles, angle, half, bend, length])


def _beside(edges: Edges, seed: Array, piece: Piece | None) -> NDArray[np.bool_]:
    """Which edges lie along a piece, or along the stretch it was to grow from."""
    axis = (
        piece.axis_mm if piece is not None else axis_of(seed[None], np.linspace(-0.5, 0.5, 9))[0][0]
    )
    width = 2.0 * seed[HALF]
    middles = edges.ends_mm.mean(axis=1)
    apart = np.hypot(*(middles[:, None] - axis[None]).transpose(2, 0, 1)).min(axis=1)
    beside: NDArray[np.bool_] = apart < BESIDE * width
    return beside
