"""Bias and limits of agreement against the published example."""

import numpy as np
import pytest

from vision.spotcheck.agreement import limits_of_agreement

# J. M. Bland, D. G. Altman, Lancet 327 (1986), Table 1: peak flow (l/min) of 17 subjects, first
# reading with each meter, as quoted in public R and Python packages.
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


@pytest.fixture
def found():
    return limits_of_agreement([w - m for w, m in zip(WRIGHT, MINI, strict=True)])


def test_the_published_peak_flow_example(found) -> None:
    # As printed in the paper, which rounds before it combines: 0.2 of that.
    assert found.count == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.lower, found.upper) == pytest.approx((-79.7, 75.5), abs=0.2)
    assert found.bias_limits == pytest.approx((-22.0, 17.8), abs=0.2)
    assert found.lower_limits == pytest.approx((-114.3, -45.1), abs=0.2)
    assert found.upper_limits == pytest.approx((40.9, 110.1), abs=0.2)


def test_the_same_example_in_full_digits(found) -> None:
    # Computed with scipy.stats.t and numpy by the paper's formulas, outside this project.
    assert found.bias == pytest.approx(-2.117647, abs=1e-6)
    assert found.sd == pytest.approx(38.765130, abs=1e-6)
    assert (found.lower, found.upper) == pytest.approx((-79.647907, 75.412613), abs=1e-6)
    assert found.bias_limits == pytest.approx((-22.0488, 17.8135), abs=1e-4)
    assert found.lower_limits == pytest.approx((-114.1697, -45.1261), abs=1e-4)
    assert found.upper_limits == pytest.approx((40.8908, 109.9344), abs=1e-4)


def test_the_bias_limits_hold_the_bias_in_95_of_100_samples() -> None:
    rng = np.random.default_rng(20261125)
    inside = 0
    for sample in rng.normal(0.3, 1.0, size=(1000, 6)):
        low, high = limits_of_agreement(sample).bias_limits  # type: ignore[misc]
        inside += low <= 0.3 <= high
    # Binomial: 950 +- 3 * 6.9.
    assert 929 <= inside <= 971


def test_one_difference_has_a_bias_and_no_limits() -> None:
    found = limits_of_agreement([0.02])
    assert found.bias == 0.02
    assert found.sd is found.bias_limits is found.lower is found.upper is None


def test_no_difference_is_a_wrong_call() -> None:
    with pytest.raises(ValueError, match="n > 0"):
        limits_of_agreement([])
