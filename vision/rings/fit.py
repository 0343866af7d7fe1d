"""One joint fit of both outlines: a torus through the edges that the reader found."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.rings.reader import Reading, read_edges
from vision.rings.torus import OVAL_COS, OVAL_SIN, RADIUS, TUBE, outlines, ring_angles
from vision.rings.unwrap import SECTORS, unwrap
from vision.scale.camera import Camera

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

ROUNDS = 3
REWEIGHTINGS = 6
HUBER_S = 0.03
"""Residual from which an edge loses influence, in wire widths."""
EDGE_S = 0.02
"""Likely error of an edge of weight one, in wire widths (the reader's own unit)."""
OVAL_PRIOR = 0.01
"""Standard deviation of the oval amplitudes a, b before looking: jump rings are round to 1-2 %."""
STEP_MM, STEP_OVAL = 1e-4, 1e-5
"""Steps of the numerical Jacobian."""
TUBE_SHRINK, TUBE_GROW = 0.5, 1.6
"""A round changes the wire at most by these factors."""
HOLE_LEAST = 1.05
"""Centre-line radius over wire radius; 1 would be a ring without a hole."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """Fitted rings and the signs of how well they fit."""

    tori: Array
    """(n, 6)"""
    reading: Reading
    """Of the last round."""
    residuals: Array
    """(n, 2, 32) edge minus fitted outline along s, last round."""
    moved: Array
    """(n, 2) change of wire and ID in the last round, mm."""
    clear: Array
    """(n, 32) share of each sector inside the picture."""


def fit_rings(light: Picture, camera: Camera, tori: Array, *, rounds: int = ROUNDS) -> Fit:
    """Unwrap, read and refit until the outlines stand.

    Parameters
    ----------
    light : (h, w, 3) float32 linear light
    camera : the camera over the table
    tori : (n, 6) guesses, off by a few pixels or by a third of the wire's width
    """
    if rounds < 1:
        raise ValueError(f"rounds must be at least 1, got {rounds}")
    last = tori
    for _ in range(rounds):
        last = tori
        planes, clear = unwrap(light, camera, last)
        reading = read_edges(planes)
        tori, residuals = refit(camera, last, reading, clear)
    wire_moved = 2.0 * (tori[:, TUBE] - last[:, TUBE])
    id_moved = 2.0 * (tori[:, RADIUS] - last[:, RADIUS]) - wire_moved
    return Fit(
        tori=tori,
        reading=reading,
        residuals=residuals,
        moved=np.stack([wire_moved, id_moved], axis=1),
        clear=clear,
    )


def refit(camera: Camera, tori: Array, reading: Reading, clear: Array) -> tuple[Array, Array]:
    """Move each torus so that its outlines pass the edges read around it.

    Weighted least squares of the edge distances along s, linear around the guess, with Huber
    weights (iteratively reweighted). Sectors outside the picture do not count.

    Returns
    -------
    tori : (n, 6) moved rings
    residuals : (n, 2, 32) edge minus outline after the move, in s
    """
    jacobian = _jacobian(camera, tori)
    target = reading.edges - np.array([0.0, 1.0])[:, None]
    base = reading.weight * (clear[:, None, :] > 0.99)
    count = len(tori)
    flat = jacobian.reshape(count, -1, 6)
    wanted = target.reshape(count, -1)
    prior = np.zeros((count, 6))
    prior[:, OVAL_COS] = prior[:, OVAL_SIN] = (EDGE_S / OVAL_PRIOR) ** 2
    move = np.zeros((count, 6))
    for _ in range(REWEIGHTINGS):
        left = wanted - np.einsum("nkp,np->nk", flat, move)
        weight = base.reshape(count, -1) * np.minimum(1.0, HUBER_S / np.maximum(abs(left), 1e-9))
        normal = np.einsum("nkp,nk,nkq->npq", flat, weight, flat)
        normal += (prior + 1e-9)[:, :, None] * np.eye(6)
        right = np.einsum("nkp,nk,nk->np", flat, weight, wanted) - prior * tori
        move = np.linalg.solve(normal, right[..., None])[..., 0]
    left = wanted - np.einsum("nkp,np->nk", flat, move)
    moved = tori + move
    tube = np.clip(moved[:, TUBE], TUBE_SHRINK * tori[:, TUBE], TUBE_GROW * tori[:, TUBE])
    moved[:, TUBE] = tube
    moved[:, RADIUS] = np.maximum(moved[:, RADIUS], HOLE_LEAST * tube)
    return moved, left.reshape(count, 2, SECTORS)


def _jacobian(camera: Camera, tori: Array) -> Array:
    """Change (n, 2, 32, 6) of inner and outer outline along s for a unit of each parameter.

    Along s means: the shift of the outline along its own normal, divided by the guess's wire
    width along that normal; under tilt the rays of s are not normal to the outline.
    """
    angles = ring_angles(SECTORS)
    here = np.stack(outlines(camera, tori, angles), axis=1)
    ahead = np.stack(outlines(camera, tori, angles + 1e-4), axis=1)
    tangent = ahead - here
    normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
    across = (here[:, 1] - here[:, 0])[:, None]
    width = np.sum(across * normal, axis=-1)
    columns = []
    for parameter, step in enumerate((STEP_MM, STEP_MM, STEP_MM, STEP_MM, STEP_OVAL, STEP_OVAL)):
        there = tori.copy()
        there[:, parameter] += step
        shift = np.stack(outlines(camera, there, angles), axis=1) - here
        columns.append(np.sum(shift * normal, axis=-1) / width / step)
    return np.stack(columns, axis=-1)
