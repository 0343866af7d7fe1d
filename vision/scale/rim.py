"""The outline of a coin in the picture, to a fraction of a pixel."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.photo.light import LIGHT_STEPS
from vision.photo.reduce import halved
from vision.scale.camera import Camera
from vision.scale.ellipse import Ellipse, fit_ellipse

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

SECTORS = 180
LEVEL_SHARE = 0.9
"""Share of the light around the rim that is darker than what its steps are measured by."""
SMOOTH_PX = 1.0
"""Width of the smoothing along each ray."""
PEAK_SHARE, NOISE_FACTOR = 0.06, 4.0
"""A slope counts as an edge from this share of the sector's steepest, and from this many times the
median slope outside the coin."""
CLIMB, STEPS = 4, (0, -1, 1)
"""Steps of half a pixel between the steepest place of the root and that of the light itself: half a
blur where a dark coin lies on a bright table."""
COVER_LEAST = 0.6
"""Share of the sectors that the coin's outline must show."""
COVER_SHARE = 0.7
"""A larger concentric curve is the outline from this share of the best curve's cover."""
LARGER, LEAN_MOST = 1.03, 0.03
"""A curve is larger by more than this factor, and concentric if its middle is less than this share
of the radius aside: the lower it lies, the more aside it is seen."""
COPY_STEP, COPIES_BACK = 0.375, 6
"""Step from one larger curve to the next, in the distance at which an edge lies on a curve, and how
far inside the last good one the best of them may be: that distance and as much more as the curves
reach beyond the outline itself."""
GUESS_DEPTH, GUESS_SEED = 4, 20260302
"""Edges of a sector, counted from outside, through which curves are guessed."""
SIEVE, SIEVED = 4, 100
"""Guesses are compared on every so many sectors first, and these many best ones on all."""
BINS = 6
"""Steps of a map of the edges in the distance at which an edge lies on a curve."""
STEEP_SHARE = 0.6
"""Worth of an edge's steepness, beside its clarity, where curves are compared: among beads, letters
and shadows chance curves have edges nearly all around too, but few that are the steepest."""
BEYOND_FROM, BEYOND_TO, BEYOND_STEP = 0.03, 0.13, 0.004
"""Larger concentric curves that are looked at for a second outline: how much, in radii, they are
larger than what counts as the traced one."""
NARROW = (2.0, 1.3, 0.9)
"""Distances, in those of a guess, at which edges still belong to the outline, fit after fit."""
SILHOUETTE = 0.7
"""Worth of an edge on the lower rim where that shows; the rest is for the upper rim inside it."""
SCATTER_SHARE, U_EDGE_PX = 0.3, 0.15
"""Uncertainty of the radius: this share of the scatter, which neighbouring edges have in common,
and at least this much for the edge finder itself."""
U_LACKING = 0.012
"""Uncertainty of the radius, in radii, for an outline of which nothing is seen, and in proportion
to the share that is not: what does not end against the table may not be the rim. Of 95 coins the 13
of which more than a fifth was missing had scales 0.7 % off (root mean square), the others 0.3 %."""

U_ROUGH = 0.05
"""Uncertainty of a rough circle's radius, in radii."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """How finely a rim is traced."""

    rays: int
    """In each of the 180 sectors."""
    search: float
    """Edges are looked for this far inside and outside the expected rim, in radii."""
    near: float
    """Distance, in radii beside the shape's own doubt, at which an edge lies on a guessed curve."""
    near_least_px: float
    guesses: int
    """Curves through three edges that are tried."""


FINE = Care(rays=9, search=0.14, near=0.003, near_least_px=0.0, guesses=3000)
COARSE = Care(rays=3, search=0.3, near=0.003, near_least_px=1.2, guesses=1000)
"""For a picture so much reduced that steps near the rim have become one, from a start that is off
by a fifth."""
COARSE_RADIUS_PX = 32.0
"""Least radius of a coin in that picture."""
COARSE_REACH, SMALLEST_PX = 1.3, 8
"""Half side of that picture, in radii, and the least one that is looked at."""

ANGLES: Array = np.linspace(0.0, 2.0 * np.pi, SECTORS, endpoint=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """How a disc of known proportions is drawn: what is left to find is its place and size.

    On the side towards the foot of the plumb line the lower rim shows beside the upper one, and it
    is what ends against the table.
    """

    x: float
    y: float
    """Middle of the upper rim, pixels."""
    upper: Array
    """(180,) distance of the upper rim in each direction, pixels."""
    lower: Array
    """(180,) of the lower rim, from the same middle."""
    u_rel: float
    """Standard uncertainty of the shape, in radii: a tilt that is not known yet."""

    @property
    def radius(self) -> float:
        """Mean radius of the upper rim, pixels."""
        return float(self.upper.mean())


def drawn_shape(camera: Camera, radius_mm: float, thickness_mm: float, u_rel: float) -> Shape:
    """Draw a disc that lies at the world's origin."""
    dense = np.linspace(0.0, 2.0 * np.pi, 8 * SECTORS, endpoint=False)
    circle = radius_mm * np.stack([np.cos(dense), np.sin(dense)], axis=-1)

    def drawn(height: float) -> Array:
        return camera.project(np.column_stack([circle, np.full(len(dense), height)]))

    upper = drawn(thickness_mm)
    middle = upper.mean(axis=0)

    def polar(points: Array) -> Array:
        offset = points - middle
        angle = np.arctan2(offset[:, 1], offset[:, 0])
        order = np.argsort(angle)
        distance = np.hypot(offset[:, 0], offset[:, 1])
        around: Array = np.interp(ANGLES, angle[order], distance[order], period=2.0 * np.pi)
        return around

    return Shape(
        x=float(middle[0]),
        y=float(middle[1]),
        upper=polar(upper),
        lower=polar(drawn(0.0)),
        u_rel=u_rel,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rim:
    """A coin's upper rim as the camera draws it."""

    outline: Array
    """(180, 2) points of the shape where it was found, pixels."""
    edges: Array
    """(n, 2) the edges that it runs through, pixels."""
    rms_px: float
    """Scatter of the edges around the outline."""
    u_radius_px: float
    """Standard uncertainty of the mean radius: scatter, and doubt about which edge it is."""
    cover: float
    """Share of sectors in which the edge was found."""
    beyond: float = 0.0
    """Share of sectors that show an edge on a larger concentric curve: its own outline, then."""
    is_traced: bool = True
    """False for a rough circle that stands in until the tilt is known."""

    def ellipse(self) -> Ellipse:
        """What the edges themselves say of tilt, free of the shape that was expected."""
        return fit_ellipse(self.edges)

    @property
    def x(self) -> float:
        """Middle, pixels."""
        return float(self.outline[:, 0].mean())

    @property
    def y(self) -> float:
        """Middle, pixels."""
        return float(self.outline[:, 1].mean())

    @property
    def radius(self) -> float:
        """Mean radius, pixels."""
        return float(np.hypot(*(self.outline - self.outline.mean(axis=0)).T).mean())


def trace_rim(photo: Photo, shape: Shape, care: Care = FINE) -> Rim | None:
    """Find where a disc of known shape lies, and how large it is drawn.

    Three unknowns, shift and size. A coin's steps are concentric; its shadow is round too, but
    shifted, and part of it may join part of the rim to another round curve. So first the curve
    with most edges is found, by random sampling, and then only larger copies of it are looked at.

    Parameters
    ----------
    photo : the photo; edges are found in the square root of linear light, in which dark ones show
        as well, and placed in linear light: that is where a blur leaves them
    shape : the disc, off by some per cent in place and size

    Returns
    -------
    Rim, or None where no edge runs around.
    """
    radii, slope, plain = _slopes(photo, shape, care)
    rows, columns, clarity = _peaks(slope)
    if len(rows) < SECTORS // 2:
        return None
    edges = _Edges(
        sector=rows,
        clarity=clarity,
        steepness=slope[rows, columns] / slope.max(axis=1)[rows],
        radius=_refined(plain, radii, rows, _climbed(plain, rows, columns)),
        shape=shape,
    )
    near = max((care.near + shape.u_rel) * shape.radius, care.near_least_px)
    found = _outermost(edges, near, care)
    for width in NARROW:
        if found is None:
            return None
        found = _refitted(edges, found, width * near)
    if found is None:
        return None
    used, lifted = _on_rim(edges, found, NARROW[-1] * near)
    cover = float(_covers(found[None], _map(edges, edges.clarity, NARROW[-1] * near))[0])
    if cover < COVER_LEAST:
        return None
    angle = ANGLES[edges.sector]
    directions = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    left = lifted[used] - _upper(found[None], edges)[0, used]
    rms = float(np.sqrt(np.sum(left**2) / max(1, int(used.sum()) - 3)))
    every = np.stack([np.cos(ANGLES), np.sin(ANGLES)], axis=-1)
    middle = np.array([shape.x, shape.y]) + found[1:]
    return Rim(
        outline=middle + found[0] * shape.upper[:, None] * every,
        edges=(shape.x, shape.y) + lifted[used, None] * directions[used],
        rms_px=rms,
        u_radius_px=float(
            np.hypot(
                max(SCATTER_SHARE * rms, U_EDGE_PX),
                U_LACKING * max(0.0, 1.0 - cover) * shape.radius * found[0],
            )
        ),
        cover=cover,
        beyond=_beyond(found, edges, NARROW[0] * near),
    )


def search_rim(photo: Photo, shape: Shape) -> Rim | None:
    """Look for a rim on a reduced picture, within some per cent, from a shape off by a fifth.

    Returns
    -------
    Rim as of `trace_rim`, but not traced; None where no edge runs around.
    """
    times = max(0, int(np.log2(shape.radius / COARSE_RADIUS_PX)))
    zoom = 2**times
    reach = COARSE_REACH * shape.radius + 4 * zoom
    left, top = (zoom * max(0, int((at - reach) // zoom)) for at in (shape.x, shape.y))
    right, bottom = (max(0, int(at + reach)) for at in (shape.x, shape.y))
    small = halved(photo.bgr[top:bottom, left:right], times)
    if min(small.shape[:2]) < SMALLEST_PX:
        return None
    corner = np.array([left, top])
    x, y = (np.array([shape.x, shape.y]) - corner + 0.5) / zoom - 0.5
    reduced = replace(shape, x=x, y=y, upper=shape.upper / zoom, lower=shape.lower / zoom)
    rim = trace_rim(replace(photo, bgr=small), reduced, COARSE)
    if rim is None:
        return None
    return Rim(
        outline=(rim.outline + 0.5) * zoom - 0.5 + corner,
        edges=(rim.edges + 0.5) * zoom - 0.5 + corner,
        rms_px=rim.rms_px * zoom,
        u_radius_px=rim.u_radius_px * zoom,
        cover=rim.cover,
        is_traced=False,
    )


def rough_rim(x: float, y: float, radius: float, cover: float) -> Rim:
    """A circle in the picture in place of a rim that could not be traced yet."""
    outline = (x, y) + radius * np.stack([np.cos(ANGLES), np.sin(ANGLES)], axis=-1)
    return Rim(
        outline=outline,
        edges=outline,
        rms_px=U_ROUGH * radius,
        u_radius_px=U_ROUGH * radius,
        cover=cover,
        is_traced=False,
    )


def _slopes(photo: Photo, shape: Shape, care: Care) -> tuple[Array, Floats, Floats]:
    """Steepness of the light along rays, strongest channel.

    Returns
    -------
    radii : (k,) pixels
    slope : (180, k) of the square root of the light
    plain : (180, k) of the light itself
    """
    start, stop = (1.0 - care.search) * shape.radius, (1.0 + care.search) * shape.radius
    radii = np.arange(start, stop, 0.5)
    rays = ((np.arange(SECTORS * care.rays) + 0.5) / care.rays - 0.5) * (2.0 * np.pi / SECTORS)
    reach = radii.astype(np.float32)
    across = np.cos(rays, dtype=np.float32)[:, None] * reach + np.float32(shape.x)
    down = np.sin(rays, dtype=np.float32)[:, None] * reach + np.float32(shape.y)
    light = photo.sample_steps(across, down).reshape(SECTORS, care.rays, -1)
    sectors = (light.mean(axis=1) / np.float32(LIGHT_STEPS)).reshape(SECTORS, -1, 3)
    smooth = cv2.GaussianBlur(sectors, (0, 1), sigmaX=SMOOTH_PX / 0.5, sigmaY=1e-3)
    some = np.ascontiguousarray(smooth[:, ::2].transpose(2, 0, 1)).reshape(3, -1)
    place = int(LEVEL_SHARE * some.shape[1])
    level = np.partition(some, place, axis=1)[:, place]  # several times as fast as np.percentile
    relative = np.maximum(smooth, 0.0) / np.maximum(level, 0.01)
    slope, plain = (
        _strongest(np.abs(np.gradient(values, axis=1))) for values in (np.sqrt(relative), relative)
    )
    return radii, slope, plain


def _strongest(channels: Floats) -> Floats:
    """Of three channels (..., 3) the largest; numpy is slow over a last axis of three."""
    blue, green, red = np.moveaxis(channels, -1, 0)
    return np.asarray(np.maximum(np.maximum(blue, green), red), np.float32)


def _peaks(slope: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Sector and column of each local maximum, and its clarity, 1 for one well above the noise."""
    inner = slope[:, 1:-1]
    noise = np.median(slope[:, -slope.shape[1] // 4 :])
    floor = np.maximum(NOISE_FACTOR * noise, PEAK_SHARE * slope.max(axis=1, keepdims=True))
    peak = (inner > slope[:, :-2]) & (inner >= slope[:, 2:]) & (inner > floor)
    rows, columns = np.nonzero(peak)
    clarity = np.minimum(1.0, inner[rows, columns] / (1.4 * floor[rows, 0]))
    return rows, columns + 1, clarity.astype(np.float32)


def _climbed(
    slope: Floats, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Columns of the local maxima of `slope`, at most `CLIMB` steps away."""
    for _ in range(CLIMB):
        beside = [np.clip(columns + step, 1, slope.shape[1] - 2) for step in STEPS]
        steepest = np.stack([slope[rows, there] for there in beside]).argmax(axis=0)
        if not steepest.any():
            break
        columns = np.choose(steepest, beside)
    return columns


def _refined(
    slope: Floats, radii: Array, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> Array:
    """Radius of each peak by the parabola through it and its neighbours."""
    before, here, after = (slope[rows, columns + k].astype(float) for k in (-1, 0, 1))
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / np.where(np.abs(bend) < 1e-12, -1e-12, bend)
    refined: Array = radii[columns] + np.clip(shift, -1.0, 1.0) * (radii[1] - radii[0])
    return refined


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Edges:
    """All edges near the expected rim."""

    sector: NDArray[np.int64]
    clarity: Floats
    steepness: Floats
    """As a share of the sector's steepest edge."""
    radius: Array
    shape: Shape


def _outermost(edges: _Edges, near: float, care: Care) -> Array | None:
    """Size and shift (3,) of the outermost concentric curve with edges nearly all around."""
    guesses = _guesses(edges, care)
    if not len(guesses):
        return None
    worth = (1.0 - STEEP_SHARE) * edges.clarity + STEEP_SHARE * edges.steepness
    telling = _map(edges, worth, near)
    rough = _covers(guesses, telling, SIEVE)
    guesses = guesses[np.argsort(-rough, kind="stable")[:SIEVED]]
    clearest = int(_covers(guesses, telling).argmax())
    cover = _covers(guesses, _map(edges, edges.clarity, near))
    best = _refitted(edges, _outside(guesses, cover, clearest, edges.shape.radius), near)
    if best is None:
        return None
    larger = np.arange(1.0, 1.0 + 2.0 * care.search, COPY_STEP * near / edges.shape.radius)
    copies = _grown(best, larger)
    cover = _covers(copies, _map(edges, worth, 1.5 * near))
    good = np.nonzero(cover > COVER_SHARE * cover[0])[0]
    if not len(good):
        return None
    run = np.arange(max(0, good[-1] - COPIES_BACK), good[-1] + 1)
    return np.asarray(copies[run[cover[run].argmax()]], np.float64)


def _beyond(found: Array, edges: _Edges, near: float) -> float:
    """Cover of the best concentric curve that is clearly larger than the one found.

    None is in a picture of so few pixels that it would be the same one.
    """
    sizes = np.arange(1.0 + BEYOND_FROM + near / edges.shape.radius, 1.0 + BEYOND_TO, BEYOND_STEP)
    seen = _map(edges, edges.clarity, near)
    return float(_covers(_grown(found, sizes), seen).max(initial=0.0))


def _grown(curve: Array, sizes: Array) -> Array:
    """Concentric copies (n, 3) of a curve (3,), so many times as large."""
    return np.asarray(curve * np.stack([sizes, np.ones_like(sizes), np.ones_like(sizes)], axis=-1))


def _outside(guesses: Array, cover: Array, best: int, radius: float) -> Array:
    """The best curve, or the best covered of the larger ones around nearly the same middle.

    The inner edge of a coin's raised rim is often the clearer one, and lies lower.
    """
    lean = np.hypot(*(guesses[:, 1:] - guesses[best, 1:]).T) / radius
    larger = (guesses[:, 0] > LARGER * guesses[best, 0]) & (lean < LEAN_MOST)
    good = np.nonzero(larger & (cover > max(COVER_LEAST, COVER_SHARE * cover[best])))[0]
    chosen: Array = guesses[good[cover[good].argmax()] if len(good) else best]
    return chosen


def _guesses(edges: _Edges, care: Care) -> Array:
    """Curves (n, 3), size and shift, each through three edges (Cramer's rule)."""
    shape = edges.shape
    picks = _same_layer(edges.sector, care.guesses)
    silhouette = np.maximum(shape.upper, shape.lower)
    system = np.stack([silhouette, np.cos(ANGLES), np.sin(ANGLES)])
    one, two, three = np.moveaxis(system[:, edges.sector[picks]], 2, 0)
    crossed = np.stack([_cross(two, three), _cross(three, one), _cross(one, two)])
    size = (one * crossed[0]).sum(axis=0)
    solvable = np.abs(size) > 0.05 * shape.radius
    wanted = edges.radius[picks[solvable]]
    guesses = np.einsum("ni,ikn->nk", wanted, crossed[..., solvable]) / size[solvable, None]
    shift = np.hypot(guesses[:, 1], guesses[:, 2])
    sane = (np.abs(guesses[:, 0] - 1.0) < care.search) & (shift < care.search * shape.radius)
    return np.asarray(guesses[sane], np.float64)


def _cross(one: Array, other: Array) -> Array:
    """Vector products (3, n) of vectors (3, n)."""
    (a, b, c), (x, y, z) = one, other
    return np.stack([b * z - c * y, c * x - a * z, a * y - b * x])


def _same_layer(sector: NDArray[np.int64], count: int) -> NDArray[np.int64]:
    """Indices (count, 3) of edges in three sectors, each time counted equally far from outside."""
    rng = np.random.default_rng(GUESS_SEED)
    last = np.append(np.nonzero(np.diff(sector))[0], len(sector) - 1)
    depth = rng.integers(0, GUESS_DEPTH, count)[:, None]
    return np.maximum(last[rng.integers(0, len(last), (count, 3))] - depth, 0)


def _upper(curves: Array, edges: _Edges) -> Array:
    """Upper rim (n, m) of curves (n, 3), size and shift, in the direction of each edge."""
    angle = ANGLES[edges.sector]
    waves = np.stack([edges.shape.upper[edges.sector], np.cos(angle), np.sin(angle)])
    return np.asarray(curves @ waves, np.float64)


def _below(curves: Array, edges: _Edges) -> Array:
    """How far (n, m) the lower rim stands out beyond the upper one."""
    out = (edges.shape.lower - edges.shape.upper)[edges.sector]
    return np.asarray(curves[:, :1] * out, np.float64)


def _on_rim(edges: _Edges, curve: Array, near: float) -> tuple[NDArray[np.bool_], Array]:
    """Edges near the curve or its visible foot, and their radii lifted to the upper rim."""
    upper, below = _upper(curve[None], edges)[0], _below(curve[None], edges)[0]
    apart = edges.radius - upper
    on_lower = (below > near) & (np.abs(apart - below) < np.minimum(near, np.abs(apart)))
    lifted = np.where(on_lower, edges.radius - below, edges.radius)
    return on_lower | (np.abs(apart) < near), lifted


def _refitted(edges: _Edges, curve: Array, near: float) -> Array | None:
    """Least squares through the edges near the curve, or near its foot where that shows."""
    used, lifted = _on_rim(edges, curve, near)
    if used.sum() < SECTORS // 2:
        return None
    angle = ANGLES[edges.sector[used]]
    design = np.stack(
        [edges.shape.upper[edges.sector[used]], np.cos(angle), np.sin(angle)], axis=-1
    )
    fitted = np.linalg.lstsq(design, lifted[used], rcond=None)[0]
    return np.asarray(fitted, np.float64)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Map:
    """How clear an edge lies within some distance of each radius, in each sector."""

    shape: Shape
    near: float
    """That distance."""
    clarity: Floats
    """(180, k) of the clearest edge; the first and the last column are empty."""
    first: float
    """Radius of the first column."""
    unit: float
    """Step from one column to the next."""


def _map(edges: _Edges, worth: Floats, near: float) -> _Map:
    """Lay the edges down, each worth what it says (n,)."""
    unit = near / (BINS + 0.5)  # two numbers that round to steps BINS apart
    first = float(edges.radius.min()) - near - 2.0 * unit
    column = np.rint((edges.radius - first) / unit).astype(np.int64)
    clarity = np.zeros((SECTORS, int(column.max()) + BINS + 2), np.float32)
    np.maximum.at(clarity, (edges.sector, column), worth)
    wide = np.asarray(cv2.dilate(clarity, np.ones((1, 2 * BINS + 1), np.uint8)), np.float32)
    return _Map(shape=edges.shape, near=near, clarity=wide, first=first, unit=unit)


def _covers(curves: Array, seen: _Map, step: int = 1) -> Array:
    """Share (n,) of the sectors, every `step`-th of them, in which an edge lies on each curve.

    Where the foot shows, it is the outline; the upper rim inside it counts less.
    """
    shape, sectors = seen.shape, np.arange(0, SECTORS, step)
    waves = np.stack([shape.upper, np.cos(ANGLES), np.sin(ANGLES)])[:, sectors]
    upper = (curves @ (waves / seen.unit)).astype(np.float32)
    inner = _clarity_at(seen, sectors, upper)
    below = curves[:, :1] * (shape.lower - shape.upper)[sectors]
    foot = np.flatnonzero((below > seen.near).any(axis=0))
    if not len(foot):
        return np.asarray(inner.mean(axis=1, dtype=float), np.float64)
    out = below[:, foot]
    lower = upper[:, foot] + (out / seen.unit).astype(np.float32)
    outer = _clarity_at(seen, sectors[foot], lower)
    gain = np.where(out > seen.near, SILHOUETTE * (outer - inner[:, foot]), 0.0)
    share: Array = (inner.sum(axis=1, dtype=float) + gain.sum(axis=1)) / len(sectors)
    return share


def _clarity_at(seen: _Map, sectors: NDArray[np.int64], columns: Floats) -> Floats:
    """Clarity (n, m) in some sectors (m,) at radii (n, m), these in steps of the map."""
    count = seen.clarity.shape[1]
    place = columns + np.float32(0.5 - seen.first / seen.unit)  # cut off below, that rounds
    np.clip(place, 0.0, count - 0.5, out=place)
    found: Floats = seen.clarity.ravel().take(place.astype(np.int64) + sectors * count)
    return found
