"""Result files: whole or absent, never over something else, never over each other."""

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from cli.outputs import name_outputs, prepare_folder, write_whole
from cli.problems import UsageProblem
from tests.cli.conftest import Pipeline
from tests.cli.fakes import HEIGHT_PX, WIDTH_PX, photo


@pytest.fixture
def tray(tmp_path: Path) -> Path:
    return photo(tmp_path / "tray.jpg")


def test_out_holds_json_csv_report_and_the_marked_photo(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    out = tray.parent / "deep" / "out"
    ended = run("measure", tray, "--out", out)
    assert ended.exit_code == 0
    names = ["tray.csv", "tray.html", "tray.json", "tray.marked.jpg"]
    assert sorted(path.name for path in out.iterdir()) == names
    assert json.loads((out / "tray.json").read_text(encoding="utf-8"))["version"] == 1
    marked = cv2.imdecode(np.fromfile(out / "tray.marked.jpg", np.uint8), cv2.IMREAD_COLOR)
    assert marked is not None
    assert marked.shape[1] == WIDTH_PX
    assert marked.shape[0] > HEIGHT_PX
    assert "wrote tray.json, tray.csv, tray.marked.jpg, tray.html" in ended.stderr


def test_existing_files_stay_unless_forced(pipeline: Pipeline, run: Callable, tray: Path) -> None:
    kept = tray.with_name("tray.json")
    kept.write_text("mine")
    ended = run("measure", tray, "--out", tray.parent)
    assert ended.exit_code == 2
    assert "already holds tray.json" in ended.stderr
    assert "--force" in ended.stderr
    assert (kept.read_text(), pipeline.asked) == ("mine", [])
    assert not tray.with_name("tray.csv").exists()
    assert run("measure", tray, "--out", tray.parent, "--force").exit_code == 0
    assert json.loads(kept.read_text())["format"] == "annulet-result"


def test_photos_of_the_same_stem_do_not_overwrite_each_other(
    pipeline: Pipeline, run: Callable, tmp_path: Path
) -> None:
    photos = []
    for folder in ("monday", "tuesday"):
        (tmp_path / folder).mkdir()
        photos.append(photo(tmp_path / folder / "tray.jpg"))
    assert run("measure", *photos, "--out", tmp_path / "out").exit_code == 0
    written = sorted(path.name for path in (tmp_path / "out").glob("*.json"))
    assert written == ["tray-2.json", "tray.json"]


def test_output_names_differ_also_where_case_does_not_count() -> None:
    photos = [Path(name) for name in ("a/r.jpg", "b/R.png", "c/r-2.jpg", "d/r.tif")]
    names = list(name_outputs(photos).values())
    assert names == ["r", "R-3", "r-2", "r-4"]


@pytest.mark.parametrize("place", ["tray.jpg", "tray.jpg/inside"])
def test_a_folder_that_is_a_file_is_refused_before_measuring(
    pipeline: Pipeline, run: Callable, tray: Path, place: str
) -> None:
    ended = run("measure", tray, "--out", tray.parent / place)
    assert ended.exit_code == 2
    assert "cannot write to" in ended.stderr
    assert "--out" in ended.stderr
    assert pipeline.asked == []


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_write_permission_is_refused_before_measuring(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    out = tray.parent / "locked"
    out.mkdir(mode=0o500)
    ended = run("measure", tray, "--out", out)
    assert ended.exit_code == 2
    assert "Permission denied" in ended.stderr
    assert pipeline.asked == []


def test_a_refused_probe_is_named_with_its_cause(
    pipeline: Pipeline, run: Callable, tray: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, **_: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(Path, "touch", refuse)
    out = tray.parent / "out"
    ended = run("measure", tray, "--out", out)
    assert ended.exit_code == 2
    assert "Read-only file system" in ended.stderr
    assert not out.exists()
    assert pipeline.asked == []


def test_a_full_disk_leaves_the_old_file_and_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "tray.json"
    target.write_text("old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(UsageProblem, match="No space left on device"):
        write_whole(target, b"new")
    assert target.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["tray.json"]


def test_an_interrupted_write_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "tray.json", b"new")
    assert list(tmp_path.iterdir()) == []


def test_the_check_leaves_no_trace(tmp_path: Path) -> None:
    prepare_folder(tmp_path / "a" / "b", [Path("tray.jpg")], force=False)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "there").mkdir()
    prepare_folder(tmp_path / "there", [Path("tray.jpg")], force=False)
    assert (tmp_path / "there").is_dir()
