"""Parts that the reports of a photo and of a verdict share."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cli.report.rows import Row, State, close_up
from cli.show.guide import steps
from cli.show.numbers import rounded, significant
from cli.show.page import LABELS, UNITS
from cli.show.spotcheck import agree_range, expectations, place_words
from cli.show.wire import gauge_words
from cli.words import harmless
from vision.batch.lot import Description, Group
from vision.batch.read import Shot
from vision.results import SUMMARY_NAMES, Quantity, Ring
from vision.spotcheck.caliper import Caliper
from vision.spotcheck.choose import choose_rings, name_groups
from vision.trade.order import fraction_of

CHECKED = 5
"""Rings proposed for the caliper, as `annulet spotcheck` does."""

CAUTIONS = (
    "Mail made by hand is not protective equipment: gloves and aprons against knives fall under "
    "EN 1082-1 and ISO 13999-1 and must be certified.",
    "Nickel in lasting contact with skin is limited (REACH Annex XVII, entry 27; test EN 1811). A "
    "photo does not show the alloy.",
    "Loose rings are small parts: keep them from children under three (16 CFR 1501, EN 71-1).",
    "Cut ends of rings and the jaws of a caliper are sharp.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One number of the answer: its name, value and what it means to a dealer."""

    name: str
    value: str
    unit: str
    u95: str
    more: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A ring to take to the caliper."""

    key: str
    name: str
    where: str
    why: str
    expect: tuple[tuple[str, str, str], ...]
    """What to read, least and most that agrees, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A row of the uncertainty budget: a cause, and for each quantity its size and share."""

    name: str
    parts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Where the uncertainty of a typical ring comes from."""

    headings: tuple[str, ...]
    causes: tuple[Cause, ...]
    combined: tuple[str, ...]
    expanded: tuple[str, ...]


def facts_of(group: Group) -> tuple[Fact, ...]:
    """Say wire, ID and AR of rings of one size, with the names that the trade has for them."""
    wire, inside, ar = (group.spread[name] for name in ("wire_mm", "id_mm", "ar"))
    fraction = fraction_of(inside.mean, inside.mean_u95)
    return (
        _fact("wire_mm", wire, gauge_words(wire.mean, wire.mean_u95)),
        _fact("id_mm", inside, f"within U of {fraction.name}" if fraction else ""),
        _fact("ar", ar, "ID divided by wire"),
    )


def _fact(name: str, found: Description, more: str) -> Fact:
    value, u95 = rounded(found.mean, found.mean_u95)
    spread = (
        f"single rings spread by {significant(found.sd)}{UNITS[name]} (sd)"
        if found.sd is not None and found.sd > 0
        else ""
    )
    return Fact(
        name={"wire_mm": "wire", "id_mm": "inside (ID)", "ar": "aspect ratio (AR)"}[name],
        value=value,
        unit=UNITS[name].strip(),
        u95=u95,
        more="; ".join(part for part in (more, spread) if part),
    )


def checks_of(shots: Sequence[Shot], rows: Sequence[Row]) -> tuple[Check, ...]:
    """Choose rings for the caliper, and say what it should read."""
    keys = {(row.photo, row.number): row for row in rows}
    caliper = Caliper()
    checks = []
    for pick in choose_rings(shots, CHECKED, group_of=name_groups(shots)):
        row = keys[pick.place]
        expect = tuple(
            (expected.what.label, *agree_range(expected))
            for expected in expectations(pick.ring, caliper)
        )
        where = place_words(pick, shots)
        if len(shots) == 1:
            where = where.removesuffix(f" of {harmless(shots[0].photo.file)}")
        checks.append(Check(key=row.key, name=row.name, where=where, why=pick.why, expect=expect))
    return tuple(checks)


def check_steps(shots: Sequence[Shot]) -> tuple[str, ...]:
    """How to hold the caliper on these rings."""
    picks = choose_rings(shots, CHECKED, group_of=name_groups(shots))
    return steps([pick.ring for pick in picks], Caliper())


def budget_of(rings: Sequence[Ring]) -> Budget:
    """Sum the budgets of measured rings up: each cause's root mean square over them."""
    named = [name for name in SUMMARY_NAMES]
    means = {name: _mean_squares([_quantity(ring, name) for ring in rings]) for name in named}
    causes = dict.fromkeys(cause for squares in means.values() for cause in squares)
    totals = {name: sum(squares.values()) for name, squares in means.items()}
    return Budget(
        headings=tuple(f"{LABELS[name]}{UNITS[name]}" for name in named),
        causes=tuple(
            Cause(
                name=cause,
                parts=tuple(_part(means[name].get(cause), totals[name]) for name in named),
            )
            for cause in causes
        ),
        combined=tuple(f"{math.sqrt(totals[name]):.4f}" for name in named),
        expanded=tuple(f"{2.0 * math.sqrt(totals[name]):.4f}" for name in named),
    )


def _part(square: float | None, total: float) -> tuple[str, str]:
    if square is None:
        return "", ""
    share = 100.0 * square / total if total > 0 else 0.0
    return f"{math.sqrt(square):.4f}", f"{share:.0f} %"


def _mean_squares(quantities: Sequence[Quantity]) -> Mapping[str, float]:
    squares: dict[str, float] = {}
    for quantity in quantities:
        for cause, part in quantity.parts.items():
            squares[cause] = squares.get(cause, 0.0) + part * part / len(quantities)
    return squares


def _quantity(ring: Ring, name: str) -> Quantity:
    quantity = getattr(ring, name)
    assert isinstance(quantity, Quantity)
    return quantity


def views_of(rows: Sequence[Row]) -> dict[str, str]:
    """Close-ups by key; rings of one photo share a scale."""
    largest: dict[int, float] = {}
    for row in rows:
        if row.state is not State.UNUSABLE:
            largest[row.photo] = max(row.radius, largest.get(row.photo, 0.0))
    return {row.key: close_up(row, largest.get(row.photo, row.radius)) for row in rows}


def by_distance(rows: Sequence[Row]) -> list[Row]:
    """Order the farthest off first; unusable rings last, as they have no size to be off."""
    return sorted(rows, key=lambda row: (row.state is State.UNUSABLE, -row.away, row.key))
