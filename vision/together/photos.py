"""What is to be said of each photo of the same rings, and of all of them together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.results import Result, Ring, Status
from vision.together.agree import Agreement
from vision.together.places import Match

Array = NDArray[np.float64]
Row = tuple[Ring | None, ...]
"""One ring by photo; None where it is not at its place."""

COIN_MOVED_MM = 0.5
"""How far the coin may seem to be moved: tilt and scale shift it by 0.1 to 0.2 mm."""

ALIKE_TURN_DEG, ALIKE_MOVE = 25.0, 0.15
"""Views turned by less than this, from places nearer than this share of the camera's height, show
edges in the same light unless the lamp moved."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """One of the photos that were combined."""

    file: str
    sha256: str
    weight: float
    """Its share of a ring that all photos show."""
    turned_deg: float
    """By how much the table is turned against the first photo, anticlockwise in the picture; above
    -180, up to 180."""
    wire_rel: float
    id_rel: float
    """By how much it reads large against the mean of all photos."""
    rings: int
    """Rings of the first photo that it shows measured."""


def is_measured(ring: Ring | None) -> bool:
    """Whether a photo gives numbers for a ring."""
    return ring is not None and ring.status is Status.MEASURED


def photos_taken(
    results: Sequence[Result],
    matches: Sequence[Match],
    rows: Sequence[Row],
    weights: Array,
    agreement: Mapping[str, Agreement],
) -> tuple[Taken, ...]:
    """Describe each photo beside the others."""
    turns = [
        _heading(result) + each.move.turn_rad for result, each in zip(results, matches, strict=True)
    ]
    return tuple(
        Taken(
            file=result.photo.file,
            sha256=result.photo.sha256,
            weight=float(weights[j]),
            turned_deg=float(np.degrees(np.pi - (turns[j] - turns[0] + np.pi) % (2.0 * np.pi))),
            wire_rel=float(agreement["wire_mm"].photos[j]),
            id_rel=float(agreement["id_mm"].photos[j]),
            rings=sum(is_measured(row[j]) for row in rows),
        )
        for j, result in enumerate(results)
    )


def _heading(result: Result) -> float:
    """Direction of the picture's x axis on the table, radians."""
    right = result.scale.camera.rotation[0]
    return float(np.arctan2(right[1], right[0]))


def note_of(photos: Sequence[Taken]) -> str:
    """Say what the combined numbers come from."""
    names = ", ".join(photo.file for photo in photos)
    return (
        f"{len(photos)} photos of the same rings combined: {names}; places, numbers, gap and "
        "ovality are those of the first"
    )


def doubts_about(
    results: Sequence[Result],
    matches: Sequence[Match],
    photos: Sequence[Taken],
    agreement: Mapping[str, Agreement],
) -> tuple[str, ...]:
    """Warn of what keeps photos from being combined as they should."""
    return (
        *_their_own(results),
        *_strays(results, matches),
        *_coin_off(results, matches),
        *_apart(photos, agreement),
        *_alike(results, photos),
    )


def _their_own(results: Sequence[Result]) -> list[str]:
    """What the later photos say of themselves, beyond what the first one says."""
    first = {*results[0].scale.warnings, *results[0].warnings}
    said = []
    for result in results[1:]:
        findings = result.fitness.findings if result.fitness is not None else ()
        own = [*result.scale.warnings, *result.warnings, *(each.problem for each in findings)]
        said += [f"{result.photo.file}: {text}" for text in own if text not in first]
    return said


def _strays(results: Sequence[Result], matches: Sequence[Match]) -> list[str]:
    """Name measured rings of later photos that lie where the first has none."""
    said = []
    for result, each in zip(results[1:], matches[1:], strict=True):
        taken = {k for _, k in each.pairs}
        new = [
            str(ring.number)
            for k, ring in enumerate(result.rings)
            if k not in taken and ring.status is Status.MEASURED
        ]
        if new:
            several = len(new) > 1
            said.append(
                f"{result.photo.file}: its {'rings' if several else 'ring'} {', '.join(new)} "
                f"{'lie' if several else 'lies'} where {results[0].photo.file} has none: moved "
                "there or added; left out"
            )
    return said


def _coin_off(results: Sequence[Result], matches: Sequence[Match]) -> list[str]:
    """Say where the coin does not lie between the rings as it did in the first photo."""
    return [
        f"the coin in {result.photo.file} seems to lie {off:.1f} mm from where it lay in "
        f"{results[0].photo.file}: was it touched? else its rim is taken for its shadow's in one "
        "of them, and the scale with it; light the coin evenly"
        for result, each in zip(results, matches, strict=True)
        for off in [float(np.hypot(*each.move.shift_mm))]
        if off > COIN_MOVED_MM
    ]


def _apart(photos: Sequence[Taken], agreement: Mapping[str, Agreement]) -> list[str]:
    """Say where photos differ as a whole by more than their scales explain."""
    said = []
    for name, label in (("wire_mm", "wire"), ("id_mm", "ID")):
        if agreement[name].stretch > 1.0:
            effects = ", ".join(
                f"{photo.file} {100.0 * effect:+.2f} %"
                for photo, effect in zip(photos, agreement[name].photos, strict=True)
            )
            said.append(
                f"the photos differ in {label} as a whole by more than their U explains "
                f"({effects}): U is widened by that; is the camera level, is the coin or the "
                "sheet flat, in all of them?"
            )
    return said


def _alike(results: Sequence[Result], photos: Sequence[Taken]) -> list[str]:
    """Say when nothing was turned or moved: then only a moved lamp makes the photos differ."""
    first = results[0].scale.camera
    for result, photo in zip(results[1:], photos[1:], strict=True):
        camera = result.scale.camera
        moved = float(np.linalg.norm(camera.position - first.position)) / first.height_mm
        if abs(photo.turned_deg) > ALIKE_TURN_DEG or moved > ALIKE_MOVE:
            return []
    return [
        "all photos were taken from about the same place, and nothing was turned: shadows and "
        "reflections average out only if the lamp was moved; better turn sheet and rings half a "
        "turn"
    ]
