"""`annulet plan`: how many rings to photograph."""

import math
from typing import Annotated

import typer

from cli.hints import print_next
from cli.options import AsJson

MOST_LOT = 10_000_000


def plan(
    lot: Annotated[
        int | None,
        typer.Option(
            "--lot",
            metavar="N",
            min=2,
            max=MOST_LOT,
            help="Rings in the lot; left out, it is taken as very large.",
        ),
    ] = None,
    max_off: Annotated[
        float,
        typer.Option(
            "--max-off", metavar="P", help="Off-size rings that the lot may hold, in per cent."
        ),
    ] = 5.0,
    confidence: Annotated[
        float,
        typer.Option(
            "--confidence", metavar="C", help="How sure an acceptance must be, in per cent."
        ),
    ] = 95.0,
    as_json: AsJson = False,
) -> None:
    """Say how many rings to photograph, and how many of them may be off size.

    Take the rings from the bag without choosing: stir, then scoop.
    """
    _check("--max-off", max_off, 0.01, 50.0)
    _check("--confidence", confidence, 50.0, 99.99)
    from cli.show.plan import plan_record, plan_text
    from cli.show.record import dump
    from cli.show.terminal import print_text, terminal_width
    from vision.batch.plan import offers

    share, sure = max_off / 100, confidence / 100
    found = offers(lot, share, sure)
    if as_json:
        typer.echo(dump(plan_record(found, lot, share, sure)), nl=False)
    else:
        print_text(plan_text(found, lot, share, sure, width=terminal_width()))
        print_next("photograph them, annulet measure PHOTO... --out DIR, then annulet judge DIR")


def _check(option: str, value: float, least: float, most: float) -> None:
    if not (math.isfinite(value) and least <= value <= most):
        raise typer.BadParameter(f"{option} must be from {least:g} to {most:g}, got {value:g}")
