"""The line to send to a supplier: sizes in mm, gauge and system spelled out, tolerance, number."""

import math
from dataclasses import dataclass

from vision.trade.gauges import Gauge, System
from vision.trade.sizes import InchFraction, nearest_fractions
from vision.trade.weaves import Weave
from vision.trade.wire import CALIPER_U95_MM, DRAWN_TO, describe_wire

SYSTEM_NAMES = {
    System.AWG: "American Wire Gauge",
    System.SWG: "Imperial Standard Wire Gauge",
    System.STEEL: "US Steel Wire Gauge (Washburn & Moen)",
}
"""Spelled out: SWG alone also stands for the US steel gauge in some lists."""

ID_NAMED_WITHIN = 0.015
"""Part of the ID within which a fraction of an inch may name it: a ring cut from a coil springs
open by about so much (common practice, no source)."""

WIRE_TOLERANCE, LEAST_WIRE_TOLERANCE_MM = DRAWN_TO, CALIPER_U95_MM
ID_TOLERANCE, LEAST_ID_TOLERANCE_MM = 0.02, 0.05
"""Tolerances asked for where nothing else is said: part of the size, but not less than can be
checked (common practice, no source)."""

SPARE_PERCENT = 5.0
"""Rings more than needed, for those that are dropped or spoilt (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """What to order; lengths in mm."""

    wire_mm: float
    wire_tolerance_mm: float
    gauges: tuple[Gauge, ...]
    """Gauges that this wire is sold as, nearest first; empty where there is none."""
    id_mm: float
    id_tolerance_mm: float
    fraction: InchFraction | None
    """Fraction of an inch that this ID is sold as; None where there is none."""
    metal: str | None
    """As the user stated it: a photo shows only a colour."""
    needed: int | None
    spare_percent: float
    leaves_window: bool = False
    """Whether rings inside these tolerances may still not suit the weave they are for."""

    @property
    def ar(self) -> float:
        """Aspect ratio, ID over wire."""
        return self.id_mm / self.wire_mm

    @property
    def quantity(self) -> int | None:
        """Rings to order, spares included, rounded up."""
        if self.needed is None:
            return None
        return math.ceil(self.needed * (1 + self.spare_percent / 100) - 1e-9)

    @property
    def text(self) -> str:
        """The line; what is not known is left blank to be filled in."""
        rings = "____" if self.quantity is None else str(self.quantity)
        named = ", ".join(spelled(gauge) for gauge in self.gauges)
        gauge = f" ({named})" if named else ""
        inch = f" ({self.fraction.name})" if self.fraction is not None else ""
        return (
            f"{rings} jump rings, {self.metal or 'metal ____'}, "
            f"wire {self.wire_mm:.2f} mm ± {self.wire_tolerance_mm:.2f} mm{gauge}, "
            f"inside diameter {self.id_mm:.2f} mm ± {self.id_tolerance_mm:.2f} mm{inch}"
        )


def order_line(
    wire_mm: float,
    id_mm: float,
    *,
    wire_u95_mm: float = CALIPER_U95_MM,
    id_u95_mm: float = CALIPER_U95_MM,
    weave: Weave | None = None,
    metal: str | None = None,
    needed: int | None = None,
    spare_percent: float = SPARE_PERCENT,
) -> OrderLine:
    """Make the order for rings of this size.

    Parameters
    ----------
    wire_mm, id_mm : sizes wanted, or measured
    wire_u95_mm, id_u95_mm : how well they are known; a gauge or fraction inside it names them
    weave : what the rings are for; the tolerance of ID then keeps AR inside its window, as far as
        a tolerance that can be checked does
    metal : as the user states it
    needed : rings that the piece takes, without spares
    spare_percent : to order more by
    """
    wire_tolerance = max(LEAST_WIRE_TOLERANCE_MM, WIRE_TOLERANCE * wire_mm)
    id_tolerance = max(LEAST_ID_TOLERANCE_MM, ID_TOLERANCE * id_mm)
    leaves_window = False
    if weave is not None:
        # The worst wire and the worst ID together must stay inside the window.
        tightest = id_mm - weave.least * (wire_mm + wire_tolerance)
        loosest = weave.most * (wire_mm - wire_tolerance) - id_mm
        room = min(tightest, loosest)
        leaves_window = room < LEAST_ID_TOLERANCE_MM
        id_tolerance = max(LEAST_ID_TOLERANCE_MM, min(id_tolerance, room))
    return OrderLine(
        wire_mm=wire_mm,
        wire_tolerance_mm=_cut(wire_tolerance),
        gauges=gauges_of(wire_mm, wire_u95_mm),
        id_mm=id_mm,
        id_tolerance_mm=_cut(id_tolerance),
        fraction=fraction_of(id_mm, id_u95_mm),
        metal=metal,
        needed=needed,
        spare_percent=spare_percent,
        leaves_window=leaves_window,
    )


def spelled(gauge: Gauge) -> str:
    """Spell a gauge out, so that nobody takes it for another system's."""
    return f"No. {gauge.name.split()[-1]} {SYSTEM_NAMES[gauge.system]}"


def gauges_of(wire_mm: float, u95_mm: float) -> tuple[Gauge, ...]:
    """Name the gauges that a wire may be sold as: within its uncertainty, or as drawn."""
    within_mm = max(u95_mm, DRAWN_TO * wire_mm)
    found = describe_wire(wire_mm, u95_mm).candidates
    return tuple(one.gauge for one in found if abs(one.difference_mm) <= within_mm)


def fraction_of(id_mm: float, u95_mm: float) -> InchFraction | None:
    """Name the 64th of an inch that an inside diameter may be sold as; None if none is near."""
    nearest = nearest_fractions(id_mm)[0]
    within_mm = max(u95_mm, ID_NAMED_WITHIN * id_mm)
    return nearest if abs(nearest.difference_mm) <= within_mm else None


def _cut(tolerance_mm: float) -> float:
    """Cut to hundredths: never asks for less than is meant."""
    return math.floor(tolerance_mm * 100 + 1e-9) / 100
