"""May two lots be mixed: against scipy's tests, and on simulated lots."""

import numpy as np
import pytest
from scipy import stats

from tests.batch.bags import shot, sizes
from tests.batch.data import GEARS
from vision.batch.compare import Answer, compare, difference
from vision.batch.sample import Batch, Sample, pool

LOTS = 300


def plain(values: np.ndarray) -> Sample:
    return Sample(values=values, u_private=np.zeros(len(values)), u_common={})


def test_without_doubts_of_measurement_it_is_welchs_test() -> None:
    a, b = GEARS[:10], GEARS[40:60]
    found = difference("id_mm", plain(a), plain(b))
    theirs = stats.ttest_ind(b, a, equal_var=False)
    assert found.value / found.u == pytest.approx(theirs.statistic, rel=1e-9)
    assert found.degrees == pytest.approx(theirs.df, rel=1e-9)
    low = theirs.confidence_interval(0.95).low
    assert found.value - found.u95 == pytest.approx(low, rel=1e-6)


def test_equivalence_is_two_one_sided_tests() -> None:
    a, b = GEARS[:30], GEARS[30:70]
    found = difference("id_mm", plain(a), plain(b))
    for tolerance in (0.001, 0.002, 0.003, 0.004, 0.006):
        larger = stats.ttest_ind(b + tolerance, a, equal_var=False, alternative="greater").pvalue
        smaller = stats.ttest_ind(b - tolerance, a, equal_var=False, alternative="less").pvalue
        alike = max(larger, smaller) < 0.05
        assert (found.within(tolerance) is Answer.YES) == alike
    # Both answers occur, or the loop would show nothing.
    assert found.within(0.001) is not Answer.YES
    assert found.within(0.006) is Answer.YES


def lots(
    rng: np.random.Generator, step: float, references: tuple[str, str], scales=(None, None)
) -> tuple[Batch, Batch]:
    a, b = (
        pool(
            [
                shot(
                    rng,
                    *sizes(rng, 30, inside=inside, sd_inside=0.02),
                    file=f"{label}.jpg",
                    reference=reference,
                    scale=scale,
                )
            ]
        )
        for label, inside, reference, scale in zip(
            "ab", (6.35, 6.35 + step), references, scales, strict=True
        )
    )
    return a, b


def test_one_set_up_shares_its_scale_error_and_two_do_not() -> None:
    rng = np.random.default_rng(1)
    same = compare(*lots(rng, 0.0, ("a5", "a5"))).inside
    other = compare(*lots(rng, 0.0, ("a5", "a4"))).inside
    assert same.shared and not other.shared
    # Scatter of both means, a bias within 0.01 mm each, and 0.15 % of 6.35 mm each if not shared.
    scatter = np.hypot(*(sd / np.sqrt(30) for sd in same.sds))
    assert same.u == pytest.approx(np.hypot(scatter, 0.01 / np.sqrt(3) * np.sqrt(2)), rel=0.001)
    assert other.u**2 - same.u**2 == pytest.approx(2 * (0.0015 * 6.35) ** 2, rel=0.2)


@pytest.mark.parametrize("references", [("a5", "a5"), ("a5", "a4")])
def test_different_lots_are_called_alike_at_most_at_the_stated_risk(
    references: tuple[str, str],
) -> None:
    rng = np.random.default_rng(2)
    wrong = 0
    for _ in range(LOTS):
        common = rng.normal(0, 0.0015)
        scales = (common, common if references[0] == references[1] else rng.normal(0, 0.0015))
        found = compare(*lots(rng, 0.0501, references, scales), tolerance_mm=0.05)
        wrong += found.answer is Answer.YES
    assert wrong / LOTS <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / LOTS)


def test_clear_cases_get_clear_answers() -> None:
    rng = np.random.default_rng(3)
    assert compare(*lots(rng, 0.0, ("a5", "a5"), (0.0, 0.0))).answer is Answer.YES
    different = compare(*lots(rng, 0.15, ("a5", "a5"), (0.0, 0.0)))
    assert different.answer is Answer.NO
    assert different.reason == "ID differs by more than 0.05 mm"
    assert different.inside.value == pytest.approx(0.15, abs=0.03)
    open_ = compare(*lots(rng, 0.05, ("a5", "a5"), (0.0, 0.0)))
    assert open_.answer is Answer.CANNOT_TELL


def test_a_mixed_bag_is_sorted_before_it_is_compared() -> None:
    rng = np.random.default_rng(4)
    parts = sizes(rng, 20), sizes(rng, 20, inside=7.94)
    wires, insides = (np.concatenate(pair) for pair in zip(*parts, strict=True))
    mixed = pool([shot(rng, wires, insides, file="b.jpg")])
    found = compare(pool([shot(rng, *sizes(rng, 20), file="a.jpg")]), mixed)
    assert found.answer is Answer.CANNOT_TELL
    assert found.reason == "lot B is itself a mixed bag: sort it first"


def test_two_rings_are_no_lot() -> None:
    rng = np.random.default_rng(5)
    few = pool([shot(rng, *sizes(rng, 2), file="b.jpg")])
    found = compare(pool([shot(rng, *sizes(rng, 20), file="a.jpg")]), few)
    assert found.answer is Answer.CANNOT_TELL
    assert "fewer than 3 rings" in found.reason
