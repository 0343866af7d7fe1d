"""Drawn photos of wire alone, measured from the photo to the numbers."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pytest

from tests.vision.drawn import photo_of
from vision.cores import Aside
from vision.errors import RingsError
from vision.photo.circles import find_circles
from vision.photo.decode import Photo
from vision.pipeline import read_rings
from vision.results import Ring, Status, Wire
from vision.rings.find import find_rings, is_ring
from vision.rings.others import unlike_table
from vision.scale.camera import Camera, looking_down
from vision.scale.reference import Reference, see_reference
from vision.wires.seeds import straight_lines

HEIGHT_MM = 160.0
PX_PER_MM = 20.0
SIZE = (1200, 900)
CAMERA = Camera(
    rotation=looking_down(0.0, 0.0),
    position=np.array([0.0, 0.0, HEIGHT_MM]),
    f_px=PX_PER_MM * HEIGHT_MM,
    cx=(SIZE[0] - 1) / 2,
    cy=(SIZE[1] - 1) / 2,
)
STATED = Reference(mm_per_px=1.0 / PX_PER_MM, height_mm=HEIGHT_MM)
BRIGHT, SHADOW = 0.3, 0.45
"""Light of a grey coated wire, and the loss of light of the paper beside it."""
U95_MOST = 0.05
"""Greatest U that counts, as a share of the width: one that covers anything says nothing."""

Painter = Callable[[Callable[[float], np.ndarray], np.ndarray], None]


def strip(x: float, y: float, turn_deg: float, width: float, length: float) -> Painter:
    """A wire as seen from far above: its silhouette lies half a width up, its shadow around it."""
    turn = np.radians(turn_deg)
    way, left = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])

    def paint(on_plane: Callable[[float], np.ndarray], light: np.ndarray) -> None:
        offset = on_plane(width / 2) - (x, y)
        along, aside = abs(offset @ way), abs(offset @ left)
        beyond = np.hypot(np.maximum(along - length / 2, 0), np.maximum(aside - width / 2, 0))
        light *= (1.0 - SHADOW * np.exp(-2.0 * beyond / width))[..., None].astype(np.float32)
        on = (along < length / 2) & (aside < width / 2)
        across = np.clip(aside[on] / (width / 2), 0.0, 1.0)
        # A matt rounded body: darker towards its sides.
        body = BRIGHT * (0.25 + 0.75 * np.sqrt(1.0 - across**2))
        light[on] = body[:, None]

    return paint


def aside(photo: Photo) -> tuple[Aside[Any], Aside[Any]]:
    """What the whole photo says besides."""
    return Aside(straight_lines, photo), Aside(unlike_table, photo)


def read(*paints: Painter) -> tuple[tuple[Ring, ...], tuple[Wire, ...]]:
    """Rings and wires of a photo; a shaded drawing has no sharp edges to judge sharpness by."""
    photo = photo_of(CAMERA, SIZE, list(paints), 26.0)
    circles = find_circles(photo)
    sight = see_reference(photo, circles, None, STATED, partial(is_ring, photo, circles))
    found = find_rings(photo, sight.camera, circles)
    _, rings, wires = read_rings(photo, sight, found, *aside(photo))
    return rings, wires


def test_a_photo_of_wires_alone_is_measured() -> None:
    rings, wires = read(
        strip(-8.0, 10.0, 20.0, 1.20, 30.0),
        strip(8.0, -6.0, -35.0, 2.00, 24.0),
    )
    assert rings == ()
    assert [wire.status for wire in wires] == [Status.MEASURED] * 2
    for wire, width, length in zip(wires, (1.20, 2.00), (30.0, 24.0), strict=True):
        assert wire.wire_mm is not None
        assert abs(wire.wire_mm.value - width) < wire.wire_mm.u95 < U95_MOST * width
        assert abs(wire.length_mm - length) < 1.5


def test_a_photo_with_edges_and_no_wire_on_a_stated_scale_ends_without_wire() -> None:
    # One step of light, nothing round: no guess of a wire is left to try.
    photo = photo_of(CAMERA, SIZE, [], 26.0)
    bgr = photo.bgr.copy()
    bgr[:, 900:] //= 2
    edge = replace(photo, bgr=bgr)
    with pytest.raises(RingsError):
        sight = see_reference(edge, [], None, STATED, partial(is_ring, edge, []))
        found = find_rings(edge, sight.camera, [])
        read_rings(edge, sight, found, *aside(edge))


def test_grain_of_wood_is_no_wire() -> None:
    """Dark lines of grain along the whole table, as wide as wire and a tenth darker than it."""

    def grain(on_plane: Callable[[float], np.ndarray], light: np.ndarray) -> None:
        across = on_plane(0.0)[..., 1]
        for at in (-14.0, -3.0, 9.0):
            depth = 0.12 * np.exp(-0.5 * ((across - at) / 0.8) ** 4)
            light *= (1.0 - depth)[..., None].astype(np.float32)

    rings, wires = read(grain, strip(0.0, 16.0, 0.0, 1.2, 30.0))
    assert rings == ()
    assert [round(wire.length_mm) for wire in wires] == [30]
