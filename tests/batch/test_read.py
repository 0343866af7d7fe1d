"""Result files come back as they went out, and damaged ones are refused with the place."""

import json
from typing import Any

import pytest

from cli.show.record import batch_text, json_text
from tests.cli.fakes import result, ring, unusable
from vision.batch.read import ResultFileError, read_shots, shot_of
from vision.results import Result, result_record


def record(made: Result | None = None) -> dict[str, Any]:
    return json.loads(json_text(made or result([ring(1), unusable(2, "overlaps ring 1")])))


def read(changed: dict[str, Any]):
    return read_shots(json.dumps(changed).encode(), name="bag.json")


def test_a_result_comes_back_as_it_was() -> None:
    made = result([ring(1, cell="B3", colour="bronze"), unusable(2, "overlaps ring 1")])
    (shot,) = read_shots(json_text(made).encode(), name="bag.json")
    kept = shot_of(made)
    assert shot.photo == kept.photo
    assert shot.set_up == kept.set_up
    assert shot.warnings == kept.warnings
    for there, here in zip(shot.rings, made.rings, strict=True):
        for name in ("number", "cell", "status", "reasons", "colour", "gap_mm", "center_px"):
            assert getattr(there, name) == getattr(here, name)
    assert shot.rings[0].id_mm == made.rings[0].id_mm
    assert len(shot.measured) == 1


def test_several_photos_come_back_in_order() -> None:
    text = batch_text([result_record(result([ring(1)], file=f"{name}.jpg")) for name in "ab"])
    assert [s.photo.file for s in read_shots(text.encode(), name="x")] == ["a.jpg", "b.jpg"]


def test_a_file_without_causes_is_parted_by_its_scale() -> None:
    # The contract's example: u_rel 0.0012 on ID 6.36 is 0.0076 mm of the 0.015 mm that U states.
    changed = record(result([ring(1, inside=6.36)]))
    del changed["rings"][0]["u_parts"]
    changed["rings"][0]["id_u95_mm"] = 0.03
    quantity = read(changed)[0].rings[0].id_mm
    assert quantity.u95 == pytest.approx(0.03)
    assert quantity.parts["scale"] == pytest.approx(0.0012 * 6.36)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda r: r.update(format="other"), "no result file: its format says 'other'"),
        (lambda r: r.pop("format"), "names no format"),
        (lambda r: r.update(version=2), "version 2"),
        (lambda r: r.pop("rings"), "rings must be a list, found nothing"),
        (lambda r: r.update(rings=[7]), "rings must be a list of objects"),
        (lambda r: r["photo"].pop("file"), "photo.file must be text"),
        (lambda r: r["scale"].update(mm_per_px=0), "scale.mm_per_px must be a positive number"),
        (lambda r: r["rings"][0].update(wire_mm=-1.6), "rings[0].wire_mm must be a positive"),
        (lambda r: r["rings"][0].update(wire_mm=None), "rings[0].wire_mm must be a number"),
        (lambda r: r["rings"][0].update(id_mm=True), "rings[0].id_mm must be a number"),
        (lambda r: r["rings"][0].update(id_mm="6.4"), "rings[0].id_mm must be a number"),
        (lambda r: r["rings"][0].update(id_u95_mm=0), "rings[0].id_u95_mm must be a positive"),
        (lambda r: r["rings"][0].update(id_u95_mm=1.0), "twice what its u_parts add up to"),
        (lambda r: r["rings"][0].update(od_mm=12.0), "ID and twice the wire"),
        (lambda r: r["rings"][0].update(ar=3.0), "ID over wire"),
        (lambda r: r["rings"][0].update(status="fine"), "'measured' or 'unusable'"),
        (lambda r: r["rings"][0].update(center_px=[1]), "rings[0].center_px must be two numbers"),
        (lambda r: r["rings"][1].update(number=1), "different for each ring"),
        (lambda r: r["rings"][1].update(number=1.5), "a whole number"),
    ],
)
def test_damage_is_named_with_its_place(change, said: str) -> None:
    changed = record()
    change(changed)
    with pytest.raises(ResultFileError) as caught:
        read(changed)
    assert said in str(caught.value)
    assert "bag.json" in str(caught.value)
    assert caught.value.hint


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"  \n", "is empty"),
        (b"\xff\xd8\xff\xe0", "is no text file"),
        (b"{", "is no JSON"),
        (b"[]", "names no format"),
        (b"[" * 200_000, "nested too deep"),
        (b'{"format": "annulet-batch", "version": 1, "photos": []}', "holds no photo"),
    ],
)
def test_files_that_hold_no_results_say_so(content: bytes, said: str) -> None:
    with pytest.raises(ResultFileError, match=said):
        read_shots(content, name="bag.json")


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_number_is_refused(word: str) -> None:
    text = json_text(result([ring(1)])).replace('"id_mm": 6.35', f'"id_mm": {word}', 1)
    assert word in text
    with pytest.raises(ResultFileError, match=r"no number|finite number"):
        read_shots(text.encode(), name="bag.json")
