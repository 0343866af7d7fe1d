"""Shares and plans against ISO 2859-1's single plans, published tables and scipy."""

import numpy as np
import pytest
from scipy import stats
from scipy.stats import binomtest

from vision.batch.shares import (
    Plan,
    accept_probability,
    proves_few,
    proves_many,
    share_limits,
    smallest_sample,
)

# Single plans of ISO 2859-1 (= ANSI/ASQ Z1.4): probability of acceptance at 0.65, 1, 1.5, 2.5, 4, 5
# and 10 % off size, binomial, and the share in per cent accepted in 95, 50 and 10 of 100 cases;
# computed with scipy, the standard's tables print the same quality levels.
SHARES = (0.0065, 0.01, 0.015, 0.025, 0.04, 0.05, 0.10)
OC = {
    (13, 0): (0.9187, 0.8775, 0.8216, 0.7195, 0.5882, 0.5133, 0.2542),
    (20, 1): (0.9926, 0.9831, 0.9643, 0.9118, 0.8103, 0.7358, 0.3917),
    (32, 1): (0.9816, 0.9593, 0.9170, 0.8097, 0.6319, 0.5200, 0.1564),
    (50, 1): (0.9579, 0.9106, 0.8273, 0.6435, 0.4005, 0.2794, 0.0338),
    (50, 2): (0.9957, 0.9862, 0.9608, 0.8706, 0.6767, 0.5405, 0.1117),
    (50, 3): (0.9997, 0.9984, 0.9933, 0.9638, 0.8609, 0.7604, 0.2503),
    (80, 2): (0.9844, 0.9534, 0.8808, 0.6767, 0.3748, 0.2306, 0.0107),
    (80, 5): (1.000, 0.9998, 0.9987, 0.9848, 0.8988, 0.7892, 0.1769),
    (125, 3): (0.9907, 0.9626, 0.8804, 0.6189, 0.2593, 0.1238, 0.0010),
    (125, 7): (1.000, 1.000, 0.9994, 0.9864, 0.8709, 0.7117, 0.0601),
    (200, 5): (0.9979, 0.9840, 0.9176, 0.6160, 0.1856, 0.0623, 0.0000),
}
LIMITING = {
    (13, 0): 16.232, (20, 1): 18.096, (32, 1): 11.620, (50, 1): 7.558, (50, 2): 10.296,
    (50, 3): 12.876, (80, 2): 6.516, (80, 5): 11.285, (125, 3): 5.266, (125, 7): 9.237,
    (200, 5): 4.588,
}  # fmt: skip


@pytest.mark.parametrize("plan", OC)
def test_single_plans_accept_as_the_standard_says(plan: tuple[int, int]) -> None:
    n, accept = plan
    found = accept_probability(Plan(n=n, accept=accept, lot=None), np.array(SHARES))
    assert found == pytest.approx(OC[plan], abs=5.1e-5)


@pytest.mark.parametrize("plan", LIMITING)
def test_the_limiting_quality_asks_for_the_standards_sample(plan: tuple[int, int]) -> None:
    # The share printed for a plan is accepted in 10 of 100 cases: to be 90 % sure that a lot is
    # better than this takes just the plan's n rings. The last printed digit is worth 0.1 of n.
    n, accept = plan
    for off, wanted in ((+0.0006, n), (-0.0006, n + 1)):
        share = (LIMITING[plan] + off) / 100
        assert smallest_sample(accept, lot=None, share=share, confidence=0.90) == wanted


@pytest.mark.parametrize(
    ("lot", "bad", "n", "accept", "chance"),
    # Hypergeometric, computed with scipy.stats.hypergeom.
    [(1000, 10, 80, 2, 0.960752), (500, 25, 50, 2, 0.534314), (200, 10, 32, 1, 0.504019)],
)
def test_small_lots_are_hypergeometric(
    lot: int, bad: int, n: int, accept: int, chance: float
) -> None:
    found = accept_probability(Plan(n=n, accept=accept, lot=lot), bad / lot)
    assert float(found) == pytest.approx(chance, abs=5.1e-7)


@pytest.mark.parametrize(("percent", "n"), [(1, 299), (2, 149), (5, 59), (10, 29)])
def test_samples_without_a_failure(percent: int, n: int) -> None:
    # The success-run numbers of reliability handbooks, 95 % confidence.
    assert smallest_sample(0, lot=None, share=percent / 100, confidence=0.95) == n


@pytest.mark.parametrize(("n", "upper"), [(59, 4.951), (30, 9.503)])
def test_upper_limits_without_a_failure(n: int, upper: float) -> None:
    # Clopper-Pearson one-sided 95 %.
    low, high = share_limits(n, 0, lot=None, confidence=0.95)
    assert low == 0.0
    assert 100 * high == pytest.approx(upper, abs=5.1e-4)


@pytest.mark.parametrize(("n", "off"), [(40, 1), (40, 3), (60, 60), (7, 2)])
def test_limits_are_those_of_scipys_exact_test(n: int, off: int) -> None:
    theirs = binomtest(off, n).proportion_ci(0.90, method="exact")
    ours = share_limits(n, off, lot=None, confidence=0.95)
    assert ours == pytest.approx((theirs.low, theirs.high), rel=1e-9)


@pytest.mark.parametrize(("lot", "n", "off"), [(50, 20, 0), (200, 40, 3), (41, 40, 1), (30, 30, 2)])
def test_limits_in_a_small_lot_are_the_last_that_scipy_calls_possible(
    lot: int, n: int, off: int
) -> None:
    possible = range(off, lot - (n - off) + 1)
    high = max(b for b in possible if stats.hypergeom.cdf(off, lot, b, n) > 0.05)
    low = min(b for b in possible if stats.hypergeom.sf(off - 1, lot, b, n) > 0.05)
    assert share_limits(n, off, lot=lot, confidence=0.95) == pytest.approx((low / lot, high / lot))


def test_the_whole_lot_leaves_no_doubt() -> None:
    assert share_limits(30, 2, lot=30, confidence=0.95) == pytest.approx((2 / 30, 2 / 30))
    assert proves_few(40, 1, lot=40, share=0.025, confidence=0.999)
    assert proves_many(40, 2, lot=40, share=0.025, confidence=0.999)
    assert smallest_sample(2, lot=40, share=0.025, confidence=0.95) is None


def test_a_plan_for_a_small_lot_is_the_first_that_scipy_lets_pass() -> None:
    lot, share = 500, 0.05
    ours = smallest_sample(1, lot=lot, share=share, confidence=0.95)
    risks = [stats.hypergeom.cdf(1, lot, 26, n) for n in range(2, 200)]
    assert ours == 2 + next(i for i, risk in enumerate(risks) if risk <= 0.05)


@pytest.mark.parametrize("lot", [None, 300])
@pytest.mark.parametrize("share", [0.01, 0.05, 0.10])
def test_wrong_proofs_are_as_rare_as_stated(lot: int | None, share: float) -> None:
    # 10,000 lots just on either side of the limit.
    rng = np.random.default_rng(59)
    n, draws = 80, 10_000
    allowed = int(share * (lot or 0))
    good = rng.binomial(n, share, draws) if lot is None else rng.hypergeometric(
        allowed, lot - allowed, n, draws
    )  # fmt: skip
    bad = rng.binomial(n, share, draws) if lot is None else rng.hypergeometric(
        allowed + 1, lot - allowed - 1, n, draws
    )  # fmt: skip
    rejected = {k: proves_many(n, k, lot=lot, share=share, confidence=0.95) for k in set(good)}
    accepted = {k: proves_few(n, k, lot=lot, share=share, confidence=0.95) for k in set(bad)}
    most = 0.05 + 3 * np.sqrt(0.05 * 0.95 / draws)
    assert np.mean([rejected[k] for k in good]) <= most
    assert np.mean([accepted[k] for k in bad]) <= most
