"""`annulet batch`: what several photos of one lot say together."""

import typer

from cli.hints import print_next
from cli.options import AsJson, ResultFiles
from cli.results import read_results


def batch(results: ResultFiles, as_json: AsJson = False) -> None:
    """Pool the photos of one lot: how it spreads, its sizes, and which rings are off size.

    Each photo counts once. The rings of one photo share the error of its scale: more rings make
    the mean no surer than that.
    """
    from cli.show.lot import report_record, report_text
    from cli.show.record import dump
    from cli.show.terminal import print_text, terminal_width
    from vision.batch.lot import report
    from vision.batch.sample import pool

    read = read_results(results)
    found = report(pool(read.shots))
    if as_json:
        typer.echo(dump(report_record(found, read.repeats)).encode("utf-8"), nl=False)
    else:
        print_text(report_text(found, read.repeats, width=terminal_width()))
        print_next("annulet judge RESULT... --order FILE tells whether that is what was ordered")
