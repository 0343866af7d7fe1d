"""The lowest versions that pyproject.toml allows, as pip's constraints: `python -m tests.lowest`.

`.ci/run` installs them and runs the main job with them: a lower bound that nobody tried is a wish.
"""

import re
import tomllib
from pathlib import Path

PYPROJECT = Path(__file__).parents[1] / "pyproject.toml"
TESTED = ("pytest", "hypothesis")
"""Of the extra `dev`, what the tests of the lowest versions need."""
BOUND = re.compile(r"(?P<name>[A-Za-z0-9._-]+)>=(?P<version>[0-9.]+)")


def bounds(pyproject: Path = PYPROJECT) -> dict[str, dict[str, str]]:
    """Lower bound by package, for the run time ("") and for each extra.

    Raises
    ------
    ValueError
        If a requirement is anything but a name and a lower bound.
    """
    project = tomllib.loads(pyproject.read_text(encoding="utf-8"))["project"]
    groups = {"": project["dependencies"], **project["optional-dependencies"]}
    return {extra: dict(map(_bound, wanted)) for extra, wanted in groups.items()}


def _bound(requirement: str) -> tuple[str, str]:
    found = BOUND.fullmatch(requirement)
    if found is None:
        raise ValueError(f"{requirement!r} is not of the form name>=version")
    return found["name"], found["version"]


def main() -> None:
    """Print one constraint a line."""
    known = bounds()
    tested = {name: known["dev"][name] for name in TESTED}
    for name, version in (known[""] | tested).items():
        print(f"{name}=={version}")


if __name__ == "__main__":
    main()
