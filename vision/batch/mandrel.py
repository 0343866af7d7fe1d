"""Spring-back: how much larger rings are than the mandrel they were wound on, and what follows.

Bent far beyond its yield, a wire carries the same moment whatever the radius, so on release its
curvature falls by the same amount on every mandrel: `1 / R_wound - 1 / R_free = c`, R to the middle
of the wire. For a sheet of thickness t that is Gardiner's formula `R_i / R_f = 4 x^3 - 3 x + 1`,
`x = R_i Y / (E t)`, without its cube: `c = 3 Y / (E t)`; for round wire `c = 3.4 Y / (E d)`. Wire
that hardens carries more moment the tighter it is wound: then c falls with the radius as `R^-n`, n
from 0 (no hardening) to about 0.5 (soft copper). One mandrel cannot tell n, several do.

References
----------
.. [1] F. J. Gardiner, "The spring back of metals", Trans. ASME 79 (1957), 1-9; the formula stands
   in handbooks of sheet bending, also as Gardner's.
.. [2] S. Kalpakjian, S. R. Schmid, "Manufacturing Engineering and Technology", bending of sheet.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from vision.batch.groups import part_sizes
from vision.batch.lot import report
from vision.batch.sample import Batch, Sample, expanded
from vision.batch.spread import student
from vision.errors import VisionError

Array = NDArray[np.float64]

U_MANDREL_MM = 0.02 / math.sqrt(3.0)
"""Standard uncertainty of a mandrel read with a caliper: limit of error 0.02 mm (DIN 862)."""

U_HARDENING = 0.5 / math.sqrt(3.0)
"""Standard uncertainty of n before several mandrels tell it: anything up to 0.5."""

WIRE_REL = 0.03
"""Wires that differ by more are not one wire; those of one gauge differ by about 1 %."""

RISK = 0.01
"""Risk of calling honest mandrels contradictory."""

FAR = 1.5
"""Ratio of radii from the measured ones up to which an answer needs no trial coil."""

MOSTLY_ELASTIC = 0.4
"""Share of its curvature that a wire loses from which the neglected cube matters: 2 % of it."""

ROUNDS = 50
"""Steps of the fixed point for a mandrel; each gains a digit or more."""


class MandrelError(VisionError):
    """The rings and the mandrel do not go together."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coil:
    """Rings that were wound on one mandrel."""

    label: str
    batch: Batch
    mandrel_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wound:
    """What one coil says; off-size rings left out."""

    label: str
    rings: int
    off_size: int
    mandrel_mm: float
    wire_mm: float
    id_mm: float
    """Mean of the rings as photographed."""
    id_u95_mm: float
    gap_mm: float | None
    """Mean gap of those whose gap is seen; None where no ring tells."""
    back_mm: float
    """Spring-back: ID of the coil less the mandrel."""
    back_u95_mm: float

    @property
    def ratio(self) -> float:
        """ID of the coil over the mandrel."""
        return 1.0 + self.back_mm / self.mandrel_mm

    @property
    def ratio_u95(self) -> float:
        """Its expanded uncertainty; the mandrel's share of it is in that of the spring-back."""
        return self.back_u95_mm / self.mandrel_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The mandrel for a wanted inside diameter."""

    id_mm: float
    mandrel_mm: float
    u95_mm: float
    far: bool
    """Whether the rings measured are of a size too different to do without a trial coil."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpringBack:
    """How one wire springs back: `c = level - fall ln(R / R0)`, R to the wire's middle, wound."""

    coils: tuple[Wound, ...]
    wire_mm: float
    kerf_mm: float
    level: float
    """Curvature lost, 1/mm, at the middle radius `R0`."""
    fall: float
    """By how much it falls with the logarithm of the radius, 1/mm."""
    covariance: Array
    """(2, 2) of both."""
    radius_mm: float
    """R0."""
    contradictory: bool
    """Whether the coils differ by more than their U and any hardening explain."""

    @property
    def hardening(self) -> float:
        """n, with which c falls as a power of the radius; 0 if one mandrel leaves it open."""
        return self.fall / self.level

    @property
    def hardening_u95(self) -> float:
        """Its expanded uncertainty."""
        return expanded(math.sqrt(self.covariance[1, 1])) / self.level

    @property
    def lost_share(self) -> float:
        """Share of its curvature that the wire loses on release."""
        return self.level * self.radius_mm

    def mandrel_for(self, id_mm: float) -> Choice:
        """Choose the mandrel for a closed ring of this inside diameter.

        Raises
        ------
        MandrelError
            If no mandrel can give it.
        """
        mandrel = self._mandrel(id_mm, self.level, self.fall)
        step = np.sqrt(np.diag(self.covariance))
        slopes = np.array(
            [
                (self._mandrel(id_mm, self.level + d, self.fall + f) - mandrel)
                for d, f in ((0.1 * step[0], 0.0), (0.0, 0.1 * step[1]))
            ]
        ) / (0.1 * step)
        u = math.hypot(math.sqrt(float(slopes @ self.covariance @ slopes)), U_MANDREL_MM)
        radii = [(coil.mandrel_mm + coil.wire_mm) / 2.0 for coil in self.coils]
        radius = (mandrel + self.wire_mm) / 2.0
        far = radius > FAR * max(radii) or radius < min(radii) / FAR
        return Choice(id_mm=id_mm, mandrel_mm=mandrel, u95_mm=expanded(u), far=far)

    def _mandrel(self, id_mm: float, level: float, fall: float) -> float:
        free = (id_mm + self.kerf_mm / math.pi + self.wire_mm) / 2.0
        wound = free
        for _ in range(ROUNDS):
            curvature = 1.0 / free + level - fall * math.log(wound / self.radius_mm)
            if not curvature > 0:
                break
            wound = 1.0 / curvature
        if not (curvature > 0 and 2.0 * wound > self.wire_mm):
            raise MandrelError(
                f"no mandrel gives an ID of {id_mm:g} mm with this wire of {self.wire_mm:.2f} mm",
                hint="the size is too far from the rings that were measured: wind a trial coil",
            )
        return 2.0 * wound - self.wire_mm


def spring_back(coils: Sequence[Coil], kerf_mm: float | None = None) -> SpringBack:
    """Learn from rings and their mandrels how a wire springs back.

    Parameters
    ----------
    coils : of one wire, each of one size; several mandrels tell how the wire hardens
    kerf_mm : width of the saw cut. A ring that is closed after the cut has lost it from its
        circumference, so its ID is smaller by kerf / pi; rings seen with a gap have lost less.
        None: rings to come are cut and closed like those in the photo, and the loss is part of
        what they spring back less.

    Notes
    -----
    Generalized least squares with a prior on n (0, `U_HARDENING`). Errors that coils share, such
    as the print of one sheet, are shared here too. The fraction of a per cent by which a turn of a
    close coil is longer than a flat circle is part of the spring-back.

    Raises
    ------
    MandrelError
        A coil of several sizes, different wires, or rings smaller than their mandrel.
    """
    parts = [_wound(coil, kerf_mm) for coil in coils]
    wounds = [wound for wound, _, _ in parts]
    wires = [wound.wire_mm for wound in wounds]
    if max(wires) > (1.0 + WIRE_REL) * min(wires):
        raise MandrelError(
            f"the coils are not of one wire: {min(wires):.2f} mm and {max(wires):.2f} mm",
            hint="every wire springs back in its own way: ask for one wire at a time",
        )
    wire = float(np.mean(wires))
    wound_radius = np.array([(w.mandrel_mm + wire) / 2.0 for w in wounds])
    free_radius = wound_radius + np.array([w.back_mm for w in wounds]) / 2.0
    lost = 1.0 / wound_radius - 1.0 / free_radius
    # d(lost) / d(ID), d(lost) / d(mandrel); what the wire's own doubt does is far below.
    by_id, by_mandrel = 0.5 / free_radius**2, -0.5 / wound_radius**2
    covariance = _covariance(parts) * np.outer(by_id, by_id)
    covariance += np.diag((by_mandrel * U_MANDREL_MM) ** 2)
    middle = float(np.exp(np.mean(np.log(wound_radius))))
    usual = max(float(np.mean(lost)), 1e-9)
    solved, spread, chi2 = _fitted(
        lost, covariance, np.log(wound_radius / middle), U_HARDENING * usual
    )
    if not solved[0] > 0:
        raise MandrelError(
            "the rings are not larger than their mandrel: there is no spring-back to learn from",
            hint="was it this mandrel? rings closed after a wide saw cut are smaller: give "
            "--kerf-mm",
        )
    several = len(coils) > 1
    return SpringBack(
        coils=tuple(wounds),
        wire_mm=wire,
        kerf_mm=kerf_mm or 0.0,
        level=float(solved[0]),
        fall=float(solved[1]),
        covariance=spread,
        radius_mm=middle,
        contradictory=several and chi2 > float(special.chdtri(len(coils) - 1, RISK)),
    )


def _fitted(
    lost: Array, covariance: Array, log_radius: Array, u_fall: float
) -> tuple[Array, Array, float]:
    """Level and fall (2,), their covariance (2, 2) and chi squared, prior included."""
    design = np.stack([np.ones_like(lost), -log_radius], axis=1)
    weight = np.linalg.inv(covariance)
    information = design.T @ weight @ design + np.diag([0.0, u_fall**-2])
    spread = np.asarray(np.linalg.inv(information), np.float64)
    solved = spread @ design.T @ weight @ lost
    off = lost - design @ solved
    chi2 = float(off @ weight @ off + (solved[1] / u_fall) ** 2)
    return solved, spread, chi2


def _wound(coil: Coil, kerf_mm: float | None) -> tuple[Wound, Sample, float]:
    """Describe a coil; its ID as a sample and the mean's own standard uncertainty beside it."""
    batch = coil.batch
    if len(part_sizes(batch)) > 1:
        raise MandrelError(
            f"{coil.label} holds rings of several sizes, which one mandrel does not make",
            hint="photograph the rings of each mandrel by themselves, and give its size for each",
        )
    found = report(batch).groups[0]
    strays = {id(off.member) for off in found.off_size}
    kept = [k for k, member in enumerate(batch.members) if id(member) not in strays]
    inside, wire = batch.sample("id_mm", kept), found.spread["wire_mm"].mean
    gaps = [gap for k in kept if (gap := batch.members[k].ring.gap_mm) is not None]
    gap = float(np.mean(gaps)) if gaps else None
    regained = 0.0 if kerf_mm is None else (kerf_mm - (gap or 0.0)) / math.pi
    mean, own = float(np.mean(inside.values)), _own_u(inside)
    u_mean = math.hypot(own, *inside.mean_common().values())
    wound = Wound(
        label=coil.label,
        rings=len(kept),
        off_size=len(strays),
        mandrel_mm=coil.mandrel_mm,
        wire_mm=wire,
        id_mm=mean,
        id_u95_mm=expanded(u_mean),
        gap_mm=gap,
        back_mm=mean + regained - coil.mandrel_mm,
        back_u95_mm=expanded(math.hypot(u_mean, U_MANDREL_MM)),
    )
    return wound, inside, own


def _own_u(inside: Sample) -> float:
    """Standard uncertainty of the mean that no other coil shares, widened for few rings."""
    n = len(inside.values)
    least = math.sqrt(float(np.mean(inside.u_private**2)) / n)
    if n == 1:
        return least
    scatter = float(np.std(inside.values, ddof=1)) / math.sqrt(n)
    return max(least, scatter * student(n - 1) / 2.0)


def _covariance(parts: Sequence[tuple[Wound, Sample, float]]) -> Array:
    """Covariance (k, k) of the coils' mean IDs: within a cause errors go together."""
    covariance: Array = np.diag([own**2 for _, _, own in parts])
    for (i, one), (j, two) in itertools.product(enumerate(parts), repeat=2):
        a, b = one[1].mean_common(), two[1].mean_common()
        covariance[i, j] += sum(u * b.get(cause, 0.0) for cause, u in a.items())
    return covariance
