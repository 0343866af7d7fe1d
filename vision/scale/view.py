"""A photo's view of the printed sheet: camera, residuals, uncertainties, words for the maker."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.results import Scale
from vision.scale.camera import FULL_FRAME_DIAGONAL_MM, Camera
from vision.scale.equations import U_BAR_MM, U_PRINT, Model, PrintRatios, Task
from vision.scale.pose import Pose
from vision.scale.sheet import Sheet, corners_of

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

U_FLAT_MM = 0.1
"""Height by which paper that lies flat to the eye is off the plane; its effect on a length is this
over the camera's height."""

CURL_SHARE = 1 / 3
"""Of a curl that was found, the part that a length in the work area may still carry."""

WIDE_HEIGHT = 0.05
"""Relative uncertainty of the camera's height from which the maker is told."""

WIDE_SCALE = 0.0015
"""Relative uncertainty of the scale, print left aside, from which the maker is told."""

FIT_TO_PAGE = 0.015
"""Print scale off by more than a printer's own error: somebody scaled the page."""

PAGE_SCALED = 0.02
"""The same, as read from the paper's edge, which is cut less well."""

BARS_CLASH = 3.0
"""Standard deviations between a bar reading and the adjusted print that are still believed."""

SEEN_SHARE = 0.6
"""Share of the frame's corners below which the maker is told that much of it is hidden."""


class Flag(StrEnum):
    """What a view of the sheet lacks or suffers from."""

    CURLED = "curled"
    PRINT_UNMEASURED = "print unmeasured"
    PRINT_SCALED = "print scaled"
    PAGE_SCALED = "page scaled"
    BARS_CLASH = "bars clash"
    FOCAL_ASSUMED = "focal length assumed"
    FOCAL_CLASH = "focal length clash"
    HIDDEN = "hidden"
    WEAK = "weak"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetView:
    """The sheet in one photo. World: the sheet's frame in true millimetres."""

    sheet: Sheet
    camera: Camera
    corners_px: Array
    """(n, 2), the corners found."""
    corners_mm: Array
    """(n, 3), where they truly lie; z is the sheet's curl, 0 for a flat sheet."""
    residuals_px: Array
    """(n, 2), found minus drawn: the map of what the model leaves over."""
    used: Mask
    """(n,), False where a corner is too far off to be believed."""
    page_shrink: float | None
    """Scale of the print as the paper's edge shows it, good to 1.5 %; None if unseen."""
    rms_px: float
    """Of a coordinate, over the used corners."""
    print_scale: tuple[float, float]
    """True over nominal length of the print along x and y."""
    curl_mm: float
    """Largest height difference over the frame; 0 for a sheet found flat."""
    curl_terms_mm: Array
    """(3,), height is `terms . (x^2, x y, y^2)`, x and y in half widths of the frame."""
    u_print_rel: float
    """Relative standard uncertainty of the print's mean scale."""
    u_fit_rel: float
    """Largest relative standard uncertainty of a length in the visible work area that comes from
    the corners, lens and flatness, print left aside."""
    u_height_rel: float
    u_tilt_deg: float
    u_lens_rel: float
    """Relative standard uncertainty of a length at the picture's corner against its middle."""
    u_focal_rel: float
    blur_px: float
    """Standard deviation of the blur of the corners' edges, median."""
    width_px: int
    height_px: int
    flags: frozenset[Flag]

    @property
    def u_scale_rel(self) -> float:
        """Relative standard uncertainty of lengths on the sheet."""
        return float(np.hypot(self.u_print_rel, self.u_fit_rel))

    @property
    def f35_mm(self) -> float:
        """35 mm equivalent focal length that the view shows."""
        diagonal = float(np.hypot(self.width_px, self.height_px))
        return self.camera.f_px * FULL_FRAME_DIAGONAL_MM / diagonal

    @property
    def outline_px(self) -> Array:
        """Corners (4, 2) px of the printed frame."""
        half = np.array(self.sheet.frame_mm) / 2 * self.print_scale
        signs = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
        return self.camera.project(np.column_stack([signs * half, np.zeros(4)]))

    def cell_of(self, x_mm: float, y_mm: float) -> str | None:
        """Name of the cell at a true place; None outside the work area."""
        return self.sheet.cell_of(x_mm / self.print_scale[0], y_mm / self.print_scale[1])

    def height_mm(self, x_mm: float, y_mm: float) -> float:
        """Height of the paper at a true place: 0 unless the sheet was found curled."""
        half = self.sheet.frame_mm[0] / 2
        x, y = x_mm / self.print_scale[0] / half, y_mm / self.print_scale[1] / half
        return float(self.curl_terms_mm @ np.array([x * x, x * y, y * y]))


def view_from(
    sheet: Sheet,
    task: Task,
    pose: Pose,
    *,
    blur_px: float,
    page_shrink: float | None,
    focal_stated: bool,
    focal_clash: bool,
) -> SheetView:
    """Draw from an adjustment what is known of the photo, and how well."""
    model = pose.model
    curl = _curl_range(sheet, model)
    flat = np.hypot(U_FLAT_MM, CURL_SHARE * curl) / pose.camera.height_mm
    places = _work_points(sheet, task, pose)
    spread = pose.spread_of(lambda each: _uncertain(task, places, each))
    u_print, u_height, u_focal, u_lens, *u_axis = spread[:6].tolist()
    clash, scaled = _bars_clash(task.bars, model), _page_scaled(task.bars, page_shrink)
    u_print = float(np.hypot(u_print, max(clash, scaled)))
    u_fit = float(np.hypot(spread[6:].max(initial=0.0), flat))
    flags = {
        Flag.CURLED: curl > 0.0,
        Flag.PRINT_UNMEASURED: task.bars.x is None and task.bars.y is None,
        Flag.PRINT_SCALED: bool(np.max(np.abs(model.log_scale)) > FIT_TO_PAGE),
        Flag.PAGE_SCALED: scaled > 0.0,
        Flag.BARS_CLASH: clash > 0.0,
        Flag.FOCAL_ASSUMED: not focal_stated,
        Flag.FOCAL_CLASH: focal_clash,
        Flag.HIDDEN: int(np.sum(pose.used)) < SEEN_SHARE * len(corners_of(sheet)),
        Flag.WEAK: u_fit > WIDE_SCALE,
    }
    used = pose.residuals_px[pose.used]
    return SheetView(
        sheet=sheet,
        camera=pose.camera,
        corners_px=task.found_px,
        corners_mm=model.corners_mm(task.nominal_mm, task.half_width_mm),
        residuals_px=pose.residuals_px,
        used=pose.used,
        page_shrink=page_shrink,
        rms_px=float(np.sqrt(np.mean(used * used))),
        print_scale=(float(np.exp(model.log_scale[0])), float(np.exp(model.log_scale[1]))),
        curl_mm=curl,
        curl_terms_mm=model.curl_mm,
        u_print_rel=u_print,
        u_fit_rel=u_fit,
        u_height_rel=u_height,
        u_tilt_deg=float(np.degrees(max(u_axis))),
        u_lens_rel=u_lens,
        u_focal_rel=u_focal,
        blur_px=blur_px,
        width_px=task.width_px,
        height_px=task.height_px,
        flags=frozenset(flag for flag, raised in flags.items() if raised),
    )


def sheet_scale(view: SheetView, *, print_known: bool = False) -> Scale:
    """Say in the result's terms what the sheet tells, with words for the maker.

    Parameters
    ----------
    print_known : whether something else than the check bars tells the print's scale
    """
    camera = view.camera
    middle = np.array([(view.width_px - 1) / 2, (view.height_px - 1) / 2])
    return Scale(
        kind="sheet",
        reference=view.sheet.paper,
        camera=camera,
        mm_per_px=camera.mm_per_px(middle),
        u_rel=view.u_scale_rel,
        camera_height_mm=camera.height_mm,
        u_height_rel=view.u_height_rel,
        tilt_deg=camera.tilt_deg,
        u_tilt_deg=view.u_tilt_deg,
        u_lens_rel=view.u_lens_rel,
        outline_px=view.outline_px,
        notes=tuple(_notes(view, print_known)),
        warnings=tuple(_warnings(view, print_known)),
        details=_details(view),
    )


def _details(view: SheetView) -> dict[str, Any]:
    """Values for the result file; residuals are a map of x, y, and found minus drawn x, y, px."""
    camera = view.camera
    rows = np.column_stack([view.corners_px, view.residuals_px])[view.used]
    return {
        "print_scale": list(view.print_scale),
        "u_print_rel": view.u_print_rel,
        "page_scale": view.page_shrink,
        "curl_mm": view.curl_mm,
        "f35_mm": view.f35_mm,
        "k1": camera.k1,
        "k2": camera.k2,
        "corners": len(corners_of(view.sheet)),
        "corners_used": int(np.sum(view.used)),
        "rms_px": view.rms_px,
        "residuals_px": np.round(rows, 3).tolist(),
    }


def _notes(view: SheetView, print_known: bool) -> list[str]:
    along_x, along_y = (100.0 * (scale - 1.0) for scale in view.print_scale)
    bar = view.sheet.bar_mm
    notes = [
        f"{view.sheet.title} sheet, version {view.sheet.version}: {int(np.sum(view.used))} corners "
        f"found, {view.rms_px:.2f} px rms"
    ]
    if not print_known and Flag.PRINT_UNMEASURED in view.flags:
        after = 100.0 * 2.0 * U_BAR_MM / bar / np.sqrt(2.0)
        notes.append(
            f"the print was not measured: lengths carry {200.0 * U_PRINT:.1f} % for it; reading "
            f"both {bar:g} mm check bars with a caliper (--bar-x, --bar-y) would make that "
            f"{after:.2f} %"
        )
    elif not print_known:
        notes.append(f"print corrected by {along_x:+.2f} % along x, {along_y:+.2f} % along y")
    if Flag.FOCAL_ASSUMED in view.flags and view.u_height_rel <= WIDE_HEIGHT:
        notes.append(f"focal length found from the view: {view.f35_mm:.1f} mm equivalent")
    return notes


def _warnings(view: SheetView, print_known: bool) -> list[str]:
    shrink = 100.0 * ((view.page_shrink or 1.0) - 1.0)
    words = {
        Flag.CURLED: f"the sheet does not lie flat (about {view.curl_mm:.1f} mm over the frame): "
        "tape it down or lay glass bars on its edges",
        Flag.PRINT_SCALED: "the check bars say that the page was scaled in printing: it is "
        "corrected, but print it again at 100 %, not fit to page",
        Flag.PAGE_SCALED: f"by the paper's edge the page was scaled by about {shrink:+.0f} % "
        "in printing: "
        + (
            "the coin corrects it, but print it again at 100 %, not fit to page"
            if print_known
            else "all sizes are off by as much; print it again at 100 %, not fit to page, or "
            "give the readings of both check bars"
        ),
        Flag.BARS_CLASH: "the bar readings and the photo disagree about the print: are --bar-x "
        "(along the bottom) and --bar-y (along the left edge) swapped or misread?",
        Flag.FOCAL_CLASH: "the focal length in the file does not fit the view "
        f"({view.f35_mm:.0f} mm equivalent fits): was the photo cropped?",
        Flag.HIDDEN: f"only {int(np.sum(view.used))} of {len(corners_of(view.sheet))} corners of "
        "the frame are usable: uncover it or take it all into the photo",
        Flag.WEAK: f"away from the frame lengths carry {200.0 * view.u_fit_rel:.2f} %, print left "
        "aside: take more of the frame into the photo, sharp",
    }
    warnings = [text for flag, text in words.items() if flag in view.flags]
    if Flag.FOCAL_ASSUMED in view.flags and view.u_height_rel > WIDE_HEIGHT:
        warnings.append(
            "the file names no focal length and the view does not show it: the camera's height of "
            f"{view.camera.height_mm:.0f} mm is good to {200.0 * view.u_height_rel:.0f} % only; "
            "use the photo as the camera stored it, or tilt the camera by 10 degrees"
        )
    return warnings


def _curl_range(sheet: Sheet, model: Model) -> float:
    return float(np.ptp(model.corners_mm(corners_of(sheet), sheet.frame_mm[0] / 2)[:, 2]))


def _uncertain(task: Task, places: Array, each: Model) -> Array:
    """Values (6 + m,) whose uncertainties are asked for.

    Print, height, focal length, lens at the picture's corner, optical axis (2), and the sizes of a
    pixel in print units over the visible work area.
    """
    camera = each.camera
    ends = np.array([task.centre_px, (0.0, 0.0)])
    middle, corner, *sizes = np.log(camera.pixel_sizes(np.concatenate([ends, places]))).tolist()
    logs = [each.common, np.log(camera.height_mm), np.log(camera.f_px), corner - middle]
    return np.concatenate([logs, camera.rotation[2, :2], np.array(sizes) - each.common])


def _work_points(sheet: Sheet, task: Task, pose: Pose) -> Array:
    """Places (m, 2) px of a 3 x 3 grid over the work area that the picture shows."""
    half = 0.9 * np.array(sheet.work_mm) / 2
    x, y = np.meshgrid([-half[0], 0.0, half[0]], [-half[1], 0.0, half[1]])
    drawn = pose.camera.project(np.stack([x.ravel(), y.ravel(), np.zeros(9)], axis=1))
    inside = np.all((drawn >= 0) & (drawn < (task.width_px, task.height_px)), axis=1)
    return drawn[inside]


def _bars_clash(bars: PrintRatios, model: Model) -> float:
    """How far bar readings and photo disagree about the print, 0 where they agree."""
    pairs = zip((bars.x, bars.y), model.log_scale, strict=True)
    apart = [abs(float(scale - np.log(bar))) for bar, scale in pairs if bar is not None]
    worst = max(apart, default=0.0)
    return worst if worst > BARS_CLASH * bars.u else 0.0


def _page_scaled(bars: PrintRatios, shrink: float | None) -> float:
    """How far the paper's edge says that an unmeasured print was scaled, 0 where it does not."""
    if shrink is None or bars.x is not None or bars.y is not None:
        return 0.0
    off = abs(float(np.log(shrink)))
    return off if off > PAGE_SCALED else 0.0
