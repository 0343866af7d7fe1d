"""Draw the printable sheets as pictures, for scenes that lie on one.

`python -m tests.scenes.sheets --out DIR` writes `a4.png`, `a5.png` ... at 600 dots an inch. Needs
the library itself; rendering only needs the pictures.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from vision.scale.sheet import Label, Sheet, all_sheets, boxes_of, labels_of

DOTS_PER_MM = 600 / 25.4
FONT_PER_CAPITAL = 1.4
"""Font size over the height of its capitals."""


def draw(sheet: Sheet) -> Image.Image:
    """Draw a sheet, its long side across; edges between dots are shaded by exact area coverage."""
    size = (round(sheet.width_mm * DOTS_PER_MM), round(sheet.height_mm * DOTS_PER_MM))
    per_x, per_y = size[0] / sheet.width_mm, size[1] / sheet.height_mm
    ink = np.zeros(size[::-1])
    for box in boxes_of(sheet):
        columns = covered(
            (box.left + sheet.width_mm / 2) * per_x, (box.right + sheet.width_mm / 2) * per_x
        )
        rows = covered(
            (sheet.height_mm / 2 - box.top) * per_y, (sheet.height_mm / 2 - box.bottom) * per_y
        )
        (left, across), (top, down) = columns, rows
        patch = ink[top : top + len(down), left : left + len(across)]
        patch += (1 - box.grey) * down[:, None] * across[None, :]
    white = np.clip(1 - ink, 0, 1)
    code = np.where(white <= 0.0031308, 12.92 * white, 1.055 * white ** (1 / 2.4) - 0.055)
    page = Image.fromarray((255 * code + 0.5).astype(np.uint8))
    for label in labels_of(sheet):
        x = (label.x + sheet.width_mm / 2) * per_x
        y = (sheet.height_mm / 2 - label.y) * per_y
        tile = write(label)
        page.paste(tile, (round(x - tile.width / 2), round(y - tile.height / 2)))
    return page


def covered(start: float, stop: float) -> tuple[int, NDArray[np.float64]]:
    """Tell which dots an interval covers, and how much of each."""
    first, last = int(np.floor(start)), int(np.ceil(stop))
    dots = np.arange(first, last)
    return first, np.clip(np.minimum(dots + 1, stop) - np.maximum(dots, start), 0, 1)


def write(label: Label) -> Image.Image:
    """Write a line of text on a small white tile."""
    font = ImageFont.load_default(size=label.capital_mm * FONT_PER_CAPITAL * DOTS_PER_MM)
    width = round(font.getlength(label.text)) + 20
    tile = Image.new("L", (width, 100), 255)
    ImageDraw.Draw(tile).text(
        (width / 2, 50), label.text, fill=round(255 * label.grey), font=font, anchor="mm"
    )
    return tile.transpose(Image.Transpose.ROTATE_90) if label.upward else tile


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Draw the printable sheets as pictures.")
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for name, sheet in all_sheets().items():
        draw(sheet).save(options.out / f"{name}.png", dpi=(600, 600))


if __name__ == "__main__":
    main()
