"""Spring-back and the choice of mandrels, as text and as JSON."""

import math
from collections.abc import Sequence
from typing import Any

from rich.text import Text

from cli.show.numbers import rounded, significant
from cli.show.page import CAUTION, HEADING, QUIET, add_line, add_table
from cli.words import count, harmless
from vision.batch.mandrel import MOSTLY_ELASTIC, Choice, SpringBack, Wound

TRIAL = (
    "It holds for this wire, in this temper, wound with the same tension: a softer or harder "
    "reel springs back otherwise. Wind a short trial coil before a whole reel."
)
SAFETY = (
    "A wound coil is a spring: hold its end while you cut or let go, stop a power winder first, "
    "and wear eye protection."
)


def mandrel_text(found: SpringBack, choices: Sequence[Choice], *, width: int) -> Text:
    """Lay out what each coil says, the mandrels to choose, and what is assumed."""
    page = Text()
    add_line(page, f"spring-back of wire {found.wire_mm:.2f} mm", width, HEADING)
    headings = ("rings", "mandrel mm", "ID mm", "larger by mm", "ID / mandrel")
    add_table(page, headings, [_row(coil) for coil in found.coils], width)
    for line in _said(found):
        add_line(page, line, width)
    if choices:
        add_line(page, "", width)
        rows = [_choice(choice) for choice in choices]
        add_table(page, ("wanted ID mm", "mandrel mm", ""), rows, width)
    for line in _cautions(found, choices):
        add_line(page, f"warning: {line}", width, CAUTION)
    add_line(page, "", width)
    add_line(
        page, f"± is U: 95 of 100 such statements hold (k = 2). {_assumed(found)}", width, QUIET
    )
    add_line(page, f"{TRIAL} {SAFETY}", width, QUIET)
    return page


def mandrel_record(found: SpringBack, choices: Sequence[Choice]) -> dict[str, Any]:
    """List the same for a program (format `annulet-mandrel`, version 1)."""
    return {
        "format": "annulet-mandrel",
        "version": 1,
        "wire_mm": found.wire_mm,
        "kerf_mm": found.kerf_mm,
        "coils": [
            {
                "result": coil.label,
                "rings": coil.rings,
                "off_size": coil.off_size,
                "mandrel_mm": coil.mandrel_mm,
                "id_mm": coil.id_mm,
                "id_u95_mm": coil.id_u95_mm,
                "gap_mm": coil.gap_mm,
                "springback_mm": coil.back_mm,
                "springback_u95_mm": coil.back_u95_mm,
                "id_over_mandrel": coil.ratio,
                "id_over_mandrel_u95": coil.ratio_u95,
            }
            for coil in found.coils
        ],
        "curvature_lost_per_mm": found.level,
        "at_radius_mm": found.radius_mm,
        "hardening": found.hardening,
        "hardening_u95": found.hardening_u95,
        "contradictory": found.contradictory,
        "choices": [
            {
                "wanted_id_mm": choice.id_mm,
                "mandrel_mm": choice.mandrel_mm,
                "mandrel_u95_mm": choice.u95_mm,
                "far": choice.far,
            }
            for choice in choices
        ],
    }


def _row(coil: Wound) -> tuple[str, ...]:
    return (
        str(coil.rings),
        f"{coil.mandrel_mm:g}",
        " ± ".join(rounded(coil.id_mm, coil.id_u95_mm)),
        " ± ".join(rounded(coil.back_mm, coil.back_u95_mm)),
        " ± ".join(rounded(coil.ratio, coil.ratio_u95)),
    )


def _choice(choice: Choice) -> tuple[str, ...]:
    mandrel, u95 = rounded(choice.mandrel_mm, choice.u95_mm)
    trial = "far from the rings measured: a trial coil first" if choice.far else ""
    return f"{choice.id_mm:.2f}", f"{mandrel} ± {u95}", trial


def _said(found: SpringBack) -> list[str]:
    said = []
    off = sum(coil.off_size for coil in found.coils)
    if off:
        said.append(f"{count(off, 'off-size ring')} left out")
    gaps = [coil for coil in found.coils if coil.gap_mm]
    for coil in gaps:
        assert coil.gap_mm is not None
        said.append(
            f"{harmless(coil.label)}: a gap of {coil.gap_mm:.2f} mm on average; closed, these "
            f"rings would be {coil.gap_mm / math.pi:.2f} mm smaller inside"
        )
    return said


def _cautions(found: SpringBack, choices: Sequence[Choice]) -> list[str]:
    said = []
    if found.contradictory:
        said.append(
            "the mandrels contradict each other by more than U: is one of them misread, or was "
            "one coil of another temper or wound with another tension?"
        )
    if found.lost_share > MOSTLY_ELASTIC:
        said.append(
            f"the wire springs back by {100 * found.lost_share:.0f} % of its bend: so springy a "
            "wire follows the rule for other sizes only roughly"
        )
    unsure = [coil for coil in found.coils if abs(coil.back_mm) < coil.back_u95_mm]
    if unsure:
        said.append("the spring-back is smaller than its U: photograph more rings, on the sheet")
    return said


def _assumed(found: SpringBack) -> str:
    said = (
        "Other sizes: each mandrel makes the wire lose the same curvature, "
        f"{significant(found.level)} per mm here, more on smaller ones if it hardens"
    )
    if len({coil.mandrel_mm for coil in found.coils}) > 1:
        said += f" (power {found.hardening:.1f} ± {significant(found.hardening_u95, 1)} by these)"
    else:
        said += ", which one mandrel cannot tell, so U grows with the distance from it"
    if found.kerf_mm:
        return (
            f"{said}. Closing a cut of {found.kerf_mm:g} mm makes ID "
            f"{found.kerf_mm / math.pi:.2f} mm smaller: counted, wanted rings are closed."
        )
    return f"{said}. Rings to come are cut and closed like these; --kerf-mm counts the saw cut."
