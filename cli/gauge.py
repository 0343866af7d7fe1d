"""`annulet gauge`: a size in all its units, and whether a label can be true."""

from typing import Annotated

import typer

from cli.exits import ExitCode
from cli.hints import print_next
from cli.options import AsJson, positive
from cli.problems import UsageProblem


def gauge(
    value: Annotated[
        list[str],
        typer.Argument(
            metavar="VALUE",
            help="1.63, 1.63mm, 0.064in, 1/16in, 16swg, 14awg or 16wm (US steel, W&M).",
        ),
    ],
    label: Annotated[
        str | None,
        typer.Option(
            "--label",
            metavar="TEXT",
            help='What the bag says, such as "12 AWG" or "12 gauge": does VALUE fit it?',
        ),
    ] = None,
    u95_mm: Annotated[
        float | None,
        typer.Option(
            "--u95-mm",
            metavar="MM",
            callback=positive,
            help="Expanded uncertainty of VALUE; left out, 0.02, what a caliper may be off.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Convert a wire size: mm, inches, 64ths and the nearest AWG, SWG and US steel gauge.

    With --label it says whether the label can be true: exit code 0 yes, 4 no, 5 cannot tell.
    """
    from cli.show.gauge import gauge_record, gauge_text
    from cli.show.record import dump
    from cli.show.terminal import print_text, terminal_width
    from vision.trade.sizes import read_label, read_size
    from vision.trade.wire import CALIPER_U95_MM, Fit, check_label, describe_wire

    for word in value:
        if word.startswith("--"):
            raise UsageProblem(f"no such option: {word}", hint="annulet gauge --help lists them")
    size = read_size(" ".join(value))
    u_mm = u95_mm or CALIPER_U95_MM
    wire = describe_wire(size.value_mm, u_mm)
    check = check_label(size.value_mm, read_label(label), u_mm) if label is not None else None
    if as_json:
        typer.echo(dump(gauge_record(size, wire, check, stated=u95_mm is not None)), nl=False)
    else:
        text = gauge_text(size, wire, check, stated=u95_mm is not None, width=terminal_width())
        print_text(text)
        print_next(f"annulet weave --name WEAVE --wire {size.value_mm:.3f} says which ID to order")
    if check is not None and check.fit is not Fit.YES:
        raise typer.Exit(ExitCode.NO if check.fit is Fit.NO else ExitCode.CANNOT_TELL)
