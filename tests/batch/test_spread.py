"""Spread against published factors and data."""

import numpy as np
import pytest
from scipy import stats

from tests.batch.data import GEARS
from vision.batch.spread import (
    capability,
    mean_limits,
    own_sd,
    robust_sd,
    sd_limits,
    student,
    tolerance_factor,
    tolerance_interval,
)

# Two-sided normal tolerance factors, confidence 0.95, content 0.90, 0.95, 0.99: computed with the
# package toleranceinterval 1.0.3 (n = 10, 30, 100) and by quadrature with scipy; ISO 16269-6 prints
# the same to three decimals.
EXACT = {
    5: (4.291, 5.077, 6.598),
    10: (2.856, 3.393, 4.437),
    15: (2.492, 2.965, 3.885),
    20: (2.319, 2.760, 3.621),
    30: (2.145, 2.555, 3.355),
    50: (1.999, 2.382, 3.129),
    100: (1.875, 2.234, 2.936),
    500: (1.737, 2.070, 2.721),
}


@pytest.mark.parametrize("n", EXACT)
def test_tolerance_factors_agree_to_the_printed_digits(n: int) -> None:
    for content, printed in zip((0.90, 0.95, 0.99), EXACT[n], strict=True):
        assert tolerance_factor(n, content, 0.95) == pytest.approx(printed, abs=5.1e-4)


def test_the_handbook_example_of_a_tolerance_interval() -> None:
    # NIST/SEMATECH 7.2.6.3: n 43, content 0.90, confidence 0.99; Howe's approximation 2.2173, exact
    # 2.22283 (toleranceinterval 1.0.3).
    assert tolerance_factor(43, 0.90, 0.99) == pytest.approx(2.22283, abs=5e-6)


def test_a_tolerance_interval_holds_its_promise() -> None:
    rng = np.random.default_rng(20261125)
    trials, kept = 4000, 0
    k = tolerance_factor(20)
    for values in rng.normal(size=(trials, 20)):
        low, high = tolerance_interval(values)
        assert high - low == pytest.approx(2 * k * np.std(values, ddof=1))
        kept += stats.norm.cdf(high) - stats.norm.cdf(low) >= 0.95
    # 95 % of trials; four standard errors either way.
    assert abs(kept / trials - 0.95) < 4 * np.sqrt(0.95 * 0.05 / trials)


def test_gear_diameters_have_the_published_spread() -> None:
    # NIST/SEMATECH GEAR.DAT: mean 0.99764, s 0.0062789; limits of sigma, median absolute deviation
    # computed with scipy and statsmodels.
    sd = float(np.std(GEARS, ddof=1))
    assert np.mean(GEARS) == pytest.approx(0.99764, abs=5e-9)
    assert sd == pytest.approx(0.006278905, abs=5e-9)
    assert sd_limits(sd, 100) == pytest.approx((0.005513, 0.007294), abs=5e-7)
    assert robust_sd(GEARS) == pytest.approx(0.00444781, abs=5e-9)


def test_limits_of_the_mean_are_those_of_a_t_test() -> None:
    values = GEARS[:10]
    theirs = stats.ttest_1samp(values, 0.0).confidence_interval(0.95)
    assert mean_limits(values) == pytest.approx((theirs.low, theirs.high), rel=1e-12)


@pytest.mark.parametrize(
    ("n", "low", "high"),
    [(5, 0.5991, 2.8736), (10, 0.6878, 1.8256), (30, 0.7964, 1.3443), (100, 0.8780, 1.1617)],
)
def test_limits_of_sd(n: int, low: float, high: float) -> None:
    # Chi-square table: 95 % two-sided limits of sigma as multiples of s.
    assert sd_limits(1.0, n) == pytest.approx((low, high), abs=5.1e-5)


def test_student_quantiles() -> None:
    # GUM table G.2: t95(10) = 2.23, t95(16) = 2.12.
    assert student(10) == pytest.approx(2.23, abs=0.005)
    assert student(16) == pytest.approx(2.12, abs=0.005)


def scaled(n: int, mean: float, sd: float) -> np.ndarray:
    values = np.linspace(-1.0, 1.0, n)
    return mean + sd * values / np.std(values, ddof=1)


@pytest.mark.parametrize(
    ("n", "cp", "cpk"),
    # 95 % limits, computed with scipy from the chi-square and Bissell formulas.
    [(30, (0.7439, 1.2556), (0.4577, 0.8756)), (100, (0.8608, 1.1389), (0.5531, 0.7802))],
)
def test_the_handbook_example_of_capability(
    n: int, cp: tuple[float, float], cpk: tuple[float, float]
) -> None:
    # NIST/SEMATECH 6.1.6: limits 8 and 20, mean 16, s 2 (from memory; the arithmetic is checked).
    found = capability(scaled(n, 16.0, 2.0), (8.0, 20.0))
    assert found is not None
    assert (found.cp, found.cpk) == pytest.approx((1.0, 2 / 3))
    assert found.cp_limits == pytest.approx(cp, abs=5.1e-5)
    assert found.cpk_limits == pytest.approx(cpk, abs=5.1e-5)


def test_equal_values_have_no_capability() -> None:
    assert capability(np.full(9, 6.35), (6.25, 6.45)) is None
    assert robust_sd(np.full(9, 6.35)) == 0.0


def test_large_values_lose_no_digits() -> None:
    # In the manner of NIST StRD NumAcc1: 10000001, 10000003, 10000002 have s = 1 exactly.
    values = np.array([10000001.0, 10000003.0, 10000002.0])
    low, high = tolerance_interval(values)
    assert (high - low) / 2 == pytest.approx(tolerance_factor(3), rel=1e-9)


def test_the_rings_own_spread_is_what_the_measurement_leaves() -> None:
    rng = np.random.default_rng(5)
    u = rng.uniform(0.005, 0.02, 20000)
    seen = rng.normal(6.35, 0.02, 20000) + u * rng.normal(size=20000)
    assert own_sd(float(np.std(seen, ddof=1)), u) == pytest.approx(0.02, rel=0.03)
    assert own_sd(0.004, np.full(5, 0.01)) == 0.0
