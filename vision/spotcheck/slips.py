"""Single wild readings: which they are, and what slip of hand or eye would explain them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.batch.read import Shot
from vision.results import Ring
from vision.spotcheck.caliper import Caliper, Reading, What, quantity_of
from vision.spotcheck.model import Table, tabulate

Array = NDArray[np.float64]

MM_PER_INCH = 25.4

SUSPECT = 0.01
"""Chance of calling any reading wild when none is."""
MOST_WILD = 1.0 / 3.0
"""Share of wild readings above which it is not they that are wild."""
WIDE_SCALE, WIDE_RIM_MM = 0.03, 0.1
"""Standard deviations of scale and rim faults that are no reason to call a reading wild."""
GROSS_REL = 0.35
"""Distance from the photo, relative, that no fault of a photo explains: the wrong coin makes up to
a quarter."""
UNIT_REL = 0.06
"""Nearness to the expected length, relative, that makes a wrong unit or decimal place likely."""
FITS_MM = 0.06
"""Nearness to another length that makes it likely that this one was read instead."""
DIGITS_MM = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
"""Steps by which a digit is misread on a scale or display."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wild:
    """A reading that does not belong to the others, and what may have happened."""

    reading: Reading
    expected_mm: float
    """What the photo says."""
    guess: str


def find_wild(
    shots: Sequence[Shot], readings: Sequence[Reading], caliper: Caliper
) -> tuple[tuple[Reading, ...], tuple[Wild, ...]]:
    """Part the readings into those that fit together and those that are wild.

    A reading in the wrong unit, or far off in any other way, is wild by itself. Then each reading
    is predicted from all the others, with room for any common fault of the photo (that is a
    finding, not a slip); the least likely one goes, and all are judged again. When single readings
    fit, the repeats of a length are judged together, then the readings of a ring.

    Returns
    -------
    kept, wild : in the order given; together they are all readings.
    """
    out = {k for k, reading in enumerate(readings) if _gross(reading, _photo_mm(shots, reading))}
    kept = [k for k in range(len(readings)) if k not in out]
    while kept:
        table = tabulate(shots, [readings[k] for k in kept], caliper, trusting=False)
        worst = _worst(table)
        if worst is None:
            break
        out.update(kept[k] for k in worst)
        kept = [index for k, index in enumerate(kept) if k not in worst]
    wild_rings = _whole_rings(readings, out)
    fault = _common_fault(shots, [readings[k] for k in kept], caliper)
    wild = tuple(
        Wild(
            reading=readings[index],
            expected_mm=_photo_mm(shots, readings[index]),
            guess=guess_slip(shots, readings[index], wild_rings.get(index, []), fault),
        )
        for index in sorted(out)
    )
    return tuple(readings[index] for index in kept), wild


def _worst(table: Table) -> list[int] | None:
    """Places of the least likely reading, group or ring; None where all fit together."""
    from scipy import stats

    room = np.diag([WIDE_SCALE**2, WIDE_RIM_MM**2])
    precision = np.linalg.inv(table.own + table.design @ room @ table.design.T)
    pull = precision @ table.difference_mm
    for sets in _sets(table):
        best, least = None, math.log(SUSPECT / max(len(sets), 1))
        for members in sets:
            block = precision[np.ix_(members, members)]
            # What the others do not predict, weighed by its covariance, the inverse of the block.
            square = float(pull[members] @ np.linalg.solve(block, pull[members]))
            chance = float(stats.chi2.logsf(square, len(members)))
            if chance < least:
                best, least = members, chance
        if best is not None:
            return best
    return None


def _sets(table: Table) -> list[list[list[int]]]:
    """Every reading alone; every set of repeats; every ring with more than one length."""
    repeats: dict[object, list[int]] = {}
    rings: dict[object, list[int]] = {}
    for k, reading in enumerate(table.readings):
        repeats.setdefault((reading.photo, reading.ring, reading.what), []).append(k)
        rings.setdefault((reading.photo, reading.ring), []).append(k)
    singles = [[k] for k in range(len(table.readings))]
    kinds = (singles, list(repeats.values()), list(rings.values()))
    # All readings together have nothing to be compared with but the photo itself.
    return [[members for members in sets if len(members) < len(singles)] for sets in kinds]


def _whole_rings(readings: Sequence[Reading], out: set[int]) -> dict[int, list[Reading]]:
    """For each wild reading: the ring's readings, if two lengths of it are wild."""
    whole: dict[int, list[Reading]] = {}
    for index in out:
        ring = (readings[index].photo, readings[index].ring)
        mates = [readings[k] for k in out if (readings[k].photo, readings[k].ring) == ring]
        if len({mate.what for mate in mates}) > 1:
            whole[index] = mates
    return whole


def _photo_mm(shots: Sequence[Shot], reading: Reading) -> float:
    ring = next(r for r in shots[reading.photo].measured if r.number == reading.ring)
    return quantity_of(ring, reading.what).value


def guess_slip(
    shots: Sequence[Shot],
    reading: Reading,
    mates: Sequence[Reading] = (),
    fault: tuple[float, float] = (0.0, 0.0),
) -> str:
    """Name the slip that explains a wild reading best.

    Parameters
    ----------
    mates : the wild readings of its ring, where two lengths of it are wild
    fault : scale and rim that the other readings show; lengths are expected to have both
    """
    value, rings = reading.value_mm, shots[reading.photo].measured
    ring = next(r for r in rings if r.number == reading.ring)

    def true_mm(of: Ring, what: What) -> float:
        return quantity_of(of, what).value * (1.0 + fault[0]) + what.rim * fault[1]

    expected = true_mm(ring, reading.what)
    if slip := _unit_slip(reading, expected):
        return slip
    for what in What:
        if what is not reading.what and abs(value - true_mm(ring, what)) < FITS_MM:
            return f"this is its {what.label}: the wrong length was read or written down?"
    mine = mates or [reading]
    off = {
        other.number: max(abs(r.value_mm - true_mm(other, r.what)) for r in mine)
        for other in rings
        if other is not ring
    }
    nearest = min(off, key=lambda number: off[number], default=None)
    if nearest is not None and off[nearest] < FITS_MM:
        return f"it fits ring {nearest}: another ring was taken?"
    for digit in DIGITS_MM:
        if abs(abs(value - expected) - digit) < _digit_room(digit):
            return f"a digit misread, {digit:g} mm off?"
    return "a slip of the hand, a burr or dirt in the jaws, or the photo is wrong on this ring"


def _common_fault(
    shots: Sequence[Shot], readings: Sequence[Reading], caliper: Caliper
) -> tuple[float, float]:
    """Scale and rim that readings show, drawn towards none where they show little."""
    if not readings:
        return 0.0, 0.0
    table = tabulate(shots, readings, caliper, trusting=False)
    room = np.diag([WIDE_SCALE**2, WIDE_RIM_MM**2])
    covariance = table.own + table.design @ room @ table.design.T
    scale, rim = room @ table.design.T @ np.linalg.solve(covariance, table.difference_mm)
    return float(scale), float(rim)


def _digit_room(digit_mm: float) -> float:
    """How near to a misread digit a difference must come, mm: a quarter of it, 0.04 at most."""
    return min(0.25 * digit_mm, 0.04)


def _gross(reading: Reading, expected: float) -> bool:
    return abs(reading.value_mm - expected) > GROSS_REL * expected


def _unit_slip(reading: Reading, expected: float) -> str | None:
    """Name a wrong unit or a slipped point, if the reading fits the photo without it."""
    slips = (
        (MM_PER_INCH, "inches taken for millimetres?"),
        (1.0 / MM_PER_INCH, "millimetres taken for inches?"),
        (10.0, "the decimal point slipped: ten times too small?"),
        (0.1, "the decimal point slipped: ten times too large?"),
    )
    for factor, words in slips:
        if _near(reading.value_mm * factor, expected):
            return words
    return None


def _near(value: float, expected: float) -> bool:
    return abs(value - expected) < UNIT_REL * expected
