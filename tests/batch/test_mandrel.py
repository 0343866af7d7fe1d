"""Spring-back against Gardiner's formula, a bent wire integrated in layers, and a page of sums."""

import math

import numpy as np
import pytest

from tests.batch.bags import shot, sizes
from vision.batch.mandrel import Coil, MandrelError, spring_back
from vision.batch.sample import pool


def coil(
    seed: int, mandrel_mm: float, inside: float, *, n: int = 30, wire: float = 1.2, **how
) -> Coil:
    rng = np.random.default_rng(seed)
    true = sizes(rng, n, wire=wire, inside=inside, sd_inside=0.02)
    how = {"scale": 0.0, "u_scale_rel": 0.0005, "file": f"{seed}.jpg", **how}
    return Coil(label=f"{seed}.json", batch=pool([shot(rng, *true, **how)]), mandrel_mm=mandrel_mm)


def moment(curvature: float, yield_strain: float, d: float, power: float = 0.0) -> float:
    """Bending moment over E of round wire, layer by layer; beyond its yield it hardens."""
    y = (np.arange(20000) + 0.5) / 20000 * d / 2
    strain = y * curvature
    plastic = yield_strain * np.maximum(strain / yield_strain, 1.0) ** power
    stress = np.minimum(strain, plastic)
    width = 2 * np.sqrt((d / 2) ** 2 - y**2)
    return float(2 * np.sum(stress * y * width) * d / 2 / 20000)


def free_radius(wound: float, yield_strain: float, d: float, power: float = 0.0) -> float:
    """Radius after release: the moment is taken off elastically."""
    stiffness = math.pi * d**4 / 64
    return 1 / (1 / wound - moment(1 / wound, yield_strain, d, power) / stiffness)


def gardiner(wound: float, yield_strain: float, t: float) -> float:
    x = wound * yield_strain / t
    return wound / (4 * x**3 - 3 * x + 1)


def test_gardiners_formula_as_in_the_handbook() -> None:
    # S. Kalpakjian, bending of sheet: 20-gauge steel (0.0359 in), R_i 0.5 in, Y 40 000 psi,
    # E 29 000 000 psi: R_i / R_f = 0.942, R_f = 0.531 in. From memory.
    assert gardiner(0.5, 40e3 / 29e6, 0.0359) == pytest.approx(0.531, abs=5e-4)


@pytest.mark.parametrize("strain", [0.002, 0.004])
def test_gardiners_formula_gives_a_constant_loss_of_curvature(strain: float) -> None:
    # c = 3 Y / (E t) up to the cube, which is 1 % of it at x = 0.08.
    for wound in (3.0, 4.0, 6.0):
        lost = 1 / wound - 1 / gardiner(wound, strain, 1.2)
        cube = 4 * (wound * strain / 1.2) ** 3 / wound
        assert lost == pytest.approx(3 * strain / 1.2 - cube, rel=1e-9)


def test_round_wire_loses_3_4_yield_strains_over_its_diameter() -> None:
    # Plastic moment Y d^3 / 6 over E pi d^4 / 64 (textbook section moduli): 64 / (6 pi) = 3.395.
    lost = 1 / 3.6 - 1 / free_radius(3.6, 0.004, 1.2)
    assert lost == pytest.approx(64 / (6 * math.pi) * 0.004 / 1.2, rel=2e-3)


def test_spring_back_of_one_coil_by_hand() -> None:
    found = spring_back([coil(1, 6.0, 6.4)])
    one = found.coils[0]
    assert one.back_mm == pytest.approx(one.id_mm - 6.0, abs=1e-12)
    assert one.ratio == pytest.approx(one.id_mm / 6.0)
    # 1 / 3.6 - 1 / 3.8 = 0.01462 per mm, for ID 6.40, mandrel 6.00, wire 1.20.
    assert found.level == pytest.approx(0.01462, abs=4e-4)
    assert found.hardening == 0.0
    # Common part: 0.05 % of 6.4 mm = 0.0032; single rings: sd 0.02 and outline 0.006, 30 of them,
    # t(29) / 2 = 1.02: 0.0039; bias of metal and light 0.0058; mandrel 0.0115: U 0.028 mm.
    assert one.back_u95_mm == pytest.approx(0.028, abs=0.002)


def test_more_rings_do_not_make_the_common_part_smaller() -> None:
    few, many = (
        spring_back([coil(2, 6.0, 6.4, n=n, u_scale_rel=0.003)]).coils[0] for n in (10, 1000)
    )
    assert many.back_u95_mm < few.back_u95_mm
    assert many.back_u95_mm >= 2 * math.hypot(0.003 * 6.4, 0.01 / math.sqrt(3), 0.02 / math.sqrt(3))


def test_the_mandrel_for_the_same_size_is_the_mandrel() -> None:
    found = spring_back([coil(3, 6.0, 6.4)])
    choice = found.mandrel_for(found.coils[0].id_mm)
    assert choice.mandrel_mm == pytest.approx(6.0, abs=1e-9)
    assert not choice.far


def test_a_mandrel_for_another_size_by_hand() -> None:
    # c = 1/3.6 - 1/3.8 = 0.0146199; wanted 8.0: R_f 4.6, R_i = 1 / (1/4.6 + c) = 4.3101,
    # mandrel 2 x 4.3101 - 1.2 = 7.4202. A constant ratio would say 7.514, a constant step 7.6.
    found = spring_back([coil(4, 6.0, 6.4, n=2000, u_scale_rel=1e-6)])
    assert found.mandrel_for(8.0).mandrel_mm == pytest.approx(7.420, abs=0.006)


def test_u_grows_with_the_distance_from_the_mandrel() -> None:
    found = spring_back([coil(5, 6.0, 6.4)])
    near, off, far = (found.mandrel_for(size) for size in (6.4, 8.0, 12.0))
    assert near.u95_mm < off.u95_mm < far.u95_mm
    # Constant curvature and constant ratio differ by more: U must reach towards n = 0.5.
    assert abs(off.mandrel_mm - 8.0 * 6.0 / 6.4) < 2.0 * off.u95_mm
    assert (off.far, far.far) == (False, True)


@pytest.mark.parametrize("power", [0.0, 0.1, 0.25])
def test_bent_wire_of_any_hardening_is_predicted_within_u(power: float) -> None:
    # The wire is bent and released layer by layer; nothing of the model is in this truth.
    strain, d = 0.003, 1.2
    measured = 2 * free_radius(3.6, strain, d, power) - d
    found = spring_back([coil(6, 6.0, measured)])
    for mandrel in (4.0, 5.0, 7.0, 8.0):
        wanted = 2 * free_radius((mandrel + d) / 2, strain, d, power) - d
        choice = found.mandrel_for(wanted)
        assert abs(choice.mandrel_mm - mandrel) < choice.u95_mm, mandrel


def test_two_mandrels_tell_how_the_wire_hardens_and_make_u_smaller() -> None:
    strain, d, power = 0.006, 1.2, 0.3
    insides = {m: 2 * free_radius((m + d) / 2, strain, d, power) - d for m in (4.0, 8.0)}
    one = spring_back([coil(7, 4.0, insides[4.0])])
    two = spring_back([coil(7, 4.0, insides[4.0]), coil(8, 8.0, insides[8.0])])
    assert two.hardening > 0.15
    assert two.hardening_u95 < 0.8 * one.hardening_u95
    wanted = 2 * free_radius((6.5 + d) / 2, strain, d, power) - d
    alone, both = one.mandrel_for(wanted), two.mandrel_for(wanted)
    assert both.u95_mm < alone.u95_mm
    assert abs(both.mandrel_mm - 6.5) < both.u95_mm
    assert not two.contradictory


def test_the_answer_covers_in_95_of_100_simulated_benches() -> None:
    hits = []
    for seed in range(400):
        rng = np.random.default_rng([9, seed])
        n, level = rng.normal(0.0, 0.5 / math.sqrt(3)), 0.0146
        scale = rng.normal(0, 0.0015)

        def wind(mandrel: float, n: float = n, level: float = level) -> float:
            wound = (mandrel + 1.2) / 2
            return 2 / (1 / wound - level * (1 - n * math.log(wound / 3.6))) - 1.2

        inside = wind(6.0) + rng.normal(0, 0.01 / math.sqrt(3))
        read = 6.0 + rng.normal(0, 0.02 / math.sqrt(3))
        found = spring_back([coil(1000 + seed, read, inside, scale=scale, u_scale_rel=0.0015)])
        choice = found.mandrel_for(wind(7.5))
        hits.append(abs(choice.mandrel_mm - 7.5) <= choice.u95_mm)
    assert 0.93 <= np.mean(hits) <= 0.99


def test_a_saw_cut_is_lost_from_the_circumference() -> None:
    # 0.6 / pi = 0.191 mm: closed rings of ID 6.40 come from a coil of 6.59.
    closed = coil(10, 6.0, 6.4)
    plain, sawn = spring_back([closed]), spring_back([closed], kerf_mm=0.6)
    assert sawn.coils[0].back_mm - plain.coils[0].back_mm == pytest.approx(0.191, abs=5e-4)
    same = sawn.coils[0].id_mm
    assert sawn.mandrel_for(same).mandrel_mm == pytest.approx(6.0, abs=1e-9)


def test_rings_photographed_open_have_lost_nothing_yet() -> None:
    from dataclasses import replace

    whole = coil(11, 6.0, 6.4)
    member = whole.batch.members[0]
    rings = [replace(m, ring=replace(m.ring, gap_mm=0.6)) for m in whole.batch.members]
    opened = replace(whole, batch=replace(whole.batch, members=tuple(rings)))
    assert member.ring.gap_mm is None
    found = spring_back([opened], kerf_mm=0.6)
    assert found.coils[0].back_mm == pytest.approx(found.coils[0].id_mm - 6.0, abs=1e-9)
    # Closed, a ring of that ID needs a larger mandrel than the one these were wound on.
    assert found.mandrel_for(found.coils[0].id_mm).mandrel_mm > 6.1


def test_an_off_size_ring_is_left_out() -> None:
    rng = np.random.default_rng(12)
    wires, insides = sizes(rng, 20, wire=1.2, inside=6.4, sd_inside=0.02)
    insides[7] = 7.2
    batch = pool([shot(rng, wires, insides, scale=0.0)])
    found = spring_back([Coil(label="x", batch=batch, mandrel_mm=6.0)])
    assert (found.coils[0].rings, found.coils[0].off_size) == (19, 1)
    assert found.coils[0].id_mm == pytest.approx(6.4, abs=0.03)


def test_what_does_not_go_together_is_refused() -> None:
    rng = np.random.default_rng(13)
    one, two = sizes(rng, 12, inside=6.4), sizes(rng, 12, inside=8.4)
    mixed = shot(rng, *(np.concatenate(pair) for pair in zip(one, two, strict=True)))
    with pytest.raises(MandrelError, match="rings of several sizes"):
        spring_back([Coil(label="bag", batch=pool([mixed]), mandrel_mm=6.0)])
    with pytest.raises(MandrelError, match=r"not of one wire: 1\.20 mm and 1\.60 mm"):
        spring_back([coil(14, 6.0, 6.4), coil(15, 6.0, 6.4, wire=1.6)])
    with pytest.raises(MandrelError, match="not larger than their mandrel"):
        spring_back([coil(16, 6.0, 5.8)])


def test_a_misread_mandrel_among_several_is_seen() -> None:
    strain, d = 0.006, 1.2
    inside = {m: 2 * free_radius((m + d) / 2, strain, d) - d for m in (5.0, 6.0, 7.0)}
    fair = [coil(20 + k, m, inside[m]) for k, m in enumerate(inside)]
    assert not spring_back(fair).contradictory
    wrong = [fair[0], coil(21, 6.3, inside[6.0]), fair[2]]
    assert spring_back(wrong).contradictory
