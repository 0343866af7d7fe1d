"""May two lots be mixed in one piece? Equivalence of their means, with the measurement's doubts."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import special

from vision.batch.groups import part_sizes
from vision.batch.sample import Batch, Sample, u_between
from vision.batch.spread import LEVEL

TOLERANCE_MM = 0.05
"""Difference of means that does not show in a piece: common practice, no source."""

LEAST_RINGS = 3
"""Rings of each lot below which nothing is said."""

MANY = 1e6
"""Degrees of freedom of what is known from elsewhere: as good as infinite."""


class Answer(StrEnum):
    """Whether the lots are alike."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Mean of lot B minus mean of lot A, in the quantity's unit."""

    name: str
    value: float
    u: float
    """Standard uncertainty: scatter of both, and what the measurements do not share."""
    degrees: float
    """Of freedom (Welch-Satterthwaite)."""
    means: tuple[float, float]
    sds: tuple[float | None, float | None]
    shared: bool
    """Whether both lots were measured under one set-up, so that its error cancels."""

    @property
    def u95(self) -> float:
        """Expanded uncertainty at 95 %."""
        return self.u * float(special.stdtrit(self.degrees, (1 + LEVEL) / 2))

    def within(self, tolerance: float, risk: float = 1 - LEVEL) -> Answer:
        """Test equivalence by two one-sided tests, each at `risk`.

        Returns
        -------
        YES if the difference is proven smaller than the tolerance, NO if proven larger (at half
        the risk, as either of two quantities may say so).

        References
        ----------
        .. [1] D. J. Schuirmann, J. Pharmacokinetics and Biopharmaceutics 15 (1987), 657-680.
        """
        to_yes, to_no = special.stdtrit(self.degrees, (1 - risk, 1 - risk / 2)) * self.u
        if abs(self.value) + to_yes < tolerance:
            return Answer.YES
        return Answer.NO if abs(self.value) - to_no > tolerance else Answer.CANNOT_TELL


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The answer for two lots."""

    answer: Answer
    reason: str
    wire: Difference
    inside: Difference
    ar: Difference
    tolerance_mm: float
    """Difference of means that is still alike, for wire and for ID."""


def compare(a: Batch, b: Batch, tolerance_mm: float = TOLERANCE_MM) -> Comparison:
    """Compare two lots by the means of wire and inside diameter.

    Neither lot may be a mixed bag: its mean is the size of none of its rings.
    """
    wire, inside, ar = (
        difference(name, a.sample(name), b.sample(name)) for name in ("wire_mm", "id_mm", "ar")
    )
    answer, reason = _answer(a, b, {"wire": wire, "ID": inside}, tolerance_mm)
    return Comparison(
        answer=answer, reason=reason, wire=wire, inside=inside, ar=ar, tolerance_mm=tolerance_mm
    )


def _answer(
    a: Batch, b: Batch, differences: dict[str, Difference], tolerance_mm: float
) -> tuple[Answer, str]:
    for label, batch in (("A", a), ("B", b)):
        if len(part_sizes(batch)) > 1:
            return Answer.CANNOT_TELL, f"lot {label} is itself a mixed bag: sort it first"
    if min(len(a), len(b)) < LEAST_RINGS:
        return Answer.CANNOT_TELL, f"a lot is not known by fewer than {LEAST_RINGS} rings"
    answers = {label: one.within(tolerance_mm) for label, one in differences.items()}
    different = [label for label, answer in answers.items() if answer is Answer.NO]
    if different:
        verb = "differ" if len(different) > 1 else "differs"
        return Answer.NO, f"{' and '.join(different)} {verb} by more than {tolerance_mm:g} mm"
    unsure = [label for label, answer in answers.items() if answer is Answer.CANNOT_TELL]
    if unsure:
        return (
            Answer.CANNOT_TELL,
            f"{' and '.join(unsure)} may differ by more or by less than {tolerance_mm:g} mm",
        )
    return Answer.YES, f"wire and ID differ by less than {tolerance_mm:g} mm"


def difference(name: str, a: Sample, b: Sample) -> Difference:
    """Take the difference of two means.

    References
    ----------
    .. [1] B. L. Welch, Biometrika 34 (1947), 28-35: degrees of freedom; JCGM 100 (GUM), G.4.1.
    """
    common_a, common_b = a.mean_common(), b.mean_common()
    u_common = u_between(common_a, common_b)
    (square_a, degrees_a), (square_b, degrees_b) = _scatter(a), _scatter(b)
    square = square_a + square_b + u_common**2
    spread = square_a**2 / degrees_a + square_b**2 / degrees_b + u_common**4 / MANY
    return Difference(
        name=name,
        value=float(np.mean(b.values) - np.mean(a.values)),
        u=math.sqrt(square),
        degrees=square**2 / spread,
        means=(float(np.mean(a.values)), float(np.mean(b.values))),
        sds=(_sd(a), _sd(b)),
        shared=bool(common_a.keys() & common_b.keys()),
    )


def _scatter(sample: Sample) -> tuple[float, float]:
    """Variance of the mean from scatter, and its degrees of freedom."""
    n = len(sample.values)
    measuring = float(np.mean(sample.u_private**2))
    if n == 1:
        return measuring, MANY
    return max(float(np.var(sample.values, ddof=1)), measuring) / n, n - 1.0


def _sd(sample: Sample) -> float | None:
    return float(np.std(sample.values, ddof=1)) if len(sample.values) > 1 else None
