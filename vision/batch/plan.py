"""How many rings to photograph: the smallest plans that prove a lot good, and what they risk."""

from dataclasses import dataclass

import numpy as np

from vision.batch.shares import Plan, accept_probability, allowed_in, smallest_sample

MOST_ACCEPTED = 3
"""Plans with more off-size rings than this take more photos than anybody shoots."""

GOOD_PART = 0.25
"""A good lot holds this part of the off-size rings that are allowed: for the producer's risk."""

USUALLY = 0.95
"""Chance with which a plan accepts lots of its acceptable quality, as in ISO 2859-1."""

CURVE_PARTS = (0.0, 0.1, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
"""Where the operating characteristic is drawn, as parts of the allowed share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A plan and its risks; shares and risks from 0 to 1."""

    plan: Plan
    bad_share: float
    """Smallest share that must not pass: just over the allowed one."""
    consumer_risk: float
    """Chance of accepting a lot of `bad_share`."""
    good_share: float
    producer_risk: float
    """Chance of not accepting a lot of `good_share`."""
    usual_share: float
    """Largest share that is accepted in 95 of 100 cases."""
    curve: tuple[tuple[float, float], ...]
    """Operating characteristic: share off size, chance of acceptance."""


def offers(lot: int | None, share: float, confidence: float) -> tuple[Offer, ...]:
    """List the smallest plans that accept 0, 1, 2 ... off-size rings.

    Parameters
    ----------
    lot : rings in the lot, None for a very large one
    share : off-size rings that the lot may hold, over 0 and below 1
    confidence : how sure acceptance must be, below 1

    Returns
    -------
    At least one plan, the smallest first: for a small lot it may ask for every ring. More than
    one ring off size is accepted only where a sample is left that does not take the whole lot.
    """
    found: list[Offer] = []
    for accept in range(MOST_ACCEPTED + 1):
        n = smallest_sample(accept, lot=lot, share=share, confidence=confidence)
        if n is None or (found and n == lot):
            break
        found.append(_offer(Plan(n=n, accept=accept, lot=lot), share))
    return tuple(found)


def _offer(plan: Plan, share: float) -> Offer:
    lot = plan.lot
    bad = share if lot is None else min(1.0, (allowed_in(lot, share) + 1) / lot)
    good = GOOD_PART * share if lot is None else allowed_in(lot, GOOD_PART * share) / lot
    shares = _drawn(share, lot)
    chances = accept_probability(plan, np.array(shares))
    return Offer(
        plan=plan,
        bad_share=bad,
        consumer_risk=float(accept_probability(plan, bad)),
        good_share=good,
        producer_risk=1.0 - float(accept_probability(plan, good)),
        usual_share=_usual_share(plan),
        curve=tuple((one, float(chance)) for one, chance in zip(shares, chances, strict=True)),
    )


def _drawn(share: float, lot: int | None) -> list[float]:
    """Shares to draw; in a lot of known size those that whole rings make."""
    shares = [part * share for part in CURVE_PARTS if part * share <= 1.0]
    return shares if lot is None else sorted({round(one * lot) / lot for one in shares})


def _usual_share(plan: Plan) -> float:
    """Largest share accepted with the probability `USUALLY`, by bisection."""
    low, high = 0.0, 1.0
    steps = 50 if plan.lot is None else plan.lot.bit_length() + 2
    for _ in range(steps):
        middle = (low + high) / 2
        if float(accept_probability(plan, middle)) >= USUALLY:
            low = middle
        else:
            high = middle
    return low if plan.lot is None else round(low * plan.lot) / plan.lot
