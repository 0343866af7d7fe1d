"""Traced pictures against closed formulas; skipped without Mitsuba (the extra `render`)."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from tests.scenes.camera import place_camera
from tests.scenes.phone import bend
from tests.scenes.ring import PlacedRing, RingShape, lay, pose_of
from tests.scenes.studio import Room, trace
from tests.scenes.surface import Patch, SheetLying, paint, print_sheet

mi = pytest.importorskip(
    "mitsuba", reason="Mitsuba is not installed: rendered pictures are NOT checked here"
)

OUTLINE_TOLERANCE_PX = 0.1
"""Largest median offset of the outline in the picture from the projected torus."""
SPREAD_TOLERANCE_PX = 0.1


@pytest.fixture(scope="module", autouse=True)
def variant() -> None:
    mi.set_variant("scalar_rgb")


def plain(width_mm: float = 60.0) -> Patch:
    return paint("plain", (width_mm, width_mm), np.random.default_rng(1))


def shadowless_ring() -> PlacedRing:
    """A closed, oval, tilted ring."""
    shape = RingShape(wire_mm=1.4, id_mm=8.0, ovality=0.01, oval_direction_deg=25)
    pose = pose_of(40.0, 2.0, 110.0)
    ring = PlacedRing(
        shape=shape,
        material="matt_black",
        group="",
        id_nominal_mm=8.0,
        wire_nominal_mm=1.4,
        pose=pose,
        centre_mm=np.zeros(3),
    )
    return lay(ring, x_mm=1.2, y_mm=-0.9, pose=pose)


def edge_offsets(
    light: NDArray[np.float64], outline: NDArray[np.float64], outwards: float
) -> NDArray[np.float64]:
    """Distance of the picture's edge beyond each outline point (n, 2), by the area of darkness.

    Along a short path across a sharp edge, the mean darkness tells where the edge is; no
    threshold and no fit is involved.
    """
    from scipy.ndimage import map_coordinates

    tangent = np.roll(outline, -1, axis=0) - np.roll(outline, 1, axis=0)
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    centre = outline.mean(axis=0)
    normal *= np.sign(np.sum(normal * (outline - centre), axis=1))[:, None] * outwards
    steps = np.linspace(-3, 3, 121)
    paths = outline[:, None, :] + steps[None, :, None] * normal[:, None, :]
    profile = map_coordinates(light, [paths[..., 1], paths[..., 0]], order=1)
    bright = profile[:, -10:].mean()
    dark = 1 - profile / bright
    return dark.mean(axis=1) * 6 - 3


@pytest.mark.parametrize(("k1", "tilt_deg"), [(0.0, 0.0), (0.02, 5.0)])
def test_the_outline_in_the_picture_is_the_projected_torus(
    tmp_path: Path, k1: float, tilt_deg: float
) -> None:
    # Expected outline: tangency n . (camera - point) = 0 in closed form, `PlacedRing.outlines`,
    # itself checked against the formulas for a lying torus in `test_geometry.py`.
    camera = place_camera(
        width=400, height=320, f35_true=60.0, distance_mm=60.0, tilt_deg=tilt_deg, k1=k1
    )
    camera = dataclasses.replace(camera, cx=203.3, cy=157.1)
    ring = shadowless_ring()
    room = Room(
        camera=camera,
        light="back_lit",
        table=plain(),
        sheet=None,
        things={"matt_black": ring.mesh()},
    )
    light = bend(trace(room, spp=64, seed=3, folder=tmp_path), camera).mean(axis=2)
    outer, inner = ring.outlines(camera)
    for outline, outwards in ((outer[:-1:4], 1.0), (inner[:-1:4], -1.0)):
        offsets = edge_offsets(light.astype(float), outline, outwards)
        assert abs(np.median(offsets)) < OUTLINE_TOLERANCE_PX
        assert np.std(offsets) < SPREAD_TOLERANCE_PX


def test_a_sheet_is_not_mirrored_and_stands_where_it_says(tmp_path: Path) -> None:
    # An F has no symmetry: the picture seen from above must show it as it was drawn.
    page = Image.new("L", (296, 210), 255)
    font = ImageFont.load_default(size=180)
    ImageDraw.Draw(page).text((130, 95), "F", fill=0, font=font, anchor="mm")
    page.save(tmp_path / "f.png")
    sheet = print_sheet(SheetLying(paper="a6"), tmp_path / "f.png")  # 148 x 105 mm
    camera = place_camera(width=296, height=210, f35_true=26.0, distance_mm=200.0)
    camera = dataclasses.replace(camera, f_px=400.0)  # 2 px a millimetre: pixel for pixel
    room = Room(camera=camera, light="back_lit", table=plain(), sheet=sheet, things={})
    seen = bend(trace(room, spp=16, seed=4, folder=tmp_path), camera).mean(axis=2)
    drawn = np.asarray(page, dtype=float) / 255
    likeness = [
        np.corrcoef(picture.ravel(), seen.ravel())[0, 1]
        for picture in (drawn, drawn[::-1], drawn[:, ::-1], drawn[::-1, ::-1])
    ]
    assert likeness[0] > 0.98
    assert max(likeness[1:]) < 0.9


def test_print_lies_where_the_truth_puts_it_to_a_fiftieth_of_a_pixel(tmp_path: Path) -> None:
    # A black rectangle on a turned and stretched sheet. A camera straight above draws its centre
    # at f x / Z (pinhole) and its area as width x height x (f / Z)^2; neither needs a threshold.
    page = np.full((1050, 1480), 255, dtype=np.uint8)  # A6, 10 dots a millimetre
    page[300:500, 900:1200] = 0  # 30 x 20 mm, 31 mm right of and 12.5 mm above
    Image.fromarray(page).save(tmp_path / "page.png")
    lying = SheetLying(paper="a6", x_mm=2.0, y_mm=-1.0, turn_deg=7.0, print_scale=(1.01, 0.98))
    camera = place_camera(width=420, height=300, f35_true=26.0, distance_mm=200.0)
    room = Room(
        camera=camera,
        light="back_lit",
        table=plain(),
        sheet=print_sheet(lying, tmp_path / "page.png"),
        things={},
    )
    light = bend(trace(room, spp=64, seed=5, folder=tmp_path), camera).mean(axis=2)
    turn = np.radians(7.0)
    x, y = 31.0 * 1.01, 12.5 * 0.98
    centre = np.array(
        [x * np.cos(turn) - y * np.sin(turn) + 2.0, x * np.sin(turn) + y * np.cos(turn) - 1.0, 0.0]
    )
    expected = camera.project(centre[None])[0]
    per_mm = camera.f_px / 200.0
    half = round(20 * per_mm)
    left, top = np.round(expected).astype(int) - half
    part = light[top : top + 2 * half + 1, left : left + 2 * half + 1].astype(float)
    white, black = np.median(part), part[half, half]
    dark = np.clip((white - part) / (white - black), 0, 1)
    dark[dark < 0.05] = 0  # noise of the white paper
    rows, columns = np.indices(dark.shape)
    found = np.array([(dark * columns).sum(), (dark * rows).sum()]) / dark.sum() + (left, top)
    np.testing.assert_allclose(found, expected, atol=0.02)
    assert dark.sum() == pytest.approx(30 * 1.01 * 20 * 0.98 * per_mm**2, rel=0.004)
