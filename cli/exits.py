"""Exit codes: what a script can tell from the end of a command."""

from enum import IntEnum

from cli.problems import UsageProblem
from vision.errors import CoinError, TradeError, VisionError


class ExitCode(IntEnum):
    """How a command ended."""

    DONE = 0
    """Done, or the answer is yes."""
    BUG = 1
    """The program is at fault, not the input."""
    USAGE = 2
    """The command was called wrongly, or cannot write where it was told to."""
    INPUT = 3
    """The input cannot be used: unreadable photo, no reference found, no ring found."""
    NO = 4
    """The answer is no."""
    CANNOT_TELL = 5
    """The answer is open: more rings or a better photo are needed."""
    INTERRUPTED = 130
    """Stopped by the user (Ctrl-C)."""


def exit_code_for(error: VisionError | UsageProblem) -> ExitCode:
    """Tell a wrong call (also a coin or size that does not exist) from input that is no use."""
    wrong_call = isinstance(error, UsageProblem | CoinError | TradeError)
    return ExitCode.USAGE if wrong_call else ExitCode.INPUT
