"""One quantity of many rings: values, each ring's own doubt, and doubts that rings share."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.batch.read import OUTLINE, SetUp, Shot
from vision.errors import VisionError
from vision.results import COVERAGE_FACTOR, Quantity, Ring
from vision.trade.coins import find_coin

Array = NDArray[np.float64]

APART = "photos apart"
"""Cause of rings that several photos show: how far the photos are apart about one ring."""

PRIVATE_CAUSES = frozenset({OUTLINE, APART, "lies not flat"})
"""Causes that strike each ring for itself, and average away."""

PHOTO_CAUSES = frozenset({"tilt and lens", "sheet corners", "sheet not flat"})
"""Causes that all rings of one photo share. Any other cause stays the same while the set-up does:
the coin, the print, a stated scale, the focal length that the camera's height comes from."""

U_BIAS_MM = 0.01 / math.sqrt(3)
"""Standard uncertainty of what metal and light do to all outlines of a photo alike. Far below a
ring's own U, but it does not average away: accuracy is promised to a bias below 0.01 mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sample:
    """One quantity of n rings, in the quantity's unit."""

    values: Array
    """(n,)"""
    u_private: Array
    """(n,) standard uncertainty that no other ring shares."""
    u_common: Mapping[str, Array]
    """By cause and reach: (n,) standard uncertainty, 0 for rings that the cause does not touch.
    Within a cause the errors of all rings go together."""

    def mean_common(self) -> dict[str, float]:
        """By cause: standard uncertainty that the mean keeps however many rings there are."""
        return {cause: float(np.mean(u)) for cause, u in self.u_common.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Member:
    """A measured ring of a batch, and where to find it."""

    ring: Ring
    photo: str
    """File name of its photo."""
    shot: int
    """Which of the batch's photos it is in, from 0."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """The rings of one or many photos of one lot."""

    shots: tuple[Shot, ...]
    members: tuple[Member, ...]
    """The measured rings, photo by photo."""
    unusable: int
    """Rings that were seen but not measured."""

    def __len__(self) -> int:
        return len(self.members)

    def sample(self, name: str, which: Sequence[int] | None = None) -> Sample:
        """Take one quantity (`wire_mm`, `id_mm`, `od_mm`, `ar`) of all members or of some."""
        chosen = range(len(self.members)) if which is None else which
        members = [self.members[index] for index in chosen]
        return _sample(name, members, self.shots)


def pool(shots: Sequence[Shot]) -> Batch:
    """Pool the rings of several photos, each photo given once.

    Raises
    ------
    VisionError
        If no ring of any photo was measured.
    """
    members = tuple(
        Member(ring=ring, photo=shot.photo.file, shot=index)
        for index, shot in enumerate(shots)
        for ring in shot.measured
    )
    if not members:
        raise VisionError(
            "no measured ring in the batch",
            hint="spread the rings, each for itself and flat, and take the photo again",
        )
    unusable = sum(len(shot.rings) - len(shot.measured) for shot in shots)
    return Batch(shots=tuple(shots), members=members, unusable=unusable)


def value_of(ring: Ring, name: str) -> Quantity:
    """Take a quantity of a measured ring."""
    quantity = getattr(ring, name)
    if not isinstance(quantity, Quantity):
        raise ValueError(f"ring {ring.number} has no {name}: it is {ring.status}")
    return quantity


def u_between(a: Mapping[str, float], b: Mapping[str, float]) -> float:
    """Standard uncertainty of a difference, from common causes alone.

    Parameters
    ----------
    a, b : by cause, as `Sample.mean_common` gives it; what both share cancels
    """
    return math.hypot(*(a.get(cause, 0.0) - b.get(cause, 0.0) for cause in {*a, *b}))


def expanded(u: float) -> float:
    """Expanded uncertainty, k = 2."""
    return COVERAGE_FACTOR * u


def _sample(name: str, members: Sequence[Member], shots: Sequence[Shot]) -> Sample:
    n = len(members)
    values, squares = np.zeros(n), np.zeros(n)
    common: dict[str, Array] = {}
    for place, member in enumerate(members):
        quantity = value_of(member.ring, name)
        values[place] = quantity.value
        for cause, part in _common_parts(name, quantity, shots[member.shot]).items():
            common.setdefault(cause, np.zeros(n))[place] = part
        bias = f"metal and light in {_photo_key(shots[member.shot])}"
        common.setdefault(bias, np.zeros(n))[place] = _u_bias(name, member.ring)
        squares[place] = sum(
            part**2 for cause, part in quantity.parts.items() if cause in PRIVATE_CAUSES
        )
    return Sample(values=values, u_private=np.sqrt(squares), u_common=common)


def _common_parts(name: str, quantity: Quantity, shot: Shot) -> dict[str, float]:
    """Parts of a ring's uncertainty that others share, by cause and by how far it reaches."""
    in_photo, in_set_up = _photo_key(shot), f"{shot.set_up.kind} {shot.set_up.reference}"
    parts: dict[str, float] = {}
    for cause, part in quantity.parts.items():
        if cause in PRIVATE_CAUSES:
            continue
        if cause in PHOTO_CAUSES:
            parts[f"{cause} in {in_photo}"] = part
        elif cause == "coin" and name != "ar":
            # The coin stays the same coin; where its rim was seen differs from photo to photo.
            lasting = min(part, quantity.value * _coin_u_rel(shot.set_up))
            parts[f"{cause} of {in_set_up}"] = lasting
            parts[f"{cause}'s rim in {in_photo}"] = math.sqrt(part**2 - lasting**2)
        else:
            parts[f"{cause} of {in_set_up}"] = part
    return parts


def _photo_key(shot: Shot) -> str:
    return shot.photo.sha256 or shot.photo.file


def _coin_u_rel(set_up: SetUp) -> float:
    try:
        coin = find_coin(set_up.reference)
    except VisionError:
        return set_up.u_rel
    return coin.u_diameter_mm / coin.diameter_mm


def _u_bias(name: str, ring: Ring) -> float:
    """The bias's part in one quantity: where the wire reads thick, the hole reads small."""
    if name != "ar":
        return U_BIAS_MM
    wire, inside = value_of(ring, "wire_mm").value, value_of(ring, "id_mm").value
    return U_BIAS_MM * inside / wire * (1.0 / wire + 1.0 / inside)
