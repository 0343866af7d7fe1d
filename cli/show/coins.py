"""The table of coins as text."""

from collections.abc import Iterable
from textwrap import wrap

from rich.text import Text

from vision.trade.coins import Coin

HEADING = "bold"


def coins_text(coins: Iterable[Coin], *, width: int) -> Text:
    """Lay out the coins that can serve with their sizes, then the others with the reason."""
    coins = list(coins)
    page = Text()
    page.append("coins that can set the scale (mm)\n", HEADING)
    page.append(f"{'name':<9}  {'coin':<19}  {'diameter':>8}  {'thick':>5}  note\n", HEADING)
    for coin in coins:
        if coin.serves:
            _add(page, _serving_line(coin), width, indent=50)
    page.append("\ncoins that cannot\n", HEADING)
    for coin in coins:
        if not coin.serves:
            _add(page, f"{coin.name:<9}  {coin.label:<19}  {coin.refused}", width, indent=32)
    return page


def _serving_line(coin: Coin) -> str:
    notes = [f"hole {coin.hole_mm:g} mm"] if coin.hole_mm is not None else []
    notes += [coin.note] if coin.note else []
    size = f"{coin.diameter_mm:8.2f}  {_length(coin.thickness_mm):>5}"
    return f"{coin.name:<9}  {coin.label:<19}  {size}  {'; '.join(notes)}".rstrip()


def _add(page: Text, line: str, width: int, *, indent: int) -> None:
    hang = " " * (indent if width >= indent + 20 else 2)
    for part in wrap(line, width, subsequent_indent=hang, break_long_words=False):
        page.append(f"{part}\n")


def _length(value_mm: float | None) -> str:
    """Two decimals, three where the middle of two issues needs them."""
    if value_mm is None:
        return ""
    return f"{value_mm:.2f}" if round(value_mm, 2) == value_mm else f"{value_mm:.3f}"
