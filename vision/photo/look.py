"""What the pixels alone say of a photo: how sharp, how noisy, how bright.

Measured on some hundred small patches, at full resolution, before anything is looked for.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.photo.light import LINEAR
from vision.photo.reduce import halvings

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
Indices = NDArray[np.int64]
Pixels = NDArray[np.uint8]

EDGE_PATCH_PX, EDGE_PATCHES = 96, 48
"""Side of the patches on which sharpness is measured, and how many: those with strongest edges."""
FLAT_PATCH_PX, FLAT_PATCHES = 64, 12
"""Side of the patches on which noise is measured, and how many lie along the longer side."""
MARGIN_PX = 12
"""Of a patch: smoothing reaches as far."""
KERNELS_PX = ((0.8, 2.0), (2.0, 5.0))
"""Smoothing that is added to an edge before its steepness is taken, and the wider one for
comparison: first for sharp edges, then for soft ones, whose slopes drown in noise if less is
added."""
SOFT_PX = 2.0
"""Blur under the first pair from which the second one is asked, as where no edge stands out."""
DIFFERENCE_PX2 = 1.0 / 3.0
"""Variance that a slope between neighbours two pixels apart adds to the blur."""
DIRECTIONS = 4
"""Directions, over half a turn, in which sharpness is told apart: a shaken photo is blurred in
one."""
AT_ONCE = 8
"""Patches that are worked on together: what is made of them fits the processor's cache."""
STRONGEST = 60
"""Pixels of a direction whose edge is steepest that count in a patch."""
SURELY_STEEP = 0.4
"""Steepness, as a share of the patch's steepest, of most of these."""
LEAST_PIXELS, LEAST_PATCHES = 12, 5
"""Of a direction, for its blur to count."""
STEEP_SHARE, STEEP_NOISE = 0.1, 6.0
"""Steepness of an edge that counts: at least this share of the patch's steepest, and so many times
the noise."""
SHARPEST = 0.25
"""Quantile over the patches: shadows and highlights are soft by themselves, the lens is not."""
MOST_BLUR_PX = 20.0
FLATTEST = 0.25
"""Quantile of the patches' noise that is the photo's: texture looks like noise."""
FULL = 250
"""Level from which a channel counts as burnt out; the tone curve's end is flat."""
DARKEST = 8
"""Level under which noise is not related to light."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a photo looks, whatever is on it."""

    blur_px: float | None
    """Standard deviation of the blur of edges in the direction in which it is widest; None where
    no edge stands out of the noise."""
    noise_rel: float
    """Standard deviation of the noise of a pixel, as a share of the light of the table."""
    burnt_share: float
    """Share of the picture in which all channels are burnt out."""
    span: float
    """Levels between the darkest and the brightest hundredth of the picture."""


def look_at(photo: Photo) -> Look:
    """Measure sharpness, noise and light of a photo.

    Notes
    -----
    The blur of an edge follows from how much its steepness falls when it is smoothed further: for a
    step under a Gaussian blur s, steepness is as 1 / s, and blurs add in quadrature. Good to 10 %
    where the photo holds sharp steps and little noise (`tests/vision/test_look.py`); rings alone,
    whose edges are softer than the lens, let a sharp photo read up to 0.6 px too much.
    """
    times = halvings(photo.size)
    coarse = photo.halved(times)
    noise, light = _noise(photo.bgr)
    blue, green, red = cv2.split(coarse)  # numpy is slow over a last axis of three
    shares = np.cumsum(np.bincount(np.ravel(green), minlength=256)) / green.size
    darkest, brightest = np.searchsorted(shares, [0.01, 0.99])
    darkest_channel = np.asarray(cv2.min(cv2.min(blue, green), red))
    slope = float(np.gradient(LINEAR.astype(np.float64))[round(light)])
    return Look(
        blur_px=_blur(photo.bgr, _edge_patches(coarse, times), noise),
        noise_rel=noise * slope / float(LINEAR[max(round(light), DARKEST)]),
        burnt_share=float(np.mean(darkest_channel >= FULL)),
        span=float(brightest - darkest),
    )


def _noise(bgr: Pixels) -> tuple[float, float]:
    """Standard deviation of the noise and mean light of the flattest patches, levels.

    The mask lets neither slopes nor curvature of the light through (J. Immerkaer, "Fast noise
    variance estimation", Computer Vision and Image Understanding 64 (1996), 300-302); its median
    leaves edges out.
    """
    height, width = bgr.shape[:2]
    side = min(FLAT_PATCH_PX, height, width)
    step = max(1, (max(height, width) - side) // FLAT_PATCHES)
    windows = np.lib.stride_tricks.sliding_window_view(bgr[..., 1], (side, side))
    patches = windows[::step, ::step].reshape(-1, side, side)
    bent = patches.astype(np.int16)
    for axis in (1, 2):
        bent = np.diff(bent, n=2, axis=axis)
    noises = _medians(np.abs(bent).reshape(len(bent), -1)) / (0.6745 * 6.0)
    lights = patches.mean(axis=(1, 2))
    order = np.argsort(noises)
    # Burnt out or black patches show no noise at all: those are not the flattest.
    lively = [k for k in order if DARKEST < lights[k] < FULL] or list(order)
    chosen = lively[: max(1, int(2 * FLATTEST * len(lively)))]
    return float(np.median(noises[chosen])), float(np.median(lights[chosen]))


def _medians(rows: NDArray[np.int16]) -> Array:
    """Median (n,) of each row of small whole numbers: counted, three times as fast as numpy's."""
    count = rows.shape[1]
    middles = ((count + 1) // 2, count // 2 + 1)
    sums = (np.cumsum(np.bincount(row)) for row in rows)
    return np.array([np.searchsorted(each, middles).mean() for each in sums])


def _blur(bgr: Pixels, places: list[tuple[int, int]], noise: float) -> float | None:
    """Blur of edges in the direction in which it is widest: a shaken photo is blurred in one.

    Parameters
    ----------
    places : left and top of the patches that are looked at
    """
    stacks: dict[tuple[int, ...], list[Pixels]] = {}  # at the photo's edge patches are smaller
    for left, top in places:
        patch = bgr[
            max(0, top - MARGIN_PX) : top + EDGE_PATCH_PX + MARGIN_PX,
            max(0, left - MARGIN_PX) : left + EDGE_PATCH_PX + MARGIN_PX,
            1,
        ]
        if min(patch.shape) > 2 * MARGIN_PX:
            stacks.setdefault(patch.shape, []).append(patch)
    blur = None
    for kernels in KERNELS_PX:
        each = [
            _blurs(np.stack(alike[first : first + AT_ONCE]), noise, *kernels)
            for alike in stacks.values()
            for first in range(0, len(alike), AT_ONCE)
        ]
        blur = (
            _widest(*(np.concatenate(part) for part in zip(*each, strict=True))) if each else None
        )
        if blur is not None and blur < SOFT_PX:
            break
    return blur


def _widest(direction: Indices, blur: Array) -> float | None:
    """Blur of the direction in which it is widest, from the sharper patches."""
    by_direction = (blur[direction == number] for number in range(DIRECTIONS))
    enough = [values for values in by_direction if len(values) >= LEAST_PATCHES]
    return max((float(np.quantile(values, SHARPEST)) for values in enough), default=None)


def _edge_patches(coarse: Pixels, times: int) -> list[tuple[int, int]]:
    """Left and top of the patches with the strongest edges, found after so many halvings."""
    grey = cv2.cvtColor(coarse, cv2.COLOR_BGR2GRAY)
    steep = np.asarray(cv2.magnitude(*_slopes(grey.astype(np.float32))))
    side = max(1, EDGE_PATCH_PX >> times)
    rows, columns = steep.shape[0] // side, steep.shape[1] // side
    if rows == 0 or columns == 0:
        return [(0, 0)]
    blocks = steep[: rows * side, : columns * side].reshape(rows, side, columns, side)
    order = np.argsort(blocks.max(axis=(1, 3)).ravel())[::-1][:EDGE_PATCHES]
    return [(int(k % columns) * EDGE_PATCH_PX, int(k // columns) * EDGE_PATCH_PX) for k in order]


def _blurs(patches: Pixels, noise: float, first: float, second: float) -> tuple[Indices, Array]:
    """Blur of the steepest edges of patches (k, h, w) under two smoothings.

    In one go, one above the other: smoothing reaches no further than `MARGIN_PX`, but
    for the tail of the widest.

    Returns
    -------
    direction, blur : (n,) of each direction of each patch that shows enough of it
    """
    count, height, width = patches.shape
    tall = patches.reshape(count * height, width).astype(np.float32)
    middle = np.s_[:, MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX]

    def rows(picture: Any) -> Floats:
        """Of each patch (k, m) the pixels that no neighbour blurs."""
        inner = np.asarray(picture, np.float32).reshape(patches.shape)[middle]
        return inner.reshape(count, -1)

    along_x, along_y = _smooth_slopes(tall, first)
    once = rows(cv2.magnitude(along_x, along_y))
    # Noise smoothed by s changes by noise / (s^2 sqrt(8 pi)) a pixel.
    floor = STEEP_NOISE * noise / (first**2 * np.sqrt(8.0 * np.pi))
    steepest = once.max(axis=1)
    steep = np.flatnonzero(once > np.maximum(STEEP_SHARE * steepest, floor)[:, None])
    slope, slope_x, slope_y = (each.take(steep) for each in (once, rows(along_x), rows(along_y)))
    direction = np.rint(np.arctan2(slope_y, slope_x) * np.float32(DIRECTIONS / np.pi))
    patch, groups = steep // once.shape[1], count * DIRECTIONS
    group = patch * DIRECTIONS + direction.astype(np.int64) % DIRECTIONS
    sizes = np.bincount(group, minlength=groups)
    # where enough of a group are as steep as that, the others need not be sorted
    steeper = slope > SURELY_STEEP * steepest.take(patch)
    few = np.bincount(group[steeper], minlength=groups) < STRONGEST
    some = np.flatnonzero(steeper | few.take(group))
    chosen = some[_first_of_each(group[some], -slope[some], groups, STRONGEST)[0]]
    twice = rows(cv2.magnitude(*_smooth_slopes(tall, second))).take(steep[chosen])
    fall = (slope[chosen] / np.maximum(twice, 1e-6)) ** 2
    squares = (second**2 - first**2 * fall) / np.maximum(fall - 1.0, 1e-6)
    order, starts, used = _first_of_each(group[chosen], squares, groups, STRONGEST)
    enough = np.nonzero(sizes >= LEAST_PIXELS)[0]
    squares, starts, used = squares[order], starts[enough], used[enough]
    middles = (squares[starts + used // 2] + squares[starts + (used - 1) // 2]) / 2.0
    variance = np.clip(middles.astype(float) - DIFFERENCE_PX2, 0.0, MOST_BLUR_PX**2)
    return enough % DIRECTIONS, np.sqrt(variance)


def _first_of_each(
    group: Indices, value: NDArray[Any], groups: int, most: int
) -> tuple[Indices, Indices, Indices]:
    """Indices of the `most` smallest values of each group, group by group, in order.

    Also where each group starts among them, and how many it has there (groups,).
    """
    # one number to sort by, many times as fast as np.lexsort: floats in the order of integers
    bits = value.astype(np.float32).view(np.int32).astype(np.int64)
    order = np.argsort((group << 32) + np.where(bits < 0, -(2**31) - bits, bits))
    sizes = np.bincount(group, minlength=groups)
    ends = np.cumsum(sizes)
    rank = np.arange(len(order)) - np.repeat(ends - sizes, sizes)
    kept = np.minimum(sizes, most)
    return order[rank < most], np.cumsum(kept) - kept, kept


def _smooth_slopes(picture: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Change of light a pixel along x and y, after smoothing."""
    return _slopes(np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), np.float32))


def _slopes(picture: Floats) -> tuple[Floats, Floats]:
    """Change of light a pixel along x and y."""
    along_x, along_y = (
        np.asarray(cv2.Scharr(picture, cv2.CV_32F, *order, scale=1 / 32), np.float32)
        for order in ((1, 0), (0, 1))
    )
    return along_x, along_y
