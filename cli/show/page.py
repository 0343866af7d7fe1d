"""Lines and small tables on a page of text."""

from collections.abc import Sequence
from textwrap import wrap

from rich.text import Text

from cli.words import harmless
from vision.batch.sample import Member

HEADING, CAUTION, QUIET, GOOD, BAD = "bold", "yellow", "dim", "bold green", "bold red"

LABELS = {"wire_mm": "wire", "id_mm": "ID", "od_mm": "OD", "ar": "AR"}
UNITS = {"wire_mm": " mm", "id_mm": " mm", "od_mm": " mm", "ar": ""}


def add_line(page: Text, line: str, width: int, style: str = "", *, indent: int = 2) -> None:
    """Add a line, wrapped; a blank one for an empty text."""
    for part in wrap(line, width, subsequent_indent=" " * indent, break_long_words=False) or [""]:
        page.append(f"{part}\n", style)


def add_table(
    page: Text, headings: Sequence[str], rows: Sequence[Sequence[str]], width: int
) -> None:
    """Add a table, or a paragraph a row where the terminal is too narrow for it."""
    columns = list(zip(headings, *rows, strict=True))
    widths = [max(map(len, column)) for column in columns]
    if sum(widths) + 2 * (len(widths) - 1) > width:
        for row in rows:
            said = [f"{h} {cell}".strip() for h, cell in zip(headings, row, strict=True) if cell]
            add_line(page, ", ".join(said), width)
        return
    for number, line in enumerate(zip(*columns, strict=True)):
        cells = [cell.ljust(size) for cell, size in zip(line, widths, strict=True)]
        page.append(f"{'  '.join(cells).rstrip()}\n", HEADING if number == 0 else "")


def place_of(member: Member, *, several: bool) -> str:
    """`ring 17 (B3) in tray.jpg`; the photo only where there are several."""
    cell = f" ({harmless(member.ring.cell)})" if member.ring.cell else ""
    photo = f" in {harmless(member.photo)}" if several else ""
    return f"ring {member.ring.number}{cell}{photo}"


def place_record(member: Member) -> dict[str, str | int | None]:
    """The same for a program."""
    return {"photo": member.photo, "ring": member.ring.number, "cell": member.ring.cell}


def percent(share: float) -> str:
    """A share from 0 to 1: one decimal below 10 %."""
    hundredfold = 100.0 * share
    if hundredfold == 0.0 or hundredfold >= 9.95:
        return f"{hundredfold:.0f} %"
    return f"{hundredfold:.1f} %" if hundredfold >= 0.05 else "< 0.1 %"
