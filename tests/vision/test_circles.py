"""Round things in drawn pictures whose places and radii are known."""

import cv2
import numpy as np
import pytest

from tests.vision.drawn import as_photo
from vision.photo.circles import Nest, find_circles
from vision.photo.decode import Photo

SIZE = (900, 1200)
RING = (60.0, 84.0)
"""Inner and outer radius of the drawn ring, pixels: at this size the photo is not reduced."""
NEAR_PX = 1.5
"""Circles lie on whole pixels of their level."""


def rings(*places: tuple[float, float], radii: tuple[float, float] = RING) -> Photo:
    """Dark rings on light paper, drawn with exact edges a pixel soft, and a little noise."""
    y, x = np.mgrid[: SIZE[0], : SIZE[1]].astype(float)
    light = np.full(SIZE, 190.0)
    for place in places:
        far = np.hypot(x - place[0], y - place[1])
        metal = np.clip(far - radii[0] + 0.5, 0, 1) * np.clip(radii[1] - far + 0.5, 0, 1)
        light -= 110.0 * metal
    noise = np.random.default_rng(20261126).normal(0.0, 1.0, SIZE)
    grey = np.clip(np.rint(light + noise), 0, 255).astype(np.uint8)
    return as_photo(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR))


def nest_at(nests: list[Nest], x: float, y: float) -> Nest:
    return min(nests, key=lambda nest: np.hypot(nest.x - x, nest.y - y))


@pytest.mark.parametrize("place", [(600.0, 450.0), (613.3, 431.8)])
@pytest.mark.parametrize("radii", [(12.0, 17.0), (60.0, 84.0), (190.0, 240.0)])
def test_both_outlines_of_a_ring_are_found(place, radii) -> None:
    nest = nest_at(find_circles(rings(place, radii=radii)), *place)
    for radius in radii:
        level = 2 ** max(0, int(np.floor(np.log2(radius / 12.0))))
        circle = min(nest.circles, key=lambda c: abs(c.radius - radius))
        assert circle.radius == pytest.approx(radius, abs=NEAR_PX * level)
        assert np.hypot(circle.x - place[0], circle.y - place[1]) < 2.0 * NEAR_PX * level
        assert circle.cover > 0.8


def test_a_ring_beyond_the_picture_s_edge_counts_by_the_part_inside() -> None:
    """Its middle lies outside; a third of it is seen."""
    for place in ((-20.0, 450.0), (1215.0, 880.0), (600.0, -15.0)):
        nest = nest_at(find_circles(rings(place)), *place)
        assert np.hypot(nest.x - place[0], nest.y - place[1]) < 20.0
        assert max(circle.cover for circle in nest.circles) > 0.8


def test_each_of_many_rings_has_one_nest() -> None:
    places = [(x, y) for x in range(120, 1200, 240) for y in range(130, 900, 210)]
    found = find_circles(rings(*places))
    for place in places:
        near = [n for n in found if np.hypot(n.x - place[0], n.y - place[1]) < RING[0]]
        assert len(near) == 1


def test_bare_paper_has_no_circles() -> None:
    assert find_circles(rings()) == []
