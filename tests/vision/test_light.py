"""Linear light: the curve, between pixels, and wherever it is asked for."""

from threading import Thread

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from vision.photo.decode import Photo
from vision.photo.light import LIGHT_STEPS, LINEAR, TILE, Light
from vision.results import PhotoInfo

RNG = np.random.default_rng(8)


def test_linear_light_undoes_srgb() -> None:
    """IEC 61966-2-1 (from memory): code 0.5 is 0.2140 linear; the ends are fixed."""
    assert LINEAR[0] == 0.0
    assert LINEAR[255] == 1.0
    assert np.interp(127.5, np.arange(256), LINEAR) == pytest.approx(0.2140, abs=1e-4)


def test_light_between_pixels_is_that_of_straight_lines() -> None:
    """Beside `scipy.ndimage.map_coordinates` of first order; many rows, as OpenCV takes them."""
    bgr = RNG.integers(0, 256, (90, 120, 3)).astype(np.uint8)
    info = PhotoInfo(file="a", width_px=120, height_px=90, taken=None, sha256="")
    photo = Photo(info=info, bgr=bgr, f35_mm=None)
    points = RNG.uniform(-3.0, 123.0, (50, 4096, 2))
    light = photo.sample(points)
    for channel in range(3):
        expected = map_coordinates(
            LINEAR[bgr[..., channel]], [points[..., 1], points[..., 0]], order=1, mode="nearest"
        )
        np.testing.assert_allclose(light[..., channel], expected, atol=2e-5)


def picture(height: int, width: int) -> np.ndarray:
    return RNG.integers(0, 256, (height, width, 3)).astype(np.uint8)


def expected(bgr: np.ndarray, across: np.ndarray, down: np.ndarray) -> np.ndarray:
    """By `scipy.ndimage.map_coordinates`, in `LIGHT_STEPS`."""
    channels = [
        map_coordinates(LINEAR[bgr[..., k]], [down, across], order=1, mode="nearest")
        for k in range(3)
    ]
    return LIGHT_STEPS * np.stack(channels, axis=-1)


@pytest.mark.parametrize("size", [(5, 9), (TILE, 2 * TILE), (3 * TILE + 1, 5 * TILE - 1)])
def test_light_is_there_wherever_it_is_read(size: tuple[int, int]) -> None:
    """A few rows of points after the other, near borders of tiles and beyond the picture's."""
    bgr = picture(*size)
    light = Light(bgr)
    for _ in range(60):
        middle = RNG.uniform(-20.0, np.array(size[::-1]) + 20.0, (3, 2))
        near = (middle[:, None] + RNG.normal(0.0, 8.0, (3, 40, 2))).astype(np.float32)
        across, down = (np.ascontiguousarray(near[..., axis]) for axis in (0, 1))
        across[0, 0] = TILE - 1e-3  # between the last column of a tile and the next one
        seen = light.sample(across, down)
        np.testing.assert_allclose(seen, expected(bgr, across, down), atol=2.0)


def test_points_that_are_nowhere_do_no_harm() -> None:
    bgr = picture(100, 100)
    places = np.array([[np.nan, np.inf, -np.inf, 1e30], [50.0, 51.0, 52.0, 53.0]], np.float32)
    seen = Light(bgr).sample(places, np.full((2, 4), 20.0, np.float32))
    np.testing.assert_allclose(seen[1], LIGHT_STEPS * LINEAR[bgr[20, 50:54]], atol=1.0)


def test_threads_that_read_at_once_read_the_same() -> None:
    bgr = picture(500, 700)
    across, down = np.meshgrid(np.arange(700, dtype=np.float32), np.arange(500, dtype=np.float32))
    light, seen = Light(bgr), {}

    def read(number: int) -> None:
        order = np.roll(np.arange(0, 500, 20), 5 * number)
        seen[number] = {
            top: light.sample(across[top : top + 20], down[top : top + 20]) for top in order
        }

    threads = [Thread(target=read, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for each in seen.values():
        whole = np.concatenate([each[top] for top in sorted(each)])
        np.testing.assert_array_equal(whole, np.rint(LINEAR[bgr] * LIGHT_STEPS))
