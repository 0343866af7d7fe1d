"""Why a shipment may differ from its order: the usual mix-ups, where the numbers suggest one."""

from vision.batch.lot import Description, Report
from vision.batch.order import Order, Target
from vision.trade.gauges import Gauge, System, gauges

SCALE_STEP = 0.01
"""Relative deviation of wire and ID alike from which the scale itself is in doubt."""

ALIKE = 0.006
"""How far the two relative deviations may differ and still be alike."""


def likely_causes(report: Report, order: Order) -> tuple[str, ...]:
    """Name the mix-ups that would explain the numbers of a shipment that does not fit.

    Returns
    -------
    Sentences, likeliest first; empty where none of the known ones fits.
    """
    main = report.groups[0].spread
    causes = [
        _other_system(main["wire_mm"], order.wire),
        _outside_for_inside(main, order),
        _scale(main, order),
    ]
    if len(report.groups) > 1:
        sizes = " and ".join(
            f"{len(group.members)} of ID {group.spread['id_mm'].mean:.2f} mm on wire "
            f"{group.spread['wire_mm'].mean:.2f} mm"
            for group in report.groups
        )
        causes.append(f"the bag is mixed: {sizes}")
    return tuple(cause for cause in causes if cause)


def _fits(found: Description, target: Target) -> bool:
    return abs(found.mean - target.size.value_mm) <= target.tolerance_mm + found.mean_u95


def _other_system(wire: Description, target: Target) -> str | None:
    """The right number in the wrong gauge system."""
    if _fits(wire, target):
        return None
    ordered = [target.size.gauge] if target.size.gauge else _gauges_at(target.size.value_mm)
    for gauge in ordered:
        for other in _same_number(gauge):
            near = abs(wire.mean - other.diameter_mm)
            if near <= target.tolerance_mm + wire.mean_u95:
                return (
                    f"wrong gauge system: {gauge.name} is {gauge.diameter_mm:.3f} mm, "
                    f"but this wire, {wire.mean:.3f} mm, is {other.name} "
                    f"({other.diameter_mm:.3f} mm)"
                )
    return None


def _gauges_at(value_mm: float) -> list[Gauge]:
    """Gauges that an order in millimetres may have been copied from."""
    return [
        gauge
        for system in System
        for gauge in gauges(system)
        if abs(gauge.diameter_mm - value_mm) <= 0.005
    ]


def _same_number(gauge: Gauge) -> list[Gauge]:
    return [
        other
        for system in System
        if system is not gauge.system
        for other in gauges(system)
        if other.number == gauge.number
    ]


def _outside_for_inside(main: dict[str, Description], order: Order) -> str | None:
    inside, outside = main["id_mm"], main["od_mm"]
    if _fits(inside, order.inside) or not _fits(outside, order.inside):
        return None
    return (
        f"outside for inside: the outside diameter, {outside.mean:.2f} mm, is what was ordered "
        f"as inside diameter, {order.inside.size.value_mm:.2f} mm"
    )


def _scale(main: dict[str, Description], order: Order) -> str | None:
    """A coin or a print of another size makes everything larger alike."""
    off_wire = main["wire_mm"].mean / order.wire.size.value_mm - 1.0
    off_inside = main["id_mm"].mean / order.inside.size.value_mm - 1.0
    if min(abs(off_wire), abs(off_inside)) < SCALE_STEP or abs(off_wire - off_inside) > ALIKE:
        return None
    return (
        f"wire and ID are both off by the same {100 * off_inside:+.1f} %: before you blame the "
        "supplier, check the scale (was it this coin? was the sheet printed at 100 %?)"
    )
