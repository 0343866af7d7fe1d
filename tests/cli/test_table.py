"""The table in the terminal."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from cli.show.table import result_text, total_text
from cli.show.wire import gauge_words, wire_sizes
from tests.cli.conftest import Pipeline
from tests.cli.fakes import photo, quantity, result, ring, unusable


def lines(rings, width: int = 80, **changes) -> list[str]:
    return result_text(result(rings, **changes), width=width).plain.splitlines()


def page(rings, width: int = 80, **changes) -> str:
    """The text with its line breaks undone."""
    return " ".join(" ".join(lines(rings, width, **changes)).split())


def test_a_ring_takes_one_line_of_80_columns_with_every_column() -> None:
    rings = [
        ring(1, cell="B3"),
        ring(2, wire=2.032, inside=12.7, cell="AC14", gap_mm=0.31, warnings=("oval by 4 %",)),
    ]
    shown = lines(rings)
    # Full lines, so that a change of layout is seen; U of AR 0.05 keeps one digit.
    assert shown[3:6] == [
        "ring  cell  wire mm        ID mm         OD mm         AR           gap   notes",
        "   1  B3    1.626 ± 0.021   6.35 ± 0.04   9.60 ± 0.04  3.91 ± 0.05  none",
        "   2  AC14  2.032 ± 0.021  12.70 ± 0.04  16.76 ± 0.04  6.25 ± 0.05  0.31  a",
    ]
    assert "a: oval by 4 %" in shown
    assert max(map(len, shown)) <= 80


def test_the_most_digits_still_fit_80_columns() -> None:
    fine = {"id_mm": quantity(12.7, 0.021), "od_mm": quantity(16.76, 0.021)}
    rings = [ring(1, cell="AC14", ar=quantity(6.25, 0.019), gap_mm=0.31, warnings=("x",), **fine)]
    shown = lines(rings)
    assert shown[3].split("mm")[-1].split() == ["AR", "gap", "notes"]
    assert "12.700 ± 0.021 16.760 ± 0.021 6.250 ± 0.019 0.31 a" in shown[4]
    assert len(shown[4]) <= 80


def test_columns_that_nothing_stands_in_are_left_out() -> None:
    heading = lines([ring(1, gap_mm=None)])[3]
    assert heading.split() == ["ring", "wire", "mm", "ID", "mm", "OD", "mm", "AR"]


@pytest.mark.parametrize("width", [30, 40, 50, 60, 72, 80, 132])
def test_no_terminal_is_too_narrow(width: int) -> None:
    rings = [ring(1, cell="B3", warnings=("near the frame",)), ring(2), unusable(3, "cut off")]
    shown = lines(rings, width)
    assert max(map(len, shown)) <= width
    text = " ".join(shown)
    for number in ("1.626 ± 0.021", "6.35 ± 0.04"):
        assert number in " ".join(text.split())


def test_a_narrow_terminal_says_what_it_leaves_out() -> None:
    assert "left out for want of room: OD mm" in page([ring(1, cell="B3")], 60)


def test_unusable_rings_stand_below_with_their_reasons() -> None:
    text = page([ring(1), unusable(2, "overlaps ring 1", "cut by the frame")])
    assert "unusable 2 overlaps ring 1; cut by the frame" in text
    assert "2 rings: 1 measured, 1 unusable" in text


def test_a_photo_of_unusable_rings_only_has_no_table() -> None:
    text = page([unusable(1, "stands on its edge")])
    assert "wire mm" not in text
    assert "1 ring: 0 measured, 1 unusable" in text


def test_the_batch_lines_give_mean_sd_and_range() -> None:
    rings = [ring(number, wire=wire) for number, wire in enumerate((1.60, 1.62, 1.64), start=1)]
    shown = lines(rings)
    row = next(line for line in shown if line.startswith("wire mm") and "to" in line)
    # Mean 1.62, sd 0.02 by hand; 1.62 mm is 0.0638 in.
    assert row.split() == ["wire", "mm", "1.620", "0.020", "1.600", "to", "1.640", "0.0638", "in"]


def test_a_single_ring_has_no_sd() -> None:
    row = next(line for line in lines([ring(1)]) if line.startswith("AR"))
    assert row.split() == ["AR", "3.91", "-", "3.91", "to", "3.91"]


def test_several_wire_sizes_are_told_apart() -> None:
    rings = [ring(number, wire=1.2 if number % 2 else 1.63) for number in range(1, 7)]
    text = page(rings)
    assert "2 wire sizes: mean and sd mix them" in text
    assert "wire 1.200 mm, 3 rings: SWG 18 = 1.219" in text
    assert "wire 1.630 mm, 3 rings: AWG 14 = 1.628" in text


def test_sizes_part_only_where_wires_jump() -> None:
    wires = [quantity(value, 0.02) for value in (1.63, 1.20, 1.61, 1.22, 1.65)]
    sizes = [[wire.value for wire in size] for size in wire_sizes(wires)]
    assert sizes == [[1.20, 1.22], [1.61, 1.63, 1.65]]


def test_coinciding_gauges_are_both_named() -> None:
    # SWG 16 is 1.6256 mm (GNU units 2.22) and AWG 14 1.6277 mm (ASTM B258).
    words = gauge_words(1.626, 0.02)
    assert words == (
        "SWG 16 = 1.626, 0.000 off; AWG 14 = 1.628, 0.002 off: too close for a photo to tell apart"
    )


def test_a_wire_between_two_gauges_is_said_to_be_between() -> None:
    # AWG 15 and 14: 1.4495 and 1.6277 mm (ASTM B258); 1.54 is no AWG size.
    assert "between AWG 15 = 1.450 and AWG 14 = 1.628" in gauge_words(1.54, 0.02)


def test_a_tie_names_both_gauges() -> None:
    # Half way between SWG 15 (0.072 in) and 16 (0.064 in).
    assert "half way between SWG 15 = 1.829 and SWG 16 = 1.626" in gauge_words(0.068 * 25.4, 0.02)


def test_a_wire_beyond_the_tables_is_said_to_be() -> None:
    assert "thicker than SWG 0 = 8.230" in gauge_words(9.5, 0.02)
    assert "thinner than SWG 30 = 0.315" in gauge_words(0.2, 0.01)


def test_the_scale_line_names_reference_pixel_height_and_tilt() -> None:
    # u_rel 0.0012 (k = 1) is 0.24 % at k = 2.
    assert lines([ring(1)])[1] == (
        "scale: coin eur-1, 0.10000 mm/px ± 0.24 %, camera 200 mm up, tilted 1.8°"
    )


def test_a_stated_scale_says_nothing_of_height_and_tilt() -> None:
    scale = replace(
        result().scale, kind="stated", reference="1200 dpi", camera_height_mm=None, tilt_deg=None
    )
    assert lines([ring(1)], scale=scale)[1] == "scale: stated 1200 dpi, 0.10000 mm/px ± 0.24 %"


def test_warnings_and_notes_are_shown() -> None:
    scale = replace(result().scale, notes=("read at 20 cm",), warnings=("tilted",))
    text = page([ring(1)], scale=scale, warnings=("blurred",))
    assert "note: read at 20 cm" in text
    assert "warning: tilted warning: blurred" in text


def test_nothing_that_a_photo_brings_can_steer_the_terminal() -> None:
    evil = "\x1b[2J\x07\u202e"
    scale = replace(result().scale, reference=evil, notes=(evil,), warnings=(evil,))
    rings = [ring(1, cell=evil, warnings=(evil,)), unusable(2, evil)]
    text = result_text(result(rings, file=f"{evil}.jpg", scale=scale), width=80).plain
    assert not set(evil) & {"\x1b", "\x07", "\u202e"} & set(text)


def test_several_photos_end_in_a_common_summary() -> None:
    text = total_text([result([ring(1)]), result([ring(1), unusable(2, "x")])], width=80).plain
    assert text.startswith("2 photos together\n3 rings: 2 measured, 1 unusable\n")


def test_colour_stays_away_from_pipes_and_from_no_color(
    pipeline: Pipeline, run: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tray = photo(tmp_path / "tray.jpg")
    assert "\x1b" not in run("measure", tray).stdout
    pipeline.answers["tray.jpg"] = result([ring(1, warnings=("oval",))])
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "\x1b[33m" in run("measure", tray).stdout
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[33m" not in run("measure", tray).stdout
