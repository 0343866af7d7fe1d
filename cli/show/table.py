"""A result as a page of text: the rings, what they have in common, the scale."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from textwrap import wrap

from rich.text import Text

from cli.show.numbers import aligned, rounded, significant
from cli.show.pieces import HEADINGS as WIRE_HEADINGS
from cli.show.pieces import gauge, piece_words, varies
from cli.show.wire import wire_lines
from cli.words import count, harmless
from vision.batch.read import Shot
from vision.results import Fitness, Quantity, Result, Ring, Scale, Spread, Status, Wire, spread_of

WIDE_GAP, TIGHT_GAP = "  ", " "
"""Between columns: two blanks, or one where that makes all columns fit."""

HEADING = "bold"
CAUTION = "yellow"
QUIET = "dim"

MM_PER_INCH = 25.4

QUANTITIES = (("wire_mm", "wire mm"), ("id_mm", "ID mm"), ("od_mm", "OD mm"), ("ar", "AR"))
DISPENSABLE = ("OD mm", "gap", "cell")
"""Columns that a narrow terminal goes without, first one first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of the table: its heading and one text a row."""

    heading: str
    cells: list[str]

    @property
    def width(self) -> int:
        """Columns it takes on the screen."""
        return max(len(self.heading), *(len(cell) for cell in self.cells))


def result_text(result: Result, *, width: int) -> Text:
    """Lay out what one photo says.

    Parameters
    ----------
    width : columns of the terminal; no line is longer, except where a single word is

    Returns
    -------
    Lines with styles, each ending in a line break.
    """
    page = Text()
    page.append(f"{harmless(result.photo.file)}\n", HEADING)
    _add_wrapped(page, scale_line(result.scale), width)
    if result.fitness is not None:
        _add_fitness(page, result.fitness, width)
    page.append("\n")
    if result.measured:
        _add_rings(page, result.measured, width)
        page.append("\n")
    _add_unusable(page, result.rings, width)
    if result.rings or not result.wires:
        _add_summary(page, result.rings, width)
    if result.wires:
        _add_wires(page, result.wires, width)
    for note in (*result.notes, *result.scale.notes):
        _add_wrapped(page, f"note: {harmless(note)}", width)
    for warning in (*result.scale.warnings, *result.warnings):
        _add_wrapped(page, f"warning: {harmless(warning)}", width, CAUTION)
    page.append("\n")
    return page


def total_text(shots: Sequence[Shot], *, width: int) -> Text:
    """Lay out what several photos say together."""
    page = Text()
    page.append(f"{count(len(shots), 'photo')} together\n", HEADING)
    _add_summary(page, [ring for shot in shots for ring in shot.rings], width)
    page.append("\n")
    return page


def scale_line(scale: Scale) -> str:
    """Say what set the scale, how large a pixel is and from where the camera looked."""
    u95_percent = significant(200.0 * scale.u_rel)
    parts = [
        f"{scale.kind} {harmless(scale.reference)}",
        f"{scale.mm_per_px:.5f} mm/px ± {u95_percent} %",
    ]
    if scale.camera_height_mm is not None:
        parts.append(f"camera {scale.camera_height_mm:.0f} mm up")
    if scale.tilt_deg is not None:
        parts.append(f"tilted {scale.tilt_deg:.1f}°")
    return f"scale: {', '.join(parts)}"


def fitness_line(fitness: Fitness) -> str:
    """Say how sharp, fine and quiet the photo is."""
    parts = []
    if fitness.blur_px is not None:
        parts.append(f"blur {fitness.blur_px:.1f} px")
    if fitness.thinnest_wire_px is not None:
        parts.append(f"thinnest wire {fitness.thinnest_wire_px:.0f} px")
    parts.append(f"noise {significant(100.0 * fitness.noise_rel)} %")
    verdict = "" if fitness.findings else ": good"
    return f"photo: {', '.join(parts)}{verdict}"


def _add_fitness(page: Text, fitness: Fitness, width: int) -> None:
    """Say before the numbers what makes them less sure, and what to do about it."""
    _add_wrapped(page, fitness_line(fitness), width)
    for finding in fitness.findings:
        _add_wrapped(page, f"{harmless(finding.problem)}", width, CAUTION)
        _add_wrapped(page, f"next time: {harmless(finding.advice)}", width, CAUTION, indent=4)


def _add_rings(page: Text, rings: Sequence[Ring], width: int) -> None:
    remarks, letters = _letter_remarks(rings)
    columns = [
        Column(heading="ring", cells=[str(ring.number).rjust(4) for ring in rings]),
        Column(heading="cell", cells=[harmless(ring.cell or "") for ring in rings]),
        *(
            Column(heading=heading, cells=_quantity_cells(rings, name))
            for name, heading in QUANTITIES
        ),
        Column(heading="gap", cells=[_gap(ring).rjust(4) for ring in rings]),
        Column(heading="notes", cells=letters),
    ]
    columns = [column for column in columns if any(cell.strip() for cell in column.cells)]
    columns, dropped = _drop_to_fit(columns, width, DISPENSABLE)
    if _total(columns, TIGHT_GAP) > width:
        _add_ring_by_ring(page, columns, width)
    else:
        _add_columns(page, columns, width)
    for letter, remark in remarks.items():
        _add_wrapped(page, f"{letter}: {harmless(remark)}", width, CAUTION)
    _add_wrapped(
        page, "± is U: 95 of 100 such statements hold (k = 2); AR = mean ID / wire", width, QUIET
    )
    if dropped:
        _add_wrapped(page, f"left out for want of room: {', '.join(dropped)}", width, QUIET)


def _add_ring_by_ring(page: Text, columns: Sequence[Column], width: int) -> None:
    """Write each ring as a paragraph, where a terminal is too narrow for a table."""
    for row in zip(*(column.cells for column in columns), strict=True):
        said = [
            f"{column.heading} {' '.join(cell.split())}"
            for column, cell in zip(columns, row, strict=True)
            if cell.strip()
        ]
        _add_wrapped(page, ", ".join(said), width)


def _add_unusable(page: Text, rings: Iterable[Ring], width: int) -> None:
    unusable = [ring for ring in rings if ring.status is Status.UNUSABLE]
    if not unusable:
        return
    page.append("unusable\n", HEADING)
    for ring in unusable:
        reasons = "; ".join(map(harmless, ring.reasons)) or "no reason given"
        where = f" ({harmless(ring.cell)})" if ring.cell else ""
        _add_wrapped(page, f"{ring.number:>4}{where}  {reasons}", width, CAUTION, indent=6)
    page.append("\n")


def _add_wires(page: Text, wires: Sequence[Wire], width: int) -> None:
    """Write the pieces of wire in a table of their own."""
    page.append("\n")
    measured = [wire for wire in wires if wire.wire_mm is not None]
    remarks, letters = _letter_remarks(measured)
    if measured:
        found = [wire.wire_mm for wire in measured if wire.wire_mm is not None]
        cells = (
            [wire.name.rjust(4) for wire in measured],
            [harmless(wire.cell or "") for wire in measured],
            aligned([rounded(quantity.value, quantity.u95) for quantity in found]),
            [varies(wire) for wire in measured],
            [f"{wire.length_mm:.0f} mm".rjust(6) for wire in measured],
            [gauge(wire.awg, q.u95) for wire, q in zip(measured, found, strict=True)],
            [gauge(wire.swg, q.u95) for wire, q in zip(measured, found, strict=True)],
            letters,
        )
        columns = [
            Column(heading=heading, cells=column)
            for heading, column in zip((*WIRE_HEADINGS, "notes"), cells, strict=True)
            if any(cell.strip() for cell in column)
        ]
        columns, _ = _drop_to_fit(columns, width, ("length", "cell", "varies mm"))
        if _total(columns, TIGHT_GAP) > width:
            _add_ring_by_ring(page, columns, width)
        else:
            _add_columns(page, columns, width)
        for letter, remark in remarks.items():
            _add_wrapped(page, f"{letter}: {harmless(remark)}", width, CAUTION)
    for wire in wires:
        if wire.status is Status.UNUSABLE:
            reasons = "; ".join(map(harmless, wire.reasons))
            _add_wrapped(page, f"{wire.name.rjust(4)}  {reasons}", width, CAUTION, indent=6)
    _add_wrapped(page, f"{piece_words(wires)}; (=) is that gauge within U", width)


def _add_summary(page: Text, rings: Sequence[Ring], width: int) -> None:
    measured = [ring for ring in rings if ring.status is Status.MEASURED]
    unusable = len(rings) - len(measured)
    _add_wrapped(
        page, f"{count(len(rings), 'ring')}: {len(measured)} measured, {unusable} unusable", width
    )
    if not measured:
        return
    shown = [
        _spread_cells(heading, [_quantity(ring, name) for ring in measured])
        for name, heading in QUANTITIES
        if name != "od_mm"
    ]
    headings = ("", "mean", "sd", "min to max", "mean in inches")
    columns = [
        Column(heading=heading, cells=[row[place] for row in shown])
        for place, heading in enumerate(headings)
    ]
    columns, _ = _drop_to_fit(columns, width, ("mean in inches", "sd"))
    _add_columns(page, columns, width)
    lines = wire_lines([_quantity(ring, "wire_mm") for ring in measured])
    if len(lines) > 1:
        _add_wrapped(page, f"{len(lines)} wire sizes: mean and sd mix them", width, CAUTION)
    for line in lines:
        _add_wrapped(page, line, width)


def _spread_cells(heading: str, quantities: Sequence[Quantity]) -> tuple[str, ...]:
    """Mean, sd, range and inches, to the place that a single ring's U supports."""
    spread = spread_of([quantity.value for quantity in quantities])
    assert spread is not None
    u95 = median(quantity.u95 for quantity in quantities)
    mean, least, most = (
        rounded(number, u95)[0] for number in (spread.mean, spread.min, spread.max)
    )
    inches = f"{rounded(spread.mean / MM_PER_INCH, u95 / MM_PER_INCH)[0]} in"
    return (
        heading,
        mean,
        _sd(spread),
        f"{least} to {most}",
        inches if heading.endswith("mm") else "",
    )


def _sd(spread: Spread) -> str:
    return "-" if spread.sd is None else significant(spread.sd)


def _quantity_cells(rings: Sequence[Ring], name: str) -> list[str]:
    quantities = [_quantity(ring, name) for ring in rings]
    return aligned([rounded(quantity.value, quantity.u95) for quantity in quantities])


def _quantity(ring: Ring, name: str) -> Quantity:
    quantity = getattr(ring, name)
    assert isinstance(quantity, Quantity)
    return quantity


def _gap(ring: Ring) -> str:
    if ring.gap_mm is None:
        return ""
    return "none" if ring.gap_mm == 0 else f"{ring.gap_mm:.2f}"


def _letter_remarks(rings: Iterable[Ring | Wire]) -> tuple[dict[str, str], list[str]]:
    """Give each different remark a letter, and each ring the letters of its remarks."""
    letters: dict[str, str] = {}
    rows = []
    for ring in rings:
        for warning in ring.warnings:
            letters.setdefault(warning, _letter(len(letters)))
        rows.append(" ".join(letters[warning] for warning in ring.warnings))
    return {letter: warning for warning, letter in letters.items()}, rows


def _letter(place: int) -> str:
    """Count a to z, then aa, ab and so on."""
    more, last = divmod(place, 26)
    return (_letter(more - 1) if more else "") + chr(ord("a") + last)


def _drop_to_fit(
    columns: list[Column], width: int, dispensable: Sequence[str]
) -> tuple[list[Column], list[str]]:
    """Leave columns out until the rest fits, and name what was left out."""
    dropped: list[str] = []
    for heading in dispensable:
        if _total(columns, TIGHT_GAP) <= width:
            break
        if any(column.heading == heading for column in columns):
            dropped.append(heading)
            columns = [column for column in columns if column.heading != heading]
    return columns, dropped


def _total(columns: Sequence[Column], gap: str) -> int:
    return sum(column.width for column in columns) + len(gap) * (len(columns) - 1)


def _add_columns(page: Text, columns: Sequence[Column], width: int) -> None:
    gap = WIDE_GAP if _total(columns, WIDE_GAP) <= width else TIGHT_GAP
    headings = [column.heading.ljust(column.width) for column in columns]
    page.append(f"{gap.join(headings).rstrip()}\n", HEADING)
    for row in zip(*(column.cells for column in columns), strict=True):
        cells = [cell.ljust(column.width) for column, cell in zip(columns, row, strict=True)]
        page.append(f"{gap.join(cells).rstrip()}\n")


def _add_wrapped(page: Text, line: str, width: int, style: str = "", *, indent: int = 2) -> None:
    for part in wrap(
        line, width, subsequent_indent=" " * indent, break_long_words=False, drop_whitespace=True
    ):
        page.append(f"{part}\n", style)
