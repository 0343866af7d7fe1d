"""`annulet measure --same-rings`: one result of several photos, and what cannot be combined."""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Pipeline
from tests.cli.fakes import photo
from tests.together.scenes import grid, photograph, strewn
from vision.errors import RingsError
from vision.results import Result

FILES = ("a.jpg", "b.jpg", "c.jpg")


def laid_out(pipeline: Pipeline, folder: Path, results: list[Result]) -> list[Path]:
    """Lay photos on the disk, each of its own content, that measure as told."""
    paths = []
    for number, result in enumerate(results):
        path = photo(folder / result.photo.file)
        path.write_bytes(path.read_bytes() + bytes([number]))
        pipeline.answers[path.name] = result
        paths.append(path)
    return paths


@pytest.fixture
def trio(pipeline: Pipeline, tmp_path: Path) -> list[Path]:
    rng = np.random.default_rng(31)
    sizes = rng.normal(1.2, 0.006, 12), rng.normal(6, 0.03, 12)
    turns = (0.0, 180.0, 90.0)
    results = photograph(rng, *sizes, strewn(rng, 12), files=FILES, turns=turns)
    return laid_out(pipeline, tmp_path, results)


def test_the_terminal_shows_photos_rings_and_u_before_and_after(
    trio: list[Path], run: Callable
) -> None:
    ended = run("measure", *trio, "--coin", "eur-1", "--same-rings")
    assert ended.exit_code == 0, ended.output
    assert ended.stdout.startswith("the same rings in 3 photos\n")
    assert "B  b.jpg  180°" in ended.stdout
    assert "by photo (A, B, C), and U before and after" in ended.stdout
    assert "12 rings: 12 measured, 0 unusable" in ended.stdout
    assert max(map(len, ended.stdout.splitlines())) <= 80


def test_one_result_is_written_and_other_commands_take_it(
    trio: list[Path], run: Callable, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    ended = run("measure", *trio, "--coin", "eur-1", "--same-rings", "--out", out)
    assert ended.exit_code == 0, ended.output
    assert sorted(path.name for path in out.iterdir()) == [
        "a.csv",
        "a.html",
        "a.json",
        "a.marked.jpg",
    ]
    record = json.loads((out / "a.json").read_text())
    assert record["format"] == "annulet-result" and record["photo"]["file"] == "a.jpg"
    assert [each["file"] for each in record["same_rings"]["photos"]] == list(FILES)
    assert "photos apart" in record["rings"][0]["u_parts"]["id_mm"]
    rows = list(csv.DictReader(io.StringIO((out / "a.csv").read_text())))
    assert len(rows) == 12 and rows[0]["photos"] == "3"
    seen = [float(rows[0][f"id_{letter}_mm"]) for letter in "abc"]
    assert float(rows[0]["id_mm"]) == pytest.approx(np.mean(seen), abs=2e-3)
    assert "Photo by photo" in (out / "a.html").read_text()
    for command in (["batch", out], ["spotcheck", out / "a.json"]):
        assert run(*command).exit_code == 0, command


def test_rings_are_never_counted_twice_beside_their_single_photos(
    trio: list[Path], run: Callable, tmp_path: Path
) -> None:
    one, each = tmp_path / "one", tmp_path / "each"
    assert run("measure", *trio, "--coin", "eur-1", "--same-rings", "--out", one).exit_code == 0
    assert run("measure", *trio, "--coin", "eur-1", "--out", each).exit_code == 0
    ended = run("batch", each, one)
    assert "12 rings: 12 measured" in ended.stdout
    assert ended.stdout.count("shows the rings that were combined in a.jpg: counted once") == 3
    assert run("compare", one, each / "b.json").exit_code == 2


def test_explain_tells_the_combined_budget(trio: list[Path], run: Callable) -> None:
    ended = run("measure", *trio, "--coin", "eur-1", "--same-rings", "--explain", 3)
    assert ended.exit_code == 0, ended.output
    assert "photos apart" in ended.stdout


def test_json_is_one_result(trio: list[Path], run: Callable) -> None:
    ended = run("measure", *trio, "--coin", "eur-1", "--same-rings", "--json")
    record = json.loads(ended.stdout)
    assert record["format"] == "annulet-result" and len(record["rings"]) == 12


def test_a_photo_that_fails_is_named_and_the_others_are_combined(
    trio: list[Path], run: Callable, pipeline: Pipeline
) -> None:
    pipeline.answers["b.jpg"] = RingsError("no ring found in b.jpg")
    ended = run("measure", *trio, "--coin", "eur-1", "--same-rings")
    assert ended.exit_code == 3
    assert ended.stdout.startswith("the same rings in 2 photos\n")
    assert "1 of 3 photos could not be measured" in ended.stderr


def test_one_photo_left_is_not_shown_as_if_combined(
    trio: list[Path], run: Callable, pipeline: Pipeline
) -> None:
    for name in ("b.jpg", "c.jpg"):
        pipeline.answers[name] = RingsError(f"no ring found in {name}")
    ended = run("measure", *trio, "--coin", "eur-1", "--same-rings")
    assert ended.exit_code == 3 and ended.stdout == ""


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ((), "--same-rings combines several photos, but only a.jpg was given"),
        (("--resume", "--out", "x"), "--resume does not go with --same-rings"),
    ],
)
def test_a_wrong_call_is_refused_before_any_measuring(
    trio: list[Path], run: Callable, pipeline: Pipeline, more: tuple[str, ...], said: str
) -> None:
    photos = trio if more else trio[:1]
    ended = run("measure", *photos, "--same-rings", *more)
    assert ended.exit_code == 2 and said in ended.stderr
    assert not pipeline.asked


def test_a_grid_of_equal_rings_is_refused_with_advice(
    pipeline: Pipeline, run: Callable, tmp_path: Path
) -> None:
    rng = np.random.default_rng(32)
    places = grid(5, 3)
    sizes = rng.normal(1.2, 0.006, len(places)), rng.normal(6, 0.03, len(places))
    paths = laid_out(pipeline, tmp_path, photograph(rng, *sizes, places))
    ended = run("measure", *paths, "--coin", "eur-1", "--same-rings")
    assert ended.exit_code == 3
    assert "too evenly to tell which is which" in ended.stderr and "strew" in ended.stderr


def test_photos_with_different_references_are_refused(
    pipeline: Pipeline, run: Callable, tmp_path: Path
) -> None:
    rng = np.random.default_rng(33)
    places = strewn(rng, 6)
    one, other = photograph(rng, rng.normal(1.2, 0.006, 6), rng.normal(6, 0.03, 6), places)
    other = replace(other, scale=replace(other.scale, kind="sheet", reference="a5"))
    ended = run("measure", *laid_out(pipeline, tmp_path, [one, other]), "--same-rings")
    assert ended.exit_code == 3 and "different references" in ended.stderr
