"""Tilt and lens from round things, against circles drawn by OpenCV's own projection."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from vision.scale.camera import looking_down
from vision.scale.coin import View
from vision.scale.level import ROUND_POINTS, U_K1, U_TILT, Round, level

F_PX, CX, CY = 3000.0, 2015.5, 1511.5
U_OVAL = 0.005
"""Standard uncertainty of a jump ring's own oval amplitude, as the program takes it."""
PRIOR = np.array([U_TILT, U_TILT, U_K1])
START = View(f_px=F_PX, cx=CX, cy=CY)
PLACES = [(x, y) for x in (-70.0, -35.0, 0.0, 35.0, 70.0) for y in (-50.0, -17.0, 17.0, 50.0)]
"""Twenty rings over a table of 180 by 135 mm, seen from 150 mm."""


def circle_px(
    place: tuple[float, float],
    radius: float,
    *,
    tilt: tuple[float, float],
    k1: float,
    oval: tuple[float, float] = (0.0, 0.0),
    height: float = 0.6,
) -> np.ndarray:
    t = np.linspace(0.0, 2.0 * np.pi, ROUND_POINTS, endpoint=False)
    reach = radius * (1.0 + oval[0] * np.cos(2.0 * t) + oval[1] * np.sin(2.0 * t))
    points = np.stack(
        [place[0] + reach * np.cos(t), place[1] + reach * np.sin(t), np.full_like(t, height)], -1
    )
    rotation = looking_down(*tilt)
    matrix = np.array([[F_PX, 0, CX], [0, F_PX, CY], [0, 0, 1]])
    lens = np.array([k1, 0.0, 0.0, 0.0])
    turn, move = cv2.Rodrigues(rotation)[0], -rotation @ np.array([0.0, 0.0, 150.0])
    pixels, _ = cv2.projectPoints(points, turn, move, matrix, lens)
    return pixels.reshape(-1, 2)


def rounds(
    *,
    tilt: tuple[float, float],
    k1: float,
    ovals: np.ndarray | None = None,
    places: list[tuple[float, float]] = PLACES,
) -> list[Round]:
    if ovals is None:
        ovals = np.zeros((len(places), 2))
    return [
        Round(
            points_px=circle_px(
                place, 3.0 + index % 4, tilt=tilt, k1=k1, oval=(float(oval[0]), float(oval[1]))
            ),
            u_oval=U_OVAL,
        )
        for index, (place, oval) in enumerate(zip(places, ovals, strict=True))
    ]


def numbers(view: View) -> np.ndarray:
    """Tilt about x and y, and k1."""
    return np.array([view.tilt_x, view.tilt_y, view.k1])


def found(things: list[Round]) -> tuple[np.ndarray, np.ndarray]:
    """What the round things say, and its covariance (3, 3)."""
    levelled = level(START, things)
    at = numbers(levelled.view)
    each = np.array([numbers(view) - at for view in levelled.spread])
    return at, each.T @ each


@pytest.mark.parametrize(
    ("tilt", "k1"),
    [((0.0, 0.0), 0.0), ((0.05, -0.03), 0.0), ((-0.08, 0.06), 0.01), ((0.02, 0.09), -0.015)],
)
def test_tilt_and_lens_come_back_from_exact_circles(tilt: tuple[float, float], k1: float) -> None:
    """They fall short by the priors' weight: covariance times inverse prior (Bayes, linear)."""
    true = np.array([*tilt, k1])
    at, covariance = found(rounds(tilt=tilt, k1=k1))
    short = covariance @ (true / PRIOR**2)
    assert at == pytest.approx(true - short, abs=0.005 * U_TILT)
    assert np.all(np.sqrt(np.diag(covariance)) < (0.01, 0.01, 0.5 * U_K1))  # 0.6 degrees


def test_the_stated_spread_is_what_chance_does() -> None:
    """Rings that are oval by chance: (found - true) / u has a spread near 1 and no bias.

    Sixty sets; the spread of 180 such values is known to 5 % (1 / sqrt(2 n)), the mean to 0.075.
    """
    rng = np.random.default_rng(20240501)
    true = np.array([0.04, -0.03, 0.005])
    scores = []
    for _ in range(60):
        ovals = rng.normal(0.0, U_OVAL, (len(PLACES), 2))
        at, covariance = found(rounds(tilt=(0.04, -0.03), k1=0.005, ovals=ovals))
        scores.append((at - true) / np.sqrt(np.diag(covariance)))
    scores = np.array(scores)
    assert np.abs(scores.mean(axis=0)).max() < 0.4  # three standard errors of 60
    assert 0.75 < scores.std() < 1.2


def of_size(radii: np.ndarray, ovals: np.ndarray, tilt: tuple[float, float]) -> list[Round]:
    """Rings of these sizes at the twenty places."""
    return [
        Round(
            points_px=circle_px(place, radius, tilt=tilt, k1=0.0, oval=(oval[0], oval[1])),
            u_oval=U_OVAL,
        )
        for place, radius, oval in zip(PLACES, radii, ovals, strict=True)
    ]


def test_sizes_of_one_bag_level_the_camera_too_and_say_how_well() -> None:
    """Ovals and sizes by chance (0.5 and 0.4 %), sixty sets: better than rings of all sizes do."""
    rng = np.random.default_rng(20241126)
    true, scores, ratio = np.array([0.02, -0.03, 0.0]), [], []
    for _ in range(60):
        ovals = rng.normal(0.0, U_OVAL, (len(PLACES), 2))
        radii = 3.0 * np.exp(rng.normal(0.0, 0.004, len(PLACES)))
        at, covariance = found(of_size(radii, ovals, (0.02, -0.03)))
        u = np.sqrt(np.diag(covariance))
        every = 3.0 * 1.04 ** np.arange(len(PLACES))  # no two of a size
        _, alone = found(of_size(every, ovals, (0.02, -0.03)))
        scores.append((at - true) / u)
        ratio.append(u[:2] / np.sqrt(np.diag(alone))[:2])
    scores = np.array(scores)
    assert np.median(ratio) < 0.85
    assert 0.7 < scores.std() < 1.2
    assert np.abs(scores.mean(axis=0)).max() < 0.4


def test_rings_laid_in_order_of_size_are_no_tilt() -> None:
    """Each column 1 % larger than the one to its left, and a little more from row to row."""
    places = np.array(PLACES)
    radii = 3.0 * np.exp(0.01 * places[:, 0] / 35.0 + 0.0005 * places[:, 1] / 17.0)
    things = of_size(radii, np.zeros((len(PLACES), 2)), (0.0, 0.0))
    at, covariance = found(things)
    by_shapes, its = found([replace(thing, is_ring=False) for thing in things])
    assert at == pytest.approx(by_shapes, abs=1e-9)
    assert covariance == pytest.approx(its, abs=1e-12)


@pytest.mark.parametrize("larger", [0.003, 0.006, 0.011])
def test_two_bags_side_by_side_tilt_the_camera_no_more_than_is_stated(larger: float) -> None:
    """Rings on the right larger by so much: part of it passes for a tilt, within twice u."""
    radii = 3.0 * np.where(np.array(PLACES)[:, 0] > 0.0, 1.0 + larger, 1.0)
    at, covariance = found(of_size(radii, np.zeros((len(PLACES), 2)), (0.0, 0.0)))
    assert np.all(np.abs(at) < 2.0 * np.sqrt(np.diag(covariance)))


def test_one_sprung_ring_does_not_tilt_the_camera() -> None:
    """10 % oval, twenty times what is usual."""
    ovals = np.zeros((len(PLACES), 2))
    ovals[0] = (0.1, 0.0)
    at, covariance = found(rounds(tilt=(0.04, -0.03), k1=0.0, ovals=ovals))
    assert np.all(np.abs(at - (0.04, -0.03, 0.0)) < 2.0 * np.sqrt(np.diag(covariance)))


def test_a_single_ring_in_the_middle_hardly_tells_the_tilt() -> None:
    """A circle tilted by q looks oval by q^2 / 4 only: 3 degrees are 0.0007, a tenth of u_oval."""
    at, covariance = found(rounds(tilt=(0.05, 0.0), k1=0.0, places=[(0.0, 0.0)]))
    u = np.sqrt(np.diag(covariance))
    assert np.all(u[:2] > 0.8 * U_TILT)
    assert abs(at[0]) < 0.02
    assert u[2] > 0.95 * U_K1


def test_without_anything_round_the_priors_stand() -> None:
    at, covariance = found([])
    assert at == pytest.approx(np.zeros(3), abs=1e-9)
    assert covariance == pytest.approx(np.diag(PRIOR**2), abs=1e-9)


def test_the_other_parts_of_the_view_are_left_alone() -> None:
    view = level(START, rounds(tilt=(0.05, 0.0), k1=0.0)).view
    assert (view.f_px, view.cx, view.cy) == (F_PX, CX, CY)
