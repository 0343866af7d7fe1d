"""JSON and CSV text."""

import csv
import io
import json
import os

import pytest

from cli.show.record import CSV_COLUMNS, batch_text, csv_text, json_text
from tests.cli.fakes import result, ring, unusable
from vision.results import result_record


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_csv_has_one_row_a_ring_with_full_digits_and_units_in_the_header() -> None:
    read = rows(csv_text([result([ring(1, wire=1.0 / 3.0), unusable(2, "cut off", "oval")])]))
    assert [row["ring"] for row in read] == ["1", "2"]
    assert tuple(read[0]) == CSV_COLUMNS
    assert float(read[0]["wire_mm"]) == 1.0 / 3.0
    assert float(read[0]["wire_u95_mm"]) == pytest.approx(0.021)
    assert (read[1]["wire_mm"], read[1]["reasons"]) == ("", "cut off; oval")


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "|", " =", "\uff1d", "\t", "\r", "\n"])
def test_csv_text_that_a_spreadsheet_would_compute_is_guarded(start: str) -> None:
    # The characters that OWASP's page "CSV Injection" names, and the pipe (from memory).
    evil = f'{start}cmd|" /C calc"!A0'
    read = rows(csv_text([result([ring(1, colour=evil, warnings=(evil,))], file=evil)]))
    for column in ("photo", "colour", "warnings"):
        guarded = read[0][column]
        if start in ("\t", "\r", "\n"):
            assert guarded.startswith(start.encode("unicode_escape").decode())
        else:
            assert guarded == f"'{evil}"


def test_csv_keeps_negative_numbers_as_numbers() -> None:
    read = rows(csv_text([result([ring(1, center_px=(-1.5, 2.0))])]))
    assert read[0]["center_x_px"] == "-1.5"


def test_a_file_name_that_is_no_text_still_makes_utf_8() -> None:
    name = os.fsdecode(b"tray\xff.jpg")
    shown = json_text(result([ring(1)], file=name)).encode("utf-8")
    assert json.loads(shown)["photo"]["file"] == name
    csv_text([result([ring(1)], file=name)]).encode("utf-8")


def test_json_refuses_what_json_has_no_number_for() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        json_text(result([ring(1, ovality=float("inf"))]))


def test_batch_text_lists_results_and_failures() -> None:
    record = json.loads(
        batch_text([result_record(result())], [{"file": "b.jpg", "problem": "x", "hint": ""}])
    )
    assert len(record["photos"]) == 1
    assert record["failed"][0]["file"] == "b.jpg"
