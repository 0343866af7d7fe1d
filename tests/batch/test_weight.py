"""Mass of rings, and rings by weight."""

import numpy as np
import pytest

from tests.batch.bags import shot, sizes
from vision.batch.sample import pool
from vision.batch.weight import count_by_weight, ring_mass_g
from vision.errors import TradeError
from vision.trade.metals import find_metal, metals

# ID, wire, volume mm3, grams at the densities: a torus by Pappus, computed independently.
DENSITIES = (2.64, 8.96, 8.53, 8.00, 4.51, 10.36)
MASSES = [
    (3.00, 0.80, 6.0007, (0.01584, 0.05377, 0.05119, 0.04801, 0.02706, 0.06217)),
    (4.76, 1.20, 21.1762, (0.05591, 0.18974, 0.18063, 0.16941, 0.09550, 0.21939)),
    (6.35, 1.63, 52.3140, (0.13811, 0.46873, 0.44624, 0.41851, 0.23594, 0.54197)),
    (8.00, 1.60, 60.6388, (0.16009, 0.54332, 0.51725, 0.48511, 0.27348, 0.62822)),
]


@pytest.mark.parametrize(("inside", "wire", "volume", "grams"), MASSES)
def test_masses(inside: float, wire: float, volume: float, grams: tuple[float, ...]) -> None:
    assert float(ring_mass_g(wire, inside, 1000.0)) == pytest.approx(volume, abs=5.1e-5)
    found = [float(ring_mass_g(wire, inside, density)) for density in DENSITIES]
    assert found == pytest.approx(grams, abs=5.1e-6)


def test_a_torus_cut_open_is_a_straight_wire() -> None:
    # A ring that lacks half its length holds half its metal.
    whole = float(ring_mass_g(1.6, 8.0, 8.0))
    assert float(ring_mass_g(1.6, 8.0, 8.0, np.pi * 9.6 / 2)) == pytest.approx(whole / 2)


@pytest.mark.parametrize(
    ("name", "density"),
    # Periodic table of elements (copper, niobium), makers' and trade tables.
    [
        ("copper", 8.96),
        ("Fine Silver", 10.49),
        ("niobium", 8.57),
        ("brass", 8.53),
        ("bronze", 8.86),
        ("titanium", 4.51),
        ("sterling", 10.36),
    ],
)
def test_densities(name: str, density: float) -> None:
    assert find_metal(name).density_g_cm3 == density


def test_sterling_is_the_mixture_of_its_metals() -> None:
    # 1 / rho = sum of w / rho: 92.5 % silver (10.49) and 7.5 % copper (8.96) are 10.357.
    mixed = 1 / (0.925 / 10.49 + 0.075 / 8.96)
    assert find_metal("sterling").density_g_cm3 == pytest.approx(mixed, abs=0.005)


def test_aluminium_covers_both_alloys_of_the_trade() -> None:
    metal = find_metal("aluminum")
    half = metal.u_density_g_cm3 * 3**0.5
    for alloy in (2.64, 2.68):
        assert abs(alloy - metal.density_g_cm3) <= half


def test_no_two_metals_share_a_name() -> None:
    names = [name for metal in metals() for name in (metal.name, *metal.also)]
    assert len(names) == len(set(names))


def test_an_unknown_metal_is_refused_with_the_known_ones() -> None:
    with pytest.raises(TradeError) as caught:
        find_metal("bronce")
    assert "did you mean bronze?" in caught.value.hint


def test_the_count_covers_the_truth_as_often_as_stated() -> None:
    rng = np.random.default_rng(453)
    metal = find_metal("bronze")
    held = 0
    trials = 400
    for _ in range(trials):
        wires, insides = sizes(rng, 1000)
        half = metal.u_density_g_cm3 * 3**0.5
        density = metal.density_g_cm3 + rng.uniform(-half, half)
        weight = float(ring_mass_g(wires, insides, density).sum()) * rng.normal(1.0, 0.001)
        seen = pool([shot(rng, wires[:40], insides[:40])])
        count = count_by_weight(seen, metal, round(weight, 1), 0.1)
        held += abs(count.rings - 1000) <= count.rings_u95
    # At least 95 %: the promised limit on bias is counted in, and these bags have none.
    assert held / trials > 0.95 - 3 * np.sqrt(0.95 * 0.05 / trials)
