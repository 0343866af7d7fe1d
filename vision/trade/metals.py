"""Metals by name and how dense they are."""

import math
import tomllib
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from vision.errors import TradeError


@dataclass(frozen=True, slots=True, kw_only=True)
class Metal:
    """A metal of the trade."""

    name: str
    label: str
    density_g_cm3: float
    u_density_g_cm3: float
    """Standard uncertainty: alloys sold under one name differ (rectangular, GUM 4.3.7)."""
    also: tuple[str, ...]
    source: str


@cache
def metals() -> tuple[Metal, ...]:
    """List all metals of the table."""
    text = files("vision.trade").joinpath("metals.toml").read_text(encoding="utf-8")
    return tuple(
        Metal(
            name=name,
            label=row["label"],
            density_g_cm3=row["density_g_cm3"],
            u_density_g_cm3=row["half_width_g_cm3"] / math.sqrt(3),
            also=tuple(row.get("also", ())),
            source=row["source"],
        )
        for name, row in tomllib.loads(text).items()
    )


def find_metal(name: str) -> Metal:
    """Find a metal by name; capitals and blanks for dashes do not matter.

    Raises
    ------
    TradeError
        If the table does not hold it; the hint names those it holds.
    """
    wanted = "-".join(name.lower().split())
    for metal in metals():
        if wanted in (metal.name, *metal.also):
            return metal
    names = [metal.name for metal in metals()]
    near = get_close_matches(wanted, names, n=1)
    guess = f"did you mean {near[0]}? " if near else ""
    raise TradeError(f"no metal is called {name!r}", hint=f"{guess}known are {', '.join(names)}")
