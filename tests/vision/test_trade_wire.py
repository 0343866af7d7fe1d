"""Nearest gauges with their distance, and labels held against a wire."""

import pytest

from vision.trade.sizes import read_label, read_size
from vision.trade.wire import Fit, check_label, describe_wire

# Pairs that no photo tells apart, and their difference in mm: from the tables of R. Rowlett's
# units dictionary (SWG, W&M) and ASTM B258 (AWG), subtracted.
COINCIDENCES = [
    ("16swg", "AWG 14", 0.0021), ("21swg", "AWG 20", 0.0010), ("20swg", "AWG 19", 0.0028),
    ("19swg", "AWG 18", 0.0077), ("15swg", "AWG 13", 0.0010), ("15swg", "W&M 15", 0.0),
    ("14swg", "W&M 14", 0.0), ("6swg", "W&M 6", 0.0), ("22swg", "AWG 21", 0.0117),
    ("18swg", "W&M 18", 0.0127),
]  # fmt: skip


@pytest.mark.parametrize(("stated", "other", "apart_mm"), COINCIDENCES)
def test_gauges_that_nearly_coincide_are_both_named(
    stated: str, other: str, apart_mm: float
) -> None:
    wire = describe_wire(read_size(stated).value_mm, 0.02)
    found = {candidate.gauge.name: candidate for candidate in wire.candidates}
    assert abs(found[other].difference_mm) == pytest.approx(apart_mm, abs=0.0001)
    assert {other, read_size(stated).gauge.name} <= {gauge.name for gauge in wire.same}  # type: ignore[union-attr]


def test_a_sharper_measurement_tells_them_apart() -> None:
    # 1.6256 (SWG 16) and 1.6277 (AWG 14) are 0.0021 mm apart.
    assert [gauge.name for gauge in describe_wire(1.6256, 0.001).same] == ["SWG 16"]
    assert [gauge.name for gauge in describe_wire(1.626, 0.002).same] == ["SWG 16", "AWG 14"]


def test_a_wire_half_way_between_two_numbers_is_a_tie() -> None:
    wire = describe_wire(0.068 * 25.4)
    assert [c.gauge.name for c in wire.candidates if c.tied] == ["SWG 15", "SWG 16"]


def test_a_wire_beyond_a_system_says_so() -> None:
    # Number 0 is 8.2515 mm (AWG), 8.2296 (SWG) and 7.7851 (W&M); AWG goes on to 4/0, 11.684 mm.
    beyond = {c.gauge.name: c.beyond for c in describe_wire(9.0).candidates}
    assert beyond == {"AWG 2/0": False, "SWG 0": True, "W&M 0": True}


def test_inches_are_exact() -> None:
    assert describe_wire(1.6256).value_in == pytest.approx(0.064, abs=1e-12)


# Common practice, no source: wire sold as 12 gauge that reads 1.8 to 1.9 mm.
@pytest.mark.parametrize("value_mm", [1.8, 1.83, 1.85, 1.9])
@pytest.mark.parametrize("label", ["12 AWG", "12 gauge", "12 SWG"])
def test_wire_sold_as_12_gauge_that_reads_less_does_not_fit(value_mm: float, label: str) -> None:
    check = check_label(value_mm, read_label(label))
    assert check.fit is Fit.NO
    assert any("under size" in reason for reason in check.reasons)
    assert not any("fits" in reason and "none" not in reason for reason in check.reasons)


def test_1_83_mm_under_a_label_of_12_awg_is_nearer_to_13_awg_and_15_swg() -> None:
    # AWG 12 is 2.0525 mm: 2.0525 - 1.83 = 0.2225.
    check = check_label(1.83, read_label("12 AWG"))
    assert check.readings[0].difference_mm == pytest.approx(-0.2225, abs=6e-5)
    assert {"AWG 13", "SWG 15"} <= {gauge.name for gauge in describe_wire(1.83).same}


def test_a_number_of_another_system_is_the_first_reason() -> None:
    # SWG 16 is 1.6256 mm, AWG 16 is 1.2908 mm.
    check = check_label(1.29, read_label("16 SWG"))
    assert check.fit is Fit.NO
    assert "AWG 16 fits" in check.reasons[0]


def test_a_label_without_system_fits_if_any_system_does() -> None:
    # SWG 18 is 1.2192, AWG 18 is 1.0237.
    assert check_label(1.22, read_label("18 gauge")).fit is Fit.YES
    assert check_label(1.03, read_label("18 gauge")).fit is Fit.YES
    assert check_label(1.12, read_label("18 gauge")).fit is Fit.NO


@pytest.mark.parametrize(
    ("value_mm", "fit"),
    [
        (1.6277, Fit.YES),
        (1.6470, Fit.YES),
        (1.6080, Fit.YES),
        (1.6500, Fit.OPEN),
        (1.5950, Fit.OPEN),
        (1.6650, Fit.NO),
        (1.5900, Fit.NO),
    ],
)
def test_between_yes_and_no_lies_what_drawing_may_explain(value_mm: float, fit: Fit) -> None:
    # AWG 14 is 1.6277 mm; U 0.02; 1 % of it is 0.0163: yes to 0.0200 off, no from 0.0363.
    assert check_label(value_mm, read_label("14 AWG"), 0.02).fit is fit


def test_a_coating_makes_a_wire_thicker_never_thinner() -> None:
    thick = check_label(1.70, read_label("14 AWG"))
    assert any("coating" in reason and "on top" in reason for reason in thick.reasons)
    assert not any("under size" in reason for reason in thick.reasons)
