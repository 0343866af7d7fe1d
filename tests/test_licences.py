"""DEVELOPERS.md names every dependency with its licence, as the installed package states it."""

import re
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest

from tests.lowest import bounds

DEVELOPERS = Path(__file__).parents[1] / "DEVELOPERS.md"
ROW = re.compile(
    r"^\| (?P<name>[\w-]+) \| (?P<use>[\w`, ]+) \| (?P<licence>[\w.-]+) \|", re.MULTILINE
)
SECTION = DEVELOPERS.read_text(encoding="utf-8").split("## Dependencies")[1].split("\n## ")[0]
LISTED = {row["name"]: row for row in ROW.finditer(SECTION) if row["name"] != "package"}
WANTED = [(extra, name) for extra, packages in bounds().items() for name in packages]
FAMILY = {
    "BSD-3-Clause": r"BSD|Redistribution and use in source and binary forms",
    "Apache-2.0": r"Apache",
    "MIT": r"\bMIT\b|Permission is hereby granted, free of charge",
    "MPL-2.0": r"MPL-2\.0|Mozilla Public License",
}
"""How each licence shows in metadata or in the licence's own text."""


@pytest.mark.parametrize(("extra", "name"), WANTED)
def test_every_dependency_is_listed_with_its_use(extra: str, name: str) -> None:
    assert (f"`{extra}`" if extra else "run time") in LISTED[name]["use"]


def test_nothing_else_is_listed() -> None:
    assert set(LISTED) == {name for _, name in WANTED}


@pytest.mark.parametrize("name", sorted({name for _, name in WANTED}))
def test_the_licence_is_the_one_that_the_package_states(name: str) -> None:
    try:
        package = distribution(name)
    except PackageNotFoundError:
        pytest.skip(f"{name} is not installed")
    about = package.metadata
    stated = [about.get("License-Expression") or "", about.get("License") or ""]
    stated += about.get_all("Classifier") or []
    stated += [
        Path(str(package.locate_file(file))).read_text(encoding="utf-8", errors="replace")
        for file in package.files or ()
        if file.name.upper().startswith("LICENSE") and ".dist-info" in str(file)
    ]
    assert re.search(FAMILY[LISTED[name]["licence"]], "\n".join(stated))
