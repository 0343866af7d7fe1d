"""The solid ring: a tube on the table, and the two outlines a camera sees of it."""

import numpy as np
from numpy.typing import NDArray

from vision.rings.section import ROUND, Section
from vision.scale.camera import Camera

Array = NDArray[np.float64]

X, Y, RADIUS, TUBE, OVAL_COS, OVAL_SIN = range(6)
"""Columns of a torus array (n, 6): centre x, y (mm), centre-line radius (mm), wire radius (mm),
and the two relative amplitudes a, b of `R(t) = R (1 + a cos 2t + b sin 2t)`."""


def outlines(
    camera: Camera, tori: Array, angles: Array, section: Section = ROUND
) -> tuple[Array, Array]:
    """Project the silhouettes of rings that lie flat on the table.

    Parameters
    ----------
    camera : the camera over the table
    tori : (n, 6), columns as named above
    angles : (m,), or (n, m) of each ring's own, radians around it from world +x towards +y
    section : the wire's cross-section

    Returns
    -------
    inner, outer : (n, m, 2) pixels

    Notes
    -----
    In the vertical section at angle t the tube is a circle of radius r whose centre c lies at
    height r. The camera, drawn into that section, lies at A = (C - c).e along the horizontal
    radial direction e and B = C_z - r above c; the two tangents from it touch the circle at the
    polar angles `atan2(B, A) -+ arccos(r / hypot(A, B))`. Exact for a circular ring (every
    section plane holds a normal of the tube), good to a micrometre at 2 % ovality. Other sections
    find their silhouette in the same plane.
    """
    x, y, radius, tube, oval_cos, oval_sin = (column[:, None] for column in tori.T)
    cos_t, sin_t = np.cos(angles), np.sin(angles)
    line = radius * (1.0 + oval_cos * np.cos(2.0 * angles) + oval_sin * np.sin(2.0 * angles))
    centre_x, centre_y = x + line * cos_t, y + line * sin_t
    along = (camera.position[0] - centre_x) * cos_t + (camera.position[1] - centre_y) * sin_t
    if not section.is_round:
        seen = section.touched(tube, along, camera.position[2])

        def drawn(point: Array) -> Array:
            out, up = point[..., 0], point[..., 1]
            place = [centre_x + out * cos_t, centre_y + out * sin_t, up]
            return camera.project(np.stack(place, axis=-1))

        return drawn(seen[0]), drawn(seen[1])
    above = camera.position[2] - tube
    towards = np.arctan2(above, along)
    opening = np.arccos(np.clip(tube / np.hypot(along, above), -1.0, 1.0))

    def touch(polar: Array) -> Array:
        out = tube * np.cos(polar)
        up = np.broadcast_to(tube, out.shape) + tube * np.sin(polar)
        return camera.project(np.stack([centre_x + out * cos_t, centre_y + out * sin_t, up], -1))

    return touch(towards + opening), touch(towards - opening)


def ring_angles(count: int) -> Array:
    """Angles (count,) of the middles of `count` equal sectors around the ring."""
    step = np.pi / count
    return np.linspace(step, 2.0 * np.pi - step, count)


def torus(x: float, y: float, id_mm: float, wire_mm: float) -> Array:
    """One round ring as a row (6,) of a torus array."""
    return np.array([x, y, (id_mm + wire_mm) / 2.0, wire_mm / 2.0, 0.0, 0.0])
