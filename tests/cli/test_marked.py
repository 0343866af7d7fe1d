"""The marked photo: outlines where the rings are, labels that hide nothing, colours for all."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest

from cli.show.labels import Box, Disc, Wanted, place_labels
from cli.show.marked import (
    CAUTION,
    MEASURED,
    REFERENCE,
    UNUSABLE,
    choose_pen,
    mark,
    marked_jpeg,
    ring_text,
)
from tests.cli.fakes import HEIGHT_PX, WIDTH_PX, result, ring, unusable
from vision.results import Result, Ring, Status

GREY = np.full((HEIGHT_PX, WIDTH_PX, 3), 128, dtype=np.uint8)

# Linear-light matrices of full dichromacy for RGB. G. M. Machado, M. M. Oliveira, L. A. F.
# Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG
# 15(6), 2009: severity 1.0 (numbers from memory).
BLINDNESS = {
    "none": np.eye(3),
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}

LEAST_DIFFERENCE = 30.0
"""CIE76 difference in L*a*b*; 2.3 is just noticeable (from memory), 30 is plain at a glance."""


def seen(bgr: tuple[int, int, int], kind: str) -> np.ndarray:
    """L*a*b* of a colour as an eye of that kind sees it (by scikit-image)."""
    from skimage.color import rgb2lab

    code = np.array(bgr[::-1]) / 255.0
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    linear = np.clip(BLINDNESS[kind] @ linear, 0.0, 1.0)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return rgb2lab(code.reshape(1, 1, 3)).reshape(3)


@pytest.mark.parametrize("kind", BLINDNESS)
def test_colours_stay_apart_for_every_kind_of_colour_vision(kind: str) -> None:
    for one, other in combinations((MEASURED, CAUTION, UNUSABLE, REFERENCE), 2):
        assert np.linalg.norm(seen(one, kind) - seen(other, kind)) > LEAST_DIFFERENCE


def near(picture: np.ndarray, colour: tuple[int, int, int]) -> np.ndarray:
    """Where a picture shows a colour, up to the softening of OpenCV's smooth lines."""
    return np.abs(picture.astype(int) - colour).max(axis=-1) < 40


def part_drawn(marked: np.ndarray, radius: float) -> float:
    """Part of a circle around (320, 240) that is not the grey of the photo."""
    angles = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    x = np.round(320.0 + radius * np.cos(angles)).astype(int)
    y = np.round(240.0 + radius * np.sin(angles)).astype(int)
    return float(np.mean(np.abs(marked[y, x].astype(int) - 128).max(axis=1) > 50))


def large_ring(**changes: Any) -> Ring:
    angles = np.linspace(0.0, 2.0 * np.pi, 360, endpoint=False)
    unit = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    outlines = tuple(np.array([320.0, 240.0]) + radius * unit for radius in (100.0, 150.0))
    return ring(1, center_px=(320.0, 240.0), radius_px=150.0, outlines_px=outlines, **changes)


def bare(rings: Sequence[Ring]) -> Result:
    return result(rings, scale=replace(result().scale, outline_px=None))


def test_outlines_lie_on_the_outlines() -> None:
    rows, columns = np.nonzero(near(mark(GREY, bare([large_ring()]))[:HEIGHT_PX], MEASURED))
    distances = np.hypot(columns - 320.0, rows - 240.0)
    # On the 100 px and 150 px circles, or in the label beyond the ring.
    on_ring = distances[distances < 152.0]
    assert len(on_ring) > 1000
    assert np.all((abs(on_ring - 100.0) < 1.5) | (abs(on_ring - 150.0) < 1.5))
    for radius in (100.0, 150.0):
        assert np.mean(on_ring[abs(on_ring - radius) < 1.5]) == pytest.approx(radius, abs=0.1)


def test_states_differ_in_shape_not_only_in_colour() -> None:
    plain = mark(GREY, bare([large_ring()]))
    warned = mark(GREY, bare([large_ring(warnings=("oval",))]))
    refused = mark(GREY, bare([replace(large_ring(), status=Status.UNUSABLE)]))
    assert [part_drawn(plain, radius) for radius in (100.0, 150.0)] == [1.0, 1.0]
    assert all(0.3 < part_drawn(warned, radius) < 0.8 for radius in (100.0, 150.0))
    # Hatching crosses a circle inside the ring at a few places; the other states leave it free.
    assert 0.02 < part_drawn(refused, 60.0) < 0.3
    assert part_drawn(plain, 60.0) == part_drawn(warned, 60.0) == 0.0


def test_states_differ_in_text() -> None:
    texts = [ring_text(ring(1)), ring_text(ring(1, warnings=("x",))), ring_text(unusable(1, "x"))]
    assert texts == ["1", "1 !", "1 unusable"]


def test_the_photo_is_kept_and_the_legend_stands_below() -> None:
    before = GREY.copy()
    marked = mark(GREY, result([ring(1)]))
    assert np.array_equal(GREY, before)
    assert marked.shape[1] == WIDTH_PX
    assert marked.shape[0] > HEIGHT_PX
    assert np.all(marked[HEIGHT_PX - 1] == 128)
    assert np.all(marked[-1] == 255)


def test_letters_grow_with_the_photo_and_shrink_among_small_rings() -> None:
    large = [ring(1, radius_px=200.0)]
    assert choose_pen(4032, 3024, large).text == pytest.approx(
        2 * choose_pen(2016, 1512, large).text, abs=1
    )
    assert choose_pen(4032, 3024, [ring(1, radius_px=30.0)]).text < 40
    assert choose_pen(64, 64, []).line >= 1


@pytest.mark.parametrize("shape", [(64, 64), (48, 2000), (2000, 48)])
def test_small_and_odd_pictures_are_marked_too(shape: tuple[int, int]) -> None:
    picture = np.zeros((*shape, 3), dtype=np.uint8)
    assert len(marked_jpeg(picture, result([ring(1), unusable(2, "x")]))) > 100


def test_rings_without_outlines_and_sheets_are_marked() -> None:
    sheet = replace(
        result().scale,
        kind="sheet",
        reference="a5",
        outline_px=np.array([[10.0, 10.0], [600.0, 10.0], [600.0, 460.0], [10.0, 460.0]]),
    )
    marked = mark(GREY, result([ring(1, outlines_px=None)], scale=sheet))
    assert near(marked[10, 300], REFERENCE)


def test_labels_cover_no_ring_and_no_other_label() -> None:
    # A hundred rings on a loose grid: room beside each one.
    discs = [
        Disc(x=60.0 + 110.0 * (n % 10), y=60.0 + 110.0 * (n // 10), radius=30.0) for n in range(100)
    ]
    wanted = [Wanted(owner=disc, width=34, height=18, hole=18.0) for disc in discs]
    picture = Box(left=0, top=0, right=1120, bottom=1120)
    boxes = place_labels(wanted, discs, picture)
    for box in boxes:
        assert box.covers(picture) == pytest.approx(34 * 18)
        assert all(box.distance_to(disc.x, disc.y) >= disc.radius for disc in discs)
    assert all(one.covers(other) == 0.0 for one, other in combinations(boxes, 2))


def test_a_label_without_room_beside_goes_into_its_own_ring() -> None:
    middle = Disc(x=100.0, y=100.0, radius=40.0)
    around = [
        Disc(x=100.0 + 70 * np.cos(a), y=100.0 + 70 * np.sin(a), radius=29.0)
        for a in np.linspace(0, 2 * np.pi, 9)[:-1]
    ]
    picture = Box(left=0, top=0, right=200, bottom=200)
    box = place_labels(
        [Wanted(owner=middle, width=30, height=16, hole=30.0)], [middle, *around], picture
    )[0]
    assert box.center == (100.0, 100.0)


def test_labels_stay_in_the_picture() -> None:
    corner = Disc(x=5.0, y=5.0, radius=4.0)
    picture = Box(left=0, top=0, right=100, bottom=100)
    box = place_labels([Wanted(owner=corner, width=20, height=10, hole=0.0)], [corner], picture)[0]
    assert box.covers(picture) == pytest.approx(200.0)
