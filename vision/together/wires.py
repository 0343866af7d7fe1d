"""Straight pieces of wire that several photos show: one width from all of them.

Wire has no other side whose error cancels: what one lamp does to it in one photo it does not do in
the next one only if the piece, or the lamp, was turned. How far the photos are apart tells.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from vision.batch.sample import APART
from vision.results import Quantity, Result, Status, Wire
from vision.together.agree import RISK, widening
from vision.together.doubts import chance_of, joint_parts, new_in_photo
from vision.together.places import Match, Move, place_tolerance
from vision.trade.gauges import System
from vision.wires.record import near_gauge

Array = NDArray[np.float64]

TURN_MOST = 0.05
"""Angle (radians) between pieces that may be one."""
OVERLAP_LEAST = 0.6
"""Share of the shorter one's length that both must have in common."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JoinedWire:
    """One piece of wire: what each photo says, and what all say."""

    number: int
    """In the first photo, and in the combined result."""
    seen: tuple[Wire | None, ...]
    """By photo; None where it is not at its place. May be unusable."""
    combined: Wire


def join_wires(results: Sequence[Result], matches: Sequence[Match]) -> tuple[JoinedWire, ...]:
    """Combine what photos of the same rings say of the pieces of wire beside them.

    Parameters
    ----------
    results : the photos; pieces are those of the first one
    matches : how each photo lies over the first one
    """
    laid = [
        [_laid(wire, result, each.move) for wire in result.wires]
        for result, each in zip(results, matches, strict=True)
    ]
    joined = []
    for mine, wire in zip(laid[0], results[0].wires, strict=True):
        seen = [
            _same_piece(mine, lines, result.wires)
            for lines, result in zip(laid[1:], results[1:], strict=True)
        ]
        row = (wire, *seen)
        joined.append(
            JoinedWire(number=wire.number, seen=row, combined=_combined(wire, row, results))
        )
    return tuple(joined)


def _laid(wire: Wire, result: Result, move: Move) -> Array:
    """Both ends (2, 2) mm of a piece on the table of the first photo."""
    height = wire.wire_mm.value / 2.0 if wire.wire_mm else 0.0
    return move.applied(result.scale.camera.to_plane(np.array(wire.ends_px), height))


def _same_piece(mine: Array, lines: Sequence[Array], wires: Sequence[Wire]) -> Wire | None:
    """The piece that lies where `mine` (2, 2) lay, if any."""
    length = float(np.hypot(*(mine[1] - mine[0])))
    way = (mine[1] - mine[0]) / length
    left = np.array([-way[1], way[0]])
    best, found = float(place_tolerance(mine.mean(axis=0)[None])[0]), None
    for line, wire in zip(lines, wires, strict=True):
        step = line[1] - line[0]
        turn = abs(float(left @ step)) / float(np.hypot(*step))
        off = abs(float(left @ (line.mean(axis=0) - mine.mean(axis=0))))
        first, last = sorted((line - mine[0]) @ way)
        common = min(last, length) - max(first, 0.0)
        if turn < TURN_MOST and off <= best and common > OVERLAP_LEAST * min(last - first, length):
            best, found = off, wire
    return found


def _combined(wire: Wire, row: Sequence[Wire | None], results: Sequence[Result]) -> Wire:
    """A piece of the first photo with what all photos say of its width."""
    there = [
        (each, each.wire_mm, result)
        for each, result in zip(row, results, strict=True)
        if each is not None and each.wire_mm is not None
    ]
    if not there:
        return wire
    source, quantity, result = there[0]
    said = [text for each, _, _ in there for text in each.warnings]
    if len(there) == 1:
        said.append(f"measured in {result.photo.file} only: nothing to combine")
    else:
        quantities = [each for _, each, _ in there]
        joint = _joint(quantities, [each for _, _, each in there])
        if joint is None:
            widths = ", ".join(f"{r.photo.file} {q.value:.2f}" for _, q, r in there)
            return replace(
                wire,
                status=Status.UNUSABLE,
                reasons=(f"the photos disagree about its width ({widths}): lit badly in one",),
                warnings=(),
                wire_mm=None,
                variation_mm=None,
                awg=None,
                swg=None,
            )
        quantity = joint
    return replace(
        wire,
        status=Status.MEASURED,
        reasons=(),
        warnings=tuple(dict.fromkeys(said)),
        wire_mm=quantity,
        variation_mm=source.variation_mm,
        awg=near_gauge(quantity.value, System.AWG),
        swg=near_gauge(quantity.value, System.SWG),
    )


def _joint(each: Sequence[Quantity], results: Sequence[Result]) -> Quantity | None:
    """The weighted mean of several readings; None where chance does not explain how they differ."""
    values = np.array([quantity.value for quantity in each])
    chance = np.array([chance_of(quantity) for quantity in each])
    new = [new_in_photo(q, "wire_mm", r) for q, r in zip(each, results, strict=True)]
    alone = np.hypot(chance, [math.hypot(*one.values()) for one in new])
    share = chance**-2.0 / np.sum(chance**-2.0)
    value = float(share @ values)
    squares = float(np.sum(((values - value) / alone) ** 2))
    degrees = len(values) - 1
    if squares > float(special.chdtri(degrees, RISK)):
        return None
    parts = joint_parts("wire_mm", each, results, share)
    parts[APART] = widening(squares, degrees) * float(np.linalg.norm(share * chance))
    return Quantity(value=value, parts=parts)
