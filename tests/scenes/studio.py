"""The room: table, window or lamps, walls, a dark phone; and the picture Mitsuba makes of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.scenes.camera import Camera
from tests.scenes.material import MATERIALS, describe, rgb
from tests.scenes.mesh import Mesh, box, write_ply
from tests.scenes.surface import Patch

HALF_ROOM_MM = 1500.0
CEILING_MM = 1700.0
FLOOR_MM = -750.0
TORCH_RADIUS_MM = 2.2
MAX_DEPTH = 7
"""Bounces: enough for table, wire, table, wire, room."""
SPP_PER_PASS = 16
WAVEFRONT = 1.2e8
"""Paths kept in memory at once by the vectorised variants; about 5 GB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """A glowing disc: where, how big, how bright, looking at the origin unless told."""

    at_mm: tuple[float, float, float]
    radius_mm: float
    radiance: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """What lights the table. Walls glow as if lit, which saves tracing their light."""

    ceiling: tuple[float, float, float]
    walls: tuple[float, float, float]
    window: tuple[float, float, float] | None = None
    lamps: tuple[Lamp, ...] = ()
    torch: float = 0.0
    """Radiance of the light beside the lens."""
    table: float = 0.0
    """Radiance of the table itself (a light pad)."""


WARM, COOL = np.array([1.0, 0.86, 0.68]), np.array([0.92, 0.97, 1.0])


def _lamp(x: float, y: float, z: float, radius: float, radiance: float) -> Lamp:
    return Lamp(
        at_mm=(x, y, z),
        radius_mm=radius,
        radiance=tuple(radiance * WARM),
    )


LIGHTS: dict[str, Light] = {
    "soft_window": Light(
        ceiling=tuple(0.42 * COOL), walls=(0.33, 0.32, 0.30), window=tuple(7 * COOL)
    ),
    "overcast": Light(
        ceiling=tuple(0.8 * COOL), walls=(0.42, 0.42, 0.41), window=tuple(3.2 * COOL)
    ),
    "two_lamps": Light(
        ceiling=tuple(0.30 * WARM),
        walls=tuple(0.20 * WARM),
        lamps=(_lamp(-420, 160, 520, 65, 32), _lamp(430, 220, 480, 65, 22)),
    ),
    "hard_lamp": Light(
        ceiling=tuple(0.14 * WARM),
        walls=tuple(0.10 * WARM),
        lamps=(_lamp(330, 260, 430, 22, 320),),
    ),
    "hard_lamp_left": Light(
        ceiling=tuple(0.14 * WARM),
        walls=tuple(0.10 * WARM),
        lamps=(_lamp(-360, 210, 430, 22, 320),),
    ),
    "torch": Light(ceiling=(0.05, 0.05, 0.05), walls=(0.04, 0.04, 0.035), torch=1200.0),
    "dim": Light(
        ceiling=tuple(0.05 * WARM), walls=tuple(0.04 * WARM), lamps=(_lamp(-700, 500, 900, 90, 4),)
    ),
    "back_lit": Light(ceiling=(0.10, 0.10, 0.10), walls=(0.08, 0.08, 0.08), table=1.0),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Room:
    """All that is needed to trace one picture."""

    camera: Camera
    light: str
    table: Patch
    """The surface under everything; its mean colour goes on beyond it."""
    sheet: Patch | None
    """A printed sheet lying on the table."""
    things: Mapping[str, Mesh]
    """Meshes by material name."""


def margin_px(camera: Camera) -> int:
    """How much larger than the photo to render, so that the lens may bend it."""
    corner = np.hypot(camera.width, camera.height) / 2 / camera.f_px
    bend = abs(camera.k1) * corner**2 + abs(camera.k2) * corner**4
    return int(np.ceil(bend * corner * camera.f_px)) + 12


def trace(room: Room, *, spp: int, seed: int, folder: Path) -> NDArray[np.float32]:
    """Trace the scene with a perfect pinhole, linear radiance (h, w, 3), `margin_px` all around.

    Rare bright specks (light that found a lamp by chance after a rough bounce) are dropped: where
    one pass alone is far above all others of the same pixel, it is left out of the mean.
    """
    import drjit as dr
    import mitsuba as mi

    scene = mi.load_dict(describe_room(room, folder))
    margin = margin_px(room.camera)
    size = (room.camera.height + 2 * margin) * (room.camera.width + 2 * margin)
    per_pass = SPP_PER_PASS
    while per_pass > 1 and (per_pass * size > WAVEFRONT or per_pass * 4 > spp):
        per_pass //= 2
    passes = max(1, round(spp / per_pass))
    total, brightest = 0.0, 0.0
    for number in range(passes):
        # Sums stay on the device; only the result is copied.
        one = mi.render(scene, spp=per_pass, seed=1000 * seed + number)
        total, brightest = total + one, dr.maximum(brightest, one)
        dr.eval(total, brightest)
    mean = np.array(total, dtype=np.float32) / passes
    if passes < 3:
        return mean
    peak = np.array(brightest, dtype=np.float32)
    others = (mean * passes - peak) / (passes - 1)
    speck = peak > 4 * others + 0.2 * float(np.median(others))
    return np.where(speck, others, mean)


def describe_room(room: Room, folder: Path) -> dict[str, Any]:
    """Say the whole scene in Mitsuba's words; meshes go through files in `folder`."""
    light = LIGHTS[room.light]
    scene: dict[str, Any] = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": MAX_DEPTH, "rr_depth": 100},
        "sensor": describe_sensor(room.camera),
        **_walls(light),
        **_lamps(light, room.camera),
        **_table(room, light),
    }
    extras = {"phone": _phone(room.camera), "clothes": _person()}
    for material, mesh in {**room.things, **extras}.items():
        path = folder / f"{material}.ply"
        write_ply(mesh, path)
        scene[f"thing_{material}"] = {
            "type": "ply",
            "filename": str(path),
            "bsdf": describe(MATERIALS[material]),
        }
    return scene


def describe_sensor(camera: Camera) -> dict[str, Any]:
    """A pinhole without distortion, centred, with a margin around the photo."""
    import mitsuba as mi

    margin = margin_px(camera)
    width, height = camera.width + 2 * margin, camera.height + 2 * margin
    # Mitsuba's own camera frame has x to the left and y up.
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2] = (
        -camera.rotation[0],
        -camera.rotation[1],
        camera.rotation[2],
    )
    pose[:3, 3] = camera.position
    return {
        "type": "perspective",
        "fov": float(np.degrees(2 * np.arctan(width / 2 / camera.f_px))),
        "fov_axis": "x",
        "near_clip": 1.0,
        "far_clip": 1e5,
        "to_world": mi.ScalarTransform4f(pose),
        "film": {
            "type": "hdrfilm",
            "width": width,
            "height": height,
            "pixel_format": "rgb",
            "component_format": "float32",
            "rfilter": {"type": "box"},
        },
        "sampler": {"type": "multijitter", "sample_count": SPP_PER_PASS},
    }


def _quad(
    centre: tuple[float, float, float], u: tuple[float, float, float], v: tuple[float, float, float]
) -> dict[str, Any]:
    """A rectangle from its centre and half sides; it faces along u x v."""
    import mitsuba as mi

    pose = np.eye(4)
    normal = np.cross(u, v)
    pose[:3, 0], pose[:3, 1], pose[:3, 3] = u, v, centre
    pose[:3, 2] = normal / np.linalg.norm(normal)
    return {"type": "rectangle", "to_world": mi.ScalarTransform4f(pose)}


def _glow(shape: dict[str, Any], radiance: Any, share: float) -> dict[str, Any]:
    """Make a shape glow; `share` is its part of the sky over the table (form factor).

    Lamps are drawn as often as they matter: by radiance times share.
    """
    weight = float(np.mean(radiance)) * share + 1e-4
    emitter = {"type": "area", "radiance": rgb(radiance), "sampling_weight": weight}
    return {**shape, "emitter": emitter, "bsdf": describe(MATERIALS["matt_black"])}


def _walls(light: Light) -> dict[str, Any]:
    side, top, low = HALF_ROOM_MM, CEILING_MM, FLOOR_MM
    middle, half = (top + low) / 2, (top - low) / 2
    walls, ceiling = np.array(light.walls), np.array(light.ceiling)
    shapes = {
        "ceiling": _glow(_quad((0, 0, top), (side, 0, 0), (0, -side, 0)), ceiling, 0.5),
        "floor": _glow(_quad((0, 0, low), (side, 0, 0), (0, side, 0)), 0.35 * walls, 0.001),
        "west": _glow(_quad((-side, 0, middle), (0, side, 0), (0, 0, half)), 0.8 * walls, 0.1),
        "east": _glow(_quad((side, 0, middle), (0, -side, 0), (0, 0, half)), 1.15 * walls, 0.1),
        "south": _glow(_quad((0, -side, middle), (-side, 0, 0), (0, 0, half)), walls, 0.1),
        "north": _glow(_quad((0, side, middle), (side, 0, 0), (0, 0, half)), walls, 0.1),
        # Something dark to mirror: a shelf, a door, a beam.
        "shelf": _glow(_quad((400, 1480, 500), (420, 0, 0), (0, 0, 350)), 0.25 * walls, 0.02),
        "door": _glow(_quad((1480, -500, 100), (0, -330, 0), (0, 0, 850)), 0.4 * walls, 0.02),
        "beam": _glow(_quad((0, 350, 1690), (1500, 0, 0), (0, -70, 0)), 0.5 * ceiling, 0.02),
    }
    if light.window is not None:
        for number, y in enumerate((-260.0, 420.0)):
            pane = _quad((-1490, y, 620), (0, 310, 0), (0, 0, 560))
            shapes[f"window_{number}"] = _glow(pane, light.window, 0.03)
    return shapes


def _lamps(light: Light, camera: Camera) -> dict[str, Any]:
    import mitsuba as mi

    shapes = {}
    for number, lamp in enumerate(light.lamps):
        pose = mi.ScalarTransform4f().look_at(
            origin=list(lamp.at_mm), target=[0, 0, 0], up=[0, 0, 1]
        ) @ mi.ScalarTransform4f().scale(lamp.radius_mm)
        distance2 = float(np.sum(np.square(lamp.at_mm)))
        share = lamp.radius_mm**2 / distance2 * lamp.at_mm[2] / np.sqrt(distance2)
        shapes[f"lamp_{number}"] = _glow({"type": "disk", "to_world": pose}, lamp.radiance, share)
    if light.torch:
        at = camera.position + 12.0 * camera.rotation[0] - 3.0 * camera.rotation[1]
        pose = mi.ScalarTransform4f().look_at(
            origin=at.tolist(), target=(at + camera.rotation[2]).tolist(), up=[0, 1, 0]
        ) @ mi.ScalarTransform4f().scale(TORCH_RADIUS_MM)
        white = light.torch * np.array([1.0, 0.97, 0.93])
        share = (TORCH_RADIUS_MM / camera.distance_mm) ** 2
        shapes["torch"] = _glow({"type": "disk", "to_world": pose}, white, share)
    return shapes


def _table(room: Room, light: Light) -> dict[str, Any]:
    colour = room.table.reflectance.mean(axis=(0, 1))
    beyond = _quad((0, 0, -0.25), (650, 0, 0), (0, 480, 0))
    shapes = {"beyond": {**beyond, "bsdf": {"type": "diffuse", "reflectance": rgb(colour)}}}
    shapes["table"] = _patch(room.table, -0.03 if room.sheet else 0.0)
    if room.sheet is not None:
        shapes["sheet"] = _patch(room.sheet, 0.0)
    if light.table:
        top = "sheet" if room.sheet else "table"
        glow = _texture(room.sheet or room.table, light.table / 0.8)
        shapes[top]["emitter"] = {"type": "area", "radiance": glow, "sampling_weight": 0.3}
    return shapes


def _patch(patch: Patch, z_mm: float) -> dict[str, Any]:
    turn = np.radians(patch.turn_deg)
    u = patch.width_mm / 2 * np.array([np.cos(turn), np.sin(turn), 0])
    v = patch.height_mm / 2 * np.array([-np.sin(turn), np.cos(turn), 0])
    quad = _quad((patch.x_mm, patch.y_mm, z_mm), tuple(u), tuple(v))
    return {**quad, "bsdf": {"type": "diffuse", "reflectance": _texture(patch, 1.0)}}


def _texture(patch: Patch, gain: float) -> dict[str, Any]:
    import mitsuba as mi

    # Row 0 of a bitmap lands at v = 0, the -y side of the rectangle: turn the picture over.
    picture = np.ascontiguousarray(gain * patch.reflectance[::-1], dtype=np.float32)
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(picture, mi.Bitmap.PixelFormat.RGB),
        "raw": True,
        "wrap_mode": "clamp",
    }


def _phone(camera: Camera) -> Mesh:
    """The body of the phone, its lens near one corner, just behind the pinhole."""
    body = box(np.array([-16.0, -18.0, -9.0]), np.array([132.0, 56.0, -0.8]))
    return body.moved(camera.rotation.T, camera.position)


def _person() -> Mesh:
    """Whoever holds the phone, as a dark block at the front edge of the table."""
    return box(np.array([-230.0, -760.0, -300.0]), np.array([230.0, -560.0, 700.0]))
