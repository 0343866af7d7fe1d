"""The equations of a sheet in view: where its corners are drawn, what is known beforehand.

Each comes with its slopes, so that the adjustment is quick. What the corners cannot tell (the
common scale of the print, the focal length of a photo taken straight down) is held by its prior.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scale.camera import Camera, focal_px

Array = NDArray[np.float64]

USUAL_F35_MM = 26.0
"""Main lens of most phones (24 to 28 mm), taken where the file names none."""

U_LOG_F_KNOWN = 0.025
"""Of a focal length from the file: it is rounded to a millimetre (1.1 % at 26 mm), and focusing
on 0.2 m lengthens the lens by 1 to 3 %."""

U_LOG_F_ASSUMED = 0.5
"""Of the usual lens: one standard deviation reaches 16 to 43 mm, two reach a 3x lens."""

U_CENTRE = 0.004
"""Of the optical axis in the picture, as a share of its diagonal (20 px in 12 megapixels)."""

U_K1 = 0.08
U_K2 = 0.02
"""Lens terms that a phone leaves uncorrected; k1 of 0.1 must still be found."""

U_PRINT = 0.0025
"""Relative, of the mean scale of a print that was not measured: half of the usual 0.5 %."""

U_STRETCH = 0.003
"""Relative, of x against y: paper swells 0.1-0.2 % along the grain, 0.2-0.4 % across it."""

U_BAR_MM = 0.04
"""Of a caliper reading of a check bar: the caliper's 0.03 mm and setting it on a line."""

U_OPEN = 0.05
"""Width given to a print scale that the bars determine."""

U_CURL_MM = 3.0
U_ROLL_MM = 0.03
"""Paper rolls but does not cup: what is left of the second principal curvature."""

# Parameters of a step of the model.
TURN, SHIFT = slice(0, 3), slice(3, 6)
FOCAL, CENTRE_X, CENTRE_Y, K1, K2, COMMON, STRETCH = range(6, 13)
CURL = slice(13, 16)
FLAT_PARAMETERS, ALL_PARAMETERS = 13, 16
CROSS_SIGNS: Array = np.array([[0.0, 1.0, -1.0], [-1.0, 0.0, 1.0], [1.0, -1.0, 0.0]])
"""Of the matrix that turns a small rotation vector into a point's shift."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintRatios:
    """Measured over nominal length of the check bars."""

    x: float | None = None
    y: float | None = None
    u: float = U_BAR_MM / 100.0
    """Standard uncertainty of a ratio."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """A camera over a sheet of a certain print scale and curl."""

    camera: Camera
    common: float = 0.0
    """Logarithm of the print's mean scale."""
    stretch: float = 0.0
    """Logarithm of its scale along x over that along y."""
    curl_mm: Array
    """(3,), height of the paper is `curl . (x^2, x y, y^2)`, x and y in half widths."""

    @property
    def log_scale(self) -> Array:
        """Logarithm (2,) of the print's scale along x and y."""
        return self.common + self.stretch * np.array([0.5, -0.5])

    def corners_mm(self, nominal_mm: Array, half_width_mm: float) -> Array:
        """Where nominal sheet points (n, 2) truly lie, (n, 3) mm."""
        flat = nominal_mm * np.exp(self.log_scale)
        return np.column_stack([flat, _powers(nominal_mm, half_width_mm) @ self.curl_mm])

    def moved(self, step: Array) -> "Model":
        """Return the model a small step (13 or 16 parameters) away."""
        camera = self.camera
        turn = np.asarray(cv2.Rodrigues(step[TURN])[0], dtype=np.float64)
        grow = float(np.exp(step[FOCAL]))
        moved = replace(
            camera,
            rotation=turn @ camera.rotation,
            # A longer lens stands further away and sees the same distortion in narrower angles:
            # what acts together moves together.
            position=grow * camera.position + step[SHIFT],
            f_px=camera.f_px * grow,
            cx=camera.cx + float(step[CENTRE_X]),
            cy=camera.cy + float(step[CENTRE_Y]),
            k1=camera.k1 * grow**2 + float(step[K1]),
            k2=camera.k2 * grow**4 + float(step[K2]),
        )
        curl = self.curl_mm + step[CURL] if len(step) == ALL_PARAMETERS else self.curl_mm
        return Model(
            camera=moved,
            common=self.common + float(step[COMMON]),
            stretch=self.stretch + float(step[STRETCH]),
            curl_mm=curl,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What is given: corners on the sheet and in the picture, and what is known beforehand."""

    nominal_mm: Array
    """(n, 2) in the order of the sheet's corners."""
    found_px: Array
    """(n, 2)"""
    half_width_mm: float
    width_px: int
    height_px: int
    f35_mm: float
    u_log_f: float
    """Relative standard uncertainty of the focal length beforehand."""
    bars: PrintRatios

    @property
    def centre_px(self) -> tuple[float, float]:
        """Middle of the picture."""
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2

    @property
    def f_px(self) -> float:
        """Focal length expected."""
        return focal_px(self.f35_mm, self.width_px, self.height_px)

    def residuals(self, model: Model) -> Array:
        """Found minus drawn corners (n, 2) px."""
        return self.found_px - model.camera.project(
            model.corners_mm(self.nominal_mm, self.half_width_mm)
        )


def weighted_misfit(
    task: Task, model: Model, weights: Array, sigma: float, parameters: int
) -> Array:
    """Residuals over their uncertainties: corners, priors, bars, rolling."""
    corners = task.residuals(model) * (np.sqrt(weights)[:, None] / sigma)
    return np.concatenate([corners.ravel(), _prior_rows(task, model, parameters)[0]])


def weighted_system(
    task: Task, model: Model, weights: Array, sigma: float, parameters: int
) -> tuple[Array, Array]:
    """What `weighted_misfit` gives, and its slopes."""
    root = np.sqrt(weights)[:, None] / sigma
    corners = task.residuals(model) * root
    slopes = -_draw_slopes(task, model)[..., :parameters] * root[..., None]
    known, known_slopes = _prior_rows(task, model, parameters)
    misfit = np.concatenate([corners.ravel(), known])
    return misfit, np.concatenate([slopes.reshape(-1, parameters), known_slopes])


def _draw_slopes(task: Task, model: Model) -> Array:
    """Slopes (n, 2, 16) of the drawn corners by the step of `Model.moved`."""
    camera = model.camera
    points = model.corners_mm(task.nominal_mm, task.half_width_mm)
    local = (points - camera.position) @ camera.rotation.T
    depth = local[:, 2]
    uv = local[:, :2] / depth[:, None]
    r2 = np.sum(uv * uv, axis=1)
    lens = 1.0 + r2 * (camera.k1 + camera.k2 * r2)
    bend = 2.0 * (camera.k1 + 2.0 * camera.k2 * r2)
    by_uv = lens[:, None, None] * np.eye(2) + bend[:, None, None] * uv[:, :, None] * uv[:, None, :]
    by_local = np.concatenate([by_uv, -(by_uv @ uv[:, :, None])], axis=2)
    by_local *= (camera.f_px / depth)[:, None, None]
    by_world = by_local @ camera.rotation
    slopes = np.zeros((len(points), 2, ALL_PARAMETERS))
    slopes[..., TURN] = by_local @ _cross_columns(local)
    slopes[..., SHIFT] = -by_world
    widened = lens + r2 * (2.0 * camera.k1 + 4.0 * camera.k2 * r2)
    slopes[..., FOCAL] = camera.f_px * widened[:, None] * uv - by_world @ camera.position
    slopes[:, 0, CENTRE_X] = slopes[:, 1, CENTRE_Y] = 1.0
    slopes[..., K1] = camera.f_px * r2[:, None] * uv
    slopes[..., K2] = slopes[..., K1] * r2[:, None]
    along_x, along_y = (by_world[..., axis] * points[:, None, axis] for axis in (0, 1))
    slopes[..., COMMON] = along_x + along_y
    slopes[..., STRETCH] = (along_x - along_y) / 2
    heights = _powers(task.nominal_mm, task.half_width_mm)
    slopes[..., CURL] = by_world[..., 2, None] * heights[:, None, :]
    return slopes


def _cross_columns(local: Array) -> Array:
    """Matrices (n, 3, 3) that turn a small rotation vector into the shift of each point."""
    columns = np.zeros((len(local), 3, 3))
    columns[:, 0, 1] = columns[:, 1, 0] = local[:, 2]
    columns[:, 0, 2] = columns[:, 2, 0] = local[:, 1]
    columns[:, 1, 2] = columns[:, 2, 1] = local[:, 0]
    return columns * CROSS_SIGNS


def _powers(nominal_mm: Array, half_width_mm: float) -> Array:
    x, y = nominal_mm.T / half_width_mm
    return np.column_stack([x * x, x * y, y * y])


def _prior_rows(task: Task, model: Model, parameters: int) -> tuple[Array, Array]:
    """Rows of what is known beforehand: misfit (m,) and slopes (m, parameters)."""
    camera, bars = model.camera, task.bars
    centre = U_CENTRE * float(np.hypot(task.width_px, task.height_px))
    both = bars.x is not None and bars.y is not None
    rows = [
        ({FOCAL: 1.0}, float(np.log(camera.f_px / task.f_px)), task.u_log_f),
        ({CENTRE_X: 1.0}, camera.cx - task.centre_px[0], centre),
        ({CENTRE_Y: 1.0}, camera.cy - task.centre_px[1], centre),
        ({K1: 1.0, FOCAL: 2.0 * camera.k1}, camera.k1, U_K1),
        ({K2: 1.0, FOCAL: 4.0 * camera.k2}, camera.k2, U_K2),
        ({STRETCH: 1.0}, model.stretch, U_OPEN if both else U_STRETCH),
    ]
    if bars.x is None and bars.y is None:
        rows.append(({COMMON: 1.0}, model.common, U_PRINT))
    for bar, log_scale, sign in zip((bars.x, bars.y), model.log_scale, (0.5, -0.5), strict=True):
        if bar is not None:
            rows.append(({COMMON: 1.0, STRETCH: sign}, float(log_scale - np.log(bar)), bars.u))
    if parameters == ALL_PARAMETERS:
        for index, height in enumerate(model.curl_mm, start=FLAT_PARAMETERS):
            rows.append(({index: 1.0}, float(height), U_CURL_MM))
        cupping, slopes = _cupping(model.curl_mm)
        rows.append((dict(enumerate(slopes, start=FLAT_PARAMETERS)), cupping, U_ROLL_MM))
    misfit, jacobian = np.zeros(len(rows)), np.zeros((len(rows), parameters))
    for row, (slopes_by, value, u) in enumerate(rows):
        misfit[row] = value / u
        for column, slope in slopes_by.items():
            jacobian[row, column] = slope / u
    return misfit, jacobian


def _cupping(curl: Array) -> tuple[float, list[float]]:
    """Smaller principal curvature of the sheet, zero for a rolled one, and its slopes."""
    mean, half = (curl[0] + curl[2]) / 2, (curl[0] - curl[2]) / 2
    reach = max(float(np.hypot(half, curl[1] / 2)), 1e-9)
    sign = -1.0 if mean > 0 else 1.0
    lean, twist = sign * half / (2 * reach), sign * curl[1] / (4 * reach)
    return float(mean + sign * reach), [0.5 + lean, twist, 0.5 - lean]
