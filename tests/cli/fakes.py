"""Results made by hand, for tests of what is shown and written."""

from collections.abc import Sequence
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import cv2
import numpy as np

from vision.results import PhotoInfo, Quantity, Result, Ring, Scale, Status
from vision.scale.camera import Camera, looking_down

WIDTH_PX, HEIGHT_PX = 640, 480


def quantity(value: float, u95: float) -> Quantity:
    """A value whose U is `u95`: parts 3 and 4 of a 3-4-5 triangle."""
    return Quantity(value=value, parts={"outline": 0.3 * u95, "scale": 0.4 * u95})


def ring(number: int, *, wire: float = 1.6256, inside: float = 6.35, **changes) -> Ring:
    x, y = 80.0 * (1 + (number - 1) % 7), 80.0 * (1 + (number - 1) // 7)
    made = Ring(
        number=number,
        center_px=(x, y),
        center_mm=(0.1 * x, -0.1 * y),
        radius_px=30.0,
        status=Status.MEASURED,
        wire_mm=quantity(wire, 0.021),
        id_mm=quantity(inside, 0.034),
        od_mm=quantity(inside + 2 * wire, 0.034),
        ar=quantity(inside / wire, 0.05),
        ovality=0.004,
        gap_mm=0.0,
        outlines_px=(_circle(x, y, 20.0), _circle(x, y, 30.0)),
    )
    return replace(made, **changes)


def unusable(number: int, *reasons: str) -> Ring:
    return ring(
        number,
        status=Status.UNUSABLE,
        reasons=reasons,
        wire_mm=None,
        id_mm=None,
        od_mm=None,
        ar=None,
        ovality=None,
        gap_mm=None,
        outlines_px=None,
    )


def result(rings: Sequence[Ring] = (), *, file: str = "tray.jpg", **changes) -> Result:
    made = Result(
        photo=PhotoInfo(
            file=file,
            width_px=WIDTH_PX,
            height_px=HEIGHT_PX,
            taken=None,
            sha256=sha256(file.encode(errors="surrogateescape")).hexdigest(),
        ),
        scale=Scale(
            kind="coin",
            reference="eur-1",
            camera=Camera(
                rotation=looking_down(0.0, 0.0),
                position=np.array([0.0, 0.0, 200.0]),
                f_px=2000.0,
                cx=320.0,
                cy=240.0,
            ),
            mm_per_px=0.1,
            u_rel=0.0012,
            camera_height_mm=200.0,
            u_height_rel=0.01,
            tilt_deg=1.8,
            u_tilt_deg=0.3,
            u_lens_rel=0.0005,
            outline_px=_circle(500.0, 380.0, 60.0),
        ),
        rings=tuple(rings),
    )
    return replace(made, **changes)


def photo(path: Path) -> Path:
    """A small grey JPEG of the size that `result` speaks of."""
    grey = np.full((HEIGHT_PX, WIDTH_PX, 3), 128, dtype=np.uint8)
    done, data = cv2.imencode(".jpg", grey)
    assert done
    path.write_bytes(data.tobytes())
    return path


def _circle(x: float, y: float, radius: float) -> np.ndarray:
    angles = np.linspace(0.0, 2.0 * np.pi, 90, endpoint=False)
    return np.stack([x + radius * np.cos(angles), y + radius * np.sin(angles)], axis=1)
