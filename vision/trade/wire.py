"""Which gauges a wire may be, and whether the label on the bag can be true."""

from dataclasses import dataclass
from enum import StrEnum

from vision.trade.gauges import MM_PER_INCH, Gauge, Match, System, nearest, neighbours
from vision.trade.sizes import InchFraction, Size, nearest_fractions

CALIPER_U95_MM = 0.02
"""Taken where no uncertainty is stated: permissible error of a digital caliper up to 100 mm
(DIN 862:1988)."""

DRAWN_TO = 0.01
"""Part of the diameter by which sound wire may differ from its gauge: drawn wire is commonly sold
to 1 % (from memory, ASTM B258 and common practice)."""


class Fit(StrEnum):
    """Whether a wire can be what its label says."""

    YES = "fits"
    NO = "does not fit"
    OPEN = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """The nearest number of a gauge system."""

    gauge: Gauge
    difference_mm: float
    """Wire minus gauge: positive where the wire is thicker."""
    inside_u95: bool
    """Whether the difference is no more than the uncertainty."""
    tied: bool
    """Whether the wire lies half way between this number and a neighbour, also listed."""
    beyond: bool
    """Whether the wire is thicker or thinner than the whole system."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WireAnswer:
    """A wire in the words of the trade."""

    value_mm: float
    u95_mm: float
    candidates: tuple[Candidate, ...]
    """At least one for each system, nearest first."""
    fractions: tuple[InchFraction, ...]
    """Nearest 64th of an inch; two where the wire lies half way."""

    @property
    def value_in(self) -> float:
        """The wire in inches."""
        return self.value_mm / MM_PER_INCH

    @property
    def same(self) -> tuple[Gauge, ...]:
        """Gauges that the wire may be, all of them inside its uncertainty."""
        return tuple(found.gauge for found in self.candidates if found.inside_u95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One meaning of a label, held against the wire."""

    size: Size
    difference_mm: float
    """Wire minus label: positive where the wire is thicker."""
    fit: Fit


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelCheck:
    """What is to be thought of a label."""

    text: str
    readings: tuple[Reading, ...]
    """Every meaning of the label, best first: a gauge without its system has up to three."""
    reasons: tuple[str, ...]
    """Possible reasons where it does not fit, likeliest first; none of them is shown."""

    @property
    def fit(self) -> Fit:
        """The answer for the best meaning."""
        return self.readings[0].fit


def describe_wire(value_mm: float, u95_mm: float = CALIPER_U95_MM) -> WireAnswer:
    """Say which gauges and which fraction of an inch a wire is nearest to.

    Parameters
    ----------
    value_mm : diameter, positive
    u95_mm : expanded uncertainty (k = 2) of the diameter
    """
    found = [match for system in System for match in _candidates(value_mm, u95_mm, system)]
    return WireAnswer(
        value_mm=value_mm,
        u95_mm=u95_mm,
        candidates=tuple(sorted(found, key=lambda one: round(abs(one.difference_mm), 6))),
        fractions=nearest_fractions(value_mm),
    )


def check_label(
    value_mm: float, label: tuple[Size, ...], u95_mm: float = CALIPER_U95_MM
) -> LabelCheck:
    """Hold a wire against what its bag says.

    A label fits where the wire agrees with it within the uncertainty, and does not where the
    difference is more than the uncertainty and the drawing (`DRAWN_TO`) together; in between
    nothing is shown.

    Parameters
    ----------
    value_mm, u95_mm : the wire and its expanded uncertainty (k = 2)
    label : every meaning of the label, from `vision.trade.sizes.read_label`
    """
    readings = tuple(
        sorted(
            (_compare(value_mm, size, u95_mm) for size in label),
            key=lambda reading: abs(reading.difference_mm),
        )
    )
    best = readings[0]
    return LabelCheck(
        text=best.size.text,
        readings=readings,
        reasons=() if best.fit is Fit.YES else tuple(_reasons(value_mm, u95_mm, readings)),
    )


def _candidates(value_mm: float, u95_mm: float, system: System) -> list[Candidate]:
    matches: tuple[Match, ...] = nearest(value_mm, (system,))
    return [
        Candidate(
            gauge=match.gauge,
            difference_mm=match.difference_mm,
            inside_u95=abs(match.difference_mm) <= u95_mm,
            tied=len(matches) > 1,
            beyond=None in neighbours(value_mm, system),
        )
        for match in matches
    ]


def _compare(value_mm: float, size: Size, u95_mm: float) -> Reading:
    difference_mm = value_mm - size.value_mm
    if abs(difference_mm) <= u95_mm:
        fit = Fit.YES
    elif abs(difference_mm) > u95_mm + DRAWN_TO * size.value_mm:
        fit = Fit.NO
    else:
        fit = Fit.OPEN
    return Reading(size=size, difference_mm=difference_mm, fit=fit)


def _reasons(value_mm: float, u95_mm: float, readings: tuple[Reading, ...]) -> list[str]:
    """List what makes a wire differ from its label, as far as the numbers allow it."""
    reasons = []
    named = readings[0].size.gauge
    if named is not None and len(readings) == 1:
        allowed_mm = u95_mm + DRAWN_TO * value_mm
        others = [
            found.gauge.name
            for found in describe_wire(value_mm, u95_mm).candidates
            if found.gauge.number == named.number
            and found.gauge.system is not named.system
            and abs(found.difference_mm) <= allowed_mm
        ]
        if others:
            reasons.append(f"the number counts in another gauge system: {' or '.join(others)} fits")
        else:
            reasons.append(
                f"another gauge system was meant, though number {named.number} fits in none"
            )
    if readings[0].difference_mm < 0:
        reasons.append("the wire was drawn under size, or stretched while it was coiled")
        reasons.append("the label counts a coating that was not measured")
    else:
        reasons.append("a coating (enamel, anodising, plating) lies on top of the gauge")
        reasons.append("the wire was drawn over size")
    return reasons
