"""Which share of the reader's doubt makes U cover what it says: `... coverage FOLDER ...`.

The doubt is calibrated on held-out crops of the training, which are harsher than whole photos: dark
cloth, burnt-out paper and bad cameras are more frequent there. Photos of another renderer tell how
much of it whole photos ask for. The share in `vision/rings/calibration.json` was chosen by this
table; photos that judge it must be others.
"""

import sys
from pathlib import Path

import numpy as np

from tests.accuracy.truth import TruePhoto, match, photos_with_truth
from vision.errors import VisionError
from vision.photo.decode import read_photo
from vision.pipeline import measure
from vision.results import Quantity
from vision.rings.budget import calibration
from vision.rings.section import Profile
from vision.scale.reference import Reference

SHARES = (1.0, 0.9, 0.8, 0.75, 0.7, 0.6, 0.5)
"""Of what the crops ask for."""

Row = tuple[float, float, float]


def main(folders: list[Path]) -> None:
    """Print how many rings U covers for each share, and the spread of error over u."""
    rows = [row for photo in photos_with_truth(folders) for row in _rings(photo)]
    error, outline, rest = np.moveaxis(np.array(rows).reshape(-1, 2, 3), 2, 0)
    print(f"{len(rows)} rings\nshare  covered wire, ID  spread of error/u")
    for share in SHARES:
        z = error / np.hypot(outline * share, rest)
        covered, spread = np.mean(np.abs(z) <= 2.0, axis=0), np.sqrt(np.mean(z**2, axis=0))
        print(
            f"{share:5.2f}  {covered[0]:10.3f} {covered[1]:5.3f}  {spread[0]:8.2f} {spread[1]:5.2f}"
        )


def _rings(photo: TruePhoto) -> list[tuple[Row, Row]]:
    """For wire and ID of each measured ring: error, doubt of the outline by the crops, the rest."""
    bars = photo.bars_mm or (None, None)
    reference = Reference(
        coin=None if photo.sheet else photo.coin, bar_x_mm=bars[0], bar_y_mm=bars[1]
    )
    try:
        rings = measure(read_photo(photo.path), reference, Profile(photo.profile)).rings
    except VisionError:
        return []
    matched = match(photo.rings, np.array([ring.center_px for ring in rings]).reshape(-1, 2))
    rows = []
    for index, number in matched.items():
        truth, ring = photo.rings[index], rings[number]
        if truth.measurable and ring.wire_mm is not None and ring.id_mm is not None:
            rows.append((_row(ring.wire_mm, truth.wire_mm), _row(ring.id_mm, truth.id_mm)))
    return rows


def _row(found: Quantity, true_mm: float) -> Row:
    rest = [part for cause, part in found.parts.items() if cause != "outline"]
    outline = found.parts["outline"] / calibration()["photos"]["share"]
    return found.value - true_mm, outline, float(np.linalg.norm(rest))


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
