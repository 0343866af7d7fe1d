"""Rings found again in another photo: turned, numbered anew, moved, or other rings."""

from dataclasses import replace

import numpy as np
import pytest

from tests.together.scenes import grid, photograph, strewn, turned
from vision.results import Result
from vision.together.places import TogetherError, match


def two(places: np.ndarray, turn: float, *, kind: str = "coin", seed: int = 1) -> list[Result]:
    rng = np.random.default_rng(seed)
    n = len(places)
    return photograph(
        rng, rng.normal(1.2, 0.006, n), rng.normal(6, 0.03, n), places, turns=(0, turn), kind=kind
    )


def lies_over(results: list[Result], turn: float) -> None:
    """Every pair is a ring and the same place turned: the truth is the drawing itself."""
    first, other = results
    found = match(first, other)
    assert len(found.pairs) == len(first.rings)
    for i, k in found.pairs:
        there = turned(np.array([first.rings[i].center_mm]), turn)[0]
        np.testing.assert_allclose(there, other.rings[k].center_mm, atol=1e-9)


@pytest.mark.parametrize("turn", [0.0, 3.0, 90.0, 180.0, 251.7])
@pytest.mark.parametrize("n", [2, 3, 8, 30])
def test_rings_around_a_coin_are_found_at_any_turn(turn: float, n: int) -> None:
    places = strewn(np.random.default_rng(n), n)
    lies_over(two(places, turn), turn)


def test_rings_on_a_sheet_are_known_by_their_place_even_in_a_grid() -> None:
    lies_over(two(grid(5, 3), 180.0, kind="sheet"), 0.0)


def test_places_may_be_off_as_far_as_tilt_and_scale_let_them() -> None:
    rng = np.random.default_rng(4)
    first, other = two(strewn(rng, 20), 180.0)
    off = [
        replace(ring, center_mm=tuple(np.array(ring.center_mm) * 1.004 + rng.normal(0, 0.08, 2)))
        for ring in other.rings
    ]
    assert len(match(first, replace(other, rings=tuple(off))).pairs) == 20


@pytest.mark.parametrize(("columns", "rows", "degrees"), [(5, 3, 180), (5, 5, 90)])
def test_a_grid_of_equal_rings_around_a_coin_is_refused(
    columns: int, rows: int, degrees: int
) -> None:
    # A rectangle lies over itself after half a turn, a square after a quarter too.
    with pytest.raises(TogetherError, match="too evenly to tell which is which") as told:
        match(*two(grid(columns, rows), 90.0))
    assert str(degrees) in str(told.value) or columns == rows
    assert "strew" in told.value.hint


def test_a_grid_of_rings_of_several_sizes_tells_itself() -> None:
    places = grid(5, 3)
    rng = np.random.default_rng(2)
    n = len(places)
    insides = np.where(places[:, 0] > 0, 8.0, 5.0) + rng.normal(0, 0.02, n)
    results = photograph(rng, rng.normal(1.2, 0.006, n), insides, places, turns=(0, 180))
    lies_over(results, 180.0)


def test_a_table_seen_from_above_is_never_mirrored() -> None:
    places = strewn(np.random.default_rng(6), 15)
    first, _ = two(places, 0.0)
    _, mirrored = two(places * (1.0, -1.0), 0.0)
    with pytest.raises(TogetherError, match="does not show the same rings"):
        match(first, mirrored)


def test_most_rings_moved_are_other_rings() -> None:
    first, _ = two(strewn(np.random.default_rng(7), 20), 0.0)
    _, other = two(strewn(np.random.default_rng(8), 20), 0.0)
    with pytest.raises(TogetherError, match="does not show the same rings") as told:
        match(first, other)
    assert "without --same-rings" in told.value.hint


def test_a_few_moved_rings_do_not_hide_the_turn() -> None:
    first, other = two(strewn(np.random.default_rng(9), 20), 140.0)
    rings = list(other.rings)
    for k in (2, 9, 15):
        x, y = rings[k].center_mm or (0.0, 0.0)
        rings[k] = replace(rings[k], center_mm=(x + 5.0, y - 4.0))
    found = match(first, replace(other, rings=tuple(rings)))
    assert np.degrees(found.move.turn_rad) % 360 == pytest.approx(220.0, abs=0.1)
    assert {k for _, k in found.pairs} == set(range(20)) - {2, 9, 15}


def test_a_coin_whose_shadow_was_traced_does_not_hide_the_rings() -> None:
    first, other = two(strewn(np.random.default_rng(10), 12), 75.0)
    off = [
        replace(ring, center_mm=(x + 1.2, y - 0.8))
        for ring in other.rings
        for x, y in [ring.center_mm or (0.0, 0.0)]
    ]
    found = match(first, replace(other, rings=tuple(off)))
    assert len(found.pairs) == 12
    assert np.hypot(*found.move.shift_mm) == pytest.approx(np.hypot(1.2, 0.8), abs=1e-6)


def test_photos_with_different_references_are_told_so() -> None:
    places = strewn(np.random.default_rng(3), 5)
    by_coin, by_sheet = two(places, 0.0)[0], two(places, 0.0, kind="sheet")[1]
    with pytest.raises(TogetherError, match=r"coin eur-1 in a.jpg, sheet a5 in b.jpg"):
        match(by_coin, by_sheet)


def test_a_stated_scale_has_no_places() -> None:
    one, other = (
        replace(each, scale=replace(each.scale, kind="stated", reference="0.05 mm/px"))
        for each in two(strewn(np.random.default_rng(3), 5), 0.0)
    )
    with pytest.raises(TogetherError, match="a stated scale does not tell which ring is which"):
        match(one, other)
