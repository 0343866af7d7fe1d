"""From nested circles in the picture to first guesses of solid rings on the table."""

import numpy as np
from numpy.typing import NDArray

from vision.photo.circles import Circle, Nest
from vision.rings.torus import RADIUS, TUBE
from vision.scale.camera import Camera

Array = NDArray[np.float64]

COVER_SHARE = 0.6
"""Circles count as an outline from this share of the best covered one's cover."""
PAIRS_MOST = 6
HOLE_LEAST, HOLE_MOST = 0.4, 0.93
"""Inner over outer radius of anything called a ring: AR 1.3 to 27."""
SIZE_OFF = 0.15
"""A circle this far (ln of the radius) from a known ring's outline is no outline of such a ring."""
USUAL_HOLE = 0.68
"""Inner over outer radius of a ring of AR 4.2, where only one circle was seen."""


def guess_tori(camera: Camera, nests: list[Nest]) -> list[Array]:
    """Guess which circles of each nest are the outlines, likeliest first.

    Returns
    -------
    Of each nest (k, 6) rings on the table, k from 2 to 6; the outlines are off by up to a third of
    the wire.
    """
    pairs = [_pairs(nest) for nest in nests]
    tori = _on_table(camera, [pair for some in pairs for pair in some])
    return np.split(tori, np.cumsum([len(some) for some in pairs])[:-1]) if nests else []


def _pairs(nest: Nest) -> list[tuple[Circle, Circle]]:
    """Circles that may be inner and outer outline, likeliest first."""
    best = max(circle.cover for circle in nest.circles)
    seen = [c for c in nest.circles if c.cover >= COVER_SHARE * best]
    pairs = [
        (inner, outer)
        for outer in reversed(seen)
        for inner in seen
        if HOLE_LEAST * outer.radius < inner.radius < HOLE_MOST * outer.radius
    ]
    pairs.sort(key=lambda pair: -pair[0].cover - pair[1].cover - pair[1].radius / seen[-1].radius)
    pairs = pairs[: PAIRS_MOST - 1]
    pairs.append((_scaled(seen[-1], USUAL_HOLE), seen[-1]))
    if len(pairs) < 2:
        pairs.append((seen[-1], _scaled(seen[-1], 1.0 / USUAL_HOLE)))
    return pairs


def guess_like(camera: Camera, nest: Nest, tori: Array) -> Array:
    """Guess rings (k, 6) of known sizes `tori` (m, 6) where a circle is as large as one's outline.

    k is at most m.
    """
    guesses = [np.empty((0, 6))]
    for known in tori:
        circles = np.array([(circle.x, circle.y, circle.radius) for circle in nest.circles])
        place = circles[:, :2]
        across = (known[RADIUS] + known[TUBE]) / camera.mm_per_px(place.mean(axis=0), known[TUBE])
        nearest = int(np.abs(np.log(circles[:, 2] / across)).argmin())
        if abs(np.log(circles[nearest, 2] / across)) < SIZE_OFF:
            x, y = camera.to_plane(place[nearest], known[TUBE])
            guesses.append(np.array([[x, y, known[RADIUS], known[TUBE], 0.0, 0.0]]))
    return np.concatenate(guesses)


def _scaled(circle: Circle, factor: float) -> Circle:
    return Circle(x=circle.x, y=circle.y, radius=factor * circle.radius, cover=circle.cover)


def _on_table(camera: Camera, pairs: list[tuple[Circle, Circle]]) -> Array:
    """The rings (k, 6) whose outlines are about these circles; middles lie at half the height."""
    inner, outer = (
        np.array([(pair[side].x, pair[side].y, pair[side].radius) for pair in pairs]).reshape(-1, 3)
        for side in (0, 1)
    )
    middle = (inner[:, :2] + outer[:, :2]) / 2.0
    on_table = camera.pixel_sizes(middle)
    wire_px = outer[:, 2] - inner[:, 2]
    height = wire_px * on_table / 2.0
    size = on_table * (1.0 - height / camera.position[2])  # parallel planes, seen from one point
    place = camera.to_plane(middle[:, None], height[:, None, None])[:, 0]
    tube, hole = wire_px * size / 2.0, inner[:, 2] * size
    flat = np.zeros(len(pairs))
    return np.column_stack([place, hole + tube, tube, flat, flat])
