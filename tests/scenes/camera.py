"""The pinhole with radial distortion that takes a picture, in the truth's own words.

World: millimetres, x right, y up, z towards the camera, z = 0 the table. Camera frame: x right,
y down, z along the view. Pixels: the centre of the top-left pixel is (0, 0).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FULL_FRAME_DIAGONAL_MM = float(np.hypot(36.0, 24.0))
"""The "35 mm equivalent" focal length is defined on this diagonal (CIPA DCG-001)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """Where the camera is, where it looks, and how it draws."""

    width: int
    height: int
    f_px: float
    cx: float
    cy: float
    k1: float
    k2: float
    position: NDArray[np.float64]
    rotation: NDArray[np.float64]
    """World to camera, (3, 3): `X_cam = rotation @ (X - position)`."""
    f35: float
    """Focal length as EXIF tells it, rounded."""
    distance_mm: float
    tilt_deg: float
    tilt_azimuth_deg: float
    roll_deg: float

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Draw world points (n, 3) as pixels (n, 2)."""
        seen = (np.asarray(points, dtype=np.float64) - self.position) @ self.rotation.T
        ideal = seen[:, :2] / seen[:, 2:]
        return self.f_px * distort(ideal, self.k1, self.k2) + (self.cx, self.cy)

    def on_plane(self, pixels: NDArray[np.float64], z_mm: float = 0.0) -> NDArray[np.float64]:
        """Find the world points (n, 3) at height `z_mm` that are drawn at pixels (n, 2)."""
        drawn = (np.asarray(pixels, dtype=np.float64) - (self.cx, self.cy)) / self.f_px
        ideal = undistort(drawn, self.k1, self.k2)
        rays = np.column_stack([ideal, np.ones(len(ideal))]) @ self.rotation
        return self.position + rays * ((z_mm - self.position[2]) / rays[:, 2])[:, None]

    @property
    def mm_per_px_plane(self) -> float:
        """Size of a pixel on the table where the optical axis meets it."""
        return self.distance_mm / self.f_px


def distort(ideal: NDArray[np.float64], k1: float, k2: float) -> NDArray[np.float64]:
    """Apply the radial distortion to ideal image points (n, 2) in units of the focal length."""
    r2 = np.sum(ideal**2, axis=-1, keepdims=True)
    return ideal * (1 + k1 * r2 + k2 * r2**2)


def undistort(drawn: NDArray[np.float64], k1: float, k2: float) -> NDArray[np.float64]:
    """Invert `distort` by Newton steps on the radius, to far below 1e-6 px for phone lenses."""
    drawn = np.asarray(drawn, dtype=np.float64)
    radius_drawn = np.sqrt(np.sum(drawn**2, axis=-1, keepdims=True))
    radius = radius_drawn.copy()
    for _ in range(4):
        r2 = radius**2
        error = radius * (1 + k1 * r2 + k2 * r2**2) - radius_drawn
        radius -= error / (1 + 3 * k1 * r2 + 5 * k2 * r2**2)
    return drawn * np.divide(radius, radius_drawn, out=np.ones_like(radius), where=radius_drawn > 0)


def place_camera(
    *,
    width: int,
    height: int,
    f35_true: float,
    distance_mm: float,
    tilt_deg: float = 0.0,
    tilt_azimuth_deg: float = 0.0,
    roll_deg: float = 0.0,
    k1: float = 0.0,
    k2: float = 0.0,
    centre_offset_px: tuple[float, float] = (0.0, 0.0),
    aim_mm: tuple[float, float] = (0.0, 0.0),
) -> Camera:
    """Put a camera above the table, its axis through `aim_mm`, leaning towards the azimuth.

    The focal length in pixels follows from the true 35 mm equivalent on the diagonal; EXIF, as in
    a real phone, holds it rounded to a whole number.
    """
    tilt, azimuth, roll = np.radians([tilt_deg, tilt_azimuth_deg, roll_deg])
    backward = np.array(
        [np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)]
    )
    right = np.cross([0.0, 1.0, 0.0], backward)
    right /= np.linalg.norm(right)
    up = np.cross(backward, right)
    level = np.array([right, -up, -backward])
    spin = np.array(
        [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1.0]]
    )
    return Camera(
        width=width,
        height=height,
        f_px=f35_true * float(np.hypot(width, height)) / FULL_FRAME_DIAGONAL_MM,
        cx=(width - 1) / 2 + centre_offset_px[0],
        cy=(height - 1) / 2 + centre_offset_px[1],
        k1=k1,
        k2=k2,
        position=np.array([*aim_mm, 0.0]) + distance_mm * backward,
        rotation=spin @ level,
        f35=float(round(f35_true)),
        distance_mm=distance_mm,
        tilt_deg=tilt_deg,
        tilt_azimuth_deg=tilt_azimuth_deg,
        roll_deg=roll_deg,
    )
