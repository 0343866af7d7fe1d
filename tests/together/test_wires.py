"""Wire in several photos: by hand, turned around a coin, hidden in one, contradicted by another."""

from dataclasses import replace

import numpy as np
import pytest

from tests.together.scenes import photograph, strewn, turned
from vision.batch.sample import APART
from vision.results import Quantity, Result, Status, Wire
from vision.together.combine import Together, combine

HALF_MM = 12.0


def wire(number: int, width: float | None, ends_mm: np.ndarray, photo: Result) -> Wire:
    """A piece between two places on the table, as `photo` draws it; unusable without a width."""
    height = (width or 0.0) / 2.0
    px = photo.scale.camera.project(np.column_stack([ends_mm, [height, height]]))
    middle = ends_mm.mean(axis=0)
    return Wire(
        number=number,
        center_px=tuple(px.mean(axis=0)),
        ends_px=tuple((float(x), float(y)) for x, y in px),
        center_mm=(float(middle[0]), float(middle[1])),
        length_mm=2 * HALF_MM,
        status=Status.MEASURED if width else Status.UNUSABLE,
        reasons=() if width else ("its sides are not clear",),
        wire_mm=Quantity(value=width, parts={"outline": 0.02, "coin": 0.001}) if width else None,
    )


def together(
    widths: tuple[float | None, ...], *, shift_mm: float = 0.0, turn_deg: float = 0.0
) -> Together:
    """Rings and a piece of wire in as many photos, each turned half a turn from the one before.

    `shift_mm`, `turn_deg`: how the piece was moved before the last photo.
    """
    rng = np.random.default_rng(3)
    sizes = np.full(9, 1.2), np.full(9, 6.0)
    turns = (0.0, 180.0, 0.0)[: len(widths)]
    files = tuple(f"{letter}.jpg" for letter in "abc"[: len(widths)])
    photos = photograph(rng, *sizes, strewn(rng, 9), files=files, turns=turns)
    held = []
    for place, (photo, width, turn) in enumerate(zip(photos, widths, turns, strict=True)):
        ends = np.array([[30.0 - HALF_MM, 62.0], [30.0 + HALF_MM, 62.0]])
        if place == len(widths) - 1:
            ends = turned(ends - ends.mean(axis=0), turn_deg) + ends.mean(axis=0) + (0.0, shift_mm)
        held.append(replace(photo, wires=(wire(1, width, turned(ends, turn), photo),)))
    return combine(held)


def test_two_photos_by_hand() -> None:
    (piece,) = together((1.00, 1.02)).wires
    assert piece.combined.wire_mm is not None
    assert piece.combined.wire_mm.value == pytest.approx(1.01)
    parts = piece.combined.wire_mm.parts
    # A quarter of the outline's variance lasts: 0.01. The rest, 0.01732 in each photo, averages to
    # 0.01225; off by 0.01 from the mean each, the squares add up to 2 (0.01 / 0.01732)^2 = 0.667 or
    # a little less, for the coin's trace is new as well: with 9 degrees of freedom that widens by
    # sqrt(8.667 / 9) t(9) / 2 = 0.981 x 2.262 / 2.
    assert parts["outline"] == pytest.approx(0.010, abs=1e-5)
    assert parts[APART] == pytest.approx(0.01225 * 0.981 * 2.262 / 2, rel=0.01)
    assert piece.combined.wire_mm.u < 0.02


def test_what_one_photo_cannot_measure_the_other_one_may() -> None:
    (piece,) = together((None, 1.02)).wires
    assert piece.combined.status is Status.MEASURED and piece.combined.wire_mm is not None
    assert piece.combined.wire_mm.value == 1.02
    assert piece.combined.warnings == ("measured in b.jpg only: nothing to combine",)
    assert piece.combined.awg is not None and piece.combined.awg.name == "AWG 18"


def test_photos_that_contradict_each_other_give_no_number() -> None:
    (piece,) = together((1.00, 1.01, 1.20)).wires
    assert piece.combined.status is Status.UNUSABLE and piece.combined.wire_mm is None
    assert "disagree" in piece.combined.reasons[0] and "c.jpg 1.20" in piece.combined.reasons[0]


@pytest.mark.parametrize("moved", [{"shift_mm": 4.0}, {"turn_deg": 20.0}])
def test_a_piece_that_was_moved_is_another_one(moved: dict[str, float]) -> None:
    (piece,) = together((1.00, 1.02), **moved).wires
    assert piece.seen[1] is None
    assert piece.combined.wire_mm is not None and piece.combined.wire_mm.value == 1.00


def test_the_result_file_tells_what_each_photo_says() -> None:
    record = together((1.00, 1.02)).result.same_rings
    assert record is not None
    assert [seen["wire_mm"] for seen in record["wires"][0]["seen"]] == [1.00, 1.02]
