"""A short form of `python -m tests.fuzz`, and the seeds themselves."""

from pathlib import Path

import pytest

from tests.fuzz.__main__ import damaged, feed
from tests.fuzz.seeds import ring_seeds, seeds
from tests.fuzz.targets import measure, read
from tests.fuzz.watched import Watched

SEVERAL = {"moving.png", "moving.webp", "pages.tif", "moving.gif"}
OTHER = {"moving.gif", "plain.bmp"}


def test_whole_seeds_are_read_but_for_animations_and_other_formats(tmp_path: Path) -> None:
    for name, data in seeds().items():
        path = tmp_path / name
        path.write_bytes(data)
        assert read(path) == ("refused" if name in SEVERAL | OTHER else "read"), name


@pytest.mark.parametrize("name", ring_seeds())
def test_whole_ring_seeds_are_measured(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(ring_seeds()[name])
    assert measure(path) == "measured"


def test_damaged_files_end_in_a_photo_or_a_refusal(tmp_path: Path) -> None:
    ends, faults, _ = feed(read, damaged(seeds(), 300, seed=20261125), tmp_path / "kept")
    assert faults == []
    assert min(ends["read"], ends["refused"]) > 30, ends


def die(path: Path) -> str:
    import os

    os._exit(7)


def hang(path: Path) -> str:
    import time

    time.sleep(100.0)
    return "late"


@pytest.mark.parametrize(("target", "said"), [(die, "died with 7"), (hang, "no answer within 1 s")])
def test_the_watch_notices_death_and_silence(target, said: str) -> None:
    with Watched(target, most_s=1.0) as watched:
        answer = watched.run("a.jpg", b"")
    assert answer.is_fault
    assert said in answer.said
