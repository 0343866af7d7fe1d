"""Plots of single rings: a dot with its U for each, sorted, and the limits where there are any.

Drawn as plain SVG: it takes the page's colours (light, dark, print), keeps its text as text and
its dots as links, and costs no library.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cli.report.rows import Row
from cli.show.page import LABELS, UNITS

WIDTH = 360
"""Units across; on a phone one unit is about one pixel, so that letters stay readable."""

LEFT, RIGHT, TOP, BOTTOM = 14, 14, 36, 30
TALL = 220
LEAST_PITCH, MOST_PITCH = 3.0, 12.0
MOST_TICKS = 5
PLOTTED = ("wire_mm", "id_mm", "ar")

MARGIN = 0.05
"""Free part of the range on either side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """One ring: its value, the ends of value ± U, its height."""

    x: float
    low: float
    high: float
    y: float
    row: Row
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A place on the axis, and what is written there."""

    x: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """One quantity of many rings, laid out."""

    title: str
    width: int
    height: float
    floor: float
    """Where the axis lies."""
    dots: tuple[Dot, ...]
    ticks: tuple[Mark, ...]
    top: float
    """Where dots begin; limits are written above."""
    limits: tuple[Mark, ...]
    outside: tuple[tuple[float, float], ...]
    """Left edge and width of what lies beyond the limits."""
    middle: float
    said: str
    """The plot in a sentence, for who cannot see it."""


def plot(rows: Sequence[Row], name: str, limits: tuple[float, float] | None = None) -> Plot:
    """Lay out one quantity.

    Parameters
    ----------
    rows : rings that carry numbers, at least one
    name : `wire_mm`, `id_mm` or `ar`
    limits : least and most that conforms, either of them possibly infinite
    """
    ordered = sorted(rows, key=lambda row: row.sizes[name].value)
    marks = [limit for limit in limits or () if math.isfinite(limit)]
    ends = [end for row in ordered for end in (row.sizes[name].low, row.sizes[name].high)]
    axis = _axis([*ends, *marks])
    pitch = min(MOST_PITCH, max(LEAST_PITCH, TALL / len(ordered)))
    floor = TOP + pitch * len(ordered)
    values = [row.sizes[name].value for row in ordered]
    middle = values[len(values) // 2]
    return Plot(
        title=f"{LABELS[name]}{f',{UNITS[name]}' if UNITS[name] else ''}",
        width=WIDTH,
        height=floor + BOTTOM,
        floor=floor,
        top=TOP,
        dots=tuple(
            Dot(
                x=axis.at(row.sizes[name].value),
                low=axis.at(row.sizes[name].low),
                high=axis.at(row.sizes[name].high),
                y=floor - pitch * (place + 0.5),
                row=row,
                said=f"ring {row.name}: {row.sizes[name].value_text} ± {row.sizes[name].u_text}",
            )
            for place, row in enumerate(ordered)
        ),
        ticks=tuple(Mark(x=axis.at(tick), text=f"{tick:.{axis.places}f}") for tick in axis.ticks),
        limits=tuple(Mark(x=axis.at(limit), text=_short(limit)) for limit in marks),
        outside=_outside(limits, axis),
        middle=axis.at(middle),
        said=_said(ordered, name, marks),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axis:
    low: float
    high: float
    ticks: tuple[float, ...]
    places: int

    def at(self, value: float) -> float:
        """Where a value lies, in the plot's units."""
        part = (value - self.low) / (self.high - self.low)
        return LEFT + part * (WIDTH - LEFT - RIGHT)


def _axis(values: Sequence[float]) -> _Axis:
    """Choose a range that holds all values, and round numbers on it."""
    least, most = min(values), max(values)
    spare = MARGIN * (most - least) or 0.01 * abs(most) or 1.0
    low, high = least - spare, most + spare
    rough = (high - low) / MOST_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * times for times in (1, 2, 5, 10) if power * times >= rough)
    first, last = math.ceil(low / step), math.floor(high / step)
    return _Axis(
        low=low,
        high=high,
        ticks=tuple(step * k for k in range(first, last + 1)),
        places=max(0, -math.floor(math.log10(step) + 1e-9)),
    )


def _outside(limits: tuple[float, float] | None, axis: _Axis) -> tuple[tuple[float, float], ...]:
    if limits is None:
        return ()
    low, high = limits
    parts = []
    if math.isfinite(low):
        parts.append((LEFT / 2, axis.at(low) - LEFT / 2))
    if math.isfinite(high):
        parts.append((axis.at(high), WIDTH - RIGHT / 2 - axis.at(high)))
    return tuple(parts)


def _short(limit: float) -> str:
    """Write a limit to a thousandth, without idle zeros."""
    return f"{limit:.3f}".rstrip("0").rstrip(".")


def _said(ordered: Sequence[Row], name: str, limits: Sequence[float]) -> str:
    first, last = ordered[0].sizes[name], ordered[-1].sizes[name]
    rings = "one ring" if len(ordered) == 1 else f"{len(ordered)} rings"
    said = (
        f"{LABELS[name]} of {rings}, from {first.value_text} (ring {ordered[0].name}) to "
        f"{last.value_text}{UNITS[name]} (ring {ordered[-1].name})"
    )
    return said + "".join(f"; limit {_short(limit)}" for limit in limits)
