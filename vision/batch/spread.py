"""How one quantity spreads: limits of mean and sd, tolerance interval, capability."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special
from scipy.optimize import brentq

Array = NDArray[np.float64]
Limits = tuple[float, float]

LEVEL = 0.95
"""Confidence, and content of tolerance intervals, unless told otherwise."""

MAD_TO_SD = 1.0 / float(special.ndtri(0.75))
"""1.4826: median absolute deviation to sd, for a normal distribution."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(80)
"""Quadrature over the mean's own scatter; 80 nodes give the factor to 1e-9."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """How the spread fits between two limits."""

    cp: float
    """Width of the limits over six sd."""
    cp_limits: Limits
    cpk: float
    """Distance of the mean from the nearer limit over three sd; negative if it lies outside."""
    cpk_limits: Limits


def mean_limits(values: Array, confidence: float = LEVEL) -> Limits:
    """Two-sided confidence limits of the mean, from the scatter alone.

    Parameters
    ----------
    values : (n,), n at least 2

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook, 1.3.5.2: mean +- t s / sqrt(n).
    """
    n = len(values)
    half = student(n - 1, confidence) * float(np.std(values, ddof=1)) / math.sqrt(n)
    mean = float(np.mean(values))
    return mean - half, mean + half


def sd_limits(sd: float, n: int, confidence: float = LEVEL) -> Limits:
    """Two-sided confidence limits of the standard deviation of a normal distribution.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook, 1.3.5.8: s sqrt((n - 1) / chi2).
    """
    tail = (1.0 - confidence) / 2.0
    high, low = special.chdtri(n - 1, tail), special.chdtri(n - 1, 1.0 - tail)
    return sd * math.sqrt((n - 1) / high), sd * math.sqrt((n - 1) / low)


def robust_sd(values: Array) -> float:
    """Standard deviation that up to half of the values cannot spoil: 1.4826 MAD."""
    return MAD_TO_SD * float(np.median(np.abs(values - np.median(values))))


def tolerance_factor(n: int, content: float = LEVEL, confidence: float = LEVEL) -> float:
    """Factor k of the two-sided tolerance interval mean +- k s of a normal distribution, exactly.

    Parameters
    ----------
    n : values that mean and s come from, at least 2
    content : share of the population that lies inside, with the stated confidence

    Notes
    -----
    A mean that is z off needs the half-width r with `P(|Z + z| < r) = content`; s is then too
    small with probability `P(chi2 < (n - 1) r^2 / k^2)`. The average over z ~ N(0, 1/n) is set
    to `1 - confidence`.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook, 7.2.6.3 (Howe's approximation, within 1 % of this).
    .. [2] ISO 16269-6, tables of two-sided factors, unknown mean and variance.
    """
    reach = 8.0 / math.sqrt(n)
    off = reach * _NODES
    density = _WEIGHTS * reach * np.exp(-n * off**2 / 2.0) * math.sqrt(n / (2.0 * math.pi))
    squares = special.chndtrix(content, 1.0, off**2)

    def excess(k: float) -> float:
        return float(density @ special.chdtrc(n - 1, (n - 1) * squares / k**2)) - confidence

    most = 10.0
    while excess(most) < 0:
        most *= 10.0
    return float(brentq(excess, 1e-3, most, xtol=1e-10))


def tolerance_interval(values: Array, content: float = LEVEL, confidence: float = LEVEL) -> Limits:
    """Two-sided tolerance interval of a normal distribution; `values` (n,), n at least 2."""
    half = tolerance_factor(len(values), content, confidence) * float(np.std(values, ddof=1))
    mean = float(np.mean(values))
    return mean - half, mean + half


def capability(values: Array, limits: Limits, confidence: float = LEVEL) -> Capability | None:
    """Cp and Cpk with two-sided confidence limits; None where the values do not spread at all.

    Parameters
    ----------
    values : (n,), n at least 2
    limits : lower and upper specification limit

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook, 6.1.6: definitions, limits of Cp by chi-square.
    .. [2] A. F. Bissell, "How reliable is your capability index?", Applied Statistics 39 (1990):
       limits of Cpk.
    """
    n, mean, sd = len(values), float(np.mean(values)), float(np.std(values, ddof=1))
    if not sd > 1e-9 * abs(mean):
        return None
    lower, upper = limits
    cp = (upper - lower) / (6.0 * sd)
    cpk = min(upper - mean, mean - lower) / (3.0 * sd)
    tail = (1.0 - confidence) / 2.0
    half = -float(special.ndtri(tail)) * math.sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))
    return Capability(
        cp=cp,
        cp_limits=(
            cp * math.sqrt(special.chdtri(n - 1, 1.0 - tail) / (n - 1)),
            cp * math.sqrt(special.chdtri(n - 1, tail) / (n - 1)),
        ),
        cpk=cpk,
        cpk_limits=(cpk - half, cpk + half),
    )


def own_sd(sd: float, u_private: Array) -> float:
    """The spread of the rings themselves: what the measurement does not explain.

    Parameters
    ----------
    sd : observed
    u_private : (n,) standard uncertainty of each value that other values do not share

    Returns
    -------
    sqrt(sd^2 - mean u^2); 0 where the measurement explains all of it.
    """
    return math.sqrt(max(0.0, sd * sd - float(np.mean(u_private**2))))


def student(degrees: float, confidence: float = LEVEL) -> float:
    """Two-sided quantile of Student's t; `degrees` may be broken (Welch-Satterthwaite)."""
    return float(special.stdtrit(degrees, (1.0 + confidence) / 2.0))
