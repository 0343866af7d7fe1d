"""Pieces of wire as text: their sizes, gauges and states."""

from collections.abc import Sequence

from cli.show.numbers import rounded
from vision.results import NearGauge, Status, Wire

HEADINGS = ("wire", "cell", "wire mm", "varies mm", "length", "AWG", "SWG")
NO_GAUGE = "-"


def piece_words(wires: Sequence[Wire]) -> str:
    """Count pieces and those that carry numbers."""
    measured = sum(wire.status is Status.MEASURED for wire in wires)
    pieces = "1 piece" if len(wires) == 1 else f"{len(wires)} pieces"
    return f"{pieces} of wire: {measured} measured, {len(wires) - measured} unusable"


def varies(wire: Wire) -> str:
    """Thickest less thinnest along a piece; what U hides is said to be less than U."""
    variation = wire.variation_mm
    if variation is None:
        return ""
    value, u95 = rounded(variation.value, variation.u95)
    return f"under {u95}" if variation.value <= variation.u95 else f"{value} ± {u95}"


def gauge(near: NearGauge | None, u95_mm: float) -> str:
    """The nearest number, and how far off; marked where it lies within U."""
    if near is None:
        return NO_GAUGE
    number = near.name.split(" ", 1)[1]
    off = "=" if abs(near.off_mm) <= u95_mm else f"{near.off_mm:+.3f}"
    return f"{number} ({off})"
