"""The edges of many rings at once: cut open and read part by part, on all free cores."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vision.cores import each
from vision.photo.decode import Photo
from vision.rings.reader import Reading
from vision.rings.unwrap import S_FROM, S_TO, Grid, Unwrapped, unwrap_between, widths_px

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

PART_POINTS = 200_000
"""Samples that are worked on together: their light, and what the reader makes of it, fit the
processor's cache. Nineteen rings as finely as it goes."""
FEW_POINTS = 30_000
"""Samples that are not shared out: their arithmetic takes less than what each part takes besides.
Eight rings for the quick reader."""
APART_PX, MANY_PIXELS = 1.5, 16_000_000
"""Where samples along a ray would lie further apart than this, in a picture of more pixels than so
many, it is halved as often as brings them nearer (a ring's wire of 50 pixels): none of the light
between them is lost then, and the readers have learnt mostly from wire of 10 to 50 pixels. In
smaller pictures hardly any wire is so wide, but many a wrong guess."""


def edges_between(
    photo: Photo, inner: Array, outer: Array, grid: Grid, read: Callable[[Picture], Reading]
) -> tuple[Unwrapped, Reading]:
    """Cut the picture open between and beside pairs of lines, and read both edges.

    Parameters
    ----------
    inner, outer : (n, sectors x rays, 2) pixels where s = 0 and s = 1
    grid : how finely
    read : the reader
    """
    halvings = _halvings(photo, inner, outer, grid)
    parts = [part for times in np.unique(halvings) for part in _parts(halvings == times, grid)]
    parts = parts or [np.arange(0)]

    def done(which: NDArray[np.int64]) -> tuple[Unwrapped, Reading]:
        times = int(halvings[which].max(initial=0))
        unwrapped = unwrap_between(photo, inner[which], outer[which], grid, times)
        return unwrapped, read(unwrapped.planes)

    unwrapped, readings = zip(*each(done, parts), strict=True)
    order = np.argsort(np.concatenate(parts))
    every = unwrapped[0].joined(*unwrapped[1:]), readings[0].joined(*readings[1:])
    return every if np.all(np.diff(order) == 1) else tuple(rows.chosen(order) for rows in every)


def _halvings(photo: Photo, inner: Array, outer: Array, grid: Grid) -> NDArray[np.int64]:
    """How often (n,) the picture is halved before each pair of lines is read in it."""
    if photo.size[0] * photo.size[1] < MANY_PIXELS:
        return np.zeros(len(inner), np.int64)
    apart = widths_px(inner, outer) * (S_TO - S_FROM) / grid.samples
    return np.ceil(np.log2(np.maximum(apart / APART_PX, 1.0))).astype(np.int64)


def _parts(mine: NDArray[np.bool_], grid: Grid) -> list[NDArray[np.int64]]:
    """Indices of these rings in parts of a size, an even number: two cores are done together."""
    (rings,) = np.nonzero(mine)
    points = len(rings) * grid.sectors * grid.rays * grid.samples
    count = 1 if points < FEW_POINTS else 2 * int(np.ceil(points / (2 * PART_POINTS)))
    return np.array_split(rings, count)
