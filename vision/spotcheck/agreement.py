"""Two ways of measuring the same things: their bias and their limits of agreement."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.results import COVERAGE_FACTOR


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Bias and limits of agreement, in the unit of the differences."""

    count: int
    bias: float
    sd: float | None
    """Standard deviation of the differences (n - 1); with all below None for one difference."""
    bias_limits: tuple[float, float] | None
    """Confidence limits of the bias."""
    lower: float | None
    """Lower limit of agreement: bias - 2 sd."""
    lower_limits: tuple[float, float] | None
    upper: float | None
    upper_limits: tuple[float, float] | None


def limits_of_agreement(differences: Sequence[float], *, confidence: float = 0.95) -> Agreement:
    """Compute bias and limits of agreement of paired measurements.

    Parameters
    ----------
    differences : one method minus the other, one value a subject, at least one
    confidence : of the limits of bias and of either limit of agreement

    References
    ----------
    .. [1] J. M. Bland, D. G. Altman, "Statistical methods for assessing agreement between two
       methods of clinical measurement", Lancet 327 (1986), 307-310: limits bias +- 2 sd, standard
       error of the bias sd / sqrt(n), of a limit sqrt(3 sd^2 / n), Student's t with n - 1.
    """
    from scipy import stats

    values = np.asarray(differences, dtype=float)
    if values.ndim != 1 or not len(values):
        raise ValueError(f"differences must be (n,) with n > 0, got shape {values.shape}")
    count, bias = len(values), float(values.mean())
    if count == 1:
        return Agreement(
            count=1,
            bias=bias,
            sd=None,
            bias_limits=None,
            lower=None,
            lower_limits=None,
            upper=None,
            upper_limits=None,
        )
    sd = float(values.std(ddof=1))
    t = float(stats.t.ppf((1.0 + confidence) / 2.0, count - 1))

    def around(middle: float, error: float) -> tuple[float, float]:
        return middle - t * error, middle + t * error

    lower, upper = bias - COVERAGE_FACTOR * sd, bias + COVERAGE_FACTOR * sd
    error = float(np.sqrt(sd * sd / count))
    return Agreement(
        count=count,
        bias=bias,
        sd=sd,
        bias_limits=around(bias, error),
        lower=lower,
        lower_limits=around(lower, float(np.sqrt(3.0)) * error),
        upper=upper,
        upper_limits=around(upper, float(np.sqrt(3.0)) * error),
    )
