"""Which part of a stated doubt another photo shares, and which is new in each."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.batch.read import OUTLINE
from vision.results import Quantity, Result
from vision.scale.coin import U_RIM_ROUNDING_MM
from vision.spotcheck.model import RIM_SHARE
from vision.trade.coins import find_coin

Array = NDArray[np.float64]

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


def joint_parts(
    name: str,
    each: Sequence[Quantity],
    results: Sequence[Result],
    share: Array,
    stretch: float = 1.0,
) -> dict[str, float]:
    """Standard uncertainty, by cause, of the mean of readings of several photos; chance apart.

    Parameters
    ----------
    name : of the quantity, as `Ring` has it
    share : (n,) weight of each reading, 1 in all
    stretch : how much more the photos differ as a whole than they state
    """
    new = [new_in_photo(q, name, result) for q, result in zip(each, results, strict=True)]
    parts: dict[str, float] = {}
    for cause in dict.fromkeys(cause for q in each for cause in q.parts):
        alone = np.array([one.get(cause, 0.0) for one in new])
        whole = np.array([q.parts.get(cause, 0.0) for q in each])
        if cause == OUTLINE:
            lasting = stretch * np.array([rim_of(q) for q in each])
        else:
            lasting = np.sqrt(np.maximum(whole**2 - alone**2, 0.0))
        parts[cause] = math.hypot(
            float(share @ lasting), stretch * float(np.linalg.norm(share * alone))
        )
    return parts


def _same_coin(quantity: Quantity, result: Result) -> float:
    """The coin's part that stays with the coin: its diameter, and how its rim is rounded."""
    coin = quantity.parts.get(COIN, 0.0)
    if result.scale.kind != "coin":
        return coin
    known = find_coin(result.scale.reference)
    lasting = math.hypot(known.u_diameter_mm, 2.0 * U_RIM_ROUNDING_MM) / known.diameter_mm
    return min(coin, lasting * quantity.value)
