"""Runs that were cut off, and runs that go on: nothing lost, nothing twice, nothing mixed."""

import errno
import json
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Pipeline, pipeline, run
from tests.cli.fakes import photo
from tests.robust.kill import kill_runs

__all__ = ["pipeline", "run"]

COIN = ("--coin", "eur-1")


@pytest.fixture
def tray(tmp_path: Path) -> list[Path]:
    return [photo(tmp_path / f"{name}.jpg") for name in "abc"]


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def asked(pipeline: Pipeline) -> list[str]:
    found = [name for name, _ in pipeline.asked]
    pipeline.asked.clear()
    return found


def test_only_what_is_missing_is_measured(
    pipeline: Pipeline, run: Callable, tray: list[Path]
) -> None:
    out = tray[0].parent / "out"
    assert run("measure", *tray, *COIN, "--out", out).exit_code == 0
    before = {path: path.read_bytes() for path in out.iterdir()}
    (out / "b.html").unlink()
    asked(pipeline)
    ended = run("measure", *tray, *COIN, "--out", out, "--resume")
    assert ended.exit_code == 0, ended.stderr
    assert asked(pipeline) == ["b.jpg"]
    assert {path: path.read_bytes() for path in out.iterdir()} == before
    assert "2 photos" in ended.stderr and "kept" in ended.stderr
    assert "3 photos together" in ended.stdout


def test_json_is_the_same_whether_measured_or_kept(
    pipeline: Pipeline, run: Callable, tray: list[Path]
) -> None:
    out = tray[0].parent / "out"
    whole = run("measure", *tray, *COIN, "--out", out, "--json").stdout
    (out / "a.json").unlink()
    (out / "a.csv").unlink(), (out / "a.html").unlink(), (out / "a.marked.jpg").unlink()
    assert run("measure", *tray, *COIN, "--out", out, "--json", "--resume").stdout == whole
    alone = run("measure", tray[0], *COIN, "--json").stdout
    kept = run("measure", tray[0], *COIN, "--out", out, "--json", "--resume").stdout
    assert kept == alone


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--coin", "usd-0.25"), "coin eur-1 then, usd-0.25 now"),
        (("--mm-per-px", "0.05"), "mm_per_px None then, 0.05 now"),
        ((*COIN, "--profile", "square"), "profile round then, square now"),
    ],
)
def test_other_settings_are_refused_and_named_and_forced_on_demand(
    pipeline: Pipeline, run: Callable, tray: list[Path], options: tuple[str, ...], said: str
) -> None:
    out = tray[0].parent / "out"
    run("measure", *tray, *COIN, "--out", out)
    before = (out / "a.json").read_bytes()
    asked(pipeline)
    ended = run("measure", *tray, *options, "--out", out, "--resume")
    assert ended.exit_code == 2
    assert said in ended.stderr
    assert "--force" in ended.stderr
    assert asked(pipeline) == []
    assert (out / "a.json").read_bytes() == before
    assert run("measure", *tray, *options, "--out", out, "--resume", "--force").exit_code == 0
    assert asked(pipeline) == ["a.jpg", "b.jpg", "c.jpg"]


def test_another_photo_of_the_same_name_is_not_taken_for_done(
    pipeline: Pipeline, run: Callable, tray: list[Path]
) -> None:
    out = tray[0].parent / "out"
    run("measure", *tray, *COIN, "--out", out)
    tray[1].write_bytes(tray[1].read_bytes() + b"more")
    ended = run("measure", *tray, *COIN, "--out", out, "--resume")
    assert ended.exit_code == 2
    assert "another photo that was called b.jpg" in ended.stderr


@pytest.mark.parametrize("content", [b"", b"{}", b'{"format": "annulet-result"}', b"\xff\x00"])
def test_a_file_that_is_not_ours_is_never_replaced(
    pipeline: Pipeline, run: Callable, tray: list[Path], content: bytes
) -> None:
    out = tray[0].parent / "out"
    out.mkdir()
    for name in ("a.json", "b.csv"):
        (out / name).write_bytes(content)
        ended = run("measure", *tray, *COIN, "--out", out, "--resume")
        assert ended.exit_code == 2
        assert "no result file of annulet" in ended.stderr
        assert (out / name).read_bytes() == content
        (out / name).unlink()


def test_what_a_killed_run_had_half_written_is_removed(
    pipeline: Pipeline, run: Callable, tray: list[Path]
) -> None:
    out = tray[0].parent / "out"
    out.mkdir()
    (out / ".annulet-0123456789ab.part").write_bytes(b"half")
    (out / ".mine").write_bytes(b"mine")
    run("measure", *tray, *COIN, "--out", out, "--resume")
    assert {name for name in names(out) if name.startswith(".")} == {".mine"}


def test_resume_without_a_folder_is_wrong_usage(
    pipeline: Pipeline, run: Callable, tray: list[Path]
) -> None:
    ended = run("measure", *tray, *COIN, "--resume")
    assert ended.exit_code == 2
    assert "--out" in ended.stderr


def test_a_disk_that_fills_up_leaves_the_finished_photos_and_nothing_half(
    pipeline: Pipeline, run: Callable, tray: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The seventh file meets a full disk: of the second photo nothing may be there."""
    out = tray[0].parent / "out"
    room = [6]
    real = os.fsync

    def fill(file: int) -> None:
        if not room[0]:
            raise OSError(errno.ENOSPC, "No space left on device")
        room[0] -= 1
        real(file)

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", fill)
        ended = run("measure", *tray, *COIN, "--out", out)
    assert ended.exit_code == 2
    assert "No space left on device" in ended.stderr
    assert names(out) == {"a.json", "a.csv", "a.html", "a.marked.jpg"}
    asked(pipeline)
    assert run("measure", *tray, *COIN, "--out", out, "--resume").exit_code == 0
    assert asked(pipeline) == ["b.jpg", "c.jpg"]


def test_a_full_disk_while_replacing_keeps_the_old_set(
    pipeline: Pipeline, run: Callable, tray: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tray[0].parent / "out"
    run("measure", tray[0], *COIN, "--out", out)
    before = {path: path.read_bytes() for path in out.iterdir()}

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        ended = run("measure", tray[0], "--coin", "usd-0.25", "--out", out, "--force")
    assert ended.exit_code == 2
    assert {path: path.read_bytes() for path in out.iterdir()} == before


def test_ctrl_c_ends_in_130_and_says_how_to_go_on(
    pipeline: Pipeline, run: Callable, tray: list[Path]
) -> None:
    out = tray[0].parent / "out"
    pipeline.answers["b.jpg"] = KeyboardInterrupt()
    ended = run("measure", *tray, *COIN, "--out", out)
    assert ended.exit_code == 130
    assert re.search(r"add --resume", ended.stderr)
    assert names(out) == {"a.json", "a.csv", "a.html", "a.marked.jpg"}
    assert json.loads((out / "a.json").read_bytes())["photo"]["file"] == "a.jpg"


def test_killed_runs_lose_nothing_and_end_in_the_same_bytes(tmp_path: Path) -> None:
    """A short form of `python -m tests.robust.kill`."""
    tally = kill_runs(tmp_path, photos=3, kills=3, seed=3)
    assert tally.faults == []
    assert tally.kills == 3
