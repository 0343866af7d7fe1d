"""The least error that light, blur and noise of a photo allow: what no edge finder can undercut."""

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.photo.look import look_at
from vision.results import Result, Ring
from vision.rings.torus import torus
from vision.rings.unwrap import FINE, unwrap

Array = NDArray[np.float64]

BESIDE, WITHIN = 0.03, 0.10
"""How far from an outline, in wire widths, its step is read on either side: the mirrored band of a
bright wire is 0.146 wide."""
SHARPEST_PX = 0.5
MEDIAN = 0.6745
"""Median of the size of a Gaussian error, in standard deviations."""


def least_errors(photo: Photo, result: Result) -> dict[int, tuple[float, float]]:
    """Median size (mm) of the least error of wire and ID, by ring number.

    One line across a step of height A, blurred by a Gaussian b, samples D apart with white noise s:
    std >= s / A sqrt(2 sqrt(pi) b D), from the Fisher information A^2 / s^2 times the integral of
    the squared Gaussian. Lines one pixel apart all around an outline give its radius the variance
    std^2 / N (KCR bound of circle fits, N. Chernov, Circular and Linear Regression, 2010). Both
    outlines are taken as free, the place of the step as known, and the rest of the light as known:
    shadows and bands beside the step, which is what edge finders fail by, are not in it.
    """
    rings = [ring for ring in result.rings if ring.wire_mm and ring.id_mm and ring.center_mm]
    if not rings:
        return {}
    look = look_at(photo)
    blur_px = max(look.blur_px or SHARPEST_PX, SHARPEST_PX)
    camera = result.scale.camera
    tori = np.stack([_torus(ring) for ring in rings])
    planes = unwrap(photo, camera, tori).planes
    steps = np.stack([_step(planes, 0.0, -1.0), _step(planes, 1.0, 1.0)], axis=1)
    per_line_px = look.noise_rel / steps * np.sqrt(2.0 * np.sqrt(np.pi) * blur_px)
    errors = {}
    for ring, line_px, place in zip(rings, per_line_px, tori, strict=True):
        size = camera.mm_per_px(np.array(ring.center_px))
        radii_px = np.array([place[2] - place[3], place[2] + place[3]]) / size
        inner, outer = size * line_px / np.sqrt(2.0 * np.pi * radii_px)
        errors[ring.number] = (MEDIAN * float(np.hypot(inner, outer)), MEDIAN * 2.0 * float(inner))
    return errors


def _torus(ring: Ring) -> Array:
    assert ring.wire_mm is not None and ring.id_mm is not None and ring.center_mm is not None
    return torus(*ring.center_mm, ring.id_mm.value, ring.wire_mm.value)


def _step(planes: NDArray[np.float32], outline: float, away: float) -> Array:
    """Typical height (n,) of the step at an outline, as a share of the table's light."""
    light = np.square(planes[:, :3].astype(float))
    off = away * (FINE.s - outline)
    outside = light[..., (off > BESIDE) & (off < WITHIN)].mean(axis=-1)
    inside = light[..., (off < -BESIDE) & (off > -WITHIN)].mean(axis=-1)
    step: Array = np.sqrt(np.mean(np.square(outside - inside), axis=2)).max(axis=1)
    return step
