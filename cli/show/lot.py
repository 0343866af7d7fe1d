"""What a batch says about itself, as text and as JSON."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from rich.text import Text

from cli.show.numbers import rounded, significant
from cli.show.page import (
    CAUTION,
    HEADING,
    LABELS,
    QUIET,
    UNITS,
    add_line,
    add_table,
    place_of,
    place_record,
)
from cli.words import count, harmless
from vision.batch.lot import LEAST_TO_JUDGE, Description, Group, OffSize, Report
from vision.batch.sample import value_of
from vision.batch.spread import Limits
from vision.trade.order import fraction_of, gauges_of

PHOTOS_NAMED = 4
"""Photos that the heading names before it only counts them."""

LEAST_U95_MM = 0.001
"""Last place shown where a file says that a ring has no uncertainty of its own."""

FEW = 10
"""Rings below which a tolerance interval is so wide that it needs a word of explanation."""


def report_text(report: Report, repeats: Sequence[str], *, width: int) -> Text:
    """Lay out a batch: how it spreads, its sizes, its off-size rings.

    Parameters
    ----------
    repeats : a sentence for each photo that was given twice
    width : columns of the terminal
    """
    page = Text()
    batch = report.batch
    add_line(page, _heading(report), width, HEADING)
    seen = len(batch) + batch.unusable
    add_line(
        page, f"{count(seen, 'ring')}: {len(batch)} measured, {batch.unusable} unusable", width
    )
    for repeat in repeats:
        add_line(page, f"note: {harmless(repeat)}", width, CAUTION)
    several = len(report.groups) > 1
    if several:
        add_line(page, f"a mixed bag of {len(report.groups)} sizes", width, CAUTION)
    for number, group in enumerate(report.groups, 1):
        add_line(page, "", width)
        name = f"size {number}: " if several else ""
        add_line(page, f"{name}{size_words(group)}", width, HEADING)
        _add_spread(page, group.spread, width)
    for line in _explained(report):
        add_line(page, line, width, QUIET)
    add_line(page, "", width)
    add_off_size(page, report, width)
    return page


def measured_text(report: Report, repeats: Sequence[str], *, width: int) -> Text:
    """Add to tables of measured rings what they say together: repeats, sizes, off-size rings.

    Empty for rings too few to say anything.
    """
    page = Text()
    for repeat in repeats:
        add_line(page, f"note: {harmless(repeat)}", width, CAUTION)
    if len(report.groups) > 1:
        add_line(page, f"a mixed bag of {len(report.groups)} sizes", width, CAUTION)
        for group in report.groups:
            add_line(page, f"  {size_words(group)}", width, indent=4)
    if len(report.batch) >= LEAST_TO_JUDGE:
        add_off_size(page, report, width)
    return page


def add_off_size(page: Text, report: Report, width: int) -> None:
    """Name the off-size rings so that they can be picked out."""
    named = {id(off.member) for off in report.off_size}
    if not named:
        enough = any(len(group.members) >= LEAST_TO_JUDGE for group in report.groups)
        few = f"too few rings to tell one from the rest: {LEAST_TO_JUDGE} are needed"
        line = "no ring stands out from the rest" if enough else few
        add_line(page, f"off size: {line}", width)
        return
    add_line(page, f"off size: {count(len(named), 'ring')} to pick out", width, CAUTION)
    for off in report.off_size:
        add_line(page, f"  {off_words(off, report)}", width, CAUTION, indent=6)


def size_words(group: Group) -> str:
    """`wire 1.626 (SWG 16, AWG 14) x ID 6.35 (1/4 in), AR 3.91, 24 rings`: how stock names it."""
    wire, inside, ar = (group.spread[name] for name in ("wire_mm", "id_mm", "ar"))
    gauges = ", ".join(gauge.name for gauge in gauges_of(wire.mean, wire.mean_u95))
    fraction = fraction_of(inside.mean, inside.mean_u95)
    return (
        f"wire {rounded(wire.mean, wire.mean_u95)[0]} mm{f' ({gauges})' if gauges else ''} "
        f"x ID {rounded(inside.mean, inside.mean_u95)[0]} mm"
        f"{f' ({fraction.name})' if fraction else ''}, "
        f"AR {rounded(ar.mean, ar.mean_u95)[0]}, {count(len(group.members), 'ring')}"
    )


def report_record(report: Report, repeats: Sequence[str]) -> dict[str, Any]:
    """List the same for a program (format `annulet-lot`, version 1)."""
    return {
        "format": "annulet-lot",
        "version": 1,
        "photos": [
            {"file": shot.photo.file, "sha256": shot.photo.sha256, "rings": len(shot.measured)}
            for shot in report.batch.shots
        ],
        "repeated": list(repeats),
        "rings": len(report.batch) + report.batch.unusable,
        "measured": len(report.batch),
        "spread": spread_record(report.spread),
        "groups": [
            {
                "rings": [place_record(member) for member in group.members],
                "gauges": [
                    gauge.name
                    for gauge in gauges_of(
                        group.spread["wire_mm"].mean, group.spread["wire_mm"].mean_u95
                    )
                ],
                "spread": spread_record(group.spread),
            }
            for group in report.groups
        ],
        "off_size": [off_record(off) for off in report.off_size],
    }


def spread_record(spread: Mapping[str, Description]) -> dict[str, Any]:
    """Every figure of every quantity; lengths in mm where the quantity's name says so."""
    return {name: asdict(found) | {"mean_u95": found.mean_u95} for name, found in spread.items()}


def off_record(off: OffSize) -> dict[str, Any]:
    """An off-size ring."""
    return place_record(off.member) | {
        "what": off.name.removesuffix("_mm"),
        "value_mm": value_of(off.member.ring, off.name).value,
        "off_mm": off.off_mm,
        "off_u95_mm": off.u95_mm,
        "robust_distance": off.robust_distance,
    }


def _heading(report: Report) -> str:
    files = [shot.photo.file for shot in report.batch.shots]
    if len(files) > PHOTOS_NAMED:
        return f"batch of {len(files)} photos"
    return f"batch of {', '.join(map(harmless, files))}"


def _add_spread(page: Text, spread: Mapping[str, Description], width: int) -> None:
    headings = ("", "rings", "mean ± U", "median", "robust sd", "min to max")
    add_table(page, headings, [_middle(name, found) for name, found in spread.items()], width)
    one = next(iter(spread.values()))
    if one.n > 1:
        add_line(page, "", width)
        headings = ("", "sd", "95 % limits", "measuring", "rings' own", "95 % of the lot in")
        add_table(page, headings, [_width(name, found) for name, found in spread.items()], width)


def _middle(name: str, found: Description) -> tuple[str, ...]:
    mean, u95 = rounded(found.mean, found.mean_u95)
    return (
        _label(name),
        str(found.n),
        f"{mean} ± {u95}",
        _at(found.median, found),
        _sd(found.robust_sd),
        f"{_at(found.min, found)} to {_at(found.max, found)}",
    )


def _width(name: str, found: Description) -> tuple[str, ...]:
    return (
        _label(name),
        _sd(found.sd),
        _range(found.sd_limits, _sd),
        _sd(found.sd_measuring),
        _sd(found.sd_rings),
        _range(found.tolerance, lambda value: _at(value, found)),
    )


def _explained(report: Report) -> list[str]:
    n = len(report.batch)
    if n == 1:
        return ["one ring shows no spread"]
    lines = [
        "sd has two parts: what measuring one ring adds, and the rings' own spread. U of the "
        "mean (k = 2) holds what all rings share: scale, camera, light."
    ]
    if n < FEW:
        lines.append(f"{n} rings are few: the limits are wide for that reason")
    return lines


def _range(limits: Limits | None, words: Any) -> str:
    return "" if limits is None else f"{words(limits[0])} to {words(limits[1])}"


def _label(name: str) -> str:
    return f"{LABELS[name]}{UNITS[name]}"


def _at(value: float, found: Description) -> str:
    """To the place that a single ring's own measurement supports."""
    return rounded(value, max(2.0 * found.sd_measuring, LEAST_U95_MM))[0]


def _sd(value: float | None) -> str:
    return "-" if value is None else significant(value) if value > 1e-9 else "0"


def off_words(off: OffSize, report: Report) -> str:
    """`ring 17 (B3): ID 6.75 mm, 0.40 ± 0.03 too large`."""
    unit = UNITS[off.name]
    value = value_of(off.member.ring, off.name).value
    deviation, u95 = rounded(abs(off.off_mm), max(off.u95_mm, LEAST_U95_MM))
    places = len(deviation.partition(".")[2])
    where = place_of(off.member, several=len(report.batch.shots) > 1)
    too = _too(off.name, above=off.off_mm > 0)
    return f"{where}: {LABELS[off.name]} {value:.{places}f}{unit}, {deviation} ± {u95} {too}"


def _too(name: str, *, above: bool) -> str:
    if name == "wire_mm":
        return "too thick" if above else "too thin"
    return "too large" if above else "too small"
