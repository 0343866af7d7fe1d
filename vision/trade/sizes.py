"""Sizes as people state them: millimetres, inches, fractions and gauges, read into millimetres."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from vision.errors import TradeError
from vision.trade.gauges import MM_PER_INCH, Gauge, System, find_gauge, gauges

ACCEPTED = "write 1.63, 1.63mm, 0.064in, 1/16in, 16swg, 14awg or 16wm"
"""The accepted forms, for hints: one example each."""

LEAST_MM, MOST_MM = 0.05, 200.0
"""What may be meant as a wire or a ring: thinner than AWG 40, or wider than a hand, is a slip."""

SIXTY_FOURTHS = 64
"""Finest division of the inch in which drills, mandrels and rings are sold by fraction."""

_MOST_TEXT = 40
"""Characters of a statement that a message repeats."""

_NUMBER = r"\d{1,9}(?:[.,]\d{1,9})?|[.,]\d{1,9}"
_LENGTH = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>mm|in|inch|inches|\")?", re.ASCII)
_FRACTION = re.compile(
    r"(?:(?P<whole>\d{1,3})[ -])?(?P<top>\d{1,4})\s*/\s*(?P<bottom>\d{1,4})"
    r"\s*(?:in|inch|inches|\")?",
    re.ASCII,
)
_SYSTEMS = {
    "awg": System.AWG,
    "b&s": System.AWG,
    "swg": System.SWG,
    "w&m": System.STEEL,
    "wm": System.STEEL,
}
"""SWG is the Imperial standard gauge here; some tables use the letters for US steel wire."""
_SYSTEM = "|".join(map(re.escape, _SYSTEMS))
_GAUGE_NUMBER = r"(?P<number>\d{1,9}(?:/0)?)"
_GAUGES = (
    re.compile(rf"{_GAUGE_NUMBER}\s*-?\s*(?P<system>{_SYSTEM})", re.ASCII),
    re.compile(rf"(?P<system>{_SYSTEM})\s*-?\s*{_GAUGE_NUMBER}", re.ASCII),
)
_NO_SYSTEM = re.compile(
    r"(?P<number>\d{1,9})\s*-?\s*(?:g|ga|gauge)\.?|(?:gauge|ga)\s*(?P<last>\d{1,9})", re.ASCII
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A size as it was stated, and what it is in millimetres."""

    text: str
    """As stated, without blanks around it."""
    value_mm: float
    gauge: Gauge | None = None
    """Which gauge was named; None for a length."""

    @property
    def is_bare(self) -> bool:
        """Whether it is a whole number without a unit, which could be meant as a gauge."""
        return re.fullmatch(r"\d{1,9}", self.text, re.ASCII) is not None

    @property
    def name(self) -> str:
        """For a reader: `1.63 mm`, or `SWG 16 = 1.626 mm`; inches stay beside millimetres."""
        if self.gauge is not None:
            return f"{self.gauge.name} = {self.value_mm:.3f} mm"
        words = self.text.removesuffix("mm").strip()
        if _is_plain_number(words):
            return f"{words.replace(',', '.')} mm"
        return f"{self.text} = {self.value_mm:.3f} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class InchFraction:
    """A whole number of 64ths of an inch near a length."""

    sixty_fourths: int
    difference_mm: float
    """Length minus fraction: positive where the length is the larger."""

    @property
    def value_mm(self) -> float:
        """The fraction as a length."""
        return self.sixty_fourths / SIXTY_FOURTHS * MM_PER_INCH

    @property
    def name(self) -> str:
        """In lowest terms: `1/4 in`, `1 3/16 in`, `1 in`."""
        whole, rest = divmod(Fraction(self.sixty_fourths, SIXTY_FOURTHS), 1)
        parts = [str(part) for part in (whole, rest) if part] or ["0"]
        return f"{' '.join(parts)} in"


def read_size(stated: str | float) -> Size:
    """Read a size in any form of the trade.

    Parameters
    ----------
    stated : `1.63`, `1.63mm`, `1,63 mm` (millimetres, also without a unit); `0.064in`, `0.064"`;
        `1/16in`, `1 1/4 in`, `1/4` (a fraction is inches); `16swg`, `SWG 16`, `14 AWG`, `2/0 awg`,
        `16 W&M`, `16wm`; capitals do not matter. A number counts as millimetres.

    Raises
    ------
    TradeError
        If it is none of these, has no size (0) or one that no wire or ring has, names a gauge
        number that its system lacks, or a gauge without its system; the hint lists the forms.
    """
    if isinstance(stated, int | float):
        return _from_number(stated)
    text = stated.strip()
    plain = " ".join(text.lower().split())
    for pattern in _GAUGES:
        if match := pattern.fullmatch(plain):
            gauge = _gauge(_SYSTEMS[match["system"]], match["number"])
            return Size(text=text, value_mm=gauge.diameter_mm, gauge=gauge)
    if match := _NO_SYSTEM.fullmatch(plain):
        raise _no_system(text, _of_every_system(int(match["number"] or match["last"])))
    if match := _FRACTION.fullmatch(plain):
        return Size(text=text, value_mm=_checked(text, _inches(text, match) * MM_PER_INCH))
    if match := _LENGTH.fullmatch(plain):
        number = float(match["number"].replace(",", "."))
        in_mm = number if match["unit"] in (None, "mm") else number * MM_PER_INCH
        return Size(text=text, value_mm=_checked(text, in_mm))
    raise TradeError(f"cannot read {_short(text)} as a size", hint=ACCEPTED)


def read_label(stated: str) -> tuple[Size, ...]:
    """Read what a bag says of its wire: like `read_size`, but a gauge may lack its system.

    Returns
    -------
    One size; for `12 gauge` one in each system that has this number.

    Raises
    ------
    TradeError
        As `read_size` does.
    """
    match = _NO_SYSTEM.fullmatch(" ".join(stated.lower().split()))
    if match is None:
        return (read_size(stated),)
    found = _of_every_system(int(match["number"] or match["last"]))
    if not found:
        raise _no_system(stated.strip(), found)
    return tuple(
        Size(text=stated.strip(), value_mm=gauge.diameter_mm, gauge=gauge) for gauge in found
    )


def nearest_fractions(value_mm: float) -> tuple[InchFraction, ...]:
    """Find the nearest 64th of an inch, 1/64 or more; both where the value lies half way."""
    steps = value_mm / MM_PER_INCH * SIXTY_FOURTHS
    below = max(1, math.floor(steps))
    # As for gauges: half of a millionth of a millimetre, here in steps of 0.4 mm.
    if abs(steps - below - 0.5) < 1e-6:
        return (_fraction(below, value_mm), _fraction(below + 1, value_mm))
    return (_fraction(max(1, round(steps)), value_mm),)


def _from_number(stated: float) -> Size:
    if isinstance(stated, bool):
        raise TradeError(f"cannot read {stated} as a size", hint=ACCEPTED)
    try:
        text = f"{stated:.12g}"
    except OverflowError:
        text = "a number of more than 300 digits"
        return Size(text=text, value_mm=_checked(text, math.inf))
    return Size(text=text, value_mm=_checked(text, float(stated)))


def _fraction(sixty_fourths: int, value_mm: float) -> InchFraction:
    at_mm = sixty_fourths / SIXTY_FOURTHS * MM_PER_INCH
    return InchFraction(sixty_fourths=sixty_fourths, difference_mm=value_mm - at_mm)


def _gauge(system: System, written: str) -> Gauge:
    """Find a gauge by its number as written; 00 and 2/0 are the same."""
    if written.endswith("/0"):
        number = 1 - int(written.removesuffix("/0"))
    elif len(written) > 1 and not written.strip("0"):
        number = 1 - len(written)
    else:
        number = int(written)
    try:
        return find_gauge(system, number)
    except ValueError as error:
        table = gauges(system)
        raise TradeError(
            f"there is no {system} {written}: {system} runs from "
            f"{table[0].name.split()[-1]} ({table[0].diameter_mm:.2f} mm) to "
            f"{table[-1].number} ({table[-1].diameter_mm:.2f} mm)",
            hint=ACCEPTED,
        ) from error


def _of_every_system(number: int) -> list[Gauge]:
    return [gauge for system in System for gauge in gauges(system) if gauge.number == number]


def _no_system(text: str, meanings: list[Gauge]) -> TradeError:
    """A gauge without its system is two or three different wires."""
    if not meanings:
        return TradeError(f"cannot read {_short(text)} as a size", hint=ACCEPTED)
    wires = ", ".join(f"{gauge.name} is {gauge.diameter_mm:.4f} mm" for gauge in meanings)
    number = meanings[0].number
    return TradeError(
        f"{_short(text)} does not name a wire: {wires}",
        hint=f"name the system, as in {number}swg or {number}awg, or give millimetres",
    )


def _inches(text: str, match: re.Match[str]) -> float:
    if int(match["bottom"]) == 0:
        raise TradeError(f"cannot read {_short(text)} as a size: it divides by 0", hint=ACCEPTED)
    return float(int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"])))


def _checked(text: str, value_mm: float) -> float:
    if not LEAST_MM <= value_mm <= MOST_MM:
        raise TradeError(
            f"{_short(text)} is no size of a wire or ring: sizes run from {LEAST_MM:g} "
            f"to {MOST_MM:g} mm",
            hint=ACCEPTED,
        )
    return value_mm


def _is_plain_number(words: str) -> bool:
    return re.fullmatch(_NUMBER, words) is not None


def _short(text: str) -> str:
    return repr(text if len(text) <= _MOST_TEXT else f"{text[:_MOST_TEXT]}...")
