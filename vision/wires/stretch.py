"""A stretch of wire: a cylinder lying on the table, and the two silhouettes a camera sees of it."""

import numpy as np
from numpy.typing import NDArray

from vision.rings.section import ROUND, Section
from vision.scale.camera import Camera

Array = NDArray[np.float64]

X, Y, ANGLE, HALF, BEND, LENGTH = range(6)
"""Columns of an array of stretches (n, 6): middle of the axis x, y (mm), direction from +x towards
+y (radians), half the wire's width (mm), curvature to the left (1 / mm; wire off a coil keeps some
of its curve) and length (mm)."""


def silhouettes(
    camera: Camera, stretches: Array, places: Array, section: Section = ROUND
) -> tuple[Array, Array]:
    """Project both silhouettes of stretches that lie on the table.

    Parameters
    ----------
    camera : the camera over the table
    stretches : (n, 6), columns as named above
    places : (m,) along each stretch, from -0.5 to 0.5 of its length
    section : the wire's cross-section

    Returns
    -------
    left, right : (n, m, 2) pixels, left and right seen along the stretch from above

    Notes
    -----
    In the plane across the axis the silhouette is where a line of sight touches the section, as in
    a radial plane of a ring (`vision.rings.section`); a camera further along the axis sees the same
    two lines. Exact for a straight cylinder; a bend of 1 in 100 widths changes it by less than a
    thousandth of the width.
    """
    axis, right = axis_of(stretches, places)
    along = np.sum((camera.position[:2] - axis) * right, axis=-1)
    seen = section.touched(stretches[:, HALF, None], along, camera.position[2])

    def drawn(point: Array) -> Array:
        place = axis + point[..., :1] * right
        return camera.project(np.concatenate([place, point[..., 1:]], axis=-1))

    return drawn(seen[0]), drawn(seen[1])


def axis_of(stretches: Array, places: Array) -> tuple[Array, Array]:
    """Points of the axes on the table (n, m, 2), and unit vectors to their right."""
    angle, bend, length = (stretches[:, column, None] for column in (ANGLE, BEND, LENGTH))
    step = places * length
    cos, sin = np.cos(angle), np.sin(angle)
    off = bend * step**2 / 2.0
    x = stretches[:, X, None] + step * cos - off * sin
    y = stretches[:, Y, None] + step * sin + off * cos
    heading = angle + bend * step
    return np.stack([x, y], axis=-1), np.stack([np.sin(heading), -np.cos(heading)], axis=-1)


def evenly(count: int) -> Array:
    """Places (count,) of the middles of `count` equal steps along a stretch."""
    places: Array = (np.arange(count) + 0.5) / count - 0.5
    return places
