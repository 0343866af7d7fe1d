"""The walls between the library, the user interface and the rest of the environment."""

import ast
import subprocess
import sys
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

IMPORT_ALL = """
import importlib, pkgutil, sys
import {package}
for module in pkgutil.walk_packages({package}.__path__, "{package}."):
    importlib.import_module(module.name)
print(*sorted(name for name in {names!r} if name in sys.modules))
"""


def loaded_by(package: str, *names: str) -> str:
    code = IMPORT_ALL.format(package=package, names=names)
    ended = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return ended.stdout.strip()


def test_the_library_loads_nothing_of_the_user_interface() -> None:
    assert loaded_by("vision", "typer", "rich", "reportlab", "jinja2", "cli") == ""


@pytest.mark.parametrize("package", ["vision", "cli"])
def test_this_project_alone_owns_its_top_level_packages(package: str) -> None:
    assert set(packages_distributions()[package]) == {"annulet"}


@pytest.mark.parametrize("path", sorted((ROOT / "vision").rglob("*.py")), ids=str)
def test_the_library_neither_prints_nor_imports_the_command_line(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("print", "input"), f"{path}:{node.lineno}"
        if isinstance(node, ast.Import):
            assert not {alias.name.split(".")[0] for alias in node.names} & {"cli", "typer", "rich"}
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno} imports relatively"
            assert (node.module or "").split(".")[0] not in ("cli", "typer", "rich")


def test_help_comes_without_loading_what_measures() -> None:
    code = (
        "import sys, cli.main; print(*{'cv2', 'skimage', 'numpy', 'reportlab'} & set(sys.modules))"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert ended.stdout.strip() == ""


def test_the_top_level_holds_nothing_but_what_is_agreed() -> None:
    agreed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "vision",
        "cli",
        "tests",
        "sample_images",
    }
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if tracked.returncode != 0:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in tracked.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= agreed
