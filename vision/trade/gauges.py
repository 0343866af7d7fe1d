"""Wire gauges: from number to diameter, and from a measured wire to the nearest numbers."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

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


# Inches for numbers 0 to 30.
# SWG: legal standard of 1884, in R. Rowlett's units dictionary and the definitions of GNU units;
# one table in circulation has 0.0149 for 28 and another 0.182 for 6: both are misprints.
# fmt: off
_SWG_IN = (
    0.324, 0.300, 0.276, 0.252, 0.232, 0.212, 0.192, 0.176, 0.160, 0.144,
    0.128, 0.116, 0.104, 0.092, 0.080, 0.072, 0.064, 0.056, 0.048, 0.040,
    0.036, 0.032, 0.028, 0.024, 0.022, 0.020, 0.018, 0.0164, 0.0148, 0.0136,
    0.0124,
)
# Steel wire: R. Rowlett's units dictionary; 21 is printed .0317, .0318 and .03175 elsewhere.
_STEEL_IN = (
    0.3065, 0.2830, 0.2625, 0.2437, 0.2253, 0.2070, 0.1920, 0.1770, 0.1620, 0.1483,
    0.1350, 0.1205, 0.1055, 0.0915, 0.0800, 0.0720, 0.0625, 0.0540, 0.0475, 0.0410,
    0.0348, 0.03175, 0.0286, 0.0258, 0.0230, 0.0204, 0.0181, 0.0173, 0.0162, 0.0150,
    0.0140,
)
# fmt: on

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
    return tuple(_gauges(system))


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


def _gauges(system: System) -> Iterator[Gauge]:
    if system is System.AWG:
        for number in _AWG_NUMBERS:
            yield Gauge(system=system, number=number, diameter_mm=awg_mm(number))
        return
    table = _SWG_IN if system is System.SWG else _STEEL_IN
    for number, inches in enumerate(table):
        yield Gauge(system=system, number=number, diameter_mm=inches * MM_PER_INCH)
