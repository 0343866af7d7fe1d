"""Several results of the same rings as one: what changes between the photos averages out.

A cause of doubt that the photos share stays as it is: the print or the coin, the camera's height
by its focal length, the slope of a ring at rest, and also tilt and lens, because the rings'
own ovality, which tells them, is the same in all photos. What is new in each photo averages out:
the trace of the coin's rim, the sheet's corners, and the larger part of what the outlines do. For
that last part the stated doubt gives way to what is seen: how far the photos are apart.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.batch.sample import APART
from vision.results import SUMMARY_NAMES, Quantity, Result, Ring, Status, Wire
from vision.together.agree import Agreement, agree
from vision.together.doubts import chance_of, joint_parts, new_in_photo, rim_of
from vision.together.photos import Row, Taken, doubts_about, is_measured, note_of, photos_taken
from vision.together.places import Match, Move, TogetherError, match
from vision.together.wires import JoinedWire, join_wires

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joined:
    """One ring: what each photo says, and what all say."""

    number: int
    """In the first photo, and in the combined result."""
    seen: tuple[Ring | None, ...]
    """By photo; None where it is not at its place. May be unusable."""
    combined: Ring

    @property
    def readings(self) -> int:
        """How many photos its numbers come from."""
        if self.combined.status is not Status.MEASURED:
            return 0
        return sum(is_measured(ring) for ring in self.seen)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Together:
    """Several photos of the same rings."""

    result: Result
    """Of the first photo, with the combined numbers."""
    photos: tuple[Taken, ...]
    rings: tuple[Joined, ...]
    wires: tuple[JoinedWire, ...]
    agreement: Mapping[str, Agreement]
    """By quantity: `wire_mm`, `id_mm`, `od_mm`, `ar`; its rings are those of `measured`."""
    measured: tuple[int, ...]
    """Numbers of the rings that have a reading, in the order of the agreement."""


def combine(results: Sequence[Result]) -> Together:
    """Combine photos of the same rings, which lie in all of them as they lay in the first.

    Returns
    -------
    The rings of the first photo with their numbers there. A ring whose size differs between photos
    by more than chance is unusable with that reason; one that is not at its place in some photo
    keeps what the others say of it, with a warning.

    Raises
    ------
    TogetherError
        Fewer than two photos, the same photo twice, different references or wires, or rings that
        are not the same or that cannot be told apart.
    """
    _check(results)
    first = results[0]
    matches = [Match(move=Move(), pairs=tuple((i, i) for i in range(len(first.rings))))]
    matches += [match(first, other) for other in results[1:]]
    rows = _rows(results, matches)
    used = [row for row in rows if any(map(is_measured, row))]
    weights = _weights(used)
    agreement = {name: _agreement(name, used, weights, results) for name in SUMMARY_NAMES}
    odd = agreement["wire_mm"].odd | agreement["id_mm"].odd
    place = {id(row): index for index, row in enumerate(used)}
    joined = []
    for row, ring in zip(rows, first.rings, strict=True):
        index = place.get(id(row))
        if index is None:
            combined = ring
        elif odd[index]:
            combined = _refused(ring, row, results)
        else:
            combined = _combined(ring, index, row, results, weights, agreement)
        joined.append(Joined(number=ring.number, seen=row, combined=combined))
    photos = photos_taken(results, matches, rows, weights, agreement)
    numbers = tuple(
        ring.number for row, ring in zip(rows, first.rings, strict=True) if id(row) in place
    )
    wires = join_wires(results, matches)
    result = replace(
        first,
        rings=tuple(each.combined for each in joined),
        wires=tuple(each.combined for each in wires),
        warnings=(*first.warnings, *doubts_about(results, matches, photos, agreement)),
        notes=(*first.notes, note_of(photos)),
        settings={**first.settings, "same_rings": [photo.sha256 for photo in photos]},
    )
    whole = Together(
        result=result,
        photos=photos,
        rings=tuple(joined),
        wires=wires,
        agreement=agreement,
        measured=numbers,
    )
    return replace(whole, result=replace(result, same_rings=_record(whole)))


def _check(results: Sequence[Result]) -> None:
    if len(results) < 2:
        raise TogetherError(
            "one photo of the rings has nothing to be combined with",
            hint="take two or three of the same untouched rings: turn the sheet half a turn, or "
            "move the camera or the lamp in between",
        )
    known: dict[str, str] = {}
    for result in results:
        if result.photo.sha256 in known:
            raise TogetherError(
                f"{known[result.photo.sha256]} and {result.photo.file} are the same photo, which "
                "says nothing new",
                hint="give each photo once; take another one of the same rings",
            )
        known[result.photo.sha256] = result.photo.file
        if result.profile != results[0].profile:
            raise TogetherError("the photos were measured with different shapes of wire")


def _rows(results: Sequence[Result], matches: Sequence[Match]) -> list[Row]:
    """For each ring of the first photo: what each photo has at its place."""
    found = [dict(each.pairs) for each in matches]
    return [
        tuple(
            result.rings[pairs[i]] if i in pairs else None
            for result, pairs in zip(results, found, strict=True)
        )
        for i in range(len(results[0].rings))
    ]


def _column(rows: Sequence[Row], name: str, take: Any) -> Array:
    """(n, p) of one quantity; NaN where there is no reading."""
    return np.array(
        [
            [take(getattr(ring, name)) if is_measured(ring) else np.nan for ring in row]
            for row in rows
        ]
    )


def _weights(rows: Sequence[Row]) -> Array:
    """Share of each photo (p,), by what it states of chance in wire and ID over all its rings."""
    wire, inside = (_column(rows, name, chance_of) for name in ("wire_mm", "id_mm"))
    squares = wire**2 + inside**2
    with np.errstate(invalid="ignore"):
        typical = np.array([np.median(column[np.isfinite(column)]) for column in squares.T])
    weights: Array = (1.0 / typical) / np.sum(1.0 / typical)
    return weights


def _agreement(
    name: str, rows: Sequence[Row], weights: Array, results: Sequence[Result]
) -> Agreement:
    common = []
    for j, result in enumerate(results):
        quantities = [getattr(row[j], name) for row in rows if is_measured(row[j])]
        each = [
            math.hypot(*new_in_photo(q, name, result).values(), rim_of(q)) / q.value
            for q in quantities
        ]
        common.append(float(np.median(each)))
    return agree(
        _column(rows, name, lambda quantity: quantity.value),
        _column(rows, name, chance_of),
        np.array(common),
        weights,
    )


def _combined(
    ring: Ring,
    index: int,
    row: Row,
    results: Sequence[Result],
    weights: Array,
    agreement: Mapping[str, Agreement],
) -> Ring:
    """A ring of the first photo with what all photos say of its size."""
    there = [j for j, each in enumerate(row) if is_measured(each)]
    share = weights[there] / weights[there].sum()
    sizes = {name: float(agreement[name].values[index]) for name in ("wire_mm", "id_mm")}
    sizes["od_mm"] = sizes["id_mm"] + 2.0 * sizes["wire_mm"]
    sizes["ar"] = sizes["id_mm"] / sizes["wire_mm"]
    quantities = {}
    for name, value in sizes.items():
        each = [getattr(row[j], name) for j in there]
        used = [results[j] for j in there]
        agreed = agreement[name]
        parts = joint_parts(name, each, used, share, agreed.stretch)
        parts[APART] = float(agreed.u_chance[index])
        quantities[name] = Quantity(value=value, parts=parts)
    said = [text for j in there for text in getattr(row[j], "warnings", ())]
    source = row[there[0]]
    assert source is not None
    return replace(
        ring,
        status=Status.MEASURED,
        reasons=(),
        warnings=tuple(dict.fromkeys((*said, *_missing(row, results)))),
        ovality=source.ovality,
        ovality_u95=source.ovality_u95,
        gap_mm=source.gap_mm,
        gap_u95_mm=source.gap_u95_mm,
        gap_deg=ring.gap_deg,
        gap_u95_deg=ring.gap_u95_deg,
        ends_mm=source.ends_mm,
        ends_u95_mm=source.ends_u95_mm,
        colour=source.colour,
        wire_mm=quantities["wire_mm"],
        id_mm=quantities["id_mm"],
        od_mm=quantities["od_mm"],
        ar=quantities["ar"],
    )


def _missing(row: Row, results: Sequence[Result]) -> list[str]:
    """Say which photos a ring's numbers do not come from."""
    said = []
    lost = [r.photo.file for each, r in zip(row, results, strict=True) if each is None]
    if lost:
        said.append(f"not at its place in {' and '.join(lost)}: moved, or not seen there")
    refused = [
        f"{r.photo.file} ({'; '.join(each.reasons)})"
        for each, r in zip(row, results, strict=True)
        if each is not None and each.status is Status.UNUSABLE
    ]
    if refused:
        said.append(f"not measured in {' and '.join(refused)}")
    if said and sum(map(is_measured, row)) == 1:
        said.append("measured in one photo only: nothing to combine")
    return said


def _refused(ring: Ring, row: Row, results: Sequence[Result]) -> Ring:
    """A ring whose readings are farther apart than chance: no number is given for it."""
    said = ", ".join(
        f"{result.photo.file} wire {each.wire_mm.value:.2f} ID {each.id_mm.value:.2f}"
        for each, result in zip(row, results, strict=True)
        if each is not None and each.wire_mm is not None and each.id_mm is not None
    )
    return Ring(
        number=ring.number,
        center_px=ring.center_px,
        center_mm=ring.center_mm,
        radius_px=ring.radius_px,
        status=Status.UNUSABLE,
        reasons=(f"the photos disagree about its size ({said}): swapped, or badly seen in one",),
        cell=ring.cell,
    )


def _record(whole: Together) -> dict[str, Any]:
    """What the result file tells of the single photos, as plain values."""
    return {
        "photos": [
            {
                "file": photo.file,
                "sha256": photo.sha256,
                "weight": photo.weight,
                "turned_deg": photo.turned_deg,
                "wire_rel": photo.wire_rel,
                "id_rel": photo.id_rel,
                "rings": photo.rings,
            }
            for photo in whole.photos
        ],
        "agreement": {
            name: {
                "observed_over_stated": agreed.ratio if agreed.degrees else None,
                "degrees": agreed.degrees,
                "widened": agreed.stretch,
            }
            for name, agreed in whole.agreement.items()
        },
        "rings": [
            {"number": each.number, "seen": [_seen(ring) for ring in each.seen]}
            for each in whole.rings
        ],
        "wires": [
            {"number": each.number, "seen": [_seen_wire(wire) for wire in each.seen]}
            for each in whole.wires
        ],
    }


def _seen(ring: Ring | None) -> dict[str, Any] | None:
    """A ring as one photo shows it; None where it is not at its place."""
    if ring is None:
        return None
    told: dict[str, Any] = {"number": ring.number, "status": ring.status.value}
    for name in ("wire", "id"):
        quantity = getattr(ring, f"{name}_mm")
        told[f"{name}_mm"] = quantity.value if quantity else None
        told[f"{name}_u95_mm"] = quantity.u95 if quantity else None
    return told


def _seen_wire(wire: Wire | None) -> dict[str, Any] | None:
    """A piece of wire as one photo shows it; None where it is not at its place."""
    if wire is None:
        return None
    return {
        "number": wire.number,
        "status": wire.status.value,
        "wire_mm": wire.wire_mm.value if wire.wire_mm else None,
        "wire_u95_mm": wire.wire_mm.u95 if wire.wire_mm else None,
    }
