"""A caliper reading as a person types it: millimetres or inches, decimals or fractions."""

import re
from dataclasses import dataclass

from vision.errors import TradeError
from vision.trade.gauges import MM_PER_INCH
from vision.trade.sizes import read_size

ACCEPTED = "write 1.63, 1.63 mm, 0.064 in or 1/16 in"

UNITS = ("mm", "in")

COARSEST_FRACTION, FINEST_FRACTION = 64, 128
"""Steps per inch of caliper displays that show fractions: 1/4 may be read on 64ths."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """A reading, the unit that it was typed in, and the step that its digits show."""

    value_mm: float
    unit: str
    """`mm` or `in`."""
    step_mm: float
    is_fraction: bool


def read_typed(text: str, unit: str) -> Typed:
    """Read what was typed; a number without a unit is in `unit`.

    Raises
    ------
    TradeError
        Text, a negative number, zero, a gauge, or a size that no ring has; the message says what
        was found, the hint what is accepted.
    """
    if unit not in UNITS:
        raise ValueError(f"unit must be mm or in, got {unit!r}")
    plain = " ".join(text.strip().lower().replace("\N{MULTIPLICATION SIGN}", "x").split())
    if re.fullmatch(r"[-\N{MINUS SIGN}]\s*[\d.,/ ]+(mm|in|inch|inches|\")?", plain):
        raise TradeError(f"{text.strip()!r} is negative, and a length is not", hint=ACCEPTED)
    bare = re.fullmatch(r"[\d.,]+", plain) is not None
    size = read_size(f"{plain} {unit}" if bare else plain)
    if size.gauge is not None:
        raise TradeError(f"{text.strip()!r} is a gauge, a caliper reads lengths", hint=ACCEPTED)
    is_inch = "/" in plain or re.search(r"[a-z\"]", plain.replace("mm", "")) is not None
    found = "in" if is_inch or (bare and unit == "in") else "mm"
    return Typed(
        value_mm=size.value_mm, unit=found, step_mm=_step_mm(plain, found), is_fraction="/" in plain
    )


def _step_mm(plain: str, unit: str) -> float:
    """Read the step of the display off the digits."""
    if fraction := re.search(r"/\s*(\d+)", plain):
        parts = int(fraction[1])
        return MM_PER_INCH / (FINEST_FRACTION if parts > COARSEST_FRACTION else COARSEST_FRACTION)
    decimals = re.search(r"[.,](\d+)", plain)
    step = float(10.0 ** -(len(decimals[1]) if decimals else 0))
    return step * (MM_PER_INCH if unit == "in" else 1.0)
