"""`annulet labels`: what to write on the bag, and how to order the same again."""

import os
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from cli.hints import print_next, print_wrote
from cli.options import AsJson, Metal, Rings, SparePercent
from cli.problems import UsageProblem


class LabelPaper(StrEnum):
    """Papers that labels are laid out for."""

    A4 = "a4"
    LETTER = "letter"


def labels(
    results: Annotated[
        list[Path],
        typer.Argument(
            metavar="RESULT", help="Result files that annulet measure wrote, or their folder."
        ),
    ],
    metal: Metal = None,
    rings: Rings = None,
    spare_percent: SparePercent = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Write the labels as a PDF to print.", dir_okay=False
        ),
    ] = None,
    paper: Annotated[LabelPaper, typer.Option(help="Paper of the PDF.")] = LabelPaper.A4,
    force: Annotated[bool, typer.Option("--force", help="Replace the file if it exists.")] = False,
    as_json: AsJson = False,
) -> None:
    """Propose a label for each size of ring in measured photos, and the line to order more.

    A photo shows a colour, not a metal: without --metal the label leaves the metal blank.
    """
    if out is not None and os.path.lexists(out) and not force:
        raise UsageProblem(
            f"{out} is already there", hint="choose another --out, or add --force to replace it"
        )
    from cli.outputs import write_whole
    from cli.results import read_results
    from cli.show.bags import labels_pdf, labels_record, labels_text
    from cli.show.record import dump
    from cli.show.terminal import print_text, terminal_width
    from cli.words import count
    from vision.batch.label import propose_labels
    from vision.batch.lot import report
    from vision.batch.sample import pool
    from vision.trade.order import SPARE_PERCENT

    read = read_results(results)
    batch = pool(read.shots)
    made = propose_labels(report(batch))
    notes = list(read.repeats)
    if batch.unusable:
        notes.append(f"{count(batch.unusable, 'ring')} seen but not measured: not counted here")
    spare = SPARE_PERCENT if spare_percent is None else spare_percent
    orders = [label.order(metal=metal, needed=rings, spare_percent=spare) for label in made]
    if out is not None:
        write_whole(out, labels_pdf(made, metal=metal, paper=paper))
    if as_json:
        typer.echo(dump(labels_record(made, orders, notes=notes)), nl=False)
    else:
        print_text(labels_text(made, orders, notes=notes, width=terminal_width()))
    if out is not None:
        print_wrote(f"wrote {out}: print it at 100 % and cut along the lines")
    elif not as_json:
        print_next("add --out FILE.pdf for labels to print and cut")
