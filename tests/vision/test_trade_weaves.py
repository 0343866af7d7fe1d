"""Weaves against the proved bound, and the arithmetic of orders.

The windows of the weaves are common practice from memory: no source stands against them here.
"""

import math

import pytest

from vision.errors import TradeError
from vision.trade.order import order_line
from vision.trade.packing import packings
from vision.trade.weaves import (
    Grip,
    find_weave,
    fit_batch,
    rings_for_length,
    wanted_id,
    weaves,
)

RATIO = {packing.n: packing.ratio for packing in packings()}


def test_there_are_enough_weaves_of_several_families() -> None:
    assert len(weaves()) >= 20
    assert len({weave.family for weave in weaves()}) >= 4
    assert len({weave.name for weave in weaves()}) == len(weaves())


@pytest.mark.parametrize("weave", weaves(), ids=lambda weave: weave.name)
def test_a_window_is_ordered_and_above_the_proved_bound(weave) -> None:
    assert 1 < weave.least < weave.usual < weave.most
    if weave.wires is not None:
        # All numbers in use are proved, so the bound is the ratio of the packing itself.
        assert weave.proved_least == RATIO[weave.wires]
        assert weave.least > RATIO[weave.wires]


@pytest.mark.parametrize("weave", weaves(), ids=lambda weave: weave.name)
def test_the_number_of_wires_is_the_number_in_the_name(weave) -> None:
    # Four-in-one: four rings through every one. A rosette of n rings: all others through each.
    words = weave.name.split()
    if weave.family == "European":
        counted = words[-1].partition("-")[0]
        assert weave.wires == (int(counted) if counted.isdigit() else weave.wires)
    if weave.family == "rosette":
        assert weave.wires == int(words[2]) - 1


# Circles in a circle (Kravitz 1967; proofs to 11): 1 + sqrt(2), 3, 1 + 1/sin(pi/7).
@pytest.mark.parametrize(
    ("name", "bound"),
    [
        ("European 4-in-1", 1 + math.sqrt(2)),
        ("European 6-in-1", 3.0),
        ("European 8-in-1", 1 + 1 / math.sin(math.pi / 7)),
    ],
)
def test_below_the_bound_a_weave_cannot_be_made(name: str, bound: float) -> None:
    weave = find_weave(name)
    assert weave.is_impossible(bound - 1e-4)
    assert not weave.is_impossible(bound + 1e-6)


def test_grip_follows_the_window() -> None:
    weave = find_weave("european 4in1")
    ars = [weave.least - 0.01, weave.least, weave.usual, weave.most, weave.most + 0.01]
    grips = [Grip.TOO_TIGHT, Grip.SNUG, Grip.MIDDLE, Grip.LOOSE, Grip.TOO_LOOSE]
    assert [weave.grip(ar) for ar in ars] == grips


# Common practice, no source: ID 11.6 on 1.8 mm wire is AR 6.44; 3.2 on 0.9 is 3.56; 5.3 on 1.3
# is 4.08.
@pytest.mark.parametrize(
    ("id_mm", "wire_mm", "ar"), [(11.6, 1.8, 6.44), (3.2, 0.9, 3.56), (5.3, 1.3, 4.08)]
)
def test_ratios_known_at_the_bench(id_mm: float, wire_mm: float, ar: float) -> None:
    assert round(order_line(wire_mm, id_mm).ar, 2) == ar


def test_rings_that_are_too_tight_are_named_and_doubt_is_kept_apart() -> None:
    weave = find_weave("Byzantine")
    ars = [3.5, weave.least - 0.2, weave.least - 0.02, weave.most + 0.1]
    fit = fit_batch(weave, ars, [0.05] * 4)
    assert (fit.too_tight, fit.perhaps_too_tight, fit.too_loose) == ((1,), (2,), (3,))


def test_the_spread_takes_its_part_of_the_window() -> None:
    # Mean and 2 sd either way: 4 * 0.1 of a window of most - least.
    weave = find_weave("European 4-in-1")
    fit = fit_batch(weave, [3.9, 4.0, 4.1], [0.05] * 3)
    assert fit.window_part == pytest.approx(0.4 / (weave.most - weave.least))
    assert fit_batch(weave, [4.0], [0.05]).window_part is None


def test_a_weave_wants_its_ratio_times_the_wire() -> None:
    weave = find_weave("European 4-in-1")
    wanted = wanted_id(weave, 1.63)
    assert wanted.least_mm == pytest.approx(weave.least * 1.63)
    assert wanted.usual_mm == pytest.approx(weave.usual * 1.63)
    assert wanted.most_mm == pytest.approx(weave.most * 1.63)


@pytest.mark.parametrize("weave", weaves(), ids=lambda weave: weave.name)
@pytest.mark.parametrize("wire_mm", [0.5, 1.0, 1.63, 3.0])
def test_offered_fractions_lie_in_the_window(weave, wire_mm: float) -> None:
    wanted = wanted_id(weave, wire_mm)
    sizes = [stock.value_mm for stock in wanted.stock]
    assert sizes == sorted(sizes)
    assert all(wanted.least_mm - 1e-6 <= size <= wanted.most_mm + 1e-6 for size in sizes)


def test_a_quarter_inch_is_offered_for_the_common_case() -> None:
    # 6.35 / 1.6256 = 3.906 (1/4 in on SWG 16).
    names = [stock.name for stock in wanted_id(find_weave("European 4-in-1"), 1.6256).stock]
    assert "1/4 in" in names


def test_a_taut_chain_of_single_rings_measures_n_id_and_two_wires() -> None:
    # From the geometry: 10 rings of ID 6 and wire 1 measure 10 * 6 + 2 = 62 mm.
    chain = find_weave("chain 2-in-1")
    assert rings_for_length(chain, 6.0, 1.0, 62.0) == 10
    assert rings_for_length(chain, 6.0, 1.0, 62.1) == 11
    assert rings_for_length(chain, 6.0, 1.0, 5.0) == 1


def test_no_arithmetic_is_invented_for_other_weaves() -> None:
    with pytest.raises(TradeError, match="no exact arithmetic"):
        rings_for_length(find_weave("Byzantine"), 6.0, 1.0, 62.0)


@pytest.mark.parametrize(("name", "offered"), [("byz", "Byzantine"), ("europan 4-in-1", "4-in-1")])
def test_a_mistyped_weave_is_answered_with_near_ones(name: str, offered: str) -> None:
    with pytest.raises(TradeError) as caught:
        find_weave(name)
    assert offered in caught.value.hint


def test_an_order_spells_its_gauge_out() -> None:
    # SWG 16 is 1.6256, AWG 14 1.6277 mm: both names are true. 1/4 in is 6.35 mm.
    text = order_line(1.6256, 6.35, metal="bronze", needed=500).text
    assert text == (
        "525 jump rings, bronze, wire 1.63 mm ± 0.02 mm (No. 16 Imperial Standard Wire Gauge, "
        "No. 14 American Wire Gauge), inside diameter 6.35 mm ± 0.12 mm (1/4 in)"
    )


def test_a_size_that_is_no_gauge_and_no_fraction_stays_millimetres() -> None:
    # 1.72 lies between SWG 15 (1.829) and 16 (1.626); 6.55 between 16/64 (6.35) and 17/64 (6.747).
    line = order_line(1.72, 6.55)
    assert line.gauges == () and line.fraction is None
    assert line.text.startswith("____ jump rings, metal ____, wire 1.72 mm ± 0.02 mm, inside")


@pytest.mark.parametrize(
    ("needed", "percent", "order"), [(100, 5.0, 105), (101, 5.0, 107), (3, 0.0, 3), (1, 5.0, 2)]
)
def test_spares_are_rounded_up(needed: int, percent: float, order: int) -> None:
    assert order_line(1.0, 4.0, needed=needed, spare_percent=percent).quantity == order


@pytest.mark.parametrize("weave", weaves(), ids=lambda weave: weave.name)
@pytest.mark.parametrize("part", [0.1, 0.5, 0.95])
def test_a_tolerance_keeps_the_weave_inside_its_window_or_says_that_it_does_not(
    weave, part: float
) -> None:
    ar = weave.least + part * (weave.most - weave.least)
    line = order_line(1.6, 1.6 * ar, weave=weave)
    tightest = (line.id_mm - line.id_tolerance_mm) / (line.wire_mm + line.wire_tolerance_mm)
    loosest = (line.id_mm + line.id_tolerance_mm) / (line.wire_mm - line.wire_tolerance_mm)
    # A tolerance may end exactly on the window; 1e-9 is the last digit of the division.
    inside = weave.least - 1e-9 <= tightest and loosest <= weave.most + 1e-9
    assert line.leaves_window is not inside
    assert inside or part != 0.5
