"""The geometric ellipse fit against its published example, scikit-image and OpenCV."""

import cv2
import numpy as np
import pytest
from skimage.measure import EllipseModel

from vision.scale.ellipse import fit_ellipse

# Gander, Golub, Strebel, BIT 34 (1994): eight points and their published geometric fit, as quoted
# in the demo of N. Chernov's package conicfit. A version with two swapped values circulates.
POINTS = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7], [6, 2], [8, 4]], float)
PUBLISHED = {"x": 2.6996, "y": 3.8160, "major": 6.5187, "minor": 3.0319, "angle": 0.3596}
PUBLISHED_RSS = 1.3733


def test_the_published_example_is_reached() -> None:
    ellipse = fit_ellipse(POINTS)
    assert ellipse.sum_squares == pytest.approx(PUBLISHED_RSS, abs=1e-4)
    found = (ellipse.x, ellipse.y, ellipse.semi_major, ellipse.semi_minor, ellipse.angle)
    assert found == pytest.approx(tuple(PUBLISHED.values()), abs=2e-4)


def test_the_swapped_points_give_another_ellipse() -> None:
    """Trap: (6, 7), (3, 2) for (3, 7), (6, 2); its fit was computed with scipy's least_squares."""
    swapped = POINTS.copy()
    swapped[[5, 6]] = [[6, 7], [3, 2]]
    assert fit_ellipse(swapped).sum_squares == pytest.approx(1.451884, abs=1e-5)


def test_no_algebraic_fit_is_nearer() -> None:
    """scikit-image and OpenCV minimise algebraic errors; ours is the geometric minimum."""
    ours = fit_ellipse(POINTS).sum_squares
    model = EllipseModel.from_estimate(POINTS)
    assert np.sum(model.residuals(POINTS) ** 2) > ours
    (x, y), (width, height), degrees = cv2.fitEllipse(POINTS.astype(np.float32))
    theirs = EllipseModel((x, y), (width / 2, height / 2), np.deg2rad(degrees))
    assert np.sum(theirs.residuals(POINTS) ** 2) > ours


@pytest.mark.parametrize("turn", [0.0, 0.4, 1.3, 2.9])
def test_a_whole_noisy_ellipse_comes_back(turn: float) -> None:
    """All three agree on a full outline; standard error of the axes is about sigma sqrt(2 / n)."""
    rng = np.random.default_rng(20240501)
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    u, v = 300 * np.cos(t), 285 * np.sin(t)
    points = np.stack(
        [1000 + np.cos(turn) * u - np.sin(turn) * v, 800 + np.sin(turn) * u + np.cos(turn) * v], 1
    )
    points += rng.normal(0, 0.5, points.shape)
    ours = fit_ellipse(points)
    (x, y), size, _ = cv2.fitEllipseDirect(points.astype(np.float32))
    assert (ours.x, ours.y) == pytest.approx((x, y), abs=0.05)
    assert (ours.semi_minor, ours.semi_major) == pytest.approx(np.sort(size) / 2, abs=0.1)
    assert (ours.semi_major, ours.semi_minor) == pytest.approx((300, 285), abs=0.15)


def test_too_few_points_are_refused() -> None:
    with pytest.raises(ValueError, match=r"got \(5, 2\)"):
        fit_ellipse(POINTS[:5])
