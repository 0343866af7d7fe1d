"""Which rings are taken: the extremes, the middle, every group, every photo."""

import numpy as np
import pytest

from tests.spotcheck.bench import photograph, seen_ring, shot_of_rings, sizes
from vision.results import Quantity, Status
from vision.spotcheck.choose import choose_rings, name_groups


def numbers(picks) -> list[int]:
    return [pick.ring.number for pick in picks]


def test_the_extremes_and_the_middle_come_first() -> None:
    rings = [seen_ring(k + 1, 1.6, inside) for k, inside in enumerate([6.1, 6.4, 6.2, 6.5, 6.3])]
    picks = choose_rings([shot_of_rings(rings)], 3)
    assert [(pick.ring.number, pick.why) for pick in picks] == [
        (1, "the smallest"),
        (4, "the largest"),
        (5, "the middle one"),
    ]


def test_the_least_sure_ring_is_among_five() -> None:
    rings = [seen_ring(k + 1, 1.6, 6.0 + 0.01 * k) for k in range(20)]
    rings[6] = seen_ring(7, 1.6, 6.06, id_mm=Quantity(value=6.06, parts={"outline": 0.05}))
    picks = choose_rings([shot_of_rings(rings)], 5)
    assert (7, "the least sure") in [(pick.ring.number, pick.why) for pick in picks]


def test_each_photo_is_represented() -> None:
    rng = np.random.default_rng(1)
    shots = [photograph(*sizes(8, rng), rng).shot for _ in range(4)]
    assert {pick.photo for pick in choose_rings(shots, 5)} == {0, 1, 2, 3}


def test_each_size_is_represented() -> None:
    rng = np.random.default_rng(2)
    inside = np.repeat([4.0, 8.0], [21, 3]) + 0.02 * rng.normal(size=24)
    rings = [seen_ring(k + 1, 1.2, value) for k, value in enumerate(inside)]
    shot = shot_of_rings(rings)
    groups = name_groups([shot])
    picks = choose_rings([shot], 5, group_of=groups)
    assert {groups[pick.place] for pick in picks} == {"1.2 x 4.0 mm", "1.2 x 8.0 mm"}


def test_each_metal_is_represented() -> None:
    rings = [
        seen_ring(k + 1, 1.6, 6.3 + 0.001 * k, colour="copper-coloured" if k == 5 else "silver")
        for k in range(12)
    ]
    shot = shot_of_rings(rings)
    assert 6 in numbers(choose_rings([shot], 5, group_of=name_groups([shot])))


@pytest.mark.parametrize("count", [1, 2, 5, 12, 40])
def test_as_many_come_as_asked_or_measured_and_none_twice(count: int) -> None:
    rng = np.random.default_rng(3)
    shot = photograph(*sizes(12, rng), rng).shot
    picks = numbers(choose_rings([shot], count))
    assert len(picks) == len(set(picks)) == min(count, 12)


def test_rings_that_were_read_are_not_chosen_again() -> None:
    rng = np.random.default_rng(4)
    shot = photograph(*sizes(12, rng), rng).shot
    first = choose_rings([shot], 5)
    then = choose_rings([shot], 5, without=frozenset(pick.place for pick in first))
    assert len(then) == 5
    assert not set(numbers(first)) & set(numbers(then))
    assert all(pick.why for pick in then)


def test_unusable_rings_are_never_chosen() -> None:
    bare = {"wire_mm": None, "id_mm": None, "od_mm": None, "ar": None}
    rings = [seen_ring(1, 1.6, 6.3), seen_ring(2, 1.6, 6.3, status=Status.UNUSABLE, **bare)]
    picks = choose_rings([shot_of_rings(rings)], 5)
    assert [(pick.ring.number, pick.why) for pick in picks] == [(1, "the only one measured")]
