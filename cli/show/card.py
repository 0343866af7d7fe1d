"""A card for the bench: where the rings lie, how to read them, and blanks to fill in."""

import io
from collections.abc import Sequence
from typing import Any

from reportlab.lib.utils import simpleSplit
from reportlab.pdfgen.canvas import Canvas

from cli.show.guide import steps
from cli.show.spotcheck import agree_range, expectations, place_words
from cli.words import count, harmless
from vision.batch.read import Shot
from vision.spotcheck.caliper import Caliper
from vision.spotcheck.choose import Pick

POINTS_PER_MM = 72.0 / 25.4

WIDTH, HEIGHT = 210.0 * POINTS_PER_MM, 279.4 * POINTS_PER_MM
"""What A4 and US letter have in common, so that both print it whole."""
MARGIN = 14.0 * POINTS_PER_MM

FONT, BOLD = "Helvetica", "Helvetica-Bold"
SIZE, LINE = 9.0, 12.0
MAP_HEIGHT = 52.0 * POINTS_PER_MM
BLANKS = 4
"""Places for readings: two, and two for a second thought."""
COLUMNS = (0.0, 34.0, 122.0, 208.0)
"""Left edges of length, photo, expected and blanks, points from the margin."""
BLANK_WIDTH = 66.0
ROW = 15.5


def card_pdf(picks: Sequence[Pick], shots: Sequence[Shot], caliper: Caliper) -> bytes:
    """Draw the card as a PDF; the same bytes every time."""
    target = io.BytesIO()
    page = _Page(Canvas(target, pagesize=(WIDTH, HEIGHT), invariant=1))
    page.canvas.setTitle("annulet spot-check")
    page.canvas.setAuthor("annulet")
    page.write(f"Caliper check: {count(len(picks), 'ring')}", font=BOLD, size=14.0)
    page.write("Date ____________   Caliper ____________   Read by ____________")
    for k in sorted({pick.photo for pick in picks}):
        _draw_map(page, [pick for pick in picks if pick.photo == k], shots[k])
    page.down(LINE / 2)
    for number, step in enumerate(steps([pick.ring for pick in picks], caliper), start=1):
        page.write(f"{number}.  {step}", indent=14.0)
    for pick in picks:
        _write_ring(page, pick, shots, caliper)
    page.write(
        "Zero in the end: ____________      Millimetres, or inches with the unit written behind.",
        before=LINE,
    )
    page.canvas.showPage()
    page.canvas.save()
    return target.getvalue()


class _Page:
    """A canvas and how far down it is filled."""

    def __init__(self, canvas: Any) -> None:
        self.canvas = canvas
        self.y = HEIGHT - MARGIN

    def down(self, points: float) -> None:
        self.y -= points

    def need(self, points: float) -> None:
        """Start a new page where the rest of this one is too short."""
        if self.y - points < MARGIN:
            self.canvas.showPage()
            self.y = HEIGHT - MARGIN

    def write(
        self,
        text: str,
        *,
        font: str = FONT,
        size: float = SIZE,
        indent: float = 0.0,
        before: float = 0.0,
    ) -> None:
        """Write a paragraph; its second line on is indented."""
        width = WIDTH - 2 * MARGIN - indent
        self.need(before + LINE)
        self.down(before)
        for place, line in enumerate(simpleSplit(_plain(text), font, size, width)):
            self.need(size * 1.35)
            self.down(size * 1.35)
            self.canvas.setFillGray(0.0)
            self.canvas.setFont(font, size)
            self.canvas.drawString(MARGIN + (indent if place else 0.0), self.y, line)


def _draw_map(page: _Page, picks: Sequence[Pick], shot: Shot) -> None:
    """Draw all rings of a photo in small, those to read filled and numbered."""
    photo = shot.photo
    page.need(MAP_HEIGHT + 2 * LINE)
    page.write(photo.file, font=BOLD, before=LINE / 2)
    page.down(4.0)
    scale = min(MAP_HEIGHT / photo.height_px, (WIDTH - 2 * MARGIN) / photo.width_px)
    left, top = MARGIN, page.y
    canvas = page.canvas
    canvas.setLineWidth(0.5)
    canvas.setStrokeGray(0.5)
    chosen = {pick.ring.number for pick in picks}
    canvas.saveState()
    frame = canvas.beginPath()
    frame.rect(left, top - photo.height_px * scale, photo.width_px * scale, photo.height_px * scale)
    canvas.clipPath(frame, stroke=1, fill=0)
    for ring in sorted(shot.rings, key=lambda ring: ring.number in chosen):
        x, y = left + ring.center_px[0] * scale, top - ring.center_px[1] * scale
        wanted = ring.number in chosen
        radius = max(ring.radius_px * scale, 1.5)
        canvas.setFillGray(0.82 if wanted else 1.0)
        canvas.setStrokeGray(0.0 if wanted else 0.6)
        canvas.setLineWidth(1.2 if wanted else 0.5)
        canvas.circle(x, y, radius, stroke=1, fill=1)
        if wanted:
            canvas.setFillGray(0.0)
            canvas.setFont(BOLD, SIZE)
            canvas.drawCentredString(x, y - SIZE * 0.36, str(ring.number))
    canvas.restoreState()
    page.down(photo.height_px * scale)


def _write_ring(page: _Page, pick: Pick, shots: Sequence[Shot], caliper: Caliper) -> None:
    expectations_here = expectations(pick.ring, caliper)
    page.need(2.5 * LINE + ROW * len(expectations_here))
    page.write(
        f"Ring {pick.ring.number}, {place_words(pick, shots)}: {pick.why}", font=BOLD, before=LINE
    )
    canvas = page.canvas
    for expected in expectations_here:
        page.down(ROW)
        low, high = agree_range(expected)
        texts = (expected.what.label, f"expect {expected.value_mm:.2f} mm", f"{low} to {high}")
        canvas.setFont(FONT, SIZE)
        canvas.setFillGray(0.0)
        for left, text in zip(COLUMNS, texts, strict=False):
            canvas.drawString(MARGIN + left, page.y, text)
        canvas.setStrokeGray(0.3)
        canvas.setLineWidth(0.5)
        for place in range(BLANKS):
            x = MARGIN + COLUMNS[-1] + place * (BLANK_WIDTH + 8.0)
            canvas.line(x, page.y - 2.0, x + BLANK_WIDTH, page.y - 2.0)


def _plain(text: str) -> str:
    """Keep what the built-in fonts can show (ISO 32000-1, WinAnsi)."""
    return harmless(text).encode("cp1252", "replace").decode("cp1252")
