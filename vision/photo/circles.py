"""Round things in a picture: centres that many edges point at, and the circles around them.

No threshold on brightness: a bright wire on white paper has none that works. Every edge pixel
votes for the centres that its gradient, followed either way, may point at; round things win,
whatever their colour. Each level of a pyramid looks for one octave and a half of radii.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import PhotoError
from vision.photo.decode import Photo
from vision.photo.reduce import halved

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Indices = NDArray[np.int64]

HALVINGS = range(7)
"""How often the photo is halved for each level that is looked at, from the first one with at most:
"""
FINEST_PIXELS = 1_500_000
"""In a photo of 12 megapixels the finest level still shows a ring of 32 px, the smallest whose wire
can be measured; more megapixels show the same ring larger."""
RADII = np.arange(4, 25)
"""Radii looked for at each level, in its pixels: neighbouring levels overlap by half an octave."""
BAND = 64
"""Rows of the picture whose slopes are worked out at a time."""
NOISE_FACTOR = 3.0
"""An edge is this many times steeper than the median slope of its surroundings."""
SLOPE_LEAST = 1.25
"""Least slope (8-bit levels a pixel) that counts, whatever the surroundings."""
VOTES_LEAST = 1.2
"""Circles' worth of votes that a centre needs; a ring has two to six circles of its own."""
COVER_LEAST = 0.45
"""Share of a circle's angles at which an edge lies, for the circle to count."""
THIN_PER_LENGTH = 0.9
"""Pixels of a thinned, eight-connected circle per pixel of its length (2 sqrt 2 / pi)."""
SHIFT = 0.12
"""Circles of one nest are looked for around centres this far off, in radii."""
REACH = int(RADII[-1]) + 6
"""Distance from a centre along either axis up to which edges are looked at, level pixels."""
CIRCLE_RADII = np.arange(3.0, RADII[-1] + 4.0)
"""Radii of the circles that are looked for around a centre, level pixels."""
PAD = REACH + int(RADII[-1])
"""Border around a level's picture that holds centres outside it, and what is around them."""
SAME = 0.35
"""Outermost circles have one centre if theirs are nearer than this, in radii of the smaller."""
BATCH = 128
"""Centres whose circles are counted at once."""
APART = 9
"""Side of the square (level pixels) in which only the centre with most votes counts."""
MOST_CENTRES = 2000
"""Centres of one level above which no photo of rings is looked into: 40 rings on a printed sheet
have 450, a page full of text has 4000 and would take minutes."""
ALONG = 0.92
"""Cosine between gradient and radius up to which an edge belongs to a circle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A circle along which edges lie, in pixels of the photo."""

    x: float
    y: float
    radius: float
    cover: float
    """Share of the circle's angles that show an edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nest:
    """Nested circles around one place, in pixels of the photo, innermost first.

    Their centres differ a little: an outline of a solid thing seen aslant is shifted by its height.
    """

    x: float
    y: float
    circles: tuple[Circle, ...]
    votes: float

    @property
    def outer(self) -> Circle:
        """The outermost circle."""
        return self.circles[-1]


@dataclass(frozen=True, slots=True, eq=False)
class _Level:
    """One level of the pyramid: its thin edges, row by row, and the direction of their slope."""

    reduction: int
    width: int
    height: int
    x: Indices
    y: Indices
    along_x: Floats
    along_y: Floats


def find_circles(photo: Photo) -> list[Nest]:
    """Find every place that may be the middle of a ring or a coin.

    Returns
    -------
    Nests of circles, best supported first, at most one around each centre.

    Raises
    ------
    PhotoError
        If the picture is full of round marks.
    """
    found: list[Nest] = []
    width, height = photo.size
    finest = next(times for times in HALVINGS if width * height <= FINEST_PIXELS * 4**times)
    picture = photo.halved(finest)
    for times in range(finest, HALVINGS.stop):
        if times > finest:
            picture = halved(picture)
        if min(picture.shape[:2]) < 2 * RADII[0]:
            break
        level = _thin_edges(picture, 2**times)
        x, y, votes = _centres(level)
        if len(x) > MOST_CENTRES:
            raise PhotoError(
                f"the photo is full of small round marks: {len(x)}, "
                f"at most {MOST_CENTRES} are looked into",
                hint="lay the rings on plain paper, without text, weave or pattern; "
                "photograph fewer of them at a time, from nearer",
            )
        found += _nests(level, x, y, votes)
    return _one_per_centre(found)


def _thin_edges(picture: Pixels, reduction: int) -> _Level:
    """Edges of the channel that changes most, thinned to one pixel across."""
    slope, *steepest = _steepest(picture)
    strong = slope > _floor(slope)
    strong[[0, -1], :] = strong[:, [0, -1]] = False
    place = np.flatnonzero(strong)
    here, along_x, along_y = (each.take(place) for each in (slope, *steepest))
    along_x, along_y = along_x / here, along_y / here
    ridge = _is_ridge(slope, place, along_x, along_y)
    y, x = np.divmod(place[ridge], slope.shape[1])
    return _Level(
        reduction=reduction,
        width=slope.shape[1],
        height=slope.shape[0],
        x=x,
        y=y,
        along_x=along_x[ridge],
        along_y=along_y[ridge],
    )


def _steepest(picture: Pixels) -> Floats:
    """Steepness and change a pixel along x and y (3, h, w) of the channel that changes most.

    A band of rows after the other, for what is worked out of one fits the processor's cache.
    """
    height, width = picture.shape[:2]
    found = np.empty((3, height, width), np.float32)
    for top in range(0, height, BAND):
        bottom = min(top + BAND, height)
        first = max(top - 1, 0)  # slopes need the row before and the one behind
        band = picture[first : bottom + 1]
        best: list[Floats] = []
        for plane in cv2.split(band):
            slopes = _slopes(plane)
            each = [np.asarray(cv2.magnitude(*slopes), np.float32), *slopes]
            if best:
                steeper = cv2.compare(each[0], best[0], cv2.CMP_GE)
                for one, other in zip(each, best, strict=True):
                    cv2.copyTo(one, steeper, other)
            else:
                best = each
        for whole, part in zip(found, best, strict=True):
            whole[top:bottom] = part[top - first : bottom - first]
    return found


def _slopes(plane: NDArray[Any]) -> tuple[Floats, Floats]:
    """Change a pixel of one channel along x and y."""
    along_x, along_y = (
        np.asarray(cv2.Scharr(plane, cv2.CV_32F, *order, scale=1 / 32), np.float32)
        for order in ((1, 0), (0, 1))
    )
    return along_x, along_y


def _floor(slope: Floats, tile: int = 32) -> Floats:
    """Steepness that an edge must exceed: it must rise above the texture of its surroundings."""
    height, width = slope.shape
    rows, columns = max(1, height // tile), max(1, width // tile)
    small = cv2.resize(slope, (columns * 8, rows * 8), interpolation=cv2.INTER_NEAREST)
    tiles = small.reshape(rows, 8, columns, 8).swapaxes(1, 2).reshape(rows, columns, 64)
    medians = cv2.blur(np.median(tiles, axis=2).astype(np.float32), (3, 3))
    floor = np.maximum(SLOPE_LEAST, NOISE_FACTOR * np.asarray(medians, np.float32))
    return np.asarray(cv2.resize(floor, (width, height)), np.float32)


def _is_ridge(slope: Floats, place: Indices, along_x: Floats, along_y: Floats) -> NDArray[np.bool_]:
    """Whether neither neighbour along the slope is steeper (8 neighbours)."""
    # beyond 22.5 degrees the diagonal neighbour
    step = np.rint(along_y * 1.3).astype(np.int64) * slope.shape[1]
    step += np.rint(along_x * 1.3).astype(np.int64)
    here, ahead, behind = (slope.take(index) for index in (place, place + step, place - step))
    ridge: NDArray[np.bool_] = (here >= ahead) & (here > behind)
    return ridge


def _centres(level: _Level) -> tuple[Indices, Indices, Floats]:
    """Local maxima (x, y, votes) of the votes, in the level's pixels."""
    width, height = level.width + 2 * PAD, level.height + 2 * PAD
    votes = np.zeros(height * width, np.float32)
    y, x = (level.y + PAD).astype(np.float32), (level.x + PAD).astype(np.float32)
    for radius in np.concatenate([RADII, -RADII]).astype(np.float32):
        cells = np.rint(y + radius * level.along_y)  # whole numbers far below 2**24: exact
        cells *= np.float32(width)
        cells += np.rint(x + radius * level.along_x)
        weight = np.float32(1.0 / (2.0 * np.pi * abs(radius)))
        np.add.at(votes, cells.astype(np.int64), weight)
    gathered = cv2.boxFilter(votes.reshape(height, width), -1, (3, 3), normalize=False)
    smooth = np.asarray(cv2.GaussianBlur(gathered, (0, 0), 0.8), np.float32)
    around = np.ones((APART, APART), np.uint8)
    enough = np.flatnonzero(smooth > VOTES_LEAST)
    found, most = smooth.take(enough), np.asarray(cv2.dilate(smooth, around)).take(enough)
    rows, columns = np.divmod(enough[found >= most], width)
    return columns - PAD, rows - PAD, found[found >= most]


def _nests(level: _Level, x: Indices, y: Indices, votes: Floats) -> list[Nest]:
    """Circles with edges all around each centre, each with the centre that suits it best."""
    nests = []
    scale, shifts, numbers = level.reduction, _shifts(), _numbers(level)

    def full(value: float) -> float:
        return (value + 0.5) * scale - 0.5

    for start in range(0, len(x), BATCH):
        part = slice(start, start + BATCH)
        cover = _cover(level, numbers, x[part], y[part])
        best, top = cover.argmax(axis=1), cover.max(axis=1)
        peak = (top > COVER_LEAST) & (top >= np.roll(top, 1, 1)) & (top > np.roll(top, -1, 1))
        for index in np.nonzero(peak.any(axis=1))[0]:
            here = start + index
            circles = tuple(
                Circle(
                    x=full(float(x[here] + shifts[best[index, k], 0])),
                    y=full(float(y[here] + shifts[best[index, k], 1])),
                    radius=float(CIRCLE_RADII[k] * scale),
                    cover=float(top[index, k]),
                )
                for k in np.nonzero(peak[index])[0]
            )
            nests.append(
                Nest(
                    x=full(float(x[here])),
                    y=full(float(y[here])),
                    circles=circles,
                    votes=float(votes[here]),
                )
            )
    return nests


@cache
def _shifts() -> Indices:
    """Shifts (m, 2) of a centre that any circle around it may have."""
    steps = np.arange(-3, 4)
    every = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    possible: Indices = every[np.hypot(*every.T) <= np.maximum(1.0, SHIFT * CIRCLE_RADII[-1])]
    return possible


@cache
def _half_radii() -> Indices:
    """Which of the bins (shift, half pixel of radius) each place around a centre falls into.

    ((2 * REACH + 1)^2, m), row by row; those beyond the last radius fall into a bin of their own.
    """
    offset = np.arange(-REACH, REACH + 1)
    dx, dy = np.meshgrid(offset, offset)
    shifts = _shifts()
    far = np.hypot(dx.reshape(-1, 1) - shifts[:, 0], dy.reshape(-1, 1) - shifts[:, 1])
    count = 2 * len(CIRCLE_RADII)
    halves = np.rint(2.0 * (far - CIRCLE_RADII[0])).astype(np.int64)
    outside = (halves < 0) | (halves >= count)
    return np.where(outside, count, halves) + np.arange(len(shifts)) * (count + 1)


def _cover(level: _Level, numbers: NDArray[np.int32], x: Indices, y: Indices) -> Array:
    """Share of each circle along which a thin edge runs, for centres shifted a little.

    Returns
    -------
    (n, m, k) edge pixels within half a pixel of the circle over its length in the picture, for
    each centre, each of `_shifts` and each of `CIRCLE_RADII`
    """
    centre, place = _edges_around(level, numbers, x, y)
    shifts = _shifts()
    bins = 2 * len(CIRCLE_RADII) + 1
    each = len(shifts) * bins
    into = _half_radii().take(place, axis=0)
    into += (centre * each)[:, None]
    votes = np.bincount(into.ravel(), minlength=len(x) * each)
    halves = votes.reshape(len(x), len(shifts), bins)[..., :-1]
    smooth = halves[..., ::2] + halves[..., 1::2]
    smooth[..., 1:] += halves[..., 1:-1:2]
    length = 2.0 * np.pi * CIRCLE_RADII * _share_inside(x, y, level.width, level.height)
    cover: Array = smooth / (THIN_PER_LENGTH * length)[:, None]
    cover[:, np.hypot(*shifts.T)[:, None] > np.maximum(1.0, SHIFT * CIRCLE_RADII)] = 0.0
    return cover


def _numbers(level: _Level) -> NDArray[np.int32]:
    """Each edge's number where it lies, -1 elsewhere, with a border of `PAD`."""
    numbers = np.full((level.height + 2 * PAD, level.width + 2 * PAD), -1, np.int32)
    numbers[level.y + PAD, level.x + PAD] = np.arange(len(level.x))
    return numbers


def _edges_around(
    level: _Level, numbers: NDArray[np.int32], x: Indices, y: Indices
) -> tuple[Indices, Indices]:
    """Edges that point at a centre: index of the centre, and place in its square, row by row."""
    side = 2 * REACH + 1
    squares = np.lib.stride_tricks.sliding_window_view(numbers, (side, side))
    top, left = y + PAD - REACH, x + PAD - REACH
    around = squares[top, left].ravel()
    seen = np.flatnonzero(around >= 0)
    centre, place = np.divmod(seen, side * side)
    dy, dx = np.divmod(place, side)
    edge = around[seen]
    dx, dy = dx - REACH, dy - REACH
    far = np.hypot(dx, dy)
    radial = level.along_x[edge] * dx + level.along_y[edge] * dy
    keep = (np.abs(radial) > ALONG * far) & (far > 2.0)
    return centre[keep], place[keep]


def _share_inside(x: Indices, y: Indices, width: int, height: int) -> Array:
    """Share (n, k) of each of `CIRCLE_RADII` that lies in the picture, at least a third."""
    share = np.ones((len(x), len(CIRCLE_RADII)))
    reach = CIRCLE_RADII[-1]
    near = np.nonzero((x < reach) | (y < reach) | (x >= width - reach) | (y >= height - reach))[0]
    angles = np.arange(48) * (2.0 * np.pi / 48)
    columns = x[near, None, None] + CIRCLE_RADII * np.cos(angles)[:, None]
    rows = y[near, None, None] + CIRCLE_RADII * np.sin(angles)[:, None]
    inside = (columns >= 0) & (columns < width) & (rows >= 0) & (rows < height)
    share[near] = np.maximum(inside.mean(axis=1), 1.0 / 3.0)
    return share


def _one_per_centre(found: list[Nest]) -> list[Nest]:
    """Join what several levels saw around the same centre."""
    kept: list[Nest] = []
    outers = np.empty((3, len(found)))
    for candidate in sorted(found, key=lambda c: -c.votes):
        same = _same_centre(outers[:, : len(kept)], candidate.outer)
        if same is None:
            same = len(kept)
            kept.append(candidate)
        else:
            kept[same] = _joined(kept[same], candidate)
        outer = kept[same].outer
        outers[:, same] = outer.x, outer.y, outer.radius
    return kept


def _same_centre(outers: Array, outer: Circle) -> int | None:
    """The first of the circles (3, n) that lies around the same centre."""
    x, y, radius = outers
    same = np.hypot(x - outer.x, y - outer.y) < SAME * np.minimum(radius, outer.radius)
    return int(same.argmax()) if same.any() else None


def _joined(one: Nest, other: Nest) -> Nest:
    """Circles of both; of two that are the same one, the better covered."""
    circles: list[Circle] = []
    for circle in sorted((*one.circles, *other.circles), key=lambda c: c.radius):
        if circles and circle.radius < 1.08 * circles[-1].radius:
            circles[-1] = max(circles[-1], circle, key=lambda c: c.cover)
        else:
            circles.append(circle)
    return Nest(x=one.x, y=one.y, circles=tuple(circles), votes=one.votes)
