"""`annulet spotcheck`: a few caliper readings that prove a photo right or wrong."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli.exits import ExitCode
from cli.hints import print_next
from cli.options import AsJson, Force, ResultFiles, positive
from cli.problems import UsageProblem, print_problem
from cli.words import count, harmless

if TYPE_CHECKING:
    from cli.readings import Readings
    from vision.batch.read import Shot
    from vision.spotcheck.caliper import Caliper
    from vision.spotcheck.choose import Pick
    from vision.spotcheck.verdict import Comparison

USUAL_COUNT = 5
"""Rings read by caliper: enough to see 1 % and 0.05 mm with two readings of each length."""


def spotcheck(
    results: ResultFiles,
    number: Annotated[
        int, typer.Option("--count", metavar="N", min=1, max=1000, help="Rings to read.")
    ] = USUAL_COUNT,
    card: Annotated[
        Path | None,
        typer.Option(
            "--card", metavar="FILE", dir_okay=False, help="Write a PDF with blanks to fill in."
        ),
    ] = None,
    readings: Annotated[
        Path | None,
        typer.Option(
            "--readings",
            metavar="FILE",
            help="CSV file with the columns ring, what (wire, od or id) and reading_mm or "
            "reading_in: compare them with the photo.",
        ),
    ] = None,
    enter: Annotated[
        bool,
        typer.Option(
            "--enter",
            help="Type the readings at a prompt; they go to the --readings file, or beside RESULT.",
        ),
    ] = False,
    save: Annotated[
        Path | None,
        typer.Option(
            "--save",
            metavar="FILE",
            dir_okay=False,
            help="Write what the readings correct, for annulet measure --correction FILE.",
        ),
    ] = None,
    light: Annotated[
        str,
        typer.Option(
            "--light", metavar="TEXT", help="With --save: the light, to remind you of it later."
        ),
    ] = "",
    limit_mm: Annotated[
        float | None,
        typer.Option(
            "--limit-mm",
            metavar="MM",
            callback=positive,
            help="Limit of error of the caliper: left out, 0.02, for a digital one in good order; "
            "0.05 for a vernier of twentieths, 0.004 for a micrometer.",
        ),
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Choose rings for the caliper, say how to read them, and compare the readings.

    Without readings it names a few rings and what to expect. With --readings or --enter it says
    whether photo and caliper agree: exit code 0 yes, 4 no, 5 cannot tell yet.
    """
    _check_options(readings, enter, save, light, card, force)

    from cli.results import read_results
    from vision.spotcheck.caliper import Caliper
    from vision.spotcheck.choose import choose_rings, name_groups

    read = read_results(results)
    for repeat in read.repeats:
        typer.echo(harmless(repeat), err=True)
    shots = read.shots
    caliper = Caliper(limit_mm=limit_mm) if limit_mm is not None else Caliper()
    picks = choose_rings(shots, number, group_of=name_groups(shots))
    if card is not None:
        _write_card(card, picks, shots, caliper)
    if readings is None and not enter:
        _show_picks(picks, shots, caliper, results[0], as_json=as_json)
        return
    file = readings or results[0].with_name(f"{results[0].stem}.readings.csv")
    if enter:
        from cli.enter import enter_readings

        if file.exists():
            _check_lines(file, shots)
        zero_mm = enter_readings(file, picks, shots, caliper)
        caliper = Caliper(limit_mm=caliper.limit_mm + abs(zero_mm))
        if not file.exists():
            raise UsageProblem("no reading was typed", hint="type some, then q to end")
    found = _take_readings(file, shots)
    _compare(found, shots, caliper, number, save, light, as_json=as_json)


def _check_options(
    readings: Path | None,
    enter: bool,
    save: Path | None,
    light: str,
    card: Path | None,
    force: bool,
) -> None:
    if save is not None and readings is None and not enter:
        raise UsageProblem(
            "--save is about readings, but none were given", hint="add --readings FILE or --enter"
        )
    if light and save is None:
        raise UsageProblem("--light is kept in the correction file", hint="add --save FILE")
    if force and save is None and card is None:
        raise UsageProblem(
            "--force is about files, but none are written", hint="leave it out, or add --card FILE"
        )
    for path in (save, card):
        if path is not None and os.path.lexists(path) and not force:
            raise UsageProblem(
                f"{path} is already there", hint="choose another name, or add --force to replace it"
            )
    if card is not None and card.suffix.lower() != ".pdf":
        raise UsageProblem(
            f"the card is a PDF, but {card} does not end in .pdf",
            hint=f"write --card {card.stem}.pdf",
        )


def _write_card(
    path: Path, picks: "tuple[Pick, ...]", shots: "tuple[Shot, ...]", caliper: "Caliper"
) -> None:
    from cli.outputs import write_whole
    from cli.show.card import card_pdf

    write_whole(path, card_pdf(picks, shots, caliper))
    typer.echo(harmless(f"wrote {path}: print it at any size"), err=True)


def _show_picks(
    picks: "tuple[Pick, ...]",
    shots: "tuple[Shot, ...]",
    caliper: "Caliper",
    result: Path,
    *,
    as_json: bool,
) -> None:
    from cli.inputs import MARKED_SUFFIX
    from cli.show.record import dump
    from cli.show.spotcheck import picks_record, picks_text
    from cli.show.terminal import print_text, terminal_width

    if as_json:
        typer.echo(dump(picks_record(picks, shots, caliper)), nl=False)
        return
    print_text(picks_text(picks, shots, caliper, width=terminal_width()))
    marked = result.with_suffix(MARKED_SUFFIX)
    if marked.is_file():
        typer.echo(harmless(f"{marked} shows each ring with its number"), err=True)
    print_next("read them and type the readings at --enter, or give a CSV file with --readings")


def _take_readings(file: Path, shots: "tuple[Shot, ...]") -> "Readings":
    """Read the file, which must hold a reading."""
    from vision.spotcheck.verdict import ReadingsError

    found = _check_lines(file, shots)
    if not found.readings:
        raise ReadingsError(
            f"{file} holds no reading", hint="fill in its column reading_mm or reading_in"
        )
    return found


def _check_lines(file: Path, shots: "tuple[Shot, ...]") -> "Readings":
    """Read the file; where a line is wrong, name every such line and stop."""
    from cli.readings import load, parse
    from vision.spotcheck.verdict import ReadingsError

    found = parse(load(file), shots, name=str(file))
    if found.problems:
        for problem in found.problems:
            print_problem(f"{file}, {problem}")
        raise ReadingsError(
            f"nothing was compared: {count(len(found.problems), 'line')} of {file} cannot be used, "
            f"{count(len(found.readings), 'reading')} can",
            hint="correct these lines and run it again; the file is unchanged",
        )
    return found


def _compare(
    found: "Readings",
    shots: "tuple[Shot, ...]",
    caliper: "Caliper",
    number: int,
    save: Path | None,
    light: str,
    *,
    as_json: bool,
) -> None:
    from cli.show.record import dump
    from cli.show.spotcheck import comparison_record, comparison_text, next_text
    from cli.show.terminal import print_text, terminal_width
    from vision.spotcheck.choose import choose_rings, name_groups
    from vision.spotcheck.correction import fit_correction
    from vision.spotcheck.verdict import compare

    comparison = compare(shots, found.readings, caliper)
    fits = comparison.table is not None and not any(shot.corrected for shot in shots)
    correction = fit_correction(shots, comparison, light=light) if fits or save else None
    more: tuple[Pick, ...] = ()
    if comparison.more:
        done = frozenset((r.photo, r.ring) for r in found.readings)
        wanted = max(1, number - len(done))
        more = choose_rings(shots, wanted, group_of=name_groups(shots), without=done)
    if as_json:
        record = comparison_record(comparison, shots, correction, more, caliper)
        typer.echo(dump(record), nl=False)
    else:
        if found.blanks:
            typer.echo(f"left out: {count(found.blanks, 'line')} without a reading", err=True)
        width = terminal_width()
        print_text(comparison_text(comparison, shots, correction, width=width))
        if more:
            print_text(next_text(more, shots, caliper, width=width))
    if save is not None and correction is not None:
        from cli.correction import correction_toml
        from cli.outputs import write_whole

        write_whole(save, correction_toml(correction))
        typer.echo(harmless(f"wrote {save}: {correction.words}"), err=True)
    _end(comparison, hint=fits and save is None and not as_json)


def _end(comparison: "Comparison", *, hint: bool) -> None:
    """End with the verdict's exit code; `hint` says what may be done with the readings."""
    from vision.spotcheck.verdict import Verdict

    if comparison.verdict is Verdict.DISAGREE:
        if hint:
            print_next(
                "--save FILE keeps what the readings correct, for annulet measure --correction FILE"
            )
        raise typer.Exit(ExitCode.NO)
    if comparison.verdict is Verdict.OPEN:
        raise typer.Exit(ExitCode.CANNOT_TELL)
    if hint:
        print_next(
            "--save FILE keeps the readings, which make U smaller for "
            "annulet measure --correction FILE"
        )
