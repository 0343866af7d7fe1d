"""How to hold a caliper on a jump ring: short, in order, each at the moment it is needed."""

from collections.abc import Iterable

from cli.show.numbers import significant
from vision.results import Ring
from vision.spotcheck.caliper import CHORD_LEAST_ID_MM, Caliper, What, quantity_of

BEFORE = (
    "Wipe the jaws and close them: no light may show between them. Set zero.",
    "Press lightly and always alike: aluminium and silver dent, and a ring gives way.",
    "If the last digit flickers between two values, write the even one.",
)

AFTER = "Close the jaws again. If they do not show zero, set zero and read all rings again."

WIRE = (
    "Wire: with the flats of the outside jaws, away from the cut and its burr; twice, the second "
    "time turned by a quarter around the wire. Twisted wire: over the ridges. Square wire: flat to "
    "flat, never over the corners. Half-round wire: across its full width."
)

OD = (
    "OD: close the ring first. With the flats of the outside jaws across the middle, the cut not "
    "between them; two directions at right angles. A sprung or oval ring is right in the mean of "
    "both."
)


def inside_words(rings: Iterable[Ring], caliper: Caliper) -> str:
    """Word how to read ID on these rings, with the size of the chord's effect."""
    holes = [quantity_of(ring, What.ID).value for ring in rings]
    wide = [hole for hole in holes if hole >= CHORD_LEAST_ID_MM]
    narrow = [hole for hole in holes if hole < CHORD_LEAST_ID_MM]
    said = []
    if wide:
        said.append(
            "ID: a closed ring, inside jaws, two directions, the largest reading of each. Their "
            f"flats touch along a chord and read up to {_loss(min(wide), caliper)} mm small here; "
            "half of that is allowed for."
        )
    if narrow:
        said.append(
            f"ID below {CHORD_LEAST_ID_MM:g} mm: not with inside jaws, which read up to "
            f"{_loss(min(narrow), caliper)} mm small here; OD less twice the wire is better."
        )
    return " ".join(said)


def steps(rings: Iterable[Ring], caliper: Caliper) -> tuple[str, ...]:
    """All steps for these rings, in order."""
    return (*BEFORE, WIRE, OD, inside_words(rings, caliper), AFTER)


def _loss(hole_mm: float, caliper: Caliper) -> str:
    return significant(caliper.chord_loss_mm(hole_mm))
