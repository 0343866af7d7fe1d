"""Photos of the wrong things: no numbers for what is no loose ring, right ones for what is."""

from pathlib import Path

import pytest

from tests.robust.photos import MM_PER_PX, save
from tests.robust.wrong_photos import (
    RADIUS_PX,
    TUBE_PX,
    chain,
    heap,
    spring,
    text,
    washers_and_nuts,
)
from vision import Reference, Result, measure_photo
from vision.errors import RingsError

WIRE_MM = 2.0 * TUBE_PX * MM_PER_PX
ID_MM = 2.0 * (RADIUS_PX - TUBE_PX) * MM_PER_PX


def measured(tmp_path: Path, bgr) -> Result:
    return measure_photo(save(tmp_path / "a.png", bgr), Reference(mm_per_px=MM_PER_PX))


def test_a_chain_of_linked_rings_gets_no_numbers_and_is_called_linked(tmp_path: Path) -> None:
    found = measured(tmp_path, chain())
    assert found.measured == ()
    said = [ring for ring in found.rings if "linked with its neighbours" in "; ".join(ring.reasons)]
    assert len(said) >= 6


@pytest.mark.parametrize(("draw", "loose"), [(heap, 1), (spring, 1), (washers_and_nuts, 1)])
def test_beside_other_things_only_the_loose_ring_is_measured(
    tmp_path: Path, draw, loose: int
) -> None:
    found = measured(tmp_path, draw())
    assert len(found.measured) == loose
    assert len(found.rings) > loose
    for ring in found.measured:
        assert ring.wire_mm is not None and ring.id_mm is not None
        assert abs(ring.wire_mm.value - WIRE_MM) < ring.wire_mm.u95
        assert abs(ring.id_mm.value - ID_MM) < ring.id_mm.u95
        assert not any("linked" in reason for reason in ring.reasons)


def test_a_page_of_text_is_no_photo_of_rings(tmp_path: Path) -> None:
    with pytest.raises(RingsError, match="things that are no rings"):
        measured(tmp_path, text())
