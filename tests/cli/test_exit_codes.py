"""One test per exit code, and what is said with it."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from cli.exits import ExitCode
from cli.main import Commands
from cli.problems import UsageProblem
from tests.cli.conftest import Pipeline
from tests.cli.fakes import photo
from vision.errors import CoinError, PhotoError, RingsError, ScaleError, VisionError

ROOT = Path(__file__).parent.parent.parent

# The program's contract.
DOCUMENTED = {
    "DONE": 0,
    "BUG": 1,
    "USAGE": 2,
    "INPUT": 3,
    "NO": 4,
    "CANNOT_TELL": 5,
    "INTERRUPTED": 130,
}


def end_with(error: BaseException):
    """Run a command that raises, under the group that the program uses."""
    app = typer.Typer(cls=Commands, rich_markup_mode=None)

    @app.command()
    def fail() -> None:
        raise error

    @app.callback()
    def group() -> None:
        """A group of one."""

    return CliRunner().invoke(app, ["fail"])


def test_the_codes_are_the_documented_ones() -> None:
    assert {code.name: code.value for code in ExitCode} == DOCUMENTED


def test_0_after_a_photo_was_measured(pipeline: Pipeline, run: Callable, tmp_path: Path) -> None:
    assert run("measure", photo(tmp_path / "a.jpg")).exit_code == 0


def test_1_for_a_bug_without_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("ANNULET_DEBUG", raising=False)
    ended = end_with(KeyError("wire"))
    assert ended.exit_code == 1
    assert "annulet has a bug: KeyError: 'wire'" in ended.stderr
    assert "ANNULET_DEBUG=1" in ended.stderr
    assert "Traceback" not in ended.output


def test_a_traceback_comes_only_when_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ANNULET_DEBUG", "1")
    ended = end_with(KeyError("wire"))
    assert ended.exit_code == 1
    assert "Traceback" in ended.stderr


def test_2_for_wrong_usage(run: Callable) -> None:
    for arguments in (("measure",), ("measure", "--nonsense"), ("nonsense",)):
        assert run(*arguments).exit_code == 2
    assert end_with(UsageProblem("no", hint="yes")).exit_code == 2


def test_2_for_a_coin_that_does_not_exist() -> None:
    assert end_with(CoinError("no such coin")).exit_code == 2


@pytest.mark.parametrize("kind", [PhotoError, ScaleError, RingsError, VisionError])
def test_3_for_an_input_that_cannot_be_used(kind: type[VisionError]) -> None:
    ended = end_with(kind("no scale reference found in tray.jpg", hint="lay a coin beside"))
    assert ended.exit_code == 3
    assert ended.stderr.splitlines() == [
        "error: no scale reference found in tray.jpg",
        " hint: lay a coin beside",
    ]
    assert ended.stdout == ""


def test_4_and_5_pass_through_from_a_command() -> None:
    assert end_with(typer.Exit(ExitCode.NO)).exit_code == 4
    assert end_with(typer.Exit(ExitCode.CANNOT_TELL)).exit_code == 5


def test_130_when_interrupted() -> None:
    ended = end_with(KeyboardInterrupt())
    assert ended.exit_code == 130
    assert "interrupted" in ended.stderr
    assert "Traceback" not in ended.output


def test_a_message_cannot_steer_the_terminal() -> None:
    ended = end_with(PhotoError("cannot read \x1b[2Jevil\nerror: forged.jpg"))
    assert "\x1b" not in ended.stderr
    assert len(ended.stderr.splitlines()) == 1


def test_a_reader_that_goes_away_is_no_error() -> None:
    # As in `annulet coins | head -3`: the pipe is closed before anything is written.
    reading, writing = os.pipe()
    os.close(reading)
    ended = subprocess.run(
        [sys.executable, "-m", "cli.main", "coins"],
        cwd=ROOT,
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(writing)
    assert (ended.returncode, ended.stderr) == (0, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full to write to")
def test_2_when_the_output_does_not_fit() -> None:
    with Path("/dev/full").open("w") as full:
        ended = subprocess.run(
            [sys.executable, "-m", "cli.main", "coins"],
            cwd=ROOT,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert ended.returncode == 2
    assert ended.stderr.startswith("error: no space left to write the output")


def test_version_and_help_end_well(run: Callable) -> None:
    assert run("--help").exit_code == 0
    assert "annulet 0." in run("--version").stdout
