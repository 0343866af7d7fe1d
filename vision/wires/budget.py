"""The uncertainty of a piece of wire, cause by cause (GUM: each as a standard uncertainty)."""

import numpy as np
from numpy.typing import NDArray

from vision.results import Quantity, Scale
from vision.rings.budget import DARK_FACTOR, calibration
from vision.rings.check import DARK_PAPER
from vision.wires.find import Piece, is_clear
from vision.wires.fit import StretchFit, rematch
from vision.wires.stretch import HALF, LENGTH

Array = NDArray[np.float64]

LIFT_MM = 0.3
"""Height by which wire that is not quite straight stands off the table somewhere."""
LOCAL_NOISE, LOCAL_NOISE_MM = 0.004, 0.003
"""Standard uncertainty of the greatest difference between stretches of one piece, in widths and in
mm: they lie in the same light and share most of their errors."""


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
    """Standard uncertainty (n,) mm from the reader's edges, calibrated on held-out wire."""
    constants = calibration()["straight"]
    u: Array = np.exp(
        constants["constant"]
        + constants["expected"] * np.log(fit.expected * fit.width_mm)
        + constants["apart"] * np.log(fit.apart + 0.001)
        + constants["scatter"] * np.log(fit.scatter * fit.width_mm + 0.001)
    )
    return u


def variation_of(piece: Piece) -> Quantity | None:
    """Thickest less thinnest stretch along the piece; None where there is but one.

    The reader takes a stretch for equally thick all along, so each is read for itself.
    """
    local = piece.local
    clear = is_clear(local)
    if np.count_nonzero(clear) < 2:
        return None
    widths = local.width_mm[clear]
    noise = LOCAL_NOISE * float(widths.mean()) + LOCAL_NOISE_MM
    return Quantity(value=float(np.ptp(widths)), parts={"outline": noise})
