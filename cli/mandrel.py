"""`annulet mandrel`: how a wire springs back, and which mandrel gives a wanted ring."""

from pathlib import Path
from typing import Annotated

import typer

from cli.hints import print_next
from cli.options import AsJson, ResultFiles
from cli.problems import UsageProblem
from cli.results import read_results
from cli.words import count


def mandrel(
    results: ResultFiles,
    mandrel_mm: Annotated[
        list[float],
        typer.Option(
            "--mandrel-mm",
            metavar="MM",
            help="Diameter of the mandrel that the rings were wound on; once for each RESULT, in "
            "their order, where there were several.",
        ),
    ],
    wanted_id: Annotated[
        list[str] | None,
        typer.Option(
            "--wanted-id",
            metavar="SIZE",
            help="Inside diameter that you want (6.4, 1/4in, ...): says which mandrel gives it; "
            "may be repeated.",
        ),
    ] = None,
    kerf_mm: Annotated[
        float | None,
        typer.Option(
            "--kerf-mm",
            metavar="MM",
            min=0.0,
            max=5.0,
            help="Width of the saw cut, which closing takes from the circumference; left out, "
            "rings to come are cut and closed like those in the photo.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Learn from rings and their mandrel how the wire springs back, and choose mandrels.

    It holds for this wire, in this temper, wound with the same tension. Mandrels of two sizes or
    more tell how the wire hardens and make other sizes surer.
    """
    from cli.show.mandrel import mandrel_record, mandrel_text
    from cli.show.record import dump
    from cli.show.terminal import print_text, terminal_width
    from vision.batch.mandrel import Coil, spring_back
    from vision.batch.sample import pool
    from vision.trade.sizes import read_size

    sizes = _sizes(results, mandrel_mm)
    wanted = [read_size(text) for text in wanted_id or ()]
    if len(sizes) == 1:
        lots = {str(results[0]): read_results(results)}
    else:
        lots = {str(path): read_results([path]) for path in results}
    coils = [
        Coil(label=label, batch=pool(lot.shots), mandrel_mm=size)
        for (label, lot), size in zip(lots.items(), sizes, strict=True)
    ]
    found = spring_back(coils, kerf_mm)
    choices = [found.mandrel_for(size.value_mm) for size in wanted]
    if as_json:
        typer.echo(dump(mandrel_record(found, choices)).encode("utf-8"), nl=False)
    else:
        print_text(mandrel_text(found, choices, width=terminal_width()))
        print_next(
            "wind a short trial coil on it, then annulet measure PHOTO, and annulet mandrel again"
            if wanted
            else "add --wanted-id SIZE to learn which mandrel gives that inside diameter"
        )


def _sizes(results: list[Path], mandrels: list[float]) -> list[float]:
    """One mandrel for all results, or one for each."""
    for size in mandrels:
        if not 0.1 <= size <= 1000.0:
            raise UsageProblem(
                f"--mandrel-mm {size:g} is no mandrel", hint="give its diameter in millimetres"
            )
    if len(mandrels) not in (1, len(results)):
        raise UsageProblem(
            f"{count(len(results), 'result')} but {count(len(mandrels), 'mandrel')}",
            hint="give --mandrel-mm once for all results, or once for each in their order",
        )
    if len(set(results)) < len(results) and len(mandrels) > 1:
        raise UsageProblem("the same result was given twice", hint="give each coil once")
    return mandrels
