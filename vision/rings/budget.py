"""The uncertainty of one ring, cause by cause (GUM: each as a standard uncertainty, k = 1)."""

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from vision.cores import each
from vision.results import Quantity, Scale
from vision.rings.fit import Fit, rematch
from vision.rings.torus import RADIUS, TUBE
from vision.scale.camera import Camera

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

REST_TILT_RAD = 0.015
"""Slope of a ring's plane: burrs and sprung ends keep rings from lying quite flat."""
DARK_FACTOR = 1.6
"""Edges before dark surroundings are this much less sure than the reader says."""
BURNT_FACTOR = 1.5
"""The same for overexposed metal, which seems to spread: of 114 such rendered rings the 32 of one
photo read 0.05 mm too thick, and error over u had a spread of 1.5."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """Wire, ID, OD and AR of one ring."""

    wire_mm: Quantity
    id_mm: Quantity
    od_mm: Quantity
    ar: Quantity


@cache
def calibration() -> dict[str, dict[str, float]]:
    """Constants that turn the reader's own doubt into a standard uncertainty.

    Fitted on pictures the reader was not trained on: `tests/training`.
    """
    text = files("vision.rings").joinpath("calibration.json").read_text(encoding="utf-8")
    constants: dict[str, dict[str, float]] = json.loads(text)
    return constants


def sizes_of(fit: Fit, scale: Scale, dark: Flags, burnt: Flags) -> list[Sizes]:
    """Sizes of every fitted ring with their budgets.

    Parameters
    ----------
    fit : rings under `scale.camera`
    dark : (n,) whether the surroundings are too dark for a sure edge
    burnt : (n,) whether the metal is overexposed
    """
    shifts = _scale_shifts(fit, scale)
    harder = np.where(dark, DARK_FACTOR, 1.0) * np.where(burnt, BURNT_FACTOR, 1.0)
    share = calibration()["photos"]["share"] * harder
    edge_wire, edge_id = (edge_u(fit, name) * share for name in NAMES)
    rest = _rest_u(fit, scale)
    return [
        _sizes(
            wire=float(fit.wire_mm[index]),
            inside=float(fit.id_mm[index]),
            edge=(float(edge_wire[index]), float(edge_id[index])),
            rest=float(rest[index]),
            shifts={cause: shift[:, index] for cause, shift in shifts.items()},
        )
        for index in range(len(fit))
    ]


NAMES = ("wire", "id")


def edge_u(fit: Fit, name: str) -> Array:
    """Standard uncertainty (n,) mm of "wire" or "id" from the reader's edges: its word, weighed.

    `ln u = a0 + a1 ln b + a2 ln D + a3 ln q` with b the error the reader expects, D how far its
    readings are apart and q the scatter of the edges around the torus, all in mm. These were fitted
    on harsh crops; whole photos ask for a share of it (`tests/accuracy/coverage.py`).
    """
    constants = calibration()[name]
    column = NAMES.index(name)
    expected = fit.reading.scale[:, column] * fit.wire_mm
    scatter = fit.scatter * fit.wire_mm
    u: Array = np.exp(
        constants["constant"]
        + constants["expected"] * np.log(expected)
        + constants["apart"] * np.log(fit.apart[:, column] + 0.001)
        + constants["scatter"] * np.log(scatter + 0.001)
    )
    return u


def _rest_u(fit: Fit, scale: Scale) -> Array:
    """Standard uncertainty (n,) mm of ID from rings that do not lie flat.

    A slope s lifts one side by `Rc s` towards the camera and, seen at an angle, shortens the hole:
    `dID / ID = Rc s / Z` and `s tan(view) / 2`.
    """
    camera = scale.camera
    aside = np.hypot(*(fit.tori[:, :2] - camera.position[:2]).T) / camera.height_mm
    lift = fit.tori[:, RADIUS] * REST_TILT_RAD / camera.height_mm
    u: Array = fit.id_mm * np.hypot(lift, REST_TILT_RAD * aside / 2.0)
    return u


def _scale_shifts(fit: Fit, scale: Scale) -> dict[str, Array]:
    """By cause: what one standard uncertainty does to wire and ID; (2, n) mm, signed or joined.

    Several independent cameras of one cause join in quadrature; the sign, which ties ID to wire,
    is the first camera's.
    """

    def shift(camera: Camera) -> Array:
        # so near a camera a single step leaves a hundredth of what is asked for
        there = rematch(fit.tori, scale.camera, camera, fit.section, steps=1)
        wire = 2.0 * (there[:, TUBE] - fit.tori[:, TUBE])
        inside = 2.0 * (there[:, RADIUS] - fit.tori[:, RADIUS]) - wire
        return np.stack([wire, inside])

    shifted = iter(each(shift, [camera for some in scale.doubts.values() for camera in some]))
    shifts: dict[str, Array] = {}
    for cause, cameras in scale.doubts.items():
        stack = np.stack(list(islice(shifted, len(cameras))))
        sign = np.where(stack[0] < 0, -1.0, 1.0)
        shifts[cause] = sign * np.sqrt(np.sum(stack**2, axis=0))
    return shifts


def _sizes(
    *,
    wire: float,
    inside: float,
    edge: tuple[float, float],
    rest: float,
    shifts: dict[str, Array],
) -> Sizes:
    ratio = inside / wire
    tie = calibration()["tie"]["correlation"]

    def joined(by_wire: float, by_inside: float) -> float:
        """Edge uncertainty of a sum of both, whose errors pull against each other."""
        squares = by_wire**2 + by_inside**2 + 2.0 * tie * by_wire * by_inside
        return float(np.sqrt(max(squares, 0.0)))

    parts: dict[str, dict[str, float]] = {
        "wire": {"outline": edge[0]},
        "id": {"outline": edge[1], "lies not flat": rest},
        "od": {"outline": joined(2.0 * edge[0], edge[1]), "lies not flat": rest},
        "ar": {
            "outline": ratio * joined(-edge[0] / wire, edge[1] / inside),
            "lies not flat": ratio * rest / inside,
        },
    }
    for cause, (by_wire, by_inside) in shifts.items():
        parts["wire"][cause] = abs(float(by_wire))
        parts["id"][cause] = abs(float(by_inside))
        parts["od"][cause] = abs(float(by_inside + 2.0 * by_wire))
        parts["ar"][cause] = abs(float(ratio * (by_inside / inside - by_wire / wire)))
    return Sizes(
        wire_mm=Quantity(value=wire, parts=parts["wire"]),
        id_mm=Quantity(value=inside, parts=parts["id"]),
        od_mm=Quantity(value=inside + 2.0 * wire, parts=parts["od"]),
        ar=Quantity(value=ratio, parts=parts["ar"]),
    )
