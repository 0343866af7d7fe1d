"""Which wire a batch is made of, in the numbers that dealers use."""

from collections.abc import Sequence
from statistics import fmean, median

from cli.show.numbers import rounded
from cli.words import count
from vision.results import Quantity
from vision.trade.gauges import Gauge, Match, System, nearest, neighbours

SAME_WIRE = 0.03
"""Relative step in wire diameter that parts two sizes; wire is drawn to about 1 %."""

BETWEEN = 0.25
"""A wire further from the nearest gauge than this part of the step lies between two gauges."""

SYSTEMS = (System.AWG, System.SWG)


def wire_lines(wires: Sequence[Quantity]) -> list[str]:
    """Name the nearest gauges of each wire size, one line a size, thinnest first."""
    sizes = wire_sizes(wires)
    return [_line(size, several=len(sizes) > 1) for size in sizes]


def wire_sizes(wires: Sequence[Quantity]) -> list[list[Quantity]]:
    """Part the wires where sorted diameters jump by more than U and by more than `SAME_WIRE`."""
    ordered = sorted(wires, key=lambda wire: wire.value)
    sizes: list[list[Quantity]] = []
    for wire in ordered:
        jump = wire.value - sizes[-1][-1].value if sizes else 0.0
        if not sizes or jump > max(SAME_WIRE * wire.value, wire.u95):
            sizes.append([])
        sizes[-1].append(wire)
    return sizes


def gauge_words(value_mm: float, u95_mm: float) -> str:
    """Say which gauges a wire is, nearest system first.

    Two gauges that both lie within U of the wire are called too close to tell apart; a wire
    clearly between two numbers of a system is said to be between them; half way, both are named.
    """
    by_system = {system: nearest(value_mm, (system,)) for system in SYSTEMS}
    order = sorted(SYSTEMS, key=lambda system: abs(by_system[system][0].difference_mm))
    words = "; ".join(_system_words(value_mm, u95_mm, by_system[system]) for system in order)
    if all(abs(by_system[system][0].difference_mm) < u95_mm for system in order):
        words += ": too close for a photo to tell apart"
    return words


def _line(wires: Sequence[Quantity], *, several: bool) -> str:
    value_mm = fmean(wire.value for wire in wires)
    u95_mm = median(wire.u95 for wire in wires)
    rings = f", {count(len(wires), 'ring')}" if several else ""
    return f"wire {rounded(value_mm, u95_mm)[0]} mm{rings}: {gauge_words(value_mm, u95_mm)}"


def _system_words(value_mm: float, u95_mm: float, matches: Sequence[Match]) -> str:
    if len(matches) > 1:
        return f"half way between {' and '.join(_named(match.gauge) for match in matches)}"
    gauge, off_mm = matches[0].gauge, abs(matches[0].difference_mm)
    thinner, thicker = neighbours(value_mm, gauge.system)
    if off_mm > u95_mm:
        if thinner is None or thicker is None:
            return f"{'thinner' if thinner is None else 'thicker'} than {_named(gauge)}"
        if off_mm > BETWEEN * (thicker.diameter_mm - thinner.diameter_mm):
            return f"between {_named(thinner)} and {_named(thicker)}"
    return f"{_named(gauge)}, {off_mm:.3f} off"


def _named(gauge: Gauge) -> str:
    return f"{gauge.name} = {gauge.diameter_mm:.3f}"
