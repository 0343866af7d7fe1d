"""Where the uncertainty of one ring comes from."""

from collections.abc import Sequence
from textwrap import wrap

from rich.text import Text

from cli.show.numbers import rounded, significant
from cli.show.pieces import varies
from cli.words import harmless
from vision.results import AR_NOTE, Quantity, Ring, Wire

HEADING = "bold"
FIRST_WIDTH = 30
OTHER_WIDTH = 10


def budget_text(ring: Ring | Wire, *, width: int, notes: Sequence[str] = ()) -> Text:
    """Lay out the uncertainty budget of a ring or wire: each cause, the sum, U.

    The rows are standard uncertainties (k = 1) in millimetres; independent causes add in
    quadrature (JCGM 100, 5.1.2), and U is twice the sum.
    """
    page = Text()
    quantities = _quantities(ring)
    name = f"ring {ring.number}" if isinstance(ring, Ring) else f"wire {ring.name}"
    if not quantities:
        reasons = "; ".join(map(harmless, ring.reasons)) or "no reason given"
        page.append(f"{name} is unusable and carries no numbers: {reasons}\n")
        return page
    unitless = " (AR: no unit)" if isinstance(ring, Ring) else ""
    page.append(f"{name}: standard uncertainty by cause, in mm{unitless}\n")
    page.append(_row("", list(quantities)), HEADING)
    for cause in _causes(quantities):
        parts = [quantity.parts.get(cause) for quantity in quantities.values()]
        page.append(
            _row(harmless(cause), ["-" if part is None else f"{part:.4f}" for part in parts])
        )
    page.append(
        _row("combined (root of squares)", [f"{q.u:.4f}" for q in quantities.values()]), HEADING
    )
    page.append(
        _row("U = 2 x combined, 95 %", [f"{q.u95:.4f}" for q in quantities.values()]), HEADING
    )
    page.append(_row("value", [rounded(q.value, q.u95)[0] for q in quantities.values()]), HEADING)
    form = (*_form(ring), AR_NOTE) if isinstance(ring, Ring) else _along(ring)
    for said in (_largest(quantities), *(f"note: {note}" for note in notes), *form):
        for line in wrap(harmless(said), width, subsequent_indent="  "):
            page.append(f"{line}\n")
    return page


def _form(ring: Ring) -> list[str]:
    """Ovality, gap and ends, each with its U."""
    lines = []
    if ring.ovality is not None and ring.ovality_u95 is not None:
        across = rounded(100.0 * ring.ovality, 100.0 * ring.ovality_u95)
        lines.append(f"oval by {across[0]} % ± {across[1]} % of the ID (largest less smallest)")
    if ring.gap_mm is not None and ring.gap_u95_mm is not None:
        wide = rounded(ring.gap_mm, ring.gap_u95_mm)
        lines.append(f"gap {wide[0]} mm ± {wide[1]} mm, towards {ring.gap_deg or 0.0:.0f}°")
    if ring.ends_mm is not None and ring.ends_u95_mm is not None:
        apart = rounded(ring.ends_mm, ring.ends_u95_mm)
        lines.append(f"one end lies {apart[0]} mm ± {apart[1]} mm outside the other")
    return lines


def _along(wire: Wire) -> tuple[str, ...]:
    return (f"thickest less thinnest along {wire.length_mm:.0f} mm: {varies(wire)} mm",)


def _quantities(ring: Ring | Wire) -> dict[str, Quantity]:
    if isinstance(ring, Wire):
        return {"wire": ring.wire_mm} if ring.wire_mm is not None else {}
    named = {"wire": ring.wire_mm, "ID": ring.id_mm, "OD": ring.od_mm, "AR": ring.ar}
    return {name: quantity for name, quantity in named.items() if quantity is not None}


def _causes(quantities: dict[str, Quantity]) -> list[str]:
    """Every cause once, in the order in which the quantities name them."""
    return list(dict.fromkeys(cause for q in quantities.values() for cause in q.parts))


def _largest(quantities: dict[str, Quantity]) -> str:
    said = []
    for name, quantity in quantities.items():
        cause, part = max(quantity.parts.items(), key=lambda item: item[1])
        share = 100.0 * (part / quantity.u) ** 2
        said.append(f"{name}: {harmless(cause)} {significant(share)} %")
    return f"largest share of the variance: {', '.join(said)}"


def _row(first: str, others: list[str]) -> str:
    cells = "".join(other.rjust(OTHER_WIDTH) for other in others)
    return f"{first.ljust(FIRST_WIDTH)}{cells}\n"
