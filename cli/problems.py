"""What is said on standard error when something goes wrong."""

import os
import traceback

import typer

from cli.words import harmless

DEBUG_VARIABLE = "ANNULET_DEBUG"
"""Set to 1, it shows the traceback of a bug."""


class UsageProblem(Exception):
    """A command that cannot be obeyed as given; `hint` says how to ask instead."""

    def __init__(self, problem: str, *, hint: str = "") -> None:
        super().__init__(problem)
        self.hint = hint


def print_problem(problem: str, hint: str = "") -> None:
    """Say what went wrong and, on a second line, what to do about it."""
    typer.echo(f"error: {harmless(problem)}", err=True)
    if hint:
        typer.echo(f" hint: {harmless(hint)}", err=True)


def print_bug(error: Exception, where: str = "") -> None:
    """Own up to a bug in one line; its traceback only for who asked for it."""
    if os.environ.get(DEBUG_VARIABLE) == "1":
        typer.echo("".join(traceback.format_exception(error)), err=True)
    print_problem(
        f"annulet has a bug{where}: {type(error).__name__}: {error}",
        f"this is not your doing: set {DEBUG_VARIABLE}=1, run it again and report what it prints",
    )
