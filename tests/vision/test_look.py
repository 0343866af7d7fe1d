"""Sharpness, noise and light of pictures whose blur and noise are known."""

import cv2
import numpy as np
import pytest

from tests.vision.drawn import as_photo
from vision.photo.decode import Photo
from vision.photo.look import _medians, look_at

BLUR_REL = 0.1
"""Promised error of the blur where a picture holds sharp steps."""

SIZE = (900, 1200)


def discs(dark: float = 60.0, light: float = 190.0) -> np.ndarray:
    """Dark discs on a light ground, drawn eight times as large and averaged: sharp to a pixel."""
    rng = np.random.default_rng(20241126)
    fine = np.full((SIZE[0] * 4, SIZE[1] * 4), light, np.float32)
    for row in range(8):
        for column in range(10):
            x, y = np.array([column, row]) * 460.0 + 300.0 + rng.uniform(-60, 60, 2)
            cv2.circle(fine, (int(x), int(y)), int(rng.uniform(90, 150)), dark, cv2.FILLED)
    return cv2.resize(fine, SIZE[::-1], interpolation=cv2.INTER_AREA)


def photo(grey: np.ndarray, noise: float = 1.0) -> Photo:
    rng = np.random.default_rng(20241127)
    noisy = grey[..., None] + noise * rng.standard_normal((*grey.shape, 3), dtype=np.float32)
    return as_photo(np.clip(np.rint(noisy), 0, 255).astype(np.uint8))


@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0, 7.0])
@pytest.mark.parametrize("noise", [0.5, 4.0, 10.0])
def test_the_blur_of_steps_is_found(sigma: float, noise: float) -> None:
    # A pixel's own area adds its variance, 1/12, to the blur.
    truth = np.hypot(sigma, 12**-0.5)
    found = look_at(photo(cv2.GaussianBlur(discs(), (0, 0), sigma), noise)).blur_px
    assert found == pytest.approx(truth, rel=BLUR_REL if noise < 10 else 0.25)


def test_a_photo_shaken_along_one_direction_is_told_by_that_direction() -> None:
    # A move of n pixels has the variance of a uniform distribution, n^2 / 12.
    line = np.full((1, 15), 1 / 15, np.float32)
    for kernel in (line, line.T):
        still = cv2.GaussianBlur(discs(), (0, 0), 1.0)
        found = look_at(photo(cv2.filter2D(still, -1, kernel))).blur_px
        # The model is a Gaussian blur: of a move it tells the direction and the order, no more.
        truth = np.hypot(1.0, 15 * 12**-0.5)
        assert 0.6 * truth < found < 1.5 * truth


def test_a_surface_without_edges_has_no_sharpness() -> None:
    assert look_at(photo(np.full(SIZE, 180.0, np.float32), 3.0)).blur_px is None


@pytest.mark.parametrize(("level", "noise"), [(200, 2.0), (200, 12.0), (90, 5.0)])
def test_noise_is_told_as_a_share_of_the_light(level: int, noise: float) -> None:
    # sRGB (IEC 61966-2-1): light = ((c + 0.055) / 1.055)^2.4, its relative slope 2.4 / (c + 0.055).
    slope = 2.4 / (level / 255 + 0.055) / 255
    rounding = 12**-0.5  # to whole levels
    look = look_at(photo(np.full(SIZE, float(level), np.float32), noise))
    assert look.noise_rel == pytest.approx(np.hypot(noise, rounding) * slope, rel=0.1)


def test_edges_and_shading_are_no_noise() -> None:
    shaded = discs() * np.linspace(0.6, 1.0, SIZE[1], dtype=np.float32)
    assert look_at(photo(shaded, 0.0)).noise_rel < 0.005


def test_the_burnt_share_counts_where_all_channels_are_at_their_end() -> None:
    bgr = np.full((*SIZE, 3), 120, np.uint8)
    bgr[:450] = 255
    bgr[450:600, :, 1] = 255
    look = look_at(as_photo(bgr))
    assert look.burnt_share == pytest.approx(0.5, abs=0.01)


def test_a_picture_of_any_size_is_looked_at() -> None:
    for shape in ((64, 64, 3), (70, 3000, 3), (1500, 66, 3)):
        assert look_at(as_photo(np.full(shape, 128, np.uint8))).span == 0.0


@pytest.mark.parametrize("count", [1, 2, 7, 8, 3844])
def test_counted_medians_are_those_of_numpy(count: int) -> None:
    rows = np.random.default_rng(count).integers(0, 60, (5, count)).astype(np.int16)
    np.testing.assert_array_equal(_medians(rows), np.median(rows, axis=1))
