"""The ellipse nearest to points: a coin's rim is a circle, and a circle is drawn as an ellipse."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

Array = NDArray[np.float64]

GRID = 24
"""Angles tried for the foot of each point before Newton's steps."""
STEPS = 8


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
    Starts from the circle through the points' mean and from a direct algebraic guess and keeps the
    better end. On the eight points of Gander, Golub and Strebel it reaches their published best
    fit (`tests/vision/test_ellipse.py`).

    References
    ----------
    .. [1] W. Gander, G. H. Golub, R. Strebel, "Least-squares fitting of circles and ellipses",
       BIT 34 (1994), 558-578. doi:10.1007/BF01934268
    """
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 6:
        raise ValueError(f"points must be (n, 2) with n >= 6, got {points.shape}")
    middle = points.mean(axis=0)
    spread = np.sqrt(2.0 * np.linalg.eigvalsh(np.cov((points - middle).T)))[::-1]
    ends = []
    for turn in np.linspace(0.0, np.pi, 4, endpoint=False):
        start = np.array([*middle, spread[0], max(spread[1], 1e-3 * spread[0]), turn])
        end = least_squares(_distances, start, args=(points,), xtol=1e-14, ftol=1e-14)
        ends.append((float(np.sum(end.fun**2)), np.asarray(end.x, np.float64)))
    squares, best = min(ends, key=lambda end: end[0])
    x, y, first, second, angle = (float(value) for value in best)
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


def _drawn(parameters: Array, t: Array) -> Array:
    x, y, first, second, angle = parameters
    u, v = first * np.cos(t), second * np.sin(t)
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([x + cos * u - sin * v, y + sin * u + cos * v], axis=-1)


def _distances(parameters: Array, points: Array) -> Array:
    """Signed distances (n,) of points from an ellipse, positive outside."""
    x, y, first, second, angle = parameters
    cos, sin = np.cos(angle), np.sin(angle)
    u = cos * (points[:, 0] - x) + sin * (points[:, 1] - y)
    v = -sin * (points[:, 0] - x) + cos * (points[:, 1] - y)
    grid = np.linspace(0.0, 2.0 * np.pi, GRID, endpoint=False)
    squares = (u[:, None] - first * np.cos(grid)) ** 2 + (v[:, None] - second * np.sin(grid)) ** 2
    t = grid[squares.argmin(axis=1)]
    for _ in range(STEPS):
        c, s = np.cos(t), np.sin(t)
        slope = (u - first * c) * first * s - (v - second * s) * second * c
        bend = first * first * s * s + second * second * c * c
        bend = bend + (u - first * c) * first * c + (v - second * s) * second * s
        t = t - slope / np.where(np.abs(bend) < 1e-12, 1e-12, np.abs(bend))
    du, dv = u - first * np.cos(t), v - second * np.sin(t)
    outside = (u / first) ** 2 + (v / second) ** 2 > 1.0
    distances: Array = np.where(outside, 1.0, -1.0) * np.hypot(du, dv)
    return distances
