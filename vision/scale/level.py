"""Tilt and lens from roundness: rings and coins are round, so what looks oval tells the view.

One coin in the middle of the picture shows a tilt of less than 3 degrees hardly at all. Many rings
spread over the picture do: what a tilt or a lens does to circles changes over the picture in a way
that rings of any size, each a little oval by itself, cannot imitate together.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vision.scale.camera import Camera, looking_down
from vision.scale.coin import View

Array = NDArray[np.float64]

U_TILT = 0.05
"""Tilt (radians, about each axis) of a phone held by eye over a table, before looking."""
U_K1 = 0.012
"""First lens term of a phone picture, before looking: 0.5 % at the corner after the phone's own
correction."""
ROUND_POINTS = 64
"""Points of an outline that tell its roundness."""
U_DISC_OVAL = 0.002
"""Oval amplitude that a struck coin's traced rim shows by chance, or for its shadow."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """Something round seen in the picture."""

    points_px: Array
    """(ROUND_POINTS, 2) points all around it, at equal steps of angle."""
    u_oval: float
    """Standard uncertainty of its own roundness."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levelled:
    """A view whose tilt and lens fit the round things in it."""

    view: View
    spread: tuple[View, ...]
    """Views one standard uncertainty away, along independent directions."""


def level(view: View, rounds: list[Round]) -> Levelled:
    """Find the tilt and the lens term that make everything round.

    Least squares of the second harmonics of all shapes brought back to the table, with robust
    weights (a sprung ring is oval by itself) and the priors above. Distances do not enter: the
    shapes depend on the directions of the rays alone, at whatever height a thing is round. Without
    anything round the priors stand.
    """
    points = np.reshape([thing.points_px for thing in rounds], (-1, ROUND_POINTS, 2))
    u_oval = np.array([thing.u_oval for thing in rounds])
    start = np.array([view.tilt_x, view.tilt_y, view.k1])
    prior = np.array([U_TILT, U_TILT, U_K1])

    def misfit(q: Array) -> Array:
        ovals = _ovals(_camera(view, q).to_plane(points, -100.0))
        return np.ravel(ovals / u_oval[:, None])

    def robust(q: Array) -> Array:
        shapes = misfit(q)
        size = np.repeat(np.hypot(shapes[::2], shapes[1::2]), 2)
        weight = np.sqrt(np.minimum(1.0, 2.5 / np.maximum(size, 1e-9)))
        return np.concatenate([weight * shapes, q / prior])

    fit = least_squares(robust, start, x_scale=prior)
    found = np.asarray(fit.x, np.float64)
    shapes = misfit(found)
    chance = max(1.0, float(np.median(np.abs(shapes))) / 0.6745) if rounds else 1.0
    covariance = np.linalg.inv(fit.jac.T @ fit.jac) * chance**2
    size, axes = np.linalg.eigh(covariance)
    spread = [found + np.sqrt(max(s, 0.0)) * axes[:, k] for k, s in enumerate(size)]
    return Levelled(view=_view(view, found), spread=tuple(_view(view, q) for q in spread))


def _view(view: View, q: Array) -> View:
    return replace(view, tilt_x=float(q[0]), tilt_y=float(q[1]), k1=float(q[2]))


def _camera(view: View, q: Array) -> Camera:
    return Camera(
        rotation=looking_down(float(q[0]), float(q[1])),
        position=np.zeros(3),
        f_px=view.f_px,
        cx=view.cx,
        cy=view.cy,
        k1=float(q[2]),
    )


def _ovals(points: Array) -> Array:
    """Amplitudes (n, 2) of the second harmonic of closed curves' (n, m, 2) radii, over the mean.

    From the second moments of the polygon inside: for `r = R (1 + a cos 2t + b sin 2t)` the moments
    along x and y differ by 2 a of their sum, and twice the mixed one is 2 b of it (second order).
    """
    points = points - points.mean(axis=1, keepdims=True)
    x, y = points[..., 0], points[..., 1]
    next_x, next_y = np.roll(x, -1, axis=1), np.roll(y, -1, axis=1)
    cross = x * next_y - next_x * y
    area = cross.sum(axis=1) / 2.0
    sum_x, sum_y = x + next_x, y + next_y
    middle_x = np.sum(sum_x * cross, axis=1) / (6.0 * area)
    middle_y = np.sum(sum_y * cross, axis=1) / (6.0 * area)
    along_x = np.sum((sum_x * sum_x - x * next_x) * cross, axis=1) / 12.0 - area * middle_x**2
    along_y = np.sum((sum_y * sum_y - y * next_y) * cross, axis=1) / 12.0 - area * middle_y**2
    mixed = np.sum((sum_x * sum_y + x * y + next_x * next_y) * cross, axis=1) / 24.0
    mixed -= area * middle_x * middle_y
    both = along_x + along_y
    return np.stack([(along_x - along_y) / (2.0 * both), mixed / both], axis=-1)
