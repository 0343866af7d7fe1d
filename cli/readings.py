"""Caliper readings as a CSV file: read with every problem named by its line, added to safely."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cli.problems import UsageProblem
from vision.batch.read import Shot
from vision.errors import TradeError
from vision.photo.file import read_file
from vision.spotcheck.caliper import Reading, What
from vision.spotcheck.typed import ACCEPTED, Typed, read_typed
from vision.spotcheck.verdict import ReadingsError

UNIT_COLUMNS = {"reading_mm": "mm", "reading_in": "in"}
COLUMNS = ("ring", "what", *UNIT_COLUMNS)
PHOTO_COLUMN = "photo"

MOST_BYTES = 1_000_000
"""Some 50 000 readings: more than a lifetime with a caliper."""

DELIMITERS = ",;\t"


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What a file of readings holds."""

    readings: tuple[Reading, ...]
    problems: tuple[str, ...]
    """One sentence for each line that cannot be used, with its number."""
    blanks: int
    """Lines without a reading, as a form has them before it is filled in."""


def load(path: Path) -> str:
    """Read a file of readings as text.

    Raises
    ------
    UsageProblem
        If there is no such file.
    ReadingsError
        If it cannot be read, or is no text.
    """
    if not path.exists():
        raise UsageProblem(f"there is no file {path}", hint=FORM)
    try:
        content = read_file(path, MOST_BYTES)
    except OSError as error:
        raise ReadingsError(f"cannot read {path}: {error.strerror or error}", hint=FORM) from error
    if len(content) > MOST_BYTES:
        raise ReadingsError(f"{path} is far too large for caliper readings", hint=FORM)
    encoding = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        raise ReadingsError(f"{path} is no text in UTF-8", hint=FORM) from error
    if "\0" in text:
        raise ReadingsError(f"{path} is no text, but some other kind of file", hint=FORM)
    return text


FORM = "a CSV file starts with the line ring,what,reading_mm and goes on like 7,wire,1.63"


def parse(text: str, shots: Sequence[Shot], *, name: str) -> Readings:
    """Read every line; what is wrong with a line is said, and the others still count.

    Raises
    ------
    ReadingsError
        If the file is empty or its first line does not name the columns.
    """
    header, rows = _rows(text, name)
    readings: list[Reading] = []
    fractions: list[bool] = []
    problems: list[str] = []
    blanks = 0
    for line, cells in rows:
        if not any(cells):
            continue
        if len(cells) > len(header) and any(cells[len(header) :]):
            problems.append(
                f"line {line} has {len(cells)} fields, the first line names {len(header)}: "
                "a decimal comma? Write 1.63, with a point"
            )
            continue
        row = dict(zip(header, [*cells, *[""] * len(header)], strict=False))
        try:
            found = _reading(row, shots, f"line {line}")
        except TradeError as error:
            problems.append(f"line {line}: {error}")
            continue
        if found is None:
            blanks += 1
        else:
            readings.append(found[0])
            fractions.append(found[1].is_fraction)
    return Readings(
        readings=with_finest_steps(readings, fractions), problems=tuple(problems), blanks=blanks
    )


def with_finest_steps(
    readings: Sequence[Reading], fractions: Sequence[bool]
) -> tuple[Reading, ...]:
    """Give all readings of one notation the finest step among them: 1.6 may stand for 1.60."""
    kinds = [(r.unit, f) for r, f in zip(readings, fractions, strict=True)]
    finest: dict[tuple[str, bool], float] = {}
    for reading, kind in zip(readings, kinds, strict=True):
        finest[kind] = min(finest.get(kind, reading.step_mm), reading.step_mm)
    return tuple(
        replace(reading, step_mm=finest[kind])
        for reading, kind in zip(readings, kinds, strict=True)
    )


def add_row(text: str, shots: Sequence[Shot], reading: Reading, typed: str) -> str:
    """Add a reading to a file's text, in the file's own columns and delimiter.

    Parameters
    ----------
    text : the file so far; empty for a new one
    typed : the number as it was typed, without its unit

    Raises
    ------
    ReadingsError
        If the file has no column for the unit, or none for the photo where one is needed.
    """
    if not text.strip():
        photo = (PHOTO_COLUMN,) if len(shots) > 1 else ()
        text = ",".join((*photo, *COLUMNS)) + "\n"
    header, _ = _rows(text, "the file")
    cells = {
        PHOTO_COLUMN: shots[reading.photo].photo.file,
        "ring": str(reading.ring),
        "what": reading.what.value,
        f"reading_{reading.unit}": typed,
    }
    needed = [f"reading_{reading.unit}", *([PHOTO_COLUMN] if len(shots) > 1 else [])]
    for column in needed:
        if column not in header:
            raise ReadingsError(
                f"the file has no column {column}", hint="add it to the first line, or start anew"
            )
    out = io.StringIO()
    csv.writer(out, delimiter=_delimiter(text), lineterminator="\n").writerow(
        [cells.get(column, "") for column in header]
    )
    return text + ("" if text.endswith("\n") else "\n") + out.getvalue()


def _rows(text: str, name: str) -> tuple[list[str], Iterator[tuple[int, list[str]]]]:
    """Column names, and the other rows with the number of the line that each ends in."""
    if not text.strip():
        raise ReadingsError(f"{name} is empty", hint=FORM)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text))
    header: list[str] = []
    while not any(header):
        header = [cell.strip().lower() for cell in next(reader)]
    lacking = [column for column in ("ring", "what") if column not in header]
    if lacking or not UNIT_COLUMNS.keys() & set(header):
        lacking += [] if UNIT_COLUMNS.keys() & set(header) else ["reading_mm or reading_in"]
        raise ReadingsError(
            f"the first line of {name} must name the columns; it lacks {', '.join(lacking)}",
            hint=FORM,
        )
    twice = sorted({column for column in header if column and header.count(column) > 1})
    if twice:
        raise ReadingsError(f"the first line of {name} names {twice[0]} twice", hint=FORM)

    def rows() -> Iterator[tuple[int, list[str]]]:
        try:
            for cells in reader:
                yield reader.line_num, [cell.strip() for cell in cells]
        except csv.Error as error:
            raise ReadingsError(f"{name}, line {reader.line_num}: {error}", hint=FORM) from error

    return header, rows()


def _delimiter(text: str) -> str:
    first = text.lstrip().splitlines()[0]
    return max(DELIMITERS, key=first.count)


def _reading(
    row: dict[str, str], shots: Sequence[Shot], place: str
) -> tuple[Reading, Typed] | None:
    """Read one row; None without a reading. TradeError with what is wrong otherwise."""
    written = {column: row.get(column, "") for column in UNIT_COLUMNS if row.get(column, "")}
    if not written:
        return None
    if len(written) > 1:
        raise TradeError("both reading_mm and reading_in are filled in: keep one")
    [(column, text)] = written.items()
    photo, ring = find_ring(row["ring"], row.get(PHOTO_COLUMN, ""), shots)
    what = _what(row["what"])
    if "," in text:
        raise TradeError(f"{text!r} has a decimal comma: write it with a point, as in 1.63")
    try:
        typed = read_typed(text, UNIT_COLUMNS[column])
    except TradeError as error:
        raise TradeError(f"{error}; {ACCEPTED}") from error
    if typed.unit != UNIT_COLUMNS[column]:
        raise TradeError(f"{text!r} is in {_spoken(typed.unit)} but stands in column {column}")
    reading = Reading(
        photo=photo,
        ring=ring,
        what=what,
        value_mm=typed.value_mm,
        step_mm=typed.step_mm,
        unit=typed.unit,
        place=place,
    )
    return reading, typed


def find_ring(number: str, photo: str, shots: Sequence[Shot]) -> tuple[int, int]:
    """Find the photo (from 0) and the ring that a line names.

    Raises
    ------
    TradeError
        With what is wrong: no such ring, an unusable one, or a number that two photos have.
    """
    if not (number.isascii() and number.isdigit() and len(number) < 10):
        raise TradeError(f"{number!r} is no ring number: write the one in the marked photo")
    named = [
        k
        for k, shot in enumerate(shots)
        if photo.casefold()
        in ("", shot.photo.file.casefold(), Path(shot.photo.file).stem.casefold())
    ]
    if not named:
        known = ", ".join(shot.photo.file for shot in shots)
        raise TradeError(f"there is no photo {photo!r}: the result holds {known}")
    ring = int(number)
    here = [(k, r) for k in named for r in shots[k].rings if r.number == ring]
    if not here:
        most = max((r.number for k in named for r in shots[k].rings), default=0)
        raise TradeError(f"there is no ring {ring}: they are numbered 1 to {most}")
    if len(here) > 1:
        files = " and ".join(shots[k].photo.file for k, _ in here)
        raise TradeError(f"ring {ring} is in {files}: say which in a column photo")
    [(k, found)] = here
    if found.wire_mm is None:
        why = "; ".join(found.reasons) or "no reason given"
        raise TradeError(f"ring {ring} is unusable in the photo, there is no size to check: {why}")
    return k, ring


def _what(text: str) -> What:
    try:
        return What(text.lower())
    except ValueError:
        raise TradeError(f"{text!r} is no length of a ring: write wire, od or id") from None


def _spoken(unit: str) -> str:
    return {"mm": "millimetres", "in": "inches"}[unit]
