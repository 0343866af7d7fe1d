"""Locate chessboard corners to a few hundredths of a pixel by fitting their blurred picture.

Around a corner the picture is `a + g . p + b erf(s1) erf(s2)`, with s1, s2 the distances from the
two edges in units of the blur, in linear light: a tone curve widens the light squares and would
join them across the corner. All corners are fitted at once.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from vision.photo.light import LINEAR

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Picture = NDArray[np.uint8]

SEARCH_SHARE = 0.12
"""Half width of the square search window as a share of a square; markers begin at 0.15."""

FIT_SHARE = 0.18
"""Half diagonal of the diamond that is fitted: it reaches along the edges, where the knowledge is,
and keeps clear of the markers' corners at (0.15, 0.15)."""

WINDOW_PX = (4, 14)
"""Least and largest half width of either window."""

MOST_STEPS = 8
SETTLED_PX = 0.002

BLUR_PX = (0.3, 6.0)
"""Least and largest standard deviation of the blur that is fitted."""

LEAST_CONTRAST = 0.12
"""Of the corners' usual contrast, in linear light: a hard shadow takes four fifths of it."""

LEAST_LIGHT = 0.6
"""Contrast below which nothing is believed, on a scale of 255."""

WORST_MISFIT = 0.12
"""Of a corner's contrast, beyond three times the usual misfit: something lies on it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Saddles:
    """Corners located in a picture, NaN where none is."""

    points_px: Array
    """(n, 2)"""
    blur_px: Array
    """(n,), standard deviation of the blur of the edges."""


def search_corners(grey: Picture, starts_px: Array, square_px: float) -> Array:
    """Find the corners (n, 2) near rough places; NaN where there is none within the window."""
    half = _half_width(SEARCH_SHARE * square_px)
    inside = _inside(grey, starts_px, 2 * half + 2)
    found = np.full_like(starts_px, np.nan)
    if not np.any(inside):
        return found
    points = starts_px[inside].astype(np.float32)[:, None, :]
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.01)
    moved = cv2.cornerSubPix(grey, points.copy(), (half, half), (-1, -1), stop)
    moved = np.asarray(moved, dtype=np.float64).reshape(-1, 2)
    moved[np.hypot(*(moved - starts_px[inside]).T) > half] = np.nan
    found[inside] = moved
    return found


def fit_saddles(grey: Picture, starts_px: Array, axes: Array, dark: Array) -> Saddles:
    """Fit the blurred picture of each corner.

    Parameters
    ----------
    grey : (h, w)
    starts_px : (n, 2), within two pixels; NaN for none
    axes : (n, 2, 2) px, the sides of a square in the picture, as rows
    dark : (n,), +1 where the square between the two axes is dark, else -1

    Returns
    -------
    Saddles; NaN for a corner that is hidden, out of the picture or unlike the others.
    """
    square_px = float(np.linalg.norm(axes, axis=2).min())
    half = _half_width(FIT_SHARE * square_px)
    index = np.flatnonzero(_inside(grey, starts_px, half + 3))
    points = np.full_like(starts_px, np.nan)
    blur = np.full(len(starts_px), np.nan)
    if len(index):
        fitted, width, good = _fit(grey, starts_px[index], axes[index], dark[index], half)
        points[index[good]] = fitted[good]
        blur[index[good]] = width[good]
    return Saddles(points_px=points, blur_px=blur)


def _fit(
    grey: Picture, starts: Array, axes: Array, dark: Array, half: int
) -> tuple[Array, Array, Mask]:
    anchors = np.rint(starts).astype(int)
    places, weights = _diamonds(starts - anchors, axes, half)
    values = _patches(grey, anchors, places)
    normals = _normals(axes)
    # Columns: x, y, log blur, level, slope x, slope y, contrast (dark square first: negative).
    state = np.zeros((len(starts), 7))
    state[:, :2] = starts - anchors
    state[:, 3] = np.sum(weights * values, axis=1) / np.sum(weights, axis=1)
    state[:, 6] = -dark * np.ptp(np.percentile(values, [10, 90], axis=1), axis=0) / 2
    state[:, 2] = np.log(1.2)
    for _ in range(MOST_STEPS):
        misfit, slopes = _misfit(state, values, places, normals)
        weighted = np.swapaxes(slopes * weights[..., None], 1, 2)
        normal = weighted @ slopes
        normal += 1e-9 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(7)
        step = np.linalg.solve(normal, weighted @ misfit[..., None])[..., 0]
        step[:, :2] = np.clip(step[:, :2], -1.0, 1.0)
        step[:, 2] = np.clip(step[:, 2], -0.5, 0.5)
        state += step
        state[:, 2] = np.clip(state[:, 2], *np.log(BLUR_PX))
        if np.percentile(np.abs(step[:, :2]), 90) < SETTLED_PX:
            break
    misfit, _ = _misfit(state, values, places, normals)
    spread = np.sqrt(np.sum(weights * misfit**2, axis=1) / np.sum(weights, axis=1))
    good = _believable(state, spread, dark, starts - anchors)
    return anchors + state[:, :2], np.exp(state[:, 2]), good


def _diamonds(centres: Array, axes: Array, half: int) -> tuple[Array, Array]:
    """Pixels (p, 2) around the anchors that any corner's diamond takes, and weights (n, p)."""
    reach = np.arange(-half, half + 1)
    x, y = (part.ravel() for part in np.meshgrid(reach, reach))
    places = np.stack([x, y], axis=1).astype(np.float64)
    along = (places[None] - centres[:, None]) @ np.linalg.inv(axes)
    limit = np.minimum(FIT_SHARE, half / np.linalg.norm(axes, axis=2).max(axis=1))
    inside = np.sum(np.abs(along), axis=2) < limit[:, None]
    taken = np.any(inside, axis=0)
    return places[taken], inside[:, taken].astype(np.float64)


def _patches(grey: Picture, anchors: NDArray[np.int64], places: Array) -> Array:
    x, y = places.astype(np.int64).T
    coded = grey[anchors[:, 1, None] + y, anchors[:, 0, None] + x]
    values: Array = 255.0 * LINEAR[coded].astype(np.float64)
    return values


def _normals(axes: Array) -> Array:
    """Unit normals (n, 2, 2) of the edges along the two axes, each towards the other axis."""
    unit = axes / np.linalg.norm(axes, axis=2, keepdims=True)
    across = np.stack([-unit[..., 1], unit[..., 0]], axis=-1)
    towards = np.sum(across * unit[:, ::-1], axis=2, keepdims=True)
    normals: Array = across * np.sign(towards)
    return normals


def _misfit(state: Array, values: Array, places: Array, normals: Array) -> tuple[Array, Array]:
    """Picture minus model (n, p), and the model's slopes (n, p, 7)."""
    offsets = places[None] - state[:, None, :2]
    blur = np.exp(state[:, 2])[:, None]
    first, second = (np.einsum("npc,nc->np", offsets, normals[:, k]) / blur for k in (0, 1))
    shape1, shape2 = erf(first / np.sqrt(2.0)), erf(second / np.sqrt(2.0))
    bell1, bell2 = (np.sqrt(2.0 / np.pi) * np.exp(-part * part / 2) for part in (first, second))
    product, contrast = shape1 * shape2, state[:, 6, None]
    along1, along2 = contrast * bell1 * shape2 / blur, contrast * shape1 * bell2 / blur
    slopes = np.empty((*values.shape, 7))
    for axis in (0, 1):
        slopes[..., axis] = -along1 * normals[:, 0, axis, None] - along2 * normals[:, 1, axis, None]
        slopes[..., 4 + axis] = places[None, :, axis]
    slopes[..., 2] = -(along1 * first + along2 * second) * blur
    slopes[..., 3] = 1.0
    slopes[..., 6] = product
    model = state[:, 3, None] + state[:, 4:6] @ places.T + contrast * product
    return values - model, slopes


def _believable(state: Array, spread: Array, dark: Array, starts: Array) -> Mask:
    contrast = -dark * state[:, 6]
    usual = np.median(contrast)
    rest = spread / np.maximum(contrast, 1.0)
    near = np.hypot(*(state[:, :2] - starts).T) < 2.0
    clean = rest < np.maximum(3.0 * np.median(rest), WORST_MISFIT)
    good: Mask = near & clean & (contrast > max(LEAST_CONTRAST * usual, LEAST_LIGHT))
    return good


def _half_width(share_px: float) -> int:
    return int(np.clip(round(share_px), *WINDOW_PX))


def _inside(grey: Picture, points: Array, border: int) -> Mask:
    height, width = grey.shape
    with np.errstate(invalid="ignore"):
        inside: Mask = np.all((points > border) & (points < (width - border, height - border)), 1)
    return inside
