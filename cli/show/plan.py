"""Sampling plans as text and as JSON."""

from collections.abc import Sequence
from typing import Any

from rich.text import Text

from cli.show.page import HEADING, QUIET, add_line, add_table, percent
from cli.words import count
from vision.batch.plan import Offer

BAR = 40
"""Characters of a bar that stands for certainty."""


def plan_text(
    offers: Sequence[Offer], lot: int | None, share: float, confidence: float, *, width: int
) -> Text:
    """Lay out the smallest plan, what it risks, and the alternatives.

    Parameters
    ----------
    offers : at least one, smallest first
    share, confidence : 0 to 1
    width : columns of the terminal
    """
    first = offers[0]
    page = Text()
    whole = " (all of them)" if first.plan.n == lot else ""
    add_line(page, f"photograph {count(first.plan.n, 'ring')}{whole}", width, HEADING)
    add_line(
        page,
        f"If none of them is off size, it is {100 * confidence:g} % sure that at most "
        f"{100 * share:g} % of {_lot(lot)} is.",
        width,
    )
    add_line(page, "", width)
    headings = ("rings", "may be off", "consumer's risk", "producer's risk", "usually accepted")
    add_table(page, headings, [_row(offer) for offer in offers], width)
    add_line(
        page,
        f"may be off: rings off size that are still accepted. Consumer's risk: a lot with "
        f"{percent(first.bad_share)} off size is accepted. Producer's risk: one with "
        f"{percent(first.good_share)} is not. Usually accepted (95 of 100 times): lots up to "
        "this share.",
        width,
        QUIET,
    )
    add_line(page, "", width)
    add_line(page, f"chance that {count(first.plan.n, 'ring')} accept a lot", width, HEADING)
    bar = max(10, min(BAR, width - 30))
    for off, chance in first.curve:
        blocks = "#" * round(bar * chance)
        add_line(page, f"{percent(off):>7} off size  {blocks.ljust(bar)} {percent(chance):>6}", 999)
    return page


def plan_record(
    offers: Sequence[Offer], lot: int | None, share: float, confidence: float
) -> dict[str, Any]:
    """List the same for a program (format `annulet-plan`, version 1)."""
    return {
        "format": "annulet-plan",
        "version": 1,
        "lot_size": lot,
        "max_off_size_percent": 100 * share,
        "confidence_percent": 100 * confidence,
        "plans": [
            {
                "rings": offer.plan.n,
                "accept_off_size": offer.plan.accept,
                "consumer_risk_percent": 100 * offer.consumer_risk,
                "consumer_risk_at_percent": 100 * offer.bad_share,
                "producer_risk_percent": 100 * offer.producer_risk,
                "producer_risk_at_percent": 100 * offer.good_share,
                "usually_accepted_percent": 100 * offer.usual_share,
                "curve": [
                    {"off_size_percent": 100 * off, "accepted_percent": 100 * chance}
                    for off, chance in offer.curve
                ],
            }
            for offer in offers
        ],
    }


def _lot(lot: int | None) -> str:
    return "a large lot" if lot is None else f"the lot of {lot}"


def _row(offer: Offer) -> tuple[str, ...]:
    return (
        str(offer.plan.n),
        str(offer.plan.accept),
        percent(offer.consumer_risk),
        percent(offer.producer_risk),
        f"up to {percent(offer.usual_share)}",
    )
