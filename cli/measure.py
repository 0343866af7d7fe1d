"""`annulet measure`: every ring in one or many photos."""

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from cli.exits import ExitCode
from cli.hints import print_next, print_wrote
from cli.inputs import MARKED_SUFFIX, collect_photos
from cli.options import (
    AsJson,
    BarX,
    BarY,
    CoinName,
    CorrectionFile,
    Dpi,
    Explain,
    Force,
    HeightMm,
    Jobs,
    MmPerPx,
    OnSheet,
    OutFolder,
    Photos,
    Shape,
    WireProfile,
)
from cli.outputs import (
    CSV_SUFFIX,
    JSON_SUFFIX,
    REPORT_SUFFIX,
    OutputFolder,
    prepare_folder,
)
from cli.problems import UsageProblem, print_bug, print_problem
from cli.reference import read_reference
from cli.words import count

if TYPE_CHECKING:
    from collections.abc import Callable

    from cli.run import Failure
    from vision.results import Result


def measure(
    photos: Photos,
    coin: CoinName = None,
    sheet: OnSheet = False,
    mm_per_px: MmPerPx = None,
    dpi: Dpi = None,
    height_mm: HeightMm = None,
    bar_x: BarX = None,
    bar_y: BarY = None,
    profile: WireProfile = Shape.ROUND,
    correction: CorrectionFile = None,
    out: OutFolder = None,
    force: Force = False,
    as_json: AsJson = False,
    explain: Explain = None,
    jobs: Jobs = None,
) -> None:
    """Measure every ring in one or many photos.

    A printed sheet in view gives the scale by itself; otherwise name the coin with --coin, or
    state the scale with --mm-per-px or --dpi.
    """
    reference = read_reference(
        coin=coin,
        sheet=sheet,
        mm_per_px=mm_per_px,
        dpi=dpi,
        height_mm=height_mm,
        bar_x_mm=bar_x,
        bar_y_mm=bar_y,
    )
    found = collect_photos(photos)
    _check_explain(explain, found, as_json=as_json)
    if force and out is None:
        raise UsageProblem(
            "--force is about files, but without --out none are written", hint="add --out DIR"
        )
    folder = prepare_folder(out, found, force=force) if out is not None else None
    correct = _read_correction(correction)

    from cli.run import Failure, run_photos, worker_count
    from cli.show.terminal import progress
    from vision.rings.section import Profile

    wire = Profile(profile.value)
    results: list[Result] = []
    failures: list[Failure] = []
    written: list[Path] = []
    with progress(len(found)) as advance:
        for photo, measured in run_photos(found, reference, jobs or worker_count(len(found)), wire):
            outcome = correct(photo, measured)
            if isinstance(outcome, Failure):
                failures.append(outcome)
            else:
                results.append(outcome)
                if folder is not None:
                    written += _write_outputs(folder, photo, outcome)
            advance()

    if as_json:
        _print_json(results, failures, several=len(found) > 1)
    elif explain is not None:
        _print_budget(results, explain)
    else:
        _print_tables(results)
    if written:
        names = ", ".join(path.name for path in written)
        files = names if len(found) == 1 else count(len(written), "file")
        print_wrote(f"wrote {files} to {out}")
    if results and not as_json and explain is None:
        print_next(_next_step(written, out))
    if failures:
        _print_failures(failures, of=len(found))
        raise typer.Exit(worst_code(failures))


def _read_correction(
    path: Path | None,
) -> "Callable[[Path, Result | Failure], Result | Failure]":
    """Read a correction before any measuring; what comes back corrects a photo's outcome."""
    if path is None:
        return lambda photo, outcome: outcome

    from cli.correction import read_correction
    from cli.run import Failure
    from vision.spotcheck.correction import CorrectionError, apply_correction

    correction = read_correction(path)

    def correct(photo: Path, outcome: "Result | Failure") -> "Result | Failure":
        if isinstance(outcome, Failure):
            return outcome
        try:
            return apply_correction(outcome, correction)
        except CorrectionError as error:
            return Failure(photo=photo, error=error)

    return correct


def worst_code(failures: "list[Failure]") -> ExitCode:
    """Pick the exit code of a run in which photos failed: a bug outweighs a bad photo."""
    return ExitCode.BUG if any(failure.is_bug for failure in failures) else ExitCode.INPUT


def _check_explain(explain: int | None, found: list[Path], *, as_json: bool) -> None:
    if explain is None:
        return
    if as_json:
        raise UsageProblem("--explain prints text, --json only JSON", hint="give one of them")
    if len(found) > 1:
        raise UsageProblem(
            f"--explain is about one ring in one photo, but {len(found)} photos were given",
            hint="give the photo that holds the ring",
        )


def _write_outputs(folder: OutputFolder, photo: Path, result: "Result") -> list[Path]:
    from datetime import date

    from cli.report.measured import measured_html
    from cli.show.marked import marked_jpeg
    from cli.show.record import csv_text, json_text
    from vision.photo.decode import read_photo

    picture = read_photo(photo).bgr
    report = measured_html(result, picture, written=date.today())
    contents = {
        CSV_SUFFIX: csv_text([result]).encode("utf-8"),
        MARKED_SUFFIX: marked_jpeg(picture, result),
        REPORT_SUFFIX: report.encode("utf-8"),
        JSON_SUFFIX: json_text(result).encode("utf-8"),
    }
    return folder.write(photo, contents)


def _next_step(written: list[Path], out: Path | None) -> str:
    reports = [path for path in written if path.suffix == REPORT_SUFFIX]
    if not reports:
        return "add --out DIR for a report with the numbered photo, and for JSON and CSV"
    if len(reports) == 1:
        return f"open {reports[0]} in a browser"
    return (
        f"open the reports in {out} in a browser, or judge them: annulet judge {out} --order FILE"
    )


def _print_json(results: "list[Result]", failures: "list[Failure]", *, several: bool) -> None:
    from cli.show.record import batch_text, json_text

    if several:
        failed = [
            {"file": failure.photo.name, "problem": failure.problem, "hint": failure.hint}
            for failure in failures
        ]
        typer.echo(batch_text(results, failed).encode("utf-8"), nl=False)
    elif results:
        typer.echo(json_text(results[0]).encode("utf-8"), nl=False)


def _print_budget(results: "list[Result]", number: int) -> None:
    from cli.show.budget import budget_text
    from cli.show.terminal import print_text, terminal_width

    for result in results:
        rings = {ring.number: ring for ring in result.rings}
        if number not in rings:
            raise UsageProblem(
                f"there is no ring {number} in {result.photo.file}",
                hint=f"its rings are numbered 1 to {max(rings)}" if rings else "it has no ring",
            )
        print_text(budget_text(rings[number], width=terminal_width(), notes=result.notes))


def _print_tables(results: "list[Result]") -> None:
    from cli.show.table import result_text, total_text
    from cli.show.terminal import print_text, terminal_width

    width = terminal_width()
    for result in results:
        print_text(result_text(result, width=width))
    if len(results) > 1:
        print_text(total_text(results, width=width))
    _print_batch(results, width)


def _print_batch(results: "list[Result]", width: int) -> None:
    """Say what all measured rings say together: their sizes, and which are off size."""
    from cli.results import drop_repeats
    from cli.show.lot import measured_text
    from cli.show.terminal import print_text
    from vision.batch.lot import report
    from vision.batch.read import shot_of
    from vision.batch.sample import pool

    shots, repeats = drop_repeats([shot_of(result) for result in results])
    if any(shot.measured for shot in shots):
        page = measured_text(report(pool(shots)), repeats, width=width)
        if page.plain:
            print_text(page)


def _print_failures(failures: "list[Failure]", of: int) -> None:
    """Name the photos that failed: alone in the usual two lines, among others in a list."""
    if of > 1:
        print_problem(f"{len(failures)} of {count(of, 'photo')} could not be measured")
    for failure in failures:
        where = f" in {failure.photo.name}" if of > 1 else ""
        if failure.is_bug:
            print_bug(failure.error, where)
        elif of > 1:
            print_problem(f"{failure.photo}: {failure.problem}", failure.hint)
        else:
            print_problem(failure.problem, failure.hint)
