"""Help and README keep up with the commands."""

import re
from pathlib import Path
from typing import Any

import pytest
import typer

from cli.exits import ExitCode
from cli.main import app

README = Path(__file__).parent.parent / "README.md"
COMMANDS: dict[str, Any] = typer.main.get_command(app).commands  # type: ignore[attr-defined]

OPTIONS = [
    (name, option)
    for name, command in COMMANDS.items()
    for parameter in command.params
    if parameter.param_type_name == "option"
    for option in parameter.opts
    if option.startswith("--") and option != "--help"
]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name: str) -> None:
    assert len(COMMANDS[name].help or "") > 20


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_help(name: str) -> None:
    for parameter in COMMANDS[name].params:
        assert getattr(parameter, "help", None), f"{name} {parameter.name}"


@pytest.mark.parametrize("name", COMMANDS)
def test_the_readme_mentions_every_command(name: str) -> None:
    assert f"annulet {name}" in README.read_text(encoding="utf-8")


@pytest.mark.parametrize(("name", "option"), OPTIONS)
def test_the_readme_mentions_every_option(name: str, option: str) -> None:
    assert re.search(rf"{option}\b", README.read_text(encoding="utf-8"))


@pytest.mark.parametrize("code", list(ExitCode))
def test_the_readme_lists_every_exit_code(code: ExitCode) -> None:
    assert re.search(rf"`{code.value}`", README.read_text(encoding="utf-8"))
