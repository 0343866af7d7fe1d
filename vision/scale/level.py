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
U_DISC_OVAL = 0.002
"""Oval amplitude that a struck coin's traced rim shows by chance, or for its shadow."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """Something round seen in the picture."""

    points_px: Array
    """(m, 2) points all around it, at equal steps of angle."""
    height_mm: float
    """Height over the table at which it is round."""
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
    shapes depend on the directions of the rays alone. Without anything round the priors stand.
    """
    start = np.array([view.tilt_x, view.tilt_y, view.k1])
    prior = np.array([U_TILT, U_TILT, U_K1])

    def misfit(q: Array) -> Array:
        camera = _camera(view, q)
        ovals = [
            _oval(camera.to_plane(thing.points_px, thing.height_mm - 100.0)) / thing.u_oval
            for thing in rounds
        ]
        return np.concatenate([np.empty(0), *ovals])

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


def _oval(points: Array) -> Array:
    """Amplitudes (2,) of the second harmonic of a closed curve's radius, relative to its mean."""
    middle = points.mean(axis=0)
    for _ in range(3):
        offset = points - middle
        radius = np.hypot(offset[:, 0], offset[:, 1])
        angle = np.arctan2(offset[:, 1], offset[:, 0])
        weight = np.abs(np.gradient(np.unwrap(angle)))
        weight = weight / weight.sum()
        first = 2.0 * np.array(
            [np.sum(weight * radius * np.cos(angle)), np.sum(weight * radius * np.sin(angle))]
        )
        middle = middle + first
    mean = np.sum(weight * radius)
    return np.array(
        [
            2.0 * np.sum(weight * radius * np.cos(2.0 * angle)) / mean,
            2.0 * np.sum(weight * radius * np.sin(2.0 * angle)) / mean,
        ]
    )
