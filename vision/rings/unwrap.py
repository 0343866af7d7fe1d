"""The picture of a ring, cut open along its wire: sectors across, outlines at s = 0 and s = 1."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.photo.light import LIGHT_STEPS
from vision.rings.rows import Rows
from vision.rings.section import ROUND, Section
from vision.rings.torus import outlines, ring_angles
from vision.scale.camera import Camera

Array = NDArray[np.float64]
Picture = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How finely a ring is cut open."""

    sectors: int
    rays: int
    """In each sector; their mean is what is read."""
    samples: int
    """Along each ray, at the middles of equal steps of s."""
    wide: bool = False
    """Whether a third of the rays are followed further as well."""

    @property
    def s(self) -> Array:
        """(samples,) the s of each sample."""
        return places_of(self.samples)

    @property
    def far_s(self) -> Array:
        """(samples,) the s of each sample of the wide look: the same around the wire's middle."""
        return 0.5 + WIDER * (self.s - 0.5)


@cache
def places_of(samples: int) -> Array:
    """The s (samples,) at the middles of so many equal steps; read-only."""
    places = np.linspace(S_FROM, S_TO, 2 * samples + 1)[1::2]
    places.flags.writeable = False
    return places


SECTORS, SAMPLES = 8, 72
FINE = Grid(sectors=SECTORS, rays=15, samples=SAMPLES, wide=True)
QUICK = replace(FINE, rays=9, samples=SAMPLES // 2)
COARSE = replace(QUICK, rays=3, wide=False)
"""For the readings that count; for those by which rings are found, half as finely; and for the
scout, which sorts many guesses."""
WIRE = Grid(sectors=2 * SECTORS, rays=9, samples=2 * SAMPLES, wide=True)
"""For straight wire: along it light hardly changes, and the little that tells is looked for."""
S_FROM, S_TO = -0.6, 1.6
"""Range of s; s = 0 is the inner outline of the guess, s = 1 its outer one. In this measure the
mirrored band of a bright wire sits at 0.146 and 0.854 at every size and distance."""
WIDER, EVERY = 2.0, 3
"""How many times as far the wide look goes, and along which of the rays. A lamp 26 degrees over the
table throws a wire's shadow so far: the shadow's own far edge tells its near part from the wire's
dark side."""

PAPER_INSIDE, PAPER_OUTSIDE = -0.25, 1.25
PAPER_PERCENTILE = 80.0
PAPER_LEAST = 0.002
"""Where and how the brightness of the surroundings is read, per channel (linear light)."""
BRIGHTEST = 5.0
"""Multiple of the surroundings at which highlights are cut."""
CLIPPED = 0.955
"""Linear level from which a sample counts as clipped (about 250 of 255)."""
LENGTH_UNIT_PX = 30.0
"""Divisor that brings the wire's width in pixels near one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unwrapped(Rows):
    """The pictures of n rings, cut open."""

    planes: Picture
    """(n, 6 or 9, sectors, samples): three channels as the square root of the light relative to the
    surroundings, the share of clipped samples, s itself, the wire's width / 30 px; of the wide look
    three channels more."""
    clear: Array
    """(n, sectors) share of each sector's samples that lie inside the picture."""
    paper: Array
    """(n,) linear light of the surroundings, brightest channel."""


def unwrap(
    photo: Photo, camera: Camera, tori: Array, section: Section = ROUND, grid: Grid = FINE
) -> Unwrapped:
    """Read the picture around each guessed ring along its sectors.

    Parameters
    ----------
    photo : the upright photo; only the parts around the rings are brought to linear light
    camera : the camera, in pixels of the photo
    tori : (n, 6) guessed rings
    section : the wire's cross-section
    grid : how finely
    """
    inner, outer = outlines(camera, tori, ring_angles(grid.sectors * grid.rays), section)
    return unwrap_between(photo, inner, outer, grid)


def unwrap_between(
    photo: Photo, inner: Array, outer: Array, grid: Grid = FINE, times: int = 0
) -> Unwrapped:
    """Read the picture between and beside two lines, the same number of rays in each sector.

    Parameters
    ----------
    inner, outer : (n, sectors x rays, 2) pixels where s = 0 and s = 1
    times : how often the picture is halved before
    """
    zoom = 2.0**times
    start, stop = (((line + 0.5) / zoom - 0.5).astype(np.float32) for line in (inner, outer))
    rings, rays = start.shape[:2]
    points = _points(start, stop, grid)
    # both looks in one go: a ring's part of the picture is read while it is in the cache
    across, down = points.reshape(2, rings, points.shape[2] * grid.samples)
    samples = photo.sample_steps(across, down, times).reshape(*points.shape[1:], 3)
    near = samples[:, :rays]
    planes = np.empty((rings, 9 if grid.wide else 6, grid.sectors, grid.samples), np.float32)
    planes[:, 3] = _share_clipped(near, grid)
    light = _mean_of_rays(near, grid)
    level = _paper(light[:, :, (grid.s < PAPER_INSIDE) | (grid.s > PAPER_OUTSIDE)])
    level32 = np.maximum(level, PAPER_LEAST)[:, None, None].astype(np.float32)
    planes[:, :3] = _relative(light, level32)
    if grid.wide:
        planes[:, 6:] = _relative(_mean_of_rays(samples[:, rays:], grid), level32)
    planes[:, 4] = grid.s
    planes[:, 5] = widths_px(start, stop)[:, None, None] / LENGTH_UNIT_PX
    return Unwrapped(
        planes=planes,
        clear=_share_inside(points[:, :, :rays], np.array(photo.size) >> times)
        .reshape(rings, grid.sectors, grid.rays)
        .mean(axis=2),
        paper=level.max(axis=1),
    )


def _mean_of_rays(steps: Picture, grid: Grid) -> Picture:
    """Light (n, sectors, samples, 3) of rays (n, m, samples, 3) that are in `LIGHT_STEPS`."""
    rings, count, samples, channels = steps.shape
    each = count // grid.sectors
    share = np.full((1, each), 1.0 / each / LIGHT_STEPS, np.float32)
    # a product: numpy takes three times as long for a mean
    mean: Picture = share @ steps.reshape(rings * grid.sectors, each, samples * channels)
    return mean.reshape(rings, grid.sectors, samples, channels)


def _paper(light: Picture) -> Array:
    """Light (n, 3) of the surroundings (n, sectors, m, 3): that percentile, between two of them."""
    around = np.moveaxis(light, 3, 1).reshape(len(light), 3, light.shape[1] * light.shape[2])
    ordered = np.sort(around, axis=2)  # faster than np.percentile, which partitions
    at = PAPER_PERCENTILE / 100.0 * (ordered.shape[2] - 1)
    share, low = at % 1.0, int(at)
    paper: Array = (1.0 - share) * ordered[..., low] + share * ordered[..., low + 1]
    return paper


def _relative(light: Picture, level: Picture) -> Picture:
    """Planes (n, 3, ...) of light (n, ..., 3) relative to the surroundings; spoils `light`."""
    light /= level
    np.sqrt(np.clip(light, 0.0, BRIGHTEST, out=light), out=light)
    return np.moveaxis(light, 3, 1)


def _points(inner: Picture, outer: Picture, grid: Grid) -> Picture:
    """Pixels, x and y (2, n, m, samples), along the m rays of n rings from inner to outer.

    Behind them those of the wide look, along some of the rays.
    """
    rays = inner.shape[1]
    far = slice(EVERY // 2, rays if grid.wide else 0, EVERY)
    points = np.empty((2, len(inner), rays + len(range(rays)[far]), grid.samples), np.float32)
    for some, out, s in (
        (slice(0, rays), points[:, :, :rays], grid.s),
        (far, points[:, :, rays:], grid.far_s),
    ):
        for axis in (0, 1):
            start, stop = inner[:, some, None, axis], outer[:, some, None, axis]
            np.multiply(s.astype(np.float32), stop - start, out=out[axis])
            out[axis] += start
    return points


def widths_px(inner: Array | Picture, outer: Array | Picture) -> Array:
    """Mean width (n,) between two lines (n, m, 2) around each ring, in their pixels."""
    across = outer - inner
    widths: Array = np.hypot(across[..., 0], across[..., 1]).mean(axis=1)
    return widths


def _share_inside(points: Picture, size: NDArray[np.int64]) -> Array:
    """Share (n, m) of the points of each ray (2, n, m, samples) that lies in the picture."""
    if not points.size:
        return np.ones(points.shape[1:3])
    ends = points[..., [0, -1]]
    if ends.min() >= 0 and bool(np.all(ends.max(axis=(1, 2, 3)) <= size - 1)):
        return np.ones(points.shape[1:3])
    x, y = points
    inside = (x >= 0) & (y >= 0) & (x <= size[0] - 1) & (y <= size[1] - 1)
    return np.asarray(inside.mean(axis=2), np.float64)


def _share_clipped(steps: Picture, grid: Grid) -> Picture:
    """Share (n, sectors, samples) of the rays (n, m, samples, 3) that are overexposed."""
    rings, count, samples, _ = steps.shape
    clipped = CLIPPED * LIGHT_STEPS
    if not steps.size or steps.max() <= clipped:
        return np.zeros((rings, grid.sectors, samples), np.float32)
    brightest = np.maximum(np.maximum(steps[..., 0], steps[..., 1]), steps[..., 2])
    by_sector = (brightest > clipped).reshape(rings, grid.sectors, count // grid.sectors, samples)
    return np.asarray(by_sector.mean(axis=2, dtype=np.float32), np.float32)
