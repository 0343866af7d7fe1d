"""Coins: published sizes by name, and which of them can set the scale."""

import math
import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

from vision.errors import CoinError

STRIKING_MM = 0.05
"""Half-width within which coins of one kind are taken to differ, wear included. Mints publish no
tolerance; the Australian legal maxima lie 0.12 mm above nominal, and coins struck in a collar
repeat better than the law asks."""

PUBLISHED_STEP_MM = 0.01
"""Last digit of a published size unless the table says otherwise."""

SUGGESTIONS = 4
"""Names offered for a mistyped one."""

_NAME = re.compile(r"(?P<code>[a-z]{3})[\s-]*(?P<value>\d{1,5}([.,]\d{1,2})?|[.,]\d{1,2})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coin:
    """A coin lying on the table; lengths as published, standard uncertainties with `u_`."""

    name: str
    """ISO 4217 code and value, such as `eur-1` or `usd-0.25`."""
    label: str
    diameter_mm: float
    u_diameter_mm: float
    thickness_mm: float | None
    u_thickness_mm: float
    hole_mm: float | None
    refused: str | None
    """Why it cannot set the scale; None if it can."""
    note: str | None
    source: str

    @property
    def serves(self) -> bool:
        """Whether its outline is a circle of known size at a known height."""
        return self.refused is None


@cache
def coins() -> tuple[Coin, ...]:
    """List all coins of the table, by currency and value."""
    text = files("vision.trade").joinpath("coins.toml").read_text(encoding="utf-8")
    currencies = tomllib.loads(text)
    return tuple(
        _coin(code, currency["source"], row)
        for code, currency in currencies.items()
        for row in currency["coins"]
    )


def serving_coins() -> tuple[Coin, ...]:
    """List the coins that can set the scale."""
    return tuple(coin for coin in coins() if coin.serves)


def find_coin(name: str) -> Coin:
    """Find the coin of that name, whether it can serve or not.

    Parameters
    ----------
    name : `eur-1`; capitals, a blank for the dash and trailing zeros (`EUR 1.00`) do not matter

    Raises
    ------
    CoinError
        If no coin has this name; the hint offers the nearest names.
    """
    wanted = _normal(name)
    for coin in coins():
        if coin.name == wanted:
            return coin
    raise CoinError(
        f"no coin is called {name!r}: names are the currency's code and the value, like eur-1",
        hint=_suggest(wanted),
    )


def lookup(name: str) -> Coin:
    """Find the coin of that name, if it can set the scale.

    Raises
    ------
    CoinError
        If no coin has this name, or its outline or height cannot give a scale; with the reason.
    """
    coin = find_coin(name)
    if coin.refused is not None:
        raise CoinError(
            f"{coin.name}, {coin.label}, cannot set the scale: {coin.refused}",
            hint=_others_of(coin),
        )
    return coin


def _coin(code: str, source: str, row: dict[str, Any]) -> Coin:
    step_mm = row.get("step_mm", PUBLISHED_STEP_MM)
    return Coin(
        name=_normal(f"{code}-{row['value']}"),
        label=row["label"],
        diameter_mm=row["diameter_mm"],
        u_diameter_mm=math.hypot(STRIKING_MM, step_mm / 2) / math.sqrt(3),
        thickness_mm=row.get("thickness_mm"),
        u_thickness_mm=row.get("u_thickness_mm", STRIKING_MM / math.sqrt(3)),
        hole_mm=row.get("hole_mm"),
        refused=row.get("refused"),
        note=row.get("note"),
        source=source,
    )


def _normal(name: str) -> str:
    """Lower case, one dash; values below one keep two digits (0.10), whole ones none (1)."""
    match = _NAME.fullmatch(name.strip().lower())
    if match is None:
        return name.strip().lower()
    value = Decimal(match["value"].replace(",", "."))
    if value == value.to_integral_value():
        return f"{match['code']}-{int(value)}"
    return f"{match['code']}-{value.quantize(Decimal('0.01')) if value < 1 else value}"


def _suggest(wanted: str) -> str:
    names = [coin.name for coin in serving_coins()]
    near = get_close_matches(wanted, names, n=SUGGESTIONS, cutoff=0.5)
    same_currency = [name for name in names if name.split("-")[0] == wanted.split("-")[0]]
    offered = list(dict.fromkeys([*near, *same_currency]))[:SUGGESTIONS]
    start = f"did you mean {_either(offered)}? " if offered else ""
    return f"{start}`annulet coins` lists them all"


def _others_of(coin: Coin) -> str:
    code = coin.name.split("-")[0]
    others = [other.name for other in serving_coins() if other.name.split("-")[0] == code]
    start = f"use {_either(others[:SUGGESTIONS])}" if others else "use another coin"
    return f"{start}, or print a sheet with `annulet sheet`"


def _either(names: list[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} or {last}" if first else last
