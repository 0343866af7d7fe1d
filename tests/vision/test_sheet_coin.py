"""A coin on the printed sheet: second witness of the print's scale."""

from functools import cache, partial

import cv2
import numpy as np
import pytest

from tests.cli.fakes import result
from tests.vision.sheet_photo import Shot, looking, take
from vision.errors import ScaleError
from vision.photo.circles import Nest, find_circles
from vision.photo.decode import Photo
from vision.results import Scale
from vision.rings.find import is_ring
from vision.scale.camera import focal_px
from vision.scale.reference import Reference, see_reference, see_sheet
from vision.scale.sheet import sheet_for

WIDTH, HEIGHT = 2016, 1512
SHEET = sheet_for("a6")
EURO_MM, EURO_THICK_MM = 23.25, 2.33
"""Council Regulation (EU) 729/2014, Annex I."""
FINE = 16
"""Parts of a pixel in which outlines are drawn."""


def shot_of(stretch: tuple[float, float]) -> Shot:
    turn, shift = looking(height_mm=125.0, tilt_deg=6.0)
    f_px = focal_px(26.0, WIDTH, HEIGHT)
    return Shot(f_px=f_px, width=WIDTH, height=HEIGHT, turn=turn, shift=shift, stretch=stretch)


def lay_coin(grey: np.ndarray, shot: Shot, diameter_mm: float) -> np.ndarray:
    """A yellow disc with a rough face; its wall shows on the side towards the middle."""
    around = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    # A struck rim ends in a rounding, where its step stands 0.021 mm inside (vision/scale/coin.py).
    radius = diameter_mm / 2 - 0.021
    flat = radius * np.stack([np.cos(around), np.sin(around)], axis=1) + (14.0, -9.0)
    lower, upper = (
        shot.draw(np.column_stack([flat, np.full(len(flat), height)])).astype(np.float32)
        for height in (0.0, EURO_THICK_MM)
    )
    rng = np.random.default_rng(20241128)
    scale = 4
    # Drawn four times as large: the middle of pixel 0 then lies at 1.5.
    ink = np.zeros((HEIGHT * scale, WIDTH * scale), np.uint8)
    wall = cv2.convexHull(np.concatenate([lower, upper]))[:, 0]
    for outline, shade in ((wall, 1), (upper, 2)):
        points = ((outline + 0.5) * scale - 0.5) * FINE
        cv2.fillPoly(ink, [np.rint(points).astype(np.int32)], shade, shift=4)
    parts = [
        cv2.GaussianBlur(
            cv2.resize((ink == shade).astype(np.float32), (WIDTH, HEIGHT), interpolation=3),
            (0, 0),
            0.8,
        )[..., None]
        for shade in (1, 2)
    ]
    face = np.array([90.0, 150.0, 175.0]) + 22.0 * rng.standard_normal((HEIGHT, WIDTH, 1))
    face = cv2.GaussianBlur(face, (0, 0), 1.0)
    wall_colour = np.array([40.0, 70.0, 85.0])
    table = np.repeat(grey[..., None], 3, axis=2).astype(np.float64)
    # A lens mixes light, not the numbers that code it.
    mixed = light(table) * (1 - parts[0] - parts[1])
    mixed += light(wall_colour) * parts[0] + light(face) * parts[1]
    return np.rint(255.0 * code(np.clip(mixed, 0.0, 1.0))).astype(np.uint8)


def light(coded: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1 (sRGB), 0 to 255 into linear light."""
    part = np.clip(coded, 0.0, 255.0) / 255.0
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def code(linear: np.ndarray) -> np.ndarray:
    """The same back, to 0 to 1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


@cache
def photo_of(stretch: tuple[float, float], diameter_mm: float = EURO_MM) -> Photo:
    shot = shot_of(stretch)
    grey = take(SHEET, shot)
    bgr = lay_coin(grey, shot, diameter_mm) if diameter_mm else cv2.cvtColor(grey, 8)
    return Photo(info=result().photo, bgr=bgr, f35_mm=26.0)


@cache
def circles_of(photo: Photo) -> list[Nest]:
    return find_circles(photo)


def scale_of(photo: Photo, **said) -> Scale:
    circles, reference = circles_of(photo), Reference(**said)
    sheet = see_sheet(photo, reference)
    sight = see_reference(photo, circles, sheet, reference, partial(is_ring, photo, circles))
    return sight.scale()


def scale_error(scale: Scale, stretch: tuple[float, float]) -> float:
    """Relative error of a 40 mm length in the middle of the sheet."""
    shot = shot_of(stretch)
    ends = shot.draw(np.array([[-14.0, -14.0, 0.0], [14.0, 14.0, 0.0]]))
    seen = np.linalg.norm(np.diff(scale.camera.to_plane(ends), axis=0))
    return float(seen / np.hypot(28.0, 28.0)) - 1.0


@pytest.mark.parametrize("stretch", [(0.985, 0.985), (1.012, 1.012), (1.0, 1.0)])
def test_a_coin_on_the_sheet_corrects_an_unmeasured_print(stretch) -> None:
    scale = scale_of(photo_of(stretch), coin="eur-1")
    assert scale.kind == "sheet"
    error = scale_error(scale, stretch)
    assert abs(error) < 2.0 * scale.u_rel and scale.u_rel < 0.0025
    assert abs(error) < 0.003
    notes = " ".join(scale.notes)
    assert "lengths are corrected by that" in notes and "was not measured" not in notes


def test_check_bars_know_better_than_a_coin() -> None:
    stretch = (0.985, 0.985)
    bar = SHEET.bar_mm * 0.985
    scale = scale_of(photo_of(stretch), coin="eur-1", bar_x_mm=bar, bar_y_mm=bar)
    assert abs(scale_error(scale, stretch)) < 0.001
    assert "the check bars know better" in " ".join(scale.notes)
    assert not any("coin differ" in warning for warning in scale.warnings)


def test_a_large_disagreement_is_told_and_the_better_one_believed() -> None:
    # Printed to fit the page: 4 % too small.
    stretch = (0.96, 0.96)
    scale = scale_of(photo_of(stretch), coin="eur-1")
    told = " ".join(scale.warnings)
    assert "sheet and coin differ by -" in told and "the coin is believed" in told
    assert abs(scale_error(scale, stretch)) < 0.003
    # Bars read right, but the coin is another one: a 2 euro piece is 10 % larger than told, a
    # 50 cent piece 4 % (24.25 mm).
    odd = scale_of(
        photo_of((1.0, 1.0), 24.25), coin="eur-1", bar_x_mm=SHEET.bar_mm, bar_y_mm=SHEET.bar_mm
    )
    assert "the check bars are believed" in " ".join(odd.warnings)
    assert abs(scale_error(odd, (1.0, 1.0))) < 0.001


def test_a_coin_that_is_no_such_coin_is_refused() -> None:
    with pytest.raises(ScaleError, match=r"sheet and coin disagree: by the sheet, eur-1 is 25\.\d"):
        scale_of(photo_of((1.0, 1.0), 25.75), coin="eur-1")


def test_a_named_coin_that_is_not_there_is_asked_for() -> None:
    with pytest.raises(ScaleError, match="no coin found"):
        scale_of(photo_of((1.0, 1.0), 0.0), coin="eur-1")


def test_readings_of_bars_ask_for_the_sheet() -> None:
    blank = Photo(info=result().photo, bgr=np.full((600, 800, 3), 170, dtype=np.uint8), f35_mm=26.0)
    with pytest.raises(ScaleError, match="no printed sheet found") as refused:
        scale_of(blank, coin="eur-1", bar_x_mm=70.1)
    assert "--bar-x" in refused.value.hint and "--coin" in refused.value.hint
