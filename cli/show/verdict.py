"""The verdict on a shipment, as text and as JSON."""

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rich.text import Text

from cli.show.lot import LEAST_U95_MM, report_record
from cli.show.numbers import rounded
from cli.show.page import (
    BAD,
    CAUTION,
    GOOD,
    HEADING,
    LABELS,
    QUIET,
    UNITS,
    add_line,
    percent,
    place_of,
    place_record,
)
from cli.words import count, harmless
from vision.batch.judge import Conformity, Decision, Deviation, JudgedRing, Variables, Verdict
from vision.batch.order import Order, Target
from vision.batch.weight import Count

SECOND_LOOK = (
    "Each further look has its own risk of a wrong yes: after two looks it is up to twice as large."
)

STYLES = {Decision.ACCEPT: GOOD, Decision.REJECT: BAD, Decision.CANNOT_TELL: CAUTION}

RINGS_NAMED, EXAMPLES_NAMED = 20, 3
"""Rings listed of a kind before the rest is only counted, and where it is most of the rings: then
nobody picks them out one by one. --json lists all."""


def verdict_text(verdict: Verdict, repeats: Sequence[str], *, width: int) -> Text:
    """Lay out the answer, the rings it rests on, and what to do next.

    Parameters
    ----------
    repeats : a sentence for each photo that was given twice
    width : columns of the terminal
    """
    page = Text()
    name = harmless(verdict.order.name)
    add_line(page, f"{name}: {verdict.decision.upper()}", width, STYLES[verdict.decision])
    add_line(page, verdict.reason, width)
    for cause in verdict.causes:
        add_line(page, f"likely cause: {cause}", width, CAUTION)
    for line in next_lines(verdict):
        add_line(page, f"next: {line}", width, HEADING)
    if verdict.more is not None and verdict.having(Conformity.NOT_CONFORMING):
        add_line(page, SECOND_LOOK, width, QUIET)
    add_line(page, "", width)
    add_line(page, f"ordered: {ordered_words(verdict.order)}", width)
    for line in (rings_line(verdict), share_line(verdict)):
        add_line(page, line, width)
    for repeat in repeats:
        add_line(page, f"note: {harmless(repeat)}", width, CAUTION)
    _add_rings(page, verdict, Conformity.NOT_CONFORMING, "off size, to take out", width)
    _add_rings(page, verdict, Conformity.UNDECIDED, "undecided, within U of a limit", width)
    if len(verdict.rings) > 1:
        add_line(page, "", width)
        add_line(page, "if the sizes spread normally", width, HEADING)
        for one in verdict.variables:
            add_line(page, variables_line(one, verdict.order), width)
        add_line(
            page,
            "This part does not decide: it cannot see a few strays of another size.",
            width,
            QUIET,
        )
    if verdict.count is not None:
        add_line(page, "", width)
        add_line(page, count_line(verdict.count, verdict), width)
    return page


def verdict_record(verdict: Verdict, repeats: Sequence[str]) -> dict[str, Any]:
    """List the same for a program (format `annulet-verdict`, version 1)."""
    order, counted = verdict.order, verdict.count
    low, high = verdict.share_limits
    return {
        "format": "annulet-verdict",
        "version": 1,
        "decision": verdict.decision.value,
        "reason": verdict.reason,
        "likely_causes": list(verdict.causes),
        "order": {
            "name": order.name,
            "lot_size": order.lot_size,
            "wire_mm": order.wire.size.value_mm,
            "wire_tolerance_mm": order.wire.tolerance_mm,
            "id_mm": order.inside.size.value_mm,
            "id_tolerance_mm": order.inside.tolerance_mm,
            "ar_min": order.ar_min,
            "ar_max": order.ar_max,
            "max_off_size_percent": 100 * order.max_off_share,
            "confidence_percent": 100 * order.confidence,
        },
        "rings": [_ring_record(ring) for ring in verdict.rings],
        "conforming": len(verdict.having(Conformity.CONFORMING)),
        "not_conforming": len(verdict.having(Conformity.NOT_CONFORMING)),
        "undecided": len(verdict.having(Conformity.UNDECIDED)),
        "off_size_percent_limits": [100 * low, 100 * high],
        "more": asdict(verdict.more) if verdict.more is not None else None,
        "variables": {one.name: _variables_record(one) for one in verdict.variables},
        "weight": _count_record(counted, verdict) if counted is not None else None,
        "batch": report_record(verdict.report, repeats),
    }


def next_lines(verdict: Verdict) -> list[str]:
    """What would decide a lot that is still open."""
    more = verdict.more
    if more is None:
        return []
    lines = []
    if more.sharper_rings is not None:
        then = (
            f", and {count(more.sharper_rings, 'further good ring')}" if more.sharper_rings else ""
        )
        lines.append(
            f"a sharper photo (closer, softer light, printed sheet) that clears the undecided "
            f"rings{then} would prove the lot good"
        )
    if more.rings is not None:
        lines.append(
            f"{count(more.rings, 'further ring')}, none of them off size, would prove the lot good"
        )
    return lines or ["no sample proves this lot good: sort it ring by ring, or send it back"]


def ordered_words(order: Order) -> str:
    """Sizes, tolerances and risks of an order in one line."""
    parts = [f"wire {_target(order.wire)}", f"ID {_target(order.inside)}"]
    if order.ar_min is not None:
        parts.append(f"AR from {order.ar_min:g}")
    if order.ar_max is not None:
        parts.append(f"AR up to {order.ar_max:g}")
    if order.lot_size is not None:
        parts.append(count(order.lot_size, "ring"))
    parts.append(f"at most {100 * order.max_off_share:g} % off size")
    return ", ".join(parts)


def _target(target: Target) -> str:
    return f"{harmless(target.size.name)} ± {target.tolerance_mm:g}"


def rings_line(verdict: Verdict) -> str:
    """How many rings conform, do not, or are open."""
    parts = [f"{len(verdict.having(kind))} {kind}" for kind in Conformity if verdict.having(kind)]
    line = f"{count(len(verdict.rings), 'ring')} judged: {', '.join(parts)}"
    unusable = verdict.report.batch.unusable
    return f"{line}; {unusable} unusable, not judged" if unusable else line


def share_line(verdict: Verdict) -> str:
    """Between which limits the lot's share of off-size rings lies."""
    low, high = verdict.share_limits
    return (
        f"off size in the lot: {percent(low)} to {percent(high)} "
        f"(each limit {100 * verdict.order.confidence:g} % sure; the rings taken without choosing)"
    )


def _add_rings(page: Text, verdict: Verdict, kind: Conformity, heading: str, width: int) -> None:
    rings = verdict.having(kind)
    if not rings:
        return
    add_line(page, "", width)
    add_line(page, heading, width, HEADING)
    several = len(verdict.report.batch.shots) > 1
    shown = EXAMPLES_NAMED if 2 * len(rings) > len(verdict.rings) > RINGS_NAMED else RINGS_NAMED
    for ring in rings[:shown]:
        add_line(page, f"  {_ring_words(ring, several=several)}", width, CAUTION, indent=6)
    if len(rings) > shown:
        add_line(page, f"  and {len(rings) - shown} more: --json lists all", width, QUIET)


def _ring_words(ring: JudgedRing, *, several: bool) -> str:
    return f"{place_of(ring.member, several=several)}: {limit_words(ring.worst)}"


def limit_words(worst: Deviation) -> str:
    """`ID 6.65 ± 0.03 mm, 0.18 over the upper limit`."""
    value, guard = rounded(worst.value, worst.guard)
    places = len(value.partition(".")[2])
    side = "over the upper limit" if worst.above else "under the lower limit"
    if worst.beyond <= 0:
        side = "inside the upper limit" if worst.above else "inside the lower limit"
    return (
        f"{LABELS[worst.name]} {value} ± {guard}{UNITS[worst.name]}, "
        f"{abs(worst.beyond):.{places}f} {side}"
    )


def variables_line(one: Variables, order: Order) -> str:
    """What one quantity says if it spreads normally."""
    if one.holds is None:
        return f"{LABELS[one.name]}: one ring shows no spread"
    digits = max(2.0 * one.description.sd_measuring, LEAST_U95_MM)
    low, high = (rounded(value, digits)[0] for value in one.holds)
    parts = [
        f"{LABELS[one.name]}: {100 * (1 - order.max_off_share):g} % of the lot in {low} to {high}"
        f"{UNITS[one.name]}, limits {_limits_words(one.limits)}: "
        f"{'fits' if one.fits else 'does not fit'}"
    ]
    if one.capability is not None:
        found = one.capability
        parts.append(f"Cp {found.cp:.2f} ({found.cp_limits[0]:.2f} to {found.cp_limits[1]:.2f})")
        parts.append(
            f"Cpk {found.cpk:.2f} ({found.cpk_limits[0]:.2f} to {found.cpk_limits[1]:.2f})"
        )
    return "; ".join(parts)


def _limits_words(limits: tuple[float, float]) -> str:
    low, high = limits
    if math.isinf(low):
        return f"up to {high:g}"
    return f"from {low:g}" if math.isinf(high) else f"{low:.3f} to {high:.3f}"


def count_line(counted: Count, verdict: Verdict) -> str:
    """How many rings the weight makes, and whether that is what was ordered."""
    rings, u95 = rounded(counted.rings, max(counted.rings_u95, 1.0))
    grams, u95_grams = rounded(counted.ring_g, counted.ring_u95_g)
    line = (
        f"by weight: {counted.weight_g:g} g of {counted.metal.label} at {grams} ± {u95_grams} g "
        f"a ring is {rings} ± {u95} rings"
    )
    lot = verdict.order.lot_size
    if lot is None:
        return f"{line} (the order names no lot_size)"
    said = {
        True: "rings are missing",
        False: "none is missing",
        None: "as far as the weight can tell, none is missing",
    }
    return f"{line}, ordered {lot}: {said[verdict.short]}"


def _ring_record(ring: JudgedRing) -> dict[str, Any]:
    return place_record(ring.member) | {
        "conformity": ring.conformity.value,
        "deviations": [
            {
                "what": one.name,
                "value": one.value,
                "u95": one.guard,
                "beyond": one.beyond,
                "limit": "upper" if one.above else "lower",
                "conformity": one.conformity.value,
            }
            for one in ring.deviations
        ],
    }


def _variables_record(one: Variables) -> dict[str, Any]:
    finite = [limit if math.isfinite(limit) else None for limit in one.limits]
    return {
        "limits": finite,
        "mean": one.description.mean,
        "mean_u95": one.description.mean_u95,
        "sd": one.description.sd,
        "holds": list(one.holds) if one.holds is not None else None,
        "fits": one.fits,
        "capability": asdict(one.capability) if one.capability is not None else None,
    }


def _count_record(counted: Count, verdict: Verdict) -> dict[str, Any]:
    return {
        "weight_g": counted.weight_g,
        "metal": counted.metal.name,
        "density_g_cm3": counted.metal.density_g_cm3,
        "ring_g": counted.ring_g,
        "ring_u95_g": counted.ring_u95_g,
        "rings": counted.rings,
        "rings_u95": counted.rings_u95,
        "u_rings_by_cause": dict(counted.parts),
        "short": verdict.short,
    }
