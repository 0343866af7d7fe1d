"""Values that do not belong to the rest: Grubbs and the generalized ESD procedure."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Esd:
    """The procedure's table, and which values it calls outliers."""

    statistics: Array
    """(r,) R_i: largest distance from the mean over the sd, of what is left."""
    criticals: Array
    """(r,) lambda_i."""
    removed: NDArray[np.intp]
    """(r,) which value each round took away."""
    outliers: NDArray[np.intp]
    """The first of `removed`, up to the last round in which R_i exceeds lambda_i."""


def grubbs_statistic(values: Array) -> float:
    """Largest distance from the mean over the sd; 0 where all values are equal."""
    sd = float(np.std(values, ddof=1))
    away = float(np.max(np.abs(values - np.mean(values))))
    return away / sd if sd > 0 else 0.0


def grubbs_critical(n: int, alpha: float = 0.05, *, sides: int = 2) -> float:
    """Critical value of Grubbs's test for one outlier.

    Parameters
    ----------
    n : values, at least 3
    alpha : risk of calling a good value an outlier
    sides : 2 if the outlier may lie on either side, 1 if the side is known beforehand

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook, 1.3.5.17.1.
    """
    t = float(special.stdtrit(n - 2, 1.0 - alpha / (sides * n)))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def generalized_esd(values: Array, most: int, alpha: float = 0.05) -> Esd:
    """Find up to `most` outliers without one hiding another.

    Parameters
    ----------
    values : (n,); the critical values hold for n from about 15
    most : outliers looked for, at most n - 2

    References
    ----------
    .. [1] B. Rosner, "Percentage points for a generalized ESD many-outlier procedure",
       Technometrics 25 (1983), 165-172.
    .. [2] NIST/SEMATECH e-Handbook, 1.3.5.17.3.
    """
    if not 1 <= most <= len(values) - 2:
        raise ValueError(f"most must be 1 to {len(values) - 2}, got {most}")
    left = np.arange(len(values))
    statistics, criticals, removed = [], [], []
    for _ in range(most):
        away = np.abs(values[left] - values[left].mean())
        furthest = int(np.argmax(away))
        statistics.append(grubbs_statistic(values[left]))
        criticals.append(grubbs_critical(len(left), alpha))
        removed.append(left[furthest])
        left = np.delete(left, furthest)
    exceeds = np.nonzero(np.array(statistics) > np.array(criticals))[0]
    found = int(exceeds[-1]) + 1 if len(exceeds) else 0
    return Esd(
        statistics=np.array(statistics),
        criticals=np.array(criticals),
        removed=np.array(removed, dtype=np.intp),
        outliers=np.array(removed[:found], dtype=np.intp),
    )
