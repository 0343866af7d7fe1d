"""The program `annulet`: its commands, and the one place where errors become exit codes."""

import errno
import os
import sys
from collections.abc import Callable
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from cli.batch import batch
from cli.coins import coins
from cli.compare import compare
from cli.exits import ExitCode, exit_code_for
from cli.gauge import gauge
from cli.judge import judge
from cli.labels import labels
from cli.mandrel import mandrel
from cli.measure import measure
from cli.plan import plan
from cli.problems import UsageProblem, print_bug, print_problem
from cli.sheet import sheet
from cli.spotcheck import spotcheck
from cli.weave import weave
from cli.words import mute_libraries, prepare_streams
from vision.errors import VisionError


class Commands(TyperGroup):
    """The commands; errors end here, as lines on standard error and an exit code."""

    def invoke(self, ctx: Any) -> Any:
        """Run a command and turn what it raises into an exit code."""
        try:
            answer = super().invoke(ctx)
            sys.stdout.flush()
        except (typer.Exit, typer.Abort, typer.TyperException):
            raise
        except (VisionError, UsageProblem) as error:
            print_problem(str(error), error.hint)
            raise typer.Exit(exit_code_for(error)) from error
        except BrokenPipeError as error:
            # Who reads has seen enough, as in `annulet coins | head -3`.
            _close_stdout()
            raise typer.Exit(ExitCode.DONE) from error
        except KeyboardInterrupt as error:
            print_problem(
                "interrupted; files that were already written are complete",
                " ".join(getattr(error, "__notes__", ())),
            )
            raise typer.Exit(ExitCode.INTERRUPTED) from error
        except Exception as error:
            if isinstance(error, OSError) and error.errno == errno.ENOSPC:
                _close_stdout()
                print_problem(
                    "no space left to write the output", "free some space, or write elsewhere"
                )
                raise typer.Exit(ExitCode.USAGE) from error
            if isinstance(error, OSError) and error.filename is not None:
                print_problem(
                    f"{os.fsdecode(error.filename)}: {error.strerror}",
                    "check the name, and that you may read and write there",
                )
                raise typer.Exit(ExitCode.USAGE) from error
            print_bug(error)
            raise typer.Exit(ExitCode.BUG) from error
        return answer


DASHES = {"ignore_unknown_options": True}
"""For commands whose argument is a number: `-3` is answered by what they accept."""

app = typer.Typer(
    name="annulet",
    cls=Commands,
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _add(command: Callable[..., None], short: str, example: str, **settings: Any) -> None:
    """Add a command: what the list of commands says of it, and the example that ends its help."""
    app.command(short_help=short, epilog=f"Example: annulet {example}", **settings)(command)


_add(
    measure,
    "Measure every ring in one or many photos.",
    "measure tray.jpg --coin eur-1 --out results",
)
_add(sheet, "Write the printable scale sheet, a PDF at exact size.", "sheet --paper a4")
_add(coins, "List the coins that can set the scale, and why others cannot.", "coins")
_add(batch, "Pool the photos of one lot: spread, sizes, off-size rings.", "batch results")
_add(
    judge,
    "Tell whether a shipment is what was ordered.",
    "judge results --order order.toml --out verdict",
)
_add(plan, "Say how many rings of a lot to photograph.", "plan --lot 1000 --max-off 5")
_add(
    compare,
    "Tell whether two lots may be mixed in one piece.",
    "compare monday.json tuesday.json",
)
_add(
    spotcheck,
    "Choose rings for the caliper, and compare its readings.",
    "spotcheck results/tray.json --count 3",
)
_add(
    gauge,
    "Convert a wire size, and check a label against it.",
    'gauge 1.63 --label "16 SWG"',
    context_settings=DASHES,
)
_add(
    weave,
    "Tell which weaves suit some rings, or which rings a weave wants.",
    'weave --name "European 4-in-1" --wire 16swg',
    context_settings=DASHES,
)
_add(
    labels,
    "Propose labels for the bags, and the line to order more.",
    "labels results --metal bronze --out labels.pdf",
)

_add(
    mandrel,
    "Say how a wire springs back, and which mandrel to wind on.",
    "mandrel results --mandrel-mm 6 --wanted-id 6.4",
)


def _print_version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version  # slow, and only wanted here

        typer.echo(f"annulet {version('annulet')}")
        raise typer.Exit


@app.callback()
def annulet(
    show_version: Annotated[
        bool,
        typer.Option(
            "--version", help="Print the version.", callback=_print_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Measure chainmaille jump rings from a photo: inside diameter, wire, aspect ratio.

    Lay the rings flat beside a coin or on the printed sheet, photograph them from above, then
    run: annulet measure PHOTO
    """


def main() -> None:
    """Start the program."""
    # rings and photos are read side by side: threads inside each small product get in their way,
    # and their number would show in the last digits
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    mute_libraries()
    prepare_streams()
    app()


def _close_stdout() -> None:
    """Point standard output nowhere, so that closing it at exit raises nothing."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    main()
