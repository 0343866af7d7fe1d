"""`annulet spotcheck` from the command line, and `annulet measure --correction`."""

import json
import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner
from typer.testing import Result as Ended

from cli.main import app
from tests.cli.conftest import Pipeline
from tests.cli.fakes import photo, result, unusable
from tests.spotcheck.bench import Bench, photograph, read, sizes
from vision.results import batch_record, result_record
from vision.spotcheck.caliper import Reading

FIVE = [1, 2, 3, 4, 5]


def saved(folder: Path, bench: Bench, name: str = "tray") -> Path:
    path = folder / f"{name}.json"
    content = result_record(result(bench.shot.rings, file=f"{name}.jpg"))
    content["photo"] |= {"width_px": 1600, "height_px": 1200}
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def csv_of(path: Path, readings: list[Reading]) -> Path:
    lines = [f"{r.ring},{r.what.value},{r.value_mm:.2f}" for r in readings]
    path.write_text("\n".join(["ring,what,reading_mm", *lines, ""]), encoding="utf-8")
    return path


def checked(folder: Path, seed: int = 21, **fault: float) -> tuple[Path, Path]:
    """A result file and a file of readings on five of its rings."""
    rng = np.random.default_rng(seed)
    bench = photograph(*sizes(24, rng), rng, **fault)
    return saved(folder, bench), csv_of(folder / "readings.csv", read(bench, FIVE, rng))


@pytest.fixture(autouse=True)
def eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def type_in() -> Callable[..., Ended]:
    """The command line with lines typed at its prompts; after them the input ends."""

    def start(lines: list[str], *arguments: object) -> Ended:
        typed = "".join(f"{line}\n" for line in lines)
        return CliRunner().invoke(app, [str(argument) for argument in arguments], input=typed)

    return start


@pytest.fixture
def good(tmp_path: Path) -> tuple[Path, Path]:
    return checked(tmp_path)


@pytest.fixture
def bad(tmp_path: Path) -> tuple[Path, Path]:
    return checked(tmp_path, scale=0.01, rim_mm=0.05)


# --- choosing


def test_it_names_rings_reasons_places_and_expected_readings(run: Callable, good) -> None:
    ended = run("spotcheck", good[0])
    assert ended.exit_code == 0
    assert "5 rings of 24" in ended.stdout
    assert ": the smallest" in ended.stdout
    assert "of tray.jpg" in ended.stdout
    assert "expect " in ended.stdout
    # Chord of 0.5 mm flats in a hole of about 6.3 mm: 0.5^2 / (2 * 6.3) = 0.020.
    assert "0.020 mm small" in " ".join(ended.stdout.split())
    assert all(len(line) <= 80 for line in ended.stdout.splitlines())


def test_guidance_comes_in_order(run: Callable, good) -> None:
    text = " ".join(run("spotcheck", good[0]).stdout.split())
    order = [
        "Set zero", "dent", "flickers", "away from the cut", "over the ridges", "flat to flat",
        "full width", "close the ring", "oval", "chord", "Close the jaws again",
    ]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_count_says_how_many(run: Callable, good) -> None:
    record = json.loads(run("spotcheck", good[0], "--count", 7, "--json").stdout)
    assert (record["format"], record["version"]) == ("annulet-spotcheck", 1)
    assert len({row["ring"] for row in record["rings"]}) == 7
    assert {"what", "expected_mm", "expected_u95_mm"} <= record["rings"][0]["read"][0].keys()


def test_several_photos_are_all_represented(run: Callable, tmp_path: Path) -> None:
    rng = np.random.default_rng(22)
    records = []
    for name in ("a", "b", "c"):
        bench = photograph(*sizes(8, rng), rng)
        records.append(result(bench.shot.rings, file=f"{name}.jpg"))
    path = tmp_path / "batch.json"
    path.write_text(json.dumps(batch_record(map(result_record, records))), encoding="utf-8")
    record = json.loads(run("spotcheck", path, "--json").stdout)
    assert {row["photo"] for row in record["rings"]} == {"a.jpg", "b.jpg", "c.jpg"}


def test_the_card_is_a_pdf_and_always_the_same(run: Callable, good) -> None:
    card = good[0].with_name("card.pdf")
    assert run("spotcheck", good[0], "--card", card).exit_code == 0
    first = card.read_bytes()
    assert first.startswith(b"%PDF-")
    refused = run("spotcheck", good[0], "--card", card)
    assert refused.exit_code == 2
    assert "already there" in refused.stderr
    assert run("spotcheck", good[0], "--card", card, "--force").exit_code == 0
    assert card.read_bytes() == first


# --- comparing


def test_a_good_photo_agrees(run: Callable, good) -> None:
    ended = run("spotcheck", good[0], "--readings", good[1])
    assert ended.exit_code == 0
    assert "photo and caliper agree" in ended.stdout
    assert "limits of agreement" in ended.stdout
    assert all(len(line) <= 80 for line in ended.stdout.splitlines())


def test_a_faulty_photo_disagrees_and_the_cause_is_named(run: Callable, bad) -> None:
    ended = run("spotcheck", bad[0], "--readings", bad[1])
    assert ended.exit_code == 4
    text = " ".join(ended.stdout.split())
    assert "photo and caliper disagree" in text
    assert "true lengths are +" in text


def test_one_ring_cannot_tell_and_says_what_next(run: Callable, good) -> None:
    lines = good[1].read_text(encoding="utf-8").splitlines()
    good[1].write_text("\n".join([lines[0], *(x for x in lines if x.startswith("1,"))]))
    ended = run("spotcheck", good[0], "--readings", good[1])
    assert ended.exit_code == 5
    assert "take these next" in ended.stdout
    assert "ring 1," not in ended.stdout.split("take these next")[1]


def test_json_holds_the_verdict_and_the_limits(run: Callable, bad) -> None:
    ended = run("spotcheck", bad[0], "--readings", bad[1], "--json")
    record = json.loads(ended.stdout)
    assert ended.exit_code == 4
    assert record["verdict"] == "disagree"
    assert record["biases"]["wire"]["rings"] == 5
    assert record["biases"]["wire"]["lower_mm"] < record["biases"]["wire"]["upper_mm"]
    assert record["correction"]["factor"] > 1.0


def test_inches_and_fractions_read_as_millimetres(run: Callable, good, tmp_path: Path) -> None:
    lines = ["ring;what;reading_in"]
    for row in good[1].read_text(encoding="utf-8").splitlines()[1:]:
        ring, what, value = row.split(",")
        lines.append(f"{ring};{what};{float(value) / 25.4:.4f}")
    path = tmp_path / "inches.csv"
    path.write_text("\n".join(lines), encoding="utf-8-sig")
    millimetres = json.loads(run("spotcheck", good[0], "--readings", good[1], "--json").stdout)
    inches = json.loads(run("spotcheck", good[0], "--readings", path, "--json").stdout)
    for one, other in zip(millimetres["readings"], inches["readings"], strict=True):
        # Four decimals of an inch round to half of 0.00254 mm.
        assert other["difference_mm"] == pytest.approx(one["difference_mm"], abs=0.0013)
    path.write_text("ring,what,reading_in\n1,wire,1/16\n1,od,3/8 in\n")
    fractions = json.loads(run("spotcheck", good[0], "--readings", path, "--json").stdout)
    assert [row["readings_mm"][0] for row in fractions["readings"]] == pytest.approx(
        [1.5875, 9.525]
    )


def test_a_wild_reading_is_pointed_out_with_its_line(run: Callable, good) -> None:
    lines = good[1].read_text(encoding="utf-8").splitlines()
    ring, what, value = lines[3].split(",")
    lines[3] = f"{ring},{what},{float(value) / 25.4:.3f}"
    good[1].write_text("\n".join(lines))
    ended = run("spotcheck", good[0], "--readings", good[1])
    assert ended.exit_code == 0
    assert "line 4: ring 1" in ended.stdout
    assert "inches taken for millimetres?" in " ".join(ended.stdout.split())


WRONG = {
    "99,wire,1.63": "there is no ring 99: they are numbered 1 to 25",
    "25,wire,1.63": "ring 25 is unusable in the photo, there is no size to check: overlaps ring 3",
    "1,wire,abc": "cannot read 'abc'",
    "1,wire,-1.63": "'-1.63' is negative",
    "1,wire,0": "no size of a wire or ring",
    "1,wire,nan": "cannot read 'nan'",
    "1,wire,1e9": "cannot read '1e9'",
    "1,od,9,61": "4 fields",
    '1,od,"9,61"': "decimal comma",
    "1,od,0.378 in": "in inches but stands in column reading_mm",
    "1,od,16swg": "is a gauge",
    "1,girth,3": "write wire, od or id",
    "B3,od,9.61": "'B3' is no ring number",
    ",od,9.61": "is no ring number",
    "1.5,od,9.61": "is no ring number",
}


@pytest.fixture
def with_unusable(tmp_path: Path) -> Path:
    rng = np.random.default_rng(23)
    bench = photograph(*sizes(24, rng), rng)
    record = result_record(result([*bench.shot.rings, unusable(25, "overlaps ring 3")]))
    path = tmp_path / "tray.json"
    path.write_text(json.dumps(record), encoding="utf-8")
    return path


@pytest.mark.parametrize("row", WRONG)
def test_a_wrong_line_is_named_and_nothing_is_lost(
    run: Callable, with_unusable: Path, row: str
) -> None:
    path = with_unusable.with_name("r.csv")
    content = f"ring,what,reading_mm\n1,wire,1.63\n{row}\n2,wire,1.63\n"
    path.write_text(content, encoding="utf-8")
    ended = run("spotcheck", with_unusable, "--readings", path)
    assert ended.exit_code == 3
    assert "line 3" in ended.stderr
    assert WRONG[row] in ended.stderr
    assert "2 readings can" in ended.stderr
    assert path.read_text(encoding="utf-8") == content


def test_every_wrong_line_is_named_at_once(run: Callable, with_unusable: Path) -> None:
    path = with_unusable.with_name("r.csv")
    path.write_text("\n".join(["ring,what,reading_mm", *WRONG]), encoding="utf-8")
    ended = run("spotcheck", with_unusable, "--readings", path)
    assert [f"line {k}" in ended.stderr for k in range(2, len(WRONG) + 2)] == [True] * len(WRONG)


def test_both_units_in_one_line_are_refused(run: Callable, good, tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text("ring,what,reading_mm,reading_in\n1,wire,1.63,0.064\n", encoding="utf-8")
    ended = run("spotcheck", good[0], "--readings", path)
    assert ended.exit_code == 3
    assert "line 2: both reading_mm and reading_in are filled in" in ended.stderr


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"a,b\n1,2\n", "lacks ring, what, reading_mm or reading_in"),
        (b"ring,what,reading_mm\n", "holds no reading"),
        (b"ring,what,reading_mm\n1,wire,\n", "holds no reading"),
        (b"ring,ring,what,reading_mm\n", "names ring twice"),
        (b"\x89PNG\r\n\x1a\n\xff", "no text in UTF-8"),
        (b"ring,what,reading_mm\n1,wire,1.63\0\n", "no text"),
    ],
)
def test_a_file_that_holds_no_readings_ends_in_3(
    run: Callable, good, tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "r.csv"
    path.write_bytes(content)
    ended = run("spotcheck", good[0], "--readings", path)
    assert ended.exit_code == 3
    assert said in ended.stderr


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--save", "c.toml"], "none were given"),
        (["--light", "north"], "add --save"),
        (["--force"], "none are written"),
        (["--card", "card.html"], "does not end in .pdf"),
        (["--count", "0"], "--count"),
        (["--limit-mm", "-1"], "--limit-mm"),
        (["--readings", "nowhere.csv"], "there is no file nowhere.csv"),
    ],
)
def test_wrong_usage_ends_in_2(run: Callable, good, options: list[str], said: str) -> None:
    ended = run("spotcheck", good[0], *options)
    assert ended.exit_code == 2
    assert said in ended.stderr


def test_a_hostile_name_steers_neither_terminal_nor_card(run: Callable, tmp_path: Path) -> None:
    rng = np.random.default_rng(24)
    bench = photograph(*sizes(8, rng), rng)
    record = result_record(result(bench.shot.rings, file="\x1b[31mred(\\.jpg"))
    path = tmp_path / "tray.json"
    path.write_text(json.dumps(record), encoding="utf-8")
    ended = run("spotcheck", path, "--card", tmp_path / "card.pdf")
    assert ended.exit_code == 0
    assert "\x1b" not in ended.output
    assert b"\x1b" not in (tmp_path / "card.pdf").read_bytes()


# --- typing


def test_typed_readings_are_kept_one_by_one(type_in: Callable, good, tmp_path: Path) -> None:
    path = tmp_path / "typed.csv"
    ended = type_in(
        ["1.63", "abc", "0.0645 in", "q", ""],
        "spotcheck", good[0], "--enter", "--readings", path, "--count", 2,
    )  # fmt: skip
    assert ended.exit_code == 5
    rows = path.read_text(encoding="utf-8").splitlines()
    assert rows[0] == "ring,what,reading_mm,reading_in"
    assert [row.split(",", 2)[2] for row in rows[1:]] == ["1.63,", ",0.0645"]
    assert "cannot read 'abc'" in ended.stderr


def test_a_typed_reading_can_be_taken_back(type_in: Callable, good, tmp_path: Path) -> None:
    path = tmp_path / "typed.csv"
    type_in(["1.63", "1.99", "b", "1.64", "q", ""],
            "spotcheck", good[0], "--enter", "--readings", path)  # fmt: skip
    rows = path.read_text(encoding="utf-8").splitlines()[1:]
    assert [row.split(",")[2] for row in rows] == ["1.63", "1.64"]


def test_typing_goes_on_where_it_stopped(type_in: Callable, good, tmp_path: Path) -> None:
    path = tmp_path / "typed.csv"
    command = ("spotcheck", good[0], "--enter", "--readings", path, "--count", 1)
    type_in(["1.63"], *command)
    again = type_in([], *command)
    assert "wire 2 of 2" in again.stderr
    assert "wire 1 of 2" not in again.stderr


def test_a_far_reading_is_asked_about_at_once(type_in: Callable, good, tmp_path: Path) -> None:
    ended = type_in(["0.064", "q", ""],
                    "spotcheck", good[0], "--enter", "--readings", tmp_path / "t.csv")  # fmt: skip
    assert "inches taken for millimetres?" in " ".join(ended.stderr.split())


def test_a_zero_that_moved_is_counted_as_doubt(type_in: Callable, good) -> None:
    command = ("spotcheck", good[0], "--enter", "--readings", good[1], "--count", 1, "--json")
    still = json.loads(type_in(["1.63", "q", ""], *command).stdout)
    moved = type_in(["1.63", "q", "-0.06"], *command)
    assert "zero moved by -0.06 mm" in moved.stderr
    record = json.loads(moved.stdout)
    assert record["caliper_limit_mm"] == pytest.approx(still["caliper_limit_mm"] + 0.06)
    assert record["biases"]["wire"]["bias_u95_mm"] > still["biases"]["wire"]["bias_u95_mm"]


def test_nothing_typed_writes_nothing(type_in: Callable, good) -> None:
    before = sorted(good[0].parent.iterdir())
    ended = type_in([], "spotcheck", good[0], "--enter")
    assert ended.exit_code == 2
    assert "no reading was typed" in ended.stderr
    assert sorted(good[0].parent.iterdir()) == before


# --- correcting


def test_a_correction_travels_by_file(
    run: Callable, pipeline: Pipeline, bad, tmp_path: Path
) -> None:
    toml = tmp_path / "c.toml"
    ended = run("spotcheck", bad[0], "--readings", bad[1], "--save", toml, "--light", "north")
    assert ended.exit_code == 4
    kept = tomllib.loads(toml.read_text(encoding="utf-8"))
    # Scale and rim that the photo was made with, within three standard uncertainties.
    assert abs(kept["factor"] - 1.01) < 3 * np.hypot(kept["u_factor"], 0.0012)
    assert abs(kept["rim_mm"] - 0.05) < 3 * kept["u_rim_mm"]

    rng = np.random.default_rng(21)
    pipeline.answers["tray.jpg"] = result(
        photograph(*sizes(24, rng), rng, scale=0.01, rim_mm=0.05).shot.rings
    )
    tray = photo(tmp_path / "tray.jpg")
    plain = json.loads(run("measure", tray, "--json").stdout)
    ended = run("measure", tray, "--correction", toml, "--json")
    record = json.loads(ended.stdout)
    assert plain["correction"] is None
    assert record["correction"]["factor"] == kept["factor"]
    wire = plain["rings"][0]["wire_mm"]
    expected = kept["factor"] * wire + kept["rim_mm"]
    assert record["rings"][0]["wire_mm"] == pytest.approx(expected)
    table = " ".join(run("measure", tray, "--correction", toml).stdout.split())
    assert "note: corrected by caliper: scale +" in table
    assert "in this light: north" in table


def test_a_correction_is_never_applied_by_itself(
    run: Callable, pipeline: Pipeline, bad, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    run("spotcheck", bad[0], "--readings", bad[1], "--save", "correction.toml")
    assert Path("correction.toml").exists()
    assert (
        json.loads(run("measure", photo(tmp_path / "x.jpg"), "--json").stdout)["correction"] is None
    )


def test_another_set_up_is_warned_of(
    run: Callable, pipeline: Pipeline, bad, tmp_path: Path
) -> None:
    toml = tmp_path / "c.toml"
    run("spotcheck", bad[0], "--readings", bad[1], "--save", toml)
    toml.write_text(toml.read_text(encoding="utf-8").replace("eur-1", "eur-2"), encoding="utf-8")
    ended = run("measure", photo(tmp_path / "x.jpg"), "--correction", toml)
    assert ended.exit_code == 0
    assert "not the set-up of the correction" in " ".join(ended.stdout.split())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda text: "", "its format is None"),
        (lambda text: text.replace("factor = 1", "factor = nan #"), "factor must be a number"),
        (lambda text: text.replace("factor = 1", "factor = 9 #"), "factor must be from 0.5 to 2"),
        (lambda text: text.replace("version = 1", "version = 7"), "has version 7"),
        (lambda text: text.replace("[set_up]", "[other]"), "[set_up] is missing"),
        (lambda text: text.replace("kind = ", "kind = 3 #"), "kind must be text"),
        (lambda text: "{" + text, "is no correction file"),
    ],
)
def test_a_damaged_correction_stops_before_measuring(
    run: Callable, pipeline: Pipeline, bad, tmp_path: Path, change: Callable, said: str
) -> None:
    toml = tmp_path / "c.toml"
    run("spotcheck", bad[0], "--readings", bad[1], "--save", toml)
    toml.write_text(change(toml.read_text(encoding="utf-8")), encoding="utf-8")
    ended = run("measure", photo(tmp_path / "x.jpg"), "--correction", toml)
    assert ended.exit_code == 3
    assert said in ended.stderr
    assert pipeline.asked == []
