"""What several photos of the same rings gain over one of them, with exact truth.

    python -m tests.accuracy.turned FOLDER

The folder holds the photos of `python -m tests.scenes.render --set turned`. For each scene and for
all: rings, bias, median, 95 % and largest error in mm and the share that U covers, mean U; single
photos first, then the photos combined. Pieces of straight wire beside the rings have rows of their
own.
"""

import json
import sys
from collections import defaultdict
from itertools import combinations
from pathlib import Path

import numpy as np

from tests.accuracy.truth import TruePhoto, match, photos_with_truth, wire_at
from vision.errors import VisionError
from vision.pipeline import measure_photo
from vision.results import Quantity, Result, Ring, Status
from vision.scale.reference import Reference
from vision.spotcheck.model import RIM_SHARE
from vision.together.combine import Together, combine

Errors = dict[str, list[tuple[float, float]]]
"""By quantity: error and U of each ring."""


def main(folder: Path) -> None:
    """Measure, combine and compare."""
    single: list[Errors] = []
    joined: list[Errors] = []
    single_of_joined: list[Errors] = []
    widths_alone: list[Errors] = []
    widths_joined: list[Errors] = []
    print(f"{'':{WIDTH}} {'n':>4}   {COLUMNS}")
    for scene, photos in scenes_in(folder).items():
        pairs = [(photo, result) for photo in photos if (result := measured(photo)) is not None]
        alone = [errors_of(photo, result) for photo, result in pairs]
        for (photo, result), errors in zip(pairs, alone, strict=True):
            print_line(photo.path.stem, errors)
            print_line(f"{INDENT}wire", widths_of(photo, result))
        single += alone
        if len(pairs) < 2:
            continue
        try:
            whole = combine([result for _, result in pairs])
        except VisionError as error:
            print(f"{scene[:WIDTH]} refused: {error}")
            continue
        first = pairs[0][0]
        together = errors_of(first, whole.result)
        print_line(f"{scene} together", together)
        print_line(f"{INDENT}wire", widths_of(first, whole.result))
        widths_alone += [widths_of(photo, result) for photo, result in pairs]
        widths_joined.append(widths_of(first, whole.result))
        joined.append(together)
        single_of_joined += alone
        say_moved(photos, whole)
        print(
            f"{INDENT}wire errors that photos share: {shared_wire(pairs):.2f} of the outline's "
            f"stated variance, {RIM_SHARE:.2f} is counted"
        )
    print()
    print_line("single photos", merged(single_of_joined))
    print_line("together", merged(joined))
    print_line("wire in single photos", merged(widths_alone))
    print_line("wire together", merged(widths_joined))


WIDTH, INDENT = 35, 8 * " "
COLUMNS = "wire bias  p50   p95   max  cover   U      ID bias  p50   p95   max  cover   U"


def scenes_in(folder: Path) -> dict[str, list[TruePhoto]]:
    """Photos by scene, each scene's in the order of their names."""
    scenes: dict[str, list[TruePhoto]] = defaultdict(list)
    for photo in photos_with_truth([folder]):
        if photo.path.exists():
            scenes[photo.path.stem.rsplit("-", 1)[0]].append(photo)
    return scenes


def measured(photo: TruePhoto) -> Result | None:
    """Measure a photo as a person would; None where it is refused."""
    bars = photo.bars_mm or (None, None)
    reference = Reference(
        coin=None if photo.sheet else photo.coin, bar_x_mm=bars[0], bar_y_mm=bars[1]
    )
    try:
        return measure_photo(photo.path, reference)
    except VisionError as error:
        print(f"{photo.path.stem} refused: {error}")
        return None


def errors_of(photo: TruePhoto, result: Result) -> Errors:
    """Errors of the measured rings of one photo, or of the result that bears its numbers."""
    places = np.array([ring.center_px for ring in result.rings]).reshape(-1, 2)
    found: Errors = {"wire_mm": [], "id_mm": []}
    for index, place in match(photo.rings, places).items():
        truth, ring = photo.rings[index], result.rings[place]
        if truth.measurable and ring.status is Status.MEASURED:
            for name, errors in found.items():
                quantity: Quantity = getattr(ring, name)
                errors.append((quantity.value - getattr(truth, name), quantity.u95))
    return found


def widths_of(photo: TruePhoto, result: Result) -> Errors:
    """Errors of the measured pieces of wire, likewise."""
    found: Errors = {"wire_mm": []}
    for wire in result.wires:
        truth = wire_at(photo.wires, wire.center_px)
        if truth is not None and truth.measurable and wire.wire_mm is not None:
            found["wire_mm"].append((wire.wire_mm.value - truth.wire_mm, wire.wire_mm.u95))
    return found


def shared_wire(pairs: list[tuple[TruePhoto, Result]]) -> float:
    """Covariance of two photos' wire errors over the stated variance of the outline, all pairs."""
    errors, stated = [], []
    for photo, result in pairs:
        places = np.array([ring.center_px for ring in result.rings]).reshape(-1, 2)
        row = np.full(len(photo.rings), np.nan)
        for index, place in match(photo.rings, places).items():
            wire = result.rings[place].wire_mm
            if wire is not None:
                row[index] = wire.value - photo.rings[index].wire_mm
                stated.append(wire.parts["outline"] ** 2)
        errors.append(row)
    shares = []
    for one, two in combinations(errors, 2):
        both = np.isfinite(one) & np.isfinite(two)
        shares.append(float(np.cov(one[both], two[both])[0, 1]))
    return float(np.mean(shares) / np.median(stated))


def merged(some: list[Errors]) -> Errors:
    """All errors of several photos."""
    names = dict.fromkeys(name for errors in some for name in errors)
    return {name: [e for errors in some for e in errors[name]] for name in names}


def print_line(name: str, errors: Errors) -> None:
    """Print one row."""
    cells = []
    for each in errors.values():
        off, u95 = np.array(each).reshape(-1, 2).T
        if not len(off):
            return
        size = np.abs(off)
        cells.append(
            f"{off.mean():+8.3f} {np.median(size):5.3f} {np.quantile(size, 0.95):5.3f} "
            f"{size.max():5.3f} {np.mean(size <= u95):5.2f} {u95.mean():5.3f}"
        )
    print(f"{name[:WIDTH]:{WIDTH}} {len(errors['wire_mm']):4}   {'   '.join(cells)}", flush=True)


def say_moved(photos: list[TruePhoto], whole: Together) -> None:
    """Say what became of rings that were moved, and print each scatter over the stated one."""
    agreed = whole.agreement
    print(
        f"{INDENT}observed over stated: wire {agreed['wire_mm'].ratio:.2f}, "
        f"ID {agreed['id_mm'].ratio:.2f}; photos apart by "
        f"{100 * np.ptp(agreed['wire_mm'].photos):.2f} % and "
        f"{100 * np.ptp(agreed['id_mm'].photos):.2f} %"
    )
    for photo in photos:
        told = json.loads(photo.path.with_suffix(".truth.json").read_text(encoding="utf-8"))
        for name in (told["same_rings"] or {"moved": []})["moved"]:
            said = _said(photos[0], name, whole)
            print(f"{INDENT}{name} was moved before {photo.path.stem}: {said}")
    for warning in whole.result.warnings:
        print(f"{INDENT}{warning}")


def _said(first: TruePhoto, name: str, whole: Together) -> str:
    rings = whole.result.rings
    places = np.array([ring.center_px for ring in rings]).reshape(-1, 2)
    index = next(k for k, ring in enumerate(first.rings) if ring.name == name)
    matched = match(first.rings, places)
    ring: Ring | None = rings[matched[index]] if index in matched else None
    return "; ".join((*ring.warnings, *ring.reasons)) if ring is not None else "not found"


if __name__ == "__main__":
    main(Path(sys.argv[1]))
