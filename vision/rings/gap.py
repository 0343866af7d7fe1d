"""Where a ring is closed: the cut, read along the middle of its wire."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.rings.torus import RADIUS, outlines, ring_angles
from vision.scale.camera import Camera

Array = NDArray[np.float64]

ANGLES = 720
LANES = np.linspace(0.25, 0.75, 7)
"""Lanes across the wire, in s; the cut crosses all of them."""
AROUND = 45
"""Angles on either side (22 degrees) that tell what the wire looks like without a cut."""
STANDS_OUT = 5.0
"""A cut differs from the wire around it by this many times the usual difference."""
LANES_LEAST = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """The closure of a ring."""

    width_mm: float
    direction_deg: float
    """From +x towards +y of the table."""


def find_gap(photo: Photo, camera: Camera, torus: Array) -> Gap | None:
    """Find the cut: the one narrow place where the wire looks unlike itself on all lanes.

    Returns None where no place stands out, as in a soldered ring or a cut without a gap.
    """
    angles = ring_angles(ANGLES)
    inner, outer = outlines(camera, torus[None], angles)
    points = inner[0] + LANES[:, None, None] * (outer[0] - inner[0])
    light = np.sqrt(np.maximum(photo.sample(points).astype(float), 0.0))
    difference = np.abs(light - _running_median(light)).max(axis=-1)
    usual = np.median(difference, axis=1, keepdims=True) + 0.004
    marked = difference > STANDS_OUT * usual
    lanes = marked.sum(axis=0)
    if lanes.max() < LANES_LEAST:
        return None
    strength = np.where(lanes >= LANES_LEAST, difference.mean(axis=0), 0.0)
    middle = int(strength.argmax())
    half = 0.5 * strength[middle]
    profile = np.roll(difference.mean(axis=0), ANGLES // 2 - middle)
    left = right = ANGLES // 2
    while profile[left - 1] > half and left > ANGLES // 4:
        left -= 1
    while profile[right + 1] > half and right < 3 * ANGLES // 4:
        right += 1
    step_mm = 2.0 * np.pi * float(torus[RADIUS]) / ANGLES
    centre = middle + (left + right) / 2.0 - ANGLES // 2
    return Gap(
        width_mm=(right - left) * step_mm,
        direction_deg=float((centre + 0.5) * 360.0 / ANGLES) % 360.0,
    )


def _running_median(light: Array) -> Array:
    wrapped = np.concatenate([light[:, -AROUND:], light, light[:, :AROUND]], axis=1)
    windows = np.lib.stride_tricks.sliding_window_view(wrapped, 2 * AROUND + 1, axis=1)
    median: Array = np.median(windows[..., ::6], axis=-1)
    return median
