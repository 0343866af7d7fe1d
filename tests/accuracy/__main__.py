"""How well annulet measures, beside two plain methods, on photos with exact truth.

    python -m tests.accuracy [FOLDER ...]

Without folders: the sample images, and the photos beside the checkout where they are. Columns:
measurable rings, of these found, refused, missed; rings measured that overlap, stand or are cut off
(bad); rings invented; errors in mm; share of rings whose error U covers; spread of error over u;
the median error that noise alone would leave (`bound.py`).
Photos with pieces of wire, true or invented, get a line of their own, and a table of wires at the
end.
"""

import sys
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.accuracy.bound import least_errors
from tests.accuracy.peers import PeerRing, by_opencv, by_skimage
from tests.accuracy.truth import BESIDE, SAMPLES, TruePhoto, match, photos_with_truth, wire_at
from vision.errors import VisionError
from vision.photo.decode import read_photo
from vision.pipeline import measure
from vision.results import Result, Status
from vision.rings.section import Profile
from vision.scale.reference import Reference

NOT_KNOWN = (np.nan, np.nan)


@dataclass(frozen=True, slots=True, kw_only=True)
class Error:
    """One measured ring against its truth."""

    method: str
    photo: str
    surface: str
    light: str
    material: str
    wire_mm: float
    id_mm: float
    wire_u95_mm: float = np.nan
    id_u95_mm: float = np.nan
    wire_least_mm: float = np.nan
    id_least_mm: float = np.nan
    """Median size of the error that noise alone would leave."""


@dataclass(slots=True)
class Count:
    """Rings of one method in one photo."""

    measurable: int = 0
    found: int = 0
    refused: int = 0
    missed: int = 0
    wrongly_measured: int = 0
    invented: int = 0

    def add(self, other: "Count") -> None:
        """Sum up."""
        for name in self.__slots__:
            setattr(self, name, getattr(self, name) + getattr(other, name))


def main(folders: list[Path]) -> None:
    """Measure every photo, print a line each, then tables over all."""
    errors: list[Error] = []
    wires: list[WireError] = []
    missed = invented = 0
    totals: dict[str, Count] = defaultdict(Count)
    print(f"{'photo':24} {'method':8} {'n':>3} fnd ref mis bad inv   {COLUMNS}")
    for photo in photos_with_truth(folders):
        found, result = measured(photo)
        if photo.wires or (result is not None and result.wires):
            pieces = _wires(photo, result)
            wires += pieces.errors
            missed, invented = missed + pieces.missed, invented + pieces.invented
            print(f"{photo.path.stem[:24]:24} wires    {_wire_line(pieces.errors)}")
        for method, (count, some) in found.items():
            errors += some
            totals[method].add(count)
            print(f"{photo.path.stem[:24]:24} {method:8} {_counts(count)}   {_line(some)}")
    print()
    for method, count in totals.items():
        mine = [e for e in errors if e.method == method]
        print(f"{'all photos':24} {method:8} {_counts(count)}   {_line(mine)}")
    ours = [e for e in errors if e.method == "annulet"]
    for group in ("material", "surface", "light"):
        print(f"\nannulet by {group:13} {'n':>4}   {COLUMNS}")
        for name in sorted({getattr(e, group) for e in ours}):
            some = [e for e in ours if getattr(e, group) == name]
            print(f"{name:24} {len(some):4}   {_line(some)}")
    if wires or invented:
        print(f"\npieces of wire: {missed} missed or refused, {invented} invented")
        print(f"{'':24}    n   width bias  p50   p95   max   covered  spread of error/u")
        print(f"{'all':24} {_wire_line(wires)}")
        for group in ("material", "profile", "light"):
            for name in sorted({getattr(e, group) for e in wires}):
                print(f"{name:24} {_wire_line([e for e in wires if getattr(e, group) == name])}")


COLUMNS = (
    "wire bias  p50   p95   max   ID bias  p50   p95   max   covered wire, ID   spread of error/u"
    "   least p50"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WireError:
    """One measured piece of wire against its truth."""

    material: str
    profile: str
    light: str
    width_mm: float
    u95_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """The pieces of wire of one photo."""

    errors: list[WireError]
    missed: int
    invented: int


def _wires(photo: TruePhoto, result: Result | None) -> Pieces:
    errors, seen, invented = [], set(), 0
    for wire in result.wires if result is not None else ():
        truth = wire_at(photo.wires, wire.center_px)
        if wire.wire_mm is None:
            continue
        if truth is None:
            invented += 1
            continue
        seen.add(truth.name)
        errors.append(
            WireError(
                material=truth.material,
                profile=truth.profile,
                light=photo.light,
                width_mm=wire.wire_mm.value - truth.wire_mm,
                u95_mm=wire.wire_mm.u95,
            )
        )
    missed = sum(wire.measurable and wire.name not in seen for wire in photo.wires)
    return Pieces(errors=errors, missed=missed, invented=invented)


def _wire_line(errors: list[WireError]) -> str:
    if not errors:
        return "-"
    width, u95 = (np.array([getattr(e, f"{k}_mm") for e in errors]) for k in ("width", "u95"))
    z = 2 * width / u95
    spread = float(np.sqrt(np.mean(z**2)))
    return (
        f"{len(errors):4}   {_figures(width)}   {float(np.mean(np.abs(z) <= 2.0)):7.2f} "
        f"{spread:8.2f}"
    )


def measured(
    photo: TruePhoto,
) -> tuple[dict[str, tuple[Count, list[Error]]], Result | None]:
    """Errors and counts by method, and the result; annulet's own scale serves the peers too."""
    picture = read_photo(photo.path)
    bars = photo.bars_mm or (None, None)
    reference = Reference(
        coin=None if photo.sheet else photo.coin, bar_x_mm=bars[0], bar_y_mm=bars[1]
    )
    try:
        result = measure(picture, reference, Profile(photo.profile))
    except VisionError as error:
        print(f"{photo.path.stem[:24]:24} refused: {error}")
        lost = sum(ring.measurable for ring in photo.rings)
        return {"annulet": (Count(measurable=lost, missed=lost), [])}, None
    camera = result.scale.camera
    return {
        "annulet": errors_of(photo, result, least_errors(picture, result)),
        "opencv": _peer(photo, "opencv", by_opencv(picture.bgr, camera)),
        "skimage": _peer(photo, "skimage", by_skimage(picture.bgr, camera)),
    }, result


def errors_of(
    photo: TruePhoto, result: Result, least: dict[int, tuple[float, float]]
) -> tuple[Count, list[Error]]:
    places = np.array([ring.center_px for ring in result.rings]).reshape(-1, 2)
    matched = match(photo.rings, places)
    count, errors = Count(measurable=sum(r.measurable for r in photo.rings)), []
    for index, truth in enumerate(photo.rings):
        ring = result.rings[matched[index]] if index in matched else None
        if not truth.measurable:
            measured_it = ring is not None and ring.status is Status.MEASURED
            count.wrongly_measured += measured_it and not truth.only_touching
            continue
        if ring is None:
            count.missed += 1
        elif ring.status is Status.UNUSABLE:
            count.refused += 1
        else:
            count.found += 1
            assert ring.wire_mm is not None and ring.id_mm is not None
            errors.append(
                Error(
                    method="annulet",
                    photo=photo.path.stem,
                    surface=photo.surface,
                    light=photo.light,
                    material=truth.material,
                    wire_mm=ring.wire_mm.value - truth.wire_mm,
                    id_mm=ring.id_mm.value - truth.id_mm,
                    wire_u95_mm=ring.wire_mm.u95,
                    id_u95_mm=ring.id_mm.u95,
                    wire_least_mm=least.get(ring.number, NOT_KNOWN)[0],
                    id_least_mm=least.get(ring.number, NOT_KNOWN)[1],
                )
            )
    extra = set(range(len(result.rings))) - set(matched.values())
    count.invented = sum(result.rings[k].status is Status.MEASURED for k in extra)
    return count, errors


def _peer(photo: TruePhoto, method: str, rings: list[PeerRing]) -> tuple[Count, list[Error]]:
    places = np.array([(ring.x, ring.y) for ring in rings]).reshape(-1, 2)
    matched = match(photo.rings, places)
    count, errors = Count(measurable=sum(r.measurable for r in photo.rings)), []
    for index, truth in enumerate(photo.rings):
        if index not in matched:
            count.missed += truth.measurable
            continue
        if not truth.measurable:
            count.wrongly_measured += not truth.only_touching
            continue
        count.found += 1
        ring = rings[matched[index]]
        errors.append(
            Error(
                method=method,
                photo=photo.path.stem,
                surface=photo.surface,
                light=photo.light,
                material=truth.material,
                wire_mm=ring.wire_mm - truth.wire_mm,
                id_mm=ring.id_mm - truth.id_mm,
            )
        )
    count.invented = len(set(range(len(rings))) - set(matched.values()))
    return count, errors


def _counts(count: Count) -> str:
    return (
        f"{count.measurable:3} {count.found:3} {count.refused:3} {count.missed:3} "
        f"{count.wrongly_measured:3} {count.invented:3}"
    )


def _line(errors: list[Error]) -> str:
    if not errors:
        return "-"
    wire, inside = (np.array([getattr(e, f"{k}_mm") for e in errors]) for k in ("wire", "id"))
    text = f"{_figures(wire)}  {_figures(inside)}"
    u_wire, u_id = (np.array([getattr(e, f"{k}_u95_mm") for e in errors]) for k in ("wire", "id"))
    if np.isnan(u_wire).any():
        return text
    z_wire, z_id = 2 * wire / u_wire, 2 * inside / u_id
    covered = [float(np.mean(np.abs(z) <= 2.0)) for z in (z_wire, z_id)]
    spread = [float(np.sqrt(np.mean(z**2))) for z in (z_wire, z_id)]
    least = [
        float(np.median([getattr(e, f"{k}_least_mm") for e in errors])) for k in ("wire", "id")
    ]
    return (
        f"{text}   {covered[0]:7.2f} {covered[1]:6.2f}   {spread[0]:8.2f} {spread[1]:5.2f}   "
        f"{least[0]:.4f} {least[1]:.4f}"
    )


def _figures(errors: Iterable[float]) -> str:
    values = np.asarray(list(errors))
    size = np.abs(values)
    return (
        f"{values.mean():+8.3f} {np.median(size):5.3f} {np.quantile(size, 0.95):5.3f} "
        f"{size.max():5.3f}"
    )


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]] or [SAMPLES, BESIDE])
