"""Find the printed sheet in a photo: markers coarsely, chessboard corners to a fraction of a pixel.

The markers are read on a reduced picture. Each one predicts the corners of its own square by its
own homography, so neither the lens nor a curled sheet misleads the search, and a frame of which a
third is hidden needs no special case.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import ScaleError
from vision.photo.reduce import halved
from vision.scale.equations import (
    U_BAR_MM,
    U_LOG_F_ASSUMED,
    U_LOG_F_KNOWN,
    USUAL_F35_MM,
    PrintRatios,
    Task,
)
from vision.scale.markers import read_markers
from vision.scale.page import page_shrink
from vision.scale.pose import Pose, solve_pose
from vision.scale.saddle import Saddles, fit_saddles, search_corners
from vision.scale.sheet import (
    Sheet,
    corners_of,
    dark_diagonals,
    markers_of,
)
from vision.scale.view import SheetView, view_from

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Picture = NDArray[np.uint8]

LEAST_CORNERS = 12
LEAST_REACH = 0.4
"""Share of the frame's width and of its height that the corners must span."""

FOCAL_LIMIT = 3.0
"""Standard deviations between the file's focal length and the view's that are still believed."""


BAR_LIMIT = 0.08
"""A reading further from the bar's nominal length than any scaled print is a slip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BarReadings:
    """What a caliper read on the printed check bars."""

    x_mm: float | None = None
    """On the bar along the sheet's bottom."""
    y_mm: float | None = None
    """On the bar along its left edge."""


def find_sheet(
    image: Picture,
    f35_mm: float | None,
    bars: BarReadings | None = None,
    smaller: Callable[[int], Picture] | None = None,
) -> SheetView | None:
    """Find the sheet, whichever paper it is and however it lies.

    Parameters
    ----------
    image : (h, w) or (h, w, 3) BGR, gamma-coded, upright or not
    f35_mm : 35 mm equivalent focal length named in the file, None if unknown
    bars : caliper readings of the check bars, if taken
    smaller : the image halved so often, where others ask for it as well

    Returns
    -------
    The view of the sheet, or None if the picture shows none of its markers.

    Raises
    ------
    ScaleError : markers are seen, but too little of the frame to carry a scale; or a bar reading
        that cannot be one of this sheet's bars.

    Notes
    -----
    Scale error below 0.1 % anywhere in the work area, height within 2 % where the focal length is
    named or the tilt is 5 degrees and more (`tests/vision/test_sheet_frame.py`).
    """
    read = read_markers(image.shape[1::-1], smaller or partial(halved, image))
    if read is None:
        return None
    flat = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    grey = np.ascontiguousarray(flat, dtype=np.uint8)
    sheet, markers = read
    starts = _corners_beside(sheet, markers)
    found = search_corners(grey, starts, _square_px(sheet, markers))
    task = _task(sheet, found, grey, f35_mm, bars or BarReadings())
    saddles = _sharpen(grey, sheet, found, solve_pose(task, quick=True))
    task = _task(sheet, saddles.points_px, grey, f35_mm, bars or BarReadings())
    pose = solve_pose(task)
    clash = f35_mm is not None and _focal_clash(task, pose)
    if clash:
        task = replace(task, u_log_f=U_LOG_F_ASSUMED)
        pose = solve_pose(task)
    return view_from(
        sheet,
        task,
        pose,
        blur_px=float(np.nanmedian(saddles.blur_px)),
        page_shrink=page_shrink(grey, sheet, pose.model),
        focal_stated=f35_mm is not None,
        focal_clash=clash,
    )


def _task(
    sheet: Sheet, found: Array, grey: Picture, f35_mm: float | None, bars: BarReadings
) -> Task:
    seen = np.isfinite(found[:, 0])
    _require_reach(sheet, seen)
    return Task(
        nominal_mm=corners_of(sheet)[seen],
        found_px=found[seen],
        half_width_mm=sheet.frame_mm[0] / 2,
        width_px=grey.shape[1],
        height_px=grey.shape[0],
        f35_mm=f35_mm or USUAL_F35_MM,
        u_log_f=U_LOG_F_KNOWN if f35_mm else U_LOG_F_ASSUMED,
        bars=_ratios(bars, sheet),
    )


def _focal_clash(task: Task, pose: Pose) -> bool:
    return abs(float(np.log(pose.camera.f_px / task.f_px))) > FOCAL_LIMIT * task.u_log_f


def _ratios(bars: BarReadings, sheet: Sheet) -> PrintRatios:
    """Readings over the nominal length; ScaleError for one that cannot be of this bar."""
    for name, reading in (("--bar-x", bars.x_mm), ("--bar-y", bars.y_mm)):
        if reading is not None and not abs(reading / sheet.bar_mm - 1.0) < BAR_LIMIT:
            raise ScaleError(
                f"{name} is {reading:g} mm, but the check bars of the {sheet.title} sheet are "
                f"{sheet.bar_mm:g} mm long",
                hint="measure from the middle of one end line to the middle of the other, in mm",
            )
    x, y = (
        None if reading is None else reading / sheet.bar_mm for reading in (bars.x_mm, bars.y_mm)
    )
    return PrintRatios(x=x, y=y, u=U_BAR_MM / sheet.bar_mm)


def _corners_beside(sheet: Sheet, markers: dict[int, Array]) -> Array:
    """Chessboard corners (n, 2) px predicted by the markers beside them, NaN where none is."""
    nominal = corners_of(sheet)
    total, count = np.zeros_like(nominal), np.zeros(len(nominal))
    for marker in markers_of(sheet):
        if marker.number not in markers:
            continue
        ends = np.abs(nominal - (marker.x, marker.y)).max(axis=1) < 0.6 * sheet.square_mm
        view = cv2.getPerspectiveTransform(
            marker.corners.astype(np.float32), markers[marker.number].astype(np.float32)
        )
        total[ends] += cv2.perspectiveTransform(nominal[None, ends], view)[0]
        count[ends] += 1
    with np.errstate(invalid="ignore"):
        predicted: Array = total / count[:, None]
    return predicted


def _square_px(sheet: Sheet, markers: dict[int, Array]) -> float:
    """Side of the smallest square in the picture: the window must not reach a marker."""
    sides = [
        np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).min()
        for corners in markers.values()
    ]
    side_mm = markers_of(sheet)[0].side_mm
    return float(np.percentile(sides, 10)) * sheet.square_mm / side_mm


def _sharpen(grey: Picture, sheet: Sheet, found: Array, rough: Pose) -> Saddles:
    """Fit all corners, those without a marker from where the rough pose draws them."""
    nominal, half_width = corners_of(sheet), sheet.frame_mm[0] / 2
    model = rough.model
    drawn, right, up = (
        model.camera.project(model.corners_mm(nominal + np.array(step), half_width))
        for step in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))
    )
    axes = np.stack([right - drawn, up - drawn], axis=1) * sheet.square_mm
    missing = ~np.isfinite(found[:, 0])
    starts = found.copy()
    starts[missing] = search_corners(
        grey, drawn[missing], float(np.linalg.norm(axes, axis=2).min())
    )
    # The square between the axes x and y is the one up and to the right.
    return fit_saddles(grey, starts, axes, np.sign(dark_diagonals(sheet)[:, 0]))


def _require_reach(sheet: Sheet, seen: Mask) -> None:
    places = corners_of(sheet)[seen]
    enough = len(places) >= LEAST_CORNERS
    if enough:
        reach = np.ptp(places, axis=0) / sheet.frame_mm
        enough = bool(np.all(reach > LEAST_REACH))
    if not enough:
        raise ScaleError(
            f"the frame of the {sheet.title} sheet shows {len(places)} of "
            f"{len(seen)} corners, too few or too close together to carry a scale",
            hint="get all of the frame into the photo, or uncover it; a third may be hidden",
        )
