"""The outline of a coin in the picture, to a fraction of a pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.circles import Circle
from vision.photo.decode import Photo

Array = NDArray[np.float64]
Floats = NDArray[np.float32]

SECTORS = 180
RAYS_PER_SECTOR = 3
SEARCH = 0.14
"""Edges are looked for this far inside and outside the rough circle, in radii."""
SMOOTH_PX = 1.0
"""Width of the smoothing along each ray."""
PEAK_SHARE = 0.25
"""A slope counts as an edge from this share of the sector's steepest."""
COVER_LEAST = 0.65
"""Share of the sectors that the coin's outline must show; a shadow's edge shows half at most."""
NARROW = (0.02, 0.012, 0.007)
"""Distances (in radii) at which edges still belong to the outline, fit after fit."""
GUESSES, GUESS_SEED = 3000, 20260302
OVAL_MOST = 0.09
"""Largest shift and ellipse of the outline against the rough circle, in radii."""
OUTER_WORTH = 2.0
"""How much cover one radius of size outweighs: an inner step of the rim, 7 % smaller and seen all
around, loses against an outline of which 14 % is lost."""
HARMONICS = 2
"""The outline's radius is fitted as a Fourier series up to this order: shift and ellipse."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rim:
    """A coin's outline: a smooth closed curve around its middle."""

    x: float
    y: float
    series: Array
    """(5,) mean radius, then cosine and sine of orders 1 and 2, pixels."""
    rms_px: float
    """Scatter of the edges around the curve."""
    u_radius_px: float
    """Standard uncertainty of the mean radius: scatter, and doubt about which edge it is."""
    cover: float
    """Share of sectors in which the edge was found."""

    @property
    def radius(self) -> float:
        """Mean radius, pixels."""
        return float(self.series[0])

    def points(self, count: int = SECTORS) -> Array:
        """The outline (count, 2), pixels."""
        angles = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
        radius = _design(angles) @ self.series
        return np.stack(
            [self.x + radius * np.cos(angles), self.y + radius * np.sin(angles)], axis=-1
        )


def trace_rim(photo: Photo, rough: Circle) -> Rim | None:
    """Find the outermost edge that runs all around near a rough circle.

    Parameters
    ----------
    photo : the photo; edges are placed in linear light
    rough : circle off by a few per cent

    Returns
    -------
    Rim, or None where no edge runs around.
    """
    angles = np.linspace(0.0, 2.0 * np.pi, SECTORS, endpoint=False)
    radii, slope = _slopes(photo, rough)
    rows, columns = _peaks(slope)
    if len(rows) < SECTORS // 2:
        return None
    edge_angle, edge_radius = angles[rows], _refined(slope, radii, rows, columns)
    clarity = np.minimum(1.0, 2.0 * slope[rows, columns] / slope.max(axis=1)[rows])
    series = _outermost(rows, clarity, edge_angle, edge_radius, rough.radius)
    if series is None:
        return None
    for width in NARROW:
        left = edge_radius - _design(edge_angle) @ series
        near = np.abs(left) < width * rough.radius
        if near.sum() < SECTORS // 2:
            return None
        fitted = np.linalg.lstsq(_design(edge_angle[near]), edge_radius[near], rcond=None)[0]
        series = np.asarray(fitted, np.float64)
    left = edge_radius - _design(edge_angle) @ series
    near = np.abs(left) < NARROW[-1] * rough.radius
    rms = float(np.sqrt(np.mean(left[near] ** 2)))
    cover = len(np.unique(rows[near])) / SECTORS
    if cover < COVER_LEAST:
        return None
    return Rim(
        x=rough.x,
        y=rough.y,
        series=series,
        rms_px=rms,
        u_radius_px=max(0.3 * rms, 0.15),
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


def _peaks(slope: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    inner = slope[:, 1:-1]
    floor = PEAK_SHARE * slope.max(axis=1, keepdims=True)
    peak = (inner > slope[:, :-2]) & (inner >= slope[:, 2:]) & (inner > floor)
    rows, columns = np.nonzero(peak)
    return rows, columns + 1


def _refined(
    slope: Floats, radii: Array, rows: NDArray[np.int64], columns: NDArray[np.int64]
) -> Array:
    """Radius of each peak by the parabola through it and its neighbours."""
    before, here, after = (slope[rows, columns + k].astype(float) for k in (-1, 0, 1))
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / np.where(np.abs(bend) < 1e-12, -1e-12, bend)
    refined: Array = radii[columns] + np.clip(shift, -1.0, 1.0) * (radii[1] - radii[0])
    return refined


def _outermost(
    rows: NDArray[np.int64], clarity: Floats, angles: Array, radius: Array, rough: float
) -> Array | None:
    """Series of the outermost curve with edges nearly all around, by random sampling.

    Guesses go through five of the sectors' outermost edges. A coin's shadow is round too, but
    shifted and soft, and the coin hides half of it: it cannot have clear edges all around.
    """
    last = np.append(np.nonzero(np.diff(rows))[0], len(rows) - 1)
    rng = np.random.default_rng(GUESS_SEED)
    picks = last[rng.integers(0, len(last), (GUESSES, 5))]
    design = _design(angles)
    system = design[picks] + 1e-9 * np.eye(5)
    guesses = np.linalg.solve(system, radius[picks][..., None])[..., 0]
    relative = guesses / rough
    sane = (np.abs(relative[:, 0] - 1.0) < SEARCH) & (np.abs(relative[:, 1:]) < OVAL_MOST).all(1)
    guesses = guesses[sane]
    if not len(guesses):
        return None
    near = np.abs(radius - guesses @ design.T) < NARROW[1] / 2 * rough
    seen = np.zeros((len(guesses), SECTORS))
    which, edge = np.nonzero(near)
    np.maximum.at(seen, (which, rows[edge]), clarity[edge])
    cover = seen.mean(axis=1)
    score = np.where(cover > COVER_LEAST, cover + OUTER_WORTH * guesses[:, 0] / rough, -1.0)
    best = int(score.argmax())
    return guesses[best] if score[best] > 0 else None


def _design(angles: Array) -> Array:
    orders = range(1, HARMONICS + 1)
    waves = [f(n * angles) for n in orders for f in (np.cos, np.sin)]
    return np.stack([np.ones_like(angles), *waves], axis=-1)
