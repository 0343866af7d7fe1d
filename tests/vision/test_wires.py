"""Pieces of wire: silhouettes against geometry, gauges against standards, photos against truth."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from tests.vision.made_fit import fit_of
from vision.rings.section import HALF_ROUND, ROUND, SQUARE
from vision.scale.camera import Camera, looking_down
from vision.trade.gauges import System
from vision.wires.find import Piece
from vision.wires.fit import StretchFit, rematch
from vision.wires.printed import printed
from vision.wires.record import near_gauge, outline_of, touched
from vision.wires.stretch import HALF, axis_of, evenly, silhouettes

CAMERA = Camera(
    rotation=looking_down(0.05, -0.08, 0.4),
    position=np.array([12.0, -7.0, 150.0]),
    f_px=3000.0,
    cx=2010.0,
    cy=1490.0,
    k1=0.01,
)
STRAIGHT = np.array([[20.0, 15.0, 0.7, 0.6, 0.0, 24.0], [-30.0, 4.0, -1.2, 1.5, 0.0, 30.0]])
BOWED = np.array([[-10.0, 20.0, 2.0, 0.5, 1 / 300.0, 20.0]])


def ray_to_line(points_px: np.ndarray, foot: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Distance between lines of sight and a line: |(c - foot) . (v x way)| / |v x way|."""
    across = np.cross(CAMERA.rays(points_px), way)
    return np.abs((CAMERA.position - foot) @ across.T) / np.linalg.norm(across, axis=-1)


def test_lines_of_sight_to_both_silhouettes_touch_the_cylinder() -> None:
    # A line is tangent to a cylinder where its distance from the axis is the radius.
    for stretch in STRAIGHT:
        x, y, angle, half, _, _ = stretch
        foot, way = np.array([x, y, half]), np.array([np.cos(angle), np.sin(angle), 0.0])
        for line in silhouettes(CAMERA, stretch[None], evenly(16)):
            assert ray_to_line(line[0], foot, way) == pytest.approx(half, abs=1e-9)


def test_lines_of_sight_to_a_bowed_wire_touch_it_within_a_micrometre() -> None:
    # Distance of a line of sight from the bowed axis, by a search along the axis.
    (stretch,) = BOWED
    for line in silhouettes(CAMERA, BOWED, evenly(9)):
        for place, pixel in zip(evenly(9), line[0], strict=True):
            sight = CAMERA.rays(pixel)
            sight = sight / np.linalg.norm(sight)

            def away(at: float, sight: np.ndarray = sight) -> float:
                x, y = axis_of(BOWED, np.array([at]))[0][0, 0]
                offset = np.array([x, y, stretch[HALF]]) - CAMERA.position
                return float(np.linalg.norm(np.cross(offset, sight)))

            nearest = minimize_scalar(away, bounds=(place - 0.2, place + 0.2), method="bounded")
            assert nearest.fun == pytest.approx(stretch[HALF], abs=1e-3)


def test_the_left_silhouette_lies_left() -> None:
    left, right = silhouettes(CAMERA, STRAIGHT, evenly(4))
    on_table = CAMERA.to_plane(left)[:, 0] - CAMERA.to_plane(right)[:, 0]
    way = np.column_stack([np.cos(STRAIGHT[:, 2]), np.sin(STRAIGHT[:, 2])])
    assert np.all(way[:, 0] * on_table[:, 1] - way[:, 1] * on_table[:, 0] > 0)


def test_every_section_looks_as_wide_as_its_tangents_say() -> None:
    level = Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([0.0, 0.0, 100.0]),
        f_px=1000.0,
        cx=0.0,
        cy=0.0,
    )
    below = np.array([[0.0, 0.0, 0.0, 1.0, 0.0, 10.0]])
    # Tangent of the half angle under which each is seen from 100 mm above its middle: upper corners
    # of a square (at 2 mm), a half circle around the table's level, a circle around 1 mm.
    expected = {
        SQUARE: 1.0 / (100.0 - 2.0),
        HALF_ROUND: np.tan(np.arcsin(1.0 / 100.0)),
        ROUND: np.tan(np.arcsin(1.0 / 99.0)),
    }
    for section, tangent in expected.items():
        left, right = silhouettes(level, below, np.zeros(1), section)
        assert np.hypot(*(right - left)[0, 0]) == pytest.approx(2.0 * 1000.0 * tangent)


def test_a_larger_world_shows_larger_wire() -> None:
    grown = Camera(
        rotation=CAMERA.rotation,
        position=CAMERA.position * 1.01,
        f_px=CAMERA.f_px,
        cx=CAMERA.cx,
        cy=CAMERA.cy,
        k1=CAMERA.k1,
    )
    all_of_them = np.vstack([STRAIGHT, BOWED])
    assert rematch(all_of_them, CAMERA, CAMERA) == pytest.approx(all_of_them, abs=1e-6)
    there = rematch(all_of_them, CAMERA, grown)
    assert there[:, HALF] == pytest.approx(1.01 * all_of_them[:, HALF], rel=1e-6)


def test_the_nearest_gauges_are_those_of_the_standards() -> None:
    # ASTM B258: d(n) = 0.127 mm * 92 ** ((36 - n) / 39), so AWG 18 is 1.0237 mm. Imperial Standard
    # Wire Gauge (BS 3737, from memory): 16 is 0.064 in = 1.6256 mm.
    awg, swg = near_gauge(1.03, System.AWG), near_gauge(1.63, System.SWG)
    assert (awg.name, swg.name) == ("AWG 18", "SWG 16")
    assert awg.off_mm == pytest.approx(1.03 - 0.127 * 92 ** (18 / 39))
    assert swg.diameter_mm == pytest.approx(0.064 * 25.4)


def piece(axis: np.ndarray, width: float) -> Piece:
    """A piece along an axis (m, 2), of one stretch."""
    one = np.zeros((1, 2, 32))
    fit = StretchFit(
        stretches=np.array([[*axis.mean(axis=0), 0.0, width / 2, 0.0, 10.0]]),
        residuals=one,
        weight=one + 1.0,
        expected=np.array([0.01]),
        apart=np.zeros(1),
        torn=np.zeros(1, bool),
        presence=np.ones(1),
        clear=np.ones((1, 32)),
        planes=np.zeros((1, 6, 32, 144), np.float32),
        paper=np.ones(1),
        clipped=np.zeros(1),
    )
    return Piece(fit=fit, good=np.ones(1, bool), local=fit, axis_mm=axis, bent=False)


def test_a_wire_that_lies_against_a_ring_is_told_and_one_beside_it_is_not() -> None:
    # A ring of ID 6 and wire 1 around the origin reaches to 4 mm; the wires are 1 mm thick.
    rings = fit_of(np.array([[0.0, 0.0, 3.5, 0.5, 0.0, 0.0]]))
    x = np.linspace(-10.0, 10.0, 41)
    for y, against in ((4.45, True), (2.0, True), (4.75, False)):
        laid = piece(np.column_stack([x, np.full(41, y)]), 1.0)
        assert touched([laid], rings) == (frozenset({0}) if against else frozenset())


def test_a_drawn_outline_goes_round_the_wire() -> None:
    x = np.linspace(-10.0, 10.0, 41)
    outline = outline_of(piece(np.column_stack([x, 0.1 * x]), 2.0), CAMERA, 0.5)
    on_table = CAMERA.to_plane(outline, 1.0)
    # Shoelace formula: area of a strip 2 mm wide.
    a, b = on_table, np.roll(on_table, -1, axis=0)
    area = abs(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])) / 2
    assert area == pytest.approx(2.0 * 20.0 * np.hypot(1.0, 0.1), rel=1e-6)


def strip(across: np.ndarray) -> np.ndarray:
    """Planes (1, 6, 32, 144) of a strip whose light across is given."""
    planes = np.zeros((1, 6, 32, 144), np.float32)
    planes[:, :3] = np.sqrt(across)
    return planes


def test_a_printed_line_is_no_wire_except_where_nothing_casts_a_shadow() -> None:
    s = np.linspace(-0.6, 1.6, 289)[1::2]
    on = (s > 0) & (s < 1)
    line = strip(np.where(on, 0.05, 1.0))
    # Wire with a highlight, its shadow fading away on both sides.
    shadow = 1.0 - 0.5 * np.exp(-np.maximum(abs(s - 0.5) - 0.5, 0.0) / 0.5)
    wire = strip(np.where(on, 0.3 + 0.6 * np.exp(-(((s - 0.4) / 0.1) ** 2)), shadow))
    # Before a light: a bright rim of 0.146, a dark middle, no shadow.
    rim = (s < 0.146) | (s > 0.854)
    lit = strip(np.where(on, np.where(rim, 0.7, 0.1), 1.0))
    none = np.zeros((0, 6, 32, 144), np.float32)
    assert printed([line], none).tolist() == [True]
    assert printed([line, wire], none).tolist() == [True, False]
    assert printed([line, lit], none).tolist() == [False, False]
