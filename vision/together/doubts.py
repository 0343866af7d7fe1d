"""Which part of a stated doubt another photo shares, and which is new in each."""

import math

from vision.batch.read import OUTLINE
from vision.results import Quantity, Result
from vision.scale.coin import U_RIM_ROUNDING_MM
from vision.spotcheck.model import RIM_SHARE
from vision.trade.coins import find_coin

CORNERS, COIN = "sheet corners", "coin"
"""Causes that are wholly or partly new in each photo, beside the outline."""


def chance_of(quantity: Quantity) -> float:
    """Stated standard uncertainty of one reading that the next photo does not share."""
    return quantity.parts.get(OUTLINE, 0.0) * math.sqrt(1.0 - RIM_SHARE)


def rim_of(quantity: Quantity) -> float:
    """What metal and light do to the outline in all photos alike.

    On five pairs of rendered photos the wire errors of two photos had 0.0 to 0.27 of the outline's
    stated variance in common (`tests/accuracy/turned.py`).
    """
    return quantity.parts.get(OUTLINE, 0.0) * math.sqrt(RIM_SHARE)


def new_in_photo(quantity: Quantity, name: str, result: Result) -> dict[str, float]:
    """By cause: what all rings of this photo share, and no other photo does."""
    new = {CORNERS: quantity.parts.get(CORNERS, 0.0)}
    if name != "ar":
        coin = quantity.parts.get(COIN, 0.0)
        new[COIN] = math.sqrt(coin**2 - _same_coin(quantity, result) ** 2)
    return new


def _same_coin(quantity: Quantity, result: Result) -> float:
    """The coin's part that stays with the coin: its diameter, and how its rim is rounded."""
    coin = quantity.parts.get(COIN, 0.0)
    if result.scale.kind != "coin":
        return coin
    known = find_coin(result.scale.reference)
    lasting = math.hypot(known.u_diameter_mm, 2.0 * U_RIM_ROUNDING_MM) / known.diameter_mm
    return min(coin, lasting * quantity.value)
