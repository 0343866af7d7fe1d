"""The printable scale sheet as a vector PDF."""

import io
from typing import Any

from reportlab.pdfgen.canvas import Canvas

from vision.scale.sheet import Box, Label, Sheet, boxes_of, labels_of, sheet_for

POINTS_PER_MM = 72.0 / 25.4

FONT = "Helvetica"
"""One of the 14 fonts that every PDF reader brings (ISO 32000-1, 9.6.2.2)."""

CAPITAL_PER_EM = 0.718
"""Height of Helvetica's capitals (its font metrics file: CapHeight 718)."""


def sheet_pdf(paper: str) -> bytes:
    """Draw a paper's sheet as a one-page PDF; the same bytes every time.

    ValueError for a paper that there is no sheet for.
    """
    layout = sheet_for(paper)
    size = (layout.width_mm * POINTS_PER_MM, layout.height_mm * POINTS_PER_MM)
    target = io.BytesIO()
    page = Canvas(target, pagesize=size, invariant=1, pdfVersion=(1, 6))
    page.setTitle(f"annulet sheet {layout.version}, {layout.title}")
    page.setAuthor("annulet")
    page.setCreator("annulet")
    page.setSubject("Scale for photos of rings")
    # Asks the print dialog for actual size (ISO 32000-1, table 150; since PDF 1.6).
    page.setViewerPreference("PrintScaling", "None")
    page.translate(size[0] / 2, size[1] / 2)
    page.scale(POINTS_PER_MM, POINTS_PER_MM)
    _fill_boxes(page, layout)
    for label in labels_of(layout):
        _write_label(page, label)
    page.showPage()
    page.save()
    return target.getvalue()


def _fill_boxes(page: Any, layout: Sheet) -> None:
    """Fill all boxes of one grey as a single path: boxes that touch show no seam."""
    by_grey: dict[float, list[Box]] = {}
    for box in boxes_of(layout):
        by_grey.setdefault(box.grey, []).append(box)
    for grey, boxes in by_grey.items():
        path = page.beginPath()
        for box in boxes:
            path.rect(box.left, box.bottom, box.right - box.left, box.top - box.bottom)
        page.setFillGray(grey)
        page.drawPath(path, stroke=0, fill=1, fillMode=1)


def _write_label(page: Any, label: Label) -> None:
    page.saveState()
    page.translate(label.x, label.y)
    if label.upward:
        page.rotate(90)
    page.setFillGray(label.grey)
    page.setFont(FONT, label.capital_mm / CAPITAL_PER_EM)
    page.drawCentredString(0.0, -label.capital_mm / 2, label.text)
    page.restoreState()
