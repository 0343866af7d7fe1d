"""Do photo and caliper agree? The verdict, with the doubts of both."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from vision.batch.read import Shot
from vision.errors import VisionError
from vision.results import COVERAGE_FACTOR
from vision.spotcheck.agreement import Agreement, limits_of_agreement
from vision.spotcheck.caliper import Caliper, Reading, What
from vision.spotcheck.model import Table, tabulate
from vision.spotcheck.slips import MOST_WILD, Wild, find_wild

Array = NDArray[np.float64]

FALSE_ALARM = 0.05
"""Chance of calling a photo wrong whose stated doubts are right."""
FAULT_SCALE, FAULT_RIM_MM = 0.01, 0.05
"""Faults that matter to a maker: 1 % of every length, and 0.05 mm on every wire."""
LEAST_VARIANCE = 1e-14
"""Keeps a photo that states no doubt at all (0.0001 %, 0.1 nm) computable."""
LIKELY = 0.8
"""Readings that would show such a fault with this chance are enough to say that there is none."""
SEPARABLE = 1e-6
"""Ratio of eigenvalues below which scale and rim are one and the same to these readings."""
LEAST_RINGS = 2
"""One ring says as much about a slip of the hand as about the photo."""


class ReadingsError(VisionError):
    """Readings that cannot be compared with the photos."""


class Verdict(StrEnum):
    """Whether photo and caliper agree."""

    AGREE = "agree"
    DISAGREE = "disagree"
    OPEN = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """All readings of one length of one ring."""

    photo: int
    ring: int
    what: What
    photo_mm: float
    readings_mm: tuple[float, ...]
    difference_mm: float
    """Mean reading less the photo, chord of the inside jaws corrected."""
    u95_mm: float
    """Expanded uncertainty of that difference, photo and caliper together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bias:
    """Caliper less photo for one kind of length, over the rings."""

    agreement: Agreement
    u95_mm: float
    """Expanded uncertainty of the bias by what is stated of photo and caliper."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """What the readings say about the photo."""

    verdict: Verdict
    why: str
    more: bool
    """Whether readings on more rings would help."""
    rows: tuple[Row, ...]
    biases: Mapping[What, Bias]
    wild: tuple[Wild, ...]
    chance: float | None
    """Chance of so large a common difference if the stated doubts are right."""
    power: Mapping[str, float]
    """Chance that these readings would show the faults of 1 % (`scale`) and 0.05 mm (`rim`)."""
    table: Table | None
    """The readings that fit together; None where none does."""


def compare(
    shots: Sequence[Shot], readings: Sequence[Reading], caliper: Caliper | None = None
) -> Comparison:
    """Compare caliper readings with photos of one set-up.

    Parameters
    ----------
    readings : of measured rings of these photos, at least one

    Raises
    ------
    ReadingsError
        If the photos were taken with different references: their errors differ, too.
    """
    caliper = caliper or Caliper()
    _check_set_ups(shots, readings)
    kept, wild = find_wild(shots, readings, caliper)
    table = tabulate(shots, kept, caliper) if kept else None
    rows = _rows(table) if table else ()
    chance, power = _test(table) if table else (None, {})
    verdict, why, more = _judge(kept, wild, chance, power)
    return Comparison(
        verdict=verdict,
        why=why,
        more=more,
        rows=rows,
        biases=_biases(table, rows) if table else {},
        wild=wild,
        chance=chance,
        power=power,
        table=table,
    )


def estimate(table: Table, *, prior: bool) -> tuple[Array, Array]:
    """Fit scale (relative) and rim (mm) by generalised least squares.

    Parameters
    ----------
    prior : use what the photo states of its own doubts beside the readings

    Returns
    -------
    values (2,), covariance (2, 2); with only one kind of length and no prior, scale and rim pull
    against each other without bound and the covariance is infinite.
    """
    information, root, weighed = _project(table, table.own)
    if not prior and root.shape[1] < 2:
        return np.zeros(2), np.full((2, 2), np.inf)
    stated = np.linalg.inv(table.prior + LEAST_VARIANCE * np.eye(2)) if prior else 0.0
    covariance: Array = np.linalg.inv(information + stated)
    values: Array = covariance @ (weighed.T @ table.difference_mm)
    return values, covariance


def _check_set_ups(shots: Sequence[Shot], readings: Sequence[Reading]) -> None:
    used = sorted({reading.photo for reading in readings})
    kinds = {(shots[k].set_up.kind, shots[k].set_up.reference): shots[k].photo.file for k in used}
    if len(kinds) > 1:
        named = " and ".join(f"{k} {ref} ({file})" for (k, ref), file in kinds.items())
        raise ReadingsError(
            f"the readings are of photos with different references: {named}",
            hint="each set-up has errors of its own: check them one at a time",
        )


def _test(table: Table) -> tuple[float, dict[str, float]]:
    """Test that scale and rim are as right as stated, and ask what the readings would show.

    The common part of the differences is projected on scale and rim; its square, weighed by the
    covariance that photo and caliper state, is chi-square distributed if both are right. Weighed
    by the covariance of the readings alone it is non-central chi-square for a given fault.
    """
    from scipy import stats

    _, root, weighed = _project(table, _full(table))
    square = float(np.sum((root.T @ (weighed.T @ table.difference_mm)) ** 2))
    chance = float(stats.chi2.sf(square, root.shape[1]))
    information, root, _ = _project(table, table.own)
    limit = float(stats.chi2.ppf(1.0 - FALSE_ALARM, root.shape[1]))
    power = {}
    for name, fault in (("scale", (FAULT_SCALE, 0.0)), ("rim", (0.0, FAULT_RIM_MM))):
        shown = float(np.sum((root.T @ (information @ np.array(fault))) ** 2))
        power[name] = float(stats.ncx2.sf(limit, root.shape[1], shown))
    return chance, power


def _full(table: Table) -> Array:
    """Covariance (n, n) of the differences if photo and caliper are as good as stated."""
    full: Array = table.own + table.design @ table.prior @ table.design.T
    return full


def _project(table: Table, covariance: Array) -> tuple[Array, Array, Array]:
    """Information X'WX (2, 2) on scale and rim, a root R (2, k) of its inverse, and WX (n, 2).

    k is 1 where the readings cannot tell scale and rim apart.
    """
    weighed = np.asarray(np.linalg.solve(covariance, table.design), dtype=np.float64)
    information: Array = table.design.T @ weighed
    size = np.sqrt(np.diag(information))
    values, vectors = np.linalg.eigh(information / np.outer(size, size))
    known = values > SEPARABLE * values[-1]
    root: Array = vectors[:, known] / np.sqrt(values[known]) / size[:, None]
    return information, root, weighed


def _judge(
    kept: Sequence[Reading],
    wild: Sequence[Wild],
    chance: float | None,
    power: Mapping[str, float],
) -> tuple[Verdict, str, bool]:
    rings = {(r.photo, r.ring) for r in kept}
    if chance is None or len(wild) > MOST_WILD * (len(kept) + len(wild)):
        why = "too many readings do not fit: check ring numbers, lengths, units and the reference"
        return Verdict.OPEN, why, False
    if len(rings) < LEAST_RINGS:
        why = "one ring cannot tell a slip of the hand from a fault of the photo"
        return Verdict.OPEN, why, True
    if chance < FALSE_ALARM:
        return Verdict.DISAGREE, "they differ by more than both uncertainties allow", False
    lost = {(w.reading.photo, w.reading.ring, w.reading.what) for w in wild}
    lost -= {(r.photo, r.ring, r.what) for r in kept}
    if lost:
        named = ", ".join(f"ring {ring} {what.label}" for _, ring, what in sorted(lost))
        return Verdict.OPEN, f"the rest agrees, but read again: {named}", False
    if power["scale"] < LIKELY:
        return Verdict.OPEN, "these readings would miss a scale that is 1 % off", True
    if power["rim"] < LIKELY:
        return Verdict.OPEN, "these readings would miss wires that are 0.05 mm off", True
    return Verdict.AGREE, "they differ by no more than both uncertainties allow", False


def _rows(table: Table) -> tuple[Row, ...]:
    full = _full(table)
    groups = table.groups
    rows = []
    for group in sorted(set(groups), key=lambda g: (g[0], g[1], list(What).index(g[2]))):
        at = [k for k, other in enumerate(groups) if other == group]
        photo, ring, what = group
        rows.append(
            Row(
                photo=photo,
                ring=ring,
                what=what,
                photo_mm=float(table.photo_mm[at[0]]),
                readings_mm=tuple(table.readings[k].value_mm for k in at),
                difference_mm=float(np.mean(table.difference_mm[at])),
                u95_mm=COVERAGE_FACTOR * float(np.sqrt(full[np.ix_(at, at)].mean())),
            )
        )
    return tuple(rows)


def _biases(table: Table, rows: Sequence[Row]) -> dict[What, Bias]:
    full = _full(table)
    groups = table.groups
    biases = {}
    for what in What:
        mine = [row for row in rows if row.what is what]
        if not mine:
            continue
        weights = np.zeros(len(groups))
        for row in mine:
            at = [k for k, g in enumerate(groups) if g == (row.photo, row.ring, what)]
            weights[at] = 1.0 / len(mine) / len(at)
        biases[what] = Bias(
            agreement=limits_of_agreement([row.difference_mm for row in mine]),
            u95_mm=COVERAGE_FACTOR * float(np.sqrt(weights @ full @ weights)),
        )
    return biases
