"""`batch`, `judge`, `plan` and `compare` as a person types them."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from cli.show.record import json_text
from tests.batch.bags import sizes
from tests.cli.fakes import photo, result, ring, unusable

ORDER = """[order]
name = "bronze for the lampshade"
wire = "16 SWG"
wire_tolerance_mm = 0.05
id = "1/4 in"
id_tolerance_mm = 0.12
"""


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def write(path: Path, n: int, *, seed: int = 1, off: dict[int, float] | None = None, **how) -> Path:
    """Write the result file of n rings; `off` gives rings another ID."""
    wires, insides = sizes(np.random.default_rng(seed), n, sd_inside=0.015, **how)
    rings = [
        ring(number, wire=float(wire), inside=(off or {}).get(number, float(inside)), cell="B3")
        for number, (wire, inside) in enumerate(zip(wires, insides, strict=True), 1)
    ]
    path.write_text(json_text(result(rings, file=f"{path.stem}.jpg")), encoding="utf-8")
    return path


def order(path: Path, more: str = "") -> Path:
    path.write_text(ORDER + more, encoding="utf-8")
    return path


def test_a_batch_pools_its_photos_and_names_the_off_size_ring(run: Callable, tmp_path: Path):
    a = write(tmp_path / "a.json", 20, off={7: 6.65})
    b = write(tmp_path / "b.json", 25, seed=2)
    ended = run("batch", a, b)
    assert ended.exit_code == 0
    assert "45 rings: 45 measured, 0 unusable" in ended.stdout
    assert "off size: 1 ring to pick out" in ended.stdout
    assert re.search(
        r"ring 7 \(B3\) in a\.jpg: ID 6\.65\d mm, 0\.\d+ ± 0\.\d+ too large", ended.stdout
    )
    assert max(map(len, ended.stdout.splitlines())) <= 80


def test_the_same_photo_twice_counts_once_whatever_its_name(run: Callable, tmp_path: Path) -> None:
    a = write(tmp_path / "a.json", 10)
    copied = json.loads(a.read_text())
    copied["photo"]["file"] = "copy.jpg"
    (tmp_path / "copy.json").write_text(json.dumps(copied))
    ended = run("batch", a, tmp_path / "copy.json")
    assert "10 rings: 10 measured" in ended.stdout
    assert "copy.jpg is the same photo as a.jpg: counted once" in ended.stdout
    again = run("batch", a, a)
    assert "a.jpg was given twice: counted once" in again.stdout


def test_a_folder_stands_for_its_results(run: Callable, tmp_path: Path) -> None:
    write(tmp_path / "a.json", 10)
    write(tmp_path / "b.json", 10, seed=3)
    record = json.loads(run("batch", tmp_path, "--json").stdout)
    assert (record["format"], record["version"], record["measured"]) == ("annulet-lot", 1, 20)
    spread = record["spread"]["id_mm"]
    assert spread["n"] == 20
    assert spread["min"] <= spread["median"] <= spread["max"]
    assert spread["tolerance"][0] < spread["mean"] < spread["tolerance"][1]


@pytest.mark.parametrize(
    ("n", "off", "code", "word"),
    # 59 rings without a failure prove 5 % with 95 % confidence; 40 do not; 10 of 40 are too many.
    [
        (59, {}, 0, "ACCEPT"),
        (40, {}, 5, "CANNOT TELL"),
        (40, dict.fromkeys(range(1, 11), 7.0), 4, "REJECT"),
        (1, {}, 5, "CANNOT TELL"),
    ],
)
def test_each_verdict_has_its_exit_code(
    run: Callable, tmp_path: Path, n: int, off: dict[int, float], code: int, word: str
) -> None:
    ended = run(
        "judge", write(tmp_path / "a.json", n, off=off), "--order", order(tmp_path / "o.toml")
    )
    assert ended.exit_code == code
    assert ended.stdout.startswith(f"bronze for the lampshade: {word}\n")
    assert max(map(len, ended.stdout.splitlines())) <= 80


def test_the_verdict_for_a_program(run: Callable, tmp_path: Path) -> None:
    a = write(tmp_path / "a.json", 60, off={3: 7.0})
    orders = order(tmp_path / "o.toml", "lot_size = 60\nmax_off_size_percent = 2\n")
    ended = run("judge", a, "--order", orders, "--json")
    record = json.loads(ended.stdout)
    assert (record["format"], record["decision"], ended.exit_code) == (
        "annulet-verdict",
        "accept",
        0,
    )
    assert record["not_conforming"] == 1
    # The whole lot was seen: 1 of 60.
    assert record["off_size_percent_limits"] == pytest.approx([100 / 60, 100 / 60])
    assert record["rings"][2]["deviations"][1]["beyond"] == pytest.approx(7.0 - 6.47)


def test_rings_are_counted_by_weight(run: Callable, tmp_path: Path) -> None:
    a = write(tmp_path / "a.json", 59)
    orders = order(tmp_path / "o.toml", "lot_size = 1000\n")
    # A 6.35 mm ring of 1.626 mm wire holds 52.0 mm3; copper is 8.96 g/cm3: 0.466 g.
    weigh = ("judge", a, "--order", orders, "--metal", "copper", "--weight-g")
    good = run(*weigh, "466.2", "--json")
    counted = json.loads(good.stdout)["weight"]
    assert abs(counted["rings"] - 1000) < counted["rings_u95"]
    assert good.exit_code == 0
    short = run(*weigh, "300.0")
    assert short.exit_code == 4
    assert "rings are missing" in short.stdout


def test_rings_that_are_all_equal_and_a_single_one(run: Callable, tmp_path: Path) -> None:
    orders = order(tmp_path / "o.toml")
    for n in (1, 12):
        made = result([ring(number) for number in range(1, n + 1)])
        path = tmp_path / f"{n}.json"
        path.write_text(json_text(made), encoding="utf-8")
        for ended in (run("batch", path), run("judge", path, "--order", orders)):
            assert ended.exit_code in (0, 5)
            assert "0.000000" not in ended.stdout
            assert max(map(len, ended.stdout.splitlines())) <= 80
    assert "one ring is too few" in run("judge", tmp_path / "1.json", "--order", orders).stdout


@pytest.mark.parametrize(
    ("options", "code", "said"),
    [
        (("--weight-g", "450"), 2, "--weight-g without --metal"),
        (("--metal", "brass"), 2, "--metal without --weight-g"),
        (("--weight-g", "450", "--metal", "mud"), 2, "no metal is called 'mud'"),
        (("--weight-g", "-5", "--metal", "brass"), 2, "must be a weight in grams, got '-5'"),
        (("--weight-g", "0", "--metal", "brass"), 2, "must be a weight in grams, got '0'"),
        (("--weight-g", "heavy", "--metal", "brass"), 2, "must be a weight in grams"),
    ],
)
def test_weights_that_say_nothing(
    run: Callable, tmp_path: Path, options: tuple[str, ...], code: int, said: str
) -> None:
    a = write(tmp_path / "a.json", 10)
    ended = run("judge", a, "--order", order(tmp_path / "o.toml"), *options)
    assert ended.exit_code == code
    assert said in ended.stderr
    assert "Traceback" not in ended.output


@pytest.mark.parametrize(
    ("content", "code", "said"),
    [
        (b"[order]\nwire = 16 SWG\n", 3, "at line 2"),
        (b'[order]\nwire = "16 SWG"\n', 3, "lacks the key wire_tolerance_mm"),
        (b"\xff\xfe", 3, "no text in UTF-8"),
        (None, 2, "there is no order file"),
    ],
)
def test_orders_that_cannot_be_read(
    run: Callable, tmp_path: Path, content: bytes | None, code: int, said: str
) -> None:
    path = tmp_path / "o.toml"
    if content is not None:
        path.write_bytes(content)
    ended = run("judge", write(tmp_path / "a.json", 10), "--order", path)
    assert ended.exit_code == code
    assert said in ended.stderr
    assert len(ended.stderr.splitlines()) == 2


def test_results_that_cannot_be_used(run: Callable, tmp_path: Path) -> None:
    empty, lost, bad = tmp_path / "empty.json", tmp_path / "lost.json", tmp_path / "bad.json"
    empty.write_text("")
    lost.write_text(json_text(result([unusable(1, "overlaps ring 2")])))
    bad.write_text(json_text(result([ring(1)])).replace('"id_mm": 6.35', '"id_mm": NaN', 1))
    for given, code, said in (
        (empty, 3, "is empty"),
        (lost, 3, "all 1 rings are unusable"),
        (bad, 3, "holds NaN, which is no number"),
        (tmp_path / "none.json", 2, "there is no file or folder"),
        (photo(tmp_path / "tray.jpg"), 2, "is a photo, expected a result file"),
    ):
        ended = run("batch", given)
        assert (ended.exit_code, ended.stdout) == (code, "")
        assert said in ended.stderr
        assert " hint: " in ended.stderr


def test_names_from_outside_cannot_steer_the_terminal(run: Callable, tmp_path: Path) -> None:
    made = result([ring(n, cell="\x1b[31m") for n in range(1, 8)], file="\x1b[2J.jpg")
    (tmp_path / "a.json").write_text(json_text(made), encoding="utf-8")
    evil = ORDER.replace("bronze for", "\\u001b]0;for")
    (tmp_path / "o.toml").write_text(evil, encoding="utf-8")
    for ended in (
        run("batch", tmp_path / "a.json"),
        run("judge", tmp_path / "a.json", "--order", tmp_path / "o.toml"),
    ):
        assert "\x1b" not in ended.output


def test_a_plan_says_how_many_rings(run: Callable) -> None:
    # The success-run number for 5 % with 95 % confidence is 59; hypergeometric in a lot of 500: 54
    # (scipy.stats.hypergeom.cdf(0, 500, 26, 54) = 0.0466, 53 rings give 0.0525).
    assert run("plan").stdout.startswith("photograph 59 rings\n")
    ended = run("plan", "--lot", 500)
    assert (ended.exit_code, ended.stdout.splitlines()[0]) == (0, "photograph 54 rings")
    assert max(map(len, ended.stdout.splitlines())) <= 80


def test_a_plan_for_a_program_agrees_with_the_tables(run: Callable) -> None:
    # 8 of 10 lots with 10.296 % off size fail the plan n = 50, Ac = 2 (ISO 2859-1: 10 % accepted).
    options = ("--max-off", 10.297, "--confidence", 90, "--json")
    plans = json.loads(run("plan", *options).stdout)["plans"]
    chosen = next(plan for plan in plans if plan["accept_off_size"] == 2)
    assert chosen["rings"] == 50
    assert chosen["consumer_risk_percent"] == pytest.approx(10.0, abs=0.05)
    # Share accepted in 95 of 100 cases: 1.655 %.
    assert chosen["usually_accepted_percent"] == pytest.approx(1.655, abs=5e-4)


@pytest.mark.parametrize(
    "options",
    [
        ("--lot", 1),
        ("--lot", "many"),
        ("--max-off", 0),
        ("--max-off", "nan"),
        ("--confidence", 100),
    ],
)
def test_plans_that_cannot_be(run: Callable, options: tuple[object, ...]) -> None:
    ended = run("plan", *options)
    assert ended.exit_code == 2
    assert "Traceback" not in ended.output


@pytest.mark.parametrize(("inside", "code"), [(6.35, 0), (6.60, 4), (6.40, 5)])
def test_two_lots_are_compared(run: Callable, tmp_path: Path, inside: float, code: int) -> None:
    a, b = write(tmp_path / "a.json", 40), write(tmp_path / "b.json", 40, seed=9, inside=inside)
    ended = run("compare", a, b)
    assert ended.exit_code == code
    assert ended.stdout.startswith(("yes: ", "no: ", "cannot tell")[(0, 4, 5).index(code)])
    assert max(map(len, ended.stdout.splitlines())) <= 80
    record = json.loads(run("compare", a, b, "--json", "--tolerance-mm", 0.05).stdout)
    assert record["differences"]["id_mm"]["b_minus_a"] == pytest.approx(inside - 6.35, abs=0.02)


def test_a_lot_is_not_compared_with_itself(run: Callable, tmp_path: Path) -> None:
    a = write(tmp_path / "a.json", 10)
    ended = run("compare", a, a)
    assert ended.exit_code == 2
    assert "the same photo" in ended.stderr


def test_measure_names_off_size_rings_and_repeats(pipeline, run: Callable, tmp_path: Path) -> None:
    insides = [6.34, 6.35, 6.36, 6.35, 6.34, 6.36, 6.35, 6.35, 6.36, 6.75]
    made = result([ring(n, inside=inside) for n, inside in enumerate(insides, 1)], file="a.jpg")
    pipeline.answers = {"a.jpg": made, "b.jpg": made}
    photo(tmp_path / "a.jpg")
    photo(tmp_path / "b.jpg")
    assert "ring 10: ID 6.7" in run("measure", tmp_path / "a.jpg").stdout
    both = run("measure", tmp_path / "a.jpg", tmp_path / "b.jpg").stdout
    assert "a.jpg was given twice: counted once" in both
