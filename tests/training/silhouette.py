"""Exact outlines of a bent wire ring: oval, ends out of line, tilted, seen by a pinhole camera.

The solid is `S(t, v) = c(t) + r (cos v e(t) + sin v k)` in the ring's own frame, with
`c(t) = R(t) e(t) + Z(t) k`. Its contour generator satisfies `n . (C - S) = 0` with the normal
`n = cos v e + sin v k - (cos v R' + sin v Z') / rho e_t`, `rho = R + r cos v`. With D = C - c in
that frame this reads `cos v (De - R' Dt / rho) + sin v (Dk - Z' Dt / rho) = r`: the closed form of
a plain torus with a corrected D, iterated since rho depends on v.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.rings.section import Section
from vision.rings.torus import outlines as product_outlines

Array = NDArray[np.float64]

VERTICES = 512
"""Vertices of a stored outline, at equal angles around the ring."""


def end_shape(u: Array, power: float) -> Array:
    """Share of the ends' step at u (0 to 1 along the wire): -1/2 at one end, +1/2 at the other."""
    e = 2 * u - 1
    return 0.5 * np.sign(e) * np.abs(e) ** power


def centre_line(solid: NDArray[np.void], angles: Array) -> tuple[Array, Array]:
    """Radius and height of the centre line in the ring's own frame at `angles` (m,).

    Inside the gap the line goes straight from one end to the other: the ring continued.
    """
    o = solid
    radius = o["radius"] * (
        1 + o["oval_cos"] * np.cos(2 * angles) + o["oval_sin"] * np.sin(2 * angles)
    )
    gap = np.arctan2(o["gap_sin"], o["gap_cos"])
    phi = np.mod(angles - gap, 2 * np.pi)
    half = float(o["gap_half"])
    shape = end_shape(phi / (2 * np.pi), float(o["step_power"]))
    first = end_shape(np.array(half / (2 * np.pi)), float(o["step_power"]))
    if half > 0:
        signed = np.where(phi > np.pi, phi - 2 * np.pi, phi)
        shape = np.where(np.abs(signed) < half, first * signed / half, shape)
    return radius + o["step_r"] * shape, o["step_z"] * shape + o["step_mid"] + 0 * angles


def outlines(solid: NDArray[np.void], camera: Array, angles: Array) -> tuple[Array, Array]:
    """Contour points (m, 3) in the world, inner and outer, for a camera at `camera` (3,) mm."""
    axes = np.asarray(solid["axes"], float).reshape(3, 3)
    eye = axes @ (np.asarray(camera, float) - np.asarray(solid["centre"], float))
    step = 1e-4
    radius, level = centre_line(solid, angles)
    before, after = centre_line(solid, angles - step), centre_line(solid, angles + step)
    slope_r, slope_z = (after[0] - before[0]) / (2 * step), (after[1] - before[1]) / (2 * step)
    jump = (np.abs(slope_r) + np.abs(slope_z)) > 5 * radius  # the step itself, not a slope
    slope_r, slope_z = np.where(jump, 0, slope_r), np.where(jump, 0, slope_z)
    cos_t, sin_t = np.cos(angles), np.sin(angles)
    tube = float(solid["tube"])
    along = eye[0] * cos_t + eye[1] * sin_t - radius
    aside = -eye[0] * sin_t + eye[1] * cos_t
    above = eye[2] - level

    def touch(side: float) -> Array:
        rho = radius
        for _ in range(4):
            a, b = along - slope_r * aside / rho, above - slope_z * aside / rho
            v = np.arctan2(b, a) + side * np.arccos(tube / np.hypot(a, b))
            rho = radius + tube * np.cos(v)
        points = np.stack([rho * cos_t, rho * sin_t, level + tube * np.sin(v)], -1)
        return points @ axes + np.asarray(solid["centre"], float)

    return touch(+1.0), touch(-1.0)


@dataclass(frozen=True, slots=True)
class _Eye:
    """Where a camera stands; it draws points as they are."""

    position: Array

    def project(self, points: Array) -> Array:
        return points


def flat_outlines(
    torus: Array, camera: Array, angles: Array, section: Section
) -> tuple[Array, Array]:
    """Contour points (m, 3) in the world of a ring (6,) of any cross-section that lies flat."""
    drawn = product_outlines(_Eye(np.asarray(camera, float)), torus[None], angles, section)  # type: ignore[arg-type]
    return drawn[0][0], drawn[1][0]


def project(matrix: Array, points: Array) -> Array:
    """Pixels (..., 2) of world points (..., 3) under a (3, 4) matrix."""
    h = points @ matrix[:, :3].T + matrix[:, 3]
    return h[..., :2] / h[..., 2:]
