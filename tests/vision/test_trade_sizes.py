"""Sizes in every form of the trade."""

import pytest

from vision.errors import TradeError
from vision.trade.gauges import System
from vision.trade.sizes import nearest_fractions, read_label, read_size

# Millimetres: the inch is 25.4 mm exactly (international yard and pound agreement of 1959).
# Gauges: R. Rowlett's units dictionary for SWG and W&M; ASTM B258 for AWG, as GNU units 2.22
# evaluates wiregauge(n).
FORMS = [
    ("1.63", 1.63), ("1.63mm", 1.63), (" 1.63 MM ", 1.63), ("1,63 mm", 1.63), (".8", 0.8),
    ("2", 2.0), ("0.064in", 1.6256), ("0.064 inch", 1.6256), ('0.064"', 1.6256),
    ("1/16in", 1.5875), ('1/4"', 6.35), ("1/4", 6.35), ("1 1/4 in", 31.75), ("1-1/4in", 31.75),
    ("16swg", 1.6256), ("16 SWG", 1.6256), ("SWG 16", 1.6256), ("swg16", 1.6256),
    ("14awg", 1.6277), ("AWG-14", 1.6277), ("14 b&s", 1.6277), ("2/0 awg", 9.2658),
    ("00awg", 9.2658), ("4/0 AWG", 11.684), ("0 swg", 8.2296), ("1/0swg", 8.2296),
    ("16 W&M", 1.5875), ("W&M 16", 1.5875), ("16wm", 1.5875), ("28swg", 0.3759),
    ("6 swg", 4.8768), ("10awg", 2.5882), ("13awg", 1.8278),
]  # fmt: skip


@pytest.mark.parametrize(("text", "mm"), FORMS)
def test_every_form_is_read(text: str, mm: float) -> None:
    assert read_size(text).value_mm == pytest.approx(mm, abs=0.00006)


def test_numbers_of_a_file_are_millimetres() -> None:
    assert read_size(1.63).value_mm == 1.63
    assert read_size(2).value_mm == 2.0


def test_a_gauge_remembers_its_system() -> None:
    gauge = read_size("14 AWG").gauge
    assert gauge is not None
    assert (gauge.system, gauge.number) == (System.AWG, 14)
    assert read_size("1.63").gauge is None


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("1.63mm", "1.63 mm"),
        ("1,63", "1.63 mm"),
        ("16swg", "SWG 16 = 1.626 mm"),
        ("1/4in", "1/4in = 6.350 mm"),
    ],
)
def test_a_size_can_be_named(text: str, name: str) -> None:
    assert read_size(text).name == name


NONSENSE = [
    "", " ", "abc", "0", "0mm", "-1", "-3 AWG", "1e9", "1e0", "nan", "inf", "1000000000", "0.0001",
    "1/0", "1/0in", "0/4in", "1/2mm", "16.5swg", "16 xyz", "swg", "1.6 3", "1.2.3", "16mil", "½in",
    "1_0", "١٦", "9" * 5000, "\x1b[31m",
]  # fmt: skip


@pytest.mark.parametrize("text", NONSENSE, ids=lambda text: repr(text[:12]))
def test_nonsense_is_answered_with_the_accepted_forms(text: str) -> None:
    with pytest.raises(TradeError) as caught:
        read_size(text)
    for form in ("1.63mm", "0.064in", "1/16in", "16swg", "14awg", "16wm"):
        assert form in caught.value.hint
    assert len(str(caught.value)) < 150


@pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf"), 1e9, 10**400, True])
def test_numbers_that_are_no_size_are_refused(value: float) -> None:
    with pytest.raises(TradeError):
        read_size(value)


@pytest.mark.parametrize("text", ["18 gauge", "18ga", "18g", "gauge 18", "18-gauge"])
def test_a_gauge_without_its_system_is_refused_with_its_three_meanings(text: str) -> None:
    # 1.0237 (AWG), 1.2192 (SWG) and 1.2065 mm (W&M): tables as above.
    with pytest.raises(
        TradeError, match=r"AWG 18 is 1.0237 .* SWG 18 is 1.2192 .* W&M 18 is 1.2065"
    ):
        read_size(text)


def test_a_label_may_leave_its_system_open() -> None:
    sizes = read_label("12 gauge")
    assert [size.gauge.name for size in sizes if size.gauge] == ["AWG 12", "SWG 12", "W&M 12"]
    # Tables as above.
    assert [size.value_mm for size in sizes] == pytest.approx([2.0525, 2.6416, 2.6797], abs=6e-5)
    assert len(read_label("12 AWG")) == 1
    assert len(read_label("35ga")) == 1
    with pytest.raises(TradeError):
        read_label("99 gauge")


@pytest.mark.parametrize(("text", "bare"), [("16", True), ("16mm", False), ("1.6", False)])
def test_a_whole_number_without_unit_could_be_a_gauge(text: str, bare: bool) -> None:
    assert read_size(text).is_bare is bare


@pytest.mark.parametrize("text", ["99swg", "31 swg", "5/0 awg", "41awg", "00swg", "000000 awg"])
def test_a_number_that_a_system_lacks_is_answered_with_its_range(text: str) -> None:
    with pytest.raises(TradeError, match=r"runs from .* mm\) to "):
        read_size(text)


@pytest.mark.parametrize(
    ("mm", "names"),
    [
        (6.35, ["1/4 in"]),
        (1.63, ["1/16 in"]),
        (7.94, ["5/16 in"]),
        (25.4, ["1 in"]),
        (30.16, ["1 3/16 in"]),
        (4.76, ["3/16 in"]),
        (0.1, ["1/64 in"]),
        (25.4 * 1.5 / 64, ["1/64 in", "1/32 in"]),
    ],
)
def test_the_nearest_64th_is_in_lowest_terms_and_a_tie_names_both(
    mm: float, names: list[str]
) -> None:
    assert [fraction.name for fraction in nearest_fractions(mm)] == names


def test_a_fraction_says_how_far_off_it_is() -> None:
    (nearest,) = nearest_fractions(6.4)
    assert nearest.difference_mm == pytest.approx(0.05)
    assert nearest.value_mm == 6.35
