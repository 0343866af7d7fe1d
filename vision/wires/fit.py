"""Stretches of wire through the edges that the reader found: width, place, direction, bow."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.rings.edges import in_parts
from vision.rings.fit import EDGE_S, robust_step
from vision.rings.reader import Net, Reading, read_edges
from vision.rings.rows import Rows
from vision.rings.section import ROUND, Section
from vision.rings.unwrap import WIRE, Unwrapped
from vision.scale.camera import Camera
from vision.wires.stretch import ANGLE, BEND, HALF, LENGTH, X, Y, axis_of, evenly, silhouettes

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

ROUNDS = 3
BOW_WIDTHS = 100.0
"""Radius of a bow, in widths of the wire, at one standard deviation before looking: wire off a coil
keeps some of its curve."""
HALF_SHRINK, HALF_GROW = 0.6, 1.5
"""A round changes the width at most by these factors."""
TURN_MOST = 0.12
"""A round turns a stretch at most by this (radians)."""
STARTS = (
    (0.0, 0.0),
    (0.2, -0.2),
    (-0.2, 0.2),
    (0.5, 0.5),
    (-0.5, -0.5),
    (0.0, -0.4),
    (0.4, 0.0),
)
"""Shifts of both sides, in widths, between the starts of a stretch that is read for good. Straight
wire in one-sided light looks the same all along: unlike a ring's, its shadow is told from its dark
side by little, and a wrong start may stand."""
SAME_PLACE, SAME_WIDTH = 0.25, 0.2
"""Readings are of one strip whose axes and whose widths differ less, in widths."""
RIVAL = 0.4
"""Another strip reads as well if it is worth so much of the best."""
STEPS = np.array([1e-4, 1e-5, 1e-4, 1e-6])
"""Of the numerical Jacobian: sideways (mm), angle, half width (mm), bend (1 / mm)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StretchFit(Rows):
    """Fitted stretches and the signs of how well they fit."""

    stretches: Array
    """(n, 6)"""
    residuals: Array
    """(n, 2, 16) edge less silhouette along s: left, right."""
    weight: Array
    """(n, 2, 16) of the edges."""
    expected: Array
    """(n,) likely error of the width in widths, by the reader."""
    apart: Array
    """(n,) standard deviation of the width over readings from several starts, mm; of a single
    reading, how far it moved the width."""
    presence: Array
    """(n,) probability that wire lies there, by the reader."""
    clear: Array
    """(n, 16) share of each sector inside the picture."""
    planes: Picture
    """(n, 6, 16, 144) what the reader saw in the last round."""
    paper: Array
    """(n,) linear light of the table beside each stretch, brightest channel."""
    clipped: Array
    """(n,) share of samples that are overexposed."""
    torn: NDArray[np.bool_]
    """(n,) whether another strip beside it reads as well, from another start."""
    section: Section = ROUND

    def __len__(self) -> int:
        return len(self.stretches)

    @property
    def scatter(self) -> Array:
        """(n,) standard deviation of the residuals, in widths."""
        scatter: Array = self.residuals.std(axis=(1, 2))
        return scatter

    @property
    def width_mm(self) -> Array:
        """(n,) width of the wire as seen from above."""
        return 2.0 * self.stretches[:, HALF]

    @property
    def worth(self) -> Array:
        """(n,) how much speaks for each as wire."""
        doubt = (self.scatter + 0.01) * (self.expected + 0.005)
        worth: Array = (self.presence + 0.02) / doubt
        return worth


def fit_stretches(
    photo: Photo,
    camera: Camera,
    stretches: Array,
    *,
    rounds: int = ROUNDS,
    section: Section = ROUND,
    once: bool = False,
) -> StretchFit:
    """Unwrap, read and refit until both silhouettes stand.

    Parameters
    ----------
    photo : the upright photo
    camera : the camera over the table
    stretches : (n, 6) guesses, off by a few pixels or by a third of the width
    section : the wire's cross-section
    once : read from one end only; half the work, for trials
    """
    fit = _fitted(photo, camera, stretches, section, once=once)
    for _ in range(rounds - 1):
        fit = _fitted(photo, camera, fit.stretches, section, once=once)
    return fit


def _fitted(
    photo: Photo, camera: Camera, stretches: Array, section: Section, *, once: bool
) -> StretchFit:
    """One round of it."""
    lines = silhouettes(camera, stretches, evenly(WIRE.sectors * WIRE.rays), section)
    read = _read if once else _read_both_ways

    def fitted(which: NDArray[np.int64], seen: Unwrapped) -> StretchFit:
        reading, here = read(seen.planes), stretches[which]
        moved, residuals = refit(camera, here, reading, seen.clear, section)
        return StretchFit(
            stretches=moved,
            residuals=residuals,
            weight=reading.weight,
            expected=reading.scale[:, 0],
            apart=2.0 * np.abs(moved[:, HALF] - here[:, HALF]),
            presence=reading.presence,
            clear=seen.clear,
            planes=seen.planes,
            paper=seen.paper,
            clipped=seen.planes[:, 3].mean(axis=(1, 2), dtype=float),
            torn=np.zeros(len(which), bool),
            section=section,
        )

    return in_parts(photo, *lines, WIRE, fitted)


def settled(photo: Photo, camera: Camera, stretches: Array, section: Section = ROUND) -> StretchFit:
    """Read stretches from several starts; the mean of those that find the best one's strip.

    Weights go by the error that the reader expects; what they differ by is in `apart`.
    """
    count = len(stretches)
    starts = np.concatenate([_beside(stretches, *shift) for shift in STARTS])
    each = fit_stretches(photo, camera, starts, rounds=2, section=section)
    worth = each.worth.reshape(-1, count)
    found = each.chosen(worth.argmax(axis=0) * count + np.arange(count))
    best = found.stretches
    there = each.stretches.reshape(-1, count, best.shape[1])
    off = np.hypot(there[..., X] - best[:, X], there[..., Y] - best[:, Y]) / found.width_mm
    same = (off < SAME_PLACE) & (np.abs(there[..., HALF] / best[:, HALF] - 1.0) < SAME_WIDTH)
    weight = same / each.expected.reshape(-1, count) ** 2
    weight /= weight.sum(axis=0)
    mean = best.copy()
    for column in (X, Y, HALF):
        mean[:, column] = np.sum(weight * there[..., column], axis=0)
    squares = np.sum(weight * (there[..., HALF] - mean[:, HALF]) ** 2, axis=0)
    return replace(
        found,
        stretches=mean,
        apart=2.0 * np.sqrt(squares),
        torn=np.any(~same & (worth > RIVAL * worth.max(axis=0)), axis=0),
    )


def _beside(stretches: Array, left: float, right: float) -> Array:
    """The stretches with their sides moved aside by so many widths."""
    width = 2.0 * stretches[:, HALF]
    move = np.zeros((len(stretches), 4))
    move[:, 0], move[:, 2] = width * (left + right) / 2.0, width * (right - left) / 2.0
    return _moved(stretches, move)


def _read(planes: Picture) -> Reading:
    return read_edges(planes, Net.WIRE)


def _read_both_ways(planes: Picture) -> Reading:
    """Read a stretch from either end and take the mean: wire has no inside and no outside."""
    one = _read(planes)
    other = _read(np.ascontiguousarray(planes[:, :, ::-1, ::-1]))
    return Reading(
        edges=(one.edges + 1.0 - other.edges[:, ::-1, ::-1]) / 2.0,
        weight=np.sqrt(one.weight * other.weight[:, ::-1, ::-1]),
        scale=np.sqrt(one.scale * other.scale),
        presence=(one.presence + other.presence) / 2.0,
    )


def refit(
    camera: Camera, stretches: Array, reading: Reading, clear: Array, section: Section = ROUND
) -> tuple[Array, Array]:
    """Move each stretch so that its silhouettes pass the edges read beside it; as for rings."""
    jacobian, _, _ = _jacobian(camera, stretches, section)
    target = reading.edges - np.array([0.0, 1.0])[:, None]
    base = reading.weight * (clear[:, None, :] > 0.99)
    count = len(stretches)
    prior, here = np.zeros((count, 4)), np.zeros((count, 4))
    prior[:, 3] = (EDGE_S * BOW_WIDTHS * 2.0 * stretches[:, HALF]) ** 2
    here[:, 3] = stretches[:, BEND]
    move, left = robust_step(
        jacobian.reshape(count, 2 * WIRE.sectors, 4),
        target.reshape(count, 2 * WIRE.sectors),
        base.reshape(count, 2 * WIRE.sectors),
        prior,
        here,
    )
    return _moved(stretches, move), left.reshape(count, 2, WIRE.sectors)


def _moved(stretches: Array, move: Array) -> Array:
    aside, turn, half, bend = move.T
    moved = stretches.copy()
    moved[:, X] += aside * np.sin(stretches[:, ANGLE])
    moved[:, Y] -= aside * np.cos(stretches[:, ANGLE])
    moved[:, ANGLE] += np.clip(turn, -TURN_MOST, TURN_MOST)
    old = stretches[:, HALF]
    moved[:, HALF] = np.clip(old + half, HALF_SHRINK * old, HALF_GROW * old)
    moved[:, BEND] += bend
    return moved


def _jacobian(camera: Camera, stretches: Array, section: Section) -> tuple[Array, Array, Array]:
    """Change (n, 2, 16, 4) of both silhouettes along s for a unit of each parameter.

    With it, as for rings, the normals (n, 2, 16, 2) of the silhouettes and the wire's width
    (n, 2, 16) along them.
    """
    places = evenly(WIRE.sectors)
    here = np.stack(silhouettes(camera, stretches, places, section), axis=1)
    tangent = np.gradient(here, axis=2)
    normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
    width = np.sum((here[:, 1] - here[:, 0])[:, None] * normal, axis=-1)
    columns = []
    for parameter, step in enumerate(STEPS):
        move = np.zeros((len(stretches), 4))
        move[:, parameter] = step
        there = silhouettes(camera, _moved(stretches, move), places, section)
        shift = np.stack(there, axis=1) - here
        columns.append(np.sum(shift * normal, axis=-1) / width / step)
    return np.stack(columns, axis=-1), normal, width


def rematch(stretches: Array, seen_by: Camera, through: Camera, section: Section = ROUND) -> Array:
    """Stretches (n, 6) that `through` would draw where `seen_by` draws these.

    Least squares of the silhouettes' distances, three linear steps; as for rings.
    """
    if not len(stretches):
        return stretches
    places = evenly(WIRE.sectors)
    seen = np.stack(silhouettes(seen_by, stretches, places, section), axis=1)
    guess = stretches.copy()
    for row, axis in enumerate(axis_of(stretches, np.array([-0.5, 0.0, 0.5]))[0]):
        half = stretches[row, HALF]
        ends = seen_by.project(np.column_stack([axis, np.full(3, half)]))
        guess[row, HALF] *= through.mm_per_px(ends[1], half) / seen_by.mm_per_px(ends[1], half)
        first, middle, last = through.to_plane(ends, guess[row, HALF])
        guess[row, [X, Y]] = middle
        guess[row, ANGLE] = np.arctan2(*(last - first)[::-1])
        guess[row, LENGTH] = np.hypot(*(last - first))
    for _ in range(3):
        drawn = np.stack(silhouettes(through, guess, places, section), axis=1)
        jacobian, normal, width = _jacobian(through, guess, section)
        apart = np.sum((seen - drawn) * normal, axis=-1) / width
        flat = jacobian.reshape(len(guess), 2 * WIRE.sectors, 4)
        squares = np.einsum("nkp,nkq->npq", flat, flat) + 1e-9 * np.eye(4)
        right = np.einsum("nkp,nk->np", flat, apart.reshape(len(guess), 2 * WIRE.sectors))
        guess = _moved(guess, np.linalg.solve(squares, right[..., None])[..., 0])
    return guess
