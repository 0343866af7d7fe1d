"""`annulet gauge`."""

import json
from collections.abc import Callable

import pytest

# Gauges: R. Rowlett's units dictionary (SWG, W&M), ASTM B258 (AWG); inch 25.4 mm.


@pytest.fixture(autouse=True)
def _eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("asked", "value_mm", "names"),
    [
        ("1.63", 1.63, {"AWG 14", "SWG 16", "W&M 16"}),
        ("1.63mm", 1.63, {"AWG 14", "SWG 16", "W&M 16"}),
        ("0.064in", 1.6256, {"AWG 14", "SWG 16", "W&M 16"}),
        ("1/16in", 1.5875, {"AWG 14", "SWG 16", "W&M 16"}),
        ("16swg", 1.6256, {"AWG 14", "SWG 16", "W&M 16"}),
        ("14awg", 1.6277, {"AWG 14", "SWG 16", "W&M 16"}),
        ("16 W&M", 1.5875, {"AWG 14", "SWG 16", "W&M 16"}),
    ],
)
def test_every_form_is_answered(
    run: Callable, asked: str, value_mm: float, names: set[str]
) -> None:
    record = json.loads(run("gauge", asked, "--json").stdout)
    assert (record["format"], record["version"]) == ("annulet-gauge", 1)
    assert record["value_mm"] == pytest.approx(value_mm, abs=6e-5)
    assert record["value_in"] == pytest.approx(value_mm / 25.4, abs=3e-6)
    assert {row["name"] for row in record["nearest"]} == names
    assert record["fractions"][0]["name"] == "1/16 in"
    for row in record["nearest"]:
        off_mm = value_mm - row["diameter_mm"]
        assert row["difference_mm"] == pytest.approx(off_mm, abs=2e-4)
        assert row["inside_u95"] is (abs(row["difference_mm"]) <= 0.02)


def test_words_of_a_size_need_no_quotes(run: Callable) -> None:
    assert run("gauge", "16", "SWG").stdout == run("gauge", "16 SWG").stdout


def test_the_ambiguous_pair_is_named_in_words(run: Callable) -> None:
    shown = run("gauge", "16swg").stdout
    assert "SWG 16 and AWG 14 are 0.0021 mm apart" in shown
    assert "cannot tell them apart" in words(shown)


def test_a_tie_is_said(run: Callable) -> None:
    # Half way between SWG 15 (0.072 in) and SWG 16 (0.064 in).
    lines = run("gauge", "0.068in").stdout.splitlines()
    assert [line.split("  ")[0] for line in lines if "half way" in line] == ["SWG 15", "SWG 16"]


def test_the_uncertainty_can_be_stated(run: Callable) -> None:
    record = json.loads(run("gauge", "1.63", "--u95-mm", "0.003", "--json").stdout)
    assert (record["u95_mm"], record["u95_stated"]) == (0.003, True)
    assert [row["inside_u95"] for row in record["nearest"]] == [True, False, False]


def test_a_wrong_label_is_answered_with_what_it_should_say(run: Callable) -> None:
    ended = run("gauge", "1.83", "--label", "12 AWG")
    assert ended.exit_code == 4
    shown = words(ended.stdout)
    assert "label '12 AWG': does not fit. AWG 12 = 2.053 mm" in shown
    assert "AWG 13" in shown and "SWG 15" in shown and "possible reasons" in shown


def test_a_true_label_is_a_yes_and_a_doubtful_one_cannot_tell(run: Callable) -> None:
    # AWG 14 is 1.6277 mm.
    assert run("gauge", "1.63", "--label", "14 AWG").exit_code == 0
    assert run("gauge", "1.60", "--label", "14 AWG").exit_code == 5


def test_a_bare_whole_number_is_answered_in_mm_with_a_caution(run: Callable) -> None:
    shown = words(run("gauge", "8").stdout)
    assert "8 was read as millimetres; for gauge number 8 write 8swg, 8awg or 8wm" in shown


@pytest.mark.parametrize(
    "asked", [["-3 AWG"], ["-3", "AWG"], ["-3"], ["abc"], ["0"], ["1e9"], ["nan"], ["1/0"], [""]]
)
def test_nonsense_is_answered_with_the_accepted_forms(run: Callable, asked: list[str]) -> None:
    ended = run("gauge", *asked)
    assert ended.exit_code == 2
    assert "hint: write 1.63, 1.63mm, 0.064in, 1/16in, 16swg, 14awg or 16wm" in ended.stderr
    assert ended.stdout == ""


def test_a_mistyped_option_is_called_one(run: Callable) -> None:
    ended = run("gauge", "1.63", "--jsno")
    assert ended.exit_code == 2
    assert "no such option: --jsno" in ended.stderr


def test_control_characters_do_not_reach_the_terminal(run: Callable) -> None:
    ended = run("gauge", "1.63", "--label", "\x1b[31m12")
    assert ended.exit_code == 2
    assert "\x1b" not in ended.stderr + ended.stdout


@pytest.mark.parametrize("asked", ["1.63", "1.83", "16", "0.06", "150"])
def test_lines_fit_the_terminal(run: Callable, asked: str) -> None:
    shown = run("gauge", asked, "--label", "12 gauge").stdout
    assert max(map(len, shown.splitlines())) <= 80
