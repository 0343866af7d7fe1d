"""A simulated bench: true rings, a photo with a fault, a caliper with noise; all seeded."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.batch.read import SetUp, Shot
from vision.results import PhotoInfo, Quantity, Ring, Status
from vision.spotcheck.caliper import CHORD_LEAST_ID_MM, Reading, What

U_WIRE, U_ID, TIE = 0.010, 0.015, -0.78
"""Outline doubt of wire and ID (k = 1, mm) and their correlation, as in a photo of 15 px/mm: 95 %
of rings within 0.02 and 0.03 mm."""
U_SCALE = 0.0012
NOISE_MM = 0.015
"""Of a single caliper reading."""


@dataclass(frozen=True)
class Bench:
    """Rings (n) as they are and as the photo says, and who reads them."""

    true_wire: np.ndarray
    true_id: np.ndarray
    shot: Shot
    bare_wire: np.ndarray
    bare_id: np.ndarray
    """What the photo would say without each ring's own outline error: what a correction mends."""

    def true_mm(self, what: What) -> np.ndarray:
        return {
            What.WIRE: self.true_wire,
            What.ID: self.true_id,
            What.OD: self.true_id + 2 * self.true_wire,
        }[what]


def sizes(rings: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """A delivery of one size: 1.63 mm wire on 6.35 mm, drawn to 1 %, coiled to 0.04 mm."""
    return 1.63 + 0.008 * rng.normal(size=rings), 6.35 + 0.04 * rng.normal(size=rings)


def photograph(
    wire: np.ndarray,
    inside: np.ndarray,
    rng: np.random.Generator,
    *,
    scale: float = 0.0,
    rim_mm: float = 0.0,
    honest_scale: bool = True,
    kind: str = "coin",
) -> Bench:
    """See rings with a fault: lengths too short by `scale`, wires too thin by `rim_mm`.

    Each ring also has its own outline error, and the photo its share of scale error, both as large
    as the photo states.
    """
    common = U_SCALE * rng.normal() if honest_scale else 0.0
    own = (
        rng.normal(size=(len(wire), 2))
        @ np.linalg.cholesky([[U_WIRE**2, TIE * U_WIRE * U_ID], [TIE * U_WIRE * U_ID, U_ID**2]]).T
    )
    bare_wire = (wire - rim_mm) / (1 + scale + common)
    bare_id = (inside + rim_mm) / (1 + scale + common)
    seen = zip(bare_wire + own[:, 0], bare_id + own[:, 1], strict=True)
    rings = [seen_ring(k, wire, inside) for k, (wire, inside) in enumerate(seen, start=1)]
    shot = shot_of_rings(rings, kind=kind)
    return Bench(true_wire=wire, true_id=inside, shot=shot, bare_wire=bare_wire, bare_id=bare_id)


def seen_ring(number: int, wire: float, inside: float, **changes: object) -> Ring:
    od, ar = inside + 2 * wire, inside / wire
    u_od = np.sqrt(4 * U_WIRE**2 + U_ID**2 + 4 * TIE * U_WIRE * U_ID)
    u_ar = ar * np.sqrt(
        (U_WIRE / wire) ** 2 + (U_ID / inside) ** 2 - 2 * TIE * U_WIRE * U_ID / wire / inside
    )
    fields: dict[str, object] = {
        "number": number,
        "cell": None,
        "center_px": (100.0 + 190.0 * ((number - 1) % 8), 120.0 + 240.0 * ((number - 1) // 8)),
        "center_mm": None,
        "radius_px": 90.0,
        "status": Status.MEASURED,
        "wire_mm": Quantity(value=wire, parts={"outline": U_WIRE, "coin": U_SCALE * wire}),
        "id_mm": Quantity(value=inside, parts={"outline": U_ID, "coin": U_SCALE * inside}),
        "od_mm": Quantity(value=od, parts={"outline": u_od, "coin": U_SCALE * od}),
        "ar": Quantity(value=ar, parts={"outline": u_ar, "coin": 0.0}),
        "ovality": 0.0,
        "colour": "brass-coloured",
    }
    return Ring(**(fields | changes))  # type: ignore[arg-type]


def shot_of_rings(
    rings: Sequence[Ring], *, file: str = "tray.jpg", kind: str = "coin", sha: str = "0" * 64
) -> Shot:
    return Shot(
        photo=PhotoInfo(file=file, width_px=1600, height_px=1200, taken=None, sha256=sha),
        set_up=SetUp(
            kind=kind, reference="eur-1", mm_per_px=0.05, u_rel=U_SCALE, camera_height_mm=200.0
        ),
        rings=tuple(rings),
    )


def read(
    bench: Bench,
    numbers: Sequence[int],
    rng: np.random.Generator,
    *,
    offset_mm: float = 0.0,
    repeats: int = 2,
    whats: Sequence[What] | None = None,
    noise_mm: float = NOISE_MM,
    chord_mm: float = 0.0,
) -> list[Reading]:
    """Read rings by caliper: wire, OD and, from 5 mm on, ID; each `repeats` times."""
    readings = []
    for number in numbers:
        wanted = whats or (
            tuple(What) if bench.true_id[number - 1] >= CHORD_LEAST_ID_MM else (What.WIRE, What.OD)
        )
        for what in wanted:
            true = float(bench.true_mm(what)[number - 1])
            loss = chord_mm if what is What.ID else 0.0
            readings += [
                Reading(
                    photo=0,
                    ring=number,
                    what=what,
                    value_mm=round(true - loss + offset_mm + noise_mm * rng.normal(), 2),
                )
                for _ in range(repeats)
            ]
    return readings
