"""How many equal wires pass through a ring at once: circles in a circle.

Where the centre line of a wire crosses the plane of a ring inside its hole, the wire fills a disc
of its own diameter there. Wires do not overlap, so n wires through one hole are n discs in a
circle of diameter ID, and AR = ID / wire is at least the ratio of that packing. This holds
however the wires bend. For straight wires square to the ring the ratio is also enough; curved
rings need more.
"""

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from vision.errors import TradeError

LEAST_AR, MOST_AR = 1.0, 50.0
"""A hole as wide as its own wire lets one wire through; above 50 a ring is a bangle."""

LAST_DIGIT = 5e-7
"""Half of the last digit of the table: a ratio typed from it counts as reached."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing:
    """Equal circles in the smallest circle that holds them."""

    n: int
    ratio: float
    """Radius of the outer circle over that of one inner circle."""
    form: str
    """In closed form; empty where there is none."""
    proved: bool
    """Whether no smaller circle can hold them; otherwise the smallest known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passing:
    """How many wires of its own thickness pass a ring at once."""

    possible: int
    """So many straight ones do; where it is 20, the end of the table, perhaps more."""
    limit: int
    """More than these never do, however they bend: this is proved."""


@cache
def packings() -> tuple[Packing, ...]:
    """List the packings, by number of circles, from 1."""
    text = files("vision.trade").joinpath("packing.toml").read_text(encoding="utf-8")
    return tuple(Packing(**row) for row in tomllib.loads(text)["circles"])


def wires_through(ar: float) -> Passing:
    """Tell how many wires of its own thickness pass a ring of this AR at once.

    Parameters
    ----------
    ar : inside diameter over wire, positive
    """
    if not (ar > 0 and math.isfinite(ar)):
        raise ValueError(f"AR must be positive, got {ar}")
    passing = [packing.n for packing in packings() if ar >= packing.ratio - LAST_DIGIT]
    possible = max(passing, default=0)
    too_many = [p.n for p in packings() if p.proved and ar < p.ratio - LAST_DIGIT]
    # The discs' areas cannot exceed the hole's: n <= AR^2, for every n.
    by_area = math.floor(ar * ar + LAST_DIGIT)
    return Passing(possible=possible, limit=min([by_area, *(n - 1 for n in too_many)]))


def least_ar(wires: int) -> float:
    """Give the AR below which so many equal wires never pass a ring at once: this is proved.

    Parameters
    ----------
    wires : at least 1

    Notes
    -----
    Where the best packing is not proved, that of the next smaller proved number and the area
    bound AR >= sqrt(n) stand in for it, whichever is the larger.
    """
    if wires < 1:
        raise ValueError(f"wires must be at least 1, got {wires}")
    proved = max(p.ratio for p in packings() if p.proved and p.n <= wires)
    return max(proved, math.sqrt(wires))


def check_ar(ar: float) -> None:
    """Refuse what cannot be the AR of a ring, with TradeError."""
    if not LEAST_AR <= ar <= MOST_AR:
        raise TradeError(
            f"{ar:g} is no aspect ratio of a ring: AR = ID / wire runs from "
            f"{LEAST_AR:g} to {MOST_AR:g}",
            hint="write it as a plain number, such as 3.9",
        )
