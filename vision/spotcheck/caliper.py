"""The caliper: what it reads on rings, what it may be wrong by, and what hands add."""

import math
from dataclasses import dataclass
from enum import StrEnum

from vision.results import COVERAGE_FACTOR, Quantity, Ring


class What(StrEnum):
    """What of a ring a caliper reads."""

    WIRE = "wire"
    OD = "od"
    ID = "id"

    @property
    def label(self) -> str:
        """As a table heads it."""
        return self.value if self is What.WIRE else self.value.upper()

    @property
    def wires(self) -> int:
        """How many wires are part of this length, beside `ods`: ID is OD less two wires."""
        return {What.WIRE: 1, What.OD: 0, What.ID: -2}[self]

    @property
    def ods(self) -> int:
        """How often OD is part of this length."""
        return 0 if self is What.WIRE else 1

    @property
    def rim(self) -> int:
        """What a rim offset of 1 does to it: metal seen too thin grows wire and OD, shrinks ID."""
        return -1 if self is What.ID else 1


CHORD_LEAST_ID_MM = 5.0
"""Below it the flats of inside jaws cost a hole 0.025 mm and more: OD less two wires is better."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Caliper:
    """What is assumed of the caliper and the hand that holds it.

    References
    ----------
    .. [1] DIN 862:1988: limit of error of a caliper with 0.01 mm steps 0.02 mm up to 100 mm, of
       one with 0.05 mm steps 0.05 mm; 0.02 mm more for inside measurement.
    .. [2] JCGM 100 (GUM) 4.3.7: limits +-a without more knowledge are u = a / sqrt(3).
    """

    limit_mm: float = 0.02
    """Limit of error of an outside reading, taken as common to all readings of a session."""
    inside_more_mm: float = 0.02
    """Added to the limit for inside jaws."""
    jaw_flats_mm: float = 0.5
    """Most width, across the hole, of the flats of both inside jaws together."""
    repeat_mm: float = 0.015
    """Standard deviation of one reading from hand to hand; common practice, no source. Repeated
    readings correct it."""
    repeat_weight: int = 10
    """Repeats that this expectation weighs as much as."""

    @property
    def u_outside_mm(self) -> float:
        """Standard uncertainty that all outside readings share."""
        return self.limit_mm / math.sqrt(3.0)

    @property
    def u_inside_mm(self) -> float:
        """Standard uncertainty that all inside readings share, chord left aside."""
        return (self.limit_mm + self.inside_more_mm) / math.sqrt(3.0)

    def chord_loss_mm(self, id_mm: float) -> float:
        """Most that flat jaws read a hole too small: they touch along a chord.

        `D - sqrt(D^2 - w^2)`, about `w^2 / (2 D)`; the whole hole where the jaws do not fit.
        """
        flats = self.jaw_flats_mm
        return id_mm - math.sqrt(id_mm**2 - flats**2) if id_mm > flats else id_mm

    def shift_mm(self, what: What, value_mm: float) -> float:
        """Expected reading less true length: half of the chord loss for inside jaws, else 0."""
        return -self.chord_loss_mm(value_mm) / 2.0 if what is What.ID else 0.0

    def u_common_mm(self, what: What, value_mm: float) -> float:
        """Standard uncertainty of a reading that more readings do not lessen."""
        if what is not What.ID:
            return self.u_outside_mm
        chord = self.chord_loss_mm(value_mm) / 2.0 / math.sqrt(3.0)
        return math.hypot(self.u_inside_mm, chord)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One caliper reading."""

    photo: int
    """Which of the photos, from 0."""
    ring: int
    what: What
    value_mm: float
    step_mm: float = 0.01
    """Step of the display or scale that it was read on."""
    unit: str = "mm"
    """Unit that it was read in: `mm` or `in`."""
    place: str = ""
    """Where it was written, for messages: `line 3`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What the caliper should show on a ring, and how far off still counts as agreement."""

    what: What
    value_mm: float
    u95_mm: float
    """Expanded uncertainty of the difference between the mean reading and the photo."""


def quantity_of(ring: Ring, what: What) -> Quantity:
    """Look up what the photo says; ValueError for a ring without numbers."""
    quantity: Quantity | None = getattr(ring, f"{what.value}_mm")
    if quantity is None:
        raise ValueError(f"ring {ring.number} carries no numbers")
    return quantity


def expect(ring: Ring, what: What, caliper: Caliper, *, readings: int = 2) -> Expected:
    """Say what the mean of a few readings should be, from the photo's and the caliper's U."""
    quantity = quantity_of(ring, what)
    hand = caliper.repeat_mm / math.sqrt(readings)
    u = math.hypot(quantity.u, caliper.u_common_mm(what, quantity.value), hand)
    return Expected(
        what=what,
        value_mm=quantity.value + caliper.shift_mm(what, quantity.value),
        u95_mm=COVERAGE_FACTOR * u,
    )


def readable(ring: Ring) -> tuple[What, ...]:
    """What to read on a ring: the hole only where inside jaws do it justice."""
    wide = quantity_of(ring, What.ID).value >= CHORD_LEAST_ID_MM
    return (What.WIRE, What.OD, What.ID) if wide else (What.WIRE, What.OD)
