"""Labels for bags of rings: as text, as JSON and as a PDF to print."""

import io
from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from rich.text import Text

from cli.show.numbers import decimals, rounded
from cli.show.weave import add_order, order_record
from cli.words import count, harmless
from vision.batch.label import BagLabel
from vision.trade.order import OrderLine

HEADING, CAUTION, QUIET = "bold", "yellow", "dim"

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""ISO 216 A4, and 8.5 x 11 in."""

LABEL_MM = (85.0, 45.0)
"""Width and height: a common zip bag's face."""

EDGE_MM = 10.0
"""Paper that no printer is asked to reach."""

INSET_MM = 4.0
"""From a label's cut line to its text."""

MOST_DECIMALS = 2

POINTS_PER_MM = 72.0 / 25.4

PLAIN, BOLD = "Helvetica", "Helvetica-Bold"
"""Two of the 14 fonts that every PDF reader brings (ISO 32000-1, 9.6.2.2)."""

TIMES = "\N{MULTIPLICATION SIGN}"

SMALLEST_PT = 6.0
"""Smaller print cannot be read at arm's length; longer text is cut."""


def label_line(label: BagLabel, metal: str | None = None) -> str:
    """Propose a label in one line: `copper-coloured, 1.62 mm (SWG 16 / AWG 14) x 6.40 mm ...`.

    Parameters
    ----------
    metal : as the user states it; without it the colour stands there, or nothing
    """
    gauges = _gauges(label)
    parts = [
        *_named(label, metal),
        f"{_wire(label)} mm{f' ({gauges})' if gauges else ''} x "
        f"{_inside(label)} mm{f' ({label.fraction.name})' if label.fraction else ''}",
        f"AR {_ar(label)}",
        count(label.rings, "ring"),
    ]
    return ", ".join(parts)


def labels_text(
    labels: Sequence[BagLabel], orders: Sequence[OrderLine], *, notes: Sequence[str], width: int
) -> Text:
    """Lay out the labels, what to know of each, and the orders for more of the same.

    Parameters
    ----------
    orders : one a label
    notes : what to say of the input
    """
    page = Text()
    if len(labels) > 1:
        _add(page, f"{len(labels)} sizes: part them into {len(labels)} bags", width)
        page.append("\n")
    for label, order in zip(labels, orders, strict=True):
        _add(page, harmless(label_line(label, order.metal)), width, HEADING)
        for line in _remarks(label, order):
            _add(page, line, width, CAUTION)
        add_order(page, order, width)
        page.append("\n")
    for note in notes:
        _add(page, f"note: {harmless(note)}", width, CAUTION)
    return page


def labels_record(
    labels: Sequence[BagLabel], orders: Sequence[OrderLine], *, notes: Sequence[str]
) -> dict[str, Any]:
    """List the same for a program (format `annulet-labels`, version 1)."""
    return {
        "format": "annulet-labels",
        "version": 1,
        "notes": list(notes),
        "labels": [
            {
                "text": label_line(label, order.metal),
                "rings": label.rings,
                "wire_mm": label.wire_mm,
                "wire_u95_mm": label.wire_u95_mm,
                "id_mm": label.id_mm,
                "id_u95_mm": label.id_u95_mm,
                "ar": label.ar,
                "ar_u95": label.ar_u95,
                "gauges": [gauge.name for gauge in label.gauges],
                "id_fraction": label.fraction.name if label.fraction is not None else None,
                "colour": label.colour,
                "colours": dict(label.colours),
                "metal_guess": label.metal_guess,
                "off_size": [
                    {"photo": stray.photo, "number": stray.ring.number} for stray in label.strays
                ],
                "photos": list(label.photos),
                "order": order_record(order),
            }
            for label, order in zip(labels, orders, strict=True)
        ],
    }


def labels_pdf(labels: Sequence[BagLabel], *, metal: str | None, paper: str) -> bytes:
    """Draw the labels as a PDF to print and cut; the same bytes every time.

    Parameters
    ----------
    metal : as the user states it; without it a line is left to fill in
    paper : `a4` or `letter`
    """
    from reportlab.pdfgen.canvas import Canvas

    wide, high = PAPERS_MM[paper]
    columns = int((wide - 2 * EDGE_MM) // LABEL_MM[0])
    rows = int((high - 2 * EDGE_MM) // LABEL_MM[1])
    left, top = (wide - columns * LABEL_MM[0]) / 2, (high + rows * LABEL_MM[1]) / 2
    target = io.BytesIO()
    page = Canvas(target, pagesize=(wide * POINTS_PER_MM, high * POINTS_PER_MM), invariant=1)
    page.setTitle("annulet labels")
    page.setAuthor("annulet")
    page.setCreator("annulet")
    for index, label in enumerate(labels):
        place = index % (columns * rows)
        if index and place == 0:
            page.showPage()
        row, column = divmod(place, columns)
        page.saveState()
        page.translate(
            (left + column * LABEL_MM[0]) * POINTS_PER_MM,
            (top - (row + 1) * LABEL_MM[1]) * POINTS_PER_MM,
        )
        _draw_label(page, label, metal)
        page.restoreState()
    page.showPage()
    page.save()
    return target.getvalue()


def _draw_label(page: Any, label: BagLabel, metal: str | None) -> None:
    wide, high = (side * POINTS_PER_MM for side in LABEL_MM)
    page.setStrokeGray(0.7)
    page.setLineWidth(0.3)
    page.rect(0, 0, wide, high)
    page.setFillGray(0)
    inset = INSET_MM * POINTS_PER_MM
    baseline = high - inset
    for text, font, size in _label_lines(label, metal):
        baseline -= size
        shown, fitted = _fitted(text, font, size, wide - 2 * inset)
        page.setFont(font, fitted)
        page.drawString(inset, baseline, shown)
        baseline -= 0.45 * size


def _label_lines(label: BagLabel, metal: str | None) -> list[tuple[str, str, float]]:
    """List the lines of a printed label: text, font and size in points."""
    trade = [f"wire {_gauges(label)}"] if label.gauges else []
    trade += [f"ID {label.fraction.name}"] if label.fraction is not None else []
    named = ", ".join(_named(label, metal))
    lines = [
        (f"{_wire(label)} {TIMES} {_inside(label)} mm", BOLD, 17.0),
        (f"wire {TIMES} ID{', that is ' if trade else ''}{', '.join(trade)}", PLAIN, 9.0),
        (f"AR {_ar(label)}, {count(label.rings, 'ring')}", PLAIN, 11.0),
    ]
    if metal is not None:
        lines.append((named, PLAIN, 11.0))
    else:
        lines.append((f"{named}{'; ' if named else ''}metal: ____________________", PLAIN, 9.0))
        if label.metal_guess is not None:
            lines.append((f"a guess from the colour: {label.metal_guess}", PLAIN, 7.0))
    lines.append((", ".join(label.photos), PLAIN, 7.0))
    return lines


def _fitted(text: str, font: str, size: float, width: float) -> tuple[str, float]:
    """Make a text harmless for the font, and small or short enough for the width."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    # The built-in fonts hold what code page 1252 holds.
    shown = harmless(text).encode("cp1252", "replace").decode("cp1252")
    while stringWidth(shown, font, size) > width and size > SMALLEST_PT:
        size -= 0.5
    if stringWidth(shown, font, size) <= width:
        return shown, size
    while shown and stringWidth(f"{shown}...", font, size) > width:
        shown = shown[:-1]
    return f"{shown}...", size


def _remarks(label: BagLabel, order: OrderLine) -> list[str]:
    """Say what the label's line leaves open."""
    remarks = []
    if order.metal is None:
        if label.metal_guess is not None:
            remarks.append(f"a guess from the colour: {label.metal_guess}; --metal says what it is")
        elif label.colours:
            seen = ", ".join(f"{number} {harmless(name)}" for name, number in label.colours)
            remarks.append(f"colours differ ({seen}): part them by eye if the metals do")
    strays = label.strays
    if strays:
        several = len(label.photos) > 1
        names = [
            f"{stray.ring.number}"
            + (f" ({harmless(stray.ring.cell)})" if stray.ring.cell else "")
            + (f" in {harmless(stray.photo)}" if several else "")
            for stray in strays
        ]
        remarks.append(
            f"take out first: {'ring' if len(names) == 1 else 'rings'} {', '.join(names)}, off size"
        )
    for name, tolerance_mm, word in (
        ("wire_mm", order.wire_tolerance_mm, "wire"),
        ("id_mm", order.id_tolerance_mm, "ID"),
    ):
        sd = label.group.spread[name].sd_rings
        if sd is not None and 2 * sd > tolerance_mm:
            remarks.append(
                f"the {word} of these rings spreads wider (sd {sd:.3f} mm) than the order asks for"
            )
    return remarks


def _named(label: BagLabel, metal: str | None) -> list[str]:
    if metal is not None:
        return [metal]
    if label.colour is not None:
        return [label.colour]
    return ["mixed colours"] if label.colours else []


def _gauges(label: BagLabel) -> str:
    return " / ".join(gauge.name for gauge in label.gauges)


def _wire(label: BagLabel) -> str:
    return _short(label.wire_mm, label.wire_u95_mm)


def _inside(label: BagLabel) -> str:
    return _short(label.id_mm, label.id_u95_mm)


def _ar(label: BagLabel) -> str:
    return _short(label.ar, label.ar_u95)


def _short(value: float, u95: float) -> str:
    """Round to what the uncertainty supports, and to two decimals: a label is no certificate."""
    text = rounded(value, u95)[0]
    return text if decimals(text) <= MOST_DECIMALS else f"{value:.{MOST_DECIMALS}f}"


def _add(page: Text, line: str, width: int, style: str = "") -> None:
    for part in wrap(line, width, subsequent_indent="  ", break_long_words=False):
        page.append(f"{part}\n", style)
