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
    s, far_s = grid.s.astype(np.float32), grid.far_s.astype(np.float32)
    start, stop = inner.astype(np.float32), outer.astype(np.float32)
    rings = len(start)
    samples, clear = _samples(photo, start, stop, grid, s)
    planes = np.empty((rings, 9 if grid.wide else 6, grid.sectors, grid.samples), np.float32)
    planes[:, 3] = _share_clipped(samples)
    light = samples.mean(axis=2)
    if grid.wide:
        some = slice(EVERY // 2, None, EVERY)
        samples, _ = _samples(photo, start[:, some], stop[:, some], grid, far_s)
        far = samples.mean(axis=2)
    paper = light[:, :, (grid.s < PAPER_INSIDE) | (grid.s > PAPER_OUTSIDE)]
    around = paper.reshape(rings, paper.shape[1] * paper.shape[2], 3)
    level = np.percentile(around, PAPER_PERCENTILE, axis=1)
    level32 = np.maximum(level, PAPER_LEAST)[:, None, None].astype(np.float32)
    planes[:, :3] = _relative(light, level32)
    if grid.wide:
        planes[:, 6:] = _relative(far, level32)
    planes[:, 4] = s
    across = outer - inner
    width_px = np.hypot(across[..., 0], across[..., 1]).mean(axis=1)
    planes[:, 5] = width_px[:, None, None] / LENGTH_UNIT_PX
    return Unwrapped(
        planes=planes,
        clear=clear.reshape(rings, grid.sectors, grid.rays).mean(axis=2),
        paper=level.max(axis=1),
    )


def _samples(
    photo: Photo, inner: Picture, outer: Picture, grid: Grid, s: Picture
) -> tuple[Picture, Array]:
    """Light (n, sectors, rays, samples, 3) at places s along the rays from inner to outer (n, m).

    With it the share (n, m) of each ray that lies in the picture.
    """
    points = _points(inner, outer, s)
    light = photo.sample(points.reshape(-1, *points.shape[2:]))
    rays = (len(inner), grid.sectors, inner.shape[1] // grid.sectors, grid.samples, 3)
    return light.reshape(rays), _share_inside(points, photo.size)


def _relative(light: Picture, level: Picture) -> Picture:
    """Planes (n, 3, ...) of light (n, ..., 3) relative to the surroundings; spoils `light`."""
    light /= level
    np.sqrt(np.clip(light, 0.0, BRIGHTEST, out=light), out=light)
    return np.moveaxis(light, 3, 1)


def _points(inner: Picture, outer: Picture, s: Picture) -> Picture:
    """Pixels (n, m, samples, 2) along the m rays of n rings from inner to outer."""
    points = np.empty((*inner.shape[:2], len(s), 2), np.float32)
    for axis in (0, 1):  # one by one: numpy is slow over a last axis of two
        start, step = inner[..., axis, None], (outer - inner)[..., axis, None]
        points[..., axis] = start + s * step
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
