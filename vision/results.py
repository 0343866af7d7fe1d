"""What the stages say in the end: frozen values, and their form as a result file."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from statistics import fmean, median, stdev
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.scale.camera import Camera

RESULT_FORMAT = "annulet-result"
BATCH_FORMAT = "annulet-batch"
FORMAT_VERSION = 1

COVERAGE_FACTOR = 2.0
"""k of the expanded uncertainty: about 95 % (GUM 6.3)."""


AR_NOTE = "AR is the mean inside diameter over the wire: of an oval ring, between both extremes"


class Status(StrEnum):
    """Whether a ring carries numbers."""

    MEASURED = "measured"
    UNUSABLE = "unusable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A measured value with its uncertainty budget."""

    value: float
    parts: Mapping[str, float]
    """Standard uncertainty (k = 1) by cause, in the unit of the value; causes are independent."""

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return float(np.sqrt(sum(part * part for part in self.parts.values())))

    @property
    def u95(self) -> float:
        """Expanded uncertainty, k = 2, about 95 %."""
        return COVERAGE_FACTOR * self.u


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """One ring of the photo: measured, or unusable with the reasons."""

    number: int
    center_px: tuple[float, float]
    """In the upright photo."""
    center_mm: tuple[float, float] | None
    radius_px: float
    """Rough outer radius, for drawing."""
    status: Status
    reasons: tuple[str, ...] = ()
    """Why an unusable ring carries no numbers."""
    warnings: tuple[str, ...] = ()
    cell: str | None = None
    wire_mm: Quantity | None = None
    id_mm: Quantity | None = None
    od_mm: Quantity | None = None
    ar: Quantity | None = None
    ovality: float | None = None
    """(largest - smallest inside diameter) / mean."""
    ovality_u95: float | None = None
    gap_mm: float | None = None
    gap_u95_mm: float | None = None
    gap_deg: float | None = None
    """Direction of the closure gap from +x towards +y of the sheet."""
    gap_u95_deg: float | None = None
    ends_mm: float | None = None
    """How far one end lies outside the other, in the plane of the ring; None without a gap."""
    ends_u95_mm: float | None = None
    colour: str | None = None
    outlines_px: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None
    """Inner and outer outline (m, 2), for drawing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NearGauge:
    """The number of a wire gauge system that is nearest to a wire."""

    name: str
    """As a dealer writes it: `AWG 18`; two numbers where the wire lies half way."""
    diameter_mm: float
    off_mm: float
    """Wire less gauge: positive where the wire is thicker."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wire:
    """One straight piece of wire that lies for itself: measured, or unusable with the reasons."""

    number: int
    """Of the pieces of wire, shown as W1, W2 ...; rings are numbered for themselves."""
    center_px: tuple[float, float]
    ends_px: tuple[tuple[float, float], tuple[float, float]]
    """Both ends of the axis in the upright photo."""
    center_mm: tuple[float, float]
    length_mm: float
    """Of the straight piece in the photo, about; wire may go on beyond it, bent or cut off."""
    status: Status
    reasons: tuple[str, ...] = ()
    """Why an unusable piece carries no numbers."""
    warnings: tuple[str, ...] = ()
    cell: str | None = None
    wire_mm: Quantity | None = None
    """Mean width along the piece: of round wire the diameter."""
    variation_mm: Quantity | None = None
    """Thickest less thinnest along the piece."""
    awg: NearGauge | None = None
    swg: NearGauge | None = None
    outline_px: NDArray[np.float64] | None = None
    """Outline (m, 2), for drawing."""

    @property
    def name(self) -> str:
        """What it is called beside rings."""
        return f"W{self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoInfo:
    """Which photo this was."""

    file: str
    width_px: int
    height_px: int
    taken: str | None
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scale:
    """Pixels to millimetres for one photo."""

    kind: str
    """`coin`, `sheet` or `stated`."""
    reference: str
    """Name of the coin or sheet, or how the scale was stated."""
    camera: Camera
    mm_per_px: float
    """On the table, in the middle of the picture."""
    u_rel: float
    """Relative standard uncertainty of lengths on the table, common to all rings."""
    camera_height_mm: float | None
    """None where the view is taken as parallel (scanner) or unknown."""
    u_height_rel: float
    """Relative standard uncertainty of the camera's height."""
    tilt_deg: float | None
    u_tilt_deg: float
    u_lens_rel: float
    """Relative standard uncertainty of lengths at the picture's corner from the lens; it grows with
    the square of the distance from where the reference fixes the scale."""
    outline_px: NDArray[np.float64] | None = None
    """Outline (m, 2) of the reference, for drawing."""
    work_px: NDArray[np.float64] | None = None
    """Corners (4, 2) of the area of a sheet in which rings lie; None where they lie anywhere."""
    doubts: Mapping[str, tuple[Camera, ...]] = field(default_factory=dict)
    """By cause: cameras one standard uncertainty away, independent of each other."""
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    details: Mapping[str, Any] = field(default_factory=dict)
    """What else the reference told, as plain values for the result file."""


class Check(StrEnum):
    """What a photo's fitness for measuring is judged by."""

    SHARPNESS = "sharpness"
    EXPOSURE = "exposure"
    NOISE = "noise"
    TILT = "tilt"
    RESOLUTION = "resolution"
    EDGE = "edge"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something about a photo that makes its numbers less sure."""

    check: Check
    problem: str
    """What was found, and what would be good."""
    advice: str
    """What to do about it in the next photo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitness:
    """How well a photo serves for measuring."""

    blur_px: float | None
    """Standard deviation of the blur of edges; None where none stands out."""
    noise_rel: float
    """Standard deviation of a pixel's noise over the light of the table."""
    burnt_share: float
    """Share of the picture in which all channels are burnt out."""
    tilt_deg: float | None
    thinnest_wire_px: float | None
    """Width of the thinnest measured wire; None without one."""
    near_edge: tuple[int, ...]
    """Numbers of the rings that lie too near the photo's edge."""
    findings: tuple[Finding, ...]
    """What could be better; empty for a good photo."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How one quantity spreads over the measured rings."""

    mean: float
    sd: float | None
    """None for fewer than two rings."""
    median: float
    min: float
    max: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Result:
    """All that one photo says."""

    photo: PhotoInfo
    scale: Scale
    rings: tuple[Ring, ...]
    wires: tuple[Wire, ...] = ()
    """Straight pieces of wire beside the rings; no ring is among them."""
    warnings: tuple[str, ...] = field(default=())
    correction: Mapping[str, Any] | None = None
    """The caliper correction that all sizes went through, as plain values; None for none."""
    fitness: Fitness | None = None
    """How well the photo serves; None where it was not judged."""
    profile: str = "round"
    """Shape of the wire, as declared."""
    notes: tuple[str, ...] = ()
    """What the numbers mean, where that is not plain."""
    settings: Mapping[str, Any] = field(default_factory=dict)
    """What else the numbers rest on, as plain values: same photo and settings, same numbers."""
    same_rings: Mapping[str, Any] | None = None
    """Which photos of the same rings were combined and what each says, as plain values; None for
    the result of one photo."""

    @property
    def measured(self) -> tuple[Ring, ...]:
        """The rings that carry numbers."""
        return tuple(ring for ring in self.rings if ring.status is Status.MEASURED)

    def spread(self, name: str) -> Spread | None:
        """Spread of `wire_mm`, `id_mm`, `od_mm` or `ar`; None without a measured ring."""
        return spread_of([getattr(ring, name).value for ring in self.measured])


def spread_of(values: list[float]) -> Spread | None:
    """Mean, standard deviation (n - 1), median and range; None for no values."""
    if not values:
        return None
    return Spread(
        mean=fmean(values),
        sd=stdev(values) if len(values) > 1 else None,
        median=median(values),
        min=min(values),
        max=max(values),
    )


def result_record(result: Result) -> dict[str, Any]:
    """The result file's content (contract: format `annulet-result`, version 1)."""
    scale = result.scale
    return {
        "format": RESULT_FORMAT,
        "version": FORMAT_VERSION,
        "photo": {
            "file": result.photo.file,
            "width_px": result.photo.width_px,
            "height_px": result.photo.height_px,
            "taken": result.photo.taken,
            "sha256": result.photo.sha256,
        },
        "scale": {
            "kind": scale.kind,
            "reference": scale.reference,
            "mm_per_px": scale.mm_per_px,
            "u_rel": scale.u_rel,
            "camera_height_mm": scale.camera_height_mm,
            "tilt_deg": scale.tilt_deg,
            "notes": list(scale.notes),
            "details": dict(scale.details),
        },
        "rings": [_ring_record(ring) for ring in result.rings],
        "wires": [_wire_record(wire) for wire in result.wires],
        "summary": {
            "rings": len(result.rings),
            "measured": len(result.measured),
            **{name: _spread_record(result.spread(name)) for name in SUMMARY_NAMES},
        },
        "profile": result.profile,
        "notes": [*result.notes, AR_NOTE],
        "warnings": [*scale.warnings, *result.warnings],
        "fitness": _fitness_record(result.fitness) if result.fitness is not None else None,
        "correction": dict(result.correction) if result.correction is not None else None,
        "settings": dict(result.settings),
        "same_rings": dict(result.same_rings) if result.same_rings is not None else None,
    }


def batch_record(records: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """The records of several results in one (format `annulet-batch`, version 1)."""
    return {"format": BATCH_FORMAT, "version": FORMAT_VERSION, "photos": list(records)}


SUMMARY_NAMES = ("wire_mm", "id_mm", "od_mm", "ar")


def _fitness_record(fitness: Fitness) -> dict[str, Any]:
    return {
        "blur_px": fitness.blur_px,
        "noise_rel": fitness.noise_rel,
        "burnt_share": fitness.burnt_share,
        "tilt_deg": fitness.tilt_deg,
        "thinnest_wire_px": fitness.thinnest_wire_px,
        "near_edge": list(fitness.near_edge),
        "findings": [
            {"check": each.check.value, "problem": each.problem, "advice": each.advice}
            for each in fitness.findings
        ],
    }


def _ring_record(ring: Ring) -> dict[str, Any]:
    record: dict[str, Any] = {
        "kind": "ring",
        "number": ring.number,
        "cell": ring.cell,
        "center_px": list(ring.center_px),
        "center_mm": list(ring.center_mm) if ring.center_mm is not None else None,
        "status": ring.status.value,
        "reasons": list(ring.reasons),
    }
    for name, quantity in (("wire", ring.wire_mm), ("id", ring.id_mm), ("od", ring.od_mm)):
        record[f"{name}_mm"] = quantity.value if quantity else None
        record[f"{name}_u95_mm"] = quantity.u95 if quantity else None
    record["ar"] = ring.ar.value if ring.ar else None
    record["ar_u95"] = ring.ar.u95 if ring.ar else None
    record["u_parts"] = _parts_record(ring)
    record |= {
        "ovality": ring.ovality,
        "ovality_u95": ring.ovality_u95,
        "gap_mm": ring.gap_mm,
        "gap_u95_mm": ring.gap_u95_mm,
        "gap_deg": ring.gap_deg,
        "gap_u95_deg": ring.gap_u95_deg,
        "ends_mm": ring.ends_mm,
        "ends_u95_mm": ring.ends_u95_mm,
        "colour": ring.colour,
        "warnings": list(ring.warnings),
    }
    return record


def _wire_record(wire: Wire) -> dict[str, Any]:
    record: dict[str, Any] = {
        "kind": "wire",
        "number": wire.number,
        "cell": wire.cell,
        "center_px": list(wire.center_px),
        "center_mm": list(wire.center_mm),
        "ends_px": [list(end) for end in wire.ends_px],
        "length_mm": wire.length_mm,
        "status": wire.status.value,
        "reasons": list(wire.reasons),
    }
    for name, quantity in (("wire", wire.wire_mm), ("variation", wire.variation_mm)):
        record[f"{name}_mm"] = quantity.value if quantity else None
        record[f"{name}_u95_mm"] = quantity.u95 if quantity else None
    record["u_parts"] = {"wire_mm": dict(wire.wire_mm.parts)} if wire.wire_mm else None
    for system, gauge in (("awg", wire.awg), ("swg", wire.swg)):
        record[system] = (
            {"name": gauge.name, "diameter_mm": gauge.diameter_mm, "off_mm": gauge.off_mm}
            if gauge
            else None
        )
    record["warnings"] = list(wire.warnings)
    return record


def _parts_record(ring: Ring) -> dict[str, dict[str, float]] | None:
    """Standard uncertainty (k = 1) by cause: what rings of one photo share is told apart by it."""
    if ring.status is not Status.MEASURED:
        return None
    return {name: dict(getattr(ring, name).parts) for name in SUMMARY_NAMES}


def _spread_record(spread: Spread | None) -> dict[str, float | None] | None:
    if spread is None:
        return None
    return {
        "mean": spread.mean,
        "sd": spread.sd,
        "median": spread.median,
        "min": spread.min,
        "max": spread.max,
    }
