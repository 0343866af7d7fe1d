"""Round things in a picture: centres that many edges point at, and the circles around them.

No threshold on brightness: a bright wire on white paper has none that works. Every edge pixel
votes for the centres that its gradient, followed either way, may point at; round things win,
whatever their colour. Each level of a pyramid looks for one octave and a half of radii.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import PhotoError

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Indices = NDArray[np.int64]

LEVELS = (1, 2, 4, 8, 16, 32, 64)
"""Reductions of the photo that are looked at, from the first one with at most:"""
FINEST_PIXELS = 1_500_000
"""In a photo of 12 megapixels the finest level still shows a ring of 32 px, the smallest whose wire
can be measured; more megapixels show the same ring larger."""
RADII = np.arange(4, 25)
"""Radii looked for at each level, in its pixels: neighbouring levels overlap by half an octave."""
NOISE_FACTOR = 3.0
"""An edge is this many times steeper than the median slope of its surroundings."""
SLOPE_LEAST = 1.25
"""Least slope (8-bit levels a pixel) that counts, whatever the surroundings."""
VOTES_LEAST = 1.0
"""Circles' worth of votes that a centre needs; a ring has two to six circles of its own."""
COVER_LEAST = 0.45
"""Share of a circle's angles at which an edge lies, for the circle to count."""
THIN_PER_LENGTH = 0.9
"""Pixels of a thinned, eight-connected circle per pixel of its length (2 sqrt 2 / pi)."""
SHIFT = 0.12
"""Circles of one nest are looked for around centres this far off, in radii."""
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
    x: Array
    y: Array
    along_x: Array
    along_y: Array


def find_circles(bgr: Pixels) -> list[Nest]:
    """Find every place that may be the middle of a ring or a coin.

    Parameters
    ----------
    bgr : (h, w, 3) the upright photo

    Returns
    -------
    Nests of circles, best supported first, at most one around each centre.

    Raises
    ------
    PhotoError
        If the picture is full of round marks.
    """
    found: list[Nest] = []
    picture, reached = bgr, 1
    for reduction in LEVELS:
        if bgr.shape[0] * bgr.shape[1] > FINEST_PIXELS * reduction**2:
            continue
        height, width = bgr.shape[0] // reduction, bgr.shape[1] // reduction
        if min(height, width) < 2 * RADII[0]:
            break
        factor = reduction // reached
        size = (picture.shape[1] // factor, picture.shape[0] // factor)
        picture = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
        reached = reduction
        level = _thin_edges(picture, reduction)
        centres = _centres(level)
        if len(centres) > MOST_CENTRES:
            raise PhotoError(
                f"the photo is full of small round marks: {len(centres)}, "
                f"at most {MOST_CENTRES} are looked into",
                hint="lay the rings on plain paper, without text, weave or pattern; "
                "photograph fewer of them at a time, from nearer",
            )
        found += [_circles(level, *centre) for centre in centres]
    return _one_per_centre([candidate for candidate in found if candidate.circles])


def _thin_edges(picture: Pixels, reduction: int) -> _Level:
    """Edges of the channel that changes most, thinned to one pixel across."""
    slopes = [cv2.Scharr(picture, cv2.CV_32F, *d, scale=1 / 32) for d in ((1, 0), (0, 1))]
    power = slopes[0] ** 2 + slopes[1] ** 2
    slope = np.sqrt(power.max(axis=2))
    strong = slope > np.maximum(SLOPE_LEAST, NOISE_FACTOR * _local_median(slope))
    strong[[0, -1], :] = strong[:, [0, -1]] = False
    y, x = np.nonzero(strong)
    channel = power[y, x].argmax(axis=1)
    along_x, along_y = (s[y, x, channel] / slope[y, x] for s in slopes)
    ridge = _is_ridge(slope, x, y, along_x, along_y)
    return _Level(
        reduction=reduction,
        width=slope.shape[1],
        height=slope.shape[0],
        x=x[ridge].astype(float),
        y=y[ridge].astype(float),
        along_x=along_x[ridge].astype(float),
        along_y=along_y[ridge].astype(float),
    )


def _local_median(slope: Floats, tile: int = 32) -> Floats:
    """Median slope of each tile's neighbourhood: the texture that an edge must rise above."""
    height, width = slope.shape
    rows, columns = max(1, height // tile), max(1, width // tile)
    small = cv2.resize(slope, (columns * 8, rows * 8), interpolation=cv2.INTER_NEAREST)
    tiles = small.reshape(rows, 8, columns, 8).swapaxes(1, 2).reshape(rows, columns, 64)
    medians = cv2.blur(np.median(tiles, axis=2).astype(np.float32), (3, 3))
    return np.asarray(cv2.resize(medians, (width, height)), np.float32)


def _is_ridge(
    slope: Floats, x: Indices, y: Indices, along_x: Floats, along_y: Floats
) -> NDArray[np.bool_]:
    """Whether neither neighbour along the slope is steeper (8 neighbours)."""
    step_x = np.rint(along_x * 1.3).astype(int)  # beyond 22.5 degrees the diagonal neighbour
    step_y = np.rint(along_y * 1.3).astype(int)
    here, ahead, behind = slope[y, x], slope[y + step_y, x + step_x], slope[y - step_y, x - step_x]
    ridge: NDArray[np.bool_] = (here >= ahead) & (here > behind)
    return ridge


def _centres(level: _Level) -> list[tuple[float, float, float]]:
    """Local maxima (x, y, votes) of the votes, in the level's pixels."""
    pad = int(RADII[-1])
    width, height = level.width + 2 * pad, level.height + 2 * pad
    field = np.zeros((height, width), np.float32)
    for radius in RADII:
        cells = [
            np.rint(level.y + signed * level.along_y + pad).astype(np.int64) * width
            + np.rint(level.x + signed * level.along_x + pad).astype(np.int64)
            for signed in (-radius, radius)
        ]
        np.add.at(field.reshape(-1), np.concatenate(cells), np.float32(1 / (2 * np.pi * radius)))
    gathered = np.asarray(cv2.boxFilter(field, -1, (3, 3), normalize=False))
    smooth = np.asarray(cv2.GaussianBlur(gathered, (0, 0), 0.8))
    around = np.ones((APART, APART), np.uint8)
    y, x = np.nonzero((smooth >= cv2.dilate(smooth, around)) & (smooth > VOTES_LEAST))
    return [
        (float(i - pad), float(j - pad), float(smooth[j, i])) for i, j in zip(x, y, strict=True)
    ]


def _circles(level: _Level, x: float, y: float, votes: float) -> Nest:
    """Circles with edges all around, each with the centre that suits it best."""
    radii, cover, shifts = _cover(level, x, y)
    best = cover.argmax(axis=0)
    top = cover.max(axis=0)
    peak = (top > COVER_LEAST) & (top >= np.roll(top, 1)) & (top > np.roll(top, -1))
    scale = level.reduction

    def full(value: float) -> float:
        return (value + 0.5) * scale - 0.5

    circles = tuple(
        Circle(
            x=full(x + shifts[best[k], 0]),
            y=full(y + shifts[best[k], 1]),
            radius=float(radii[k] * scale),
            cover=float(top[k]),
        )
        for k in np.nonzero(peak)[0]
    )
    return Nest(x=full(x), y=full(y), circles=circles, votes=votes)


def _cover(level: _Level, x: float, y: float) -> tuple[Array, Array, Array]:
    """Share of each circle along which a thin edge runs, for centres shifted a little.

    Returns
    -------
    radii : (k,) level pixels
    cover : (m, k) edge pixels within half a pixel of the circle over its length in the picture
    shifts : (m, 2) of the centre
    """
    reach = int(RADII[-1]) + 6
    first, last = np.searchsorted(level.y, (y - reach, y + reach))
    part = np.arange(first, last)
    part = part[np.abs(level.x[part] - x) < reach]
    dx, dy = level.x[part] - x, level.y[part] - y
    far = np.maximum(np.hypot(dx, dy), 1e-6)
    radial = level.along_x[part] * dx + level.along_y[part] * dy
    keep = (np.abs(radial) > ALONG * far) & (far > 2.0)
    dx, dy, far = dx[keep], dy[keep], far[keep]
    steps = np.arange(-3, 4)
    shifts = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2).astype(float)
    shifted = np.hypot(dx - shifts[:, :1], dy - shifts[:, 1:])
    radii = np.arange(3.0, RADII[-1] + 4.0)
    bins = np.rint(2.0 * (shifted - radii[0])).astype(int)  # half pixels
    count = 2 * len(radii)
    valid = (bins >= 0) & (bins < count)
    offset = np.arange(len(shifts))[:, None] * count
    votes = np.bincount((bins + offset)[valid], minlength=count * len(shifts))
    halves = votes.reshape(len(shifts), count).astype(float)
    smooth = halves.copy()
    smooth[:, 1:] += halves[:, :-1]
    smooth[:, :-1] += halves[:, 1:]
    length = 2.0 * np.pi * radii * _share_inside(x, y, radii, level.width, level.height)
    cover: Array = smooth[:, ::2] / (THIN_PER_LENGTH * length)
    cover[np.hypot(*shifts.T)[:, None] > np.maximum(1.0, SHIFT * radii)] = 0.0
    return radii, cover, shifts


def _share_inside(x: float, y: float, radii: Array, width: int, height: int) -> Array:
    """Share (k,) of each circle that lies in the picture, at least a third."""
    angles = np.arange(48) * (2.0 * np.pi / 48)
    columns, rows = x + radii * np.cos(angles)[:, None], y + radii * np.sin(angles)[:, None]
    inside = (columns >= 0) & (columns < width) & (rows >= 0) & (rows < height)
    share: Array = np.maximum(inside.mean(axis=0), 1.0 / 3.0)
    return share


def _one_per_centre(found: list[Nest]) -> list[Nest]:
    """Join what several levels saw around the same centre."""
    kept: list[Nest] = []
    for candidate in sorted(found, key=lambda c: -c.votes):
        same = next((k for k in kept if _same_centre(k, candidate)), None)
        if same is None:
            kept.append(candidate)
        else:
            kept[kept.index(same)] = _joined(same, candidate)
    return kept


def _same_centre(one: Nest, other: Nest) -> bool:
    apart = np.hypot(one.outer.x - other.outer.x, one.outer.y - other.outer.y)
    return bool(apart < 0.35 * min(one.outer.radius, other.outer.radius))


def _joined(one: Nest, other: Nest) -> Nest:
    """Circles of both; of two that are the same one, the better covered."""
    circles: list[Circle] = []
    for circle in sorted((*one.circles, *other.circles), key=lambda c: c.radius):
        if circles and circle.radius < 1.08 * circles[-1].radius:
            circles[-1] = max(circles[-1], circle, key=lambda c: c.cover)
        else:
            circles.append(circle)
    return Nest(x=one.x, y=one.y, circles=tuple(circles), votes=one.votes)
