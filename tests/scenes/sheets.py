"""Draw the printable sheets as pictures, for scenes that lie on one.

`python -m tests.scenes.sheets --out DIR` writes `a4.png`, `a5.png` ... at 600 dots an inch. Needs
the library itself; rendering only needs the pictures.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

from vision.scale.sheet import Sheet, all_sheets, boxes_of, labels_of

DOTS_PER_MM = 600 / 25.4
FONT_PER_CAPITAL = 1.4
"""Font size over the height of its capitals."""


def draw(sheet: Sheet) -> Image.Image:
    """Draw a sheet, its long side across."""
    size = (round(sheet.width_mm * DOTS_PER_MM), round(sheet.height_mm * DOTS_PER_MM))
    page = Image.new("L", size, 255)
    pen = ImageDraw.Draw(page)
    per_x, per_y = size[0] / sheet.width_mm, size[1] / sheet.height_mm

    def dot(x_mm: float, y_mm: float) -> tuple[float, float]:
        return (x_mm + sheet.width_mm / 2) * per_x, (sheet.height_mm / 2 - y_mm) * per_y

    for box in boxes_of(sheet):
        (left, top), (right, bottom) = dot(box.left, box.top), dot(box.right, box.bottom)
        # Pillow fills both end pixels.
        corners = (round(left), round(top), round(right) - 1, round(bottom) - 1)
        pen.rectangle(corners, fill=round(255 * box.grey))
    for label in labels_of(sheet):
        font = ImageFont.load_default(size=label.capital_mm * FONT_PER_CAPITAL * DOTS_PER_MM)
        tile = Image.new("L", (round(pen.textlength(label.text, font=font)) + 20, 100), 255)
        middle = (tile.width / 2, tile.height / 2)
        words = ImageDraw.Draw(tile)
        words.text(middle, label.text, fill=round(255 * label.grey), font=font, anchor="mm")
        if label.upward:
            tile = tile.transpose(Image.Transpose.ROTATE_90)
        x, y = dot(label.x, label.y)
        page.paste(tile, (round(x - tile.width / 2), round(y - tile.height / 2)))
    return page


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
