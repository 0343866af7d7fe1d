"""Caliper readings beside the photo's numbers, with everything that makes them differ.

A reading less the photo's value is `scale * value + rim * sign + errors`: `scale` is what the
photo's lengths lack (relative), `rim` what its wires lack (mm; it grows wire and OD and shrinks
ID, because an edge seen too far inside the metal does so). The errors of readings of one ring, of
one pair of jaws and of one metal go together; their covariance says how.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.batch.read import Shot
from vision.batch.sample import APART
from vision.results import Quantity, Ring
from vision.spotcheck.caliper import Caliper, Reading, What, quantity_of

Array = NDArray[np.float64]

OUTLINE = "outline"
OWN_CAUSES = frozenset({OUTLINE, APART, "lies not flat"})
"""Causes of doubt that each ring has for itself."""
PLACE_CAUSES = frozenset({"tilt and lens"})
"""Causes that act as a scale, but another one in each place of the picture."""

RIM_SHARE = 0.25
"""Share of the outline's variance that rings of one metal in one light have in common. Chosen:
the reader's doubt is mostly noise, but a rim that mirrors its surroundings does so on all rings."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Table:
    """Readings (n) as arrays; the order is that of `readings`."""

    readings: tuple[Reading, ...]
    rings: tuple[Ring, ...]
    """What the photo says of the ring of each reading."""
    photo_mm: Array
    """(n,) what the photo says of the length that was read."""
    difference_mm: Array
    """(n,) true length by the reading less the photo's value."""
    design: Array
    """(n, 2) what scale (per 1) and rim (per mm) do to a length."""
    own: Array
    """(n, n) mm^2, covariance of the differences without the photo's common errors."""
    prior: Array
    """(2, 2) covariance of scale and rim, if the photo's statement of its doubts is right."""

    @property
    def groups(self) -> list[tuple[int, int, What]]:
        """Photo, ring and length of each reading."""
        return [(r.photo, r.ring, r.what) for r in self.readings]


def tabulate(
    shots: Sequence[Shot],
    readings: Sequence[Reading],
    caliper: Caliper,
    *,
    trusting: bool = True,
) -> Table:
    """Put readings beside what the photos say of the same lengths.

    Parameters
    ----------
    readings : of measured rings, at least one
    trusting : take repeats at right angles as they are, and learn the hand's scatter from them;
        otherwise each reading stands for itself, as is wanted while some of them may be slips

    Raises
    ------
    ValueError
        If a reading's ring does not exist or carries no numbers.
    """
    if not readings:
        raise ValueError("no readings to compare")
    rings = tuple(_ring_of(shots, reading) for reading in readings)
    photo = np.array([quantity_of(n, r.what).value for n, r in zip(rings, readings, strict=True)])
    read = np.array([r.value_mm for r in readings])
    shift = np.array([caliper.shift_mm(r.what, p) for r, p in zip(readings, photo, strict=True)])
    design = np.stack([photo, np.array([float(r.what.rim) for r in readings])], axis=1)
    table = Table(
        readings=tuple(readings),
        rings=rings,
        photo_mm=photo,
        difference_mm=read - shift - photo,
        design=design,
        own=np.zeros((len(read), len(read))),
        prior=_prior(readings, rings),
    )
    own = _photo_part(table) + _caliper_part(table, caliper) + _hand_part(table, caliper, trusting)
    return replace(table, own=own)


def common_causes(quantity: Quantity) -> dict[str, float]:
    """Causes that all rings of a photo share, in proportion to their size."""
    apart = OWN_CAUSES | PLACE_CAUSES
    return {cause: part for cause, part in quantity.parts.items() if cause not in apart}


def _ring_of(shots: Sequence[Shot], reading: Reading) -> Ring:
    for ring in shots[reading.photo].measured:
        if ring.number == reading.ring:
            return ring
    raise ValueError(f"photo {reading.photo} has no measured ring {reading.ring}")


def _prior(readings: Sequence[Reading], rings: Sequence[Ring]) -> Array:
    """Covariance (2, 2) of scale and rim by the photo's own budget."""
    seen = {(r.photo, r.ring): ring for r, ring in zip(readings, rings, strict=True)}
    od = [quantity_of(ring, What.OD) for ring in seen.values()]
    scales = [_root(common_causes(quantity).values()) / quantity.value for quantity in od]
    rims = [_rim_variance(quantity_of(ring, What.WIRE)) for ring in seen.values()]
    return np.diag([np.median(scales) ** 2, np.median(rims)])


def _rim_variance(wire: Quantity) -> float:
    """What of a wire's variance its metal and light cause; all that several photos left of it."""
    share = 1.0 if APART in wire.parts else RIM_SHARE
    return share * wire.parts.get(OUTLINE, 0.0) ** 2


def _root(parts: Iterable[float]) -> float:
    return float(np.sqrt(sum(part * part for part in parts)))


def _photo_part(table: Table) -> Array:
    """Covariance (n, n) that readings of one ring share because it is the same ring."""
    rim = table.prior[1, 1]
    by_ring = np.stack([_own_of(ring, rim) for ring in table.rings])
    made_of = np.array([(r.what.wires, r.what.ods) for r in table.readings], dtype=float)
    same = _same([(r.photo, r.ring) for r in table.readings])
    part: Array = same * np.einsum("ia,iab,jb->ij", made_of, by_ring, made_of)
    return part


def _own_of(ring: Ring, rim_variance: float) -> Array:
    """Covariance (2, 2) of a ring's wire and OD by what it does not share with the others.

    The three variances of wire, OD and ID = OD - 2 wire hold the covariance of the first two.
    """
    wire, od, inside = (quantity_of(ring, what).parts for what in (What.WIRE, What.OD, What.ID))
    own: Array = np.zeros((2, 2))
    for cause in wire.keys() | od.keys():
        if cause in OWN_CAUSES:
            u_wire, u_od, u_in = (part.get(cause, 0.0) for part in (wire, od, inside))
            joint = (u_od**2 + 4.0 * u_wire**2 - u_in**2) / 4.0
            own += np.array([[u_wire**2, joint], [joint, u_od**2]])
        elif cause in PLACE_CAUSES:
            both = np.array([wire.get(cause, 0.0), od.get(cause, 0.0)])
            own += np.outer(both, both)
    # The share that all rings have in common counts there; rounding must not make this negative.
    values, vectors = np.linalg.eigh(own - rim_variance)
    positive: Array = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return positive


def _caliper_part(table: Table, caliper: Caliper) -> Array:
    """Covariance (n, n) of readings with the same jaws: their errors are the same error."""
    inside = np.array([r.what is What.ID for r in table.readings])
    u = np.array(
        [
            caliper.u_common_mm(r.what, p)
            for r, p in zip(table.readings, table.photo_mm, strict=True)
        ]
    )
    part: Array = (inside[:, None] == inside[None, :]) * np.outer(u, u)
    return part


def _hand_part(table: Table, caliper: Caliper, trusting: bool) -> Array:
    """Covariance (n, n) of single readings: the hand, the direction on an oval ring, the step."""
    groups = table.groups
    same = _same(groups)
    many = same.sum(axis=1) > 1
    hand = _hand_variance(table, caliper) if trusting else caliper.repeat_mm**2
    oval = np.array(
        [
            0.0 if reading.what is What.WIRE else _oval_u(ring) ** 2
            for reading, ring in zip(table.readings, table.rings, strict=True)
        ]
    )
    if trusting:
        oval = np.where(many, 0.0, oval)
    # A step rounds the same length the same way each time: repeats do not average it out.
    steps = np.array([reading.step_mm for reading in table.readings])
    part: Array = np.diag(hand + oval) + same * np.outer(steps, steps) / 12.0
    return part


def _hand_variance(table: Table, caliper: Caliper) -> float:
    """What is expected of a hand, corrected by the scatter of repeated readings of wires.

    Repeats on the ring's diameters also hold its ovality, so they do not count here.
    """
    scatter, freedom = 0.0, 0
    groups = table.groups
    for group in set(groups):
        values = [r.value_mm for r, g in zip(table.readings, groups, strict=True) if g == group]
        if group[2] is What.WIRE and len(values) > 1:
            scatter += float(np.sum((np.array(values) - np.mean(values)) ** 2))
            freedom += len(values) - 1
    weight = caliper.repeat_weight
    return (weight * caliper.repeat_mm**2 + scatter) / (weight + freedom)


def _oval_u(ring: Ring) -> float:
    """Standard deviation (mm) of an oval ring's diameter over its directions."""
    return (ring.ovality or 0.0) * quantity_of(ring, What.ID).value / math.sqrt(8.0)


def _same(keys: Sequence[object]) -> Array:
    """1 where two readings have the same key, else 0; (n, n)."""
    numbers: dict[object, int] = {}
    codes = np.array([numbers.setdefault(key, len(numbers)) for key in keys])
    same: Array = (codes[:, None] == codes[None, :]).astype(float)
    return same
