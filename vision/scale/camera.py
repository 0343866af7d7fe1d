"""The camera: where it stood over the table, and how it draws a point.

World: millimetres, x right, y up, z towards the camera, z = 0 the sheet or table.
Picture: pixels, x right, y down, the centre of the top-left pixel is (0, 0).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of the 36 x 24 mm frame: the meaning of "35 mm equivalent" (CIPA DCG-001)."""

UNDISTORT_STEPS = 12
"""Fixed-point steps that undo the lens; |k1| up to 0.1 converges below 1e-9 px."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """A pinhole with two radial lens terms.

    `X_cam = rotation @ (X - position)`; with `(u, v) = (X, Y) / Z` of the camera frame and
    `r2 = u^2 + v^2`, the pixel is `f_px * (u, v) * (1 + k1 r2 + k2 r2^2) + (cx, cy)`
    (OpenCV's model without tangential terms).
    """

    rotation: Array
    """(3, 3), world to camera; camera x right, y down, z forward."""
    position: Array
    """(3,), millimetres in the world."""
    f_px: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0

    @property
    def height_mm(self) -> float:
        """Height of the lens over the table."""
        return float(self.position[2])

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the plumb line."""
        return float(np.degrees(np.arccos(np.clip(-self.rotation[2, 2], -1.0, 1.0))))

    def project(self, points_mm: Array) -> Array:
        """Draw world points (..., 3) mm as pixels (..., 2)."""
        local = (points_mm - self.position) @ self.rotation.T
        uv = local[..., :2] / local[..., 2:3]
        r2 = np.sum(uv * uv, axis=-1, keepdims=True)
        drawn: Array = uv * (1.0 + r2 * (self.k1 + self.k2 * r2)) * self.f_px
        centred: Array = drawn + np.array([self.cx, self.cy])
        return centred

    def rays(self, points_px: Array) -> Array:
        """Directions (..., 3) in the world of the pixels (..., 2), not normalised."""
        distorted = (points_px - (self.cx, self.cy)) / self.f_px
        uv = distorted
        for _ in range(UNDISTORT_STEPS):
            r2 = np.sum(uv * uv, axis=-1, keepdims=True)
            uv = distorted / (1.0 + r2 * (self.k1 + self.k2 * r2))
        ones = np.ones_like(uv[..., :1])
        return np.concatenate([uv, ones], axis=-1) @ self.rotation

    def to_plane(self, points_px: Array, height_mm: float | Array = 0.0) -> Array:
        """World x, y (..., 2) mm where the pixels' rays meet the plane z = height_mm.

        A height for each point has the shape (..., 1).
        """
        rays = self.rays(points_px)
        steps = (height_mm - self.position[2]) / rays[..., 2:3]
        points: Array = self.position[:2] + steps * rays[..., :2]
        return points

    def mm_per_px(self, point_px: Array, height_mm: float = 0.0) -> float:
        """Size of a pixel on the plane at one place: root of the area it covers."""
        corners = point_px + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        origin, along_x, along_y = self.to_plane(corners, height_mm)
        first, second = along_x - origin, along_y - origin
        return float(np.sqrt(abs(first[0] * second[1] - first[1] * second[0])))


def focal_px(f35_mm: float, width_px: int, height_px: int) -> float:
    """Focal length in pixels from the 35 mm equivalent, defined on the diagonal."""
    return f35_mm / FULL_FRAME_DIAGONAL_MM * float(np.hypot(width_px, height_px))


def looking_down(tilt_x: float, tilt_y: float, roll: float = 0.0) -> Array:
    """Rotation (3, 3) world to camera of a camera that looks down, then is tilted.

    `tilt_x`, `tilt_y` turn the camera about its own x and y axis (radians), `roll` about the
    plumb line. With all three zero, picture x is world x and picture y is world -y.
    """
    down = np.diag([1.0, -1.0, -1.0])
    cr, sr = np.cos(roll), np.sin(roll)
    about_z = np.array([[cr, sr, 0.0], [-sr, cr, 0.0], [0.0, 0.0, 1.0]])
    cx, sx = np.cos(tilt_x), np.sin(tilt_x)
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, cx, -sx], [0.0, sx, cx]])
    cy, sy = np.cos(tilt_y), np.sin(tilt_y)
    about_y = np.array([[cy, 0.0, sy], [0.0, 1.0, 0.0], [-sy, 0.0, cy]])
    rotation: Array = about_y @ about_x @ down @ about_z
    return rotation
