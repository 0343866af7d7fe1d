"""The first minute: help that comes at once, an example, completion, a next step, no colours."""

import os
import shlex
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer

from cli.hints import print_next
from cli.main import app
from tests.cli.fakes import photo
from tests.cli.pages import ORDER, tray

ROOT = Path(__file__).parents[2]
GROUP: Any = typer.main.get_command(app)

HELP_SECONDS = 0.4
"""What the project promises for `annulet --help`."""

WIDTH = 80


def start(*arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Start the program as a shell does."""
    here = {name: text for name, text in os.environ.items() if name not in ("NO_COLOR", "COLUMNS")}
    return subprocess.run(
        [sys.executable, "-m", "cli.main", *arguments],
        cwd=ROOT,
        env=here | more,
        capture_output=True,
        text=True,
    )


def test_help_comes_at_once() -> None:
    took = []
    for _ in range(5):
        began = time.perf_counter()
        assert start("--help").returncode == 0
        took.append(time.perf_counter() - began)
    # The quickest of five: others may keep the machine busy.
    assert min(took) < HELP_SECONDS


@pytest.mark.parametrize("name", ["", *GROUP.commands])
def test_help_fits_80_columns_and_cuts_nothing_short(name: str) -> None:
    said = start(*name.split(), "--help").stdout
    assert max(map(len, said.splitlines())) <= WIDTH
    assert "..." not in said.split("Commands:")[-1] or name


@pytest.mark.parametrize("name", GROUP.commands)
def test_every_command_shows_an_example_that_it_understands(name: str) -> None:
    command = GROUP.commands[name]
    assert command.epilog.startswith(f"Example: annulet {name}")
    assert command.epilog in " ".join(start(name, "--help").stdout.split())
    words = shlex.split(command.epilog.removeprefix("Example: annulet"))
    # Parses without starting the command: unknown options and missing arguments raise.
    command.make_context(name, words[1:])


def test_the_shell_completes_commands_and_options() -> None:
    # The protocol that the scripts of --show-completion speak.
    asked = {"_ANNULET_COMPLETE": "complete_bash"}
    code = "import sys; sys.argv[0] = 'annulet'; from cli.main import main; main()"

    def complete(words: str, at: int) -> list[str]:
        here = os.environ | asked | {"COMP_WORDS": words, "COMP_CWORD": str(at)}
        ended = subprocess.run(
            [sys.executable, "-c", code], cwd=ROOT, env=here, capture_output=True, text=True
        )
        return ended.stdout.split()

    assert complete("annulet me", 1) == ["measure"]
    assert complete("annulet measure --co", 2) == ["--coin", "--correction"]
    assert "--install-completion" in start("--help").stdout


@pytest.fixture
def delivery(pipeline, run: Callable, tmp_path: Path) -> Path:
    """A folder with results, a photo and an order."""
    pipeline.answers = {"tray.jpg": tray()}
    photo(tmp_path / "tray.jpg")
    (tmp_path / "order.toml").write_text(ORDER.format(name="bronze"), encoding="utf-8")
    assert run("measure", tmp_path / "tray.jpg", "--out", tmp_path / "a").exit_code == 0
    other = tray("other.jpg")
    pipeline.answers = {"other.jpg": other}
    with photo(tmp_path / "other.jpg").open("ab") as file:
        file.write(b"another file, so another photo")
    assert run("measure", tmp_path / "other.jpg", "--out", tmp_path / "b").exit_code == 0
    pipeline.answers |= {"tray.jpg": tray()}
    return tmp_path


CALLS = {
    "measure": "measure tray.jpg",
    "sheet": "sheet --out sheet.pdf",
    "coins": "coins",
    "batch": "batch a",
    "judge": "judge a --order order.toml",
    "plan": "plan",
    "compare": "compare a b",
    "spotcheck": "spotcheck a",
    "gauge": "gauge 1.63",
    "weave": "weave 3.9",
    "labels": "labels a",
    "mandrel": "mandrel a --mandrel-mm 6",
}


@pytest.mark.parametrize("name", GROUP.commands)
def test_every_command_ends_with_a_next_step_and_fits_80_columns(
    name: str, delivery: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(delivery)
    ended = run(*CALLS[name].split())
    lines = ended.stderr.splitlines()
    assert [line for line in lines if line.startswith("next: ")], ended.stderr
    assert max(map(len, [*lines, *ended.stdout.splitlines()])) <= WIDTH
    assert "\x1b" not in ended.output


@pytest.mark.parametrize("name", [name for name in GROUP.commands if name != "sheet"])
def test_json_stands_alone_on_standard_output(
    name: str, delivery: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    import json

    monkeypatch.chdir(delivery)
    ended = run(*CALLS[name].split(), "--json")
    assert isinstance(json.loads(ended.stdout), dict)
    assert "next:" not in ended.output


def test_the_next_step_starts_on_a_line_of_its_own(
    delivery: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(delivery)
    ended = run("measure", "tray.jpg")
    assert ended.stdout.endswith("\n")
    # As a terminal shows both streams: one after the other.
    assert "\nnext: " in ended.output


def test_the_next_step_after_a_report_is_to_open_it(
    delivery: Path, run: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(delivery)
    one = run("measure", "tray.jpg", "--out", "c")
    assert "next: open c/tray.html in a browser" in one.stderr
    both = run("measure", "tray.jpg", "other.jpg", "--out", "d")
    assert "judge them: annulet judge d --order FILE" in " ".join(both.stderr.split())


def test_hints_wrap_and_steer_no_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    print_next("open \x1b[31m a report whose name is long enough to need a second line")
    said = capsys.readouterr().err
    assert "\x1b" not in said
    assert len(said.splitlines()) == 3
    assert max(map(len, said.splitlines())) <= 40


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminal to look through")
@pytest.mark.parametrize(("settings", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False)])
def test_a_terminal_gets_colours_unless_no_color_is_set(
    settings: dict[str, str], coloured: bool
) -> None:
    # no-color.org: NO_COLOR, when present and not empty, prevents added colour.
    import pty

    reading, writing = pty.openpty()
    here = {name: text for name, text in os.environ.items() if name != "NO_COLOR"}
    here |= {"TERM": "xterm-256color", "COLUMNS": "80"} | settings
    subprocess.run(
        [sys.executable, "-m", "cli.main", "gauge", "1.83", "--label", "12 AWG"],
        cwd=ROOT,
        env=here,
        stdout=writing,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    shown = b""
    try:
        while part := os.read(reading, 65536):
            shown += part
    except OSError:  # the other end is closed: nothing more comes
        pass
    os.close(reading)
    assert b"does not fit" in shown
    colours = [code for code in (b"\x1b[3%d" % n for n in range(8)) if code in shown]
    assert bool(colours) is coloured
