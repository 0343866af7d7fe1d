"""Camera, lens, print scale and curl from the sheet's corners: one adjustment with priors.

The covariance carries the width of the priors through to every length.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scale.camera import Camera
from vision.scale.equations import (
    ALL_PARAMETERS,
    FLAT_PARAMETERS,
    FOCAL,
    TURN,
    U_LOG_F_ASSUMED,
    U_LOG_F_KNOWN,
    Model,
    Task,
    weighted_misfit,
    weighted_system,
)

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

USUAL_LENSES = (1.0, 2.0, 3.0)
"""Focal lengths, in usual ones, that are tried where the file names none."""

CURL_GAIN = 0.8
"""Curl is believed where it shrinks the spread of the corners to this share."""

LEAST_CURL_MM = 0.1
"""Height of a curl worth a word; less is within what flat paper does."""

CURL_LIKENESS = 0.3
"""Correlation of neighbouring corners' residuals from which curl is tried: what bends leaves
neighbours off the same way, what is only noisy does not."""

FLOOR_PX = 0.03
"""Least spread of a corner taken for granted: corners scatter by 0.02 px in sharp photos, but what
they have in common (0.01 px) counts as much in the camera's height as all their scatter."""

CUT_SIGMAS = 4.0
CUT_FLOOR_PX = 0.15
"""A corner further off than both is left out: something lies on it."""

SETTLE_ROUNDS = 5
SETTLED = 0.01
"""Relative change of the corners' spread that counts as none."""

MOST_STEP = 0.2
"""Radians of turn, or logarithm of the focal length, in one step."""

PROBE = 0.1
"""Share of a step at which its second derivative is taken."""

BEND_LIMIT = 0.75
"""Largest second order part of a step, over its first order part, that is trusted."""
CUT_ROUNDS = 3

MEDIAN_LENGTH = 1.1774
"""Median length of a vector of two standard normal coordinates: sqrt(2 ln 2)."""


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
    if flat.sigma_px <= FLOOR_PX or _likeness(task, flat) < CURL_LIKENESS:
        return flat
    rolls = ([1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.5, 1.0, 0.5], [0.5, -1.0, 0.5])
    tried = [
        _adjust(task, replace(flat.model, curl_mm=height * np.array(roll)), curled=True)
        for roll in rolls
        for height in (0.5, -0.5)
    ]
    best = min(tried, key=lambda pose: pose.sigma_px)
    bent = float(np.max(np.abs(best.model.curl_mm))) > LEAST_CURL_MM
    return best if bent and best.sigma_px < CURL_GAIN * flat.sigma_px else flat


def _likeness(task: Task, pose: Pose) -> float:
    """Correlation of the residuals of corners that are neighbours along the frame."""
    places, residuals = task.nominal_mm[pose.used], pose.residuals_px[pose.used]
    order = np.argsort(np.arctan2(places[:, 1], places[:, 0]))
    ordered = residuals[order]
    return float(np.sum(ordered * np.roll(ordered, 1, axis=0)) / np.sum(ordered**2))


def _adjust(task: Task, start: Model, *, curled: bool) -> Pose:
    """Weigh down what is off while settling, then cut it and settle again."""
    parameters = ALL_PARAMETERS if curled else FLAT_PARAMETERS
    model = start
    used: Mask = np.zeros(len(task.nominal_mm), dtype=np.bool_)
    # A pose that is still off would rather lengthen the lens than turn: hold it at first.
    f35_mm = task.f35_mm * start.camera.f_px / task.f_px
    held = replace(task, f35_mm=f35_mm, u_log_f=min(task.u_log_f, U_LOG_F_KNOWN))
    for given in (held, task):
        model = _settle(given, model, parameters)
    for _ in range(CUT_ROUNDS):
        before, (sigma, used) = used, _spread(task.residuals(model), parameters)
        model = _descend(task, model, used.astype(np.float64), sigma, parameters, steps=20)
        if np.array_equal(before, used):
            break
    residuals = task.residuals(model)
    misfit, jacobian = weighted_system(task, model, used.astype(np.float64), sigma, parameters)
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian), dtype=np.float64)
    return Pose(
        model=model,
        residuals_px=residuals,
        used=used,
        sigma_px=sigma,
        cost=float(misfit @ misfit + 4.0 * np.sum(used) * np.log(sigma)),
        covariance=covariance,
    )


def _settle(task: Task, model: Model, parameters: int) -> Model:
    """Descend with weights that fall with a corner's distance, until its spread stays."""
    last = np.inf
    for _ in range(SETTLE_ROUNDS):
        residuals = task.residuals(model)
        distance = np.hypot(residuals[:, 0], residuals[:, 1])
        sigma = max(float(np.median(distance)) / MEDIAN_LENGTH, FLOOR_PX)
        if abs(sigma - last) < SETTLED * sigma:
            break
        last = sigma
        weights = 1.0 / np.sqrt(1.0 + (distance / (2.0 * sigma)) ** 2)
        model = _descend(task, model, weights, sigma, parameters, steps=3)
    return model


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
    """Levenberg-Marquardt steps along the bend of the valley that lower the weighted misfit.

    Focal length, height and tilt trade against each other along a narrow curved valley; the second
    derivative along the step follows it (Transtrum and Sethna, "Improvements to the
    Levenberg-Marquardt algorithm", arXiv:1201.5885, section 3).
    """
    damping = 1e-5
    misfit, jacobian = weighted_system(task, model, weights, sigma, parameters)
    cost = float(misfit @ misfit)
    for _ in range(steps):
        normal = jacobian.T @ jacobian
        inverse = np.linalg.inv(normal + damping * np.diag(np.diag(normal)))
        step = _limited(-inverse @ (jacobian.T @ misfit))
        probe = weighted_misfit(task, model.moved(PROBE * step), weights, sigma, parameters)
        second = 2.0 / PROBE * ((probe - misfit) / PROBE - jacobian @ step)
        bend = -0.5 * inverse @ (jacobian.T @ second)
        norms = np.sqrt(np.diag(normal))
        bent = 2.0 * np.linalg.norm(norms * bend) < BEND_LIMIT * np.linalg.norm(norms * step)
        tried = model.moved(_limited(step + bend))
        next_misfit, next_jacobian = weighted_system(task, tried, weights, sigma, parameters)
        next_cost = float(next_misfit @ next_misfit)
        if not (bent and next_cost < cost):
            damping *= 6.0
            continue
        settled = cost - next_cost < 1e-7 * cost
        model, misfit, jacobian, cost = tried, next_misfit, next_jacobian, next_cost
        damping *= 0.2
        if settled:
            break
    return model


def _limited(step: Array) -> Array:
    """Shorten a step that would turn or zoom too far."""
    return step * min(1.0, MOST_STEP / float(np.max(np.abs([*step[TURN], step[FOCAL], 1e-12]))))
