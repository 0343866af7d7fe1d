"""How far a ring is from round and closed: ovality, and the step between its ends."""

import numpy as np
from numpy.typing import NDArray

from vision.results import Quantity, Scale
from vision.rings.budget import REST_TILT_RAD
from vision.rings.fit import Fit
from vision.rings.torus import OVAL_COS, OVAL_SIN, RADIUS, TUBE, ring_angles
from vision.rings.unwrap import FINE

Array = NDArray[np.float64]

U_OVAL = 0.003
"""Standard uncertainty of ovality that is left, from photos with true ovality."""
NOISE_SQUARES = 2.0
"""An amplitude of two components grows by noise: the mean square by that of both."""
STEP_GAIN = 1.5
"""The reader smooths along the ring and sees about half to two thirds of a step."""
U_STEP_GAIN, U_STEP_MM = 0.25, 0.016
"""Standard uncertainty of that gain, and of a step that is not there (481 rendered rings)."""


def ovality_of(fit: Fit, scale: Scale, index: int) -> Quantity:
    """(largest - smallest inside diameter) / mean of one ring, freed of what noise adds."""
    ring = fit.tori[index]
    inside = 2.0 * (ring[RADIUS] - ring[TUBE])
    edges = fit.residuals[index].size
    by_edge = 4.0 * fit.scatter[index] * 2.0 * ring[TUBE] * np.sqrt(2.0 / edges) / inside
    foot = fit.tori[index, :2] - scale.camera.position[:2]
    aside = float(np.hypot(*foot)) / scale.camera.height_mm
    parts = {
        "outline": float(np.hypot(by_edge, U_OVAL)),
        "lies not flat": REST_TILT_RAD * aside,
        "tilt of the camera": float(np.radians(scale.u_tilt_deg)) * aside,
    }
    seen = 2.0 * float(np.hypot(ring[OVAL_COS], ring[OVAL_SIN]) * 2.0 * ring[RADIUS] / inside)
    noise = Quantity(value=0.0, parts=parts).u
    value = float(np.sqrt(max(seen**2 - NOISE_SQUARES * noise**2, 0.0)))
    return Quantity(value=value, parts=parts)


def step_of_ends(fit: Fit, index: int, gap_deg: float) -> Quantity | None:
    """How far one end lies outside the other, mm, without sign; None if too little is seen.

    A saw-tooth that jumps at the gap, fitted to the edges beside what any closed ring does.
    """
    sectors = fit.residuals.shape[2]
    angles = ring_angles(sectors)
    turn = np.mod(angles - np.radians(gap_deg), 2.0 * np.pi)
    from_gap = np.minimum(turn, 2.0 * np.pi - turn)
    seen = (fit.clear[index] > 0.99) & (from_gap > 1.2 * np.pi / FINE.sectors)
    weight = fit.reading.weight[index] * seen
    total = weight.sum(axis=0)
    if np.count_nonzero(total) < sectors // 2:
        return None
    wire = 2.0 * float(fit.tori[index, TUBE])
    moved = (fit.residuals[index] * weight).sum(axis=0) / np.maximum(total, 1e-9) * wire
    closed = [np.ones_like(angles)]
    closed += [wave(turns * angles) for turns in (1, 2) for wave in (np.cos, np.sin)]
    model = np.stack([turn / (2.0 * np.pi) - 0.5, *closed], axis=1) * np.sqrt(total)[:, None]
    cover = np.linalg.inv(model.T @ model + 1e-9 * np.eye(6))
    wanted = moved * np.sqrt(total)
    found = cover @ (model.T @ wanted)
    left = wanted - model @ found
    variance = float(left @ left) / (np.count_nonzero(total) - 6) * float(cover[0, 0])
    step = STEP_GAIN * abs(float(found[0]))
    return Quantity(
        value=step,
        parts={
            "outline": STEP_GAIN * float(np.sqrt(variance)),
            "pixels": U_STEP_MM,
            "reader": U_STEP_GAIN * step,
        },
    )
