"""What else lies on the table: drawn things of known place beside rings that were fitted."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.cli.fakes import result
from tests.vision.drawn import as_photo
from tests.vision.made_fit import fit_of
from vision.results import Scale
from vision.rings.others import Thing, find_others, unlike_table
from vision.rings.torus import torus
from vision.scale.camera import Camera, looking_down

WIDTH, HEIGHT = 1600, 1200
PX_PER_MM = 16.0
CAMERA = Camera(
    rotation=looking_down(0.0, 0.0),
    position=np.array([0.0, 0.0, 1e6]),
    f_px=1e6 * PX_PER_MM,
    cx=(WIDTH - 1) / 2,
    cy=(HEIGHT - 1) / 2,
)
RINGS = np.stack([torus(x, y, 6.0, 1.5) for x in (-20.0, 0.0, 20.0) for y in (-15.0, 15.0)])
BRASS = (90, 150, 180)
AT_EDGE = "cut off by the photo's edge"
NO_RING = "not a ring lying flat for itself"


def paper() -> np.ndarray:
    """Grey paper that darkens by a fifth from left to right, with the rings on it."""
    shade = np.linspace(215.0, 172.0, WIDTH)
    bgr = np.repeat(np.repeat(shade[None, :, None], HEIGHT, axis=0), 3, axis=2)
    bgr = np.clip(bgr + np.random.default_rng(20240501).normal(0, 1.5, bgr.shape), 0, 255)
    picture = bgr.astype(np.uint8)
    for ring in RINGS:
        place = at(ring[0], ring[1])
        cv2.circle(picture, place, int(ring[2] * PX_PER_MM), BRASS, int(1.5 * PX_PER_MM))
    return picture


def at(x_mm: float, y_mm: float) -> tuple[int, int]:
    x, y = CAMERA.project(np.array([x_mm, y_mm, 0.0]))
    return round(float(x)), round(float(y))


def others(picture: np.ndarray, **scale: object) -> list[Thing]:
    bare: Scale = replace(result().scale, camera=CAMERA, outline_px=None, work_px=None)
    return find_others(unlike_table(as_photo(picture)), replace(bare, **scale), fit_of(RINGS))


def test_where_only_rings_lie_there_is_nothing_else() -> None:
    assert others(paper()) == []


def test_the_rings_own_shadows_are_no_things() -> None:
    """A hard shadow, cast a sixth of a ring's radius aside."""
    picture = np.full_like(paper(), 200)
    for shade, shift in (((110, 110, 110), 12), (BRASS, 0)):
        for ring in RINGS:
            x, y = at(ring[0], ring[1])
            radius, width = int(ring[2] * PX_PER_MM), int(1.5 * PX_PER_MM)
            cv2.circle(picture, (x + shift, y + shift // 2), radius, shade, width)
    assert others(picture) == []


def test_a_standing_ring_is_listed_where_it_lies() -> None:
    """Seen from above it is a bar, as long as the ring is wide."""
    picture = paper()
    x, y = at(10.0, 0.0)
    cv2.rectangle(picture, (x - 72, y - 12), (x + 72, y + 12), BRASS, -1)
    (thing,) = others(picture)
    assert (thing.x, thing.y) == pytest.approx((x, y), abs=3.0)
    assert thing.radius_px == pytest.approx(72, abs=5.0)
    assert NO_RING in thing.reason


@pytest.mark.parametrize("shape", ["nut", "offcut", "heap"])
def test_debris_is_listed(shape: str) -> None:
    picture = paper()
    x, y = at(-10.0, 0.0)
    if shape == "nut":
        corners = [
            (x + 50 * np.cos(k * np.pi / 3), y + 50 * np.sin(k * np.pi / 3)) for k in range(6)
        ]
        cv2.fillPoly(picture, [np.array(corners, np.int32)], (120, 118, 115))
        cv2.circle(picture, (x, y), 22, (200, 200, 200), -1)
    elif shape == "offcut":
        cv2.line(picture, (x - 40, y - 20), (x + 40, y + 20), BRASS, 20)
    else:
        for k in range(3):
            cv2.circle(picture, (x + 40 * k, y), 60, BRASS, 24)
    (thing,) = others(picture)
    assert np.hypot(thing.x - x, thing.y - y) < 60
    assert NO_RING in thing.reason


@pytest.mark.parametrize(
    "place", [(0, HEIGHT // 2), (WIDTH - 1, HEIGHT // 2), (WIDTH // 3, 0), (WIDTH // 3, HEIGHT - 1)]
)
def test_a_ring_cut_by_the_edge_is_listed_as_such(place: tuple[int, int]) -> None:
    """Half of it lies outside, as its outlines' middle does: no ring is fitted there."""
    picture = paper()
    cv2.circle(picture, place, 60, BRASS, 24)
    (thing,) = others(picture)
    assert thing.reason == AT_EDGE
    assert np.hypot(thing.x - place[0], thing.y - place[1]) < 72


def test_a_soft_shadow_is_no_thing() -> None:
    """A hand's or a lamp's shadow: a third darker, its border 200 pixels wide."""
    light = np.ones((HEIGHT, WIDTH), np.float32)
    cv2.circle(light, at(10.0, 0.0), 150, 0.66, -1)
    light = cv2.GaussianBlur(light, (0, 0), 60)
    assert others((paper() * light[..., None]).astype(np.uint8)) == []


def test_the_coin_and_its_shadow_are_no_things() -> None:
    picture = paper()
    x, y = at(10.0, 0.0)
    cv2.circle(picture, (x + 12, y + 8), 90, (110, 110, 110), -1)
    cv2.circle(picture, (x, y), 90, (80, 120, 160), -1)
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    outline = np.stack([x + 90 * np.cos(turn), y + 90 * np.sin(turn)], axis=1)
    assert others(picture, outline_px=outline) == []
    assert len(others(picture)) == 1


def test_what_lies_outside_the_sheet_s_area_for_rings_is_left_alone() -> None:
    picture = paper()
    for place in (at(10.0, 0.0), at(45.0, 30.0)):
        cv2.circle(picture, place, 40, BRASS, -1)
    corners = [at(*corner) for corner in ((-35, 25), (35, 25), (35, -25), (-35, -25))]
    (thing,) = others(picture, work_px=np.array(corners, float))
    assert np.hypot(thing.x - at(10.0, 0.0)[0], thing.y - at(10.0, 0.0)[1]) < 3


def test_dust_is_too_small_to_mention() -> None:
    picture = paper()
    cv2.circle(picture, at(10.0, 0.0), 6, (60, 60, 60), -1)
    assert others(picture) == []


@pytest.mark.parametrize("shape", [(64, 32000), (32000, 64)])
def test_a_strip_is_compared_with_its_table_too(shape: tuple[int, int]) -> None:
    picture = np.full((*shape, 3), 200, np.uint8)
    picture[20:44, 20:44] = 90
    unlike = unlike_table(as_photo(picture))
    assert unlike.mask[int(32 * unlike.shrink), int(32 * unlike.shrink)] == 1
    assert unlike.mask.mean() < 0.5
