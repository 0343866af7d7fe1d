"""What a batch is: its spread, its sizes, and the rings that are off size."""

import math
from dataclasses import dataclass

import numpy as np

from vision.batch.groups import part_sizes
from vision.batch.outliers import generalized_esd
from vision.batch.sample import Batch, Member, Sample, expanded, value_of
from vision.batch.spread import (
    Limits,
    mean_limits,
    own_sd,
    robust_sd,
    sd_limits,
    student,
    tolerance_interval,
)
from vision.results import SUMMARY_NAMES

RISK = 0.01
"""Risk of naming a ring of a batch in which none is off size, for wire and for ID."""

LEAST_TO_JUDGE = 6
"""Fewer rings say nothing about one of them."""

MOST_SHARE = 0.25
"""Share of a batch's rings that may be off size; more than that is a size of its own."""

LEAST_OFF = 0.01
"""Relative deviation worth picking a ring out for: wire of one gauge differs by about 1 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """How one quantity spreads over the rings of one size, in the quantity's unit."""

    n: int
    mean: float
    u_mean: float
    """Standard uncertainty of the mean: scatter, and the doubts that the rings share."""
    u_common: float
    """The shared part of it (scale, print, coin, light): more rings do not make it smaller."""
    mean_limits: Limits | None
    """95 % limits of the mean from the scatter alone; None for one ring, as all below."""
    sd: float | None
    sd_limits: Limits | None
    sd_measuring: float
    """What the measurement of single rings adds to sd (root mean square)."""
    sd_rings: float | None
    """The rings' own spread: sd without the measurement's part."""
    median: float
    robust_sd: float | None
    min: float
    max: float
    tolerance: Limits | None
    """Holds 95 % of all rings of the lot with 95 % confidence, if they spread normally."""

    @property
    def mean_u95(self) -> float:
        """Expanded uncertainty of the mean; the scatter widened by Student's t for few rings."""
        scatter = self.u_mean**2 - self.u_common**2
        t = student(self.n - 1) if self.n > 1 else 2.0
        return math.hypot(t * math.sqrt(max(scatter, 0.0)), expanded(self.u_common))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OffSize:
    """A ring that does not belong to its batch."""

    member: Member
    name: str
    """`wire_mm` or `id_mm`."""
    off_mm: float
    """Its deviation from the median of its size: positive where it is too large."""
    u95_mm: float
    """Of this deviation: what the rings share cancels."""
    robust_distance: float | None
    """Deviation over the robust sd; None where the other rings do not spread."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Group:
    """Rings of one size."""

    members: tuple[Member, ...]
    spread: dict[str, Description]
    """By quantity: `wire_mm`, `id_mm`, `od_mm`, `ar`, without the off-size rings."""
    off_size: tuple[OffSize, ...]
    """Worst first; a ring may be named for wire and for ID."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Report:
    """All that a batch says about itself."""

    batch: Batch
    spread: dict[str, Description]
    """By quantity, over all rings; with several groups the mean and sd mix their sizes."""
    groups: tuple[Group, ...]
    """Largest first; one for a batch of one size."""

    @property
    def off_size(self) -> tuple[OffSize, ...]:
        """The off-size rings of all groups."""
        return tuple(off for group in self.groups for off in group.off_size)


def report(batch: Batch) -> Report:
    """Describe a batch: spread, sizes and off-size rings."""
    return Report(
        batch=batch,
        spread={name: describe(batch.sample(name)) for name in SUMMARY_NAMES},
        groups=tuple(_group(batch, which) for which in part_sizes(batch)),
    )


def describe(sample: Sample) -> Description:
    """Describe one quantity."""
    values, n = sample.values, len(sample.values)
    several = n > 1
    sd = float(np.std(values, ddof=1)) if several else None
    u_common = math.hypot(*sample.mean_common().values())
    scatter = sd / math.sqrt(n) if sd is not None else float(sample.u_private[0])
    # Few equal readings do not prove that there is no scatter.
    least = float(np.sqrt(np.mean(sample.u_private**2) / n))
    return Description(
        n=n,
        mean=float(np.mean(values)),
        u_mean=math.hypot(max(scatter, least), u_common),
        u_common=u_common,
        mean_limits=mean_limits(values) if several else None,
        sd=sd,
        sd_limits=sd_limits(sd, n) if sd is not None else None,
        sd_measuring=float(np.sqrt(np.mean(sample.u_private**2))),
        sd_rings=own_sd(sd, sample.u_private) if sd is not None else None,
        median=float(np.median(values)),
        robust_sd=robust_sd(values) if several else None,
        min=float(np.min(values)),
        max=float(np.max(values)),
        tolerance=tolerance_interval(values) if several else None,
    )


def off_size(sample: Sample) -> dict[int, tuple[float, float, float | None]]:
    """Find values that do not belong to the rest.

    A value is off size if the generalized ESD procedure says so, if it deviates by more than
    `LEAST_OFF`, and by more than its own measurement explains (k = 2).

    Returns
    -------
    By position: deviation from the median, its expanded uncertainty and its robust distance.
    """
    values, n = sample.values, len(sample.values)
    if n < LEAST_TO_JUDGE:
        return {}
    middle, sd = float(np.median(values)), robust_sd(values)
    found = {}
    for index in generalized_esd(values, max(1, int(MOST_SHARE * n)), RISK).outliers:
        off = float(values[index]) - middle
        u95 = expanded(float(sample.u_private[index]))
        if abs(off) > max(LEAST_OFF * middle, u95):
            found[int(index)] = (off, u95, abs(off) / sd if sd > 0 else None)
    return found


def _group(batch: Batch, which: list[int]) -> Group:
    named: list[OffSize] = []
    strays: set[int] = set()
    for name in ("wire_mm", "id_mm"):
        for place, (off, u95, distance) in off_size(batch.sample(name, which)).items():
            strays.add(which[place])
            named.append(
                OffSize(
                    member=batch.members[which[place]],
                    name=name,
                    off_mm=off,
                    u95_mm=u95,
                    robust_distance=distance,
                )
            )
    kept = [index for index in which if index not in strays]
    return Group(
        members=tuple(batch.members[index] for index in which),
        spread={name: describe(batch.sample(name, kept)) for name in SUMMARY_NAMES},
        off_size=tuple(sorted(named, key=_worst_first)),
    )


def _worst_first(off: OffSize) -> float:
    return -abs(off.off_mm) / value_of(off.member.ring, off.name).value
