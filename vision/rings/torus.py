"""The solid ring: a tube on the table, and the two outlines a camera sees of it."""

from functools import cache

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
    """
    inner, outer = touched(camera, tori, angles, section)
    return camera.project(inner), camera.project(outer)


def touched(
    camera: Camera, tori: Array, angles: Array, section: Section = ROUND
) -> tuple[Array, Array]:
    """Where lines of sight touch the wire of rings that lie flat on the table; as `outlines`.

    Returns
    -------
    inner, outer : (n, m, 3) mm

    Notes
    -----
    In the vertical section at angle t the tube is a circle of radius r whose centre c lies at
    height r. The camera, drawn into that section, lies at A = (C - c).e along the horizontal
    radial direction e and B = C_z - r above c; with h^2 = A^2 + B^2 and s^2 = h^2 - r^2 the two
    tangents from it touch the circle where its normal is `r (A, B) -+ s (B, -A)` over h^2. Exact
    for a circular ring (every section plane holds a normal of the tube), good to a micrometre at
    2 % ovality. Other sections find their silhouette in the same plane.
    """
    x, y, radius, tube, oval_cos, oval_sin = (column[:, None] for column in tori.T)
    cos_t, sin_t = np.cos(angles), np.sin(angles)
    cos_2t, sin_2t = cos_t * cos_t - sin_t * sin_t, 2.0 * cos_t * sin_t
    line = radius * (1.0 + oval_cos * cos_2t + oval_sin * sin_2t)
    centre_x, centre_y = x + line * cos_t, y + line * sin_t
    along = (camera.position[0] - centre_x) * cos_t + (camera.position[1] - centre_y) * sin_t

    def placed(out: Array, up: Array) -> Array:
        place = np.empty((*out.shape, 3))
        np.add(centre_x, out * cos_t, out=place[..., 0])
        np.add(centre_y, out * sin_t, out=place[..., 1])
        place[..., 2] = up
        return place

    if not section.is_round:
        inner, outer = section.touched(tube, along, camera.position[2])
        return placed(inner[..., 0], inner[..., 1]), placed(outer[..., 0], outer[..., 1])
    above = camera.position[2] - tube
    squared = along * along + above * above
    share = tube / squared
    near, aside = tube * share, np.sqrt(np.maximum(squared - tube * tube, 0.0)) * share
    out, up = along * near, tube + above * near
    out_more, up_more = above * aside, along * aside
    return placed(out - out_more, up + up_more), placed(out + out_more, up - up_more)


def carried(tori: Array, angles: Array, points: Array, slopes: Array) -> Array:
    """How far an outline is shifted for a unit of each parameter.

    It moves as the points of the wire do where lines of sight touch: that other points are touched
    afterwards only moves it along itself.

    Parameters
    ----------
    angles : (m,) or (n, m), of the sections that the points lie in
    points : (n, m, 3) mm, as of `touched`
    slopes : (n, m, 3) shift of the outline for a shift of these points, a mm

    Returns
    -------
    (n, m, 6)
    """
    _, _, radius, tube, oval_cos, oval_sin = (column[:, None] for column in tori.T)
    cos_t, sin_t = np.cos(angles), np.sin(angles)
    cos_2t, sin_2t = cos_t * cos_t - sin_t * sin_t, 2.0 * cos_t * sin_t
    stretch = 1.0 + oval_cos * cos_2t + oval_sin * sin_2t
    along_x, along_y, along_z = np.moveaxis(slopes, -1, 0)
    outwards = along_x * cos_t + along_y * sin_t
    out = (points[..., 0] - tori[:, None, X]) * cos_t + (points[..., 1] - tori[:, None, Y]) * sin_t
    moves = np.empty((*slopes.shape[:-1], 6))
    moves[..., X], moves[..., Y] = along_x, along_y
    moves[..., RADIUS] = outwards * stretch
    moves[..., TUBE] = ((out - radius * stretch) * outwards + points[..., 2] * along_z) / tube
    moves[..., OVAL_COS] = outwards * radius * cos_2t
    moves[..., OVAL_SIN] = outwards * radius * sin_2t
    return moves


@cache
def ring_angles(count: int) -> Array:
    """Angles (count,) of the middles of `count` equal sectors around the ring; read-only."""
    step = np.pi / count
    angles = np.linspace(step, 2.0 * np.pi - step, count)
    angles.flags.writeable = False
    return angles


def torus(x: float, y: float, id_mm: float, wire_mm: float) -> Array:
    """One round ring as a row (6,) of a torus array."""
    return np.array([x, y, (id_mm + wire_mm) / 2.0, wire_mm / 2.0, 0.0, 0.0])
