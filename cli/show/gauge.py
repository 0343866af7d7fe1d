"""A wire size in all its units, as text and as JSON."""

from textwrap import wrap
from typing import Any

from rich.text import Text

from cli.words import harmless
from vision.trade.sizes import Size
from vision.trade.wire import Candidate, Fit, LabelCheck, WireAnswer

HEADING, CAUTION, QUIET = "bold", "yellow", "dim"


def gauge_text(
    size: Size, wire: WireAnswer, check: LabelCheck | None, *, stated: bool, width: int
) -> Text:
    """Lay out a wire: its units, its nearest gauges, and what is to be thought of its label.

    Parameters
    ----------
    stated : whether the user gave the uncertainty
    width : columns of the terminal
    """
    page = Text()
    named = f"{size.gauge.name} = " if size.gauge is not None else ""
    page.append(f"{named}{_trimmed(wire.value_mm)} mm = {wire.value_in:.4f} in\n", HEADING)
    _add(page, _u95_line(wire, stated=stated), width, QUIET)
    page.append("\n")
    page.append(f"{'nearest':<10} {'mm':>8} {'off by mm':>10}\n", HEADING)
    for found in wire.candidates:
        page.append(f"{_row(found.gauge.name, found.gauge.diameter_mm, found.difference_mm)}")
        page.append(f"  {_remark(found)}\n")
    for fraction in wire.fractions:
        inside = "inside U" if abs(fraction.difference_mm) <= wire.u95_mm else "outside U"
        tied = ", half way" if len(wire.fractions) > 1 else ""
        row = _row(fraction.name, fraction.value_mm, fraction.difference_mm)
        page.append(f"{row}  {inside}{tied}\n")
    page.append("\n")
    for line in _notes(size, wire):
        _add(page, line, width, CAUTION)
    if check is not None:
        _add_check(page, wire, check, width)
    return page


def gauge_record(
    size: Size, wire: WireAnswer, check: LabelCheck | None, *, stated: bool
) -> dict[str, Any]:
    """List the same for a program (format `annulet-gauge`, version 1)."""
    return {
        "format": "annulet-gauge",
        "version": 1,
        "asked": size.text,
        "value_mm": wire.value_mm,
        "value_in": wire.value_in,
        "u95_mm": wire.u95_mm,
        "u95_stated": stated,
        "nearest": [
            {
                "name": found.gauge.name,
                "system": found.gauge.system.value,
                "number": found.gauge.number,
                "diameter_mm": found.gauge.diameter_mm,
                "difference_mm": found.difference_mm,
                "inside_u95": found.inside_u95,
                "tied": found.tied,
                "beyond": found.beyond,
            }
            for found in wire.candidates
        ],
        "fractions": [
            {
                "name": fraction.name,
                "sixty_fourths_in": fraction.sixty_fourths,
                "value_mm": fraction.value_mm,
                "difference_mm": fraction.difference_mm,
                "inside_u95": abs(fraction.difference_mm) <= wire.u95_mm,
            }
            for fraction in wire.fractions
        ],
        "label": None if check is None else _check_record(check),
    }


def _check_record(check: LabelCheck) -> dict[str, Any]:
    return {
        "text": check.text,
        "answer": check.fit.value,
        "meanings": [
            {
                "name": reading.size.gauge.name if reading.size.gauge else None,
                "value_mm": reading.size.value_mm,
                "difference_mm": reading.difference_mm,
                "answer": reading.fit.value,
            }
            for reading in check.readings
        ],
        "possible_reasons": list(check.reasons),
    }


def _u95_line(wire: WireAnswer, *, stated: bool) -> str:
    if stated:
        return f"U {wire.u95_mm:g} mm"
    return f"U {wire.u95_mm:g} mm taken, as for a caliper; --u95-mm states another"


def _trimmed(value_mm: float) -> str:
    return f"{value_mm:.4f}".rstrip("0").rstrip(".")


def _row(name: str, value_mm: float, difference_mm: float) -> str:
    return f"{name:<10} {value_mm:8.4f} {difference_mm + 0.0:+10.4f}"


def _remark(found: Candidate) -> str:
    if found.beyond:
        more = "thicker" if found.difference_mm > 0 else "thinner"
        return f"the end of {found.gauge.system}; the wire is {more}"
    inside = "inside U" if found.inside_u95 else "outside U"
    return f"{inside}, half way" if found.tied else inside


def _notes(size: Size, wire: WireAnswer) -> list[str]:
    notes = []
    if size.is_bare:
        notes.append(
            f"note: {size.text} was read as millimetres; for gauge number {size.text} "
            f"write {size.text}swg, {size.text}awg or {size.text}wm"
        )
    if len(wire.same) > 1:
        names = [gauge.name for gauge in wire.same]
        sizes = [gauge.diameter_mm for gauge in wire.same]
        apart_mm = max(sizes) - min(sizes)
        notes.append(
            f"{', '.join(names[:-1])} and {names[-1]} are {_apart(apart_mm)}: "
            "this measurement cannot tell them apart"
        )
    return notes


def _apart(apart_mm: float) -> str:
    return "the same" if apart_mm < 0.00005 else f"{apart_mm:.4f} mm apart"


def _add_check(page: Text, wire: WireAnswer, check: LabelCheck, width: int) -> None:
    for reading in check.readings:
        gauge = reading.size.gauge
        what = f"{gauge.name} = " if gauge is not None else ""
        more = "thicker" if reading.difference_mm > 0 else "thinner"
        off_mm = abs(reading.difference_mm)
        percent = 100.0 * off_mm / reading.size.value_mm
        _add(
            page,
            f"label {harmless(check.text)!r}: {reading.fit}. {what}{reading.size.value_mm:.3f} mm; "
            f"the wire is {off_mm:.3f} mm ({percent:.1f} %) {more}, U {wire.u95_mm:g} mm",
            width,
            "" if reading.fit is Fit.YES else CAUTION,
        )
    if check.fit is Fit.YES:
        return
    names = [found.gauge.name for found in wire.candidates]
    _add(page, f"nearest are {', '.join(names)}", width)
    page.append("possible reasons:\n")
    for reason in check.reasons:
        _add(page, f"- {reason}", width)


def _add(page: Text, line: str, width: int, style: str = "") -> None:
    for part in wrap(line, width, subsequent_indent="  ", break_long_words=False):
        page.append(f"{part}\n", style)
