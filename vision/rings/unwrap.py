"""The picture of a ring, cut open along its wire: sectors across, outlines at s = 0 and s = 1."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
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
        return np.linspace(S_FROM, S_TO, 2 * self.samples + 1)[1::2]

    @property
    def far_s(self) -> Array:
        """(samples,) the s of each sample of the wide look: the same around the wire's middle."""
        return 0.5 + WIDER * (self.s - 0.5)


SECTORS, SAMPLES = 16, 144
FINE = Grid(sectors=SECTORS, rays=9, samples=SAMPLES, wide=True)
QUICK = replace(FINE, rays=6, samples=SAMPLES // 2)
COARSE = replace(QUICK, rays=4, wide=False)
GLANCE = replace(COARSE, sectors=SECTORS // 2)
"""For the readings that count, for those by which rings are found, and for the scout, whose first
look at many guesses asks for half as many sectors."""
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

SAMPLE_S = FINE.s
"""(144,) the s of each sample of the reader's."""


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


def unwrap_between(photo: Photo, inner: Array, outer: Array, grid: Grid = FINE) -> Unwrapped:
    """Read the picture between and beside two lines, the same number of rays in each sector.

    Parameters
    ----------
    inner, outer : (n, sectors x rays, 2) pixels where s = 0 and s = 1
    """
    start, stop = inner.astype(np.float32), outer.astype(np.float32)
    rings, rays = start.shape[:2]
    points = _points(start, stop, grid)
    # both looks in one go: a ring's part of the picture is read while it is in the cache
    samples = photo.sample(points.reshape(-1, *points.shape[2:])).reshape(*points.shape[:3], 3)
    near = _by_sector(samples[:, :rays], grid)
    planes = np.empty((rings, 9 if grid.wide else 6, grid.sectors, grid.samples), np.float32)
    planes[:, 3] = _share_clipped(near)
    light = near.mean(axis=2)
    paper = light[:, :, (grid.s < PAPER_INSIDE) | (grid.s > PAPER_OUTSIDE)]
    around = paper.reshape(rings, paper.shape[1] * paper.shape[2], 3)
    level = np.percentile(around, PAPER_PERCENTILE, axis=1)
    level32 = np.maximum(level, PAPER_LEAST)[:, None, None].astype(np.float32)
    planes[:, :3] = _relative(light, level32)
    if grid.wide:
        far = _by_sector(samples[:, rays:], grid)
        planes[:, 6:] = _relative(far.mean(axis=2), level32)
    planes[:, 4] = grid.s
    across = outer - inner
    width_px = np.hypot(across[..., 0], across[..., 1]).mean(axis=1)
    planes[:, 5] = width_px[:, None, None] / LENGTH_UNIT_PX
    return Unwrapped(
        planes=planes,
        clear=_share_inside(points[:, :rays], photo.size)
        .reshape(rings, grid.sectors, grid.rays)
        .mean(axis=2),
        paper=level.max(axis=1),
    )


def _by_sector(rays: Picture, grid: Grid) -> Picture:
    """Light along rays (n, m, samples, 3) as (n, sectors, m / sectors, samples, 3)."""
    rings, count, *rest = rays.shape
    return rays.reshape(rings, grid.sectors, count // grid.sectors, *rest)


def _relative(light: Picture, level: Picture) -> Picture:
    """Planes (n, 3, ...) of light (n, ..., 3) relative to the surroundings; spoils `light`."""
    light /= level
    np.sqrt(np.clip(light, 0.0, BRIGHTEST, out=light), out=light)
    return np.moveaxis(light, 3, 1)


def _points(inner: Picture, outer: Picture, grid: Grid) -> Picture:
    """Pixels (n, m, samples, 2) along the m rays of n rings from inner to outer.

    Behind them those of the wide look, along some of the rays.
    """
    rays = inner.shape[1]
    far = slice(EVERY // 2, rays if grid.wide else 0, EVERY)
    points = np.empty((len(inner), rays + len(range(rays)[far]), grid.samples, 2), np.float32)
    for some, out, s in (
        (slice(0, rays), points[:, :rays], grid.s),
        (far, points[:, rays:], grid.far_s),
    ):
        for axis in (0, 1):  # one by one: numpy is slow over a last axis of two
            start, stop = inner[:, some, None, axis], outer[:, some, None, axis]
            np.add(start, s.astype(np.float32) * (stop - start), out=out[..., axis])
    return points


def _share_inside(points: Picture, size: tuple[int, int]) -> Array:
    """Share (n, m) of the points of each ray (n, m, samples, 2) that lies in the picture."""
    if not points.size:
        return np.ones(points.shape[:2])
    ends = points[:, :, [0, -1]]
    if ends.min() >= 0 and bool(np.all(ends.max(axis=(0, 1, 2)) <= np.array(size) - 1)):
        return np.ones(points.shape[:2])
    x, y = points[..., 0], points[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= size[0] - 1) & (y <= size[1] - 1)
    return np.asarray(inside.mean(axis=2), np.float64)


def _share_clipped(light: Picture) -> Picture:
    """Share of the rays (n, sectors, rays, samples, 3) that are overexposed."""
    if not light.size or light.max() <= CLIPPED:
        return np.zeros((*light.shape[:2], light.shape[3]), np.float32)
    brightest = np.maximum(np.maximum(light[..., 0], light[..., 1]), light[..., 2])
    return np.asarray((brightest > CLIPPED).mean(axis=2, dtype=np.float32), np.float32)
