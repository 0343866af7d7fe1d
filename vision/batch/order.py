"""What was ordered: a TOML file, read with errors that name line and key."""

import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite
from typing import Any, NoReturn

from vision.batch.spread import Limits
from vision.errors import TradeError, VisionError
from vision.trade.sizes import Size, read_size

EXAMPLE = """\
[order]
name = "bronze for the lampshade"
lot_size = 500
wire = "16 SWG"
wire_tolerance_mm = 0.04
id = "1/4 in"
id_tolerance_mm = 0.10
max_off_size_percent = 5
"""

SHORTEST = (
    'a line [order], and below it wire = "16 SWG", wire_tolerance_mm = 0.04, id = "1/4 in", '
    "id_tolerance_mm = 0.1, each on a line of its own"
)

MAX_OFF_PERCENT = 5.0
"""Off-size rings that a lot may hold unless the order says otherwise: 1 in 20, which a photo of 59
good rings proves."""

CONFIDENCE_PERCENT = 95.0

MOST_LOT = 100_000_000


class OrderError(VisionError):
    """The order file cannot be read, or says something that cannot be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """An ordered size and its tolerance either way."""

    size: Size
    tolerance_mm: float

    @property
    def limits_mm(self) -> Limits:
        """Least and most that conforms."""
        return self.size.value_mm - self.tolerance_mm, self.size.value_mm + self.tolerance_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What was ordered, and how sure the answer must be."""

    name: str
    wire: Target
    inside: Target
    ar_min: float | None
    ar_max: float | None
    lot_size: int | None
    """Rings in the delivery; None where the order does not say."""
    max_off_share: float
    """Off-size rings that are accepted, 0 to 1."""
    confidence: float
    """How sure accept and reject must be, 0.5 to 1."""


def read_order(text: str, *, file: str) -> Order:
    """Read an order.

    Parameters
    ----------
    text : TOML with one table `[order]`; keys as in `EXAMPLE`, and `ar_min`, `ar_max`,
        `confidence_percent`. Needed are `wire`, `id` and both tolerances.
    file : what messages call the file

    Raises
    ------
    OrderError
        No TOML, an unknown or missing key, or a value that cannot be; with line and key.
    """
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also a number of thousands of digits
        # "Invalid value (at line 4, column 8)" and what to do about it.
        raise OrderError(
            f"{file} is no TOML: {error}",
            hint='text stands in quotes, as in wire = "16 SWG"; numbers have a decimal point',
        ) from error
    table = document.get("order")
    if not isinstance(table, dict):
        raise OrderError(f"{file} has no table [order]", hint=f"it takes {SHORTEST}")
    return _Reader(table, text, file).order()


@dataclass(frozen=True, slots=True)
class _Reader:
    """The table `[order]`, which knows in which line each key stands."""

    table: dict[str, Any]
    text: str
    file: str

    def order(self) -> Order:
        self._refuse_unknown()
        lot_size = self._whole("lot_size")
        ar_min, ar_max = self._positive("ar_min"), self._positive("ar_max")
        if ar_min is not None and ar_max is not None and ar_min >= ar_max:
            self._wrong("ar_max", f"more than ar_min, {ar_min:g}")
        percent = self._percent("max_off_size_percent", MAX_OFF_PERCENT, 0.0, 50.0)
        confidence = self._percent("confidence_percent", CONFIDENCE_PERCENT, 50.0, 99.99)
        return Order(
            name=self._name(),
            wire=self._target("wire"),
            inside=self._target("id"),
            ar_min=ar_min,
            ar_max=ar_max,
            lot_size=lot_size,
            max_off_share=percent / 100,
            confidence=confidence / 100,
        )

    def _name(self) -> str:
        name = self.table.get("name", self.file)
        if not isinstance(name, str) or not name.strip():
            self._wrong("name", "text")
        return name

    def _target(self, key: str) -> Target:
        stated = self._needed(key)
        if isinstance(stated, bool) or not isinstance(stated, str | int | float):
            self._wrong(key, 'a number of mm or a text such as "16 SWG" or "1/4 in"')
        try:
            size = read_size(stated)
        except TradeError as error:
            raise OrderError(f"{self._place(key)}: {error}", hint=error.hint) from error
        tolerance_key = f"{key}_tolerance_mm"
        self._needed(tolerance_key)
        tolerance = self._positive(tolerance_key)
        if tolerance is None or tolerance >= size.value_mm:
            self._wrong(tolerance_key, f"less than {key} itself, {size.value_mm:.3f} mm")
        return Target(size=size, tolerance_mm=tolerance)

    def _whole(self, key: str) -> int | None:
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_LOT:
            self._wrong(key, "a whole number of rings from 1")
        return value

    def _positive(self, key: str) -> float | None:
        return self._number(key, lambda value: value > 0, "a positive number")

    def _percent(self, key: str, otherwise: float, least: float, most: float) -> float:
        found = self._number(
            key, lambda value: least <= value <= most, f"a number from {least:g} to {most:g}"
        )
        return otherwise if found is None else found

    def _number(self, key: str, fits: Callable[[float], bool], expected: str) -> float | None:
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            self._wrong(key, expected)
        if abs(value) > 1e9 or not isfinite(value) or not fits(value):
            self._wrong(key, expected)
        return float(value)

    def _needed(self, key: str) -> Any:
        if key not in self.table:
            raise OrderError(
                f"{self.file}: [order] lacks the key {key}",
                hint=f"it takes {SHORTEST}",
            )
        return self.table[key]

    def _refuse_unknown(self) -> None:
        for key in self.table:
            if key not in KEYS:
                near = get_close_matches(key, KEYS, n=1)
                raise OrderError(
                    f"{self._place(key)}: [order] knows no key of this name",
                    hint=f"did you mean {near[0]}?" if near else f"known are {', '.join(KEYS)}",
                )

    def _wrong(self, key: str, expected: str) -> NoReturn:
        value = self.table[key]
        said = repr(value) if not isinstance(value, bool) else str(value).lower()
        raise OrderError(
            f"{self._place(key)} must be {expected}, found {said[:60]}",
            hint=f"correct the line in {self.file}",
        )

    def _place(self, key: str) -> str:
        for number, line in enumerate(self.text.splitlines(), 1):
            if re.match(rf"""\s*(order\s*\.\s*)?["']?{re.escape(key)}["']?\s*=""", line):
                return f"{self.file}, line {number}: {key}"
        return f"{self.file}: {key}"


KEYS = (
    "name",
    "lot_size",
    "wire",
    "wire_tolerance_mm",
    "id",
    "id_tolerance_mm",
    "ar_min",
    "ar_max",
    "max_off_size_percent",
    "confidence_percent",
)
