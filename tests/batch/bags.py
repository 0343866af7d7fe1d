"""Simulated bags: rings of known size, measured with known errors."""

from dataclasses import replace

import numpy as np

from vision.batch.read import SetUp, Shot
from vision.batch.sample import Batch, pool
from vision.results import PhotoInfo, Quantity, Ring, Status

U_OUTLINE_MM = 0.006
U_SCALE_REL = 0.0015


def ring(number: int, wire: float, inside: float, *, u_scale_rel: float, **changes) -> Ring:
    def quantity(value: float, outline: float) -> Quantity:
        return Quantity(value=value, parts={"outline": outline, "print": u_scale_rel * value})

    u_ratio = inside / wire * np.hypot(U_OUTLINE_MM / wire, U_OUTLINE_MM / inside)
    made = Ring(
        number=number,
        center_px=(100.0 * number, 100.0),
        center_mm=None,
        radius_px=50.0,
        status=Status.MEASURED,
        cell=f"A{number}",
        wire_mm=quantity(wire, U_OUTLINE_MM),
        id_mm=quantity(inside, U_OUTLINE_MM),
        od_mm=quantity(inside + 2 * wire, U_OUTLINE_MM),
        ar=Quantity(value=inside / wire, parts={"outline": u_ratio}),
    )
    return replace(made, **changes)


def shot(
    rng: np.random.Generator,
    wires: np.ndarray,
    insides: np.ndarray,
    *,
    file: str = "bag.jpg",
    reference: str = "a5",
    scale: float | None = None,
    u_scale_rel: float = U_SCALE_REL,
) -> Shot:
    """Photograph rings of true sizes: each gets its own error, all get the scale's."""
    factor = 1.0 + (rng.normal(0.0, u_scale_rel) if scale is None else scale)
    seen_wires = factor * wires + rng.normal(0.0, U_OUTLINE_MM, len(wires))
    seen_insides = factor * insides + rng.normal(0.0, U_OUTLINE_MM, len(insides))
    return Shot(
        photo=PhotoInfo(file=file, width_px=4000, height_px=3000, taken=None, sha256=file),
        set_up=SetUp(
            kind="sheet",
            reference=reference,
            mm_per_px=0.05,
            u_rel=u_scale_rel,
            camera_height_mm=250.0,
        ),
        rings=tuple(
            ring(number, float(wire), float(inside), u_scale_rel=u_scale_rel)
            for number, (wire, inside) in enumerate(zip(seen_wires, seen_insides, strict=True), 1)
        ),
    )


def sizes(
    rng: np.random.Generator,
    n: int,
    *,
    wire: float = 1.626,
    inside: float = 6.35,
    sd_wire: float = 0.008,
    sd_inside: float = 0.03,
) -> tuple[np.ndarray, np.ndarray]:
    return rng.normal(wire, sd_wire, n), rng.normal(inside, sd_inside, n)


def bag(rng: np.random.Generator, n: int, **changes: float) -> Batch:
    return pool([shot(rng, *sizes(rng, n, **changes))])
