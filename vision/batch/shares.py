"""The share of off-size rings: exact limits, and plans for how many rings to look at."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

MOST_SAMPLE = 100_000
"""Rings beyond which nobody photographs a sample: a plan that needs more is none."""

ROUNDING = 1e-9
"""Slack for shares such as 2.5 % of 40 that are whole numbers but for the last bit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Look at n rings, accept the lot if at most `accept` are off size."""

    n: int
    accept: int
    lot: int | None
    """Rings in the lot; None for a lot so large that the sample does not thin it."""


def accept_probability(plan: Plan, share: float | Array) -> Array:
    """Probability that a plan accepts a lot, its operating characteristic.

    Parameters
    ----------
    share : off-size rings in the lot, 0 to 1; in a lot of known size rounded to whole rings

    Returns
    -------
    Probabilities in the shape of `share`: hypergeometric in a lot of known size, else binomial.

    References
    ----------
    .. [1] ISO 2859-1, clause 12 and tables 10: operating characteristics of single plans.
    """
    shares = np.asarray(share, dtype=float)
    if plan.lot is None:
        return np.asarray(special.bdtr(plan.accept, plan.n, shares), dtype=float)
    off = np.rint(shares * plan.lot).astype(int)
    chances = [_hypergeometric_cdf(plan.accept, plan.lot, int(bad), plan.n) for bad in off.flat]
    return np.array(chances).reshape(shares.shape)


def proves_few(n: int, off: int, *, lot: int | None, share: float, confidence: float) -> bool:
    """Whether `off` of n rings prove that at most `share` of the lot is off size.

    A lot with one off-size ring more than allowed would show so few with a probability of at most
    `1 - confidence`.
    """
    if lot is None:
        return float(special.bdtr(off, n, share)) <= 1.0 - confidence
    allowed = allowed_in(lot, share)
    if allowed >= lot:
        return True
    return _hypergeometric_cdf(off, lot, allowed + 1, n) <= 1.0 - confidence


def proves_many(n: int, off: int, *, lot: int | None, share: float, confidence: float) -> bool:
    """Whether `off` of n rings prove that more than `share` of the lot is off size.

    A lot with just the allowed number would show so many with a probability of at most
    `1 - confidence`.
    """
    if off == 0:
        return False
    if lot is None:
        return float(special.bdtrc(off - 1, n, share)) <= 1.0 - confidence
    return 1.0 - _hypergeometric_cdf(off - 1, lot, allowed_in(lot, share), n) <= 1.0 - confidence


def share_limits(n: int, off: int, *, lot: int | None, confidence: float) -> tuple[float, float]:
    """Lower and upper limit of the lot's off-size share, each one-sided at `confidence`.

    Parameters
    ----------
    n, off : rings looked at, and how many of them were off size
    lot : rings in the lot, or None

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), 404-413; the same inversion of
       the hypergeometric distribution where the lot is known.
    """
    if lot is None:
        low = float(special.betaincinv(off, n - off + 1, 1.0 - confidence)) if off else 0.0
        high = float(special.betaincinv(off + 1, n - off, confidence)) if off < n else 1.0
        return low, high
    # A lot holds at least what was seen, and at most all that was not seen to be good.
    risk, least, most = 1.0 - confidence, off, lot - (n - off)
    high = _last(least, most, lambda bad: _hypergeometric_cdf(off, lot, bad, n) > risk)
    low = _first(
        least, most, lambda bad: not off or 1.0 - _hypergeometric_cdf(off - 1, lot, bad, n) > risk
    )
    return low / lot, high / lot


def smallest_sample(accept: int, *, lot: int | None, share: float, confidence: float) -> int | None:
    """Fewest rings of which at most `accept` may be off size to prove that few of the lot are.

    Returns
    -------
    n; the whole lot where nothing less proves it; None where even the whole lot does not
    (more off-size rings accepted than allowed), or a lot without end would need over
    `MOST_SAMPLE`.
    """
    most = MOST_SAMPLE if lot is None else lot

    def proves(n: int) -> bool:
        return proves_few(n, accept, lot=lot, share=share, confidence=confidence)

    if accept >= most or not proves(most):
        return None
    return _first(accept + 1, most, proves)


def allowed_in(lot: int, share: float) -> int:
    """Off-size rings that a lot may hold."""
    return int(np.floor(share * lot + ROUNDING))


def _hypergeometric_cdf(off: int, lot: int, bad: int, n: int) -> float:
    """P(at most `off` of n rings are bad), drawn from `lot` rings of which `bad` are."""
    least, most = max(0, n - (lot - bad)), min(n, bad)
    if off >= most:
        return 1.0
    if off < least:
        return 0.0
    seen = np.arange(least, most + 1)
    logs = _log_choose(bad, seen) + _log_choose(lot - bad, n - seen)
    odds = np.exp(logs - logs.max())
    return float(odds[: off - least + 1].sum() / odds.sum())


def _log_choose(n: int, k: Array | NDArray[np.int_]) -> Array:
    log: Array = special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)
    return log


def _first(least: int, most: int, holds: Callable[[int], bool]) -> int:
    """Smallest number from `least` to `most` that holds, if all above it hold; else `most`."""
    while least < most:
        middle = (least + most) // 2
        if holds(middle):
            most = middle
        else:
            least = middle + 1
    return least


def _last(least: int, most: int, holds: Callable[[int], bool]) -> int:
    """Largest number from `least` to `most` that holds, if all below it hold; else `least`."""
    return _first(least, most, lambda bad: not holds(bad + 1)) if least < most else least
