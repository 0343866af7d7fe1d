"""Outlier tests against the handbook's examples and tables."""

import numpy as np
import pytest

from tests.batch.data import ROSNER, URANIUM
from vision.batch.outliers import generalized_esd, grubbs_critical, grubbs_statistic

# Critical values: one-sided 5 %, two-sided 5 %, one-sided 1 %, two-sided 1 %, computed with scipy;
# two-sided 5 % as in published tables (one of them misprints n = 7 as 2.202).
GRUBBS = {
    3: (1.1531, 1.1543, 1.1546, 1.1547),
    7: (1.9381, 2.0200, 2.0973, 2.1391),
    8: (2.0317, 2.1266, 2.2208, 2.2744),
    10: (2.1761, 2.2900, 2.4097, 2.4821),
    20: (2.5566, 2.7082, 2.8838, 3.0008),
    50: (2.9570, 3.1282, 3.3366, 3.4825),
    200: (3.4324, 3.6055, 3.8221, 3.9777),
}

# NIST/SEMATECH 1.3.5.17.3, statistics and critical values at 5 %, as computed; the handbook prints
# them cut to three decimals.
ESD = [
    (3.1189, 3.1588, 6.01), (2.9430, 3.1514, 5.42), (3.1794, 3.1439, 5.34),
    (2.8102, 3.1362, 4.64), (2.8156, 3.1282, -0.25), (2.8482, 3.1201, 4.30),
    (2.2793, 3.1118, 3.68), (2.3104, 3.1032, 3.59), (2.1016, 3.0945, 0.68),
    (2.0672, 3.0854, 3.30),
]  # fmt: skip
PRINTED_R = (3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067)


@pytest.mark.parametrize("n", GRUBBS)
def test_grubbs_critical_values(n: int) -> None:
    found = [grubbs_critical(n, alpha, sides=sides) for alpha in (0.05, 0.01) for sides in (1, 2)]
    assert found == pytest.approx(GRUBBS[n], abs=5.1e-5)


def test_the_handbook_example_of_grubbs() -> None:
    # NIST/SEMATECH 1.3.5.17.1: G = 2.4687, critical 2.032: 245.57 is an outlier.
    assert grubbs_statistic(URANIUM) == pytest.approx(2.468765, abs=5e-7)
    assert grubbs_critical(8, sides=1) == pytest.approx(2.032, abs=5e-4)


def test_rosners_example_has_three_outliers() -> None:
    found = generalized_esd(ROSNER, 10)
    assert found.statistics == pytest.approx([r for r, _, _ in ESD], abs=5.1e-5)
    assert found.statistics == pytest.approx(PRINTED_R, abs=1e-3)
    assert found.criticals == pytest.approx([critical for _, critical, _ in ESD], abs=5.1e-5)
    assert list(ROSNER[found.removed]) == [value for _, _, value in ESD]
    assert sorted(ROSNER[found.outliers]) == [5.34, 5.42, 6.01]


def test_good_values_are_called_outliers_at_the_stated_risk() -> None:
    rng = np.random.default_rng(7)
    trials = 4000
    false = sum(
        len(generalized_esd(values, 5, alpha=0.05).outliers) > 0
        for values in rng.normal(size=(trials, 40))
    )
    assert false / trials < 0.05 + 4 * np.sqrt(0.05 * 0.95 / trials)


def test_equal_values_hold_no_outlier() -> None:
    assert len(generalized_esd(np.full(10, 6.35), 3).outliers) == 0


def test_more_outliers_than_values_are_refused() -> None:
    with pytest.raises(ValueError, match="1 to 1, got 2"):
        generalized_esd(np.array([1.0, 2.0, 3.0]), 2)
