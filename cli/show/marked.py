"""The photo with every ring outlined and numbered, so that ring 17 is found on the table."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from cli.show.labels import Box, Disc, Wanted, place_labels
from cli.show.pieces import piece_words
from cli.show.strokes import (
    Colour,
    Picture,
    circle,
    draw_closed,
    draw_dashed,
    draw_hatched,
    draw_line,
    text_height,
    text_width,
    write,
)
from cli.words import count, harmless
from vision.results import Result, Ring, Status, Wire

# Hues that stay apart for the common kinds of colour blindness (a test simulates them); each
# state has a shape and a text of its own besides.
MEASURED: Colour = (235, 90, 0)
CAUTION: Colour = (0, 150, 255)
UNUSABLE: Colour = (110, 0, 150)
REFERENCE: Colour = (170, 200, 0)
PLATE: Colour = (255, 255, 255)

TEXT_PART = 0.0115
"""Size of a label's letters as part of the picture's diagonal: readable with the whole photo on a
screen."""

SMALLEST_TEXT_PART = 0.006
TEXT_PER_RADIUS = 1.1
"""Among small rings letters shrink with the median ring, down to the part above."""

LINE_PART = 0.0004
"""Width of an outline as part of the diagonal: 2 px on 12 megapixels, thin enough to judge by."""

JPEG_QUALITY = 90

LEGEND = (
    (MEASURED, "measured"),
    (CAUTION, "! measured, with a warning"),
    (UNUSABLE, "unusable, no numbers"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """Sizes that go with one picture, pixels."""

    line: int
    text: int

    @property
    def pad(self) -> int:
        """Blank around a label's letters."""
        return max(2, self.text // 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text beside its ring or reference."""

    text: str
    colour: Colour
    owner: Disc
    hole: float
    """Radius of the free middle, pixels; 0 where there is none."""


def mark(picture_bgr: Picture, result: Result) -> Picture:
    """Draw rings, reference and legend on a copy of the upright photo.

    Parameters
    ----------
    picture_bgr : (h, w, 3) uint8
    result : what was measured in it

    Returns
    -------
    (h + legend, w, 3) uint8; pixel (x, y) of the photo stays at (x, y), the legend is below it.
    """
    marked = picture_bgr.copy()
    height, width = marked.shape[:2]
    pen = choose_pen(width, height, result.rings)
    if result.scale.outline_px is not None:
        draw_closed(marked, result.scale.outline_px, REFERENCE, pen.line)
    for ring in result.rings:
        _draw_ring(marked, ring, pen)
    for wire in result.wires:
        _draw_wire(marked, wire, pen)
    labels = [_ring_label(ring) for ring in result.rings]
    labels += [_wire_label(wire) for wire in result.wires]
    if result.scale.outline_px is not None:
        labels.append(_reference_label(result))
    metal = [disc for wire in result.wires for disc in _discs_along(wire)]
    for label, box in zip(labels, _place(labels, metal, pen, width, height), strict=True):
        _draw_label(marked, label, box, pen)
    return np.vstack([marked, _legend(width, result, pen)])


def marked_jpeg(picture_bgr: Picture, result: Result) -> bytes:
    """Mark a photo and encode it as JPEG."""
    marked = mark(picture_bgr, result)
    done, data = cv2.imencode(".jpg", marked, [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY])
    if not done:
        raise ValueError(f"a picture of shape {marked.shape} cannot become a JPEG")
    return data.tobytes()


def choose_pen(width_px: int, height_px: int, rings: Sequence[Ring]) -> Pen:
    """Fit lines and letters to the photo, and the letters to small rings."""
    diagonal = math.hypot(width_px, height_px)
    text = TEXT_PART * diagonal
    if rings:
        typical = float(np.median([ring.radius_px for ring in rings]))
        text = min(text, max(TEXT_PER_RADIUS * typical, SMALLEST_TEXT_PART * diagonal))
    return Pen(line=max(1, round(LINE_PART * diagonal)), text=max(9, round(text)))


def ring_colour(ring: Ring | Wire) -> Colour:
    """Pick the colour of the state of a ring or wire."""
    if ring.status is Status.UNUSABLE:
        return UNUSABLE
    return CAUTION if ring.warnings else MEASURED


def ring_text(ring: Ring) -> str:
    """Word a ring's label: its number, and a word or sign for its state."""
    if ring.status is Status.UNUSABLE:
        return f"{ring.number} unusable"
    return f"{ring.number} !" if ring.warnings else str(ring.number)


def _draw_ring(marked: Picture, ring: Ring, pen: Pen) -> None:
    colour = ring_colour(ring)
    if ring.status is Status.UNUSABLE:
        draw_hatched(marked, ring.center_px, ring.radius_px, colour, pen.line)
        return
    for outline in ring.outlines_px or (circle(ring.center_px, ring.radius_px),):
        if ring.warnings:
            draw_dashed(marked, outline, colour, pen.line + 1)
        else:
            draw_closed(marked, outline, colour, pen.line)


def _draw_wire(marked: Picture, wire: Wire, pen: Pen) -> None:
    outline = wire.outline_px if wire.outline_px is not None else np.array(wire.ends_px)
    if wire.warnings or wire.status is Status.UNUSABLE:
        draw_dashed(marked, outline, ring_colour(wire), pen.line + 1)
    else:
        draw_closed(marked, outline, ring_colour(wire), pen.line)


def _wire_label(wire: Wire) -> Label:
    text = wire.name
    if wire.status is Status.UNUSABLE:
        text = f"{wire.name} unusable"
    elif wire.warnings:
        text = f"{wire.name} !"
    (x, y), radius = wire.center_px, _half_width_px(wire)
    owner = Disc(x=x, y=y, radius=radius)
    return Label(text=text, colour=ring_colour(wire), owner=owner, hole=0.0)


def _discs_along(wire: Wire) -> list[Disc]:
    """Discs that cover a wire, for labels to keep clear of."""
    first, last = np.array(wire.ends_px)
    radius = _half_width_px(wire)
    shares = np.linspace(0.0, 1.0, 2 + int(np.hypot(*(last - first)) / (3.0 * radius)))
    return [Disc(x=x, y=y, radius=radius) for x, y in first + shares[:, None] * (last - first)]


def _half_width_px(wire: Wire) -> float:
    if wire.outline_px is None:
        return 1.0
    return max(1.0, float(np.hypot(*(wire.outline_px[0] - wire.outline_px[-1]))) / 2.0)


def _ring_label(ring: Ring) -> Label:
    x, y = ring.center_px
    hole = 0.0
    if ring.status is Status.MEASURED and ring.outlines_px is not None:
        hole = float(np.min(np.hypot(*(ring.outlines_px[0] - (x, y)).T)))
    owner = Disc(x=x, y=y, radius=ring.radius_px)
    return Label(text=ring_text(ring), colour=ring_colour(ring), owner=owner, hole=hole)


def _reference_label(result: Result) -> Label:
    outline = result.scale.outline_px
    assert outline is not None
    name = harmless(f"{result.scale.kind} {result.scale.reference}")
    if result.scale.kind == "sheet":
        # The sheet lies under all rings: its name stands at its corner.
        x, y = outline[np.argmin(outline.sum(axis=1))]
        owner = Disc(x=float(x), y=float(y), radius=0.0)
        return Label(text=name, colour=REFERENCE, owner=owner, hole=0.0)
    x, y = outline.mean(axis=0)
    radius = float(np.max(np.hypot(*(outline - (x, y)).T)))
    owner = Disc(x=float(x), y=float(y), radius=radius)
    return Label(text=name, colour=REFERENCE, owner=owner, hole=radius)


def _place(
    labels: Sequence[Label], metal: Sequence[Disc], pen: Pen, width: int, height: int
) -> list[Box]:
    wanted = [
        Wanted(
            owner=label.owner,
            width=text_width(label.text, pen.text) + 2 * pen.pad,
            height=text_height(pen.text) + 2 * pen.pad,
            hole=label.hole,
        )
        for label in labels
    ]
    picture = Box(left=0, top=0, right=width - 1, bottom=height - 1)
    return place_labels(wanted, [*(label.owner for label in labels), *metal], picture)


def _draw_label(marked: Picture, label: Label, box: Box, pen: Pen) -> None:
    """Draw dark letters on a light plate with a border in the state's colour."""
    _draw_leader(marked, label, box, pen)
    left, top, bottom = round(box.left), round(box.top), round(box.bottom)
    corners = (left, top), (round(box.right), bottom)
    cv2.rectangle(marked, *corners, PLATE, cv2.FILLED)
    cv2.rectangle(marked, *corners, label.colour, max(2, pen.line))
    write(marked, label.text, left + pen.pad, bottom - pen.pad, pen.text)


def _draw_leader(marked: Picture, label: Label, box: Box, pen: Pen) -> None:
    """Tie a label that does not stand in its ring to the ring."""
    if box.distance_to(label.owner.x, label.owner.y) < label.owner.radius:
        return
    center = np.array([label.owner.x, label.owner.y])
    away = np.array(box.center) - center
    rim = center + away / np.hypot(*away) * label.owner.radius
    draw_line(marked, rim, np.array(box.center), label.colour, pen.line)


def _legend(width: int, result: Result, pen: Pen) -> Picture:
    """Build the strip below the photo: what it shows, and what each kind of outline means."""
    scale = result.scale
    said = (
        f"{count(len(result.rings), 'ring')}, {len(result.measured)} measured",
        *([piece_words(result.wires)] if result.wires else []),
        harmless(f"{scale.kind} {scale.reference}: {scale.mm_per_px:.4f} mm per pixel"),
        harmless(result.photo.file),
    )
    radius = text_height(pen.text)
    items: list[tuple[Colour | None, str]] = [*LEGEND, *((None, text) for text in said)]
    rows = _rows(
        [text_width(text, pen.text) + (3 * radius if colour else 0) for colour, text in items],
        width,
        gap=2 * pen.text,
    )
    strip = np.full((2 * pen.text * (rows[-1][1] + 1) + pen.text, width, 3), 255, dtype=np.uint8)
    for (colour, text), (left, row) in zip(items, rows, strict=True):
        middle = pen.text // 2 + 2 * pen.text * row + pen.text
        if colour is not None:
            _draw_sample(strip, (left + radius, middle), radius, colour, pen)
            left += 3 * radius
        write(strip, text, left, middle + radius // 2, pen.text)
    return strip


def _rows(widths: Sequence[int], room: int, gap: int) -> list[tuple[int, int]]:
    """Lay items out line by line: left edge and row of each."""
    left, row, placed = gap // 2, 0, []
    for width in widths:
        if left > gap // 2 and left + width > room:
            left, row = gap // 2, row + 1
        placed.append((left, row))
        left += width + gap
    return placed


def _draw_sample(
    strip: Picture, center: tuple[float, float], radius: int, colour: Colour, pen: Pen
) -> None:
    if colour == UNUSABLE:
        draw_hatched(strip, center, radius, colour, pen.line)
    elif colour == CAUTION:
        draw_dashed(strip, circle(center, radius), colour, pen.line + 1)
    else:
        draw_closed(strip, circle(center, radius), colour, pen.line)
