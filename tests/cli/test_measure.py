"""`annulet measure`, over a pipeline that answers what the test says."""

import json
from collections.abc import Callable
from multiprocessing import active_children
from pathlib import Path

import pytest

from tests.cli.conftest import Pipeline
from tests.cli.fakes import photo, result, ring, unusable
from tests.vision.test_results import PHOTO, RING, SCALE, SUMMARY, TOP
from vision.errors import PhotoError, ScaleError
from vision.scale.reference import Reference


@pytest.fixture
def tray(tmp_path: Path) -> Path:
    return photo(tmp_path / "tray.jpg")


def test_a_photo_becomes_a_table(pipeline: Pipeline, run: Callable, tray: Path) -> None:
    ended = run("measure", tray)
    assert ended.exit_code == 0
    assert "1.626 ± 0.021" in ended.stdout
    assert "next:" in ended.stderr
    assert pipeline.asked == [("tray.jpg", Reference())]


# --- what sets the scale


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (["--coin", "EUR-1.00"], Reference(coin="eur-1")),
        (["--sheet"], Reference(sheet=True)),
        (["--mm-per-px", "0.05"], Reference(mm_per_px=0.05)),
        (["--dpi", "1200"], Reference(mm_per_px=25.4 / 1200)),
        (
            ["--mm-per-px", "0.05", "--height-mm", "180"],
            Reference(mm_per_px=0.05, height_mm=180.0),
        ),
        (["--bar-x", "99.8", "--bar-y", "100.1"], Reference(bar_x_mm=99.8, bar_y_mm=100.1)),
        (["--coin", "eur-1", "--sheet"], Reference(coin="eur-1", sheet=True)),
        (["--coin", "eur-1", "--bar-x", "99"], Reference(coin="eur-1", bar_x_mm=99.0)),
    ],
)
def test_options_state_the_reference(
    pipeline: Pipeline, run: Callable, tray: Path, options: list[str], expected: Reference
) -> None:
    assert run("measure", tray, *options).exit_code == 0
    assert pipeline.asked == [("tray.jpg", expected)]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--sheet", "--dpi", "600"], "--sheet and --dpi were given"),
        (["--coin", "eur-1", "--dpi", "600"], "--coin and --dpi were given"),
        (["--mm-per-px", "0.1", "--dpi", "600"], "--mm-per-px and --dpi were given"),
        (["--height-mm", "200"], "--height-mm goes with a stated scale"),
        (["--dpi", "600", "--bar-x", "99"], "--bar-x and --bar-y are read on the printed sheet"),
        (["--mm-per-px", "0"], "must be a positive number, got 0"),
        (["--mm-per-px", "nan"], "must be a positive number, got nan"),
        (["--dpi", "inf"], "must be a positive number, got inf"),
        (["--dpi", "-600"], "must be a positive number, got -600"),
        (["--coin", "eur-20"], "no coin is called 'eur-20'"),
        (["--coin", "gbp-1"], "12 sides"),
        (["--force"], "without --out"),
        (["--explain", "1", "--json"], "--explain prints text"),
        (["--explain", "0"], "--explain"),
        (["--jobs", "0"], "--jobs"),
    ],
)
def test_contradictions_end_in_2_before_any_measuring(
    pipeline: Pipeline, run: Callable, tray: Path, options: list[str], said: str
) -> None:
    ended = run("measure", tray, *options)
    assert ended.exit_code == 2
    assert said in ended.stderr
    assert pipeline.asked == []


# --- which photos


def test_a_folder_means_its_photos(pipeline: Pipeline, run: Callable, tmp_path: Path) -> None:
    for name in ("b.jpg", "a.PNG", "notes.txt", ".hidden.jpg", "a.marked.jpg"):
        photo(tmp_path / name)
    assert run("measure", tmp_path).exit_code == 0
    assert [name for name, _ in pipeline.asked] == ["a.PNG", "b.jpg"]


def test_the_same_photo_twice_is_measured_once(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    link = tray.with_name("link.jpg")
    link.symlink_to(tray)
    assert run("measure", tray, tray.parent / "." / "tray.jpg", link, tray.parent).exit_code == 0
    assert len(pipeline.asked) == 1


def test_an_empty_folder_is_an_unusable_input(run: Callable, tmp_path: Path) -> None:
    ended = run("measure", tmp_path)
    assert ended.exit_code == 3
    assert "no photo in the folder" in ended.stderr


def test_a_missing_file_stops_before_the_others_are_measured(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    ended = run("measure", tray, tray.with_name("try.jpg"))
    assert ended.exit_code == 2
    assert "there is no file or folder" in ended.stderr
    assert pipeline.asked == []


# --- photos that fail


def test_one_bad_photo_does_not_stop_the_others(
    pipeline: Pipeline, run: Callable, tmp_path: Path
) -> None:
    photos = [photo(tmp_path / name) for name in ("a.jpg", "bad.jpg", "c.jpg")]
    pipeline.answers["bad.jpg"] = ScaleError("no scale reference found", hint="add a coin")
    ended = run("measure", *photos, "--out", tmp_path / "out")
    assert ended.exit_code == 3
    assert "1 of 3 photos could not be measured" in ended.stderr
    assert "bad.jpg: no scale reference found" in ended.stderr
    assert "hint: add a coin" in ended.stderr
    assert sorted(path.name for path in (tmp_path / "out").glob("*.json")) == ["a.json", "c.json"]
    assert "2 photos together" in ended.stdout


def test_a_bug_in_one_photo_does_not_stop_the_others_and_ends_in_1(
    pipeline: Pipeline, run: Callable, tmp_path: Path
) -> None:
    photos = [photo(tmp_path / name) for name in ("a.jpg", "b.jpg")]
    pipeline.answers["a.jpg"] = ZeroDivisionError("float division by zero")
    ended = run("measure", *photos)
    assert ended.exit_code == 1
    assert "annulet has a bug in a.jpg: ZeroDivisionError" in ended.stderr
    assert "Traceback" not in ended.output
    assert "b.jpg" in ended.stdout


def test_a_single_bad_photo_leaves_no_file_and_no_folder(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    pipeline.answers["tray.jpg"] = PhotoError("tray.jpg is empty", hint="copy it again")
    ended = run("measure", tray, "--out", tray.parent / "deep" / "out", "--json")
    assert ended.exit_code == 3
    assert ended.stderr.splitlines() == ["error: tray.jpg is empty", " hint: copy it again"]
    assert ended.stdout == ""
    assert [path.name for path in tray.parent.iterdir()] == ["tray.jpg"]


def test_stopping_early_ends_the_workers(tmp_path: Path) -> None:
    from cli.run import workers
    from vision import measure_photos

    paths = [tmp_path / f"{number}.jpg" for number in range(4)]
    for path in paths:
        path.write_bytes(b"no photo")
    with pytest.raises(KeyboardInterrupt), workers(2) as executor:
        for _ in measure_photos(paths, executor=executor):
            assert active_children()
            raise KeyboardInterrupt
    assert active_children() == []


# --- JSON


def test_json_is_all_that_stands_on_stdout(pipeline: Pipeline, run: Callable, tray: Path) -> None:
    pipeline.answers["tray.jpg"] = result([ring(1, cell="B3"), unusable(2, "overlaps ring 1")])
    record = json.loads(run("measure", tray, "--json").stdout)
    assert record["format"] == "annulet-result"
    assert record.keys() >= TOP
    assert record["photo"].keys() >= PHOTO
    assert record["scale"].keys() >= SCALE
    assert record["summary"].keys() >= SUMMARY
    assert all(row.keys() >= RING for row in record["rings"])
    assert record["rings"][0]["wire_mm"] == 1.6256


def test_json_of_several_photos_names_those_that_failed(
    pipeline: Pipeline, run: Callable, tmp_path: Path
) -> None:
    photos = [photo(tmp_path / name) for name in ("a.jpg", "b.jpg")]
    pipeline.answers["b.jpg"] = PhotoError("b.jpg is cut short", hint="copy it again")
    ended = run("measure", *photos, "--json")
    record = json.loads(ended.stdout)
    assert ended.exit_code == 3
    assert (record["format"], record["version"]) == ("annulet-batch", 1)
    assert [row["photo"]["file"] for row in record["photos"]] == ["a.jpg"]
    assert record["failed"] == [
        {"file": "b.jpg", "problem": "b.jpg is cut short", "hint": "copy it again"}
    ]


def test_json_with_out_is_the_file_that_was_written(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    ended = run("measure", tray, "--json", "--out", tray.parent / "out")
    written = (tray.parent / "out" / "tray.json").read_text(encoding="utf-8")
    assert ended.stdout == written


def test_numbers_that_are_none_are_a_bug_not_invalid_json(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    pipeline.answers["tray.jpg"] = result([ring(1, ovality=float("nan"))])
    ended = run("measure", tray, "--json")
    assert ended.exit_code == 1
    assert "NaN" not in ended.stdout


# --- explaining


def test_explain_prints_each_cause_the_sum_and_u(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    lines = run("measure", tray, "--explain", "1").stdout.splitlines()
    rows = {line[:30].strip(): line[30:].split() for line in lines}
    # A 3-4-5 triangle over U = 0.034: parts 0.0102 and 0.0136, sum 0.0170.
    assert rows["outline"][1] == "0.0102"
    assert rows["scale"][1] == "0.0136"
    assert rows["combined (root of squares)"][1] == "0.0170"
    assert rows["U = 2 x combined, 95 %"][1] == "0.0340"
    assert "scale 64 %" in " ".join(lines)


def test_explain_of_an_unusable_ring_gives_the_reasons(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    pipeline.answers["tray.jpg"] = result([unusable(1, "stands on its edge")])
    ended = run("measure", tray, "--explain", "1")
    assert "ring 1 is unusable and carries no numbers: stands on its edge" in ended.stdout


def test_explain_of_a_ring_that_is_not_there_says_which_are(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    ended = run("measure", tray, "--explain", "9")
    assert ended.exit_code == 2
    assert "there is no ring 9 in tray.jpg" in ended.stderr


def test_explain_wants_one_photo(pipeline: Pipeline, run: Callable, tmp_path: Path) -> None:
    photos = [photo(tmp_path / name) for name in ("a.jpg", "b.jpg")]
    ended = run("measure", *photos, "--explain", "1")
    assert ended.exit_code == 2
    assert "2 photos were given" in ended.stderr
    assert pipeline.asked == []


def test_the_shape_of_the_wire_is_passed_on_and_said(
    pipeline: Pipeline, run: Callable, tray: Path
) -> None:
    from vision.rings.section import SECTIONS, Profile

    meaning = SECTIONS[Profile.TWISTED].meaning
    pipeline.answers["tray.jpg"] = result([ring(1)], profile="twisted", notes=(meaning,))
    shown = run("measure", tray, "--profile", "twisted")
    assert pipeline.profiles == [Profile.TWISTED]
    assert "envelope" in shown.stdout
    assert "AR = mean ID / wire" in shown.stdout
    assert "envelope" in run("measure", tray, "--profile", "twisted", "--explain", 1).stdout
    record = json.loads(run("measure", tray, "--profile", "twisted", "--json").stdout)
    assert record["profile"] == "twisted"
    assert meaning in record["notes"]


def test_the_shapes_on_offer_are_those_that_can_be_measured() -> None:
    from cli.options import Shape
    from vision.rings.section import Profile

    assert [one.value for one in Shape] == [one.value for one in Profile]
