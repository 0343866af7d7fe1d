"""Verdicts on shipments whose content is known."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

from tests.batch.bags import U_OUTLINE_MM, ring, shot, sizes
from vision.batch.judge import Conformity, Decision, decide, guard_factor, judge, judge_ring
from vision.batch.order import read_order
from vision.batch.sample import Member, pool
from vision.batch.weight import count_by_weight, ring_mass_g
from vision.errors import VisionError
from vision.results import Quantity
from vision.trade.metals import find_metal

ORDER = read_order(
    """[order]
wire = "16 SWG"
wire_tolerance_mm = 0.05
id = "1/4 in"
id_tolerance_mm = 0.10
""",
    file="order.toml",
)


def member(inside: float, u95: float, *, wire: float = 1.6256) -> Member:
    made = ring(1, wire, inside, u_scale_rel=0.0)
    sharp = Quantity(value=wire, parts={"outline": 0.001})
    return Member(
        ring=replace(made, id_mm=Quantity(value=inside, parts={"outline": u95 / 2}), wire_mm=sharp),
        photo="a.jpg",
        shot=0,
    )


@pytest.mark.parametrize(
    ("measured", "answer"),
    # ISO 14253-1, a worked case: 10.00 +- 0.05 measured with U = 0.04. 10.03 + 0.04 exceeds 10.05:
    # not proven; 10.00 is proven; 10.10 - 0.04 exceeds 10.05: nonconformity proven.
    [
        (10.03, Conformity.UNDECIDED),
        (10.00, Conformity.CONFORMING),
        (10.10, Conformity.NOT_CONFORMING),
        (9.97, Conformity.UNDECIDED),
        (9.90, Conformity.NOT_CONFORMING),
    ],
)
def test_the_decision_rule_of_the_standard(measured: float, answer: Conformity) -> None:
    order = read_order(
        "[order]\nwire = 1.6256\nwire_tolerance_mm = 0.05\nid = 10.0\nid_tolerance_mm = 0.05\n",
        file="x",
    )
    judged = judge_ring(member(measured, 0.04), order)
    assert judged.conformity is answer
    assert judged.worst.name == "id_mm"
    if measured != 10.0:
        assert judged.worst.above == (measured > 10.0)


def test_the_guard_band_grows_with_the_confidence() -> None:
    assert guard_factor(0.90) == guard_factor(0.95) == 2.0
    assert guard_factor(0.99) == pytest.approx(2.326, abs=5e-4)  # normal table


def test_a_good_shipment_is_accepted() -> None:
    rng = np.random.default_rng(1)
    verdict = judge(pool([shot(rng, *sizes(rng, 60, sd_inside=0.015))]), ORDER)
    assert verdict.decision is Decision.ACCEPT
    assert verdict.share_limits[0] == 0.0
    assert verdict.share_limits[1] <= 0.05
    assert verdict.more is None
    wire, inside = verdict.variables
    assert wire.fits and inside.fits
    assert inside.capability is not None
    assert inside.capability.cpk > 1.0


def test_forty_good_rings_are_too_few_and_nineteen_more_decide() -> None:
    # 59 good rings prove 5 % with 95 % confidence (success run).
    rng = np.random.default_rng(2)
    verdict = judge(pool([shot(rng, *sizes(rng, 40, sd_inside=0.015))]), ORDER)
    assert verdict.decision is Decision.CANNOT_TELL
    assert verdict.more is not None
    assert (verdict.more.rings, verdict.more.sharper_rings) == (19, None)


def test_undecided_rings_ask_for_a_sharper_photo() -> None:
    rng = np.random.default_rng(3)
    wires, insides = sizes(rng, 60, sd_inside=0.005)
    insides[:4] = 6.45
    verdict = judge(pool([shot(rng, wires, insides, scale=0.0)]), ORDER)
    undecided = verdict.having(Conformity.UNDECIDED)
    assert {judged.member.ring.number for judged in undecided} == {1, 2, 3, 4}
    assert verdict.decision is Decision.CANNOT_TELL
    assert verdict.more is not None
    assert verdict.more.sharper_rings == 0
    assert verdict.more.rings is not None and verdict.more.rings > 60


def test_the_wrong_gauge_system_is_named() -> None:
    # Ordered 16 SWG (1.626 mm), got 16 AWG (1.291 mm).
    rng = np.random.default_rng(4)
    verdict = judge(pool([shot(rng, *sizes(rng, 30, wire=1.291))]), ORDER)
    assert verdict.decision is Decision.REJECT
    assert "wrong gauge system" in verdict.causes[0]
    assert "AWG 16" in verdict.causes[0]


def test_an_order_in_millimetres_knows_the_gauge_it_was_copied_from() -> None:
    order = read_order(
        "[order]\nwire = 1.63\nwire_tolerance_mm = 0.05\nid = 6.35\nid_tolerance_mm = 0.1\n",
        file="x",
    )
    rng = np.random.default_rng(5)
    verdict = judge(pool([shot(rng, *sizes(rng, 30, wire=1.291))]), order)
    assert "AWG 16" in verdict.causes[0]


def test_outside_for_inside_is_named() -> None:
    # Ordered ID 6.35, got OD 6.35.
    rng = np.random.default_rng(6)
    verdict = judge(pool([shot(rng, *sizes(rng, 30, inside=6.35 - 2 * 1.626))]), ORDER)
    assert any("outside for inside" in cause for cause in verdict.causes)


def test_a_common_factor_puts_the_scale_in_doubt() -> None:
    rng = np.random.default_rng(7)
    verdict = judge(pool([shot(rng, *sizes(rng, 30), scale=0.04)]), ORDER)
    assert any("check the scale" in cause for cause in verdict.causes)


def test_a_mixed_bag_is_named() -> None:
    rng = np.random.default_rng(8)
    parts = sizes(rng, 20), sizes(rng, 12, inside=7.94)
    wires, insides = (np.concatenate(pair) for pair in zip(*parts, strict=True))
    verdict = judge(pool([shot(rng, wires, insides)]), ORDER)
    assert verdict.decision is Decision.REJECT
    assert any("the bag is mixed" in cause for cause in verdict.causes)
    assert len(verdict.having(Conformity.NOT_CONFORMING)) == 12


def test_ar_limits_are_judged() -> None:
    rng = np.random.default_rng(9)
    verdict = judge(pool([shot(rng, *sizes(rng, 30))]), replace(ORDER, ar_min=4.2))
    assert {judged.worst.name for judged in verdict.rings} == {"ar"}
    assert verdict.decision is Decision.REJECT
    assert verdict.variables[2].capability is None


def test_one_ring_decides_nothing() -> None:
    rng = np.random.default_rng(10)
    verdict = judge(pool([shot(rng, *sizes(rng, 1, sd_inside=0.001))]), ORDER)
    assert verdict.decision is Decision.CANNOT_TELL
    assert verdict.variables[0].holds is None


def test_the_whole_lot_decides_itself() -> None:
    rng = np.random.default_rng(11)
    wires, insides = sizes(rng, 20, sd_inside=0.01)
    lot = replace(ORDER, lot_size=20)
    assert judge(pool([shot(rng, wires, insides)]), lot).decision is Decision.ACCEPT
    insides[:2] = 7.0
    assert judge(pool([shot(rng, wires, insides)]), lot).decision is Decision.REJECT


def test_more_rings_than_the_lot_holds_cannot_be() -> None:
    rng = np.random.default_rng(12)
    with pytest.raises(VisionError, match="21 rings were measured, but the lot is said to hold 20"):
        judge(pool([shot(rng, *sizes(rng, 21))]), replace(ORDER, lot_size=20))


@pytest.mark.parametrize(("delivered", "short"), [(1000, False), (1080, False), (850, True)])
def test_a_short_delivery_is_seen_by_its_weight(delivered: int, short: bool) -> None:
    rng = np.random.default_rng(delivered)
    wires, insides = sizes(rng, delivered, sd_inside=0.015)
    metal = find_metal("copper")
    weight = float(ring_mass_g(wires, insides, metal.density_g_cm3).sum())
    batch = pool([shot(rng, wires[:60], insides[:60], u_scale_rel=0.0005)])
    count = count_by_weight(batch, metal, weight, 0.1)
    verdict = judge(batch, replace(ORDER, lot_size=1000), count)
    assert verdict.short is (True if short else False if delivered > 1000 else None)
    assert (verdict.decision is Decision.REJECT) == short


DRAWS = 10_000
N = 80
U_SCALE_MM = 0.004


def decisions(rng: np.random.Generator, true: np.ndarray) -> list[Decision]:
    """Measure lots (draws, n) of true ID: each ring has its own error, each lot its scale's."""
    limit = ORDER.inside.limits_mm[1]
    seen = true + rng.normal(0, U_OUTLINE_MM, true.shape) + rng.normal(0, U_SCALE_MM, (DRAWS, 1))
    guard = guard_factor(ORDER.confidence) * np.hypot(U_OUTLINE_MM, U_SCALE_MM)
    off = np.sum(seen - limit > guard, axis=1)
    undecided = np.sum(np.abs(seen - limit) <= guard, axis=1)
    answers = {
        pair: decide(N, *map(int, pair), ORDER)[0] for pair in set(zip(off, undecided, strict=True))
    }
    return [answers[pair] for pair in zip(off, undecided, strict=True)]


def spread(rng: np.random.Generator, share: float) -> np.ndarray:
    """Lots that spread normally, with just this share beyond the limit: many rings lie near it."""
    limit, sd = ORDER.inside.limits_mm[1], 0.03
    return rng.normal(limit + sd * NormalDist().inv_cdf(share), sd, (DRAWS, N))


def strays(rng: np.random.Generator, share: float) -> np.ndarray:
    """Lots of good rings with this share of another size: every ring is clear."""
    return np.where(rng.random((DRAWS, N)) < share, 6.35 + 0.3, 6.35)


@pytest.mark.parametrize("kind", [spread, strays])
@pytest.mark.parametrize("share", [0.0505, 0.08, 0.15])
def test_bad_lots_are_accepted_no_more_often_than_stated(kind, share: float) -> None:
    rng = np.random.default_rng(int(1e4 * share))
    found = decisions(rng, kind(rng, share))
    assert found.count(Decision.ACCEPT) / DRAWS <= 0.05


@pytest.mark.parametrize("kind", [spread, strays])
@pytest.mark.parametrize("share", [0.01, 0.03, 0.05])
def test_good_lots_are_rejected_no_more_often_than_stated(kind, share: float) -> None:
    rng = np.random.default_rng(int(1e4 * share))
    found = decisions(rng, kind(rng, share))
    assert found.count(Decision.REJECT) / DRAWS <= 0.05


def test_the_stated_risks_are_not_bought_by_never_deciding() -> None:
    rng = np.random.default_rng(80)
    assert decisions(rng, strays(rng, 0.002)).count(Decision.ACCEPT) / DRAWS > 0.8
    assert decisions(rng, strays(rng, 0.2)).count(Decision.REJECT) / DRAWS > 0.9
