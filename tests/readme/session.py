"""The README's blocks of commands, run in order in one folder as a reader would."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"

DECIMALS, DECIMALS_REL = 0.02, 0.03
"""How far a number with a decimal point may be from the README's: other machines round otherwise,
and the uncertainty is calibrated anew now and then."""

WHOLE_REL = 0.01
"""The same for whole numbers: those under 100 must be equal."""

BLOCK = re.compile(r"```\n(\$ .*?)```\n", re.DOTALL)
NUMBER = re.compile(r"\d+\.\d+|\d+")


@dataclass(frozen=True)
class Step:
    """A command of the README, and what it says the command prints."""

    command: str
    output: str


def steps(text: str) -> list[Step]:
    """Every line that starts with `$ `, with the lines up to the next one."""
    found = []
    for block in BLOCK.findall(text):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, output = part.partition("\n")
            found.append(Step(command, output))
    return found


def run(step: Step, folder: Path) -> str:
    """Run a command in the reader's folder; standard output.

    `cat FILE` of a file that is not there means: write this file.
    """
    name = step.command.removeprefix("cat ")
    if step.command.startswith("cat ") and not (folder / name).exists():
        (folder / name).write_text(step.output, encoding="utf-8")
    here = {**os.environ, "COLUMNS": "80", "PYTHONUTF8": "1"}
    here["PATH"] = os.pathsep.join([str(Path(sys.executable).parent), here["PATH"]])
    here.pop("PYTHONPATH", None)
    ended = subprocess.run(
        ["bash", "-c", step.command], cwd=folder, env=here, capture_output=True, text=True
    )
    assert "Traceback" not in ended.stderr, ended.stderr
    assert "error:" not in ended.stderr.lower(), ended.stderr
    return ended.stdout


def lay_out(folder: Path) -> Path:
    """Make a folder look like a clone, as far as commands need it."""
    (folder / "sample_images").symlink_to(ROOT / "sample_images")
    return folder


def differences(shown: str, real: str) -> Iterator[str]:
    """Lines that differ: words must be equal, numbers near."""
    for number, (one, other) in enumerate(
        zip_longest(shown.splitlines(), real.splitlines(), fillvalue=""), 1
    ):
        if not alike(one, other):
            yield f"line {number}\n  README {one}\n  real   {other}"


def alike(shown: str, real: str) -> bool:
    """Whether two lines have the same words in the same order, and numbers that are near."""
    words = [" ".join(NUMBER.sub("#", line).split()) for line in (shown, real)]
    if words[0] != words[1]:
        return False
    return all(
        near(one, other)
        for one, other in zip(NUMBER.findall(shown), NUMBER.findall(real), strict=True)
    )


def near(shown: str, real: str) -> bool:
    """Whether two numbers are the same as far as a README can promise."""
    if "." in shown or "." in real:
        return abs(float(shown) - float(real)) <= max(DECIMALS, DECIMALS_REL * float(real))
    return abs(int(shown) - int(real)) <= WHOLE_REL * int(real)


def renew(text: str, folder: Path) -> str:
    """Run all commands and put what they print into the README's text."""
    for block in BLOCK.findall(text):
        told = []
        for step in steps(f"```\n{block}```\n"):
            real = run(step, folder)
            told.append(f"$ {step.command}\n{real}")
        text = text.replace(block, "".join(told))
    return text
