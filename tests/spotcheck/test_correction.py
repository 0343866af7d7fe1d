"""What readings teach, and how a later photo is corrected by it."""

from dataclasses import replace

import numpy as np
import pytest

from tests.cli.fakes import result
from tests.spotcheck.bench import photograph, read, seen_ring, sizes
from vision.results import Quantity, Result, result_record
from vision.spotcheck.caliper import Caliper, Reading, What
from vision.spotcheck.correction import (
    CAUSE,
    Bound,
    Correction,
    CorrectionError,
    apply_correction,
    fit_correction,
)
from vision.spotcheck.verdict import Verdict, compare

BOUND = Bound(
    kind="coin",
    reference="eur-1",
    sheet_version=None,
    mm_per_px=0.1,
    u_scale_rel=0.0012,
    colours=("brass-coloured",),
    light="",
    photos_sha256=("1" * 64,),
)
BOTH = Correction(
    factor=1.01,
    u_factor=0.0005,
    rim_mm=0.05,
    u_rim_mm=0.004,
    covariance_mm=-1e-6,
    readings=20,
    rings=5,
    bound=BOUND,
)


def photo_result(**changes: object) -> Result:
    return result([seen_ring(1, 1.6, 6.3), seen_ring(2, 1.2, 4.0)], **changes)


def value(quantity: Quantity | None) -> float:
    assert quantity is not None
    return quantity.value


# --- applying


def test_sizes_grow_by_the_scale_and_the_rim() -> None:
    ring = apply_correction(photo_result(), BOTH).rings[0]
    assert value(ring.wire_mm) == pytest.approx(1.01 * 1.6 + 0.05)
    assert value(ring.id_mm) == pytest.approx(1.01 * 6.3 - 0.05)
    assert value(ring.od_mm) == pytest.approx(value(ring.id_mm) + 2 * value(ring.wire_mm))
    assert value(ring.ar) == pytest.approx(value(ring.id_mm) / value(ring.wire_mm))


def test_u_shrinks_in_the_same_set_up() -> None:
    before, after = photo_result().rings[0], apply_correction(photo_result(), BOTH).rings[0]
    for name in ("wire_mm", "id_mm", "od_mm", "ar"):
        assert getattr(after, name).u95 < getattr(before, name).u95


@pytest.mark.parametrize("name", ["wire_mm", "id_mm", "od_mm", "ar"])
def test_the_corrections_own_doubt_by_monte_carlo(name: str) -> None:
    # JCGM 101: draw factor and rim from their joint distribution and look at the spread.
    rng = np.random.default_rng(1)
    covariance = [[0.0005**2, -1e-6], [-1e-6, 0.004**2]]
    factor, rim = rng.multivariate_normal([1.01, 0.05], covariance, size=200_000).T
    wire, inside = factor * 1.6 + rim, factor * 6.3 - rim
    drawn = {"wire_mm": wire, "id_mm": inside, "od_mm": inside + 2 * wire, "ar": inside / wire}
    part = getattr(apply_correction(photo_result(), BOTH).rings[0], name).parts[CAUSE]
    assert part == pytest.approx(drawn[name].std(), rel=0.01)


def test_table_and_file_say_that_it_was_corrected() -> None:
    corrected = apply_correction(photo_result(), BOTH)
    assert any("corrected by caliper: scale +1.00" in note for note in corrected.scale.notes)
    assert result_record(corrected)["correction"]["rim_mm"] == 0.05
    assert result_record(photo_result())["correction"] is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"kind": "sheet", "reference": "a5"}, "the scale comes from coin eur-1"),
        ({"reference": "eur-2"}, "the correction from coin eur-2"),
        ({"mm_per_px": 0.04}, "the rim looks different"),
        ({"u_scale_rel": 0.0003}, "--bar-x"),
        ({"colours": ("copper-coloured",)}, "another metal"),
    ],
)
def test_another_set_up_is_warned_of_and_keeps_its_u(changes: dict[str, object], said: str) -> None:
    strange = replace(BOTH, bound=replace(BOUND, **changes))
    corrected = apply_correction(photo_result(), strange)
    assert any(said in warning for warning in corrected.warnings), corrected.warnings
    before, after = photo_result().rings[0], corrected.rings[0]
    assert after.wire_mm is not None and before.wire_mm is not None
    assert after.wire_mm.u95 > before.wire_mm.u95


def test_one_ring_of_another_colour_is_no_other_metal() -> None:
    rings = [seen_ring(k, 1.6, 6.3) for k in (1, 2)]
    odd = [*rings, seen_ring(3, 1.6, 6.3, colour="silver-coloured")]
    assert apply_correction(result(odd), BOTH).warnings == ()


def test_an_older_sheet_is_warned_of() -> None:
    bound = replace(BOUND, kind="sheet", reference="a5", sheet_version=99)
    sheet = replace(photo_result().scale, kind="sheet", reference="a5")
    corrected = apply_correction(photo_result(scale=sheet), replace(BOTH, bound=bound))
    assert any("had 99" in warning for warning in corrected.warnings)


def test_the_coins_rim_is_traced_anew_in_another_photo() -> None:
    other = apply_correction(photo_result(), BOTH).rings[0]
    same = apply_correction(
        photo_result(),
        replace(BOTH, bound=replace(BOUND, photos_sha256=(photo_result().photo.sha256,))),
    ).rings[0]
    assert other.id_mm is not None and same.id_mm is not None
    assert "coin" in other.id_mm.parts and "coin" not in same.id_mm.parts


def test_a_correction_that_eats_the_wire_is_refused() -> None:
    with pytest.raises(CorrectionError, match="leaves nothing of ring"):
        apply_correction(photo_result(), replace(BOTH, rim_mm=-2.0))


# --- fitting


def test_one_reading_corrects_the_scale_only() -> None:
    rng = np.random.default_rng(2)
    bench = photograph(*sizes(8, rng), rng)
    reading = Reading(photo=0, ring=1, what=What.OD, value_mm=9.7)
    found = fit_correction([bench.shot], compare([bench.shot], [reading]))
    assert found.rim_mm is None
    assert found.u_factor > 0


def test_an_agreeing_photo_ends_surer_than_it_was() -> None:
    rng = np.random.default_rng(3)
    bench = photograph(*sizes(24, rng), rng)
    comparison = compare([bench.shot], read(bench, [1, 2, 3, 4, 5], rng))
    assert comparison.verdict is Verdict.AGREE
    found = fit_correction([bench.shot], comparison)
    assert found.u_factor < 0.0012
    fresh = result(bench.shot.rings, file="tray.jpg")
    corrected = apply_correction(fresh, replace(found, bound=replace(BOUND, mm_per_px=0.1)))
    for before, after in zip(fresh.rings, corrected.rings, strict=True):
        assert before.id_mm is not None and after.id_mm is not None
        assert after.id_mm.u95 < before.id_mm.u95


def test_a_vernier_scale_is_not_trusted_with_more_than_it_can_read() -> None:
    rng = np.random.default_rng(6)
    bench = photograph(*sizes(24, rng), rng)
    readings = read(bench, [1, 2, 3, 4, 5], rng)
    assert compare([bench.shot], readings).verdict is Verdict.AGREE
    coarse = compare([bench.shot], readings, Caliper(limit_mm=0.05))
    assert coarse.verdict is Verdict.OPEN
    assert "0.05 mm" in coarse.why
    assert fit_correction([bench.shot], coarse).rim_mm is None


def test_a_corrected_result_is_not_corrected_again() -> None:
    rng = np.random.default_rng(5)
    bench = photograph(*sizes(8, rng), rng)
    shot = replace(bench.shot, corrected=True)
    comparison = compare([shot], read(bench, [1, 2], rng))
    with pytest.raises(CorrectionError, match="corrected already"):
        fit_correction([shot], comparison)
