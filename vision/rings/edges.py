"""Many rings at once: cut open, read and fitted part by part, on all free cores."""

from collections.abc import Callable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from vision.cores import each
from vision.photo.decode import Photo
from vision.rings.rows import Rows
from vision.rings.unwrap import S_FROM, S_TO, Grid, Unwrapped, unwrap_between, widths_px

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Outcome = TypeVar("Outcome", bound=Rows)

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


def in_parts(
    photo: Photo,
    inner: Array,
    outer: Array,
    grid: Grid,
    work: Callable[[Indices, Unwrapped], Outcome],
    together: int = 1,
) -> Outcome:
    """Cut the picture open between and beside pairs of lines, and work on what is seen there.

    Parameters
    ----------
    inner, outer : (n, sectors x rays, 2) pixels where s = 0 and s = 1
    grid : how finely
    work : makes rows of some pairs' indices and of what is seen between them; of all pairs they
        come back in order
    together : so many pairs that follow one another are worked on together, to one row
    """
    halvings = _halvings(photo, inner[::together], outer[::together], grid)
    parts = [
        part for times in np.unique(halvings) for part in _parts(halvings == times, grid, together)
    ] or [np.arange(0)]

    def done(part: Indices) -> Outcome:
        times = int(halvings[part].max(initial=0))
        which = (together * part[:, None] + np.arange(together)).ravel()
        return work(which, unwrap_between(photo, inner[which], outer[which], grid, times))

    first, *others = each(done, parts)
    order = np.argsort(np.concatenate(parts))
    joined = first.joined(*others) if others else first
    return joined if np.all(np.diff(order) == 1) else joined.chosen(order)


def _halvings(photo: Photo, inner: Array, outer: Array, grid: Grid) -> Indices:
    """How often (n,) the picture is halved before each pair of lines is read in it."""
    if photo.size[0] * photo.size[1] < MANY_PIXELS:
        return np.zeros(len(inner), np.int64)
    apart = widths_px(inner, outer) * (S_TO - S_FROM) / grid.samples
    return np.ceil(np.log2(np.maximum(apart / APART_PX, 1.0))).astype(np.int64)


def _parts(mine: NDArray[np.bool_], grid: Grid, together: int = 1) -> list[Indices]:
    """Indices of these rings in parts of a size, an even number: two cores are done together."""
    (rings,) = np.nonzero(mine)
    points = together * len(rings) * grid.sectors * grid.rays * grid.samples
    count = 1 if points < FEW_POINTS else 2 * int(np.ceil(points / (2 * PART_POINTS)))
    return np.array_split(rings, count)
