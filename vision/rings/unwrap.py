"""The picture of a ring, cut open along its wire: sectors across, outlines at s = 0 and s = 1."""

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.rings.section import ROUND, Section
from vision.rings.torus import outlines, ring_angles
from vision.scale.camera import Camera

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

SECTORS = 32
RAYS_PER_SECTOR, SCOUT_RAYS = 6, 2
SAMPLES = 144
S_FROM, S_TO = -0.6, 1.6
"""Range of s; s = 0 is the inner outline of the guess, s = 1 its outer one. In this measure the
mirrored band of a bright wire sits at 0.146 and 0.854 at every size and distance."""

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

SAMPLE_S: Array = np.linspace(S_FROM, S_TO, 2 * SAMPLES + 1)[1::2]
"""(144,) the s of each sample."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unwrapped:
    """The pictures of n rings, cut open."""

    planes: Picture
    """(n, 6, 32, 144): three channels as the square root of the light relative to the
    surroundings, the share of clipped samples, s itself, the wire's width / 30 px."""
    clear: Array
    """(n, 32) share of each sector's samples that lie inside the picture."""
    paper: Array
    """(n,) linear light of the surroundings, brightest channel."""


def unwrap(
    photo: Photo,
    camera: Camera,
    tori: Array,
    section: Section = ROUND,
    rays: int = RAYS_PER_SECTOR,
) -> Unwrapped:
    """Read the picture around each guessed ring along its 32 sectors.

    Parameters
    ----------
    photo : the upright photo; only the parts around the rings are brought to linear light
    camera : the camera, in pixels of the photo
    tori : (n, 6) guessed rings
    section : the wire's cross-section
    rays : in each sector; their mean is what is read
    """
    inner, outer = outlines(camera, tori, ring_angles(SECTORS * rays), section)
    return unwrap_between(photo, inner, outer)


def unwrap_between(photo: Photo, inner: Array, outer: Array) -> Unwrapped:
    """Read the picture between and beside two lines, the same number of rays in each sector.

    Parameters
    ----------
    inner, outer : (n, 192, 2) pixels where s = 0 and s = 1
    """
    rings = len(inner)
    light = np.empty((rings, SECTORS, SAMPLES, 3), np.float32)
    planes = np.empty((rings, 6, SECTORS, SAMPLES), np.float32)
    clear = np.empty((rings, SECTORS))

    def read(ring: int) -> None:
        points = _points(inner[ring], outer[ring])
        clear[ring] = _share_inside(points, photo.size)
        samples = photo.sample(points)
        brightest = np.maximum(np.maximum(samples[..., 0], samples[..., 1]), samples[..., 2])
        planes[ring, 3] = (brightest > CLIPPED).reshape(SECTORS, -1, SAMPLES).mean(axis=1)
        light[ring] = (
            samples.reshape(SECTORS, -1, 3 * SAMPLES).mean(axis=1).reshape(SECTORS, SAMPLES, 3)
        )

    with ThreadPoolExecutor(os.cpu_count()) as threads:
        list(threads.map(read, range(rings)))
    paper = light[:, :, (SAMPLE_S < PAPER_INSIDE) | (SAMPLE_S > PAPER_OUTSIDE)]
    around = paper.reshape(rings, paper.shape[1] * paper.shape[2], 3)
    level = np.percentile(around, PAPER_PERCENTILE, axis=1)
    relative = light / np.maximum(level, PAPER_LEAST)[:, None, None].astype(np.float32)
    planes[:, :3] = np.moveaxis(np.sqrt(np.clip(relative, 0.0, BRIGHTEST)), 3, 1)
    planes[:, 4] = SAMPLE_S
    across = outer - inner
    width_px = np.hypot(across[..., 0], across[..., 1]).mean(axis=1)
    planes[:, 5] = width_px[:, None, None] / LENGTH_UNIT_PX
    return Unwrapped(planes=planes, clear=clear, paper=level.max(axis=1))


def _points(inner: Array, outer: Array) -> Picture:
    """Pixels (m, 144, 2) along the m rays from inner to outer."""
    points = np.empty((len(inner), SAMPLES, 2), np.float32)
    for axis in (0, 1):  # one by one: numpy is slow over a last axis of two
        start, step = inner[:, axis, None], (outer - inner)[:, axis, None]
        points[..., axis] = start + SAMPLE_S * step
    return points


def _share_inside(points: Picture, size: tuple[int, int]) -> Array:
    """Share (32,) of each sector's points that lie in the picture."""
    ends = points[:, [0, -1]]
    if (
        (ends >= 0).all()
        and (ends[..., 0] <= size[0] - 1).all()
        and (ends[..., 1] <= size[1] - 1).all()
    ):
        return np.ones(SECTORS)
    x, y = points[..., 0], points[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= size[0] - 1) & (y <= size[1] - 1)
    share: Array = inside.reshape(SECTORS, -1).mean(axis=1)
    return share
