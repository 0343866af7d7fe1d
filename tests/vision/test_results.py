"""The values between the stages, and the result file's form."""

import json
import math
import statistics
from dataclasses import FrozenInstanceError

import pytest

from tests.cli.fakes import quantity, result, ring, unusable
from vision.results import Quantity, batch_record, result_record, spread_of

# The contract: names never change their meaning, new ones may join.
TOP = {"format", "version", "photo", "scale", "rings", "summary", "warnings"}
PHOTO = {"file", "width_px", "height_px", "taken", "sha256"}
SCALE = {
    "kind", "reference", "mm_per_px", "u_rel", "camera_height_mm", "tilt_deg", "notes",
}  # fmt: skip
RING = {
    "number", "cell", "center_px", "center_mm", "status", "reasons", "wire_mm", "wire_u95_mm",
    "id_mm", "id_u95_mm", "od_mm", "od_u95_mm", "ar", "ar_u95", "ovality", "gap_mm", "colour",
    "warnings",
}  # fmt: skip
SUMMARY = {"rings", "measured", "wire_mm", "id_mm", "ar"}
SPREAD = {"mean", "sd", "median", "min", "max"}


def test_independent_causes_add_in_quadrature() -> None:
    # JCGM 100 (GUM), H.1: 25, 9.7, 2.9 and 16.6 nm add up to a variance of 1002 nm^2; each part is
    # printed to 0.05 nm, which leaves 0.09 nm for the sum.
    budget = Quantity(value=50.000838, parts={"lS": 25.0, "d": 9.7, "theta": 2.9, "dtheta": 16.6})
    assert budget.u == pytest.approx(1002**0.5, abs=0.09)
    assert budget.u95 == pytest.approx(2.0 * budget.u)


def test_a_three_four_five_budget() -> None:
    assert quantity(6.35, 0.05).u95 == pytest.approx(0.05, rel=1e-12)


def test_spread_agrees_with_the_statistics_module() -> None:
    values = [1.60, 1.62, 1.63, 1.70]
    spread = spread_of(values)
    assert spread is not None
    assert spread.mean == pytest.approx(statistics.mean(values))
    assert spread.sd == pytest.approx(statistics.stdev(values))
    assert (spread.median, spread.min, spread.max) == pytest.approx((1.625, 1.60, 1.70))


def test_one_ring_has_no_spread_and_none_has_no_mean() -> None:
    single = spread_of([1.6])
    assert single is not None and single.sd is None
    assert spread_of([]) is None


def test_the_record_holds_every_field_of_the_contract() -> None:
    record = result_record(result([ring(1), unusable(2, "overlaps ring 1")]))
    assert (record["format"], record["version"]) == ("annulet-result", 1)
    assert record.keys() >= TOP
    assert record["photo"].keys() >= PHOTO
    assert record["scale"].keys() >= SCALE
    for row in record["rings"]:
        assert row.keys() >= RING
    assert record["summary"].keys() >= SUMMARY
    for name in ("wire_mm", "id_mm", "ar"):
        assert record["summary"][name].keys() >= SPREAD


def test_u95_in_the_record_is_twice_the_combined_uncertainty() -> None:
    row = result_record(result([ring(1)]))["rings"][0]
    assert row["wire_u95_mm"] == pytest.approx(0.021)
    assert row["od_mm"] == pytest.approx(row["id_mm"] + 2 * row["wire_mm"])


def test_an_unusable_ring_is_listed_with_reasons_and_without_numbers() -> None:
    record = result_record(result([ring(1), unusable(2, "stands on its edge")]))
    row = record["rings"][1]
    assert (row["status"], row["reasons"]) == ("unusable", ["stands on its edge"])
    numbers = ("wire_mm", "wire_u95_mm", "id_mm", "id_u95_mm", "od_mm", "od_u95_mm", "ar", "ar_u95")
    assert [row[name] for name in numbers] == [None] * len(numbers)
    assert record["summary"]["rings"] == 2
    assert record["summary"]["measured"] == 1


def test_a_photo_without_a_measured_ring_has_no_summary_numbers() -> None:
    summary = result_record(result([unusable(1, "cut by the frame")]))["summary"]
    assert summary["wire_mm"] is None


def test_the_record_is_json_without_nan() -> None:
    text = json.dumps(result_record(result([ring(1), unusable(2, "x")])), allow_nan=False)
    assert not math.isnan(json.loads(text)["scale"]["mm_per_px"])


def test_a_batch_holds_the_photos_in_order() -> None:
    record = batch_record([result_record(result(file=f"{name}.jpg")) for name in "ab"])
    assert (record["format"], record["version"]) == ("annulet-batch", 1)
    assert [photo["photo"]["file"] for photo in record["photos"]] == ["a.jpg", "b.jpg"]


def test_results_cannot_be_changed_in_place() -> None:
    with pytest.raises(FrozenInstanceError):
        ring(1).number = 2  # type: ignore[misc]
