"""Gauges against tables read elsewhere (values from memory are marked)."""

import itertools

import pytest

from vision.trade.gauges import (
    System,
    awg_mm,
    find_gauge,
    gauges,
    nearest,
    neighbours,
)

TOLERANCE_MM = 0.00006
"""The tables have four decimals."""

# AWG: formula of ASTM B258, as evaluated by GNU units 2.22, wiregauge(n).
# SWG: R. Rowlett's units dictionary and GNU units 2.22, brwiregauge(n).
# Steel wire: R. Rowlett's units dictionary.
TABLE_MM = {
    System.AWG: {
        0: 8.2515, 6: 4.1154, 10: 2.5882, 12: 2.0525, 14: 1.6277, 16: 1.2908, 18: 1.0237,
        20: 0.8118, 24: 0.5106, 30: 0.2546,
    },
    System.SWG: {
        0: 8.2296, 6: 4.8768, 10: 3.2512, 12: 2.6416, 14: 2.0320, 16: 1.6256, 18: 1.2192,
        20: 0.9144, 22: 0.7112, 27: 0.4166, 28: 0.3759, 30: 0.3150,
    },
    System.STEEL: {
        0: 7.7851, 6: 4.8768, 12: 2.6797, 14: 2.0320, 16: 1.5875, 18: 1.2065, 20: 0.8839,
        30: 0.3556,
    },
}  # fmt: skip

ALL = [(system, number, mm) for system, rows in TABLE_MM.items() for number, mm in rows.items()]


def names(value_mm: float, system: System) -> list[str]:
    return [match.gauge.name for match in nearest(value_mm, (system,))]


@pytest.mark.parametrize(("system", "number", "mm"), ALL)
def test_a_gauge_has_the_diameter_of_the_table(system: System, number: int, mm: float) -> None:
    assert find_gauge(system, number).diameter_mm == pytest.approx(mm, abs=TOLERANCE_MM)


def test_awg_meets_its_two_defining_sizes_and_its_step() -> None:
    # ASTM B258: No. 36 is 0.0050 in, No. 0000 is 0.4600 in, six steps are 92^(6/39).
    assert awg_mm(36) == pytest.approx(0.0050 * 25.4, rel=1e-12)
    assert awg_mm(-3) == pytest.approx(0.4600 * 25.4, rel=1e-12)
    assert awg_mm(10) / awg_mm(16) == pytest.approx(2.0050, abs=5e-5)


def test_steel_wire_21_lies_between_the_roundings_in_print() -> None:
    # Printed .0317, .0318 and .03175 in different tables.
    assert 0.8051 < find_gauge(System.STEEL, 21).diameter_mm < 0.8078


def test_swg_steps_are_constant_between_its_knots() -> None:
    # The standard of 1884 is piecewise arithmetic (GNU units 2.22, brwiregauge).
    for first, last in ((3, 6), (6, 10), (10, 14), (14, 19), (19, 23), (23, 26), (28, 30)):
        sizes = [find_gauge(System.SWG, n).diameter_mm / 25.4 for n in range(first, last + 1)]
        steps = [thick - thin for thick, thin in itertools.pairwise(sizes)]
        assert steps == pytest.approx([steps[0]] * len(steps), abs=1e-9)


@pytest.mark.parametrize("system", list(System))
def test_every_gauge_is_nearest_to_itself_and_thinner_than_the_one_before(system: System) -> None:
    table = gauges(system)
    for gauge in table:
        assert names(gauge.diameter_mm, system) == [gauge.name]
    assert all(a.diameter_mm > b.diameter_mm for a, b in itertools.pairwise(table))


def test_a_value_half_way_between_neighbours_names_both() -> None:
    assert names(0.068 * 25.4, System.SWG) == ["SWG 15", "SWG 16"]
    assert names((awg_mm(14) + awg_mm(15)) / 2, System.AWG) == ["AWG 14", "AWG 15"]


def test_1_626_mm_is_both_swg_16_and_awg_14() -> None:
    first, second, third = nearest(1.626)
    assert [first.gauge.name, second.gauge.name] == ["SWG 16", "AWG 14"]
    assert first.difference_mm == pytest.approx(0.0004, abs=1e-9)
    assert second.difference_mm == pytest.approx(-0.0017, abs=5e-5)
    assert third.gauge.name == "W&M 16"


def test_thick_numbers_are_written_with_a_slash() -> None:
    assert find_gauge(System.AWG, -3).name == "AWG 4/0"
    assert find_gauge(System.AWG, -1).name == "AWG 2/0"


def test_neighbours_enclose_a_value_and_end_with_the_table() -> None:
    thinner, thicker = neighbours(1.5, System.AWG)
    assert thinner is not None and thicker is not None
    assert (thinner.name, thicker.name) == ("AWG 15", "AWG 14")
    assert neighbours(20.0, System.SWG)[1] is None
    assert neighbours(0.1, System.SWG)[0] is None


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan")])
def test_a_wire_without_size_is_refused_with_the_value(value: float) -> None:
    with pytest.raises(ValueError, match=f"must be positive, got {value}"):
        nearest(value)


def test_a_number_that_a_system_lacks_is_refused() -> None:
    with pytest.raises(ValueError, match="SWG has no number 99"):
        find_gauge(System.SWG, 99)


# Misprints in circulation, and what the standards say: SWG 28 as 0.0149 in, SWG 1/0 as 8.236 mm,
# SWG 6 as 0.182 in (R. Rowlett's units dictionary, GNU units 2.22); AWG inches cut off instead of
# rounded, .1442 .1018 .0719 .0319 (formula of ASTM B258).
@pytest.mark.parametrize(
    ("system", "number", "inches"),
    [
        (System.SWG, 28, 0.0148),
        (System.SWG, 0, 0.3240),
        (System.SWG, 6, 0.1920),
        (System.AWG, 7, 0.1443),
        (System.AWG, 10, 0.1019),
        (System.AWG, 13, 0.0720),
        (System.AWG, 20, 0.0320),
    ],
)
def test_misprints_of_other_tables_are_not_repeated(
    system: System, number: int, inches: float
) -> None:
    assert round(find_gauge(system, number).diameter_mm / 25.4, 4) == inches
