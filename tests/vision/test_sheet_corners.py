"""Corners to a fraction of a pixel, and the slopes that the adjustment goes by."""

import cv2
import numpy as np
import pytest

from vision.scale.camera import Camera, looking_down
from vision.scale.equations import ALL_PARAMETERS, Model, PrintRatios, Task, weighted_system
from vision.scale.saddle import fit_saddles
from vision.scale.sheet import corners_of, sheet_for

BIAS_PX = 0.004
SPREAD_PX = {0.0: 0.01, 2.0: 0.02, 5.0: 0.05}
"""Promised for squares of 60 px, blur 1 px and contrast 160, by noise in grey levels."""

FINE = 8
SQUARE_PX = 60


def checkers(angle: float, noise: float, count: int = 64) -> tuple[np.ndarray, np.ndarray]:
    """Corners drawn 8 times too large, averaged down and blurred: tiles and true places."""
    rng = np.random.default_rng(20240501)
    size = 41
    grid = (np.arange(size * FINE) + 0.5) / FINE - 0.5
    x, y = np.meshgrid(grid, grid)
    tiles, truths = [], []
    for _ in range(count):
        middle = size // 2 + rng.uniform(-0.5, 0.5, 2)
        along = (x - middle[0]) * np.cos(angle) + (y - middle[1]) * np.sin(angle)
        across = (y - middle[1]) * np.cos(angle) - (x - middle[0]) * np.sin(angle)
        # Edges a fine pixel wide: a sharp one would sit on the fine grid, up to 1/16 px off.
        sides = [np.clip(2 * FINE * part, -1, 1) for part in (along, across)]
        light = (0.375 - 0.325 * sides[0] * sides[1]).astype(np.float32)
        light = cv2.resize(light, (size, size), interpolation=cv2.INTER_AREA)
        light = cv2.GaussianBlur(light, (0, 0), 1.0, borderType=cv2.BORDER_REPLICATE)
        # The sRGB curve (IEC 61966-2-1).
        coded = 255 * np.where(light > 0.0031308, 1.055 * light ** (1 / 2.4) - 0.055, 12.92 * light)
        coded = coded + noise * rng.standard_normal(coded.shape)
        tiles.append(np.clip(np.rint(coded), 0, 255).astype(np.uint8))
        truths.append(middle)
    return np.stack(tiles), np.array(truths)


@pytest.mark.parametrize("noise", SPREAD_PX)
@pytest.mark.parametrize("angle", [0.0, 0.3, 0.785])
def test_a_corner_is_located_without_bias(angle, noise) -> None:
    tiles, truths = checkers(angle, noise)
    page = np.vstack([np.hstack(list(row)) for row in tiles.reshape(8, 8, *tiles.shape[1:])])
    size = tiles.shape[1]
    corner = np.stack(np.meshgrid(np.arange(8), np.arange(8)), axis=-1).reshape(-1, 2) * size
    starts = corner + truths + np.random.default_rng(7).uniform(-0.6, 0.6, truths.shape)
    # Sides of a square: x along the first edge, y upwards along the second.
    sides = [[np.cos(angle), np.sin(angle)], [np.sin(angle), -np.cos(angle)]]
    axes = np.broadcast_to(SQUARE_PX * np.array(sides), (len(truths), 2, 2))
    found = fit_saddles(page, starts, axes, -np.ones(len(truths)))
    errors = found.points_px - corner - truths
    assert np.isfinite(errors).all()
    assert np.abs(errors.mean(axis=0)).max() < BIAS_PX + SPREAD_PX[noise] / np.sqrt(len(truths))
    assert np.sqrt(np.mean(errors**2)) < SPREAD_PX[noise]
    # The pixel's own width adds to the blur: 1/12 px^2.
    assert np.median(found.blur_px) == pytest.approx(np.sqrt(1 + 1 / 12), rel=0.02)


def test_a_corner_that_something_lies_on_is_left_out() -> None:
    tiles, truths = checkers(0.1, 2.0, count=9)
    page = np.hstack(list(tiles))
    size = tiles.shape[1]
    corner = np.column_stack([np.arange(9) * size, np.zeros(9)])
    cv2.circle(page, (4 * size + 24, 17), 9, 140, 4, cv2.LINE_AA)
    page[:, 6 * size : 7 * size] = 128
    sides = [[np.cos(0.1), np.sin(0.1)], [np.sin(0.1), -np.cos(0.1)]]
    axes = np.broadcast_to(SQUARE_PX * np.array(sides), (9, 2, 2))
    found = fit_saddles(page, corner + truths, axes, -np.ones(9))
    assert np.flatnonzero(np.isnan(found.points_px[:, 0])).tolist() == [4, 6]


@pytest.mark.parametrize(
    "bars", [PrintRatios(), PrintRatios(x=0.99), PrintRatios(x=0.99, y=1.01)], ids=str
)
def test_the_slopes_are_those_of_the_equations(bars) -> None:
    sheet = sheet_for("a5")
    camera = Camera(
        rotation=looking_down(0.1, 0.05, 0.3),
        position=np.array([5.0, -20.0, 190.0]),
        f_px=1500.0,
        cx=1000.0,
        cy=760.0,
        k1=0.08,
        k2=-0.02,
    )
    model = Model(camera=camera, common=0.01, stretch=0.004, curl_mm=np.array([0.5, 0.2, 0.1]))
    nominal = corners_of(sheet)
    task = Task(
        nominal_mm=nominal,
        found_px=np.zeros_like(nominal),
        half_width_mm=sheet.frame_mm[0] / 2,
        width_px=2016,
        height_px=1512,
        f35_mm=26.0,
        u_log_f=0.025,
        bars=bars,
    )
    weights = np.ones(len(nominal))
    _, slopes = weighted_system(task, model, weights, 1.0, ALL_PARAMETERS)
    for index in range(ALL_PARAMETERS):
        step = np.zeros(ALL_PARAMETERS)
        step[index] = 1e-6
        ahead, back = (
            weighted_system(task, model.moved(sign * step), weights, 1.0, ALL_PARAMETERS)[0]
            for sign in (1.0, -1.0)
        )
        # Central differences of values near 1000: 1e-16 * 1000 / 1e-6 is rounding.
        assert slopes[:, index] == pytest.approx((ahead - back) / 2e-6, abs=2e-6, rel=1e-6)
