"""Order files: what they may say, and what is said of those that cannot be."""

import re
import tomllib

import pytest

from vision.batch.order import EXAMPLE, KEYS, OrderError, read_order

LEAST = "wire = 1.6\nwire_tolerance_mm = 0.05\nid = 6.4\nid_tolerance_mm = 0.1\n"


def read(text: str):
    return read_order(text, file="order.toml")


def test_the_example_is_an_order() -> None:
    order = read(EXAMPLE)
    assert (order.name, order.lot_size) == ("bronze for the lampshade", 500)
    # SWG 16 is 0.064 in, a quarter inch 6.35 mm.
    assert order.wire.limits_mm == pytest.approx((1.6256 - 0.04, 1.6256 + 0.04))
    assert order.inside.limits_mm == pytest.approx((6.25, 6.45))
    assert order.wire.size.gauge is not None and order.wire.size.gauge.name == "SWG 16"
    assert (order.max_off_share, order.confidence) == pytest.approx((0.05, 0.95))
    assert set(tomllib.loads(EXAMPLE)["order"]) <= set(KEYS)


@pytest.mark.parametrize(
    ("wire", "mm"),
    [('"14 AWG"', 1.6277), ('"0.064 in"', 1.6256), ("1.63", 1.63), ("2", 2.0), ('"1,6 mm"', 1.6)],
)
def test_wire_is_said_in_the_trades_words(wire: str, mm: float) -> None:
    order = read("[order]\n" + LEAST.replace("wire = 1.6\n", f"wire = {wire}\n"))
    assert order.wire.size.value_mm == pytest.approx(mm, abs=5e-5)


def test_what_an_order_need_not_say() -> None:
    order = read("[order]\n" + LEAST)
    assert (order.name, order.lot_size, order.ar_min) == ("order.toml", None, None)
    assert (order.max_off_share, order.confidence) == pytest.approx((0.05, 0.95))


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("wire = 16 SWG", "no TOML"),
        ("wire = ", "at line 6"),
        ("lot_size = 0", "line 6: lot_size must be a whole number of rings from 1, found 0"),
        ("lot_size = 5.5", "line 6: lot_size must be a whole number"),
        ("lot_size = true", "line 6: lot_size must be a whole number of rings from 1, found true"),
        ("confidence_percent = 100", "line 6: confidence_percent must be a number from 50 to"),
        ("confidence_percent = nan", "line 6: confidence_percent must be a number from 50"),
        ("max_off_size_percent = -1", "line 6: max_off_size_percent must be a number from 0"),
        ("ar_min = inf", "line 6: ar_min must be a positive number"),
        ("ar_min = 4\nar_max = 3", "line 7: ar_max must be more than ar_min"),
        ("name = 7", "line 6: name must be text"),
        ("wire_tolerence_mm = 1", "line 6: wire_tolerence_mm: [order] knows no key"),
    ],
)
def test_errors_name_line_and_key(lines: str, said: str) -> None:
    with pytest.raises(OrderError) as caught:
        read(f"[order]\n{LEAST}{lines}\n")
    assert said in str(caught.value)
    assert "order.toml" in str(caught.value)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("line", "instead", "said"),
    [
        ("wire = 1.6", 'wire = "16 gauge"', "line 2: wire: '16 gauge' does not name a wire"),
        ("wire = 1.6", 'wire = "soon"', "line 2: wire: cannot read 'soon' as a size"),
        ("wire = 1.6", "wire = [1.6]", "line 2: wire must be a number of mm"),
        ("wire = 1.6", "wire = -1.6", "line 2: wire: '-1.6' is no size"),
        ("wire_tolerance_mm = 0.05", "wire_tolerance_mm = 0", "line 3: wire_tolerance_mm must be"),
        ("wire_tolerance_mm = 0.05", "wire_tolerance_mm = 3", "must be less than wire itself"),
        ("id_tolerance_mm = 0.1\n", "", "lacks the key id_tolerance_mm"),
        ("id = 6.4\n", "", "lacks the key id"),
    ],
)
def test_sizes_and_tolerances_that_cannot_be(line: str, instead: str, said: str) -> None:
    with pytest.raises(OrderError) as caught:
        read("[order]\n" + LEAST.replace(line, instead))
    assert said in str(caught.value)
    assert caught.value.hint


def test_a_file_without_an_order_shows_one() -> None:
    for text in ("", "[orders]\n", "order = 5\n"):
        with pytest.raises(OrderError, match=r"no table \[order\]") as caught:
            read(text)
        keys = re.findall(r"\w+(?= =)", caught.value.hint)
        assert keys == ["wire", "wire_tolerance_mm", "id", "id_tolerance_mm"]
