"""The edges of many rings at once: cut open and read part by part, on all free cores."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vision.cores import free_cores
from vision.photo.decode import Photo
from vision.rings.reader import Reading
from vision.rings.unwrap import Grid, Unwrapped, unwrap_between, widths_px

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

PART_POINTS = 200_000
"""Samples that are worked on together: their light, and what the reader makes of it, fit the
processor's cache. Nineteen rings as finely as it goes."""
WIDE_PX, MANY_PIXELS = 48.0, 16_000_000
"""Wire of this width and more, in a picture of more pixels than so many, is read in one halved as
often as brings it below: samples lie so close then that none of the light between them is lost, and
the readers have learnt mostly from wire of 10 to 50 pixels. In smaller pictures hardly any wire is
so wide, but many a wrong guess."""


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
    wide = np.log2(np.maximum(widths_px(inner, outer), 1.0) / WIDE_PX)
    halvings = np.maximum(np.floor(wide) + 1.0, 0.0).astype(np.int64)
    if photo.size[0] * photo.size[1] < MANY_PIXELS:
        halvings[:] = 0
    parts = [part for times in np.unique(halvings) for part in _parts(halvings == times, grid)]
    parts = parts or [np.arange(0)]

    def done(which: NDArray[np.int64]) -> tuple[Unwrapped, Reading]:
        times = int(halvings[which].max(initial=0))
        unwrapped = unwrap_between(photo, inner[which], outer[which], grid, times)
        return unwrapped, read(unwrapped.planes)

    with free_cores() as cores:
        unwrapped, readings = zip(*cores.map(done, parts), strict=True)
    order = np.argsort(np.concatenate(parts))
    every = unwrapped[0].joined(*unwrapped[1:]), readings[0].joined(*readings[1:])
    return every if np.all(np.diff(order) == 1) else tuple(rows.chosen(order) for rows in every)


def _parts(mine: NDArray[np.bool_], grid: Grid) -> list[NDArray[np.int64]]:
    """Indices of these rings in parts of a size, an even number: two cores are done together."""
    (rings,) = np.nonzero(mine)
    each = grid.sectors * grid.rays * grid.samples
    count = min(2 * int(np.ceil(len(rings) * each / (2 * PART_POINTS))), len(rings))
    return np.array_split(rings, count)
