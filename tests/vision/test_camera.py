"""The camera against OpenCV's own projection and closed formulas."""

import cv2
import numpy as np
import pytest

from vision.scale.camera import Camera, focal_px, looking_down

SAME_PX = 1e-8
"""Two implementations of one formula in double precision."""


def a_camera(**changes) -> Camera:
    values = {
        "rotation": looking_down(0.15, -0.08, 0.6),
        "position": np.array([12.0, -7.0, 187.0]),
        "f_px": 3029.0,
        "cx": 2015.5,
        "cy": 1511.5,
        "k1": 0.08,
        "k2": -0.015,
    }
    return Camera(**(values | changes))


def by_opencv(camera: Camera, points: np.ndarray) -> np.ndarray:
    matrix = np.array([[camera.f_px, 0, camera.cx], [0, camera.f_px, camera.cy], [0, 0, 1]])
    turn = cv2.Rodrigues(camera.rotation)[0]
    lens = np.array([camera.k1, camera.k2, 0.0, 0.0])
    pixels, _ = cv2.projectPoints(points, turn, -camera.rotation @ camera.position, matrix, lens)
    return pixels.reshape(-1, 2)


def some_points(count: int = 200) -> np.ndarray:
    return np.random.default_rng(20240501).uniform([-90, -60, 0], [90, 60, 12], (count, 3))


@pytest.mark.parametrize("lens", [(0.0, 0.0), (0.1, -0.05), (-0.1, 0.03)])
@pytest.mark.parametrize("turn", [(0.0, 0.0, 0.0), (0.2, 0.1, 1.0), (-0.4, 0.1, -2.5)])
def test_points_are_drawn_where_opencv_draws_them(lens, turn) -> None:
    camera = a_camera(k1=lens[0], k2=lens[1], rotation=looking_down(*turn))
    points = some_points()
    assert np.abs(camera.project(points) - by_opencv(camera, points)).max() < SAME_PX


def test_the_lens_gives_the_published_check_value() -> None:
    # Check value of OpenCV's model: k1 .1, k2 -.05, p1 .001, p2 -.002, k3 .01, point (.2, .1, 1),
    # unit camera -> (0.20075525, 0.10047763); OpenCV 5.0.0 and the formula of its documentation.
    k3, p1, p2, x, y = 0.01, 0.001, -0.002, 0.2, 0.1
    r2 = x * x + y * y
    camera = Camera(
        rotation=np.eye(3), position=np.zeros(3), f_px=1.0, cx=0.0, cy=0.0, k1=0.1, k2=-0.05
    )
    # The camera has no tangential and no third radial term: add them by hand.
    rest = [
        x * k3 * r2**3 + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
        y * k3 * r2**3 + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
    ]
    drawn = camera.project(np.array([x, y, 1.0])) + rest
    assert drawn == pytest.approx([0.20075525, 0.10047763], abs=1e-8)


@pytest.mark.parametrize("k1", [-0.1, 0.0, 0.1])
def test_a_pixel_s_ray_meets_the_plane_where_the_point_was(k1) -> None:
    camera = a_camera(k1=k1)
    points = some_points()
    points[:, 2] = 3.0
    back = camera.to_plane(by_opencv(camera, points), 3.0)
    assert np.abs(back - points[:, :2]).max() < 1e-6


def test_slopes_are_what_a_small_shift_does() -> None:
    camera, points = a_camera(), some_points(20)
    step = 1e-4
    shifts = np.eye(3) * step
    ahead, behind = (
        np.stack([camera.project(points + sign * shift) for shift in shifts], axis=-1)
        for sign in (1.0, -1.0)
    )
    moved = (ahead - behind) / (2.0 * step)
    for axis, along in enumerate(np.eye(2)):
        slopes = camera.slopes(points, np.tile(along, (len(points), 1)))
        assert slopes == pytest.approx(moved[:, axis], abs=1e-5)


@pytest.mark.parametrize("k1", [-3.0, 3.0])
def test_a_lens_that_folds_the_picture_still_gives_numbers(k1: float) -> None:
    """No pixel of it is right, but none runs away either."""
    corners = np.array([[0.0, 0.0], [4031.0, 3023.0], [2000.0, 1500.0]])
    assert np.isfinite(a_camera(k1=k1, k2=0.0).rays(corners)).all()


def test_a_pixel_straight_below_covers_height_over_focal_length() -> None:
    # Similar triangles.
    camera = a_camera(rotation=looking_down(0.0, 0.0), k1=0.0, k2=0.0)
    assert camera.mm_per_px(np.array([camera.cx, camera.cy])) == pytest.approx(187.0 / 3029.0)
    above = camera.mm_per_px(np.array([camera.cx, camera.cy]), height_mm=2.0)
    assert above == pytest.approx(185.0 / 3029.0)


def test_the_tilt_is_the_angle_to_the_plumb_line() -> None:
    assert a_camera(rotation=looking_down(0.0, 0.0, 2.0)).tilt_deg == pytest.approx(0.0, abs=1e-5)
    assert a_camera(rotation=looking_down(np.radians(12.0), 0.0, 1.0)).tilt_deg == pytest.approx(12)


@pytest.mark.parametrize(
    ("f35", "across_deg", "down_deg"), [(24, 71.59, 56.81), (26, 67.30, 53.06), (28, 63.44, 49.74)]
)
def test_equivalent_focal_length_is_defined_on_the_diagonal(f35, across_deg, down_deg) -> None:
    # Fields of view of a 4:3 picture with the diagonal of 36 x 24 mm (meaning of CIPA DCG-001).
    f_px = focal_px(f35, 4032, 3024)
    assert np.degrees(2 * np.arctan(2016 / f_px)) == pytest.approx(across_deg, abs=0.005)
    assert np.degrees(2 * np.arctan(1512 / f_px)) == pytest.approx(down_deg, abs=0.005)
