"""`annulet compare`: whether two lots may be mixed in one piece."""

from pathlib import Path
from typing import Annotated

import typer

from cli.exits import ExitCode
from cli.hints import print_next
from cli.options import AsJson, positive
from cli.problems import UsageProblem
from cli.results import read_results


def compare(
    a: Annotated[
        Path, typer.Argument(metavar="A", help="Result file of the first lot, or its folder.")
    ],
    b: Annotated[
        Path, typer.Argument(metavar="B", help="Result file of the second lot, or its folder.")
    ],
    tolerance_mm: Annotated[
        float | None,
        typer.Option(
            "--tolerance-mm",
            metavar="MM",
            callback=positive,
            help="Difference of mean wire or ID that does not show; left out, 0.05.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Tell whether two lots may be mixed in one piece: yes (0), no (4) or cannot tell (5).

    Photos with the same coin or sheet share its error, which then cancels; take the same coin.
    """
    from cli.show.comparison import comparison_record, comparison_text
    from cli.show.record import dump
    from cli.show.terminal import print_text, terminal_width
    from vision.batch.compare import TOLERANCE_MM, Answer
    from vision.batch.compare import compare as compare_batches
    from vision.batch.sample import pool

    lots = [read_results([path]) for path in (a, b)]
    photos = [{sha256 for shot in lot.shots for sha256 in shot.photos_sha256} for lot in lots]
    if photos[0] & photos[1]:
        raise UsageProblem(
            f"{a} and {b} hold the same photo", hint="give the results of two different lots"
        )
    batches = [pool(lot.shots) for lot in lots]
    found = compare_batches(batches[0], batches[1], tolerance_mm or TOLERANCE_MM)
    if as_json:
        typer.echo(dump(comparison_record(found, str(a), str(b))).encode("utf-8"), nl=False)
    else:
        print_text(comparison_text(found, str(a), str(b), width=terminal_width()))
        print_next("annulet batch RESULT... names off-size rings of a lot, to pick them out first")
    if found.answer is not Answer.YES:
        no = found.answer is Answer.NO
        raise typer.Exit(ExitCode.NO if no else ExitCode.CANNOT_TELL)
