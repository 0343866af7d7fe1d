"""Wire gauges: from number to diameter, and from a measured wire to the nearest numbers."""

import tomllib
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files

MM_PER_INCH = 25.4

TIE_MM = 5e-7
"""Two gauges whose distances differ by less are equally near: half of the last digit that any
table below carries in millimetres (0.000001)."""


class System(StrEnum):
    """The wire gauge systems in use for jump rings."""

    AWG = "AWG"
    """American Wire Gauge (Brown & Sharpe): copper and precious metal."""
    SWG = "SWG"
    """Imperial Standard Wire Gauge: aluminium, brass, bronze, stainless."""
    STEEL = "W&M"
    """US Steel Wire Gauge (Washburn & Moen): fence-type steel wire."""


_AWG_NUMBERS = range(-3, 41)
"""0000 (11.7 mm) to 40 (0.08 mm): beyond both ends no ring is made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauge:
    """One number of one gauge system."""

    system: System
    number: int
    """Negative for the thick end: -1 is 00, -3 is 0000."""
    diameter_mm: float

    @property
    def name(self) -> str:
        """As a dealer writes it: `SWG 16`, `AWG 2/0`."""
        number = str(self.number) if self.number >= 0 else f"{1 - self.number}/0"
        return f"{self.system} {number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A gauge near a measured wire."""

    gauge: Gauge
    difference_mm: float
    """Measured minus gauge: positive where the wire is thicker."""


def awg_mm(number: int) -> float:
    """Diameter of an American Wire Gauge number.

    Parameters
    ----------
    number : 36 is 0.005 in and -3 (0000) is 0.46 in, exactly

    References
    ----------
    .. [1] ASTM B258: d(n) = 0.127 mm * 92^((36 - n) / 39).
    """
    return float(0.127 * 92.0 ** ((36 - number) / 39))


def gauges(system: System) -> tuple[Gauge, ...]:
    """List all numbers of a system, thickest first."""
    return _gauges(system)


def find_gauge(system: System, number: int) -> Gauge:
    """Find one number of a system; ValueError if the system has no such number."""
    for gauge in _gauges(system):
        if gauge.number == number:
            return gauge
    raise ValueError(f"{system} has no number {number}")


def nearest(value_mm: float, systems: tuple[System, ...] = tuple(System)) -> tuple[Match, ...]:
    """Name the nearest number of each system, nearest system first.

    Parameters
    ----------
    value_mm : wire diameter, positive
    systems : which to look in

    Returns
    -------
    One match per system, two where the value lies half way between neighbours: a tie is named,
    never rounded away. Beyond the end of a table the end is named, with its difference.
    """
    if not value_mm > 0:
        raise ValueError(f"wire diameter must be positive, got {value_mm}")
    matches = [match for system in systems for match in _nearest_in(value_mm, system)]
    return tuple(sorted(matches, key=lambda match: round(abs(match.difference_mm), 6)))


def neighbours(value_mm: float, system: System) -> tuple[Gauge | None, Gauge | None]:
    """Find the next thinner and the next thicker gauge; None beyond the end of the table.

    A gauge that equals the value is its own neighbour on both sides.
    """
    thinner = [gauge for gauge in _gauges(system) if gauge.diameter_mm <= value_mm + TIE_MM]
    thicker = [gauge for gauge in _gauges(system) if gauge.diameter_mm >= value_mm - TIE_MM]
    return (thinner[0] if thinner else None), (thicker[-1] if thicker else None)


def _nearest_in(value_mm: float, system: System) -> list[Match]:
    matches = [
        Match(gauge=gauge, difference_mm=value_mm - gauge.diameter_mm) for gauge in _gauges(system)
    ]
    closest = min(abs(match.difference_mm) for match in matches)
    return [match for match in matches if abs(match.difference_mm) - closest < TIE_MM]


@cache
def _gauges(system: System) -> tuple[Gauge, ...]:
    if system is System.AWG:
        return tuple(
            Gauge(system=system, number=number, diameter_mm=awg_mm(number))
            for number in _AWG_NUMBERS
        )
    text = files("vision.trade").joinpath("gauges.toml").read_text(encoding="utf-8")
    sizes_in = tomllib.loads(text)[system.value]["sizes_in"]
    return tuple(
        Gauge(system=system, number=number, diameter_mm=inches * MM_PER_INCH)
        for number, inches in enumerate(sizes_in)
    )
