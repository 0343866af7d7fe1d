"""Numbers with no more digits than their uncertainty supports."""

from decimal import ROUND_HALF_EVEN, Decimal

TWO_DIGITS_BELOW = 30
"""U keeps two digits where they read 10 to 29 and one above: rounding moves it by a fifth at
most in either case."""

UNDERSTATED = Decimal("0.04")
"""U is rounded up, except where rounding down takes less than this part of it away."""


def rounded(value: float, u95: float) -> tuple[str, str]:
    """Round an expanded uncertainty to one or two digits, and its value to the same place.

    Parameters
    ----------
    value, u95 : in one unit; u95 positive

    Returns
    -------
    Both as text with the same number of decimals.

    References
    ----------
    .. [1] JCGM 100 (GUM), 7.2.6: at most two significant digits; 10.47 may be rounded up to 11,
       28.05 down to 28; 10.05762 with 0.027 becomes 10.058.
    """
    u = Decimal(repr(float(u95)))
    if not (u.is_finite() and u > 0):
        raise ValueError(f"the expanded uncertainty must be positive, got {u95}")
    place = _last_place(u)
    step = Decimal(1).scaleb(place)
    nearest = u.quantize(step, rounding=ROUND_HALF_EVEN)
    kept = nearest if u - nearest < UNDERSTATED * u else nearest + step
    shown = Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_EVEN)
    return f"{shown + 0:f}", f"{kept:f}"


def significant(value: float, digits: int = 2) -> str:
    """Round a positive number to so many significant digits, written out in full."""
    number = Decimal(repr(float(value)))
    if number == 0:
        return "0"
    return f"{number.quantize(Decimal(1).scaleb(number.adjusted() - digits + 1)):f}"


def decimals(text: str) -> int:
    """Count the decimals of a number written out."""
    return len(text.partition(".")[2])


def aligned(pairs: list[tuple[str, str]]) -> list[str]:
    """Write `value ± U` so that the decimal points of a column stand below each other."""
    whole = max((len(value.partition(".")[0]) for value, _ in pairs), default=0)
    left = max((whole - len(v.partition(".")[0]) + len(v) for v, _ in pairs), default=0)
    right = max((len(u) for _, u in pairs), default=0)
    return [
        f"{' ' * (whole - len(value.partition('.')[0]))}{value}".ljust(left)
        + f" ± {u.ljust(right)}"
        for value, u in pairs
    ]


def _last_place(u: Decimal) -> int:
    """Power of ten of the last digit that is kept."""
    first_two = u.scaleb(1 - u.adjusted())
    return u.adjusted() - 1 if first_two < TWO_DIGITS_BELOW else u.adjusted()
