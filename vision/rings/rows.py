"""Values of many rings, a row each, that are chosen and joined together."""

from collections.abc import Callable
from dataclasses import fields
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray


class Rows:
    """Base of a dataclass whose arrays all have a row for each ring.

    What is no array and no rows is common to all rings.
    """

    __slots__ = ()

    def chosen(self, which: NDArray[np.int64]) -> Self:
        """Keep the rings with these indices."""
        return self._made(lambda rows: rows[0][which], [self])

    def joined(self, *others: Self) -> Self:
        """The rings of all, these first."""
        return self._made(np.concatenate, [self, *others])

    def _made(self, make: Callable[[list[NDArray[Any]]], NDArray[Any]], parts: list[Self]) -> Self:
        """One of the arrays, and of the rows in them, that `make` makes of those of the parts."""
        made: dict[str, Any] = {}
        for one in fields(self):  # type: ignore[arg-type]  # its heirs are dataclasses
            held = [getattr(part, one.name) for part in parts]
            if isinstance(held[0], Rows):
                made[one.name] = held[0]._made(make, held)
            elif isinstance(held[0], np.ndarray):
                made[one.name] = make(held)
            else:
                made[one.name] = held[0]
        return type(self)(**made)
