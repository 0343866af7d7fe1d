"""Every command that the README shows is run, and prints what the README says."""

import re
from pathlib import Path

import cv2
import pytest

from tests.readme.session import README, ROOT, alike, differences, lay_out, run, steps

STEPS = steps(README.read_text(encoding="utf-8"))

MOST_PICTURE_BYTES = 300_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return lay_out(tmp_path_factory.mktemp("clone"))


def test_the_readme_shows_commands() -> None:
    shown = " ".join(step.command for step in STEPS)
    for command in ("measure", "judge", "plan", "spotcheck", "gauge", "weave"):
        assert f"annulet {command} " in shown


@pytest.mark.parametrize("step", STEPS, ids=[step.command[:60] for step in STEPS])
def test_a_command_prints_what_the_readme_says(step, folder: Path) -> None:
    # In the README's order: later commands use files of earlier ones.
    assert list(differences(step.output, run(step, folder))) == []


def test_the_comparison_sees_a_changed_word_and_a_changed_number() -> None:
    assert alike("ring 17  1.593 ± 0.030", "ring 17 1.601 ± 0.024")
    assert not alike("ring 17", "ring 18")
    assert not alike("1.593 mm", "1.693 mm")
    assert not alike("14 rings: 14 measured", "14 rings: 13 measured")
    assert not alike("accept", "reject")
    assert not alike("1.593 mm", "1.593 mm, 2.0")


def test_every_file_that_the_readme_links_to_is_there_and_pictures_are_small() -> None:
    text = README.read_text(encoding="utf-8")
    links = re.findall(r"\]\(([^)#:]+)\)", text) + re.findall(r'src="([^":]+)"', text)
    assert len(links) >= 4
    for link in links:
        assert (ROOT / link).is_file(), link
        if link.endswith(".jpg"):
            assert (ROOT / link).stat().st_size <= MOST_PICTURE_BYTES, link
            assert cv2.imread(str(ROOT / link)) is not None
