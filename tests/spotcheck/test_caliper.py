"""The caliper's errors against handbook figures."""

import math

import pytest

from tests.spotcheck.bench import seen_ring
from vision.spotcheck.caliper import Caliper, What, expect, readable


@pytest.mark.parametrize(
    ("hole_mm", "flats_mm", "low_mm"),
    # w^2 / (2 D), the small-angle form of the chord: derived by hand.
    [(3.0, 0.5, 0.0420), (5.0, 0.5, 0.0251), (8.0, 0.5, 0.0156), (5.0, 0.3, 0.0090)],
)
def test_inside_jaws_read_a_chord(hole_mm: float, flats_mm: float, low_mm: float) -> None:
    assert Caliper(jaw_flats_mm=flats_mm).chord_loss_mm(hole_mm) == pytest.approx(low_mm, abs=5e-5)


def test_the_chord_by_geometry() -> None:
    # Half chord, half flats and radius make a right triangle: 3-4-5.
    assert Caliper(jaw_flats_mm=6.0).chord_loss_mm(10.0) == pytest.approx(10.0 - 8.0)


def test_limits_of_error_become_standard_uncertainties() -> None:
    # DIN 862: 0.02 mm to 100 mm, 0.02 mm more inside; GUM 4.3: a / sqrt(3), 0.01155 for 0.02 mm.
    assert Caliper().u_outside_mm == pytest.approx(0.01155, abs=5e-6)
    assert Caliper().u_inside_mm == pytest.approx(0.04 / math.sqrt(3))


def test_the_expected_reading_allows_for_half_of_the_chord() -> None:
    ring = seen_ring(1, 1.63, 5.0)
    inside = expect(ring, What.ID, Caliper())
    assert inside.value_mm == pytest.approx(5.0 - 0.0251 / 2, abs=1e-4)
    assert expect(ring, What.OD, Caliper()).value_mm == 8.26


def test_the_range_of_agreement_holds_both_uncertainties() -> None:
    ring = seen_ring(1, 1.63, 6.35)
    wire = expect(ring, What.WIRE, Caliper(), readings=2)
    photo = ring.wire_mm.u  # type: ignore[union-attr]
    by_hand = 2 * math.sqrt(photo**2 + 0.02**2 / 3 + 0.015**2 / 2)
    assert wire.u95_mm == pytest.approx(by_hand, rel=1e-9)


def test_small_holes_are_not_read_with_inside_jaws() -> None:
    assert readable(seen_ring(1, 1.2, 4.8)) == (What.WIRE, What.OD)
    assert readable(seen_ring(1, 1.2, 5.2)) == (What.WIRE, What.OD, What.ID)
