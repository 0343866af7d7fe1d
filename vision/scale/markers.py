"""Read the sheet's numbered markers in a reduced picture.

OpenCV finds the dark quadrilaterals; the bits are read here for all of them at once, because its
own reader compares each with every word one by one (0.3 s for a frame full of markers).
"""

from collections.abc import Callable
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scale.sheet import (
    MARKER_MODULES,
    Sheet,
    all_sheets,
    marker_dictionary,
    markers_of,
    sheet_with,
)

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

COARSE_SIDE_PX = 2400
"""Most pixels along the long side of the reduced picture, which serves a sheet that fills at least
a third of the photo; one that lies smaller in it is read on a picture of twice the size."""

ENOUGH_MARKERS, ENOUGH_QUADS = 20, 20
"""Fewer markers than the first on the reduced picture, but more dark quadrilaterals than the
second, and the larger one is tried: a photo without a sheet shows a dozen."""

THRESHOLD_PX = (15, 35)
"""Neighbourhoods (odd, pixels of the reduced picture) over which dark is told from light."""

LEAST_PERIMETER = 0.02
"""Of a marker, as a share of the picture's long side."""

WRONG_BITS = 1
"""Bits of 25 that may be misread; two would let one random square in a hundred pass."""

WRONG_BORDER = 3
"""Modules of the black border, of 24, that may read light."""

LEAST_STEP = 12.0
"""Grey levels between a marker's dark and light modules."""

STRAY_SHARE = 0.04
"""Of the picture's long side: how far lens and curl may move a marker from a flat view."""


def read_markers(
    size: tuple[int, int], smaller: Callable[[int], Picture]
) -> tuple[Sheet, dict[int, Array]] | None:
    """Read the markers of the sheet that shows most of them.

    Parameters
    ----------
    size : of the picture
    smaller : the picture (h, w) or (h, w, 3), BGR, halved so often

    Returns
    -------
    The sheet and its markers' corners (4, 2) px by number, in the order of `Marker.corners`, good
    to about a pixel of the reduced picture; None if no marker is seen.
    """
    long_side = max(size)
    times = max(0, int(np.ceil(np.log2(long_side / COARSE_SIDE_PX))))
    read, quads = _read_at(smaller(times), times)
    best = _one_sheet(read, long_side)
    if times and len(best) < ENOUGH_MARKERS and quads > ENOUGH_QUADS:
        again = _one_sheet(_read_at(smaller(times - 1), times - 1)[0], long_side)
        best = max(best, again, key=len)
    sheet = sheet_with(next(iter(best))) if best else None
    return (sheet, best) if sheet else None


def _read_at(small: Picture, times: int) -> tuple[dict[int, Array], int]:
    """Markers by number in a picture halved so often, and how many quadrilaterals it has."""
    flat = small if small.ndim == 2 else cv2.cvtColor(small, cv2.COLOR_BGR2GRAY)
    grey = np.asarray(flat, np.uint8)
    quads = _find_quads(grey)
    if len(quads) == 0:
        return {}, 0
    numbers, turns = _read_bits(grey, quads)
    markers = {
        int(number): (np.roll(quad, -turn, axis=0).astype(np.float64) + 0.5) * 2**times - 0.5
        for number, turn, quad in zip(numbers, turns, quads, strict=True)
        if number >= 0
    }
    return markers, len(quads)


def _find_quads(small: Picture) -> NDArray[np.float32]:
    """Dark quadrilaterals (n, 4, 2), clockwise; OpenCV rejects them all for want of words."""
    options = cv2.aruco.DetectorParameters()
    options.minMarkerPerimeterRate = LEAST_PERIMETER
    options.adaptiveThreshWinSizeMin, options.adaptiveThreshWinSizeMax = THRESHOLD_PX
    options.adaptiveThreshWinSizeStep = THRESHOLD_PX[1] - THRESHOLD_PX[0]
    one_word = cv2.aruco.Dictionary(marker_dictionary().bytesList[-1:], MARKER_MODULES - 2, 0)
    detector = cv2.aruco.ArucoDetector(one_word, options)
    accepted, _, rejected = detector.detectMarkers(small)
    quads = [np.asarray(quad, dtype=np.float32).reshape(4, 2) for quad in (*accepted, *rejected)]
    return np.stack(quads) if quads else np.empty((0, 4, 2), dtype=np.float32)


def _read_bits(
    small: Picture, quads: NDArray[np.float32]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Number (n,) of each quadrilateral, -1 for none, and which corner is its top left."""
    cells = _sample_cells(small, quads)
    border = np.ones((MARKER_MODULES, MARKER_MODULES), dtype=np.bool_)
    border[1:-1, 1:-1] = False
    edge, inner = cells[:, border], cells[:, ~border]
    dark, light = np.median(edge, axis=1), np.percentile(inner, 85, axis=1)
    middle = ((dark + light) / 2)[:, None]
    framed = (light - dark > LEAST_STEP) & (np.sum(edge > middle, axis=1) <= WRONG_BORDER)
    words, numbers, turns = _words()
    signs = np.where(inner > middle, 1.0, -1.0)
    wrong = (words.shape[1] - signs @ words.T) / 2
    nearest = np.argmin(wrong, axis=1)
    good = framed & (wrong[np.arange(len(quads)), nearest] <= WRONG_BITS)
    return np.where(good, numbers[nearest], -1), turns[nearest]


def _sample_cells(small: Picture, quads: NDArray[np.float32]) -> Array:
    """Mean grey (n, 7, 7) of each module's middle part."""
    modules = np.float32(MARKER_MODULES)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32) * modules
    middles = np.arange(MARKER_MODULES) + 0.5
    offsets = np.array([-0.2, 0.0, 0.2])
    ticks = (middles[:, None] + offsets).ravel().astype(np.float32)
    grid = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(1, -1, 2)
    places = np.concatenate(
        [
            cv2.perspectiveTransform(grid, cv2.getPerspectiveTransform(square, quad))
            for quad in quads
        ]
    )
    values = cv2.remap(small, places[..., 0], places[..., 1], cv2.INTER_LINEAR)
    parts = values.astype(np.float64).reshape(-1, MARKER_MODULES, 3, MARKER_MODULES, 3)
    cells: Array = parts.mean(axis=(2, 4))
    return cells


@cache
def _words() -> tuple[Array, NDArray[np.int64], NDArray[np.int64]]:
    """Signs (4 n, 25) of every marker in use as each corner comes first, its number, the turn."""
    dictionary = marker_dictionary()
    words, numbers, turns = [], [], []
    for sheet in all_sheets().values():
        for marker in markers_of(sheet):
            picture = cv2.aruco.generateImageMarker(dictionary, marker.number, MARKER_MODULES)
            bits = np.where(np.asarray(picture)[1:-1, 1:-1] > 0, 1.0, -1.0)
            for turn in range(4):
                # A quadrilateral whose top left is corner `turn` shows the word turned back.
                words.append(np.rot90(bits, turn).ravel())
                numbers.append(marker.number)
                turns.append((4 - turn) % 4)
    return np.stack(words), np.array(numbers), np.array(turns)


def _one_sheet(markers: dict[int, Array], long_side: int) -> dict[int, Array]:
    """Keep the markers of the sheet with most of them, without those far out of place."""
    by_paper: dict[str, dict[int, Array]] = {}
    for number, corners in markers.items():
        sheet = sheet_with(number)
        if sheet is not None:
            by_paper.setdefault(sheet.paper, {})[number] = corners
    if not by_paper:
        return {}
    paper = max(by_paper, key=lambda name: len(by_paper[name]))
    return _drop_strays(all_sheets()[paper], by_paper[paper], long_side)


def _drop_strays(sheet: Sheet, markers: dict[int, Array], long_side: int) -> dict[int, Array]:
    if len(markers) < 5:
        return markers
    middles = {marker.number: (marker.x, marker.y) for marker in markers_of(sheet)}
    nominal = np.array([middles[number] for number in markers])
    seen = np.array([corners.mean(axis=0) for corners in markers.values()])
    _, kept = cv2.findHomography(nominal, seen, cv2.RANSAC, STRAY_SHARE * long_side)
    if kept is None:
        return markers
    pairs = zip(markers.items(), np.ravel(kept), strict=True)
    return {number: corners for (number, corners), keep in pairs if keep}
