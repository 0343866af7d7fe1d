"""A single wild reading is found, explained and set aside; a real fault of the photo is not."""

from dataclasses import replace

import numpy as np
import pytest

from tests.spotcheck.bench import Bench, photograph, read, seen_ring, shot_of_rings, sizes
from vision.spotcheck.caliper import Caliper, Reading, What
from vision.spotcheck.slips import find_wild
from vision.spotcheck.verdict import Verdict, compare

TRIALS = 100


def bench_and_readings(seed: int, **fault: float) -> tuple[Bench, list[Reading]]:
    rng = np.random.default_rng(seed)
    bench = photograph(*sizes(24, rng), rng, **fault)
    return bench, read(bench, [1, 2, 3, 4, 5], rng)


SLIPS = {
    "inches": (lambda mm: mm / 25.4, "inches taken for millimetres"),
    "millimetres": (lambda mm: mm * 25.4, "millimetres taken for inches"),
    "point left": (lambda mm: mm / 10, "ten times too small"),
    "point right": (lambda mm: mm * 10, "ten times too large"),
    "digit": (lambda mm: mm + 1.0, "1 mm off"),
    "half a millimetre": (lambda mm: mm - 0.5, "0.5 mm off"),
}


@pytest.mark.parametrize("slip", SLIPS)
@pytest.mark.parametrize("fault", [{}, {"scale": 0.01}, {"rim_mm": 0.05}], ids=str)
def test_a_slip_is_named_and_does_not_move_the_verdict(slip: str, fault: dict[str, float]) -> None:
    change, words = SLIPS[slip]
    bench, readings = bench_and_readings(11, **fault)
    expected = compare([bench.shot], readings).verdict
    place = next(k for k, r in enumerate(readings) if r.what is What.OD)
    readings[place] = replace(readings[place], value_mm=change(readings[place].value_mm))
    found = compare([bench.shot], readings)
    assert [wild.reading for wild in found.wild] == [readings[place]]
    assert words in found.wild[0].guess
    assert found.verdict is expected


def test_the_wrong_length_is_recognised() -> None:
    bench, readings = bench_and_readings(12)
    place = next(k for k, r in enumerate(readings) if r.what is What.OD)
    inside = next(r for r in readings if r.what is What.ID and r.ring == readings[place].ring)
    readings[place] = replace(readings[place], value_mm=inside.value_mm)
    [wild] = compare([bench.shot], readings).wild
    assert "this is its ID" in wild.guess


def test_the_wrong_ring_is_recognised() -> None:
    rng = np.random.default_rng(13)
    rings = [seen_ring(k + 1, 1.6, inside) for k, inside in enumerate([5.5, 6.0, 6.5, 7.0, 7.5])]
    readings = []
    for number in (1, 2, 3, 4):
        # Ring 5 was in the hand when ring 4 was called.
        taken = rings[4] if number == 4 else rings[number - 1]
        for what in (What.WIRE, What.OD, What.ID):
            true = getattr(taken, f"{what}_mm").value
            readings += [
                Reading(photo=0, ring=number, what=what, value_mm=true + 0.01 * rng.normal())
                for _ in range(2)
            ]
    found = compare([shot_of_rings(rings)], readings)
    assert {wild.reading.ring for wild in found.wild} == {4}
    assert all("ring 5" in wild.guess for wild in found.wild)
    assert found.verdict is Verdict.OPEN


def test_readings_without_a_slip_are_hardly_ever_called_wild() -> None:
    for fault in ({}, {"scale": 0.01, "rim_mm": 0.05}):
        false = sum(
            bool(find_wild([b.shot], r, Caliper())[1])
            for b, r in (bench_and_readings(1000 + k, **fault) for k in range(TRIALS))
        )
        assert false <= 0.05 * TRIALS


def test_a_slip_of_a_quarter_millimetre_is_found() -> None:
    hit = 0
    for k in range(TRIALS):
        bench, readings = bench_and_readings(2000 + k)
        place = k % len(readings)
        readings[place] = replace(readings[place], value_mm=readings[place].value_mm + 0.25)
        _, wild = find_wild([bench.shot], readings, Caliper())
        hit += readings[place] in [w.reading for w in wild]
    assert hit >= 0.95 * TRIALS


def test_all_readings_in_the_wrong_unit_give_no_verdict() -> None:
    bench, readings = bench_and_readings(14)
    inches = [replace(r, value_mm=r.value_mm / 25.4) for r in readings]
    found = compare([bench.shot], inches)
    assert found.verdict is Verdict.OPEN
    assert "units" in found.why


def test_a_lost_length_keeps_the_verdict_open() -> None:
    bench, readings = bench_and_readings(15)
    changed = [
        replace(r, value_mm=r.value_mm + 0.5) if (r.ring, r.what) == (2, What.WIRE) else r
        for r in readings
    ]
    found = compare([bench.shot], changed)
    assert len(found.wild) == 2
    assert found.verdict is Verdict.OPEN
    assert "ring 2 wire" in found.why
