"""Rings as a report shows them: a close-up, a row of the table, a dot of a plot."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from cli.report.picture import circle_path, outline_path
from cli.show.numbers import rounded
from cli.show.pieces import gauge, varies
from vision.results import Quantity, Ring, Status, Wire

SHOWN = ("wire_mm", "id_mm", "od_mm", "ar")

LEAST_RADIUS_PX = 12.0
"""For rings of result files, which carry no outline where there are no numbers."""

ROOM = 1.35
"""Half the side of a close-up, in outer radii of the largest ring."""


class State(StrEnum):
    """What a ring looks like in a report: each has a colour, a shape and a word."""

    GOOD = "good"
    DOUBT = "doubt"
    OFF = "off"
    UNUSABLE = "unusable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A value and its U, as numbers to sort by and as texts to show."""

    value: float
    u95: float
    value_text: str
    u_text: str

    @property
    def low(self) -> float:
        """Value less U."""
        return self.value - self.u95

    @property
    def high(self) -> float:
        """Value and U."""
        return self.value + self.u95


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One ring."""

    key: str
    """Ends the identifiers of its elements: digits and a dash."""
    name: str
    """Its number, with its photo's number where there are several."""
    photo: int
    """Which photo, from 0."""
    number: int
    cell: str
    state: State
    said: str
    """How it differs, or why it carries no numbers; may be empty."""
    remarks: tuple[str, ...]
    away: float
    """What close-ups are sorted by: how far it is from where it should be, in U."""
    sizes: Mapping[str, Size]
    """Empty for an unusable ring."""
    gap_mm: float | None
    x: float
    y: float
    radius: float
    outlines: tuple[str, ...]
    """Data of SVG paths, in the photo's pixels."""

    @property
    def strike(self) -> str:
        """Data of an SVG path that strikes the ring through and leaves its middle free."""
        (x, y), near, far = (self.x, self.y), 0.5 * self.radius, self.radius
        return (
            f"M{x - far:.1f} {y + far:.1f}L{x - near:.1f} {y + near:.1f}"
            f"M{x + near:.1f} {y - near:.1f}L{x + far:.1f} {y - far:.1f}"
        )


def row_of(
    ring: Ring,
    *,
    photo: int,
    several: bool,
    state: State,
    said: str,
    away: float,
    remarks: tuple[str, ...],
) -> Row:
    """Prepare a ring."""
    (x, y), radius = ring.center_px, max(ring.radius_px, LEAST_RADIUS_PX)
    drawn = ring.outlines_px if ring.status is Status.MEASURED else None
    return Row(
        key=f"{photo + 1}-{ring.number}" if several else str(ring.number),
        name=f"{photo + 1}.{ring.number}" if several else str(ring.number),
        photo=photo,
        number=ring.number,
        cell=ring.cell or "",
        state=state,
        said=said,
        remarks=remarks,
        away=away,
        sizes=_sizes(ring),
        gap_mm=ring.gap_mm,
        x=x,
        y=y,
        radius=radius,
        outlines=tuple(map(outline_path, drawn)) if drawn else (circle_path(x, y, radius),),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceRow:
    """One piece of wire, as texts to show."""

    name: str
    cell: str
    state: State
    said: str
    width: str
    u95: str
    varies: str
    length: str
    awg: str
    swg: str
    x: float
    y: float
    outline: str
    """Data of an SVG path, in the photo's pixels."""


def piece_row(wire: Wire) -> PieceRow:
    """Prepare a piece of wire."""
    found = wire.wire_mm
    value, u95 = rounded(found.value, found.u95) if found else ("", "")
    state = State.DOUBT if wire.warnings else State.GOOD
    (x, y), ends = wire.center_px, np.array(wire.ends_px)
    return PieceRow(
        name=wire.name,
        cell=wire.cell or "",
        state=state if found else State.UNUSABLE,
        said="; ".join(wire.warnings if found else wire.reasons),
        width=value,
        u95=u95,
        varies=varies(wire),
        length=f"{wire.length_mm:.0f}",
        awg=gauge(wire.awg, found.u95) if found else "",
        swg=gauge(wire.swg, found.u95) if found else "",
        x=x,
        y=y,
        outline=outline_path(wire.outline_px if wire.outline_px is not None else ends),
    )


def _sizes(ring: Ring) -> dict[str, Size]:
    if ring.status is not Status.MEASURED:
        return {}
    sizes = {}
    for name in SHOWN:
        quantity = getattr(ring, name)
        assert isinstance(quantity, Quantity)
        value, u95 = rounded(quantity.value, quantity.u95)
        sizes[name] = Size(value=quantity.value, u95=quantity.u95, value_text=value, u_text=u95)
    return sizes


def close_up(row: Row, largest: float) -> str:
    """View of a ring's close-up: rings of one photo share a scale, so that sizes compare.

    Parameters
    ----------
    largest : outer radius of the largest measured ring of its photo, pixels
    """
    half = ROOM * max(row.radius, largest)
    return f"{row.x - half:.0f} {row.y - half:.0f} {2 * half:.0f} {2 * half:.0f}"
