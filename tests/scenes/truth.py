"""The truth beside each photo, as JSON: what is where, how large, and how it was taken."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.scenes.camera import Camera
from tests.scenes.coin import COINS, PlacedCoin
from tests.scenes.debris import Debris
from tests.scenes.ring import PlacedRing
from tests.scenes.scene import Arranged, Scene
from tests.scenes.surface import PrintedCircle
from tests.scenes.wire import PlacedWire


def write_truth(arranged: Arranged, **render: Any) -> dict[str, Any]:
    """Say all that is true of a photo; millimetres unless the name has another unit."""
    scene, camera = arranged.scene, arranged.camera
    turned = scene.phone.orientation == 6
    size = (camera.height, camera.width) if turned else (camera.width, camera.height)
    return {
        "name": scene.name,
        "image": f"{scene.name}.jpg",
        "seed": scene.seed,
        "width": camera.width,
        "height": camera.height,
        "orientation": scene.phone.orientation,
        "width_display": size[0],
        "height_display": size[1],
        "surface": scene.surface,
        "light": scene.light,
        "sheet": _sheet(scene),
        "text_lines": scene.text_lines,
        "same_rings": _same_rings(scene),
        "camera": _camera(camera),
        "mm_per_px_plane": camera.mm_per_px_plane,
        "post": _post(scene),
        "coins": [_coin(coin, camera, turned) for coin in arranged.coins],
        "rings": [
            _ring(number, ring, camera, turned) for number, ring in enumerate(arranged.rings, 1)
        ],
        "wires": [
            _wire(number, wire, camera, turned) for number, wire in enumerate(arranged.wires, 1)
        ],
        "debris": [
            *(_debris(thing, camera, turned) for thing in arranged.debris),
            *(_printed(circle, camera, turned) for circle in arranged.circles),
        ],
        "render": render,
    }


def _sheet(scene: Scene) -> dict[str, Any] | None:
    if scene.sheet is None:
        return None
    sheet = scene.sheet
    return {
        "paper": sheet.paper,
        "width_mm": sheet.size_mm[0],
        "height_mm": sheet.size_mm[1],
        "centre_mm": [sheet.x_mm, sheet.y_mm, 0.0],
        "turn_deg": sheet.turn_deg,
        "print_scale": list(sheet.print_scale),
    }


def _same_rings(scene: Scene) -> dict[str, Any] | None:
    """Which photo showed these rings before; a ring has the same id in both."""
    if scene.before is None:
        return None
    return {
        "before": scene.before.name,
        "turned_deg": scene.turned_deg,
        "moved": [_name(number) for number in range(1, scene.shifted + 1)],
    }


def _name(number: int) -> str:
    return f"r{number:02d}"


def _camera(camera: Camera) -> dict[str, Any]:
    return {
        "position": camera.position.tolist(),
        "R": camera.rotation.tolist(),
        "f_px": camera.f_px,
        "cx": camera.cx,
        "cy": camera.cy,
        "k1": camera.k1,
        "k2": camera.k2,
        "distance_mm": camera.distance_mm,
        "f35": camera.f35,
        "tilt_deg": camera.tilt_deg,
        "tilt_az_deg": camera.tilt_azimuth_deg,
        "roll_deg": camera.roll_deg,
    }


def _post(scene: Scene) -> dict[str, Any]:
    phone = scene.phone
    return {
        "iso": phone.iso,
        "psf_sigma": phone.psf_sigma_px,
        "vignette": phone.vignette,
        "target": phone.exposure,
        "wb": list(phone.white_balance),
        "contrast": phone.contrast,
        "sharpen": phone.sharpen,
        "quality": phone.quality,
        "orientation": phone.orientation,
    }


def _centre(point: Any, camera: Camera, turned: bool) -> dict[str, list[float]]:
    """Centre in the stored picture, and in the upright one (EXIF orientation 6: a quarter turn)."""
    x, y = camera.project(np.asarray(point, dtype=float)[None])[0]
    upright = (camera.height - 1 - y, x) if turned else (x, y)
    return {
        "centre_mm": [round(float(v), 5) for v in point],
        "centre_px": [round(float(x), 3), round(float(y), 3)],
        "centre_px_display": [round(float(v), 3) for v in upright],
    }


def _coin(coin: PlacedCoin, camera: Camera, turned: bool) -> dict[str, Any]:
    kind = COINS[coin.kind]
    return {
        "kind": coin.kind,
        "diameter_mm": kind.diameter_mm,
        "thickness_mm": kind.thickness_mm,
        "hole_mm": kind.hole_mm,
        "reeds": kind.reeds,
        **_centre((coin.x_mm, coin.y_mm, kind.thickness_mm), camera, turned),
    }


def _ring(number: int, ring: PlacedRing, camera: Camera, turned: bool) -> dict[str, Any]:
    shape = ring.shape
    swing = shape.ovality * shape.id_mm / 2
    outer, _ = ring.outlines(camera)
    centre = _centre(ring.centre_mm, camera, turned)
    radius = np.hypot(*(outer - centre["centre_px"]).T).mean()
    return {
        "id": _name(number),
        "group": ring.group,
        "material": ring.material,
        "profile": shape.profile,
        "id_nominal_mm": ring.id_nominal_mm,
        "wire_nominal_mm": ring.wire_nominal_mm,
        "id_mm": round(shape.id_mm, 5),
        "od_mm": round(shape.id_mm + 2 * shape.wire_mm, 5),
        "gap_mm": round(shape.gap_mm, 5),
        "wire_mm": round(shape.wire_mm, 5),
        "wire_r_mm": round(shape.wire_mm, 5),
        "wire_h_mm": round(shape.wire_mm, 5),
        "id_major_mm": round(shape.id_mm + swing, 5),
        "id_minor_mm": round(shape.id_mm - swing, 5),
        "end_offset_radial_mm": round(shape.end_radial_mm, 5),
        "end_offset_axial_mm": round(shape.end_axial_mm, 5),
        "pinched": False,
        "gap_dir_deg": float(np.degrees(np.arctan2(ring.pose[1, 0], ring.pose[0, 0])) % 360),
        **centre,
        "outer_radius_px": round(float(radius), 2),
        "tilt_deg": round(ring.tilt_deg, 4),
        "pose_R": ring.pose.round(8).tolist(),
        "overlapped": ring.overlapped,
        "touching": ring.touching,
        "standing": ring.standing,
        "partly_out_of_frame": ring.partly_out_of_frame,
        "measurable": ring.measurable,
    }


def _wire(number: int, wire: PlacedWire, camera: Camera, turned: bool) -> dict[str, Any]:
    """Width as seen from above: in the middle, and how it grows along the piece."""
    shape, line = wire.shape, wire.centre_line()
    height = shape.width_mm / (4 if shape.profile == "half-round" else 2)
    parts = [
        [
            _centre((*line[end], height), camera, turned)["centre_px_display"]
            for end in (first, last)
        ]
        for first, last in shape.straight_parts()
    ]
    return {
        "id": f"w{number}",
        "kind": "wire",
        "material": wire.material,
        "profile": shape.profile,
        "form": shape.form,
        "wire_mm": shape.width_mm,
        "taper_mm": shape.taper_mm,
        "length_mm": shape.length_mm,
        "bow_radius_mm": shape.bow_radius_mm,
        "parts_px_display": parts,
        "measurable": shape.form == "straight",
    }


def _debris(thing: Debris, camera: Camera, turned: bool) -> dict[str, Any]:
    return {
        "kind": thing.kind,
        "material": thing.material,
        "size_mm": round(thing.size_mm, 3),
        **_centre((thing.x_mm, thing.y_mm, 0.0), camera, turned),
    }


def _printed(circle: PrintedCircle, camera: Camera, turned: bool) -> dict[str, Any]:
    return {
        "kind": "printed_circle",
        "material": "ink",
        "size_mm": round(2 * circle.radius_mm + circle.line_mm, 3),
        **_centre((circle.x_mm, circle.y_mm, 0.0), camera, turned),
    }
