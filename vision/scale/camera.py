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

UNDISTORT_STEPS, UNDISTORTED = 6, 1e-8
"""Most of Newton's steps that undo the lens, and the relative step that is the last one: the error
after it is about its square."""
SHRINK_LEAST, SHRINK_MOST = 0.25, 4.0
"""Bounds of what undoing the lens does to a radius, which keep a wild lens from running away."""


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
        local = self.rotation @ np.reshape(points_mm, (-1, 3)).T
        local -= (self.rotation @ self.position)[:, None]
        uv = local[:2]
        uv /= local[2]
        r2 = np.einsum("ij,ij->j", uv, uv)
        uv *= self.f_px * (1.0 + r2 * (self.k1 + self.k2 * r2))
        drawn = np.empty((*points_mm.shape[:-1], 2))
        flat = drawn.reshape(-1, 2)
        np.add(uv[0], self.cx, out=flat[:, 0])
        np.add(uv[1], self.cy, out=flat[:, 1])
        return drawn

    def slopes(self, points_mm: Array, along_px: Array) -> Array:
        """Shift of the drawn pixel along vectors (n, 2) for a shift of world points (n, 3), a mm.

        The vectors' length counts: the shift is the scalar product with them.
        """
        local = self.rotation @ (points_mm - self.position).T
        uv = local[:2] / local[2]
        r2 = np.einsum("ij,ij->j", uv, uv)
        lens = 1.0 + r2 * (self.k1 + self.k2 * r2)
        bend = 2.0 * (self.k1 + 2.0 * self.k2 * r2)
        by_local = np.empty_like(local)
        by_local[:2] = lens * along_px.T + bend * np.einsum("ij,ji->i", along_px, uv) * uv
        by_local[2] = -np.einsum("ij,ij->j", by_local[:2], uv)
        by_local *= self.f_px / local[2]
        slopes: Array = (self.rotation.T @ by_local).T
        return slopes

    def rays(self, points_px: Array) -> Array:
        """Directions (..., 3) in the world of the pixels (..., 2), not normalised."""
        uv = np.empty((3, points_px[..., 0].size))
        np.subtract(points_px[..., 0].ravel(), self.cx, out=uv[0])
        np.subtract(points_px[..., 1].ravel(), self.cy, out=uv[1])
        uv[:2] /= self.f_px
        uv[:2] *= self._undistorted(uv[0] * uv[0] + uv[1] * uv[1])
        uv[2] = 1.0
        rays: Array = (self.rotation.T @ uv).T.reshape((*points_px.shape[:-1], 3))
        return rays

    def _undistorted(self, r2: Array) -> Array | float:
        """True over drawn distance from the optical axis, where the drawn one squared is `r2`.

        With that ratio s, `s (1 + k1 r2 s^2 + k2 r2^2 s^4) = 1`; solved by Newton's method.
        """
        if self.k1 == 0.0 and self.k2 == 0.0:
            return 1.0
        first, second = self.k1 * r2, self.k2 * r2 * r2
        shrink = 1.0 - first
        for _ in range(UNDISTORT_STEPS):
            s2 = shrink * shrink
            fourth = second * s2 * s2
            lens = first * s2 + fourth
            step = (shrink * (1.0 + lens) - 1.0) / (1.0 + 3.0 * lens + 2.0 * fourth)
            shrink -= step
            shrink.clip(SHRINK_LEAST, SHRINK_MOST, out=shrink)
            if np.abs(step).max(initial=0.0) < UNDISTORTED:
                break
        return shrink

    def to_plane(self, points_px: Array, height_mm: float | Array = 0.0) -> Array:
        """World x, y (..., 2) mm where the pixels' rays meet the plane z = height_mm.

        A height for each point has the shape (..., 1).
        """
        rays = self.rays(points_px)
        points = rays[..., :2] / rays[..., 2:]
        points *= height_mm - self.position[2]
        points += self.position[:2]
        return points

    def mm_per_px(self, point_px: Array, height_mm: float = 0.0) -> float:
        """Size of a pixel on the plane at one place: root of the area it covers."""
        return float(self.pixel_sizes(point_px, height_mm))

    def pixel_sizes(self, points_px: Array, height_mm: float | Array = 0.0) -> Array:
        """The same (...,) at many places (..., 2); a height for each has the shape (..., 1, 1)."""
        corners = points_px[..., None, :] + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        origin, along_x, along_y = np.moveaxis(self.to_plane(corners, height_mm), -2, 0)
        first, second = along_x - origin, along_y - origin
        sizes: Array = np.sqrt(
            np.abs(first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0])
        )
        return sizes


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
