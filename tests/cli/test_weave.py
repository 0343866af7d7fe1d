"""`annulet weave`."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.fakes import quantity, result, ring, unusable
from vision.results import result_record


@pytest.fixture(autouse=True)
def _eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def words(text: str) -> str:
    return " ".join(text.split())


def saved(folder: Path, rings: list, name: str = "tray.jpg") -> Path:
    path = folder / f"{name}.json"
    record = result_record(result(rings, file=name))
    record["photo"]["sha256"] = name.encode().hex().ljust(64, "0")[:64]
    path.write_text(json.dumps(record), encoding="utf-8")
    return path


def handful(folder: Path) -> Path:
    """A dozen rings of AR 3.9 to 3.95, one of AR 2.46, one unusable."""
    rings = [ring(n, inside=6.35 + 0.01 * (n % 5)) for n in range(1, 13)]
    rings.append(ring(13, inside=4.0, cell="B3"))
    return saved(folder, [*rings, unusable(14, "touches ring 4")])


def test_the_weaves_are_listed_as_from_memory_with_what_is_proved(run: Callable) -> None:
    ended = run("weave")
    assert ended.exit_code == 0
    assert "from memory" in words(ended.stdout)
    assert "\nEuropean 4-in-1 " in ended.stdout
    record = json.loads(run("weave", "--json").stdout)
    assert (record["format"], record["version"]) == ("annulet-weave", 1)
    assert len(record["weaves"]) >= 20
    assert {row["source"] for row in record["weaves"]} == {"common practice, from memory"}


@pytest.mark.parametrize(("ar", "wires"), [("2.999", 5), ("3", 7), ("3.9", 10), ("4,87", 19)])
def test_an_ar_is_answered_with_the_wires_that_pass(run: Callable, ar: str, wires: int) -> None:
    # Circles in a circle: 7 at 3, 10 at 3.813, 19 at 4.864 (Kravitz 1967).
    record = json.loads(run("weave", ar, "--json").stdout)
    assert record["wires_through"]["possible"] == wires
    assert f"{wires} straight wires" in words(run("weave", ar).stdout)


def test_beyond_the_table_the_number_of_wires_is_a_lower_limit(run: Callable) -> None:
    # 20 at 5.122 is the last one tabled; by area no more than 6^2 = 36.
    shown = words(run("weave", "6").stdout)
    assert "at least 20 straight wires" in shown and "never more than 36" in shown


def test_below_the_proved_bound_a_weave_cannot_be_made(run: Callable) -> None:
    # Four wires need 1 + sqrt(2) = 2.414, six need 3.
    record = json.loads(run("weave", "2.5", "--json").stdout)
    impossible = {row["name"]: row["impossible"] for row in record["weaves"]}
    assert impossible["European 6-in-1"] is True
    assert impossible["European 4-in-1"] is False
    shown = words(run("weave", "2.5").stdout)
    assert "cannot be made (proved): " in shown
    assert "European 6-in-1" in shown.partition("cannot be made (proved): ")[2]


def test_a_batch_is_answered_with_the_rings_that_would_not_close(
    run: Callable, tmp_path: Path
) -> None:
    path = handful(tmp_path)
    shown = words(run("weave", path, "--name", "Byzantine").stdout)
    assert "ring 13 (B3) would not close: Byzantine" in shown
    assert "1 off-size ring left out" in shown
    record = json.loads(run("weave", path, "--name", "Byzantine", "--json").stdout)
    (size,) = record["sizes"]
    assert size["weaves"][0]["too_tight"] == [{"photo": "tray.jpg", "number": 13, "cell": "B3"}]
    # 6.35 / 1.6256 = 3.906; IDs to 6.39 make AR 3.931: mean about 3.918.
    assert size["ar"] == pytest.approx(3.918, abs=0.003)


def test_a_mixed_bag_is_answered_size_by_size(run: Callable, tmp_path: Path) -> None:
    rings = [ring(n, inside=6.35 + 0.01 * (n % 3)) for n in range(1, 9)]
    rings += [ring(n, wire=1.0, inside=4.5 + 0.01 * (n % 3)) for n in range(9, 17)]
    path = saved(tmp_path, rings)
    assert "2 sizes of ring: each is answered for itself" in run("weave", path).stdout
    record = json.loads(run("weave", path, "--json").stdout)
    assert sorted(round(size["wire_mm"], 2) for size in record["sizes"]) == [1.0, 1.63]


def test_one_ring_has_no_spread(run: Callable, tmp_path: Path) -> None:
    ended = run("weave", saved(tmp_path, [ring(1)]))
    assert ended.exit_code == 0
    assert " %" not in ended.stdout


def test_a_washer_is_answered_too(run: Callable, tmp_path: Path) -> None:
    flat = ring(1, wire=5.0, inside=4.0, ar=quantity(0.8, 0.02))
    assert "0 straight wires" in run("weave", saved(tmp_path, [flat])).stdout


def test_a_weave_and_a_wire_give_an_id_and_an_order(run: Callable) -> None:
    ended = run("weave", "--name", "european 4in1", "--wire", "16swg", "--rings", "500")
    assert ended.exit_code == 0
    shown = words(ended.stdout)
    assert "1/4 in" in shown
    assert "525 jump rings, metal ____, wire 1.63 mm ± 0.02 mm (No. 16 Imperial" in shown
    record = json.loads(
        run("weave", "--name", "European 4-in-1", "--wire", "1.63", "--json").stdout
    )
    weave = record["weave"]
    assert record["id_least_mm"] == pytest.approx(1.63 * weave["ar_least"])
    assert record["id_most_mm"] == pytest.approx(1.63 * weave["ar_most"])
    assert record["order"]["rings_to_order"] is None


def test_an_id_of_ones_own_is_ordered_and_a_wrong_one_cautioned(run: Callable) -> None:
    asked = ["weave", "--name", "Byzantine", "--wire", "1.6256"]
    # 1/4 in on SWG 16 is AR 3.91; 3/8 in (9.525 mm) is AR 5.86, far above any Byzantine.
    assert "inside diameter 6.35 mm" in words(run(*asked, "--id", "1/4in").stdout)
    assert "caution: AR 5.86 is too loose" in run(*asked, "--id", "3/8in").stdout


def test_a_length_is_counted_where_that_is_exact_and_refused_elsewhere(run: Callable) -> None:
    # n ID + 2 wire: (500 - 2) / 4 = 124.5, so 125 rings, and 5 % more is 131.25, so 132.
    asked = ["--wire", "1mm", "--id", "4mm", "--length-mm", "500"]
    assert "132 jump rings" in run("weave", "--name", "chain 2-in-1", *asked).stdout
    ended = run("weave", "--name", "Byzantine", *asked)
    assert ended.exit_code == 2
    assert "no exact arithmetic" in ended.stderr and ended.stdout == ""


@pytest.mark.parametrize("asked", ["0", "-3", "0.5", "1e9", "51"])
def test_a_number_that_is_no_ar_is_refused(run: Callable, asked: str) -> None:
    ended = run("weave", asked)
    assert ended.exit_code == 2
    assert "no aspect ratio of a ring" in ended.stderr


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["abc"], "neither an aspect ratio nor a file"),
        (["nan"], "neither an aspect ratio nor a file"),
        (["3.9", "4.1"], "neither an aspect ratio nor a file"),
        (["--name", "no such thing"], "no weave is called"),
        (["3.9", "--wire", "1.6"], "two questions"),
        (["--name", "Byzantine", "--rings", "5"], "needs a weave and a wire"),
        (["--name", "Byzantine", "--wire", "18ga"], "does not name a wire"),
        (["3.9", "--jsno"], "no such option"),
        (
            ["--name", "Byzantine", "--wire", "1", "--rings", "5", "--length-mm", "9"],
            "both say how many",
        ),
    ],
)
def test_wrong_calls_say_what_is_wrong(run: Callable, asked: list[str], said: str) -> None:
    ended = run("weave", *asked)
    assert ended.exit_code == 2
    assert said in ended.stderr
    assert " hint: " in ended.stderr


def test_a_file_that_is_no_result_is_unusable_input(run: Callable, tmp_path: Path) -> None:
    path = tmp_path / "notes.json"
    path.write_text("{}", encoding="utf-8")
    assert run("weave", path).exit_code == 3


def test_names_from_outside_cannot_steer_the_terminal(run: Callable, tmp_path: Path) -> None:
    first = saved(tmp_path, [ring(n, inside=6.35) for n in range(1, 8)], name="a.jpg")
    second = tmp_path / "b.json"
    record = json.loads(saved(tmp_path, [ring(1, inside=4.0, cell="\x1b[2J")]).read_text())
    record["photo"]["file"] = "\x1b[31mred.jpg"
    second.write_text(json.dumps(record), encoding="utf-8")
    shown = run("weave", first, second, "--name", "Byzantine").stdout
    assert "red.jpg" in shown
    assert "\x1b" not in shown
    assert (
        "\x1b"
        not in run("weave", "--name", "Byzantine", "--wire", "1", "--metal", "\x1b[31m").stdout
    )


def test_lines_fit_the_terminal(run: Callable, tmp_path: Path) -> None:
    path = handful(tmp_path)
    for asked in ([], ["3.9"], [path], ["--name", "Byzantine", "--wire", "1"], ["--wire", "1.63"]):
        assert max(map(len, run("weave", *asked).stdout.splitlines())) <= 80
