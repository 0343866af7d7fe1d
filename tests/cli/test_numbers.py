"""Rounding against the examples of the GUM (JCGM 100, 7.2.6; its wording from memory)."""

import numpy as np
import pytest

from cli.show.numbers import aligned, rounded, significant


@pytest.mark.parametrize(
    ("value", "u95", "expected"),
    [
        # 7.2.6: "if y = 10.057 62 with u = 27 milli, y should be rounded to 10.058".
        (10.05762, 0.027, ("10.058", "0.027")),
        # 7.2.6: "10.47 might be rounded up to 11".
        (1234.4, 10.47, ("1234", "11")),
        # 7.2.6: "a value such as 28.05 should be rounded down to 28".
        (1234.4, 28.05, ("1234", "28")),
    ],
)
def test_the_examples_of_the_gum(value: float, u95: float, expected: tuple[str, str]) -> None:
    assert rounded(value, u95) == expected


@pytest.mark.parametrize(
    ("value", "u95", "expected"),
    [
        (6.3577, 0.034, ("6.36", "0.04")),
        (6.3577, 0.0305, ("6.36", "0.03")),
        (1.6263, 0.02999, ("1.626", "0.030")),
        (3.9, 0.0999, ("3.90", "0.10")),
        (1234.0, 123.0, ("1230", "120")),
        (-0.001, 0.03, ("0.00", "0.03")),
        (5.0, 0.1 + 0.2, ("5.0", "0.3")),
    ],
)
def test_both_end_at_the_same_place(value: float, u95: float, expected: tuple[str, str]) -> None:
    assert rounded(value, u95) == expected


def test_u_keeps_one_or_two_digits_and_is_never_told_much_too_small() -> None:
    rng = np.random.default_rng(20240501)
    for u95 in 10.0 ** rng.uniform(-4, 2, 500):
        value, shown = rounded(float(rng.uniform(0.1, 30.0)), float(u95))
        digits = shown.replace(".", "").strip("0") if "." in shown else shown.rstrip("0")
        assert 1 <= len(digits.lstrip("0")) <= 2
        assert 0.96 * u95 <= float(shown) <= 1.34 * u95
        assert len(value.partition(".")[2]) == len(shown.partition(".")[2])


@pytest.mark.parametrize("u95", [0.0, -0.1, float("nan"), float("inf")])
def test_an_uncertainty_that_is_none_is_refused(u95: float) -> None:
    with pytest.raises(ValueError, match="must be positive"):
        rounded(1.0, u95)


def test_points_stand_below_each_other() -> None:
    cells = aligned([("10.058", "0.027"), ("6.36", "0.04"), ("7", "1")])
    assert cells == ["10.058 ± 0.027", " 6.36  ± 0.04 ", " 7     ± 1    "]
    assert aligned([]) == []


@pytest.mark.parametrize(
    ("value", "shown"), [(0.02468, "0.025"), (0.24, "0.24"), (12.6, "13"), (0.0, "0"), (340, "340")]
)
def test_two_significant_digits_written_out(value: float, shown: str) -> None:
    assert significant(value) == shown
