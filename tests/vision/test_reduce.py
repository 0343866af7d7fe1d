"""A halved picture: exact means of squares, and where its pixels lie."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from tests.vision.drawn import as_photo
from vision.photo.reduce import halved, halvings


@pytest.mark.parametrize("times", [1, 2, 3])
def test_a_pixel_is_the_mean_of_its_square(times: int) -> None:
    side = 2**times
    picture = np.random.default_rng(20261126).integers(0, 256, (64, 96, 3), dtype=np.uint8)
    means = picture.reshape(64 // side, side, 96 // side, side, 3).mean(axis=(1, 3))
    assert np.abs(halved(picture, times) - means).max() <= 0.5


@pytest.mark.parametrize("shape", [(9, 13), (9, 13, 3)])
def test_rows_and_columns_left_over_are_left_out(shape: tuple[int, ...]) -> None:
    picture = np.zeros(shape, np.uint8)
    picture[8], picture[:, 12] = 255, 255
    assert halved(picture).shape[:2] == (4, 6)
    assert not halved(picture).any()


def test_places_are_kept_by_the_pixel_s_outer_edges() -> None:
    """A bright square of 8 x 8 pixels lights one pixel after three halvings."""
    picture = np.zeros((64, 64), np.uint8)
    picture[16:24, 40:48] = 200
    small = halved(picture, 3)
    assert small[2, 5] == 200
    assert small.sum() == 200
    assert np.arange(40, 48).mean() == (5 + 0.5) * 2**3 - 0.5


def test_a_photo_is_reduced_once_for_all_who_ask() -> None:
    picture = np.random.default_rng(20261127).integers(0, 256, (64, 96, 3), dtype=np.uint8)
    photo = as_photo(picture)
    with ThreadPoolExecutor(4) as threads:
        seen = list(threads.map(photo.halved, [2] * 8))
    assert np.array_equal(seen[0], halved(picture, 2))
    assert all(each is seen[0] for each in seen)


def test_no_halving_leaves_the_picture() -> None:
    picture = np.arange(12, dtype=np.uint8).reshape(3, 4)
    assert np.array_equal(halved(picture, 0), picture)


@pytest.mark.parametrize(
    ("size", "times"),
    [((4032, 3024), 2), ((3024, 4032), 2), ((8064, 6048), 3), ((800, 600), 0), ((32000, 64), 2)],
)
def test_a_photo_is_looked_over_at_some_thousand_pixels(size: tuple[int, int], times: int) -> None:
    """A strip keeps some of its width."""
    assert halvings(size) == times
