"""The outline of a coin in the picture, to a fraction of a pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.circles import Circle
from vision.photo.decode import Photo
from vision.scale.ellipse import Ellipse, fit_ellipse

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

SECTORS = 180
RAYS_PER_SECTOR = 3
SEARCH = 0.14
"""Edges are looked for this far inside and outside the rough circle, in radii."""
SMOOTH_PX = 1.0
"""Width of the smoothing along each ray."""
PEAK_SHARE, NOISE_FACTOR = 0.06, 4.0
"""A slope counts as an edge from this share of the sector's steepest, and from this many times the
median slope outside the coin."""
COVER_LEAST = 0.6
"""Share of the sectors that the coin's outline must show."""
COVER_SHARE = 0.7
"""A larger concentric curve is the outline from this share of the best curve's cover."""
NARROW = (0.02, 0.012, 0.007)
"""Distances (in radii) at which edges still belong to the outline, fit after fit."""
GUESSES, GUESS_DEPTH, GUESS_SEED = 4000, 3, 20260302
GUESS_NEAR = 0.004
"""Distance (in radii) at which an edge lies on a guessed curve."""
OVAL_MOST = 0.12
"""Largest shift and ellipse of the outline against the rough circle, in radii."""
HARMONICS = 2
"""While edges are sorted, the rim is a Fourier series of this order: shift and ellipse."""
SCATTER_SHARE, U_EDGE_PX = 0.3, 0.15
"""Uncertainty of the radius: this share of the scatter, which neighbouring edges have in common,
and at least this much for the edge finder itself."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rim:
    """A coin's upper rim: a circle in space, an ellipse in the picture."""

    ellipse: Ellipse
    rms_px: float
    """Scatter of the edges around it."""
    u_radius_px: float
    """Standard uncertainty of the mean radius: scatter, and doubt about which edge it is."""
    cover: float
    """Share of sectors in which the edge was found."""

    @property
    def x(self) -> float:
        """Middle, pixels."""
        return self.ellipse.x

    @property
    def y(self) -> float:
        """Middle, pixels."""
        return self.ellipse.y

    @property
    def radius(self) -> float:
        """Mean radius, pixels."""
        return self.ellipse.radius

    def points(self, count: int = SECTORS) -> Array:
        """The outline (count, 2), pixels."""
        return self.ellipse.points(count)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Foot:
    """How a disc's lower rim is drawn against its upper one: smaller, about the picture's middle.

    On the side towards the middle the bright edge of a coin hides the upper rim's outline, and the
    lower rim is what ends against the paper.
    """

    shrink: float
    """1 - thickness / camera height."""
    axis_px: tuple[float, float]
    """Foot of the optical axis, from the middle of the rough circle."""

    def under(self, radius: Array, angles: Array) -> Array:
        """Radius of the lower rim where the upper one has `radius`; broadcasting over angles.

        The shifted circle to second order in the shift.
        """
        x, y = ((1.0 - self.shrink) * axis for axis in self.axis_px)
        along, across = (
            x * np.cos(angles) + y * np.sin(angles),
            x * np.sin(angles) - y * np.cos(angles),
        )
        lower: Array = self.shrink * radius + along - across**2 / (2.0 * radius)
        return lower


def trace_rim(photo: Photo, rough: Circle, foot: Foot) -> Rim | None:
    """Find the upper rim of a disc: the outermost curve that runs all around near a rough circle.

    Parameters
    ----------
    photo : the photo; edges are placed in linear light
    rough : circle off by a few per cent
    foot : how the lower rim is drawn

    Returns
    -------
    Rim, or None where no edge runs around.
    """
    angles = np.linspace(0.0, 2.0 * np.pi, SECTORS, endpoint=False)
    radii, slope = _slopes(photo, rough)
    rows, columns, clarity = _peaks(slope)
    if len(rows) < SECTORS // 2:
        return None
    edge_angle, edge_radius = angles[rows], _refined(slope, radii, rows, columns)
    edges = _Edges(
        sector=rows,
        clarity=clarity,
        angle=edge_angle,
        radius=edge_radius,
        design=_design(edge_angle),
        foot=foot,
    )
    series = _outermost(edges, rough.radius)
    if series is None:
        return None
    for width in NARROW:
        fitted = _refitted(edges, series, width * rough.radius)
        if fitted is None:
            return None
        series = fitted
    used, lifted = _on_rim(edges, series, NARROW[-1] * rough.radius)
    cover = float(_covers(series[None], edges, NARROW[-1] * rough.radius)[0])
    if cover < COVER_LEAST:
        return None
    directions = np.stack([np.cos(edge_angle), np.sin(edge_angle)], axis=-1)
    ellipse = fit_ellipse((rough.x, rough.y) + lifted[used, None] * directions[used])
    rms = float(np.sqrt(ellipse.sum_squares / max(1, int(used.sum()) - 5)))
    return Rim(
        ellipse=ellipse,
        rms_px=rms,
        u_radius_px=max(SCATTER_SHARE * rms, U_EDGE_PX),
        cover=cover,
    )


def _slopes(photo: Photo, rough: Circle) -> tuple[Array, Floats]:
    """Steepness (180, k) of the light along rays, strongest channel, and the radii (k,)."""
    start, stop = (1.0 - SEARCH) * rough.radius, (1.0 + SEARCH) * rough.radius
    radii = np.arange(start, stop, 0.5)
    rays = (np.arange(SECTORS * RAYS_PER_SECTOR) / RAYS_PER_SECTOR - 1 / RAYS_PER_SECTOR) * (
        2.0 * np.pi / SECTORS
    )
    points = np.stack(
        [rough.x + np.cos(rays)[:, None] * radii, rough.y + np.sin(rays)[:, None] * radii], -1
    )
    light = photo.sample(points)
    sectors = light.reshape(SECTORS, RAYS_PER_SECTOR, len(radii), 3).mean(axis=1)
    smooth = cv2.GaussianBlur(sectors, (0, 1), sigmaX=SMOOTH_PX / 0.5, sigmaY=1e-3)
    level = np.percentile(smooth.reshape(-1, 3), 90, axis=0)
    relative = np.sqrt(np.maximum(smooth, 0.0) / np.maximum(level, 0.01))
    return radii, np.abs(np.gradient(relative, axis=1)).max(axis=2).astype(np.float32)


def _peaks(slope: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Sector and column of each local maximum, and its clarity, 1 for one well above the noise."""
    inner = slope[:, 1:-1]
    noise = np.median(slope[:, -slope.shape[1] // 4 :])
    floor = np.maximum(NOISE_FACTOR * noise, PEAK_SHARE * slope.max(axis=1, keepdims=True))
    peak = (inner > slope[:, :-2]) & (inner >= slope[:, 2:]) & (inner > floor)
    rows, columns = np.nonzero(peak)
    clarity = np.minimum(1.0, inner[rows, columns] / (1.4 * floor[rows, 0]))
    return rows, columns + 1, clarity.astype(np.float32)


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
    """All edges near the rough circle."""

    sector: NDArray[np.int64]
    clarity: Floats
    angle: Array
    radius: Array
    design: Array
    foot: Foot


def _outermost(edges: _Edges, rough: float) -> Array | None:
    """Series of the outermost of the concentric curves with edges nearly all around.

    The steps of a coin's rim are concentric. Its shadow is round too, but shifted, and part of it
    may join part of the rim to another round curve: so first the curve with most edges is found,
    by random sampling, and then only larger copies of it are looked at.
    """
    picks = _same_layer(edges.sector, np.random.default_rng(GUESS_SEED))
    system = edges.design[picks]
    solvable = np.abs(np.linalg.det(system)) > 1e-6
    wanted = edges.radius[picks[solvable]][..., None]
    guesses = np.linalg.solve(system[solvable], wanted)[..., 0]
    relative = guesses / rough
    sane = (np.abs(relative[:, 0] - 1.0) < SEARCH) & (np.abs(relative[:, 1:]) < OVAL_MOST).all(1)
    guesses = guesses[sane]
    if not len(guesses):
        return None
    near = GUESS_NEAR * rough
    best = guesses[int(_covers(guesses, edges, near).argmax())]
    best = _refitted(edges, best, near)
    if best is None:
        return None
    copies = best * np.arange(1.0, 1.0 + 2.0 * SEARCH, GUESS_NEAR / 2)[:, None]
    cover = _covers(copies, edges, NARROW[1] / 2 * rough)
    good = np.nonzero(cover > max(COVER_LEAST, COVER_SHARE * cover[0]))[0]
    if not len(good):
        return None
    run = np.arange(max(0, good[-1] - 6), good[-1] + 1)
    return np.asarray(copies[run[cover[run].argmax()]], np.float64)


def _same_layer(sector: NDArray[np.int64], rng: np.random.Generator) -> NDArray[np.int64]:
    """Indices (n, 5) of edges in five sectors, each time counted equally far from outside."""
    last = np.append(np.nonzero(np.diff(sector))[0], len(sector) - 1)
    depth = rng.integers(0, GUESS_DEPTH, GUESSES)[:, None]
    return np.maximum(last[rng.integers(0, len(last), (GUESSES, 5))] - depth, 0)


def _on_rim(edges: _Edges, series: Array, near: float) -> tuple[NDArray[np.bool_], Array]:
    """Edges near the curve or its visible foot, and their radii lifted to the upper rim."""
    upper = edges.design @ series
    lower = edges.foot.under(upper, edges.angle)
    on_upper = np.abs(edges.radius - upper) < near
    on_lower = (np.abs(edges.radius - lower) < near) & (lower > upper + near)
    lifted = np.where(on_lower, edges.radius - lower + upper, edges.radius)
    return on_upper | on_lower, lifted


def _refitted(edges: _Edges, series: Array, near: float) -> Array | None:
    """Least squares through the edges near the curve, or near its foot where that shows."""
    used, lifted = _on_rim(edges, series, near)
    if used.sum() < SECTORS // 2:
        return None
    fitted = np.linalg.lstsq(edges.design[used], lifted[used], rcond=None)[0]
    return np.asarray(fitted, np.float64)


def _covers(curves: Array, edges: _Edges, near: float) -> Array:
    """Share (n,) of the sectors in which an edge lies on each curve or on its visible foot."""
    upper = curves @ edges.design.T
    lower = edges.foot.under(upper, edges.angle)
    on_lower = (np.abs(edges.radius - lower) < near) & (lower > upper + near)
    which, edge = np.nonzero((np.abs(edges.radius - upper) < near) | on_lower)
    seen = np.zeros((len(curves), SECTORS))
    np.maximum.at(seen, (which, edges.sector[edge]), edges.clarity[edge])
    share: Array = seen.mean(axis=1)
    return share


def _design(angles: Array) -> Array:
    orders = range(1, HARMONICS + 1)
    waves = [f(n * angles) for n in orders for f in (np.cos, np.sin)]
    return np.stack([np.ones_like(angles), *waves], axis=-1)
