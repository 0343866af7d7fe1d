"""`annulet weave`: which weaves rings suit, and which rings a weave wants."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.hints import print_next
from cli.options import AsJson, Metal, Rings, SparePercent, positive
from cli.problems import UsageProblem

if TYPE_CHECKING:
    from vision.trade.order import OrderLine
    from vision.trade.weaves import Weave

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)


def weave(
    asked: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="AR|RESULT",
            help="An aspect ratio such as 3.9, or result files (or their folder).",
        ),
    ] = None,
    name: Annotated[
        str | None, typer.Option("--name", metavar="NAME", help="This weave only.")
    ] = None,
    wire: Annotated[
        str | None,
        typer.Option(
            "--wire", metavar="SIZE", help="Which ID to order for this wire (1.63, 16swg, ...)."
        ),
    ] = None,
    inside: Annotated[
        str | None,
        typer.Option("--id", metavar="SIZE", help="With --name and --wire: order this ID instead."),
    ] = None,
    rings: Rings = None,
    length_mm: Annotated[
        float | None,
        typer.Option(
            "--length-mm",
            metavar="MM",
            callback=positive,
            help="Length of the piece, in place of --rings; for weaves with exact arithmetic.",
        ),
    ] = None,
    metal: Metal = None,
    spare_percent: SparePercent = None,
    as_json: AsJson = False,
) -> None:
    """Tell which weaves an AR or a measured batch suits, or which ID a weave wants of a wire.

    Without arguments it lists the weaves. Their AR are common practice, from memory; how many
    wires pass a ring at once is proved.
    """
    from cli.show.terminal import print_text, terminal_width
    from vision.trade.weaves import find_weave, weaves

    for_order = {
        "--id": inside, "--rings": rings, "--length-mm": length_mm, "--metal": metal,
        "--spare-percent": spare_percent,
    }  # fmt: skip
    _check(asked or [], name, wire, for_order)
    chosen = [find_weave(name)] if name is not None else list(weaves())
    if asked:
        text, record = _answer(asked, chosen, named=name is not None)
    elif wire is not None and name is not None:
        text, record = _wanted(
            chosen[0], wire, inside,
            rings=rings, length_mm=length_mm, metal=metal, spare_percent=spare_percent,
        )  # fmt: skip
    else:
        text, record = _listed(chosen, wire)
    if as_json:
        from cli.show.record import dump

        typer.echo(dump({"format": "annulet-weave", "version": 1} | record), nl=False)
    else:
        print_text(text(terminal_width()))
        print_next(_next_step(asked=bool(asked), wanted=wire is not None and name is not None))


def _next_step(*, asked: bool, wanted: bool) -> str:
    if wanted:
        return "when they come: annulet measure PHOTO, and annulet weave RESULT --name WEAVE"
    if asked:
        return "annulet weave --name WEAVE --wire SIZE says which rings to order for one of them"
    return "annulet weave AR tells which of them rings of that aspect ratio suit"


def _check(
    asked: list[str], name: str | None, wire: str | None, for_order: Mapping[str, object]
) -> None:
    for word in asked:
        if word.startswith("--"):
            raise UsageProblem(f"no such option: {word}", hint="annulet weave --help lists them")
    if asked and wire is not None:
        raise UsageProblem(
            f"{asked[0]} and --wire ask two questions",
            hint="give an AR or a result to find weaves, or --name and --wire to find an ID",
        )
    given = [option for option, value in for_order.items() if value is not None]
    if given and (name is None or wire is None):
        raise UsageProblem(
            f"{given[0]} is about an order, which needs a weave and a wire",
            hint="add --name and --wire",
        )
    if for_order["--rings"] is not None and for_order["--length-mm"] is not None:
        raise UsageProblem("--rings and --length-mm both say how many", hint="give one of them")


def _answer(asked: list[str], chosen: "list[Weave]", *, named: bool) -> Any:
    if len(asked) == 1 and _NUMBER.fullmatch(asked[0]):
        from cli.show.weave import ar_record, ar_text
        from vision.trade.packing import check_ar

        ar = float(asked[0].replace(",", "."))
        check_ar(ar)
        return (lambda width: ar_text(ar, chosen, named=named, width=width)), ar_record(ar, chosen)
    for word in asked:
        if not Path(word).exists():
            raise UsageProblem(
                f"{word!r} is neither an aspect ratio nor a file",
                hint="give a number such as 3.9, or a JSON file that annulet measure wrote",
            )
    from cli.results import read_results
    from cli.show.weave import batch_record, batch_text
    from vision.batch.lot import report
    from vision.batch.sample import pool

    read = read_results([Path(word) for word in asked])
    found = report(pool(read.shots))
    notes = list(read.repeats)
    return (
        lambda width: batch_text(found, chosen, named=named, notes=notes, width=width)
    ), batch_record(found, chosen, notes=notes)


def _wanted(
    chosen: "Weave", wire: str, inside: str | None, *,
    rings: int | None, length_mm: float | None, metal: str | None, spare_percent: float | None,
) -> Any:  # fmt: skip
    from cli.show.weave import wanted_record, wanted_text
    from vision.trade.order import SPARE_PERCENT, order_line
    from vision.trade.sizes import read_size
    from vision.trade.weaves import rings_for_length, wanted_id

    wire_mm = read_size(wire).value_mm
    wanted = wanted_id(chosen, wire_mm)
    id_mm = read_size(inside).value_mm if inside is not None else round(wanted.usual_mm, 1)
    if length_mm is not None:
        rings = rings_for_length(chosen, id_mm, wire_mm, length_mm)
    line: OrderLine = order_line(
        wire_mm, id_mm, weave=chosen, metal=metal, needed=rings,
        spare_percent=SPARE_PERCENT if spare_percent is None else spare_percent,
    )  # fmt: skip
    return (lambda width: wanted_text(wanted, line, width=width)), wanted_record(wanted, line)


def _listed(chosen: "list[Weave]", wire: str | None) -> Any:
    from cli.show.weave import list_record, list_text
    from vision.trade.sizes import read_size

    wire_mm = read_size(wire).value_mm if wire is not None else None
    return (lambda width: list_text(chosen, wire_mm, width=width)), list_record(chosen, wire_mm)
