"""The joint fit of both outlines: exact edges, noisy edges, and edges that are wrong.

Edges are made by crossing the rays of a guess with the densely sampled silhouettes of a true ring.
"""

import numpy as np
import pytest

from vision.rings.fit import (
    CLEAR_SCATTER,
    PHASES,
    _edges_of,
    _moved,
    _seen_from,
    _shifted,
    refit,
    rematch,
)
from vision.rings.reader import Reading
from vision.rings.section import ROUND
from vision.rings.torus import OVAL_COS, OVAL_SIN, RADIUS, TUBE, outlines, ring_angles, torus
from vision.rings.unwrap import FINE
from vision.scale.camera import Camera, looking_down

CALIPER_MM = 0.02
"""Limit of error of a digital caliper up to 100 mm (DIN 862:1988, step 0.01 mm)."""

SECTORS = 2 * FINE.sectors
"""Of both readings together, through which a ring is fitted for good."""
ANGLES = ring_angles(SECTORS)

TRUE = torus(12.0, -8.0, id_mm=6.35, wire_mm=1.6256)  # 1/4 in, SWG 16


def camera(tilt: tuple[float, float] = (0.0, 0.0), *, roll: float = 0.0, k1: float = 0.0) -> Camera:
    rotation = looking_down(*tilt, roll)
    return Camera(
        rotation=rotation,
        position=np.array([3.0, 5.0, 180.0]),
        f_px=3000.0,
        cx=2015.5,
        cy=1511.5,
        k1=k1,
    )


def edges_of(
    seen_by: Camera, true: np.ndarray, guess: np.ndarray, angles: np.ndarray = ANGLES
) -> np.ndarray:
    """Where (2, sectors) the rays of a guess meet a true ring's outlines, in s of the guess."""
    start, stop = (edge[0] for edge in outlines(seen_by, guess[None], angles))
    found = []
    for outline in outlines(seen_by, true[None], ring_angles(20_000)):
        corners = np.vstack([outline[0], outline[0][:1]])
        met = []
        for here, step in zip(start, stop - start, strict=True):
            aside = (corners - here) @ np.array([-step[1], step[0]])
            along = (corners - here) @ step / (step @ step)
            near = np.nonzero((aside[:-1] * aside[1:] <= 0) & (np.abs(along[:-1]) < 3))[0]
            share = aside[near] / (aside[near] - aside[near + 1])
            at = along[near] + share * (along[near + 1] - along[near])
            met.append(at[np.abs(at - len(found)).argmin()])
        found.append(met)
    return np.array(found)


def reading(edges: np.ndarray) -> Reading:
    count = len(edges)
    return Reading(
        edges=edges,
        weight=np.ones_like(edges),
        scale=np.full((count, 2), 0.01),
        presence=np.ones(count),
    )


def fitted(seen_by: Camera, true: np.ndarray, guess: np.ndarray, rounds: int = 4) -> np.ndarray:
    clear = np.ones((1, SECTORS))
    for _ in range(rounds):
        edges = edges_of(seen_by, true, guess)[None]
        guess = refit(seen_by, guess[None], ANGLES, reading(edges), clear)[0][0]
    return guess


@pytest.mark.parametrize("k1", [0.0, 0.02])
@pytest.mark.parametrize("tilt", [(0.0, 0.0), (0.12, -0.07)])
def test_exact_edges_give_the_exact_ring_from_a_poor_guess(tilt, k1: float) -> None:
    guess = torus(12.3, -7.8, id_mm=5.9, wire_mm=1.95)
    found = fitted(camera(tilt, k1=k1), TRUE, guess)
    assert found == pytest.approx(TRUE, abs=1e-5)


def test_two_readings_from_shifted_starts_are_fitted_together() -> None:
    """As `settled` does: sectors of one reading lie where those of the other meet."""
    seen_by, found = camera((0.05, -0.03)), TRUE + np.array([0.05, -0.04, 0.03, -0.02, 0, 0])
    step = 2.0 * np.pi / FINE.sectors / FINE.rays
    for _ in range(4):
        starts = np.concatenate([_shifted(found[None], *phase[:2]) for phase in PHASES])
        angles = np.stack([ring_angles(FINE.sectors) + turn * step for *_, turn in PHASES])
        edges = [edges_of(seen_by, TRUE, *one) for one in zip(starts, angles, strict=True)]
        seen, clear = reading(np.array(edges)), np.ones((len(PHASES), FINE.sectors))
        both = _edges_of(seen_by, starts, angles, seen, clear, ROUND)
        moved, left = _moved(found[None], _seen_from(both, starts, found[None]))
        found = moved[0]
    assert left.shape == (1, 2 * len(PHASES) * FINE.sectors)
    # each start is a quarter of a place off, and the step from there is linear
    assert found == pytest.approx(TRUE, abs=5e-5)


def test_an_oval_ring_is_found_oval() -> None:
    """2 % and 1 %; the prior on the amplitudes takes less than a twentieth of them."""
    oval = TRUE.copy()
    oval[[OVAL_COS, OVAL_SIN]] = (0.010, -0.005)
    found = fitted(camera((0.05, 0.03)), oval, TRUE)
    assert found[[OVAL_COS, OVAL_SIN]] == pytest.approx((0.010, -0.005), rel=0.05)
    assert found[:4] == pytest.approx(oval[:4], abs=2e-4)


def test_noise_spreads_the_sizes_as_the_bound_says() -> None:
    """Var(radius) = sigma^2 / N for N even points on a circle (Cramer-Rao bound of circle fits,
    N. Chernov, Circular and Linear Regression, 2010): 16 points an outline, both free.

    Residuals stay far below the size at which edges lose weight, so nothing is given away. The
    spread of 3000 rings is known to 1.3 % (1 / sqrt(2 n)).
    """
    rng = np.random.default_rng(20240501)
    sigma = 0.005
    count = 3000
    edges = np.tile(np.array([0.0, 1.0])[:, None], (count, 1, SECTORS))
    edges = edges + rng.normal(0.0, sigma, edges.shape)
    tori = np.tile(TRUE, (count, 1))
    found, _ = refit(camera(), tori, ANGLES, reading(edges), np.ones((count, SECTORS)))
    off = found - TRUE
    wire_mm = 2.0 * TRUE[TUBE]
    bound_radius = sigma * wire_mm / np.sqrt(SECTORS)
    outer, inner = off[:, RADIUS] + off[:, TUBE], off[:, RADIUS] - off[:, TUBE]
    assert outer.std() == pytest.approx(bound_radius, rel=0.05)
    assert inner.std() == pytest.approx(bound_radius, rel=0.05)
    assert (2.0 * off[:, TUBE]).std() == pytest.approx(np.sqrt(2.0) * bound_radius, rel=0.05)
    # Both outlines tell the centre: var(x) = 2 sigma^2 / N, and N is 32.
    assert off[:, 0].std() == pytest.approx(bound_radius, rel=0.05)
    assert np.abs(off.mean(axis=0))[:4].max() < 4.0 * bound_radius / np.sqrt(count)


@pytest.mark.parametrize("shift", [0.25, -0.25, 0.5])
def test_a_fifth_of_the_sectors_may_be_wrong(shift: float) -> None:
    """A shadow on one side: 3 sectors of 16 read a quarter or half a wire off, outside only.

    Least squares alone would miss the caliper's own limit of error several times over.
    """
    edges = np.tile(np.array([0.0, 1.0])[:, None], (1, 1, SECTORS))
    edges[0, 1, 2:5] += shift
    found, left = refit(camera(), TRUE[None], ANGLES, reading(edges), np.ones((1, SECTORS)))
    wire, inside = 2 * found[0, TUBE], 2 * (found[0, RADIUS] - found[0, TUBE])
    plain = abs(shift) * 3 / SECTORS * 2.0 * TRUE[TUBE]  # change of the mean outer radius
    assert plain > 3.0 * CALIPER_MM
    assert wire == pytest.approx(1.6256, abs=CALIPER_MM)
    assert inside == pytest.approx(6.35, abs=CALIPER_MM)
    assert np.abs(left[0, 1, 2:5]).min() > 0.8 * abs(shift)


@pytest.mark.parametrize("shift", [0.1, 0.3])
def test_a_one_sided_shadow_along_both_outlines_may_fool_a_fifth(shift: float) -> None:
    """Light from one side: the shadow lies outside the far rim and inside the near one."""
    edges = np.tile(np.array([0.0, 1.0])[:, None], (1, 1, SECTORS))
    edges[0, 1, 2:5] += shift
    edges[0, 0, 10:13] -= shift
    found, _ = refit(camera(), TRUE[None], ANGLES, reading(edges), np.ones((1, SECTORS)))
    assert 2 * found[0, TUBE] == pytest.approx(1.6256, abs=CALIPER_MM)
    assert 2 * (found[0, RADIUS] - found[0, TUBE]) == pytest.approx(6.35, abs=CALIPER_MM)


def test_wrong_sectors_here_and_there_do_not_spoil_the_ring() -> None:
    """A fifth of all edges, on both outlines, either way: scratches, lint, highlights."""
    rng = np.random.default_rng(20240501)
    edges = np.tile(np.array([0.0, 1.0])[:, None], (20, 1, SECTORS))
    for ring in edges:
        where = rng.choice(2 * SECTORS, 6, replace=False)
        ring.reshape(-1)[where] += rng.choice([-0.3, 0.3], 6)
    tori = np.tile(TRUE, (20, 1))
    found, _ = refit(camera(), tori, ANGLES, reading(edges), np.ones((20, SECTORS)))
    wire, inside = 2 * found[:, TUBE], 2 * (found[:, RADIUS] - found[:, TUBE])
    assert np.median(np.abs(wire - 1.6256)) < CALIPER_MM / 2
    assert np.median(np.abs(inside - 6.35)) < CALIPER_MM / 2


def test_a_bulge_of_both_outlines_shows_as_scatter() -> None:
    """No oval ring has it; what its size is, nobody can say, so it must be refused."""
    edges = np.tile(np.array([0.0, 1.0])[:, None], (1, 1, SECTORS))
    edges[0, :, 5:8] += 0.3
    _, left = refit(camera(), TRUE[None], ANGLES, reading(edges), np.ones((1, SECTORS)))
    assert left.std() > CLEAR_SCATTER


def test_edges_without_weight_and_sectors_outside_the_picture_do_not_count() -> None:
    edges = np.tile(np.array([0.0, 1.0])[:, None], (2, 1, SECTORS))
    edges[:, :, :4] = 7.0
    seen = reading(edges)
    seen.weight[0, :, :4] = 0.0
    clear = np.ones((2, SECTORS))
    clear[1, :4] = 0.5
    found, _ = refit(camera(), np.tile(TRUE, (2, 1)), ANGLES, seen, clear)
    assert found == pytest.approx(np.tile(TRUE, (2, 1)), abs=1e-6)


def test_a_wild_reading_never_gives_a_ring_without_a_hole() -> None:
    edges = np.tile(np.array([-3.0, 4.0])[:, None], (1, 1, SECTORS))
    found, _ = refit(camera(), TRUE[None], ANGLES, reading(edges), np.ones((1, SECTORS)))
    assert found[0, TUBE] <= 1.6 * TRUE[TUBE] + 1e-12
    assert found[0, RADIUS] > found[0, TUBE]


# --- the same outlines through another camera


def test_the_same_camera_gives_the_same_ring() -> None:
    here = camera((0.1, 0.05))
    assert rematch(TRUE[None], here, here)[0] == pytest.approx(TRUE, abs=1e-9)


def test_a_camera_turned_about_the_plumb_line_gives_the_same_sizes() -> None:
    """Only the table's axes turn."""
    oval = TRUE.copy()
    oval[OVAL_COS] = 0.01
    found = rematch(oval[None], camera(), camera(roll=0.7))[0]
    assert found[[RADIUS, TUBE]] == pytest.approx(oval[[RADIUS, TUBE]], rel=1e-6)
    amplitude = np.hypot(found[OVAL_COS], found[OVAL_SIN])
    assert amplitude == pytest.approx(0.01, rel=1e-3)


def test_another_focal_length_at_a_height_that_keeps_the_scale_changes_the_torus_little() -> None:
    """Parallax alone: seen from Z, a ring of wire d reads as at height d / 2: (d / 2) / Z.

    From 180 to 200 mm the sizes at fixed outline grow by (d / 2) (1 / 180 - 1 / 200) to first
    order (similar triangles).
    """
    near = camera()
    far = Camera(
        rotation=near.rotation,
        position=np.array([3.0, 5.0, 200.0]),
        f_px=3000.0 * 200.0 / 180.0,
        cx=near.cx,
        cy=near.cy,
    )
    here = torus(3.0, 5.0, id_mm=6.35, wire_mm=1.6256)
    found = rematch(here[None], near, far)[0]
    growth = 1.6256 / 2 * (1 / 180.0 - 1 / 200.0)
    assert found[RADIUS] / here[RADIUS] - 1.0 == pytest.approx(growth, rel=0.02)


def test_no_rings_need_no_camera() -> None:
    assert rematch(np.empty((0, 6)), camera(), camera()).shape == (0, 6)
