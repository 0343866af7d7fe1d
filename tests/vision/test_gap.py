"""Closure gap, ovality and colour, on drawn wire whose cut, shape and colour are known."""

import cv2
import numpy as np
import pytest

from tests.vision.drawn import BLUR_PX, PAPER, coded
from vision.photo.decode import Photo
from vision.photo.light import LINEAR
from vision.rings.colour import colours_of
from vision.rings.gap import find_gaps
from vision.rings.torus import RADIUS, torus
from vision.scale.camera import Camera, looking_down

SIDE = 400
PX_PER_MM = 25.0
CAMERA = Camera(
    rotation=looking_down(0.0, 0.0),
    position=np.array([0.0, 0.0, 1e6]),
    f_px=1e6 * PX_PER_MM,
    cx=(SIDE - 1) / 2,
    cy=(SIDE - 1) / 2,
)
RING = torus(0.0, 0.0, id_mm=8.0, wire_mm=1.6)
FINE = 4


def wire(
    colour_bgr: tuple[float, float, float] = (0.45, 0.5, 0.55),
    *,
    gap_mm: float = 0.0,
    gap_deg: float = 0.0,
    white: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> Photo:
    """A round wire with a bright band, drawn in linear light with four points a pixel each way."""
    steps = (np.arange(SIDE * FINE) + 0.5) / FINE - 0.5 - (SIDE - 1) / 2
    x, y = np.meshgrid(steps / PX_PER_MM, -steps / PX_PER_MM)
    across = (np.hypot(x, y) - RING[2]) / RING[3]
    shade = 0.55 + 0.45 * np.sqrt(np.clip(1.0 - across**2, 0.0, 1.0))
    along = np.cos(np.deg2rad(gap_deg)) * x + np.sin(np.deg2rad(gap_deg)) * y
    aside = np.cos(np.deg2rad(gap_deg)) * y - np.sin(np.deg2rad(gap_deg)) * x
    metal = (np.abs(across) < 1.0) & ~((along > 0) & (np.abs(aside) < gap_mm / 2))
    light = np.where(metal[..., None], shade[..., None] * np.array(colour_bgr), PAPER)
    mean = light.reshape(SIDE, FINE, SIDE, FINE, 3).mean(axis=(1, 3)).astype(np.float32)
    return coded(cv2.GaussianBlur(mean, (0, 0), BLUR_PX) * np.float32(white), None)


# --- the cut


@pytest.mark.parametrize("direction", [3.0, 90.0, 200.0, 357.0])
@pytest.mark.parametrize("width", [0.3, 0.4, 0.8])
def test_a_cut_is_found_where_it_is_and_as_wide_as_it_is(width: float, direction: float) -> None:
    """Width to 0.05 mm, about a pixel; direction to one degree, 0.08 mm on the wire."""
    gap = find_gaps(wire(gap_mm=width, gap_deg=direction), CAMERA, RING[None]).result()[0]
    assert gap is not None
    assert gap.width * RING[RADIUS] == pytest.approx(width, abs=0.05)
    assert (gap.direction_deg - direction + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1.0)


def test_a_narrow_cut_is_not_read_narrower_than_it_is() -> None:
    widths = [
        find_gaps(wire(gap_mm=width, gap_deg=90.0), CAMERA, RING[None]).result()[0]
        for width in (0.1, 0.2)
    ]
    assert [gap.width * RING[RADIUS] for gap in widths if gap] == pytest.approx(
        [0.1, 0.2], abs=0.05
    )


def test_a_closed_ring_has_no_cut() -> None:
    assert find_gaps(wire(), CAMERA, RING[None]).result()[0] is None


def test_a_lamp_s_reflection_is_no_cut() -> None:
    """A highlight runs along the wire for 40 degrees; a cut is narrow."""
    photo = wire()
    t = np.deg2rad(np.linspace(100.0, 140.0, 60))
    radius = RING[2] * PX_PER_MM
    middle = (SIDE - 1) / 2
    line = np.stack([middle + radius * np.cos(t), middle - radius * np.sin(t)], axis=1)
    cv2.polylines(photo.bgr, [np.rint(line).astype(np.int32)], False, (250, 250, 250), 6)
    assert find_gaps(photo, CAMERA, RING[None]).result()[0] is None


# --- colour


@pytest.mark.parametrize(
    ("linear_rgb", "name"),
    [
        # Reflectance of polished metal over the visible range, from memory: copper 0.95/0.64/0.54,
        # brass 0.90/0.75/0.40, aluminium and silver nearly equal in all three.
        ((0.955, 0.638, 0.538), "copper-coloured"),
        ((0.887, 0.789, 0.434), "brass-coloured"),
        ((0.913, 0.922, 0.924), "silver-coloured"),
        ((0.56, 0.57, 0.58), "silver-coloured"),
        ((0.02, 0.02, 0.02), "black"),
        ((0.03, 0.30, 0.06), "green"),
    ],
)
def test_colours_are_named_as_a_maker_would(linear_rgb: tuple, name: str) -> None:
    photo = wire((0.75 * linear_rgb[2], 0.75 * linear_rgb[1], 0.75 * linear_rgb[0]))
    assert colours_of(photo, CAMERA, RING[None])[0] == name


@pytest.mark.parametrize(
    ("srgb", "name"),
    [
        # Lab hue of sRGB primaries and of named web colours, by scikit-image: red 40, crimson 25,
        # orange 73, blue 306 degrees.
        ((255, 0, 0), "red"),
        ((220, 20, 60), "red"),
        ((255, 165, 0), "orange"),
        ((0, 0, 255), "blue"),
    ],
)
def test_dyes_are_named_by_their_hue(srgb: tuple[int, int, int], name: str) -> None:
    red, green, blue = (0.6 * float(LINEAR[value]) for value in srgb)
    assert colours_of(wire((blue, green, red)), CAMERA, RING[None])[0] == name


@pytest.mark.parametrize("white", [(0.75, 0.95, 1.0), (1.0, 0.95, 0.85)])
def test_warm_and_cool_light_do_not_change_the_name(white: tuple[float, float, float]) -> None:
    """The paper is taken as white: a lamp's tint falls on both."""
    grey = wire((0.5, 0.5, 0.5), white=white)
    assert colours_of(grey, CAMERA, RING[None])[0] == "silver-coloured"
    copper = wire((0.75 * 0.538, 0.75 * 0.638, 0.75 * 0.955), white=white)
    assert colours_of(copper, CAMERA, RING[None])[0] == "copper-coloured"
