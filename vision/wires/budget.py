"""The uncertainty of a piece of wire, cause by cause (GUM: each as a standard uncertainty)."""

import numpy as np
from numpy.typing import NDArray

from vision.results import Quantity, Scale
from vision.rings.budget import DARK_FACTOR, calibration
from vision.rings.check import DARK_PAPER
from vision.wires.find import Piece
from vision.wires.fit import StretchFit, rematch
from vision.wires.stretch import HALF, LENGTH

Array = NDArray[np.float64]

LIFT_MM = 0.3
"""Height by which wire that is not quite straight stands off the table somewhere."""
BLOCKS = 4
"""Blocks of a stretch whose mean widths are compared: of eight cross-cuts, two widths or more."""
BLOCK_NOISE = 0.004
"""Standard uncertainty of the difference of two blocks, in widths: neighbouring cross-cuts share
their errors."""


def width_of(piece: Piece, scale: Scale) -> Quantity:
    """Mean width with its budget: what the reader doubts, what the camera's doubts do to it."""
    fit = piece.fit.chosen(np.flatnonzero(piece.good))
    share = _share(fit)
    width = float(share @ fit.width_mm)
    dark = DARK_FACTOR if np.median(fit.paper) < DARK_PAPER else 1.0
    # Stretches of one piece lie in the same light: their errors are taken as one.
    parts = {"outline": dark * float(share @ _edge_u(fit))}
    parts["lies not flat"] = width * LIFT_MM / scale.camera.height_mm
    for cause, cameras in scale.doubts.items():
        shifts = [
            share @ (2.0 * rematch(fit.stretches, scale.camera, camera, fit.section)[:, HALF])
            - width
            for camera in cameras
        ]
        parts[cause] = float(np.linalg.norm(shifts))
    if fit.section.u_wire_rel:
        parts["profile"] = fit.section.u_wire_rel * width
    return Quantity(value=width, parts=parts)


def _share(fit: StretchFit) -> Array:
    """Weight (n,) of each stretch in the mean: its length over the square of its doubt."""
    weight = fit.stretches[:, LENGTH] / fit.expected**2
    share: Array = weight / weight.sum()
    return share


def _edge_u(fit: StretchFit) -> Array:
    """Standard uncertainty (n,) mm from the reader's edges, calibrated as for rings."""
    constants = calibration()["wire"]
    u: Array = np.exp(
        constants["constant"]
        + constants["expected"] * np.log(fit.expected * fit.width_mm)
        + constants["moved"] * np.log(np.abs(fit.moved) + 0.001)
        + constants["scatter"] * np.log(fit.scatter * fit.width_mm + 0.001)
    )
    return u


def variation_of(piece: Piece) -> Quantity:
    """Thickest less thinnest along the piece, over blocks of a few widths."""
    fit = piece.fit.chosen(np.flatnonzero(piece.good))
    blocks = fit.local_mm.reshape(len(fit), BLOCKS, -1)
    means = np.median(blocks, axis=2).ravel()
    noise = blocks.std(axis=2).mean() / np.sqrt(blocks.shape[2])
    width = float(fit.width_mm.mean())
    return Quantity(
        value=float(np.ptp(means)),
        parts={"outline": float(np.hypot(np.sqrt(2.0) * noise, BLOCK_NOISE * width))},
    )
