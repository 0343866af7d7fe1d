"""The terminal: how wide it is, and how text and progress get there."""

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.text import Text

PLAIN_WIDTH = 80
"""Columns where standard output is a file or a pipe."""

PACE_S = 300.0
"""Time left is told from the pace of this many seconds: a large photo takes half a minute."""

NARROWEST = 30
"""Columns below which lines are left to wrap by themselves."""


class _Screen(Console):
    """Standard output; a reader that went away is the program's affair, not rich's."""

    def on_broken_pipe(self) -> None:
        """Pass the error on."""
        raise BrokenPipeError


def terminal_width() -> int:
    """Columns to write for."""
    columns = shutil.get_terminal_size(fallback=(PLAIN_WIDTH, 24)).columns
    if not sys.stdout.isatty() and "COLUMNS" not in os.environ:
        columns = PLAIN_WIDTH
    return max(NARROWEST, columns)


def print_text(text: Text) -> None:
    """Print lines to standard output; in colour only on a terminal and without NO_COLOR."""
    console = _Screen(highlight=False, markup=False, emoji=False, soft_wrap=True)
    console.print(text[:-1] if text.plain.endswith("\n") else text)


@contextmanager
def progress(photos: int) -> Iterator[Callable[[], None]]:
    """Show a bar on standard error where several photos keep a person waiting.

    Yields
    ------
    What to call after each photo.
    """
    if photos < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    columns = (
        TextColumn("measuring"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("photos"),
        TimeRemainingColumn(),
    )
    bar = Progress(
        *columns,
        console=Console(stderr=True),
        redirect_stdout=False,
        transient=True,
        speed_estimate_period=PACE_S,
    )
    with bar:
        task = bar.add_task("photos", total=photos)
        yield lambda: bar.advance(task)
