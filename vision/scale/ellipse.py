"""The ellipse nearest to points: a coin's rim is a circle, and a circle is drawn as an ellipse."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRID = 24
"""Angles tried for the foot of each point before Newton's steps."""
FOOT_STEPS = 8
MOST_STEPS, SETTLED = 200, 1e-10
"""Steps of the fit, and the relative change of a length or of the sum of squares that ends it."""
DAMPING, DAMPING_MOST = 1e-3, 1e12
"""Levenberg's damping at first, and the one at which no step helps any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ellipse:
    """An ellipse; lengths in the unit of its points, angle from +x towards +y."""

    x: float
    y: float
    semi_major: float
    semi_minor: float
    angle: float
    """Of the major axis, in [0, pi)."""
    sum_squares: float
    """Of the points' distances."""

    @property
    def radius(self) -> float:
        """Radius of the circle of the same area."""
        return float(np.sqrt(self.semi_major * self.semi_minor))

    def points(self, count: int) -> Array:
        """Points (count, 2) all around."""
        t = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
        return _drawn(np.array(self._parameters()), t)

    def _parameters(self) -> tuple[float, float, float, float, float]:
        return self.x, self.y, self.semi_major, self.semi_minor, self.angle


def fit_ellipse(points: Array) -> Ellipse:
    """Fit the ellipse with the least sum of squared distances (geometric fit).

    Parameters
    ----------
    points : (n, 2), n at least 6, most of the way around

    Notes
    -----
    Levenberg-Marquardt steps from the ellipse of the same second moments; a point's distance
    changes with the ellipse as its foot moves along the normal there. On the eight points of
    Gander, Golub and Strebel it reaches their published best fit (`tests/vision/test_ellipse.py`).

    References
    ----------
    .. [1] W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles and ellipses",
       BIT 34 (1994), 558-578. doi:10.1007/BF01934268
    """
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 6:
        raise ValueError(f"points must be (n, 2) with n >= 6, got {points.shape}")
    here = _alike(points)
    left, slopes = _distances(here, points)
    squares, damping = float(left @ left), DAMPING
    for _ in range(MOST_STEPS):
        normal = slopes.T @ slopes
        damped = normal + damping * np.diag(np.diag(normal)) + 1e-12 * np.eye(5)
        step = np.linalg.solve(damped, -slopes.T @ left)
        tried = here + step
        next_left, next_slopes = _distances(tried, points)
        next_squares = float(next_left @ next_left)
        if not next_squares < squares:
            damping *= 10.0
            if damping > DAMPING_MOST:
                break
            continue
        settled = squares - next_squares <= SETTLED * squares or np.all(
            np.abs(step[:4]) <= SETTLED * np.abs(here[2])
        )
        here, left, slopes, squares = tried, next_left, next_slopes, next_squares
        damping *= 0.1
        if settled:
            break
    x, y, first, second, angle = (float(value) for value in here)
    first, second = abs(first), abs(second)
    if second > first:
        first, second, angle = second, first, angle + np.pi / 2.0
    return Ellipse(
        x=x,
        y=y,
        semi_major=first,
        semi_minor=second,
        angle=float(angle % np.pi),
        sum_squares=squares,
    )


def _alike(points: Array) -> Array:
    """Parameters (5,) of the ellipse whose outline has the points' mean and second moments."""
    middle = points.mean(axis=0)
    spread, axes = np.linalg.eigh(np.cov((points - middle).T))
    second, first = np.sqrt(2.0 * np.maximum(spread, 0.0))
    angle = np.arctan2(axes[1, 1], axes[0, 1])
    return np.array([*middle, first, max(second, 1e-3 * first), angle])


def _drawn(parameters: Array, t: Array) -> Array:
    x, y, first, second, angle = parameters
    u, v = first * np.cos(t), second * np.sin(t)
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([x + cos * u - sin * v, y + sin * u + cos * v], axis=-1)


def _distances(parameters: Array, points: Array) -> tuple[Array, Array]:
    """Signed distances (n,) of points from an ellipse, positive outside, and slopes (n, 5)."""
    x, y, first, second, angle = parameters
    cos, sin = np.cos(angle), np.sin(angle)
    u = cos * (points[:, 0] - x) + sin * (points[:, 1] - y)
    v = -sin * (points[:, 0] - x) + cos * (points[:, 1] - y)
    c, s = _feet(u, v, first, second)
    out_u, out_v = second * c, first * s
    length = np.hypot(out_u, out_v)
    out_u, out_v = out_u / length, out_v / length
    distances: Array = out_u * (u - first * c) + out_v * (v - second * s)
    slopes = [
        sin * out_v - cos * out_u,
        -sin * out_u - cos * out_v,
        -out_u * c,
        -out_v * s,
        out_u * v - out_v * u,
    ]
    return distances, np.stack(slopes, axis=-1)


def _feet(u: Array, v: Array, first: float, second: float) -> tuple[Array, Array]:
    """Cosine and sine (n,) of the ellipse's own angle at the point nearest to each (u, v)."""
    grid = np.linspace(0.0, 2.0 * np.pi, GRID, endpoint=False)
    squares = (u[:, None] - first * np.cos(grid)) ** 2 + (v[:, None] - second * np.sin(grid)) ** 2
    t = grid[squares.argmin(axis=1)]
    for _ in range(FOOT_STEPS):
        c, s = np.cos(t), np.sin(t)
        slope = (u - first * c) * first * s - (v - second * s) * second * c
        bend = first * first * s * s + second * second * c * c
        bend = bend + (u - first * c) * first * c + (v - second * s) * second * s
        step = slope / np.maximum(np.abs(bend), 1e-12)
        t = t - step
        if np.abs(step).max() < SETTLED:
            break
    return np.cos(t), np.sin(t)
