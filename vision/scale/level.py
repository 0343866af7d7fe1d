"""Tilt and lens from roundness: rings and coins are round, so what looks oval tells the view.

One coin in the middle of the picture shows a tilt of less than 3 degrees hardly at all. Many rings
spread over the picture do: what a tilt or a lens does to circles changes over the picture in a way
that rings of any size, each a little oval by itself, cannot imitate together. Rings also come in
sizes, and those of one size, as they fell, are on average as large on one side as on the other.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from vision.scale.camera import Camera, looking_down
from vision.scale.coin import View

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

U_TILT = 0.05
"""Tilt (radians, about each axis) of a phone held by eye over a table, before looking."""
U_K1 = 0.012
"""First lens term of a phone picture, before looking: 0.5 % at the corner after the phone's own
correction."""
ROUND_POINTS = 16
"""Points of an outline that tell its roundness: equal steps make the second moments exact."""
U_DISC_OVAL = 0.002
"""Oval amplitude that a struck coin's traced rim shows by chance, or for its shadow."""
U_ALIKE = 0.003
"""By how much (ln) rings of one size differ at least; what they show is taken where it is more."""
U_TREND = 0.009
"""Change of the mean size of such rings across the table, by one height of the camera: rings of two
bags, one laid to the left and one to the right. 0.3 % from the middle to the edge of a picture."""
SIZE_STEP = 0.012
"""Rings belong to one size as long as the next larger one differs by less than this (ln)."""
FAMILY_LEAST = 4
"""Rings of one size that say something."""
TENSION_MOST = 4.0
"""Sum of squares, of what shapes and the trend are off by in their uncertainties, from which sizes
are left out: the 86 % point of chi-squared with two degrees of freedom. Then the rings were laid in
an order of size."""
DISTANCE = -100.0
"""Where the table is thought to be, seen from the lens; any distance would do."""
ROBUST = 1.5
"""Residual, in standard uncertainties, from which a shape or a size loses influence; as in
algorithm A of ISO 13528 (from memory)."""
STEP = 1e-7
"""Step of the numerical slopes."""
BENT = 2
"""Steps of a fit before each of which the slopes are taken anew; then they hardly change."""
STEPS_MOST, SETTLED = 30, 1e-3
"""Most steps of a fit, and how short one is, in standard uncertainties, that ends it."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Round:
    """Something round seen in the picture."""

    points_px: Array
    """(ROUND_POINTS, 2) points all around it, at equal steps of angle."""
    u_oval: float
    """Standard uncertainty of its own roundness."""
    is_ring: bool = True
    """Whether others of its size may lie beside it; a coin lies alone."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levelled:
    """A view whose tilt and lens fit the round things in it."""

    view: View
    spread: tuple[View, ...]
    """Views one standard uncertainty away, along independent directions."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """Tilt about x and y and the lens term, and their covariance."""

    q: Array
    covariance: Array


def level(view: View, rounds: list[Round]) -> Levelled:
    """Find the tilt and the lens term that make everything round, and rings of one size alike.

    Least squares of the second harmonics of all shapes brought back to the table, with robust
    weights (a sprung ring is oval by itself) and the priors above; then, if four rings or more are
    of one size, of their sizes as well. Distances do not enter: shapes and ratios of sizes depend
    on the directions of the rays alone, at whatever height a thing is round. Without anything
    round the priors stand.
    """
    points = np.reshape([thing.points_px for thing in rounds], (-1, ROUND_POINTS, 2))
    u_oval = np.array([thing.u_oval for thing in rounds])
    is_ring = np.array([thing.is_ring for thing in rounds], bool)
    found = by_shapes = _by_shapes(view, points, u_oval)
    table = _camera(view, by_shapes.q).to_plane(points[is_ring], DISTANCE)
    family = _families(np.log(_sizes(table)))
    if np.any(family >= 0):
        known = np.nonzero(is_ring)[0][family >= 0]
        joint, tension = _by_sizes(view, points[known], family[family >= 0], by_shapes)
        found = joint if tension < TENSION_MOST else by_shapes
    size, axes = np.linalg.eigh(found.covariance)
    spread = [found.q + np.sqrt(max(s, 0.0)) * axes[:, k] for k, s in enumerate(size)]
    return Levelled(view=_view(view, found.q), spread=tuple(_view(view, q) for q in spread))


def _by_shapes(view: View, points: Array, u_oval: Array) -> _Found:
    """The view that makes everything round."""
    prior = np.array([U_TILT, U_TILT, U_K1])

    def misfit(q: Array) -> Array:
        return _ovals(_camera(view, q).to_plane(points, DISTANCE)) / u_oval[:, None]

    start = np.array([view.tilt_x, view.tilt_y, view.k1])
    slopes = partial(_slopes, misfit, unknowns=3)
    q, information = _settled(misfit, slopes, start, np.diag(1.0 / prior), np.zeros(3))
    chance = max(1.0, float(np.median(np.abs(misfit(q)))) / 0.6745) if len(points) else 1.0
    covariance = np.asarray(np.linalg.inv(information), np.float64)
    return _Found(q=q, covariance=covariance * chance**2)


def _by_sizes(view: View, points: Array, family: Indices, shapes: _Found) -> tuple[_Found, float]:
    """What shapes said, and the sizes of rings of one size beside it; with the tension of both.

    Unknown are, besides the view, each family's size and a trend of the sizes across the table.
    """
    families = int(family.max()) + 1
    of_family = np.eye(families)[family]

    def seen(q: Array) -> tuple[Array, Array]:
        """Sizes (n,) as ln, and places (n, 2) in heights of the camera."""
        table = _camera(view, q).to_plane(points, DISTANCE)
        return np.log(_sizes(table)), table.mean(axis=1) / DISTANCE

    def off(unknown: Array) -> Array:
        sizes, places = seen(unknown[:3])
        misses: Array = sizes - places @ unknown[3:5] - unknown[5:][family]
        return misses

    before = np.concatenate([shapes.q, np.zeros(2 + families)])
    before[5:] = [np.median(off(before)[family == k]) for k in range(families)]
    by_view = _slopes(off, before, unknowns=3)
    linear = np.concatenate([by_view, -seen(before[:3])[1], -of_family], axis=1)[:, None]
    whiten = np.linalg.cholesky(np.linalg.inv(shapes.covariance)).T
    held = np.zeros((5, len(before)))
    held[:3, :3], held[3:, 3:5] = whiten, np.eye(2) / U_TREND
    unknown, u_alike = before, U_ALIKE
    for _ in range(2):  # how much the rings of one size differ is known after the first

        def misfit(unknown: Array, u_alike: float = u_alike) -> Array:
            return off(unknown)[:, None] / u_alike

        def slopes(unknown: Array, u_alike: float = u_alike) -> Array:
            return linear / u_alike

        unknown, information = _settled(misfit, slopes, unknown, held, before)
        u_alike = max(U_ALIKE, float(np.median(np.abs(off(unknown)))) / 0.6745)
    moved = held @ (unknown - before)
    covariance = np.asarray(np.linalg.inv(information), np.float64)
    return _Found(q=unknown[:3], covariance=covariance[:3, :3]), float(moved @ moved)


def _slopes(misfit: Callable[[Array], Array], at: Array, *, unknowns: int) -> Array:
    """Change (..., unknowns) of a misfit with the first unknowns."""
    here, steps = misfit(at), STEP * np.eye(unknowns, len(at))
    return np.stack([(misfit(at + step) - here) / STEP for step in steps], axis=-1)


def _settled(
    misfit: Callable[[Array], Array],
    slopes: Callable[[Array], Array],
    start: Array,
    held: Array,
    known: Array,
) -> tuple[Array, Array]:
    """Least squares with Huber's weights (iteratively reweighted), by Gauss-Newton steps.

    Parameters
    ----------
    misfit : (n, g) of the unknowns, in standard uncertainties; the g parts of one thing lose their
        influence together
    slopes : (n, g, p) of the misfit
    start : (p,) unknowns to begin with
    held, known : (k, p) and (p,); `held @ (unknown - known)` is the misfit with what was known
        before, in standard uncertainties

    Returns
    -------
    unknown : (p,)
    information : (p, p) inverse of their covariance; what lost influence tells less
    """
    unknown, prior = start, held.T @ held
    for step in range(STEPS_MOST):
        left = misfit(unknown)
        if step < BENT:
            change = slopes(unknown)
            flat = change.reshape(-1, len(start))
        trust = np.minimum(1.0, ROBUST / np.maximum(np.linalg.norm(left, axis=1), 1e-9))
        weight = np.repeat(trust, left.shape[1])
        weighed = flat.T * weight
        normal = weighed @ flat + prior
        move = np.linalg.solve(normal, -weighed @ left.ravel() - prior @ (unknown - known))
        unknown = unknown + move
        if move @ normal @ move < SETTLED**2:
            break
    # of Gauss's errors roots of the weights sum up to what Huber's estimate tells, to a hundredth
    return unknown, (flat.T * np.sqrt(weight)) @ flat + prior


def _families(size: Array) -> Indices:
    """Number (n,) of the family of like sizes (ln) that each belongs to; -1 in too small a one."""
    order = np.argsort(size)
    group = np.concatenate([[0], np.cumsum(np.diff(size[order]) > SIZE_STEP)])[: len(size)]
    count = np.bincount(group, minlength=1)
    number = np.where(count >= FAMILY_LEAST, np.cumsum(count >= FAMILY_LEAST) - 1, -1)
    family = np.full(len(size), -1)
    family[order] = number[group]
    return family


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


def _sizes(points: Array) -> Array:
    """Square root (n,) of the areas inside closed curves (n, m, 2)."""
    ahead = np.roll(points, -1, axis=1)
    cross = points[..., 0] * ahead[..., 1] - ahead[..., 0] * points[..., 1]
    sizes: Array = np.sqrt(np.abs(cross.sum(axis=1)) / 2.0)
    return sizes


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
