"""Camera, lens, print scale and curl from the sheet's corners: one adjustment with priors.

What the corners cannot tell (the common scale of the print, the focal length of a photo taken
straight down) is held by its prior, and the covariance carries that prior's width through to
every length.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scale.camera import Camera, focal_px

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

USUAL_F35_MM = 26.0
"""Main lens of most phones (24 to 28 mm), taken where the file names none."""

U_LOG_F_KNOWN = 0.025
"""Of a focal length from the file: it is rounded to a millimetre (1.1 % at 26 mm), and focusing
on 0.2 m lengthens the lens by 1 to 3 %."""

U_LOG_F_ASSUMED = 0.5
"""Of the usual lens: one standard deviation reaches 16 to 43 mm, two reach a 3x lens."""

USUAL_LENSES = (1.0, 2.0, 3.0)
"""Focal lengths, in usual ones, that are tried where the file names none."""

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

CURL_GAIN = 0.8
"""Curl is believed where it shrinks the spread of the corners to this share."""

CURL_LIKENESS = 0.3
"""Correlation of neighbouring corners' residuals from which curl is tried: what bends leaves
neighbours off the same way, what is only noisy does not."""

FLOOR_PX = 0.02
"""Least spread of a corner taken for granted, so that few good corners are not overrated."""

CUT_SIGMAS = 4.0
CUT_FLOOR_PX = 0.15
"""A corner further off than both is left out: something lies on it."""


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
            # Height and focal length act together: a longer lens stands further away.
            position=grow * camera.position + step[SHIFT],
            f_px=camera.f_px * grow,
            cx=camera.cx + float(step[CENTRE_X]),
            cy=camera.cy + float(step[CENTRE_Y]),
            k1=camera.k1 + float(step[K1]),
            k2=camera.k2 + float(step[K2]),
        )
        curl = self.curl_mm + step[CURL] if len(step) == ALL_PARAMETERS else self.curl_mm
        return Model(
            camera=moved,
            common=self.common + float(step[COMMON]),
            stretch=self.stretch + float(step[STRETCH]),
            curl_mm=curl,
        )


TURN, SHIFT = slice(0, 3), slice(3, 6)
FOCAL, CENTRE_X, CENTRE_Y, K1, K2, COMMON, STRETCH = range(6, 13)
CURL = slice(13, 16)
FLAT_PARAMETERS, ALL_PARAMETERS = 13, 16


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pose:
    """Outcome of the adjustment."""

    model: Model
    residuals_px: Array
    """(n, 2), found minus drawn."""
    used: Mask
    sigma_px: float
    """Standard deviation of a used corner's coordinate."""
    cost: float
    """Minus twice the logarithm of the likelihood, but for a constant."""
    covariance: Array
    """Of a step of the model."""

    @property
    def camera(self) -> Camera:
        """The adjusted camera."""
        return self.model.camera

    def spread_of(self, values: Callable[[Model], Array]) -> Array:
        """Standard uncertainties of values that follow from the model (first order)."""
        deviations = np.sqrt(np.diag(self.covariance))
        slopes = []
        for index, deviation in enumerate(deviations):
            step = np.zeros(len(deviations))
            step[index] = 0.05 * deviation
            change = values(self.model.moved(step)) - values(self.model.moved(-step))
            slopes.append(change / (0.1 * deviation))
        jacobian = np.stack(slopes)
        spread: Array = np.sqrt(np.einsum("ik,ij,jk->k", jacobian, self.covariance, jacobian))
        return spread


def solve_pose(task: Task, *, quick: bool = False) -> Pose:
    """Adjust everything to the corners; curl is added only where a flat sheet does not fit.

    Parameters
    ----------
    task : at least 8 corners, spread over the frame
    quick : take the likeliest start only, and no curl

    Returns
    -------
    Pose of least cost over the starts: a flat target seen with little perspective allows two
    poses, and a photo without a focal length several lenses.
    """
    starts = _starts(task)
    best = _adjust(task, starts[0], curled=False)
    if quick:
        return best
    for start in starts[1:]:
        other = _adjust(task, start, curled=False)
        best = other if other.cost < best.cost else best
    return _try_curl(task, best)


def _starts(task: Task) -> list[Model]:
    """Cameras that a lens without distortion would need, likeliest first.

    Both mirror solutions where the focal length is known; else one for each usual lens.
    """
    if task.u_log_f < U_LOG_F_ASSUMED:
        return _flat_poses(task, task.f_px)
    lenses = [_flat_poses(task, task.f_px * share)[0] for share in USUAL_LENSES]
    return sorted(lenses, key=lambda model: float(np.sum(task.residuals(model) ** 2)))


def _flat_poses(task: Task, f_px: float) -> list[Model]:
    cx, cy = task.centre_px
    matrix = np.array([[f_px, 0.0, cx], [0.0, f_px, cy], [0.0, 0.0, 1.0]])
    flat = np.column_stack([task.nominal_mm, np.zeros(len(task.nominal_mm))])
    _, turns, shifts, _ = cv2.solvePnPGeneric(
        flat, task.found_px[:, None, :], matrix, None, flags=cv2.SOLVEPNP_IPPE
    )
    poses = []
    for turn, shift in zip(turns, shifts, strict=True):
        rotation = np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64)
        position = -rotation.T @ np.asarray(shift, dtype=np.float64).ravel()
        camera = Camera(rotation=rotation, position=position, f_px=f_px, cx=cx, cy=cy)
        poses.append(Model(camera=camera, curl_mm=np.zeros(3)))
    return poses


def _try_curl(task: Task, flat: Pose) -> Pose:
    """Let the sheet roll about four axes; keep the best where it explains the misfit."""
    if flat.sigma_px <= 1.5 * FLOOR_PX or _likeness(task, flat) < CURL_LIKENESS:
        return flat
    rolls = ([1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.5, 1.0, 0.5], [0.5, -1.0, 0.5])
    tried = [
        _adjust(task, replace(flat.model, curl_mm=height * np.array(roll)), curled=True)
        for roll in rolls
        for height in (0.5, -0.5)
    ]
    best = min(tried, key=lambda pose: pose.sigma_px)
    return best if best.sigma_px < CURL_GAIN * flat.sigma_px else flat


def _likeness(task: Task, pose: Pose) -> float:
    """Correlation of the residuals of corners that are neighbours along the frame."""
    places, residuals = task.nominal_mm[pose.used], pose.residuals_px[pose.used]
    order = np.argsort(np.arctan2(places[:, 1], places[:, 0]))
    ordered = residuals[order]
    return float(np.sum(ordered * np.roll(ordered, 1, axis=0)) / np.sum(ordered**2))


def _adjust(task: Task, start: Model, *, curled: bool) -> Pose:
    """Weigh down what is off while settling, then cut it and settle again."""
    parameters = ALL_PARAMETERS if curled else FLAT_PARAMETERS
    model, weights = start, np.ones(len(task.nominal_mm))
    sigma, used = 1.0, weights > 0
    # A pose that is still off would rather lengthen the lens than turn: hold it at first.
    f35_mm = task.f35_mm * start.camera.f_px / task.f_px
    held = replace(task, f35_mm=f35_mm, u_log_f=min(task.u_log_f, U_LOG_F_KNOWN))
    for given in [held] * SETTLE_ROUNDS + [task] * SETTLE_ROUNDS:
        residuals = task.residuals(model)
        distance = np.hypot(residuals[:, 0], residuals[:, 1])
        sigma = max(float(np.median(distance)) / MEDIAN_LENGTH, FLOOR_PX)
        weights = 1.0 / np.sqrt(1.0 + (distance / (2.0 * sigma)) ** 2)
        model = _descend(given, model, weights, sigma, parameters, steps=3)
    for _ in range(CUT_ROUNDS):
        sigma, used = _spread(task.residuals(model), parameters)
        model = _descend(task, model, used.astype(np.float64), sigma, parameters, steps=20)
    residuals = task.residuals(model)
    misfit, jacobian = _system(task, model, used.astype(np.float64), sigma, parameters)
    return Pose(
        model=model,
        residuals_px=residuals,
        used=used,
        sigma_px=sigma,
        cost=float(misfit @ misfit + 4.0 * np.sum(used) * np.log(sigma)),
        covariance=np.linalg.inv(jacobian.T @ jacobian),
    )


SETTLE_ROUNDS = 4
MOST_STEP = 0.2
"""Radians of turn, or logarithm of the focal length, in one step."""
CUT_ROUNDS = 3

MEDIAN_LENGTH = 1.1774
"""Median length of a vector of two standard normal coordinates: sqrt(2 ln 2)."""


def _spread(residuals: Array, parameters: int) -> tuple[float, Mask]:
    """Spread of a coordinate from the good corners, and which corners are good."""
    distance = np.hypot(residuals[:, 0], residuals[:, 1])
    rough = float(np.median(distance)) / MEDIAN_LENGTH
    used: Mask = distance < max(CUT_SIGMAS * rough, CUT_FLOOR_PX)
    freedom = max(2 * int(np.sum(used)) - parameters, 4)
    return max(float(np.sqrt(np.sum(residuals[used] ** 2) / freedom)), FLOOR_PX), used


def _descend(
    task: Task, model: Model, weights: Array, sigma: float, parameters: int, *, steps: int
) -> Model:
    """Levenberg-Marquardt steps that lower the weighted misfit."""
    damping = 1e-4
    misfit, jacobian = _system(task, model, weights, sigma, parameters)
    cost = float(misfit @ misfit)
    for _ in range(steps):
        normal, slope = jacobian.T @ jacobian, jacobian.T @ misfit
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), slope)
        step *= min(1.0, MOST_STEP / float(np.max(np.abs([*step[TURN], step[FOCAL]]))))
        tried = model.moved(step)
        next_misfit, next_jacobian = _system(task, tried, weights, sigma, parameters)
        next_cost = float(next_misfit @ next_misfit)
        if not next_cost < cost:
            damping = max(10.0 * damping, 1e-3)
            continue
        settled = cost - next_cost < 1e-7 * cost
        model, misfit, jacobian, cost = tried, next_misfit, next_jacobian, next_cost
        damping = 0.1 * damping
        if settled:
            break
    return model


def _system(
    task: Task, model: Model, weights: Array, sigma: float, parameters: int
) -> tuple[Array, Array]:
    """Residuals over their uncertainties, and their slopes: corners, priors, bars, rolling."""
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
    slopes[..., FOCAL] = camera.f_px * lens[:, None] * uv - by_world @ camera.position
    slopes[:, 0, CENTRE_X] = slopes[:, 1, CENTRE_Y] = 1.0
    slopes[..., K1] = camera.f_px * r2[:, None] * uv
    slopes[..., K2] = slopes[..., K1] * r2[:, None]
    along_x, along_y = (by_world[..., axis] * points[:, None, axis] for axis in (0, 1))
    slopes[..., COMMON] = along_x + along_y
    slopes[..., STRETCH] = (along_x - along_y) / 2
    powers = _powers(task.nominal_mm, task.half_width_mm)
    slopes[..., CURL] = by_world[..., 2, None] * powers[:, None, :]
    return slopes


def _cross_columns(local: Array) -> Array:
    """Matrices (n, 3, 3) that turn a small rotation vector into the shift of each point."""
    x, y, z = local.T
    zero = np.zeros_like(x)
    rows = [[zero, z, -y], [-z, zero, x], [y, -x, zero]]
    return np.stack([np.stack(row, axis=1) for row in rows], axis=1)


def _powers(nominal_mm: Array, half_width_mm: float) -> Array:
    x, y = nominal_mm[:, 0] / half_width_mm, nominal_mm[:, 1] / half_width_mm
    return np.stack([x * x, x * y, y * y], axis=1)


def _prior_rows(task: Task, model: Model, parameters: int) -> tuple[Array, Array]:
    """Rows of what is known beforehand: misfit (m,) and slopes (m, parameters)."""
    camera, bars = model.camera, task.bars
    centre = U_CENTRE * float(np.hypot(task.width_px, task.height_px))
    both = bars.x is not None and bars.y is not None
    rows = [
        ({FOCAL: 1.0}, float(np.log(camera.f_px / task.f_px)), task.u_log_f),
        ({CENTRE_X: 1.0}, camera.cx - task.centre_px[0], centre),
        ({CENTRE_Y: 1.0}, camera.cy - task.centre_px[1], centre),
        ({K1: 1.0}, camera.k1, U_K1),
        ({K2: 1.0}, camera.k2, U_K2),
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
