"""`annulet judge`: whether a shipment is what was ordered."""

import math
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.exits import ExitCode
from cli.hints import print_next, print_wrote
from cli.options import AsJson, Force, Metal, ResultFiles
from cli.outputs import write_whole
from cli.problems import UsageProblem
from cli.results import Read, read_results
from vision.photo.file import read_file

if TYPE_CHECKING:
    from vision.batch.judge import Verdict
    from vision.batch.order import Order
    from vision.batch.sample import Batch
    from vision.batch.weight import Count

MOST_BYTES = 1_000_000

REPORT = "verdict.html"
"""The file that --out writes."""

_WEIGHT = re.compile(r"(?P<whole>\d{1,9})(?:[.,](?P<decimals>\d{1,6}))?\s*g?", re.ASCII)


def judge(
    results: ResultFiles,
    order: Annotated[
        Path,
        typer.Option(
            "--order",
            metavar="FILE",
            help="What was ordered, in TOML: see the README. Sizes, tolerances, lot size, risks.",
        ),
    ],
    weight_g: Annotated[
        str | None,
        typer.Option(
            "--weight-g",
            metavar="G",
            help="Weight of all rings without the bag, as the scales show it: counts them.",
        ),
    ] = None,
    metal: Metal = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help=f"Write the report {REPORT} into this folder."),
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Judge a shipment by some of its rings: accept (0), reject (4) or cannot tell (5).

    Take the rings from the bag without choosing. Rings within U of a limit count for neither
    side: only what is proven decides.
    """
    _check_report(out, force=force)
    from cli.show.record import dump
    from cli.show.terminal import print_text, terminal_width
    from cli.show.verdict import verdict_record, verdict_text
    from vision.batch.judge import Decision
    from vision.batch.judge import judge as judge_batch
    from vision.batch.sample import pool

    wanted = _order(order)
    read = read_results(results)
    batch = pool(read.shots)
    verdict = judge_batch(batch, wanted, _count(batch, weight_g, metal))
    if as_json:
        typer.echo(dump(verdict_record(verdict, read.repeats)).encode("utf-8"), nl=False)
    else:
        print_text(verdict_text(verdict, read.repeats, width=terminal_width()))
    if out is not None:
        _write_report(out / REPORT, verdict, read)
    elif not as_json:
        print_next("add --out DIR for a report to open in a browser, print or mail")
    if verdict.decision is not Decision.ACCEPT:
        rejected = verdict.decision is Decision.REJECT
        raise typer.Exit(ExitCode.NO if rejected else ExitCode.CANNOT_TELL)


def _check_report(out: Path | None, *, force: bool) -> None:
    if out is None:
        if force:
            raise UsageProblem(
                "--force is about files, but without --out none are written", hint="add --out DIR"
            )
        return
    if os.path.lexists(out / REPORT) and not force:
        raise UsageProblem(
            f"{out} already holds {REPORT}",
            hint="choose another --out folder, or add --force to overwrite",
        )


def _write_report(path: Path, verdict: "Verdict", read: Read) -> None:
    from datetime import date

    from cli.report.judged import judged_html
    from cli.report.picture import embed_marked

    pictures = embed_marked(read.shots, read.files)
    page = judged_html(verdict, pictures, read.repeats, written=date.today())
    write_whole(path, page.encode("utf-8"))
    print_wrote(f"wrote {path}")
    print_next(f"open {path} in a browser")


def _order(path: Path) -> "Order":
    from vision.batch.order import OrderError, read_order

    try:
        content = read_file(path, MOST_BYTES)
        if len(content) > MOST_BYTES:
            raise OrderError(f"{path} is far too large for an order", hint="give a TOML file")
        text = content.decode("utf-8-sig")
    except FileNotFoundError as error:
        raise UsageProblem(
            f"there is no order file {path}", hint="the README shows what an order looks like"
        ) from error
    except OSError as error:
        raise UsageProblem(f"cannot read {path}: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise OrderError(f"{path} is no text in UTF-8", hint="save it as UTF-8 text") from error
    return read_order(text, file=str(path))


def _count(batch: "Batch", weight: str | None, metal: str | None) -> "Count | None":
    if weight is None and metal is None:
        return None
    if weight is None or metal is None:
        given, lacking = ("--metal", "--weight-g") if weight is None else ("--weight-g", "--metal")
        raise UsageProblem(
            f"{given} without {lacking} says nothing", hint="give both, to count the rings"
        )
    from vision.batch.weight import count_by_weight
    from vision.trade.metals import find_metal

    found = find_metal(metal)
    match = _WEIGHT.fullmatch(weight.strip())
    grams = float(f"{match['whole']}.{match['decimals'] or 0}") if match else math.nan
    if match is None or not grams > 0:
        raise UsageProblem(
            f"--weight-g must be a weight in grams, got {weight!r}", hint="such as 453.6"
        )
    step = 10.0 ** -len(match["decimals"] or "")
    return count_by_weight(batch, found, grams, step)
