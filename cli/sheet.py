"""`annulet sheet`: writes the printable scale sheet."""

import os
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from cli.hints import print_next, print_wrote
from cli.outputs import write_whole
from cli.problems import UsageProblem


class Paper(StrEnum):
    """Papers that a sheet exists for."""

    A4 = "a4"
    A5 = "a5"
    A6 = "a6"
    LETTER = "letter"


def sheet(
    paper: Annotated[Paper, typer.Option(help="Paper in the printer.")] = Paper.A5,
    out: Annotated[Path, typer.Option(help="File to write.", dir_okay=False)] = Path("sheet.pdf"),
    force: Annotated[bool, typer.Option("--force", help="Replace the file if it exists.")] = False,
) -> None:
    """Write the printable scale sheet, a PDF at exact size.

    Print it at 100 %, never "fit to page", and lay it flat under the rings. Its frame gives each
    photo the scale, the camera's height and tilt and the lens; its cells name each ring's place.
    The same sheet serves on a light pad, and printed on matt grey or coloured paper.
    """
    if os.path.lexists(out) and not force:
        raise UsageProblem(
            f"{out} is already there", hint="choose another --out, or add --force to replace it"
        )
    # Slow to load, and wanted by this command alone.
    from cli.show.sheet import sheet_pdf
    from vision.scale.sheet import sheet_for

    write_whole(out, sheet_pdf(paper))
    made = sheet_for(paper)
    print_wrote(
        f"wrote {out}: {made.title}, landscape. Print at 100 %, not fit to page. The bars along "
        f"two edges should be {made.bar_mm:g} mm between the middles of their end lines: read both "
        "with a caliper and give the readings as --bar-x and --bar-y when you measure."
    )
    print_next("lay rings on the print, photograph it from above, then: annulet measure PHOTO")
