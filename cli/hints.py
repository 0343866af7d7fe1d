"""What a command says beside its results, on standard error: files written, and the next step."""

from textwrap import wrap

import typer

from cli.words import harmless

NEXT = "next: "


def print_next(step: str) -> None:
    """Say what a person may want to do next."""
    _print(f"{NEXT}{step}", indent=len(NEXT))


def print_wrote(said: str) -> None:
    """Name files that were written."""
    _print(said, indent=2)


def _print(line: str, *, indent: int) -> None:
    from cli.show.terminal import terminal_width

    for part in wrap(
        harmless(line),
        terminal_width(),
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    ):
        typer.echo(part, err=True)
