"""Is this shipment what was ordered? Ring by ring, then for the lot."""

import math
from dataclasses import dataclass
from enum import StrEnum

from scipy import special

from vision.batch.causes import likely_causes
from vision.batch.lot import Description, Report, describe, report
from vision.batch.order import Order
from vision.batch.sample import Batch, Member, expanded, value_of
from vision.batch.shares import (
    proves_few,
    proves_many,
    share_limits,
    smallest_sample,
)
from vision.batch.spread import Capability, Limits, capability, tolerance_interval
from vision.batch.weight import Count
from vision.errors import VisionError
from vision.results import COVERAGE_FACTOR


class Decision(StrEnum):
    """The answer for a lot."""

    ACCEPT = "accept"
    REJECT = "reject"
    CANNOT_TELL = "cannot tell"


class Conformity(StrEnum):
    """The answer for a ring (ISO 14253-1)."""

    CONFORMING = "conforming"
    NOT_CONFORMING = "not conforming"
    UNDECIDED = "undecided"
    """Within U of a limit: neither is proven."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """One quantity of a ring against its limits."""

    name: str
    """`wire_mm`, `id_mm` or `ar`."""
    value: float
    guard: float
    """Expanded uncertainty of the value: the guard band at each limit."""
    beyond: float
    """Distance from the nearest limit, positive outside the limits."""
    above: bool
    """Whether that is the upper limit."""

    @property
    def conformity(self) -> Conformity:
        """Proven inside, proven outside, or neither."""
        if self.beyond > self.guard:
            return Conformity.NOT_CONFORMING
        return Conformity.CONFORMING if self.beyond <= -self.guard else Conformity.UNDECIDED


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JudgedRing:
    """A ring against the order."""

    member: Member
    deviations: tuple[Deviation, ...]

    @property
    def conformity(self) -> Conformity:
        """Not conforming if any quantity is proven outside, conforming if all are proven inside."""
        found = {deviation.conformity for deviation in self.deviations}
        for worst in (Conformity.NOT_CONFORMING, Conformity.UNDECIDED):
            if worst in found:
                return worst
        return Conformity.CONFORMING

    @property
    def worst(self) -> Deviation:
        """The deviation that decides."""
        return max(self.deviations, key=lambda deviation: deviation.beyond / deviation.guard)


@dataclass(frozen=True, slots=True, kw_only=True)
class Variables:
    """One quantity of the lot against its limits, if it spreads normally."""

    name: str
    limits: Limits
    description: Description
    holds: Limits | None
    """Holds the wanted share of the lot with the wanted confidence; widened by the uncertainty
    that all rings share. None for one ring."""
    capability: Capability | None

    @property
    def fits(self) -> bool | None:
        """Whether `holds` lies inside the limits; None if unknown."""
        if self.holds is None:
            return None
        return self.limits[0] <= self.holds[0] and self.holds[1] <= self.limits[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class More:
    """What would decide a lot that is still open."""

    rings: int | None
    """Further rings, none of them off size, that would prove the lot good; None if no number
    of them would."""
    sharper_rings: int | None
    """The same if a sharper photo cleared every undecided ring; 0 if that alone were enough."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Verdict:
    """The answer, and what it rests on."""

    order: Order
    report: Report
    rings: tuple[JudgedRing, ...]
    decision: Decision
    reason: str
    share_limits: tuple[float, float]
    """One-sided limits of the lot's off-size share: the lower one counts only rings proven off
    size, the upper one also the undecided."""
    variables: tuple[Variables, ...]
    more: More | None
    """For a lot that is still open."""
    causes: tuple[str, ...]
    """What may have gone wrong, where the numbers suggest it."""
    count: Count | None
    short: bool | None
    """Whether the bag holds fewer rings than ordered; None if the weight cannot tell."""

    def having(self, conformity: Conformity) -> tuple[JudgedRing, ...]:
        """The rings with this answer, worst first."""
        found = [ring for ring in self.rings if ring.conformity is conformity]
        return tuple(sorted(found, key=lambda ring: -ring.worst.beyond / ring.worst.guard))


def judge(batch: Batch, order: Order, count: Count | None = None) -> Verdict:
    """Judge a shipment by the rings of a batch, taken from it without choosing.

    Notes
    -----
    Per ring, ISO 14253-1: conformity is proven inside the limits by at least U, nonconformity
    outside them by more than U; with k = 2, or more where the order wants to be surer than that.
    For the lot, the share of off-size rings decides, with exact limits: accepted if even with the
    undecided rings counted as off size no more than the allowed share is left possible, rejected
    if the proven ones alone exceed it.

    Raises
    ------
    VisionError
        If more rings were measured than the lot is said to hold.
    """
    n = len(batch)
    if order.lot_size is not None and n > order.lot_size:
        raise VisionError(
            f"{n} rings were measured, but the lot is said to hold {order.lot_size}",
            hint="correct lot_size in the order, or leave out photos that repeat rings",
        )
    rings = tuple(judge_ring(member, order) for member in batch.members)
    off = sum(ring.conformity is Conformity.NOT_CONFORMING for ring in rings)
    open_ = sum(ring.conformity is Conformity.UNDECIDED for ring in rings)
    short = _short(count, order)
    decision, reason = decide(n, off, open_, order, short=short)
    found = report(batch)
    return Verdict(
        order=order,
        report=found,
        rings=rings,
        decision=decision,
        reason=reason,
        share_limits=(
            share_limits(n, off, lot=order.lot_size, confidence=order.confidence)[0],
            share_limits(n, off + open_, lot=order.lot_size, confidence=order.confidence)[1],
        ),
        variables=tuple(
            _variables(batch, name, limits, order) for name, limits in _limits(order).items()
        ),
        more=_more(n, off, open_, order) if decision is Decision.CANNOT_TELL else None,
        causes=likely_causes(found, order) if decision is not Decision.ACCEPT else (),
        count=count,
        short=short,
    )


def guard_factor(confidence: float) -> float:
    """Coverage factor of the guard band: 2, or the one-sided normal quantile if that is more."""
    return max(COVERAGE_FACTOR, float(special.ndtri(confidence)))


def judge_ring(member: Member, order: Order) -> JudgedRing:
    """Compare one ring with the order's limits."""
    factor = guard_factor(order.confidence)
    deviations = []
    for name, (lower, upper) in _limits(order).items():
        quantity = value_of(member.ring, name)
        over, under = quantity.value - upper, lower - quantity.value
        deviations.append(
            Deviation(
                name=name,
                value=quantity.value,
                guard=factor * quantity.u,
                beyond=max(over, under),
                above=over > under,
            )
        )
    return JudgedRing(member=member, deviations=tuple(deviations))


def _limits(order: Order) -> dict[str, Limits]:
    limits = {"wire_mm": order.wire.limits_mm, "id_mm": order.inside.limits_mm}
    if order.ar_min is not None or order.ar_max is not None:
        limits["ar"] = (
            -math.inf if order.ar_min is None else order.ar_min,
            math.inf if order.ar_max is None else order.ar_max,
        )
    return limits


def decide(
    n: int, off: int, open_: int, order: Order, *, short: bool | None = None
) -> tuple[Decision, str]:
    """Decide a lot and say why.

    Parameters
    ----------
    n, off, open_ : rings looked at, those proven off size, and those undecided
    short : whether the weight proves that rings are missing
    """
    share, confidence, lot = order.max_off_share, order.confidence, order.lot_size
    allowed = f"{100 * share:g} %"
    sure = f"{100 * confidence:g} % sure"
    if proves_many(n, off, lot=lot, share=share, confidence=confidence):
        return Decision.REJECT, f"it is {sure} that more than {allowed} of the lot is off size"
    if short:
        return Decision.REJECT, f"it is {sure} that the bag holds fewer rings than ordered"
    if proves_few(n, off + open_, lot=lot, share=share, confidence=confidence):
        return Decision.ACCEPT, f"it is {sure} that at most {allowed} of the lot is off size"
    if open_ and proves_few(n, off, lot=lot, share=share, confidence=confidence):
        return (
            Decision.CANNOT_TELL,
            "some rings lie so close to a limit that the photo cannot decide them",
        )
    few = "one ring is" if n == 1 else f"{n} rings are"
    return Decision.CANNOT_TELL, f"{few} too few to be {sure}"


def _more(n: int, off: int, open_: int, order: Order) -> More:
    def further(counted: int) -> int | None:
        needed = smallest_sample(
            counted,
            lot=order.lot_size,
            share=order.max_off_share,
            confidence=order.confidence,
        )
        return None if needed is None else max(0, needed - n)

    return More(rings=further(off + open_), sharper_rings=further(off) if open_ else None)


def _variables(batch: Batch, name: str, limits: Limits, order: Order) -> Variables:
    sample = batch.sample(name)
    described = describe(sample)
    holds = None
    if described.n > 1:
        low, high = tolerance_interval(sample.values, 1 - order.max_off_share, order.confidence)
        widened = expanded(described.u_common)
        holds = (low - widened, high + widened)
    both = all(map(math.isfinite, limits)) and described.n > 1
    return Variables(
        name=name,
        limits=limits,
        description=described,
        holds=holds,
        capability=capability(sample.values, limits) if both else None,
    )


def _short(count: Count | None, order: Order) -> bool | None:
    """Whether the weight proves that rings are missing, or that none is."""
    if count is None or order.lot_size is None:
        return None
    guard = guard_factor(order.confidence) * count.rings_u95 / COVERAGE_FACTOR
    if count.rings + guard < order.lot_size:
        return True
    return False if count.rings - guard >= order.lot_size - 0.5 else None
