"""How well photos agree about one quantity of the same rings, and what follows for its U.

A reading of ring i in photo j is `x_i (1 + s_j) + e_ij`: the ring, the photo as a whole, chance.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from vision.batch.spread import MAD_TO_SD, student
from vision.results import COVERAGE_FACTOR

Array = NDArray[np.float64]

STATED_DEGREES = 8.0
"""Degrees of freedom of a stated uncertainty: what a photo says of its own doubt is good to about
25 %, and that is worth 1 / (2 x 0.25^2) repetitions (JCGM 100:2008, GUM, G.4.2)."""

RISK = 0.01
"""Risk of calling some ring of a batch another one when none is, and of doubting the scales."""

ROUNDS = 20
"""Steps of the alternating fit; it settles in a few unless rings are seen in few photos."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Agreement:
    """One quantity of n rings in p photos."""

    values: Array
    """(n,) x_i."""
    photos: Array
    """(p,) s_j: by how much a photo reads large, relative; their weighted mean is 0."""
    odd: NDArray[np.bool_]
    """(n,) rings whose readings differ by more than chance: another ring, or one badly seen."""
    ratio: float
    """Observed over stated chance of single readings, pooled over all rings, before the stated one
    is given its say."""
    degrees: float
    """Degrees of freedom of the observed part; 0 where nothing was observed twice."""
    u_chance: Array
    """(n,) standard uncertainty of x_i from chance, so widened that twice it holds 95 %."""
    stretch: float
    """By how much the photos differ as a whole beyond what their scales explain; at least 1."""


def agree(readings: Array, chance: Array, common: Array, weights: Array) -> Agreement:
    """Fit rings and photos, find odd rings, and pool what is left.

    Parameters
    ----------
    readings : (n, p), NaN where a photo does not show a ring
    chance : (n, p) stated standard uncertainty of a reading that nothing else shares
    common : (p,) stated relative standard uncertainty that a photo's readings share and other
        photos' do not
    weights : (p,) of the photos, positive

    Notes
    -----
    The observed squares, in units of the stated ones, are pooled over all rings; the stated
    uncertainty counts as `STATED_DEGREES` repetitions beside them. Student's t for the sum of both
    takes the place of k = 2.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), H.5 (observations grouped by day: between and within), H.3.6 and
       4.2.4 (pooled estimate), G.4.2 (degrees of freedom of a stated uncertainty), G.3.
    .. [2] ISO 5725-2:2019, 7.4: one variance pooled over all levels.
    .. [3] R. T. Birge, "The calculation of errors by the method of least squares", Phys. Rev. 40
       (1932), 207-227: the ratio of observed to stated scatter.
    """
    seen = np.isfinite(readings)
    share = np.where(seen, weights, 0.0)
    several = seen.sum(axis=1) > 1
    odd = _odd(readings, chance, share, several)
    kept = several & ~odd
    photos = _photo_effects(readings, share, kept, weights)
    values = _rings(readings, share, photos)
    excess = np.where(seen, (readings - values[:, None] * (1.0 + photos)) / chance, 0.0)
    degrees = float(max(0, (seen[kept].sum() - kept.sum()) - (_linked(seen[kept]) - 1)))
    squares = float(np.sum(excess[kept] ** 2)) if degrees else 0.0
    factor = widening(squares, degrees)
    part = share / share.sum(axis=1, keepdims=True)
    alone = np.sqrt(np.sum((part * np.where(seen, chance, 0.0)) ** 2, axis=1))
    return Agreement(
        values=values,
        photos=photos,
        odd=odd,
        ratio=math.sqrt(squares / degrees) if degrees else math.nan,
        degrees=degrees,
        u_chance=factor * alone,
        stretch=_stretch(readings, chance, photos, common, kept),
    )


def widening(squares: float, degrees: float) -> float:
    """Factor of a stated standard uncertainty so that twice it holds 95 %, once it was tried.

    Parameters
    ----------
    squares : sum of the observed squares, in units of the stated ones
    degrees : their degrees of freedom
    """
    level = math.sqrt((STATED_DEGREES + squares) / (STATED_DEGREES + degrees))
    return level * student(STATED_DEGREES + degrees) / COVERAGE_FACTOR


def _linked(seen: NDArray[np.bool_]) -> int:
    """How many photos show any of these rings: each but one costs a degree of freedom."""
    return max(1, int(seen.any(axis=0).sum())) if len(seen) else 1


def _rings(readings: Array, share: Array, photos: Array) -> Array:
    """Each ring's weighted mean (n,), photos brought to their common mean first."""
    levelled = np.where(share > 0, readings / (1.0 + photos), 0.0)
    values: Array = np.sum(share * levelled, axis=1) / share.sum(axis=1)
    return values


def _photo_effects(
    readings: Array, share: Array, kept: NDArray[np.bool_], weights: Array, *, robust: bool = False
) -> Array:
    """By how much each photo (p,) reads large, from the rings that several photos show."""
    photos = np.zeros(readings.shape[1])
    if not kept.any():
        return photos
    for _ in range(ROUNDS):
        values = _rings(readings, share, photos)
        ratio = readings[kept] / values[kept, None] - 1.0
        for j in range(len(photos)):
            column = ratio[np.isfinite(ratio[:, j]), j]
            if len(column):
                photos[j] = np.median(column) if robust else np.mean(column)
        photos -= np.sum(weights * photos) / np.sum(weights)
    return photos


def _odd(
    readings: Array, chance: Array, share: Array, several: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Rings whose readings are farther apart than chance makes any of so many rings.

    Medians, which strays do not move, tell the photos apart; where most rings scatter more than
    stated, that scatter is the measure.
    """
    odd = np.zeros(len(readings), dtype=bool)
    if not several.any():
        return odd
    photos = _photo_effects(readings, share, several, share.max(axis=0), robust=True)
    level = readings / (1.0 + photos)
    apart = np.zeros(len(readings))
    typical, tests = [], 0
    for i in np.nonzero(several)[0]:
        there = np.nonzero(share[i] > 0)[0]
        one, two = np.triu_indices(len(there), 1)
        off = np.abs(level[i, there[one]] - level[i, there[two]])
        away = off / np.hypot(chance[i, there[one]], chance[i, there[two]])
        apart[i] = away.max()
        tests += len(away)
        typical.append(float(np.median(away)))
    scatter = max(1.0, MAD_TO_SD * float(np.median(typical)))
    most = -float(special.ndtri(RISK / (2.0 * tests)))
    odd[several] = apart[several] > most * scatter
    return odd


def _stretch(
    readings: Array, chance: Array, photos: Array, common: Array, kept: NDArray[np.bool_]
) -> float:
    """Whether the photos differ as a whole beyond their stated doubts: the ratio if so, else 1."""
    freedom = len(photos) - 1
    if not kept.any() or freedom < 1:
        return 1.0
    counts = np.isfinite(readings[kept]).sum(axis=0)
    by_chance = np.nanmedian(chance[kept] / readings[kept], axis=0) / np.sqrt(np.maximum(counts, 1))
    square = common**2 + by_chance**2
    weight = 1.0 / square
    middle = np.sum(weight * photos) / np.sum(weight)
    chi2 = float(np.sum(weight * (photos - middle) ** 2))
    if chi2 <= float(special.chdtri(freedom, RISK)):
        return 1.0
    return math.sqrt(chi2 / freedom)
