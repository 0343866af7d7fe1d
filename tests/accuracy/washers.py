"""Real parts: steel washers whose diameters a coordinate measuring machine took.

    python -m tests.accuracy.washers [FOLDER]

The photos lie beside the checkout, where they are: public data files of the repository
agpoyraz/Concentricity_Measurement (MIT licence, 2024), truth from its CMM_Measurements.xlsx, good
to about 0.01 mm. No reference is in view: the first washer's outer diameter states the scale of
its camera, and the others are measured with it. A washer is flat and the lens telecentric, so the
view is stated as parallel, and the torus's inner and outer outline are the washer's own.

Nobody can know how far an overexposed light eats into a dark edge. That error is the same for
every edge of a camera, so a second table takes it, with the scale, from both diameters of the
first washer: what `annulet spotcheck` does with caliper readings.
"""

import math
import sys
from dataclasses import dataclass
from pathlib import Path

from vision.errors import VisionError
from vision.pipeline import measure_photo
from vision.results import Quantity
from vision.scale.reference import Reference

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "photos" / "washers"


@dataclass(frozen=True, slots=True, kw_only=True)
class Washer:
    """One photo of one washer, diameters by CMM."""

    file: str
    od_mm: float
    id_mm: float


CAMERAS = {
    "telecentric, back-lit": (
        57.5,
        (
            Washer(file="CCD4_0001.png", od_mm=23.6644, id_mm=19.0495),
            Washer(file="CCD4_0015.png", od_mm=23.6641, id_mm=19.0056),
            Washer(file="CCD4_0029.png", od_mm=23.6911, id_mm=19.0243),
        ),
    ),
    "normal lens, ring light from the front; the bevel makes the hole read 0.12 mm large": (
        28.5,
        (Washer(file="CCD3_0001.png", od_mm=23.6644, id_mm=19.0495),),
    ),
}
"""By camera: pixels a millimetre, about, and its photos; the first one states the scale."""


def main(folder: Path) -> None:
    """Measure the washers and print how they agree with the measuring machine."""
    if not folder.is_dir():
        print(f"no photos of washers at {folder}: nothing to compare")
        return
    for camera, (px_per_mm, washers) in CAMERAS.items():
        here = [washer for washer in washers if (folder / washer.file).is_file()]
        if not here:
            print(f"{camera}: none of its photos is there")
            continue
        print(camera)
        compare(folder, here, px_per_mm)


def compare(folder: Path, washers: list[Washer], px_per_mm: float) -> None:
    """Print measured less true diameters, the scale taken from the first washer."""
    first = washers[0]
    try:
        seen_od, seen_id = sizes(folder / first.file, 1.0 / px_per_mm)
        mm_per_px = first.od_mm / seen_od.value / px_per_mm
        measured = [sizes(folder / washer.file, mm_per_px) for washer in washers]
    except VisionError as error:
        print(f"  refused: {error}")
        return
    u95_scale = seen_od.u95 / seen_od.value
    stretch = (first.od_mm + first.id_mm) / (seen_od.value + seen_id.value) * seen_od.value
    stretch /= first.od_mm
    rim = first.od_mm * (1.0 - stretch)
    print(f"  scale from the outer diameter of {first.file}: {mm_per_px:.6f} mm/px")
    print(f"  rim and scale from both: {rim:+.4f} mm, {stretch * mm_per_px:.6f} mm/px")
    print("  photo             OD error ± U       ID error ± U       with the rim: OD, ID")
    for washer, (od, inside) in zip(washers, measured, strict=True):
        with_rim = (
            stretch * od.value + rim - washer.od_mm,
            stretch * inside.value - rim - washer.id_mm,
        )
        print(
            f"  {washer.file:16} {off(od, washer.od_mm, u95_scale)}  "
            f"{off(inside, washer.id_mm, u95_scale)}  {with_rim[0]:+14.3f} {with_rim[1]:+.3f}"
            f"{'  (sets the scale)' if washer is first else ''}"
        )


def sizes(path: Path, mm_per_px: float) -> tuple[Quantity, Quantity]:
    """Outer and inner diameter of the one whole washer in a photo."""
    result = measure_photo(path, Reference(mm_per_px=mm_per_px))
    if len(result.measured) != 1:
        raise VisionError(f"{len(result.measured)} whole washers in {path.name}, expected one")
    ring = result.measured[0]
    assert ring.od_mm is not None and ring.id_mm is not None
    return ring.od_mm, ring.id_mm


def off(measured: Quantity, true_mm: float, u95_scale: float) -> str:
    """Measured less true; U with the doubt about the first washer's outline; `!` beyond it."""
    error = measured.value - true_mm
    u95 = math.hypot(measured.u95, u95_scale * measured.value)
    return f"{error:+8.3f} ± {u95:.3f}{' ' if abs(error) <= u95 else '!'}"


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
