"""Rings cut open together: each comes back in its place, wide ones from a halved picture."""

from dataclasses import replace

import numpy as np
import pytest

from vision.photo.decode import Photo
from vision.results import PhotoInfo
from vision.rings.edges import APART_PX, _parts, in_parts
from vision.rings.torus import ring_angles
from vision.rings.unwrap import FINE, LENGTH_UNIT_PX, S_FROM, S_TO, Unwrapped

SIDE = 900


@pytest.fixture(autouse=True)
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the small picture count as a large one."""
    monkeypatch.setattr("vision.rings.edges.MANY_PIXELS", SIDE * SIDE)


def smooth_photo() -> Photo:
    """Light that changes slowly, so that halving takes nothing from it."""
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE))
    waves = [np.sin(x / 41.0 + k) + np.cos(y / 37.0 - k) for k in range(3)]
    bgr = np.rint(130.0 + 50.0 * np.stack(waves, axis=-1)).astype(np.uint8)
    info = PhotoInfo(file="a", width_px=SIDE, height_px=SIDE, taken=None, sha256="")
    return Photo(info=info, bgr=bgr, f35_mm=None)


def cut_open(widths: list[float]) -> Unwrapped:
    """Rings of these widths in pixels, around places of their own, in one go."""
    angles = ring_angles(FINE.sectors * FINE.rays)
    ray = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    middles = np.array([[420.0 + 9.0 * k, 450.0 - 7.0 * k] for k in range(len(widths))])
    inner = middles[:, None] + 60.0 * ray
    outer = middles[:, None] + (60.0 + np.array(widths)[:, None, None]) * ray

    def seen(which: np.ndarray, unwrapped: Unwrapped) -> Unwrapped:
        """Each ring's number in place of its paper's light."""
        return replace(unwrapped, paper=which.astype(float))

    unwrapped = in_parts(smooth_photo(), inner, outer, FINE, seen)
    np.testing.assert_array_equal(unwrapped.paper, np.arange(len(widths)))
    return unwrapped


def test_each_ring_comes_back_in_its_place() -> None:
    widths = [20.0, 100.0, 30.0, 50.0, 200.0, 25.0]
    together = cut_open(widths)
    seen_px = together.planes[:, 5, 0, 0] * LENGTH_UNIT_PX
    assert seen_px == pytest.approx([20.0, 25.0, 30.0, 25.0, 25.0, 25.0], rel=1e-4)
    assert seen_px.max() * (S_TO - S_FROM) / FINE.samples < APART_PX


def test_a_small_picture_is_read_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vision.rings.edges.MANY_PIXELS", SIDE * SIDE + 1)
    seen_px = cut_open([20.0, 100.0]).planes[:, 5, 0, 0] * LENGTH_UNIT_PX
    assert seen_px == pytest.approx([20.0, 100.0], rel=1e-4)


def test_wide_wire_looks_the_same_in_a_halved_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    halved = cut_open([60.0, 110.0])
    monkeypatch.setattr("vision.rings.edges.APART_PX", 1000.0)
    whole = cut_open([60.0, 110.0])
    for light in (slice(0, 3), slice(6, 9)):
        np.testing.assert_allclose(halved.planes[:, light], whole.planes[:, light], atol=0.01)
    np.testing.assert_array_equal(halved.clear, whole.clear)


@pytest.mark.parametrize(("count", "parts"), [(1, 1), (4, 1), (5, 2), (57, 2), (60, 4)])
def test_few_rings_are_read_together_and_many_in_even_parts(count: int, parts: int) -> None:
    """Of 6,912 samples each, from 30,000 on, at most some 200,000 a part."""
    grid = replace(FINE, rays=12)
    sizes = [len(part) for part in _parts(np.ones(count, bool), grid)]
    assert len(sizes) == parts and sum(sizes) == count and max(sizes) - min(sizes) <= 1
