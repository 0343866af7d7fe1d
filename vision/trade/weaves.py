"""Weaves: which of them rings of an AR suit, and which rings a weave wants."""

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from fractions import Fraction
from functools import cache
from importlib.resources import files
from statistics import fmean, stdev

from vision.errors import TradeError
from vision.trade.packing import LAST_DIGIT, least_ar
from vision.trade.sizes import SIXTY_FOURTHS, InchFraction, nearest_fractions

SPREAD_SDS = 2.0
"""Half-width of a batch's spread in standard deviations: about 95 of 100 rings."""

FEW_FRACTIONS = 3
"""Fractions of an inch to offer: the coarsest step that has so many in a weave's window."""

SUGGESTIONS = 3
"""Names offered for a mistyped one."""


class Grip(StrEnum):
    """How a weave would sit."""

    TOO_TIGHT = "too tight"
    SNUG = "snug"
    MIDDLE = "in the middle"
    LOOSE = "loose"
    TOO_LOOSE = "too loose"


@dataclass(frozen=True, slots=True, kw_only=True)
class Weave:
    """A weave of rings of one size; its AR are common practice, from memory."""

    name: str
    family: str
    least: float
    """AR below which it jams."""
    usual: float
    most: float
    """AR above which it hangs loose."""
    wires: int | None
    """How many wires pass through a ring at once; None where this is not certain."""
    pitch_is_id: bool
    """Whether each ring adds exactly its inside diameter to a taut length."""

    @property
    def proved_least(self) -> float | None:
        """AR below which it cannot be made at all, whatever the hands; None where not known."""
        return None if self.wires is None else least_ar(self.wires)

    def grip(self, ar: float) -> Grip:
        """Tell how the weave would sit with rings of this AR."""
        if ar < self.least:
            return Grip.TOO_TIGHT
        if ar > self.most:
            return Grip.TOO_LOOSE
        if ar < (self.least + self.usual) / 2:
            return Grip.SNUG
        return Grip.LOOSE if ar > (self.usual + self.most) / 2 else Grip.MIDDLE

    def is_impossible(self, ar: float) -> bool:
        """Whether it is proved that rings of this AR cannot make the weave."""
        return self.proved_least is not None and ar < self.proved_least - LAST_DIGIT


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFit:
    """How a batch of rings suits a weave."""

    weave: Weave
    grip: Grip
    """Of the mean."""
    impossible: bool
    """Whether it is proved that the mean AR cannot make it."""
    window_part: float | None
    """Part of the weave's window, least to most, that the batch's spread takes (mean and two
    standard deviations either way; above 1 it does not fit in). None for fewer than two rings."""
    too_tight: tuple[int, ...]
    """Places of rings that are too tight even at the upper end of their uncertainty."""
    perhaps_too_tight: tuple[int, ...]
    """Places of rings that are too tight as measured, but need not be."""
    too_loose: tuple[int, ...]
    """Places of rings above the window, as measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedId:
    """Inside diameters that a weave wants of a given wire."""

    weave: Weave
    wire_mm: float
    stock: tuple[InchFraction, ...]
    """Fractions of an inch inside the window, smallest first."""

    @property
    def least_mm(self) -> float:
        """Smallest inside diameter of the window."""
        return self.weave.least * self.wire_mm

    @property
    def usual_mm(self) -> float:
        """Inside diameter that most makers would take."""
        return self.weave.usual * self.wire_mm

    @property
    def most_mm(self) -> float:
        """Largest inside diameter of the window."""
        return self.weave.most * self.wire_mm

    @property
    def nearest(self) -> InchFraction:
        """The 64th of an inch nearest to the usual inside diameter."""
        return nearest_fractions(self.usual_mm)[0]


@cache
def weaves() -> tuple[Weave, ...]:
    """List all weaves, by family."""
    text = files("vision.trade").joinpath("weaves.toml").read_text(encoding="utf-8")
    return tuple(
        Weave(
            name=row["name"],
            family=family,
            least=row["least"],
            usual=row["usual"],
            most=row["most"],
            wires=row.get("wires"),
            pitch_is_id=row.get("pitch") == "id",
        )
        for family, group in tomllib.loads(text).items()
        if family != "source"
        for row in group["weaves"]
    )


def find_weave(name: str) -> Weave:
    """Find a weave by its name; capitals, blanks and dashes do not matter.

    Raises
    ------
    TradeError
        If none has this name; the hint offers the nearest ones.
    """
    wanted = _plain(name)
    by_plain = {_plain(weave.name): weave for weave in weaves()}
    if wanted in by_plain:
        return by_plain[wanted]
    near = [by_plain[plain].name for plain in get_close_matches(wanted, by_plain, n=SUGGESTIONS)]
    inside = [weave.name for plain, weave in by_plain.items() if wanted and wanted in plain]
    offered = list(dict.fromkeys([*inside, *near]))[:SUGGESTIONS]
    guess = f"did you mean {' or '.join(offered)}? " if offered else ""
    raise TradeError(
        f"no weave is called {name[:40]!r}", hint=f"{guess}annulet weave lists them all"
    )


def fit_batch(
    weave: Weave,
    ars: Sequence[float],
    u95s: Sequence[float],
    *,
    mean: float | None = None,
    sd: float | None = None,
) -> BatchFit:
    """Hold a batch of rings of one size against a weave.

    Parameters
    ----------
    ars : (n,) AR of each ring, at least one
    u95s : (n,) its expanded uncertainty (k = 2)
    mean, sd : of the batch, where they are known better than from the values: without strays, and
        without what measuring adds to the spread
    """
    if mean is None:
        mean = fmean(ars)
    if sd is None and len(ars) > 1:
        sd = stdev(ars)
    places = range(len(ars))
    surely = tuple(i for i in places if ars[i] + u95s[i] < weave.least)
    return BatchFit(
        weave=weave,
        grip=weave.grip(mean),
        impossible=weave.is_impossible(mean),
        window_part=None if sd is None else 2 * SPREAD_SDS * sd / (weave.most - weave.least),
        too_tight=surely,
        perhaps_too_tight=tuple(i for i in places if ars[i] < weave.least and i not in surely),
        too_loose=tuple(i for i in places if ars[i] > weave.most),
    )


def wanted_id(weave: Weave, wire_mm: float) -> WantedId:
    """Tell which inside diameters a weave wants of a wire, and which fractions lie among them."""
    return WantedId(
        weave=weave,
        wire_mm=wire_mm,
        stock=_stock(weave.least * wire_mm, weave.most * wire_mm, weave.usual * wire_mm),
    )


def rings_for_length(weave: Weave, id_mm: float, wire_mm: float, length_mm: float) -> int:
    """Count the rings of a chain of at least this length, pulled taut.

    Notes
    -----
    In a chain of single rings a taut ring's wire lies in the next one's bend: middles are
    ID/2 - wire/2 + ID/2 + wire/2 = ID apart, so n rings measure n ID + 2 wire, exactly. Other
    weaves nest by friction and hand; there is no exact arithmetic for them.

    Raises
    ------
    TradeError
        If the weave has no exact arithmetic.
    """
    if not weave.pitch_is_id:
        raise TradeError(
            f"no exact arithmetic gives the rings in a length of {weave.name}: "
            "it stretches and settles by hand",
            hint="make a piece of 20 mm, count its rings, and scale up",
        )
    exact = (length_mm - 2 * wire_mm) / id_mm
    return max(1, math.ceil(exact - LAST_DIGIT))


def _stock(least_mm: float, most_mm: float, usual_mm: float) -> tuple[InchFraction, ...]:
    found: list[InchFraction] = []
    for parts in (16, 32, SIXTY_FOURTHS):
        step = Fraction(SIXTY_FOURTHS, parts)
        step_mm = 25.4 / parts
        first, last = math.ceil(least_mm / step_mm - 1e-9), math.floor(most_mm / step_mm + 1e-9)
        found = [_fraction(int(n * step), usual_mm) for n in range(max(1, first), last + 1)]
        if len(found) >= FEW_FRACTIONS:
            break
    return tuple(found)


def _fraction(sixty_fourths: int, usual_mm: float) -> InchFraction:
    at_mm = sixty_fourths / SIXTY_FOURTHS * 25.4
    return InchFraction(sixty_fourths=sixty_fourths, difference_mm=usual_mm - at_mm)


def _plain(name: str) -> str:
    return "".join(character for character in name.lower() if character.isalnum())
