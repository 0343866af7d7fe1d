"""Weaves as text and as JSON: for an AR, for a batch, for a wire."""

from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from rich.text import Text

from cli.show.numbers import rounded
from cli.words import count, harmless
from vision.batch.lot import Group, Report
from vision.batch.sample import value_of
from vision.trade.order import OrderLine
from vision.trade.packing import packings, wires_through
from vision.trade.weaves import BatchFit, Grip, WantedId, Weave, fit_batch, wanted_id

HEADING, CAUTION, QUIET = "bold", "yellow", "dim"

FROM_MEMORY = "least, usual and most AR are common practice, from memory: link a dozen rings first"

GRIP_ORDER = (Grip.MIDDLE, Grip.SNUG, Grip.LOOSE, Grip.TOO_TIGHT, Grip.TOO_LOOSE)
"""What suits best comes first."""

UNFIT = (Grip.TOO_TIGHT, Grip.TOO_LOOSE)


def ar_text(ar: float, weaves: Sequence[Weave], *, named: bool, width: int) -> Text:
    """Lay out which weaves an AR suits; what does not suit too, if the user `named` it."""
    page = Text()
    page.append(f"AR {ar:g}\n", HEADING)
    _add(page, passing_line(ar), width)
    page.append("\n")
    rows = [(weave, weave.grip(ar), "") for weave in weaves]
    _add_rows(page, ar, rows, head="sits", named=named, width=width)
    page.append("\n")
    _add(page, FROM_MEMORY, width, QUIET)
    return page


def ar_record(ar: float, weaves: Sequence[Weave]) -> dict[str, Any]:
    """List the same for a program; AR has no unit."""
    return {
        "ar": ar,
        "wires_through": passing_record(ar),
        "weaves": [
            weave_record(weave)
            | {"sits": weave.grip(ar).value, "impossible": weave.is_impossible(ar)}
            for weave in weaves
        ],
    }


def batch_text(
    report: Report, weaves: Sequence[Weave], *, named: bool, notes: Sequence[str], width: int
) -> Text:
    """Lay out which weaves the rings of a batch suit, size by size.

    Parameters
    ----------
    named : whether the user named a weave: then every ring that would not do is listed
    notes : what to say of the input
    """
    page = Text()
    if len(report.groups) > 1:
        _add(page, f"{len(report.groups)} sizes of ring: each is answered for itself", width)
        page.append("\n")
    for group in report.groups:
        _add_group(page, group, weaves, named=named, width=width)
    for note in notes:
        _add(page, f"note: {harmless(note)}", width, CAUTION)
    _add(page, FROM_MEMORY, width, QUIET)
    return page


def batch_record(
    report: Report, weaves: Sequence[Weave], *, notes: Sequence[str]
) -> dict[str, Any]:
    """List the same for a program."""
    return {
        "notes": list(notes),
        "sizes": [
            {
                "rings": len(group.members),
                "wire_mm": group.spread["wire_mm"].mean,
                "id_mm": group.spread["id_mm"].mean,
                "ar": group.spread["ar"].mean,
                "ar_u95": group.spread["ar"].mean_u95,
                "ar_sd": group.spread["ar"].sd,
                "wires_through": passing_record(group.spread["ar"].mean),
                "weaves": [_fit_record(group, fit) for fit in _fits(group, weaves)],
            }
            for group in report.groups
        ],
    }


def wanted_text(wanted: WantedId, line: OrderLine, *, width: int) -> Text:
    """Lay out which ID a weave wants of a wire, and the order for it."""
    page = Text()
    weave = wanted.weave
    page.append(f"{weave.name} of {wanted.wire_mm:.2f} mm wire\n", HEADING)
    _add(
        page,
        f"ID {wanted.least_mm:.2f} to {wanted.most_mm:.2f} mm, usual {wanted.usual_mm:.2f} mm "
        f"(AR {weave.least:g} to {weave.most:g}, usual {weave.usual:g})",
        width,
    )
    _add(page, f"nearest 64th to the usual: {wanted.nearest.name}", width)
    _add_bound(page, weave, width, wire_mm=wanted.wire_mm)
    page.append("\n")
    if wanted.stock:
        page.append(f"{'fraction':<10} {'ID mm':>6}  {'AR':>5}  sits\n", HEADING)
    for stock in wanted.stock:
        ar = stock.value_mm / wanted.wire_mm
        page.append(f"{stock.name:<10} {stock.value_mm:6.2f}  {ar:5.2f}  {weave.grip(ar)}\n")
    page.append("\n")
    add_order(page, line, width)
    if weave.grip(line.ar) in UNFIT:
        _add(page, f"caution: AR {line.ar:.2f} is {weave.grip(line.ar)}", width, CAUTION)
    elif line.leaves_window:
        _add(
            page,
            "caution: rings inside these tolerances may leave the weave's window: choose an ID "
            "nearer to its middle",
            width,
            CAUTION,
        )
    _add(page, FROM_MEMORY, width, QUIET)
    return page


def wanted_record(wanted: WantedId, line: OrderLine) -> dict[str, Any]:
    """List the same for a program."""
    return {
        "weave": weave_record(wanted.weave),
        "wire_mm": wanted.wire_mm,
        "id_least_mm": wanted.least_mm,
        "id_usual_mm": wanted.usual_mm,
        "id_most_mm": wanted.most_mm,
        "nearest_fraction": wanted.nearest.name,
        "fractions": [
            {
                "name": stock.name,
                "id_mm": stock.value_mm,
                "ar": stock.value_mm / wanted.wire_mm,
                "sits": wanted.weave.grip(stock.value_mm / wanted.wire_mm).value,
            }
            for stock in wanted.stock
        ],
        "order": order_record(line),
    }


def list_text(weaves: Sequence[Weave], wire_mm: float | None, *, width: int) -> Text:
    """List the weaves with their windows; with a wire, the ID they want of it."""
    page = Text()
    wants = f"ID mm of {wire_mm:.2f} mm wire" if wire_mm is not None else "family"
    _add_head(page, wants)
    for weave in weaves:
        if wire_mm is None:
            _add_weave(page, weave, weave.family)
            continue
        wanted = wanted_id(weave, wire_mm)
        ids = f"{wanted.least_mm:.2f}  {wanted.usual_mm:.2f}  {wanted.most_mm:.2f}"
        _add_weave(page, weave, ids)
    page.append("\n")
    _add(
        page,
        "proved: below this AR the wires that must pass a ring at once do not, however they bend "
        "(circles in a circle); blank where the number of wires is not certain",
        width,
    )
    _add(page, FROM_MEMORY, width, QUIET)
    return page


def list_record(weaves: Sequence[Weave], wire_mm: float | None) -> dict[str, Any]:
    """List the same for a program."""
    rows = []
    for weave in weaves:
        row = weave_record(weave)
        if wire_mm is not None:
            wanted = wanted_id(weave, wire_mm)
            row |= {
                "id_least_mm": wanted.least_mm,
                "id_usual_mm": wanted.usual_mm,
                "id_most_mm": wanted.most_mm,
            }
        rows.append(row)
    return {"wire_mm": wire_mm, "weaves": rows}


def passing_line(ar: float, u95: float = 0.0) -> str:
    """Say how many wires pass a ring at once; both numbers where U leaves it open."""
    passing, at_most = wires_through(max(ar - u95, ar / 2)), wires_through(ar + u95)
    certain, perhaps = passing.possible, at_most.possible
    wires = count(certain, "straight wire")
    if certain == packings()[-1].n:
        wires = f"at least {wires}"
    elif perhaps > certain:
        wires = f"{certain}, perhaps {perhaps} straight wires"
    limit = "never more" if at_most.limit == perhaps else f"never more than {at_most.limit}"
    return f"{wires} of its own thickness pass such a ring at once, {limit}"


def passing_record(ar: float) -> dict[str, int]:
    """List the same for a program."""
    passing = wires_through(ar)
    return {"possible": passing.possible, "never_more_than": passing.limit}


def weave_record(weave: Weave) -> dict[str, Any]:
    """List what is known of a weave."""
    return {
        "name": weave.name,
        "family": weave.family,
        "ar_least": weave.least,
        "ar_usual": weave.usual,
        "ar_most": weave.most,
        "source": "common practice, from memory",
        "wires": weave.wires,
        "ar_proved_least": weave.proved_least,
    }


def add_order(page: Text, line: OrderLine, width: int) -> None:
    """Write the line for the supplier."""
    page.append("to order\n", HEADING)
    _add(page, harmless(line.text), width)
    if line.quantity is not None:
        percent = f"{line.spare_percent:g} %"
        _add(page, f"({line.needed} needed, {percent} spare)", width, QUIET)


def order_record(line: OrderLine) -> dict[str, Any]:
    """List an order for a program."""
    return {
        "text": line.text,
        "wire_mm": line.wire_mm,
        "wire_tolerance_mm": line.wire_tolerance_mm,
        "gauges": [gauge.name for gauge in line.gauges],
        "id_mm": line.id_mm,
        "id_tolerance_mm": line.id_tolerance_mm,
        "id_fraction": line.fraction.name if line.fraction is not None else None,
        "ar": line.ar,
        "metal": line.metal,
        "rings_needed": line.needed,
        "spare_percent": line.spare_percent,
        "rings_to_order": line.quantity,
        "leaves_window": line.leaves_window,
    }


def _add_group(
    page: Text, group: Group, weaves: Sequence[Weave], *, named: bool, width: int
) -> None:
    wire, inside, ar = (group.spread[name] for name in ("wire_mm", "id_mm", "ar"))
    mean, u95 = rounded(ar.mean, ar.mean_u95)
    page.append(
        f"{count(len(group.members), 'ring')}: wire {rounded(wire.mean, wire.mean_u95)[0]} mm, "
        f"ID {rounded(inside.mean, inside.mean_u95)[0]} mm\n",
        HEADING,
    )
    spread = f", sd {ar.sd:.3f}" if ar.sd is not None else ""
    _add(page, f"AR {mean} ± {u95}{spread}, {ar.min:.2f} to {ar.max:.2f}", width)
    if group.off_size:
        strays = {id(off.member) for off in group.off_size}
        _add(page, f"{count(len(strays), 'off-size ring')} left out of these figures", width)
    _add(page, passing_line(ar.mean, ar.mean_u95), width)
    page.append("\n")
    fits = _fits(group, weaves)
    rows = [(fit.weave, fit.grip, _share(fit)) for fit in fits]
    _add_rows(page, ar.mean, rows, head="sits, spread in window", named=named, width=width)
    shown = [fit for fit in fits if named or fit.grip not in UNFIT]
    page.append("\n")
    _add_rings(page, group, shown, width)
    if any(fit.window_part is not None and fit.window_part > 1 for fit in shown):
        _add(page, "above 100 % the rings spread wider than the weave's window", width)


def _add_rings(page: Text, group: Group, fits: Sequence[BatchFit], width: int) -> None:
    """Name the rings that would not do, weaves with the same rings together."""
    by_words: dict[str, list[str]] = {}
    for fit in fits:
        for words in _ring_words(group, fit):
            by_words.setdefault(words, []).append(fit.weave.name)
    for words, names in by_words.items():
        _add(page, f"{words}: {', '.join(names)}", width, CAUTION)
    if by_words:
        page.append("\n")


def _add_rows(
    page: Text,
    ar: float,
    rows: Sequence[tuple[Weave, Grip, str]],
    *,
    head: str,
    named: bool,
    width: int,
) -> None:
    """Write a row a weave, the fittest first; those that do not suit as names only."""
    shown = [row for row in rows if named or row[1] not in UNFIT]
    if shown:
        _add_head(page, head)
    for weave, grip, more in sorted(shown, key=lambda row: GRIP_ORDER.index(row[1])):
        _add_weave(page, weave, f"{_proof(weave, ar) or grip}{more}")
    by_reason: dict[str, list[str]] = {}
    for weave, grip, _ in sorted(rows, key=lambda row: GRIP_ORDER.index(row[1])):
        if not named and grip in UNFIT:
            by_reason.setdefault(_proof(weave, ar) or grip, []).append(weave.name)
    for reason, names in by_reason.items():
        _add(page, f"{reason}: {', '.join(names)}", width, QUIET)


def _share(fit: BatchFit) -> str:
    if fit.window_part is None:
        return ""
    return f", {100 * fit.window_part:.0f} %" if fit.window_part < 10 else ", over 999 %"


def _fits(group: Group, weaves: Sequence[Weave]) -> list[BatchFit]:
    ars = [value_of(member.ring, "ar") for member in group.members]
    spread = group.spread["ar"]
    return [
        fit_batch(
            weave,
            [ar.value for ar in ars],
            [ar.u95 for ar in ars],
            mean=spread.mean,
            sd=spread.sd_rings,
        )
        for weave in weaves
    ]


def _ring_words(group: Group, fit: BatchFit) -> list[str]:
    """Name the rings that would not do."""
    said = (
        (fit.too_tight, "would not close"),
        (fit.perhaps_too_tight, "may not close"),
        (fit.too_loose, "would hang loose"),
    )
    several = len({member.photo for member in group.members}) > 1
    words = []
    for places, what in said:
        if not places:
            continue
        if len(places) == len(group.members):
            words.append(f"all {len(places)} rings {what}")
            continue
        names = []
        for place in places:
            member = group.members[place]
            where = f" in {harmless(member.photo)}" if several else ""
            cell = f" ({harmless(member.ring.cell)})" if member.ring.cell else ""
            names.append(f"{member.ring.number}{cell}{where}")
        words.append(f"{'ring' if len(places) == 1 else 'rings'} {', '.join(names)} {what}")
    return words


def _fit_record(group: Group, fit: BatchFit) -> dict[str, Any]:
    def rings(places: Sequence[int]) -> list[dict[str, Any]]:
        members = [group.members[place] for place in places]
        return [{"photo": m.photo, "number": m.ring.number, "cell": m.ring.cell} for m in members]

    return weave_record(fit.weave) | {
        "sits": fit.grip.value,
        "impossible": fit.impossible,
        "window_part": fit.window_part,
        "too_tight": rings(fit.too_tight),
        "perhaps_too_tight": rings(fit.perhaps_too_tight),
        "too_loose": rings(fit.too_loose),
    }


def _proof(weave: Weave, ar: float) -> str:
    return "cannot be made (proved)" if weave.is_impossible(ar) else ""


def _add_head(page: Text, last: str) -> None:
    page.append(
        f"{'weave':<25} {'least':>5} {'usual':>5} {'most':>5} {'proved':>6}  {last}\n", HEADING
    )


def _add_weave(page: Text, weave: Weave, last: str) -> None:
    proved = "" if weave.proved_least is None else f"{weave.proved_least:.2f}"
    page.append(
        f"{weave.name:<25} {weave.least:5.1f} {weave.usual:5.1f} {weave.most:5.1f} "
        f"{proved:>6}  {last}\n"
    )


def _add_bound(page: Text, weave: Weave, width: int, *, wire_mm: float) -> None:
    if weave.proved_least is None:
        return
    _add(
        page,
        f"proved: {weave.wires} wires at once need AR {weave.proved_least:.2f}, "
        f"ID {weave.proved_least * wire_mm:.2f} mm, at the very least; curved rings need more",
        width,
    )


def _add(page: Text, line: str, width: int, style: str = "") -> None:
    for part in wrap(line, width, subsequent_indent="  ", break_long_words=False):
        page.append(f"{part}\n", style)
