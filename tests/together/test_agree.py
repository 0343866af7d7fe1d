"""Pooled scatter against least squares by others, tables of Student's t, and the GUM."""

import numpy as np
import pytest

from vision.together.agree import STATED_DEGREES, agree


def two_way(readings: np.ndarray) -> tuple[np.ndarray, float, int]:
    """Residuals and their degrees of freedom of rings plus photos, by plain least squares."""
    n, p = readings.shape
    i, j = np.nonzero(np.isfinite(readings))
    design = np.zeros((len(i), n + p - 1))
    design[np.arange(len(i)), i] = 1.0
    rows = j > 0
    design[np.nonzero(rows)[0], n + j[rows] - 1] = 1.0
    seen = readings[i, j]
    solved, _, rank, _ = np.linalg.lstsq(design, seen, rcond=None)
    residual = seen - design @ solved
    return solved[:n], float(np.sum(residual**2)), len(i) - int(rank)


def test_the_pooled_scatter_is_that_of_a_two_way_layout() -> None:
    # Additive and relative effects are the same where all rings have one size; numpy's least
    # squares over dummy variables is the reference (two-way analysis of variance).
    rng = np.random.default_rng(11)
    readings = 100.0 + rng.normal(0, 0.02, (12, 3)) + np.array([0.0, 0.05, -0.03])
    chance = np.full((12, 3), 0.02)
    found = agree(readings, chance, np.full(3, 0.001), np.full(3, 1 / 3))
    _, squares, degrees = two_way(readings)
    assert found.degrees == degrees == 22
    assert found.ratio == pytest.approx(np.sqrt(squares / degrees) / 0.02, rel=1e-3)
    np.testing.assert_allclose(found.values, readings.mean(axis=1), atol=1e-9)


def test_a_ring_that_one_photo_lacks_is_brought_to_the_mean_of_all_photos() -> None:
    rng = np.random.default_rng(12)
    readings = 100.0 + rng.normal(0, 0.001, (9, 3)) + np.array([0.0, 0.06, -0.06])
    readings[4, 1] = readings[7, 2] = np.nan
    found = agree(readings, np.full((9, 3), 0.001), np.full(3, 0.001), np.full(3, 1 / 3))
    assert found.degrees == two_way(readings)[2]
    np.testing.assert_allclose(found.values, 100.0, atol=0.004)
    assert 100.0 * found.photos == pytest.approx([0.0, 0.06, -0.06], abs=0.003)


def test_a_stated_doubt_is_worth_eight_repetitions() -> None:
    # JCGM 100:2008, G.4.2: u good to 25 % has 8 degrees of freedom.
    assert pytest.approx(1 / (2 * 0.25**2)) == STATED_DEGREES


@pytest.mark.parametrize(("rings", "t95"), [(1, 2.31), (3, 2.23), (13, 2.09), (23, 2.04)])
def test_student_takes_the_place_of_two(rings: int, t95: float) -> None:
    # JCGM 100:2008, table G.2, 95 %: t(8) = 2.31, t(10) = 2.23, t(20) = 2.09, t(30) = 2.04.
    # Readings exactly as far apart as stated leave the level at 1.
    step = np.linspace(-1.0, 1.0, rings) if rings > 1 else np.zeros(1)
    step *= 0.01 * np.sqrt(2 * (rings - 1) / max(float(np.sum(step**2)), 1e-9))
    readings = 100.0 + np.stack([step, -step], axis=1) / 2
    found = agree(readings, np.full((rings, 2), 0.01), np.full(2, 0.01), np.full(2, 0.5))
    assert found.degrees == rings - 1
    assert 2 * found.u_chance[0] == pytest.approx(t95 * 0.01 / np.sqrt(2), rel=0.004)


def test_a_swapped_ring_is_odd_and_spoils_nothing() -> None:
    rng = np.random.default_rng(13)
    readings = 6.0 + rng.normal(0, 0.01, (20, 2))
    readings[6, 1] += 0.12
    found = agree(readings, np.full((20, 2), 0.01), np.full(2, 0.001), np.full(2, 0.5))
    assert np.nonzero(found.odd)[0].tolist() == [6]
    assert found.ratio < 1.4


def test_no_ring_is_odd_in_99_of_100_batches_of_honest_readings() -> None:
    odd = 0
    for seed in range(400):
        rng = np.random.default_rng([14, seed])
        readings = 6.0 + rng.normal(0, 0.01, (24, 2))
        found = agree(readings, np.full((24, 2), 0.01), np.full(2, 0.001), np.full(2, 0.5))
        odd += bool(found.odd.any())
    assert odd <= 10  # 4 are expected; 11 or more come about in 1 of 500 runs (binomial)


def test_rings_that_all_scatter_more_than_stated_are_not_all_odd() -> None:
    rng = np.random.default_rng(15)
    readings = 6.0 + rng.normal(0, 0.03, (24, 2))
    found = agree(readings, np.full((24, 2), 0.01), np.full(2, 0.001), np.full(2, 0.5))
    assert not found.odd.any()
    assert found.ratio == pytest.approx(3.0, rel=0.35)


def test_photos_apart_as_a_whole_beyond_their_scales_widen_u() -> None:
    rng = np.random.default_rng(16)
    readings = 6.0 * (1 + np.array([0.0, 0.01])) + rng.normal(0, 0.01, (20, 2))
    wide = agree(readings, np.full((20, 2), 0.01), np.full(2, 0.001), np.full(2, 0.5))
    assert wide.stretch > 4.0
    assert 100 * np.ptp(wide.photos) == pytest.approx(1.0, abs=0.15)
    fair = agree(readings, np.full((20, 2), 0.01), np.full(2, 0.006), np.full(2, 0.5))
    assert fair.stretch == 1.0
