"""The edges of many rings at once: cut open and read part by part, on all free cores."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vision.cores import free_cores
from vision.photo.decode import Photo
from vision.rings.reader import Reading
from vision.rings.unwrap import Grid, Unwrapped, unwrap_between

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

PART_POINTS = 200_000
"""Samples that are worked on together: their light, and what the reader makes of it, fit the
processor's cache. Seven rings as finely as it goes."""


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
    rings = len(inner)
    each = grid.sectors * grid.rays * grid.samples
    # an even number of parts, so that two cores are done together
    count = min(2 * int(np.ceil(rings * each / (2 * PART_POINTS))), rings)
    cuts = np.array_split(np.arange(rings), max(count, 1))

    def part(which: NDArray[np.int64]) -> tuple[Unwrapped, Reading]:
        unwrapped = unwrap_between(photo, inner[which], outer[which], grid)
        return unwrapped, read(unwrapped.planes)

    with free_cores() as cores:
        unwrapped, readings = zip(*cores.map(part, cuts), strict=True)
    return unwrapped[0].joined(*unwrapped[1:]), readings[0].joined(*readings[1:])
