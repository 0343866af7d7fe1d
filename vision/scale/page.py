"""Tell from the paper's own edge whether the sheet was scaled in printing.

Paper is cut to half a per cent; "fit to page" shrinks by 3 to 6 %. So the edge of the page, where
it is seen against the table, catches a scaled print, though it measures none.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.light import LINEAR
from vision.scale.equations import Model
from vision.scale.sheet import Sheet

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]

PAPERS_MM = ((297.0, 210.0), (279.4, 215.9), (210.0, 148.0), (148.0, 105.0))
"""Papers in people's printers, long side first: A4, US letter, A5, A6 (ISO 216, ANSI Y14.1)."""

LOOK_SHARE = (-0.03, 0.12)
"""How far inside and outside its nominal place an edge is looked for, in half sides."""

STEP_MM = 0.15
PLACES = 60
"""Places along a side."""

SPAN = 0.8
"""Share of a side that is looked at: corners curl and bend."""

LEAST_SEEN = 0.6
"""Of the places, that must lie in the picture."""

LEAST_STEP = 0.2
"""Of the paper's light, that must be gained or lost at an edge."""

CUT_TOLERANCE = 0.015
"""Relative: paper is cut to 1.5 mm up to 150 mm and to 2 mm above (ISO 216)."""


def page_shrink(grey: Picture, sheet: Sheet, model: Model) -> float | None:
    """Estimate the scale of the print from the size of the paper, good to about 1.5 %.

    Returns
    -------
    1 for a print at its true size, 0.95 for one shrunk by 5 %; None where the paper's edges are
    not seen or fit no usual paper.
    """
    offsets = [_edge_offset(grey, sheet, model, axis, sign) for axis in (0, 1) for sign in (-1, 1)]
    if any(offset is None for offset in offsets):
        return None
    left, right, bottom, top = (float(offset) for offset in offsets if offset is not None)
    # Page over print: how large the paper is in millimetres of the print.
    seen = np.array([sheet.width_mm + left + right, sheet.height_mm + bottom + top])
    scales = [np.array(paper) / seen for paper in PAPERS_MM]
    fitting = [scale for scale in scales if abs(scale[0] / scale[1] - 1.0) < CUT_TOLERANCE]
    if not fitting:
        return None
    nearest = min(fitting, key=lambda scale: abs(float(np.log(scale.mean()))))
    return float(nearest.mean())


def _edge_offset(grey: Picture, sheet: Sheet, model: Model, axis: int, sign: int) -> float | None:
    """How far outside its nominal place a side of the paper lies, mm of the print."""
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    steps = np.arange(LOOK_SHARE[0] * half[axis], LOOK_SHARE[1] * half[axis], STEP_MM)
    along = np.linspace(-SPAN, SPAN, PLACES) * half[1 - axis]
    points = np.empty((PLACES, len(steps), 2))
    points[..., axis] = sign * (half[axis] + steps)
    points[..., 1 - axis] = along[:, None]
    light = _light_at(grey, model, points)
    seen = np.isfinite(light).sum(axis=0) >= LEAST_SEEN * PLACES
    stop = int(np.argmin(seen)) if not seen.all() else len(seen)
    if stop < 12:
        return None
    return _strongest_step(np.nanmedian(light[:, :stop], axis=0), steps[:stop])


def _light_at(grey: Picture, model: Model, points_mm: Array) -> Array:
    """Linear light at print points (..., 2) on the plane, NaN outside the picture."""
    flat = points_mm.reshape(-1, 2) * np.exp(model.log_scale)
    drawn = model.camera.project(np.column_stack([flat, np.zeros(len(flat))]))
    places = drawn.reshape(points_mm.shape).astype(np.float32)
    values = cv2.remap(grey, places[..., 0], places[..., 1], cv2.INTER_NEAREST)
    light = LINEAR[np.asarray(values)].astype(np.float64)
    height, width = grey.shape
    outside = np.any((places < 0) | (places > (width - 1, height - 1)), axis=-1)
    light[outside] = np.nan
    return light


def _strongest_step(profile: Array, steps: Array) -> float | None:
    paper = float(np.median(profile[:6]))
    span = 4
    change = np.abs(profile[span:] - profile[:-span])
    strongest = int(np.argmax(change))
    if paper <= 0.0 or change[strongest] < LEAST_STEP * paper:
        return None
    return float(steps[strongest] + span * STEP_MM / 2)
