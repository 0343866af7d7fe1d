"""What a spot-check teaches about later photos: scale and rim, bound to their set-up."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.batch.read import SetUp, Shot
from vision.errors import VisionError
from vision.results import Quantity, Result, Ring
from vision.scale.sheet import SHEET_VERSION
from vision.spotcheck.caliper import What
from vision.spotcheck.model import OUTLINE, RIM_SHARE, Table
from vision.spotcheck.verdict import Comparison, Verdict, estimate

Array = NDArray[np.float64]

CORRECTION_FORMAT = "annulet-correction"
CORRECTION_VERSION = 1

CAUSE = "caliper correction"
"""Its name in uncertainty budgets."""

REFERENCE_CAUSES = frozenset({"coin", "print", "stated scale", "scale"})
"""Causes that a correction of the scale takes the place of; height, tilt, lens and the sheet's
corners are found anew in each photo and stay."""
AGAIN_SHARE = 0.5
"""Share of a coin's variance that comes back in another photo: its rim is traced anew."""

RIM_LEAST_RINGS = 2
"""Rings needed, with wires and diameters read, before a rim offset is fitted."""
RIM_MOST_U_MM = 0.02
SCALE_MOST_U = 0.01
"""Largest standard uncertainties of a fit that is allowed to have both."""

PRINT_KNOWN = 2.0
"""Change of the scale's uncertainty between photos that says: the print was measured for one."""
PIXEL_CHANGE = 1.5
"""Change of the pixel size above which the rim is another one."""


class CorrectionError(VisionError):
    """No correction can be made of these readings, or its file cannot be used."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """The set-up that a correction was made for."""

    kind: str
    reference: str
    sheet_version: int | None
    mm_per_px: float
    u_scale_rel: float
    colours: tuple[str, ...]
    """Of the rings that were read, as named by the photo; the metal as far as a photo tells."""
    light: str
    """In the user's words; empty where nothing was said."""
    photos_sha256: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """True wire and OD: `factor * measured + rim_mm`; true ID: `factor * measured - rim_mm`."""

    factor: float
    u_factor: float
    rim_mm: float | None
    """None where the readings support a scale only."""
    u_rim_mm: float | None
    covariance_mm: float
    """Covariance of factor and rim."""
    readings: int
    rings: int
    bound: Bound

    @property
    def words(self) -> str:
        """For notes: what it does and what it rests on."""
        rim = ""
        if self.rim_mm is not None and self.u_rim_mm is not None:
            rim = f", rim {self.rim_mm:+.3f} ± {2 * self.u_rim_mm:.3f} mm"
        scale, u = 100 * (self.factor - 1), 200 * self.u_factor
        return (
            f"corrected by caliper: scale {scale:+.2f} ± {u:.2f} %{rim} "
            f"({self.readings} readings on {self.rings} rings)"
        )


def fit_correction(shots: Sequence[Shot], comparison: Comparison, *, light: str = "") -> Correction:
    """Fit scale and rim as far as the readings support them.

    Where the photo was found right, its own statement counts beside the readings and the result
    is surer than either; where it was found wrong, the readings alone count. Rim is fitted from
    wires and diameters of two rings on; with less it is the scale alone that is corrected, and
    what the rim may be is counted as doubt.

    Raises
    ------
    CorrectionError
        No reading is left to fit, or the photos were already corrected.
    """
    if any(shot.corrected for shot in shots):
        raise CorrectionError(
            "the sizes in this result were corrected already",
            hint="measure the photo without --correction, and compare that result",
        )
    table = comparison.table
    if table is None:
        raise CorrectionError(
            "no reading is left to make a correction of", hint="take the wild readings again"
        )
    trusted = comparison.verdict is not Verdict.DISAGREE
    values, covariance = estimate(table, prior=trusted)
    both = _supports_rim(table)
    if not both:
        values, covariance = _scale_alone(table, prior=trusted)
    return Correction(
        factor=1.0 + float(values[0]),
        u_factor=float(np.sqrt(covariance[0, 0])),
        rim_mm=float(values[1]) if both else None,
        u_rim_mm=float(np.sqrt(covariance[1, 1])) if both else None,
        covariance_mm=float(covariance[0, 1]) if both else 0.0,
        readings=len(table.readings),
        rings=len({(r.photo, r.ring) for r in table.readings}),
        bound=_bound(shots, table, light),
    )


def apply_correction(result: Result, correction: Correction) -> Result:
    """Correct a photo's sizes, and say so.

    In the same set-up the causes that the correction replaces leave the budget; in another one
    they stay, the correction's own doubt joins, and a warning says what differs.
    """
    scale = result.scale
    set_up = SetUp(
        kind=scale.kind,
        reference=scale.reference,
        mm_per_px=scale.mm_per_px,
        u_rel=scale.u_rel,
        camera_height_mm=scale.camera_height_mm,
    )
    same_photo = result.photo.sha256 in correction.bound.photos_sha256
    colours = [ring.colour for ring in result.measured if ring.colour]
    strange = differences(correction.bound, set_up, colours)
    kept = _kept_shares(correction, same_photo=same_photo, fits=not strange)
    rings = tuple(
        _corrected(ring, correction, kept) if ring.wire_mm is not None else ring
        for ring in result.rings
    )
    return replace(
        result,
        rings=rings,
        scale=replace(scale, notes=(*scale.notes, correction.words, *_light_note(correction))),
        warnings=(*result.warnings, *strange),
        correction=correction_record(correction),
    )


def differences(bound: Bound, set_up: SetUp, colours: Sequence[str]) -> tuple[str, ...]:
    """Say how a photo's set-up differs from the one of a correction; empty where it does not.

    A colour is a guess, ring by ring: only where most rings have another one is it another metal.
    """
    said = []
    made, here = f"{bound.kind} {bound.reference}", f"{set_up.kind} {set_up.reference}"
    if made != here:
        said.append(f"the scale comes from {here}, the correction from {made}")
    elif bound.sheet_version not in (None, SHEET_VERSION):
        said.append(
            f"the sheet has version {SHEET_VERSION}, the correction's had {bound.sheet_version}"
        )
    elif _ratio(bound.u_scale_rel, set_up.u_rel) > PRINT_KNOWN:
        said.append(
            f"the scale is known to {200 * set_up.u_rel:.2f} %, it was to "
            f"{200 * bound.u_scale_rel:.2f} %: are --bar-x and --bar-y given as they were then?"
        )
    if _ratio(bound.mm_per_px, set_up.mm_per_px) > PIXEL_CHANGE:
        said.append(
            f"a pixel is {set_up.mm_per_px:.4f} mm, it was {bound.mm_per_px:.4f} mm: "
            "the rim looks different"
        )
    foreign = [colour for colour in colours if colour not in bound.colours]
    if bound.colours and 2 * len(foreign) > len(colours):
        said.append(
            f"rings here look {', '.join(sorted(set(foreign)))}, the correction was made on "
            f"{', '.join(bound.colours)} ones: another metal has another rim"
        )
    return tuple(
        f"this is not the set-up of the correction: {text}. U is not shrunk; check again with "
        "annulet spotcheck"
        for text in said
    )


def correction_record(correction: Correction) -> dict[str, Any]:
    """The correction as plain values, for result files and its own file."""
    bound = correction.bound
    return {
        "format": CORRECTION_FORMAT,
        "version": CORRECTION_VERSION,
        "factor": correction.factor,
        "u_factor": correction.u_factor,
        "rim_mm": correction.rim_mm,
        "u_rim_mm": correction.u_rim_mm,
        "covariance_mm": correction.covariance_mm,
        "readings": correction.readings,
        "rings": correction.rings,
        "set_up": {
            "kind": bound.kind,
            "reference": bound.reference,
            "sheet_version": bound.sheet_version,
            "mm_per_px": bound.mm_per_px,
            "u_scale_rel": bound.u_scale_rel,
            "colours": list(bound.colours),
            "light": bound.light,
            "photos_sha256": list(bound.photos_sha256),
        },
    }


def _supports_rim(table: Table) -> bool:
    """Whether scale and rim can be told apart well enough by the readings alone."""
    wires = {(r.photo, r.ring) for r in table.readings if r.what is What.WIRE}
    wide = {(r.photo, r.ring) for r in table.readings if r.what is not What.WIRE}
    if min(len(wires), len(wide)) < RIM_LEAST_RINGS:
        return False
    _, covariance = estimate(table, prior=False)
    u_scale, u_rim = np.sqrt(np.diag(covariance))
    return bool(u_scale <= SCALE_MOST_U and u_rim <= RIM_MOST_U_MM)


def _scale_alone(table: Table, *, prior: bool) -> tuple[Array, Array]:
    """Fit the scale (1,) with its variance (1, 1); the unknown rim joins the covariance."""
    growth, sign = table.design.T
    covariance = table.own + table.prior[1, 1] * np.outer(sign, sign)
    weighed = np.linalg.solve(covariance, growth)
    information = float(growth @ weighed)
    if prior and table.prior[0, 0] > 0:
        information += 1.0 / float(table.prior[0, 0])
    value = float(weighed @ table.difference_mm) / information
    return np.array([value]), np.array([[1.0 / information]])


def _bound(shots: Sequence[Shot], table: Table, light: str) -> Bound:
    used = [shots[k] for k in sorted({r.photo for r in table.readings})]
    first = used[0].set_up
    return Bound(
        kind=first.kind,
        reference=first.reference,
        sheet_version=SHEET_VERSION if first.kind == "sheet" else None,
        mm_per_px=float(np.median([shot.set_up.mm_per_px for shot in used])),
        u_scale_rel=float(np.median([shot.set_up.u_rel for shot in used])),
        colours=tuple(sorted({ring.colour for ring in table.rings if ring.colour})),
        light=light,
        photos_sha256=tuple(shot.photo.sha256 for shot in used),
    )


def _light_note(correction: Correction) -> tuple[str, ...]:
    light = correction.bound.light
    return (f"the correction holds in this light: {light}",) if light else ()


def _ratio(one: float, other: float) -> float:
    low, high = sorted((one, other))
    return high / low if low > 0 else (1.0 if high == low else float("inf"))


def _kept_shares(correction: Correction, *, same_photo: bool, fits: bool) -> dict[str, float]:
    """By cause: share of the variance that stays beside the correction; 1 where not named."""
    if not fits:
        return {}
    again = 0.0 if same_photo or correction.bound.kind != "coin" else AGAIN_SHARE
    shares = dict.fromkeys(REFERENCE_CAUSES, again)
    if correction.rim_mm is not None:
        shares[OUTLINE] = 1.0 - RIM_SHARE
    return shares


def _corrected(ring: Ring, correction: Correction, kept: Mapping[str, float]) -> Ring:
    wire, inside = ring.wire_mm, ring.id_mm
    od, ratio = ring.od_mm, ring.ar
    assert wire is not None and inside is not None and od is not None and ratio is not None
    rim = correction.rim_mm or 0.0
    factor = correction.factor
    new_wire, new_inside = factor * wire.value + rim, factor * inside.value - rim
    if new_wire <= 0 or new_inside <= 0:
        raise CorrectionError(
            f"the correction leaves nothing of ring {ring.number}: wire {new_wire:.3f} mm, "
            f"ID {new_inside:.3f} mm",
            hint="it was made for larger rings; measure without --correction",
        )
    new_ratio = new_inside / new_wire
    by_factor = (inside.value - new_ratio * wire.value) / new_wire
    by_rim = -(1.0 + new_ratio) / new_wire
    return replace(
        ring,
        wire_mm=_quantity(wire, new_wire, factor, kept, correction, (wire.value, 1.0)),
        id_mm=_quantity(inside, new_inside, factor, kept, correction, (inside.value, -1.0)),
        od_mm=_quantity(od, new_inside + 2.0 * new_wire, factor, kept, correction, (od.value, 1.0)),
        ar=_quantity(
            ratio, new_ratio, new_ratio / ratio.value, kept, correction, (by_factor, by_rim)
        ),
    )


def _quantity(
    old: Quantity,
    value: float,
    growth: float,
    kept: Mapping[str, float],
    correction: Correction,
    sensitivity: tuple[float, float],
) -> Quantity:
    """Replace the causes that the correction covers by its own doubt."""
    parts = {
        cause: part * growth * float(np.sqrt(kept.get(cause, 1.0)))
        for cause, part in old.parts.items()
        if kept.get(cause, 1.0) > 0
    }
    by_factor, by_rim = sensitivity
    u_rim = correction.u_rim_mm or 0.0
    variance = (
        (by_factor * correction.u_factor) ** 2
        + (by_rim * u_rim) ** 2
        + 2.0 * by_factor * by_rim * correction.covariance_mm
    )
    parts[CAUSE] = float(np.sqrt(max(variance, 0.0)))
    return Quantity(value=value, parts=parts)
