"""How many rings a bag holds, by its weight and the size of its rings."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.batch.sample import Batch, expanded
from vision.results import Ring
from vision.trade.metals import Metal

Array = NDArray[np.float64]

SCALES_REL = 0.001
"""Standard uncertainty of kitchen and jeweller's scales beside their last digit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """Rings in a bag."""

    rings: float
    rings_u95: float
    ring_g: float
    """Mean mass of a ring."""
    ring_u95_g: float
    weight_g: float
    metal: Metal
    parts: Mapping[str, float]
    """Standard uncertainty of the number of rings by cause."""


def ring_mass_g(
    wire_mm: float | Array, id_mm: float | Array, density_g_cm3: float, gap_mm: float | Array = 0.0
) -> Array:
    """Mass of a round ring of round wire.

    Parameters
    ----------
    wire_mm, id_mm : diameter of wire and inside diameter
    gap_mm : width of the cut that is open

    References
    ----------
    .. [1] Pappus: volume = pi (ID + d) pi d^2 / 4; an open cut of width g lacks g pi d^2 / 4.
    """
    section = math.pi * np.square(wire_mm) / 4.0
    length = math.pi * (np.asarray(id_mm) + wire_mm) - gap_mm
    return np.asarray(density_g_cm3 * section * length / 1000.0, dtype=float)


def count_by_weight(batch: Batch, metal: Metal, weight_g: float, step_g: float) -> Count:
    """Estimate how many rings weigh so much, if all are like the measured ones.

    Parameters
    ----------
    weight_g : of the rings without the bag
    step_g : last digit of the scales

    Notes
    -----
    `dm / m = 2 dd / d + (dID + dd) / (ID + d)`: an error of 1 % in the scale is 3 % in the mass.
    Errors of wire and ID that rings share are taken to go together, as they do for the scale.
    """
    wire, inside = batch.sample("wire_mm"), batch.sample("id_mm")
    gaps = np.array([_gap_mm(member.ring) for member in batch.members])
    masses = ring_mass_g(wire.values, inside.values, metal.density_g_cm3, gaps)
    mean, n = float(masses.mean()), len(masses)
    by_wire = masses * (2.0 / wire.values + 1.0 / (inside.values + wire.values))
    by_inside = masses / (inside.values + wire.values)
    spread = float(np.std(masses, ddof=1)) if n > 1 else 0.0
    each = np.hypot(by_wire * wire.u_private, by_inside * inside.u_private)
    relative = {
        "rings differ": max(spread, float(np.sqrt(np.mean(each**2)))) / math.sqrt(n) / mean,
        "density": metal.u_density_g_cm3 / metal.density_g_cm3,
        "scales": math.hypot(SCALES_REL, step_g / math.sqrt(3) / weight_g),
    }
    zero = np.zeros(n)
    for cause in {*wire.u_common, *inside.u_common}:
        shift = by_wire * wire.u_common.get(cause, zero) + by_inside * inside.u_common.get(
            cause, zero
        )
        relative[cause] = float(shift.mean()) / mean
    rings = weight_g / mean
    u_ring = math.hypot(*(part for cause, part in relative.items() if cause != "scales"))
    return Count(
        rings=rings,
        rings_u95=expanded(rings * math.hypot(*relative.values())),
        ring_g=mean,
        ring_u95_g=expanded(mean * u_ring),
        weight_g=weight_g,
        metal=metal,
        parts={cause: rings * part for cause, part in relative.items()},
    )


def _gap_mm(ring: Ring) -> float:
    return ring.gap_mm or 0.0
