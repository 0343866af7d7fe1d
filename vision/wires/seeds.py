"""Where wire may lie: straight edges in the picture that run side by side."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from vision.photo.decode import Photo
from vision.photo.reduce import halvings
from vision.scale.camera import Camera
from vision.wires.stretch import HALF, LENGTH

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

SMOOTH_PX = 1.2
"""Smoothing of the reduced picture: noise breaks edges into crumbs."""
EDGE_MM = 6.5
"""Least length of an edge."""
WIDTH_MM = (0.35, 6.5)
"""Least and greatest width of anything called wire here."""
TRIAL_WIDTHS, LEAST_WIDTHS = 9.0, 3.0
"""Length of the stretch on which a guess is tried, and the least, in widths."""
LANES, LONGEST_MM = 48, 8.0
"""Cross-cuts that the light across an edge is averaged over, and the length they spread over."""
SLACK_MM = 0.15
"""An edge of the picture is found this well."""
STEP_SMOOTH = 2.0
"""Smoothing of the light across, in half pixels."""
STEP_NOISE, STEP_SHARE, STEPS_MOST = 4.0, 0.05, 8
"""A step is so many times steeper than usual, and at least this share of the steepest."""
GUESSES_MOST, SAME_WIDTH = 5, 0.15
"""Guesses of one edge that are tried, and the least step of their widths (relative): the reader
finds its way from a third of the width off."""


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Straight edges on the table."""

    ends_mm: Array
    """(n, 2, 2) both ends, on the plane of the table."""

    @property
    def length(self) -> Array:
        """(n,) mm."""
        lengths: Array = np.hypot(*np.moveaxis(self.ends_mm[:, 1] - self.ends_mm[:, 0], -1, 0))
        return lengths

    def without(self, gone: NDArray[np.bool_]) -> "Edges":
        """Leave some out."""
        return Edges(self.ends_mm[~gone])


def straight_lines(photo: Photo) -> Array:
    """Find straight lines (n, 2, 2) in a photo: both ends, pixels."""
    times = halvings(photo.size)
    smooth = cv2.GaussianBlur(photo.halved(times), (0, 0), SMOOTH_PX)
    grey = _most_contrast(np.asarray(smooth, np.uint8))
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(grey)[0]
    if found is None:
        return np.empty((0, 2, 2))
    ends: Array = (np.asarray(found, np.float64).reshape(-1, 2, 2) + 0.5) * 2**times - 0.5
    return ends


def edges_of(lines: Array, camera: Camera, hidden: Callable[[Array], NDArray[np.bool_]]) -> Edges:
    """Those of the lines (n, 2, 2) of a photo along which wire may lie.

    Parameters
    ----------
    hidden : tells of pixels (n, 2) whether the reference or a ring lies there
    """
    edges = Edges(camera.to_plane(lines))
    short = edges.length < EDGE_MM
    inner = lines.mean(axis=1)[:, None] + np.array([-0.8, 0.0, 0.8])[:, None] * (
        (lines[:, 1] - lines[:, 0])[:, None] / 2.0
    )
    covered = hidden(inner.reshape(-1, 2)).reshape(-1, 3).all(axis=1)
    return edges.without(short | covered)


def _most_contrast(bgr: Pixels) -> Pixels:
    """The channel in which the picture varies most: copper shows in blue, a blue coat in red."""
    spread = [float(np.percentile(c, 99) - np.percentile(c, 1)) for c in cv2.split(bgr[::4, ::4])]
    return np.ascontiguousarray(bgr[..., int(np.argmax(spread))])


def guesses_from(photo: Photo, camera: Camera, edge_mm: Array) -> Array:
    """Stretches (k, 6) of wire that a straight edge (2, 2) may belong to; widest first.

    The light across the edge, averaged along it, steps where something begins or ends: every pair
    of steps around the edge may be both silhouettes. The strongest steps need not be: bright wire
    mirrors the paper in its rim.
    """
    start, end = edge_mm
    length = float(np.hypot(*(end - start)))
    way = (end - start) / length
    right = np.array([way[1], -way[0]])
    middle = (start + end) / 2.0
    across = np.arange(
        -WIDTH_MM[1], WIDTH_MM[1], camera.mm_per_px(camera.project(np.append(middle, 0.0))) / 2.0
    )
    along = (np.arange(LANES) + 0.5) / LANES - 0.5
    places = (
        middle
        + (along * min(length, LONGEST_MM))[:, None, None] * way
        + across[None, :, None] * right
    )
    points = camera.project(np.concatenate([places, np.zeros((*places.shape[:2], 1))], axis=-1))
    profile = np.median(np.sqrt(np.maximum(photo.sample(points), 0.0)), axis=0)
    steps = _steps(profile, across)
    angle = float(np.arctan2(way[1], way[0]))
    rows = []
    for left in steps[steps < SLACK_MM]:
        for far in steps[steps > max(left, -SLACK_MM)]:
            width = float(far - left)
            if WIDTH_MM[0] < width < WIDTH_MM[1]:
                at = middle + (left + far) / 2.0 * right
                trial = min(TRIAL_WIDTHS * width, max(length, LEAST_WIDTHS * width))
                rows.append([at[0], at[1], angle, width / 2.0, 0.0, trial])
    rows.sort(key=lambda row: -row[HALF])
    kept: list[list[float]] = []
    for row in rows:
        if not kept or row[HALF] < (1.0 - SAME_WIDTH) * kept[-1][HALF]:
            kept.append(row)
    return np.array(kept[:GUESSES_MOST], dtype=np.float64).reshape(-1, LENGTH + 1)


def _steps(profile: Array, across: Array) -> Array:
    """Where the light (m, 3) steps, as places (k,) across; the strongest few."""
    smooth = gaussian_filter1d(profile.astype(float), STEP_SMOOTH, axis=0)
    slope = np.linalg.norm(np.gradient(smooth, axis=0), axis=1)
    usual = float(np.median(slope))
    inner = slope[1:-1]
    peaks = (inner >= slope[:-2]) & (inner > slope[2:])
    peaks &= inner > max(STEP_NOISE * usual, STEP_SHARE * float(slope.max()))
    places = np.flatnonzero(peaks) + 1
    strongest = places[np.argsort(-slope[places])[:STEPS_MOST]]
    return np.sort(across[strongest])
