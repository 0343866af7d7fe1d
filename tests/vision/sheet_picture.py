"""Pictures of the scale sheet, drawn from the layout's data (not from the PDF).

Run as `python -m tests.vision.sheet_picture --paper a5 --dpi 600 --out FILE.png`; pixel (i, j)
covers the square from i to i + 1 pixels right of the page's left edge and j to j + 1 down from its
top edge.
"""

import argparse
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scale.sheet import Box, Label, Sheet, boxes_of, labels_of, sheet_for

MM_PER_INCH = 25.4
HERSHEY_CAPITAL = 21.0
"""Height of a capital in the units of OpenCV's stroke font (FONT_HERSHEY_SIMPLEX, scale 1)."""


def sheet_picture(sheet: Sheet, dpi: float) -> NDArray[np.uint8]:
    """The whole page as a grey picture (h, w), ink 0, paper 255, exact area coverage."""
    scale = dpi / MM_PER_INCH
    height, width = round(sheet.height_mm * scale), round(sheet.width_mm * scale)
    ink = np.zeros((height, width), dtype=np.float32)
    for box in boxes_of(sheet):
        _draw_box(ink, sheet, box, scale)
    picture = np.rint(255.0 * (1.0 - np.clip(ink, 0.0, 1.0))).astype(np.uint8)
    for label in labels_of(sheet):
        _draw_label(picture, sheet, label, scale)
    return picture


def to_picture(sheet: Sheet, points_mm: NDArray[np.float64], dpi: float) -> NDArray[np.float64]:
    """Sheet points (..., 2) mm as pixels of `sheet_picture` (pixel centres are integers)."""
    x = (points_mm[..., 0] + sheet.width_mm / 2) * dpi / MM_PER_INCH - 0.5
    y = (sheet.height_mm / 2 - points_mm[..., 1]) * dpi / MM_PER_INCH - 0.5
    return np.stack([x, y], axis=-1)


def _draw_box(ink: NDArray[np.float32], sheet: Sheet, box: Box, scale: float) -> None:
    left, right = ((edge + sheet.width_mm / 2) * scale for edge in (box.left, box.right))
    top, bottom = ((sheet.height_mm / 2 - edge) * scale for edge in (box.top, box.bottom))
    first_x, across = _coverage(left, right)
    first_y, down = _coverage(top, bottom)
    place = ink[first_y : first_y + len(down), first_x : first_x + len(across)]
    part = np.outer(down, across) * (1.0 - box.grey)
    # Black marks only touch and add up; the grey ticks cross themselves.
    np.copyto(place, place + part if box.grey == 0.0 else np.maximum(place, part))


def _coverage(low: float, high: float) -> tuple[int, NDArray[np.float64]]:
    first, last = int(np.floor(low)), int(np.ceil(high))
    pixels = np.arange(first, last)
    return first, np.minimum(pixels + 1, high) - np.maximum(pixels, low)


def _draw_label(picture: NDArray[np.uint8], sheet: Sheet, label: Label, scale: float) -> None:
    font, size = cv2.FONT_HERSHEY_SIMPLEX, label.capital_mm * scale / HERSHEY_CAPITAL
    thick = max(1, round(label.capital_mm * scale * 0.12))
    (width, height), below = cv2.getTextSize(label.text, font, size, thick)
    patch = np.full((height + below + 2 * thick, width + 2 * thick), 255, dtype=np.uint8)
    ink = round(255 * label.grey)
    cv2.putText(patch, label.text, (thick, height + thick), font, size, ink, thick, cv2.LINE_AA)
    if label.upward:
        patch = np.rot90(patch)
    x = round((label.x + sheet.width_mm / 2) * scale - patch.shape[1] / 2)
    y = round((sheet.height_mm / 2 - label.y) * scale - patch.shape[0] / 2)
    place = picture[y : y + patch.shape[0], x : x + patch.shape[1]]
    np.minimum(place, patch, out=place)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--paper", default="a5")
    parser.add_argument("--dpi", type=float, default=600.0)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    cv2.imwrite(str(options.out), sheet_picture(sheet_for(options.paper), options.dpi))


if __name__ == "__main__":
    main()
