"""The sheet found in photos drawn with OpenCV's lens and pose: scale, height, lens, refusals."""

import json
from functools import cache

import cv2
import numpy as np
import pytest

from tests.vision.sheet_photo import Shot, curl_height, looking, take
from vision.errors import ScaleError
from vision.scale.camera import focal_px
from vision.scale.frame import BarReadings, find_sheet
from vision.scale.sheet import all_sheets, corners_of, sheet_for
from vision.scale.view import Flag, SheetView, sheet_scale

SCALE_REL = 0.001
"""Promised error of a length anywhere in the work area, print measured by its bars."""

HEIGHT_REL = 0.02
"""Promised error of the camera's height with the focal length named in the file."""

CORNER_PX = 0.05
"""Promised spread of a corner in a sharp photo."""

WIDTH, HEIGHT = 2016, 1512


@cache
def shot_of(paper: str = "a5", f35: float = 26.0, **options) -> Shot:
    """A photo's truth; heights suit the paper and the lens."""
    sheet = sheet_for(paper)
    f_px = focal_px(f35, WIDTH, HEIGHT)
    room = options.pop("room", 1.14)
    height_mm = room * max(sheet.width_mm / WIDTH, sheet.height_mm / HEIGHT) * f_px
    pose = {
        name: options.pop(name)
        for name in ("tilt_deg", "towards_deg", "roll_deg")
        if name in options
    }
    turn, shift = looking(height_mm=height_mm, **({"tilt_deg": 4.0} | pose))
    lens = np.array([options.pop("k1", 0.0), options.pop("k2", 0.0), 0.0, 0.0])
    return Shot(f_px=f_px, width=WIDTH, height=HEIGHT, turn=turn, shift=shift, lens=lens, **options)


@cache
def photo_of(paper: str = "a5", **options) -> np.ndarray:
    return take(sheet_for(paper), shot_of(paper, **options))


def read_bars(paper: str, shot: Shot) -> BarReadings:
    x_mm, y_mm = (sheet_for(paper).bar_mm * scale for scale in shot.stretch)
    return BarReadings(x_mm=x_mm, y_mm=y_mm)


def scale_errors(view: SheetView, shot: Shot, curled: bool = False) -> np.ndarray:
    """Relative errors of 5 mm lengths along x and y over the visible work area."""
    half = np.array(view.sheet.work_mm) / 2 - 2.5
    x, y = np.meshgrid(np.linspace(-half[0], half[0], 9), np.linspace(-half[1], half[1], 7))
    places = np.stack([x.ravel(), y.ravel()], axis=1)
    errors = []
    for step in ([2.5, 0.0], [0.0, 2.5]):
        # A length parallel to the table, where the paper is.
        height = curl_height(view.sheet, shot, places) if curled else np.zeros(len(places))
        told = np.array([view.height_mm(*place) if curled else 0.0 for place in places])
        ends = [shot.draw(np.column_stack([end, height])) for end in (places - step, places + step)]
        seen = np.all([(end > 0) & (end < (WIDTH, HEIGHT)) for end in ends], axis=(0, 2))
        mapped = [
            np.stack([view.camera.to_plane(*pair) for pair in zip(end, told, strict=True)])
            for end in ends
        ]
        errors.append((np.linalg.norm(mapped[1] - mapped[0], axis=1) / 5.0 - 1.0)[seen])
    return np.concatenate(errors)


def corner_errors(view: SheetView, shot: Shot) -> np.ndarray:
    nominal = view.corners_mm[:, :2] / view.print_scale
    truth = shot.draw(np.column_stack([nominal * shot.stretch, np.zeros(len(nominal))]))
    return (view.corners_px - truth)[view.used]


def assert_good(view: SheetView | None, shot: Shot) -> SheetView:
    assert view is not None
    assert np.abs(scale_errors(view, shot)).max() < SCALE_REL
    assert view.camera.height_mm == pytest.approx(shot.position[2], rel=HEIGHT_REL)
    return view


@pytest.mark.parametrize("paper", ["a4", "a5", "a6", "letter"])
def test_every_paper_is_known_by_its_markers(paper) -> None:
    shot = shot_of(paper, k1=0.01)
    view = assert_good(find_sheet(photo_of(paper, k1=0.01), 26.0, read_bars(paper, shot)), shot)
    assert view.sheet.paper == paper
    assert len(view.corners_px) == len(corners_of(view.sheet)) and view.used.all()
    assert np.sqrt(np.mean(corner_errors(view, shot) ** 2)) < CORNER_PX
    assert view.flags == frozenset()


@pytest.mark.parametrize("roll_deg", [0.0, 38.0, 90.0, 180.0, 270.0])
def test_the_sheet_may_lie_any_way_round(roll_deg) -> None:
    options = {"roll_deg": roll_deg, "room": 1.14 if roll_deg in (0.0, 180.0) else 1.75}
    shot = shot_of(**options)
    view = assert_good(find_sheet(photo_of(**options), 26.0, read_bars("a5", shot)), shot)
    # The sheet's x axis, seen in the picture, has turned by as much.
    middle, right = view.camera.project(np.array([[0.0, 0.0, 0.0], [30.0, 0.0, 0.0]]))
    truth = shot.draw(np.array([[0.0, 0.0, 0.0], [30.0, 0.0, 0.0]]))
    assert np.abs([middle, right] - truth).max() < 0.1


@pytest.mark.parametrize("tilt_deg", [0.0, 12.0, 25.0])
@pytest.mark.parametrize("k1", [-0.1, 0.1])
def test_tilt_and_a_strong_lens_are_undone(tilt_deg, k1) -> None:
    options = {"tilt_deg": tilt_deg, "k1": k1, "room": 1.35}
    shot = shot_of(**options)
    view = assert_good(find_sheet(photo_of(**options), 26.0, read_bars("a5", shot)), shot)
    assert view.camera.tilt_deg == pytest.approx(tilt_deg, abs=0.5)
    # At the frame's outer corners, where k1 r^2 counts most, to a thousandth of the radius.
    r2 = np.sum(((view.corners_px - shot.matrix[:2, 2]) / shot.f_px) ** 2, axis=1).max()
    assert (view.camera.k1 + view.camera.k2 * r2) * r2 == pytest.approx(k1 * r2, abs=0.003)


def test_a_misprint_is_corrected_by_the_bars() -> None:
    options = {"stretch": (0.985, 0.99), "k1": 0.05, "tilt_deg": 9.0}
    shot = shot_of(**options)
    view = assert_good(find_sheet(photo_of(**options), 26.0, read_bars("a5", shot)), shot)
    assert view.print_scale == pytest.approx((0.985, 0.99), rel=3e-4)
    assert view.u_print_rel < 4e-4
    assert Flag.PRINT_SCALED in view.flags


@pytest.mark.parametrize("known", ["x_mm", "y_mm"])
def test_one_bar_serves_both_ways(known) -> None:
    # The photo itself tells how x and y differ.
    options = {"stretch": (1.004, 0.997), "tilt_deg": 8.0}
    shot = shot_of(**options)
    reading = getattr(read_bars("a5", shot), known)
    view = assert_good(find_sheet(photo_of(**options), 26.0, BarReadings(**{known: reading})), shot)
    # A third of what an unmeasured print carries.
    assert view.u_print_rel < 0.0025 / 3


def test_without_bars_the_difference_is_corrected_and_the_rest_is_owned_up_to() -> None:
    options = {"stretch": (1.004, 0.997), "tilt_deg": 8.0}
    shot = shot_of(**options)
    view = find_sheet(photo_of(**options), 26.0)
    assert view is not None
    errors = scale_errors(view, shot)
    assert np.ptp(errors) < SCALE_REL
    assert np.abs(errors).max() < 2 * view.u_scale_rel
    # 0.5 % at k = 2.
    assert view.u_print_rel == pytest.approx(0.0025, rel=0.02)
    notes = " ".join(sheet_scale(view).notes)
    assert "0.5 %" in notes and "--bar-x" in notes and "0.06 %" in notes


def hide_a_third(picture: np.ndarray, how: str) -> np.ndarray:
    hidden = picture.copy()
    height, width = picture.shape
    if how == "hand":
        corners = [[0, 0], [int(0.42 * width), 0], [int(0.3 * width), height], [0, height]]
        cv2.fillPoly(hidden, [np.array(corners)], 120)
    elif how == "edge of the photo":
        hidden[int(0.72 * height) :] = 90
    else:
        rng = np.random.default_rng(20240501)
        for _ in range(150):
            centre = tuple(int(place) for place in rng.uniform(0, [width, height]))
            radius, wire, grey = (
                int(rng.uniform(*span)) for span in ((25, 60), (6, 12), (60, 200))
            )
            cv2.circle(hidden, centre, radius, grey, wire, cv2.LINE_AA)
    return hidden


@pytest.mark.parametrize("how", ["hand", "edge of the photo", "rings"])
def test_a_third_of_the_frame_may_be_hidden(how) -> None:
    options = {"tilt_deg": 8.0, "k1": 0.02}
    shot = shot_of(**options)
    picture = hide_a_third(photo_of(**options), how)
    view = assert_good(find_sheet(picture, 26.0, read_bars("a5", shot)), shot)
    assert 0.55 < np.sum(view.used) / len(corners_of(view.sheet)) < 0.8
    assert np.sqrt(np.mean(corner_errors(view, shot) ** 2)) < CORNER_PX


DEVELOPED = {
    "jpeg": lambda p: cv2.imdecode(cv2.imencode(".jpg", p, [cv2.IMWRITE_JPEG_QUALITY, 70])[1], 0),
    "sharpened": lambda p: cv2.addWeighted(p, 1.8, cv2.GaussianBlur(p, (0, 0), 1.5), -0.8, 0),
    "clipped": lambda p: np.clip(p * 1.4, 0, 255).astype(np.uint8),
    "dark": lambda p: (p * 0.25).astype(np.uint8),
    "contrast": lambda p: (255 * (p / 255.0) ** 2 * (3 - 2 * (p / 255.0))).astype(np.uint8),
    "shaded": lambda p: (p * np.linspace(0.25, 1.0, p.shape[1])).astype(np.uint8),
    "coloured": lambda p: cv2.merge([(p * share).astype(np.uint8) for share in (0.9, 0.75, 0.5)]),
    "grey paper": lambda p: on_paper(p, (0.3, 0.3, 0.3)),
    "blue paper": lambda p: on_paper(p, (0.55, 0.25, 0.12)),
    "light pad": lambda p: over_light(p),
}


def on_paper(picture: np.ndarray, reflectance: tuple[float, float, float]) -> np.ndarray:
    """The same ink on paper of another colour (blue, green, red), exposed as before."""
    light = (picture / 255.0) ** 2.2
    ink = float(light.min())
    parts = [ink + (light - ink) * share for share in reflectance]
    return np.rint(255.0 * np.clip(cv2.merge(parts), 0, 1) ** (1 / 2.2)).astype(np.uint8)


def over_light(picture: np.ndarray) -> np.ndarray:
    """Lit from below: ink lets a seventh of the light through, and paper shows its clouds."""
    light = (picture / 255.0) ** 2.2
    rng = np.random.default_rng(20241129)
    clouds = cv2.GaussianBlur(rng.standard_normal(picture.shape), (0, 0), 5.0)
    clouds = 1.0 + 0.05 * clouds / clouds.std()
    through = (0.14 * light.max() + 0.86 * light) * clouds
    return np.rint(255.0 * np.clip(through, 0, 1) ** (1 / 2.2)).astype(np.uint8)


@pytest.mark.parametrize("how", DEVELOPED)
def test_what_a_phone_does_to_a_photo_does_not_matter(how) -> None:
    options = {"tilt_deg": 8.0, "k1": 0.02}
    shot = shot_of(**options)
    view = find_sheet(DEVELOPED[how](photo_of(**options)), 26.0, read_bars("a5", shot))
    assert np.sum(assert_good(view, shot).used) > 70


def test_all_at_once_stays_within_the_promise() -> None:
    # Tilted by 25 degrees, a strong lens, a misprint of 1.5 %, a hand over a third of the frame.
    options = {"tilt_deg": 25.0, "k1": 0.1, "room": 1.35, "stretch": (0.985, 0.988)}
    shot = shot_of(**options)
    picture = hide_a_third(photo_of(**options), "hand")
    view = assert_good(find_sheet(picture, 26.0, read_bars("a5", shot)), shot)
    assert 0.5 < np.sum(view.used) / len(corners_of(view.sheet)) < 0.75


SEEN_NEVER = 12


def test_photos_never_seen_keep_the_promise_for_lengths() -> None:
    # Any paper; print off by up to 1.5 % and read by its bars to a hundredth; lens k1 up to 0.1;
    # tilt up to 12 degrees; the focal length off as its rounding in the file allows.
    rng = np.random.default_rng(20241130)
    heights = []
    for seed in range(SEEN_NEVER):
        paper = list(all_sheets())[seed % 4]
        shot = shot_of(
            paper,
            f35=26.0 * float(np.exp(rng.uniform(-0.015, 0.015))),
            tilt_deg=float(rng.uniform(0, 12)),
            towards_deg=float(rng.uniform(0, 360)),
            roll_deg=float(rng.choice([0, 180]) + rng.uniform(-8, 8)),
            k1=float(rng.uniform(-0.1, 0.1)),
            stretch=tuple(1.0 + rng.uniform(-0.013, 0.013) + rng.uniform(-0.002, 0.002, 2)),
            blur_px=float(rng.uniform(0.7, 1.6)),
            noise=float(rng.uniform(1, 4)),
            room=1.15,
            seed=seed,
        )
        bars = read_bars(paper, shot)
        x_mm, y_mm = np.array([bars.x_mm, bars.y_mm]) + rng.normal(0, 0.01, 2)
        view = find_sheet(take(sheet_for(paper), shot), 26.0, BarReadings(x_mm=x_mm, y_mm=y_mm))
        assert view is not None
        assert np.abs(scale_errors(view, shot)).max() < SCALE_REL
        heights.append(view.camera.height_mm / shot.position[2] - 1.0)
    assert np.abs(heights).max() < HEIGHT_REL


def test_blur_and_noise_stay_within_the_promise() -> None:
    options = {"tilt_deg": 8.0, "blur_px": 2.5, "noise": 5.0}
    shot = shot_of(**options)
    view = assert_good(find_sheet(photo_of(**options), 26.0, read_bars("a5", shot)), shot)
    assert view.blur_px == pytest.approx(2.5, abs=0.2)


@pytest.mark.parametrize(
    ("f35", "tilt_deg", "k1"), [(26, 8, 0.1), (35, 10, 0.0), (52, 12, 0.1), (77, 20, -0.05)]
)
def test_the_focal_length_is_found_from_a_tilted_view(f35, tilt_deg, k1) -> None:
    options = {"f35": float(f35), "tilt_deg": float(tilt_deg), "k1": k1, "room": 1.25}
    shot = shot_of(**options)
    view = find_sheet(photo_of(**options), None, read_bars("a5", shot))
    assert view is not None
    assert np.abs(scale_errors(view, shot)).max() < SCALE_REL
    off = view.camera.height_mm / shot.position[2] - 1.0
    assert abs(off) < max(2.5 * view.u_height_rel, 0.005) and view.u_height_rel < 0.06
    assert Flag.FOCAL_ASSUMED in view.flags


def test_straight_down_without_a_focal_length_the_height_is_owned_up_to_be_unknown() -> None:
    options = {"tilt_deg": 0.0, "f35": 35.0}
    shot = shot_of(**options)
    view = find_sheet(photo_of(**options), None, read_bars("a5", shot))
    assert view is not None
    assert np.abs(scale_errors(view, shot)).max() < SCALE_REL
    assert view.u_height_rel > 0.2
    assert abs(np.log(view.camera.height_mm / shot.position[2])) < 2 * view.u_height_rel
    assert "no focal length" in " ".join(sheet_scale(view).warnings)


def test_a_focal_length_that_does_not_fit_is_told_and_not_used() -> None:
    options = {"tilt_deg": 12.0}
    shot = shot_of(**options)
    view = find_sheet(photo_of(**options), 40.0, read_bars("a5", shot))
    assert view is not None and Flag.FOCAL_CLASH in view.flags
    assert abs(view.camera.height_mm / shot.position[2] - 1.0) < 2.5 * view.u_height_rel
    assert "focal length in the file does not fit" in " ".join(sheet_scale(view).warnings)


@pytest.mark.parametrize("curl_mm", [1.0, -1.0, 2.0])
def test_a_sheet_that_does_not_lie_flat_is_noticed_and_its_height_found(curl_mm) -> None:
    options = {"tilt_deg": 6.0, "curl_mm": curl_mm}
    shot = shot_of(**options)
    view = find_sheet(photo_of(**options), 26.0, read_bars("a5", shot))
    assert view is not None and Flag.CURLED in view.flags
    assert "does not lie flat" in " ".join(sheet_scale(view).warnings)
    for x_mm in (-70.0, 0.0, 70.0):
        truth = curl_height(view.sheet, shot, np.array([[x_mm, 20.0]]))[0]
        assert view.height_mm(x_mm, 20.0) == pytest.approx(truth, abs=0.15)
    # With the paper's height at each place, and without it within the claim.
    assert np.abs(scale_errors(view, shot, curled=True)).max() < SCALE_REL
    assert view.u_scale_rel > abs(curl_mm) / shot.position[2] / 4


def test_a_flat_sheet_is_not_called_curled() -> None:
    for options in ({"tilt_deg": 8.0, "k1": 0.02}, {"tilt_deg": 25.0, "k1": 0.1, "room": 1.35}):
        view = find_sheet(photo_of(**options), 26.0)
        assert view is not None and view.curl_mm == 0.0 and view.height_mm(50.0, 20.0) == 0.0


@pytest.mark.parametrize(
    ("paper", "shrink", "page"),
    [("a5", 0.95, (210.0, 148.0)), ("a5", 0.97, (210.0, 148.0)), ("a4", 0.94, (279.4, 215.9))],
)
def test_a_page_scaled_to_fit_is_caught_by_the_paper_s_edge(paper, shrink, page) -> None:
    options = {"stretch": (shrink, shrink), "paper_mm": page, "room": 1.2}
    view = find_sheet(photo_of(paper, **options), 26.0)
    assert view is not None and Flag.PAGE_SCALED in view.flags
    assert view.page_shrink == pytest.approx(shrink, abs=0.01)
    assert view.u_scale_rel > 0.9 * (1 - shrink)
    assert "not fit to page" in " ".join(sheet_scale(view).warnings)
    measured = find_sheet(
        photo_of(paper, **options), 26.0, read_bars(paper, shot_of(paper, **options))
    )
    assert_good(measured, shot_of(paper, **options))


def test_a_page_in_its_true_size_is_not_called_scaled() -> None:
    view = find_sheet(photo_of(room=1.25), 26.0)
    assert view is not None and Flag.PAGE_SCALED not in view.flags
    assert view.page_shrink == pytest.approx(1.0, abs=0.01)


def test_readings_that_clash_with_the_photo_are_told() -> None:
    options = {"tilt_deg": 8.0, "k1": 0.02}
    view = find_sheet(photo_of(**options), 26.0, BarReadings(x_mm=99.0, y_mm=101.0))
    assert view is not None and Flag.BARS_CLASH in view.flags
    assert view.u_print_rel > 0.003
    assert "swapped or misread" in " ".join(sheet_scale(view).warnings)


@pytest.mark.parametrize("reading", [9.94, 70.0, 994.0, float("nan")])
def test_a_reading_of_something_else_is_refused(reading) -> None:
    with pytest.raises(ScaleError, match=r"--bar-y is .* check bars of the A5 sheet are 100 mm"):
        find_sheet(photo_of(), 26.0, BarReadings(y_mm=reading))


def test_too_little_of_the_frame_is_refused_with_what_to_do() -> None:
    with pytest.raises(ScaleError, match="too few or too close together") as refused:
        find_sheet(photo_of()[:700, :900], 26.0)
    assert "third" in refused.value.hint


def test_a_photo_without_a_sheet_has_none() -> None:
    rng = np.random.default_rng(20240501)
    noise = rng.integers(0, 256, (900, 1200, 3), dtype=np.uint8)
    assert find_sheet(noise, 26.0) is None
    assert find_sheet(np.full((900, 1200), 200, dtype=np.uint8), None) is None
    board = np.kron(np.indices((12, 16)).sum(axis=0) % 2, np.ones((70, 70))).astype(np.uint8) * 255
    assert find_sheet(board, 26.0) is None


def test_markers_of_another_kind_are_no_sheet() -> None:
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    board = cv2.aruco.CharucoBoard((9, 7), 30.0, 22.0, words)
    assert find_sheet(board.generateImage((1400, 1100)), 26.0) is None


def test_claimed_uncertainties_cover_the_truth() -> None:
    # Twelve cameras with the focal length off as the file's rounding allows; a spread of the
    # errors over their uncertainties well above 1 would be a lie, well below it a waste.
    rng = np.random.default_rng(20240502)
    heights, scales = [], []
    for seed in range(12):
        f35 = 26.0 * float(np.exp(rng.normal(0.0, 0.02)))
        shot = shot_of(
            f35=f35,
            tilt_deg=float(rng.uniform(0, 10)),
            towards_deg=float(rng.uniform(0, 360)),
            k1=float(rng.uniform(-0.05, 0.05)),
            seed=seed,
            room=1.2,
        )
        stretch = tuple(1.0 + rng.normal(0.0, 4e-4, 2))
        readings = BarReadings(x_mm=100.0 * stretch[0], y_mm=100.0 * stretch[1])
        view = find_sheet(take(sheet_for("a5"), shot), 26.0, readings)
        assert view is not None
        heights.append(np.log(view.camera.height_mm / shot.position[2]) / view.u_height_rel)
        scales.append(scale_errors(view, shot).mean() / view.u_scale_rel)
    assert np.sqrt(np.mean(np.square(heights))) < 1.5 and np.abs(heights).max() < 3
    assert np.sqrt(np.mean(np.square(scales))) < 1.5 and np.abs(scales).max() < 3


def test_the_scale_says_what_the_view_saw() -> None:
    options = {"tilt_deg": 8.0, "k1": 0.02}
    shot = shot_of(**options)
    view = find_sheet(photo_of(**options), 26.0, read_bars("a5", shot))
    assert view is not None
    scale = sheet_scale(view)
    assert (scale.kind, scale.reference) == ("sheet", "a5")
    assert scale.camera_height_mm == pytest.approx(shot.position[2], rel=HEIGHT_REL)
    assert scale.tilt_deg == pytest.approx(8.0, abs=3 * scale.u_tilt_deg)
    assert scale.u_rel < SCALE_REL and scale.warnings == ()
    # The map of residuals: where each corner was found, and how far from where it is drawn.
    rows = np.array(scale.details["residuals_px"])
    assert len(rows) == scale.details["corners_used"] == np.sum(view.used)
    drawn = view.camera.project(view.corners_mm)[view.used]
    assert rows[:, :2] - rows[:, 2:] == pytest.approx(drawn, abs=0.01)
    json.dumps(dict(scale.details), allow_nan=False)
    # A millimetre at the picture's middle, as OpenCV draws it.
    middle = np.append(view.camera.to_plane(shot.matrix[:2, 2]), 0.0)
    area = np.linalg.det(shot.draw(middle + np.eye(3)[:2]) - shot.draw(middle[None]))
    assert scale.mm_per_px == pytest.approx(abs(area) ** -0.5, rel=0.01)
    # The printed frame's corners lie in the picture where OpenCV draws them.
    half = np.array(view.sheet.frame_mm) / 2
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    assert scale.outline_px == pytest.approx(
        shot.draw(np.column_stack([corners, np.zeros(4)])), abs=0.5
    )


def test_cells_follow_the_true_place_on_a_stretched_print() -> None:
    options = {"stretch": (0.95, 0.95)}
    shot = shot_of(**options)
    view = find_sheet(photo_of(**options), 26.0, read_bars("a5", shot))
    assert view is not None
    # The edge between columns J and K is printed 60 mm from the middle: it lies at 57 mm.
    assert view.cell_of(56.5, 1.0) == "J3" and view.cell_of(57.5, 1.0) == "K3"
