"""What to write on the bag: each size of a batch in the words of the trade."""

from collections import Counter
from dataclasses import dataclass

from vision.batch.lot import Group, Report
from vision.batch.sample import Member
from vision.trade.gauges import Gauge
from vision.trade.order import OrderLine, fraction_of, gauges_of, order_line
from vision.trade.sizes import InchFraction

MAIN_SHARE = 0.8
"""Share of the rings that must have one colour for it to name them all: bright wire mirrors the
room, so some rings of every bag are read as another colour."""

GUESSES = {
    "copper-coloured": "copper, bronze or a plating",
    "brass-coloured": "brass, bronze, gold or a plating",
    "silver-coloured": "aluminium, steel, silver, titanium or another white metal",
    "black": "anodised, blackened or coated",
}
"""What metal a colour may be; common practice, no source, and never more than a guess."""

DYED = "anodised, enamelled or rubber"
"""The guess for any other colour."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BagLabel:
    """The proposal for one size of ring; lengths in mm, expanded uncertainties of the means."""

    group: Group
    wire_mm: float
    wire_u95_mm: float
    id_mm: float
    id_u95_mm: float
    ar: float
    ar_u95: float
    gauges: tuple[Gauge, ...]
    """Gauges that this wire is sold as, nearest first; empty where there is none."""
    fraction: InchFraction | None
    """Fraction of an inch that this ID is sold as; None where there is none."""
    colours: tuple[tuple[str, int], ...]
    """Colours seen and how many rings have each, commonest first; empty where none was told."""

    @property
    def strays(self) -> tuple[Member, ...]:
        """Off-size rings, which do not belong in this bag."""
        return tuple({id(off.member): off.member for off in self.group.off_size}.values())

    @property
    def rings(self) -> int:
        """Measured rings of this size, without the strays."""
        return len(self.group.members) - len(self.strays)

    @property
    def colour(self) -> str | None:
        """The one colour of the rings; None where they differ or none was told."""
        if self.colours and self.colours[0][1] >= MAIN_SHARE * len(self.group.members):
            return self.colours[0][0]
        return None

    @property
    def metal_guess(self) -> str | None:
        """What metal the colour may be: a guess, never a fact."""
        return None if self.colour is None else GUESSES.get(self.colour, DYED)

    @property
    def photos(self) -> tuple[str, ...]:
        """File names of the photos that show these rings."""
        return tuple(dict.fromkeys(member.photo for member in self.group.members))

    def order(self, *, metal: str | None, needed: int | None, spare_percent: float) -> OrderLine:
        """Make the order for more of the same; the metal is what the user says it is."""
        return order_line(
            self.wire_mm,
            self.id_mm,
            wire_u95_mm=self.wire_u95_mm,
            id_u95_mm=self.id_u95_mm,
            metal=metal,
            needed=needed,
            spare_percent=spare_percent,
        )


def propose_labels(report: Report) -> tuple[BagLabel, ...]:
    """Propose a label for each size of a batch, largest group first."""
    return tuple(label_of(group) for group in report.groups)


def label_of(group: Group) -> BagLabel:
    """Propose a label for rings of one size; off-size rings do not shift its numbers."""
    wire, inside, ar = (group.spread[name] for name in ("wire_mm", "id_mm", "ar"))
    seen = Counter(member.ring.colour for member in group.members if member.ring.colour)
    return BagLabel(
        group=group,
        wire_mm=wire.mean,
        wire_u95_mm=wire.mean_u95,
        id_mm=inside.mean,
        id_u95_mm=inside.mean_u95,
        ar=ar.mean,
        ar_u95=ar.mean_u95,
        gauges=gauges_of(wire.mean, wire.mean_u95),
        fraction=fraction_of(inside.mean, inside.mean_u95),
        colours=tuple(seen.most_common()),
    )
