"""Pieces of wire wherever results are shown: told apart from rings, and never counted as such."""

import csv
import io
import json
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from cli.report.measured import measured_html
from cli.show.budget import budget_text
from cli.show.marked import mark
from cli.show.record import csv_text, json_text
from cli.show.table import result_text
from tests.cli.conftest import Pipeline
from tests.cli.fakes import HEIGHT_PX, WIDTH_PX, photo, quantity, result, ring
from vision.batch.read import shot_of
from vision.results import NearGauge, Status, Wire

GREY = np.full((HEIGHT_PX, WIDTH_PX, 3), 128, dtype=np.uint8)


def wire(number: int, *, width: float = 1.02, **changes) -> Wire:
    y = 200.0 + 60.0 * number
    made = {
        "number": number,
        "center_px": (200.0, y),
        "ends_px": ((50.0, y), (350.0, y)),
        "center_mm": (20.0, -0.1 * y),
        "length_mm": 30.0,
        "status": Status.MEASURED,
        "wire_mm": quantity(width, 0.02),
        "variation_mm": quantity(0.031, 0.012),
        # AWG 18 by ASTM B258, 1.0237 mm; SWG 19 (0.040 in) from memory.
        "awg": NearGauge(name="AWG 18", diameter_mm=1.0237, off_mm=width - 1.0237),
        "swg": NearGauge(name="SWG 19", diameter_mm=1.016, off_mm=width - 1.016),
        "outline_px": np.array([[50.0, y - 5], [350.0, y - 5], [350.0, y + 5], [50.0, y + 5]]),
    }
    return Wire(**(made | changes))


def lost(number: int) -> Wire:
    nothing = dict.fromkeys(("wire_mm", "variation_mm", "awg", "swg"))
    return wire(number, status=Status.UNUSABLE, reasons=("covered or bent",), **nothing)


BOTH = result([ring(1), ring(2)], wires=(wire(1), wire(2, width=1.3), lost(3)))
ALONE = result([], wires=(wire(1),))


def page(shown, width: int = 80) -> list[str]:
    return result_text(shown, width=width).plain.splitlines()


def test_the_terminal_has_a_table_of_wires_under_that_of_rings() -> None:
    lines = page(BOTH)
    heading = next(k for k, line in enumerate(lines) if line.startswith("wire  wire mm"))
    assert lines[heading + 1].split() == (
        ["W1", "1.020", "±", "0.020", "0.031", "±", "0.012", "30", "mm", "18", "(=)", "19", "(=)"]
    )
    # 1.3 mm is 0.276 above AWG 18 in this made-up record: beyond U, so the difference is said.
    assert "18 (+0.276)" in lines[heading + 2]
    assert "W3  covered or bent" in lines[heading + 3]
    assert "2 rings: 2 measured, 0 unusable" in lines
    assert any(line.startswith("3 pieces of wire: 2 measured, 1 unusable") for line in lines)


@pytest.mark.parametrize("width", [30, 45, 60, 80])
def test_no_terminal_is_too_narrow_for_wires(width: int) -> None:
    assert max(map(len, page(BOTH, width))) <= width
    assert "W1" in " ".join(page(BOTH, width))


def test_wires_alone_are_no_empty_answer() -> None:
    text = " ".join(page(ALONE))
    assert "1 piece of wire: 1 measured, 0 unusable" in text
    assert "ring" not in text


def test_the_result_file_names_the_kind_and_keeps_its_rings() -> None:
    record = json.loads(json_text(BOTH))
    assert [row["kind"] for row in record["rings"]] == ["ring", "ring"]
    assert [row["kind"] for row in record["wires"]] == ["wire"] * 3
    assert record["summary"]["rings"] == record["summary"]["measured"] == 2
    first = record["wires"][0]
    assert (first["wire_mm"], first["wire_u95_mm"]) == (1.02, pytest.approx(0.02))
    assert first["awg"]["name"] == "AWG 18"
    assert record["wires"][2]["wire_mm"] is None


def test_csv_rows_of_wires_say_so() -> None:
    rows = list(csv.DictReader(io.StringIO(csv_text([BOTH]), newline="")))
    assert [(row["ring"], row["kind"]) for row in rows] == [
        ("1", "ring"),
        ("2", "ring"),
        ("W1", "wire"),
        ("W2", "wire"),
        ("W3", "wire"),
    ]
    assert rows[2]["id_mm"] == "" and rows[2]["length_mm"] == "30.0"


def test_what_judges_rings_never_sees_a_wire() -> None:
    shot = shot_of(BOTH)
    assert len(shot.rings) == len(shot.measured) == 2
    assert BOTH.spread("wire_mm") == result([ring(1), ring(2)]).spread("wire_mm")


def test_the_marked_photo_draws_and_names_wires() -> None:
    bare, marked = mark(GREY, result([])), mark(GREY, ALONE)
    # The outline's long sides are drawn, and a label stands beside the wire.
    assert (marked[255, 60:340] != bare[255, 60:340]).any(axis=1).mean() > 0.9
    changed = (marked[:HEIGHT_PX] != bare[:HEIGHT_PX]).any(axis=2)
    changed[250:271] = False
    assert changed.sum() > 100


def test_the_report_lists_wires_also_without_a_ring() -> None:
    for shown in (BOTH, ALONE):
        text = measured_html(shown, GREY, written=date(2026, 3, 2))
        assert 'id="wire-W1"' in text and "Pieces of wire" in text
    assert "1 piece of wire: 1 measured, 0 unusable, no ring" in text


def test_a_wire_is_explained_cause_by_cause() -> None:
    lines = budget_text(wire(1), width=80).plain.splitlines()
    assert lines[0] == "wire W1: standard uncertainty by cause, in mm"
    # 3-4-5: parts of 0.3 and 0.4 U make U / 2.
    assert next(line for line in lines if line.startswith("combined")).split()[-1] == "0.0100"


def test_explain_finds_wires_by_name(pipeline: Pipeline, run: Callable, tmp_path: Path) -> None:
    pipeline.answers["tray.jpg"] = BOTH
    tray = photo(tmp_path / "tray.jpg")
    assert "wire W2" in run("measure", tray, "--explain", "w2").stdout
    ended = run("measure", tray, "--explain", "W9")
    assert ended.exit_code == 2 and "there is no wire 9" in ended.stderr
    assert run("measure", tray, "--explain", "x").exit_code == 2
