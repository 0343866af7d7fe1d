"""`annulet measure`: every ring in one or many photos."""

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from cli.exits import ExitCode
from cli.hints import print_next, print_wrote
from cli.inputs import collect_photos
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
    Resume,
    SameRings,
    Shape,
    WireProfile,
)
from cli.outputs import REPORT_SUFFIX, OutputFolder, prepare_folder
from cli.problems import UsageProblem, print_bug, print_problem
from cli.reference import read_reference
from cli.words import count

if TYPE_CHECKING:
    from cli.finish import Finish
    from cli.resume import Done
    from vision.batch.read import Shot
    from vision.many import Failure
    from vision.results import Result
    from vision.rings.section import Profile
    from vision.scale.reference import Reference
    from vision.spotcheck.correction import Correction


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
    resume: Resume = False,
    same_rings: SameRings = False,
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
    _check_explain(explain, found, as_json=as_json, together=same_rings)
    if force and out is None:
        raise UsageProblem(
            "--force is about files, but without --out none are written", hint="add --out DIR"
        )
    if resume and out is None:
        raise UsageProblem(
            "--resume goes on with files, but without --out there are none", hint="add --out DIR"
        )
    if same_rings:
        _check_same_rings(found, resume=resume)
    written_of = found[:1] if same_rings else found
    folder = prepare_folder(out, written_of, force=force or resume) if out is not None else None

    from cli.correction import read_correction
    from cli.finish import Finish
    from vision.rings.section import Profile

    wire = Profile(profile.value)
    caliper = read_correction(correction) if correction is not None else None
    if same_rings:
        _measure_together(found, reference, wire, caliper, folder, explain, as_json, jobs)
        return
    done = _find_done(folder, found, reference, wire, caliper, force) if folder and resume else {}
    finish = Finish(correction=caliper, files=folder is not None)
    todo = [photo for photo in found if photo not in done]
    results, failures, written = _measure(todo, reference, wire, finish, folder, jobs)

    if as_json:
        _print_json([results.get(photo) or done.get(photo) for photo in found], failures)
    elif explain is not None:
        _print_budget(list(results.values()), explain)
    else:
        _print_tables(results, done)
    if written:
        names = ", ".join(path.name for path in written)
        files = names if len(found) == 1 else count(len(written), "file")
        print_wrote(f"wrote {files} to {out}")
    if done:
        print_wrote(f"{count(len(done), 'photo')} in {out} measured before: kept")
    if results and not as_json and explain is None:
        print_next(_next_step(written, out))
    if failures:
        _print_failures(failures, of=len(found))
        raise typer.Exit(worst_code(failures))


def _measure_together(
    photos: list[Path],
    reference: "Reference",
    profile: "Profile",
    correction: "Correction | None",
    folder: OutputFolder | None,
    explain: str | None,
    as_json: bool,
    jobs: int | None,
) -> None:
    """Measure photos of the same rings, combine them, and show and write the one result."""
    from cli.same_rings import contents_of, measure_same_rings
    from cli.show.record import json_text
    from cli.show.same_rings import same_rings_text
    from cli.show.terminal import print_text, terminal_width
    from vision.batch.read import shot_of
    from vision.together.combine import combine

    results, failures = measure_same_rings(photos, reference, profile, correction, jobs)
    if len(results) > 1:
        whole = combine(list(results.values()))
        written = []
        if folder is not None:
            written = folder.write(photos[0], contents_of(next(iter(results)), whole))
        if as_json:
            typer.echo(json_text(whole.result).encode("utf-8"), nl=False)
        elif explain is not None:
            _print_budget([whole.result], explain)
        else:
            print_text(same_rings_text(whole, width=terminal_width()))
            _print_batch([shot_of(whole.result)], terminal_width())
        if folder is not None:
            print_wrote(f"wrote {', '.join(path.name for path in written)} to {folder.folder}")
        if not as_json and explain is None:
            print_next(_next_step(written, None))
    if failures:
        _print_failures(failures, of=len(photos))
        raise typer.Exit(worst_code(failures))


def _find_done(
    folder: OutputFolder,
    photos: list[Path],
    reference: "Reference",
    profile: "Profile",
    correction: "Correction | None",
    force: bool,
) -> "dict[Path, Done]":
    from cli.resume import find_done
    from vision.pipeline import settings_of
    from vision.spotcheck.correction import correction_record

    folder.clear_parts()
    return find_done(
        folder,
        photos,
        settings=settings_of(reference, profile),
        correction=correction_record(correction) if correction is not None else None,
        force=force,
    )


def _measure(
    photos: list[Path],
    reference: "Reference",
    profile: "Profile",
    finish: "Finish",
    folder: OutputFolder | None,
    jobs: int | None,
) -> "tuple[dict[Path, Result], list[Failure], list[Path]]":
    """Measure photos and write the files of each as it is done; all in the order given."""
    from cli.run import worker_count, workers
    from cli.show.terminal import progress
    from vision.many import Failure, measure_photos

    results: dict[Path, Result] = {}
    failures: dict[Path, Failure] = {}
    written: dict[Path, list[Path]] = {}
    try:
        with (
            workers(jobs or worker_count(len(photos))) as executor,
            progress(len(photos)) as advance,
        ):
            for photo, outcome in measure_photos(
                photos, reference, profile, executor=executor, then=finish
            ):
                if isinstance(outcome, Failure):
                    failures[photo] = outcome
                else:
                    if folder is not None:
                        written[photo] = folder.write(photo, outcome.contents)
                    results[photo] = outcome.result
                advance()
    except KeyboardInterrupt as error:
        if folder is not None:
            error.add_note("add --resume to the same command to measure the photos that are left")
        raise
    return (
        {photo: results[photo] for photo in photos if photo in results},
        [failures[photo] for photo in photos if photo in failures],
        [path for photo in photos for path in written.get(photo, ())],
    )


def _check_same_rings(photos: list[Path], *, resume: bool) -> None:
    """Refuse what cannot go with photos of the same rings, before any measuring."""
    if len(photos) < 2:
        raise UsageProblem(
            f"--same-rings combines several photos, but only {photos[0].name} was given",
            hint="take two or three photos of the same untouched rings: turn the sheet half a "
            "turn, or move the camera or the lamp in between",
        )
    if resume:
        raise UsageProblem(
            "--resume does not go with --same-rings: one result comes of all the photos",
            hint="leave --resume out",
        )


def worst_code(failures: "list[Failure]") -> ExitCode:
    """Pick the exit code of a run in which photos failed: a bug outweighs a bad photo."""
    return ExitCode.BUG if any(failure.is_bug for failure in failures) else ExitCode.INPUT


def _check_explain(
    explain: str | None, found: list[Path], *, as_json: bool, together: bool
) -> None:
    if explain is None:
        return
    number = explain.upper().removeprefix("W")
    if not number.isdecimal() or int(number) < 1:
        raise UsageProblem(
            f"--explain takes the number of a ring, or W1, W2 ... for a wire, not {explain!r}",
            hint="the numbers stand in the table and on the marked photo",
        )
    if as_json:
        raise UsageProblem("--explain prints text, --json only JSON", hint="give one of them")
    if len(found) > 1 and not together:
        raise UsageProblem(
            f"--explain is about one ring in one photo, but {len(found)} photos were given",
            hint="give the photo that holds the ring",
        )


def _next_step(written: list[Path], out: Path | None) -> str:
    reports = [path for path in written if path.suffix == REPORT_SUFFIX]
    if not reports:
        return "add --out DIR for a report with the numbered photo, and for JSON and CSV"
    if len(reports) == 1:
        return f"open {reports[0]} in a browser"
    return (
        f"open the reports in {out} in a browser, or judge them: annulet judge {out} --order FILE"
    )


def _print_json(outcomes: "list[Result | Done | None]", failures: "list[Failure]") -> None:
    """Print one photo as it is, several as a batch with those that failed."""
    from cli.resume import Done
    from cli.show.record import batch_text, dump
    from vision.results import result_record

    there = [
        outcome.record if isinstance(outcome, Done) else result_record(outcome)
        for outcome in outcomes
        if outcome is not None
    ]
    if len(outcomes) > 1:
        failed = [
            {"file": failure.photo.name, "problem": failure.problem, "hint": failure.hint}
            for failure in failures
        ]
        typer.echo(batch_text(there, failed).encode("utf-8"), nl=False)
    elif there:
        typer.echo(dump(there[0]).encode("utf-8"), nl=False)


def _print_budget(results: "list[Result]", name: str) -> None:
    from cli.show.budget import budget_text
    from cli.show.terminal import print_text, terminal_width

    kind = "wire" if name.upper().startswith("W") else "ring"
    number = int(name.upper().removeprefix("W"))
    for result in results:
        there = {one.number: one for one in (result.wires if kind == "wire" else result.rings)}
        if number not in there:
            raise UsageProblem(
                f"there is no {kind} {number} in {result.photo.file}",
                hint=f"its {kind}s are numbered 1 to {max(there)}"
                if there
                else f"it has no {kind}",
            )
        print_text(budget_text(there[number], width=terminal_width(), notes=result.notes))


def _print_tables(results: "dict[Path, Result]", done: "dict[Path, Done]") -> None:
    """Print the rings of each photo just measured, and what all photos say together."""
    from cli.show.table import result_text, total_text
    from cli.show.terminal import print_text, terminal_width
    from vision.batch.read import shot_of

    width = terminal_width()
    for result in results.values():
        print_text(result_text(result, width=width))
    shots = [*(kept.shot for kept in done.values()), *map(shot_of, results.values())]
    if len(shots) > 1:
        print_text(total_text(shots, width=width))
    _print_batch(shots, width)


def _print_batch(shots: "list[Shot]", width: int) -> None:
    """Say what all measured rings say together: their sizes, and which are off size."""
    from cli.results import drop_repeats
    from cli.show.lot import measured_text
    from cli.show.terminal import print_text
    from vision.batch.lot import report
    from vision.batch.sample import pool

    once, repeats = drop_repeats(shots)
    if any(shot.measured for shot in once):
        page = measured_text(report(pool(once)), repeats, width=width)
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
