"""Combined values: by hand, by simulation, and with rings that are not what they were."""

from dataclasses import replace

import numpy as np
import pytest

from tests.together.scenes import photograph, strewn, truth_of
from vision.batch.read import shot_of
from vision.batch.sample import APART, pool
from vision.results import Quantity, Result, Ring, Status, result_record
from vision.spotcheck.caliper import Caliper, Reading, What
from vision.spotcheck.model import RIM_SHARE, tabulate
from vision.together.combine import combine
from vision.together.places import TogetherError


def shots(seed: int, n: int, files: tuple[str, ...] = ("a.jpg", "b.jpg"), **how) -> list[Result]:
    rng = np.random.default_rng(seed)
    sizes = rng.normal(1.2, 0.006, n), rng.normal(6, 0.03, n)
    turns = (0.0, 180.0, 90.0)[: len(files)]
    return photograph(rng, *sizes, strewn(rng, n), files=files, turns=turns, **how)


def changed(result: Result, index: int, **changes) -> Result:
    rings = list(result.rings)
    rings[index] = replace(rings[index], **changes)
    return replace(result, rings=tuple(rings))


def same_place(first: Result, other: Result, index: int) -> int:
    """Where the ring `index` of the first photo is in another, turned by half a turn."""
    x, y = first.rings[index].center_mm or (0.0, 0.0)
    return next(
        k for k, ring in enumerate(other.rings) if np.allclose(ring.center_mm, (-x, -y), atol=1e-6)
    )


def test_one_ring_in_two_photos_by_hand() -> None:
    def photo(file: str, inside: float) -> Result:
        ring = shots(1, 1)[0].rings[0]
        parts = {"outline": 0.010, "print": 0.006, "sheet corners": 0.004, "lies not flat": 0.002}
        return replace(
            shots(1, 1, kind="sheet")[0],
            photo=replace(shots(1, 1)[0].photo, file=file, sha256=file),
            rings=(
                replace(
                    ring,
                    wire_mm=Quantity(value=1.2, parts=parts),
                    id_mm=Quantity(value=inside, parts=parts),
                    od_mm=Quantity(value=inside + 2.4, parts=parts),
                    ar=Quantity(value=inside / 1.2, parts=parts),
                ),
            ),
        )

    ring = combine([photo("a", 6.00), photo("b", 6.02)]).result.rings[0]
    assert ring.id_mm is not None and ring.wire_mm is not None and ring.od_mm is not None
    assert ring.id_mm.value == pytest.approx(6.01, abs=1e-5)
    assert ring.od_mm.value == pytest.approx(8.41, abs=1e-5)
    # What both photos share stays; the corners are found anew, 0.004 / sqrt(2); of the outline a
    # quarter of the variance is the metal's rim, 0.005; the rest, 0.00866 / sqrt(2), is widened
    # by t(8) / 2 = 2.306 / 2, for nothing was observed twice beyond the photos' own difference.
    expected = {
        "print": 0.006,
        "lies not flat": 0.002,
        "sheet corners": 0.00283,
        "outline": 0.005,
        APART: 0.00706,
    }
    assert ring.id_mm.parts == pytest.approx(expected, abs=2e-5)


def test_the_combined_u_covers_and_errors_shrink() -> None:
    # Readings drawn from the model that the combination assumes; the true scatter is itself known
    # to 25 % only, as a stated uncertainty is (scaled inverse chi-squared of 8 degrees).
    covered: dict[str, list[bool]] = {"wire_mm": [], "id_mm": [], "od_mm": [], "ar": []}
    before, after = [], []
    for seed in range(60):
        for n, p in ((24, 2), (5, 2), (10, 3)):
            rng = np.random.default_rng([21, seed, n])
            places = strewn(rng, n)
            truth = {"wire_mm": rng.normal(1.2, 0.006, n), "id_mm": rng.normal(6, 0.03, n)}
            files = tuple("abc"[:p])
            single = photograph(
                rng,
                truth["wire_mm"],
                truth["id_mm"],
                places,
                files=files,
                turns=(0.0, 180.0, 90.0)[:p],
                chance=float(np.sqrt(8.0 / rng.chisquare(8.0))),
            )
            truth["od_mm"] = truth["id_mm"] + 2 * truth["wire_mm"]
            truth["ar"] = truth["id_mm"] / truth["wire_mm"]
            for ring, old in zip(combine(single).result.rings, single[0].rings, strict=True):
                if ring.status is Status.UNUSABLE:
                    continue
                i = truth_of(single, places, ring)
                for name, hits in covered.items():
                    quantity = getattr(ring, name)
                    hits.append(abs(quantity.value - truth[name][i]) <= quantity.u95)
                before.append(abs(old.id_mm.value - truth["id_mm"][i]))
                after.append(abs(ring.id_mm.value - truth["id_mm"][i]))
    for name, hits in covered.items():
        assert 0.93 <= np.mean(hits) <= 0.98, (name, np.mean(hits))
    assert np.quantile(after, 0.95) < 0.87 * np.quantile(before, 0.95)


def test_u_shrinks_but_never_below_what_photos_share() -> None:
    single = shots(3, 20)
    for old, new in zip(single[0].rings, combine(single).result.rings, strict=True):
        for name in ("wire_mm", "id_mm", "od_mm"):
            was, now = getattr(old, name), getattr(new, name)
            assert now.u < was.u
            assert now.parts["tilt and lens"] == pytest.approx(was.parts["tilt and lens"], rel=0.02)
            assert now.parts["camera height"] == pytest.approx(was.parts["camera height"], rel=0.02)
            assert now.parts["coin"] > 0.7 * was.parts["coin"]
            least = np.sqrt(RIM_SHARE) * was.parts["outline"]
            assert now.parts["outline"] >= 0.99 * least


def test_a_worse_photo_counts_less_and_spoils_nothing() -> None:
    u_outline = {"wire_mm": 0.040, "id_mm": 0.056, "od_mm": 0.040, "ar": 0.2}

    def blurred(ring: Ring) -> Ring:
        sizes = {name: getattr(ring, name) for name in u_outline}
        return replace(
            ring,
            **{
                name: replace(size, parts={**size.parts, "outline": u_outline[name]})
                for name, size in sizes.items()
            },
        )

    growth = []
    for seed in range(10):
        sharp, other = shots(seed, 20, chance=(1.0, 4.0))
        worse = replace(other, rings=tuple(map(blurred, other.rings)))
        whole = combine([sharp, worse])
        assert whole.photos[1].weight == pytest.approx(1 / 17, rel=1e-3)
        for old, new in zip(sharp.rings, whole.result.measured, strict=False):
            assert old.id_mm is not None and new.id_mm is not None
            growth.append(new.id_mm.u / old.id_mm.u)
    assert np.mean(growth) < 1.02


def test_a_ring_swapped_for_one_of_another_size_is_noticed_and_gets_no_number() -> None:
    first, other = shots(6, 15)
    k = same_place(first, other, 4)
    swapped = Quantity(value=6.25, parts=other.rings[k].id_mm.parts)  # type: ignore[union-attr]
    whole = combine([first, changed(other, k, id_mm=swapped)])
    ring = whole.result.rings[4]
    assert ring.status is Status.UNUSABLE and ring.id_mm is None
    assert "disagree about its size" in ring.reasons[0] and "6.25" in ring.reasons[0]
    assert len(whole.result.measured) == 14
    assert whole.agreement["id_mm"].ratio < 1.6


def test_swapped_rings_are_noticed_from_six_hundredths_of_a_millimetre_on() -> None:
    # U of one ID is 0.028 mm by the outline alone; a difference of two, at a risk of 1 % over 24
    # rings, is noticed half the time from 3.7 x 0.0121 x sqrt(2) = 0.064 mm on.
    noticed = {0.0: 0, 0.03: 0, 0.1: 0}
    for seed in range(20):
        first, other = shots([7, seed], 24)  # type: ignore[arg-type]
        k = same_place(first, other, 3)
        was = other.rings[k].id_mm
        assert was is not None
        for off in noticed:
            swapped = replace(was, value=was.value + off)
            whole = combine([first, changed(other, k, id_mm=swapped)])
            noticed[off] += whole.result.rings[3].status is Status.UNUSABLE
    assert noticed[0.0] == 0
    assert noticed[0.03] <= 3
    assert noticed[0.1] >= 15


def test_a_moved_ring_is_left_uncombined_and_never_counted_twice() -> None:
    first, other = shots(8, 15)
    k = same_place(first, other, 4)
    x, y = other.rings[k].center_mm or (0.0, 0.0)
    whole = combine([first, changed(other, k, center_mm=(x + 6.0, y + 5.0))])
    ring, old = whole.result.rings[4], first.rings[4]
    assert ring.warnings == (
        "not at its place in b.jpg: moved, or not seen there",
        "measured in one photo only: nothing to combine",
    )
    assert ring.id_mm is not None and old.id_mm is not None
    assert ring.id_mm.value == pytest.approx(old.id_mm.value, rel=1e-3)
    assert ring.id_mm.u == pytest.approx(old.id_mm.u, rel=0.2)
    assert whole.rings[4].readings == 1
    assert len(whole.result.rings) == 15
    said = f"b.jpg: its ring {other.rings[k].number} lies where a.jpg has none"
    assert any(said in warning for warning in whole.result.warnings)


def test_a_ring_that_one_photo_could_not_measure_is_taken_from_the_others() -> None:
    single = shots(9, 12, ("a.jpg", "b.jpg", "c.jpg"))
    nothing = {name: None for name in ("wire_mm", "id_mm", "od_mm", "ar")}
    spoilt = changed(single[0], 5, status=Status.UNUSABLE, reasons=("in a reflection",), **nothing)
    whole = combine([spoilt, *single[1:]])
    ring: Ring = whole.result.rings[5]
    assert ring.status is Status.MEASURED and ring.id_mm is not None
    assert ring.warnings == ("not measured in a.jpg (in a reflection)",)
    assert whole.rings[5].readings == 2
    all_three = combine(single).result.rings[5]
    assert all_three.id_mm is not None
    assert ring.id_mm.value == pytest.approx(all_three.id_mm.value, abs=0.02)


def test_photos_that_differ_as_a_whole_are_named_and_widen_u() -> None:
    fair, apart = (shots(10, 16, bias_rel=bias) for bias in ((0.0, 0.0), (0.0, 0.02)))
    u_fair, u_apart = (combine(each).result.rings[0].id_mm for each in (fair, apart))
    assert u_fair is not None and u_apart is not None
    assert u_apart.u > 1.5 * u_fair.u
    said = " ".join(combine(apart).result.warnings)
    assert "differ in ID as a whole by more than their U explains" in said


def test_photos_from_one_place_say_that_light_may_not_average_out() -> None:
    rng = np.random.default_rng(11)
    sizes = rng.normal(1.2, 0.006, 8), rng.normal(6, 0.03, 8)
    places = strewn(rng, 8)
    still = combine(photograph(rng, *sizes, places, turns=(0.0, 2.0)))
    moved = combine(photograph(rng, *sizes, places, turns=(0.0, 180.0)))
    assert any("only if the lamp was moved" in warning for warning in still.result.warnings)
    assert not moved.result.warnings
    assert abs(moved.photos[1].turned_deg) == pytest.approx(180.0, abs=0.2)


def test_what_a_later_photo_warns_of_is_not_lost() -> None:
    first, other = shots(17, 6)
    both, alone = "the sheet does not lie flat", "the focal length is a guess"
    first = replace(first, warnings=(both,))
    other = replace(other, warnings=(both,), scale=replace(other.scale, warnings=(alone,)))
    assert combine([first, other]).result.warnings == (both, f"b.jpg: {alone}")


def test_a_batch_takes_the_combined_result_as_one_photo() -> None:
    single = shots(12, 20)
    batch = pool([shot_of(combine(single).result)])
    assert len(batch) == 20
    sample, alone = batch.sample("id_mm"), pool([shot_of(single[0])]).sample("id_mm")
    assert np.all(sample.u_private < alone.u_private)
    assert sample.mean_common().keys() == alone.mean_common().keys()


def test_a_spot_check_takes_all_that_is_left_of_the_outline_for_the_rim() -> None:
    single = shots(18, 8)
    whole = combine(single).result
    reading = Reading(photo=0, ring=whole.rings[0].number, what=What.WIRE, value_mm=1.2)
    before, after = (
        tabulate([shot_of(each)], [reading], Caliper()).prior[1, 1] for each in (single[0], whole)
    )
    assert after == pytest.approx(before, rel=0.02)


def test_the_result_file_keeps_every_photo_and_every_reading() -> None:
    single = shots(13, 6)
    record = result_record(combine(single).result)["same_rings"]
    assert [photo["file"] for photo in record["photos"]] == ["a.jpg", "b.jpg"]
    assert [len(row["seen"]) for row in record["rings"]] == [2] * 6
    first = single[0].rings[0].id_mm
    assert first is not None and record["rings"][0]["seen"][0]["id_mm"] == first.value


@pytest.mark.parametrize(
    ("pick", "said"),
    [((0,), "one photo"), ((0, 0), "are the same photo")],
)
def test_what_cannot_be_combined_says_why(pick: tuple[int, ...], said: str) -> None:
    single = shots(14, 5)
    with pytest.raises(TogetherError, match=said):
        combine([single[k] for k in pick])


def test_the_order_of_the_later_photos_changes_nothing() -> None:
    a, b, c = shots(15, 12, ("a.jpg", "b.jpg", "c.jpg"))
    one, two = combine([a, b, c]).result, combine([a, c, b]).result
    for left, right in zip(one.rings, two.rings, strict=True):
        assert left.id_mm is not None and right.id_mm is not None
        assert left.id_mm.value == pytest.approx(right.id_mm.value, abs=1e-9)
        assert left.id_mm.u == pytest.approx(right.id_mm.u, abs=1e-9)
