"""A coin's rim and the camera over it, on drawn discs whose place and size are known exactly.

The discs have sharp edges and two tones. They are drawn as large as a struck coin's strong step,
`RIM_ROUNDING_MM` inside its true edge.
"""

from dataclasses import replace
from functools import partial

import cv2
import numpy as np
import pytest

from tests.vision.drawn import PAPER, Paint, annulus, disc, photo_of
from vision.errors import ScaleError
from vision.photo.circles import find_circles
from vision.photo.decode import Photo
from vision.rings.find import is_ring
from vision.scale.camera import Camera, focal_px, looking_down
from vision.scale.coin import (
    RIM_ROUNDING_MM,
    U_FIRST_SHAPE,
    U_LEVELLED_SHAPE,
    Disc,
    View,
    retraced,
    stand_over,
    true_over_seen,
)
from vision.scale.reference import CoinSight, Reference, see_reference
from vision.scale.rim import Rim, Shape, drawn_shape, search_rim, trace_rim
from vision.trade.coins import lookup

WIDTH, HEIGHT, F35 = 900, 700, 100.0
F_PX = focal_px(F35, WIDTH, HEIGHT)
COIN = lookup("eur-1")
"""23.25 mm across, 2.33 mm thick (Council Regulation (EU) 729/2014 for the diameter)."""
THICK = 2.33
RADIUS = 23.25 / 2 - RIM_ROUNDING_MM
FACE = (0.35, 0.45, 0.5)

SAME_PX = 0.03
"""What sampling, noise and 8 bits leave on a rim of 150 pixels' radius."""


POLYGON = 1.0 - np.cos(np.pi / 256)
"""What a polygon of 256 corners lacks of its circle: `stand_over` compares such outlines."""


def camera_at(
    aside: tuple[float, float] = (0.0, 0.0),
    *,
    tilt: tuple[float, float] = (0.0, 0.0),
    crop: bool = False,
) -> Camera:
    """A camera 200 mm over the table, its foot `aside` of a disc at the origin.

    With `crop` the picture is the part of a larger one that has the disc in its middle.
    """
    middle = np.array([(WIDTH - 1) / 2, (HEIGHT - 1) / 2])
    whole = Camera(
        rotation=looking_down(*tilt),
        position=np.array([*aside, 200.0]),
        f_px=F_PX,
        cx=middle[0],
        cy=middle[1],
    )
    if not crop:
        return whole
    shift = middle - whole.project(np.array([0.0, 0.0, THICK]))
    return replace(whole, cx=middle[0] + shift[0], cy=middle[1] + shift[1])


def drawn(camera: Camera, *paints: Paint) -> Photo:
    return photo_of(camera, (WIDTH, HEIGHT), list(paints), F35)


def true_rim(camera: Camera) -> np.ndarray:
    """Upper rim by OpenCV's own projection."""
    t = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    rim = np.stack([RADIUS * np.cos(t), RADIUS * np.sin(t), np.full_like(t, THICK)], axis=-1)
    matrix = np.array([[F_PX, 0, camera.cx], [0, F_PX, camera.cy], [0, 0, 1]])
    turn = cv2.Rodrigues(camera.rotation)[0]
    pixels, _ = cv2.projectPoints(
        rim, turn, -camera.rotation @ camera.position, matrix, np.zeros(4)
    )
    return pixels.reshape(-1, 2)


def rim_of(outline: np.ndarray) -> Rim:
    """A rim that was traced without error."""
    return Rim(outline=outline, edges=outline, rms_px=0.0, u_radius_px=0.15, cover=1.0)


def size_of(outline: np.ndarray) -> tuple[np.ndarray, float]:
    middle = outline.mean(axis=0)
    return middle, float(np.hypot(*(outline - middle).T).mean())


def off(shape: Shape) -> Shape:
    """A guess that is 3 % too small and some pixels aside."""
    return replace(
        shape, x=shape.x + 3.0, y=shape.y - 2.0, upper=0.97 * shape.upper, lower=0.97 * shape.lower
    )


# --- tracing


@pytest.mark.parametrize("start", ["exact", "off"])
def test_a_disc_is_traced_where_it_ends(start: str) -> None:
    """Not where the root of its light is steepest, which lies 0.2 px towards the dark."""
    camera = camera_at()
    shape = drawn_shape(camera, RADIUS, THICK, U_LEVELLED_SHAPE)
    guess = shape if start == "exact" else off(shape)
    rim = trace_rim(drawn(camera, disc(0, 0, RADIUS, THICK, FACE)), guess)
    assert rim is not None
    middle, radius = size_of(true_rim(camera))
    assert (rim.x, rim.y) == pytest.approx(tuple(middle), abs=SAME_PX)
    assert rim.radius == pytest.approx(radius, abs=SAME_PX)
    assert rim.cover > 0.95
    assert rim.rms_px < 0.05


@pytest.mark.parametrize("size", [0.8, 1.0, 1.25])
@pytest.mark.parametrize("aside_px", [(0.0, 0.0), (25.0, -18.0)])
def test_a_rim_is_seen_from_a_start_that_is_off_by_a_fifth(size: float, aside_px) -> None:
    """Near enough for the trace, which looks for edges 14 % around."""
    camera = camera_at((6.0, 4.0))
    shape = drawn_shape(camera, RADIUS, THICK, U_FIRST_SHAPE)
    start = replace(
        shape,
        x=shape.x + aside_px[0],
        y=shape.y + aside_px[1],
        upper=size * shape.upper,
        lower=size * shape.lower,
    )
    rim = search_rim(drawn(camera, disc(0, 0, RADIUS, THICK, FACE)), start)
    assert rim is not None and not rim.is_traced
    middle, radius = size_of(true_rim(camera))
    assert rim.radius == pytest.approx(radius, rel=0.03)
    assert np.hypot(*(np.array([rim.x, rim.y]) - middle)) < 0.03 * radius


@pytest.mark.parametrize("u_rel", [U_FIRST_SHAPE, U_LEVELLED_SHAPE])
@pytest.mark.parametrize(
    ("aside", "tilt", "stands_out_px"),
    [
        ((14.0, -9.0), (0.0, 0.0), 0.5),
        ((30.0, 20.0), (0.0, 0.0), 3.0),
        ((-60.0, 35.0), (0.0, 0.0), 7.0),
        ((-40.0, 35.0), (0.08, -0.05), 5.0),
    ],
)
def test_the_upper_rim_is_traced_though_the_lower_one_shows(
    aside, tilt, stands_out_px: float, u_rel: float
) -> None:
    """The size stays within the stated U; the place, half a pixel, enters by parallax alone."""
    camera = camera_at(aside, tilt=tilt, crop=True)
    shape = drawn_shape(camera, RADIUS, THICK, u_rel)
    assert (shape.lower - shape.upper).max() > stands_out_px
    rim = trace_rim(drawn(camera, disc(0, 0, RADIUS, THICK, FACE)), off(shape))
    assert rim is not None
    middle, radius = size_of(true_rim(camera))
    assert np.hypot(*(np.array([rim.x, rim.y]) - middle)) < 0.5
    assert abs(rim.radius - radius) < 2.0 * rim.u_radius_px


def test_an_off_axis_disc_is_the_hull_of_two_circles() -> None:
    """D 24.26, t 1.75, Z 300, x 80: 24.8006 mm radially, 24.4023 tangentially, on the table.

    Derived from similar triangles: D (1 + t / (2 (Z - t))) + x t / (Z - t), and D Z / (Z - t).
    """
    camera = Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([-80.0, 0.0, 300.0]),
        f_px=3000.0,
        cx=0.0,
        cy=0.0,
    )
    shape = drawn_shape(camera, 24.26 / 2, 1.75, 0.0)
    angles = np.linspace(0.0, 2.0 * np.pi, len(shape.upper), endpoint=False)
    outline = np.maximum(shape.upper, shape.lower) * np.stack([np.cos(angles), np.sin(angles)])
    across, down = (outline.max(axis=1) - outline.min(axis=1)) / 10.0  # 10 px a mm on the table
    assert (across, down) == pytest.approx((24.8006, 24.4023), abs=2e-3)


def test_steps_on_the_face_and_a_printed_circle_around_do_not_count() -> None:
    camera = camera_at((6.0, 4.0))
    plain = disc(0, 0, RADIUS, THICK, FACE)
    busy = drawn(
        camera,
        annulus(0, 0, 1.3 * RADIUS, 1.4 * RADIUS, 0.0, 0.3),
        plain,
        annulus(0, 0, 0.90 * RADIUS, 0.94 * RADIUS, THICK, 0.5),
        annulus(0, 0, 0.70 * RADIUS, 0.72 * RADIUS, THICK, 1.5),
    )
    shape = off(drawn_shape(camera, RADIUS, THICK, U_LEVELLED_SHAPE))
    rim = trace_rim(busy, shape)
    bare = trace_rim(drawn(camera, plain), shape)
    assert rim is not None and bare is not None
    assert rim.radius == pytest.approx(bare.radius, abs=0.1)


def test_a_clearer_step_inside_and_below_the_rim_is_not_the_outline() -> None:
    """Over a fifth the rim is as bright as the paper; the sunk field inside it ends all around."""
    camera = camera_at((45.0, 20.0), crop=True)
    plain = disc(0, 0, RADIUS, THICK, FACE)
    field = annulus(0, 0, 0.0, 0.92 * RADIUS, THICK - 0.9, 0.4)

    def merged(on_plane, light) -> None:
        for height in np.linspace(0.0, THICK, 12):
            x, y = np.moveaxis(on_plane(float(height)), -1, 0)
            far = np.hypot(x, y) / RADIUS
            bright = (far > 0.95) & (far < 1.01) & (np.abs(np.arctan2(y, x) - 1.2) < 0.2 * np.pi)
            light[bright] = PAPER

    shape = off(drawn_shape(camera, RADIUS, THICK, U_FIRST_SHAPE))
    rim = trace_rim(drawn(camera, plain, field, merged), shape)
    bare = trace_rim(drawn(camera, plain), shape)
    assert rim is not None and bare is not None
    assert rim.radius == pytest.approx(bare.radius, rel=0.01)
    assert rim.cover < bare.cover - 0.1
    assert rim.u_radius_px > bare.u_radius_px + 0.1, "what is unseen may be another edge"


def test_the_steep_outline_counts_though_a_fainter_circle_is_the_more_whole() -> None:
    """The disc is covered over a seventh; a faint, blind circle beside its middle is whole."""
    camera = camera_at()
    plain = disc(0, 0, RADIUS, THICK, FACE)
    faint = annulus(0.6, -0.4, 0.90 * RADIUS, 0.91 * RADIUS, THICK, 0.85 * FACE[1])

    def cover(on_plane, light) -> None:
        x, y = np.moveaxis(on_plane(THICK), -1, 0)
        light[np.abs(np.arctan2(y, x) + 2.5) < np.pi / 7] = PAPER

    shape = off(drawn_shape(camera, RADIUS, THICK, U_FIRST_SHAPE))
    rim = trace_rim(drawn(camera, plain, faint, cover), shape)
    bare = trace_rim(drawn(camera, plain), shape)
    assert rim is not None and bare is not None
    assert rim.radius == pytest.approx(bare.radius, rel=0.003)


@pytest.mark.parametrize("radius_px", [10.0, 14.0, 20.0, 30.0])
def test_a_small_circle_of_a_nest_is_looked_around_too(radius_px: float) -> None:
    """So small that nothing clearly larger than it can be told from it."""
    camera = camera_at()
    radius = RADIUS * radius_px / drawn_shape(camera, RADIUS, THICK, U_FIRST_SHAPE).radius
    rim = search_rim(
        drawn(camera, disc(0, 0, radius, THICK, FACE)),
        drawn_shape(camera, radius, THICK, U_FIRST_SHAPE),
    )
    assert rim is not None and rim.radius == pytest.approx(radius_px, abs=0.5)


def test_a_soft_shadow_close_around_the_disc_is_not_its_outline() -> None:
    """Seen in a rendered copper coin on a grey card under an overcast sky: 2 % too large."""
    camera = camera_at()
    shade = annulus(0, 0, 0.0, 1.04 * RADIUS, 0.0, 0.86)
    plain = disc(0, 0, RADIUS, THICK, FACE)
    shape = off(drawn_shape(camera, RADIUS, THICK, U_LEVELLED_SHAPE))
    shaded = trace_rim(drawn(camera, shade, plain), shape)
    bare = trace_rim(drawn(camera, plain), shape)
    assert shaded is not None and bare is not None
    assert shaded.radius == pytest.approx(bare.radius, rel=0.003)


def half_merged(on_plane, light) -> None:
    """The raised rim's top is as bright as the paper over two fifths of its way around."""
    for height in np.linspace(0.0, THICK, 12):
        x, y = np.moveaxis(on_plane(float(height)), -1, 0)
        far = np.hypot(x, y) / RADIUS
        light[(far > 0.95) & (far < 1.01) & (np.sin(5.0 * np.arctan2(y, x)) > 0.3)] = PAPER


def test_where_a_fainter_outline_runs_around_the_clear_one_there_is_no_scale() -> None:
    """Seen in a rendered coin of two metals under a torch: every size was 7 % too large."""
    field = annulus(0, 0, 0.0, 0.93 * RADIUS, THICK, 0.25)
    photo = drawn(camera_at(), disc(0, 0, RADIUS, THICK, FACE), field, half_merged)
    with pytest.raises(ScaleError, match="two outlines"):
        seen(photo).levelled([]).retraced().scale()
    plain = drawn(camera_at(), disc(0, 0, RADIUS, THICK, FACE), field)
    assert seen(plain).levelled([]).retraced().disc.rim.beyond < 0.2


def test_a_rim_that_is_not_found_again_is_less_sure() -> None:
    camera = camera_at()
    first = rim_of(true_rim(camera))
    again = retraced(drawn(camera), Disc(rim=first), camera, COIN).rim
    assert again.radius == first.radius
    assert again.u_radius_px > 0.01 * first.radius > first.u_radius_px


def test_a_shadow_beside_the_disc_does_not_count() -> None:
    """A hard shadow is round as well, but shifted: 1 mm to the lower right here."""
    camera = camera_at()
    shadow = annulus(1.0, -0.6, 0.0, RADIUS, 0.0, 0.55)
    plain = disc(0, 0, RADIUS, THICK, (0.25, 0.3, 0.3))
    shape = off(drawn_shape(camera, RADIUS, THICK, U_LEVELLED_SHAPE))
    shaded = trace_rim(drawn(camera, shadow, plain), shape)
    bare = trace_rim(drawn(camera, plain), shape)
    assert shaded is not None and bare is not None
    assert shaded.radius == pytest.approx(bare.radius, abs=shaded.u_radius_px)
    assert np.hypot(shaded.x - bare.x, shaded.y - bare.y) < 2.0 * shaded.u_radius_px


def test_no_rim_on_bare_paper_and_none_where_half_of_it_is_covered() -> None:
    camera = camera_at()
    shape = drawn_shape(camera, RADIUS, THICK, U_FIRST_SHAPE)
    assert trace_rim(drawn(camera), shape) is None

    def cover(on_plane, light) -> None:
        light[on_plane(0.0)[..., 0] < 0.0] = PAPER

    assert trace_rim(drawn(camera, disc(0, 0, RADIUS, THICK, FACE), cover), shape) is None


# --- the camera over it


@pytest.mark.parametrize("tilt", [(0.0, 0.0), (0.08, -0.05)])
@pytest.mark.parametrize("aside", [(0.0, 0.0), (35.0, -20.0)])
def test_the_camera_stands_where_an_exact_rim_is_seen_from(aside, tilt) -> None:
    camera = camera_at(aside, tilt=tilt)
    view = View(f_px=F_PX, cx=camera.cx, cy=camera.cy, tilt_x=tilt[0], tilt_y=tilt[1])
    rim = rim_of(true_rim(camera))
    found = stand_over(view, rim, COIN)
    assert found.position == pytest.approx(camera.position, abs=POLYGON * 200.0)
    assert true_over_seen(camera, rim, COIN) == pytest.approx(1.0, abs=1e-6)


def test_a_larger_coin_is_seen_from_as_much_further() -> None:
    """Similar triangles: height over the face grows as the diameter."""
    camera = camera_at()
    view = View(f_px=F_PX, cx=camera.cx, cy=camera.cy)
    rim = rim_of(true_rim(camera))
    here, further = (stand_over(view, rim, COIN, grow_mm=grow) for grow in (0.0, 0.1))
    growth = (further.height_mm - THICK) / (here.height_mm - THICK)
    assert growth == pytest.approx(1.0 + 0.05 / RADIUS, abs=1e-6)


def test_a_coin_of_unknown_thickness_cannot_carry_the_camera() -> None:
    view = View(f_px=F_PX, cx=449.5, cy=349.5)
    with pytest.raises(ScaleError, match="thickness"):
        stand_over(view, rim_of(true_rim(camera_at())), replace(COIN, thickness_mm=None))


def test_tracing_again_under_the_true_tilt_gives_the_scale_within_its_u() -> None:
    tilt = (0.10, -0.06)
    camera = camera_at((15.0, -20.0), tilt=tilt, crop=True)
    photo = drawn(camera, disc(0, 0, RADIUS, THICK, FACE))
    level = View(f_px=F_PX, cx=camera.cx, cy=camera.cy)
    tilted = replace(level, tilt_x=tilt[0], tilt_y=tilt[1])
    straight_down = stand_over(level, rim_of(true_rim(camera)), COIN)
    first = trace_rim(photo, drawn_shape(straight_down, RADIUS, THICK, U_FIRST_SHAPE))
    assert first is not None
    disc_again = retraced(photo, Disc(rim=first), stand_over(tilted, first, COIN), COIN)
    found = stand_over(tilted, disc_again.rim, COIN)
    u_rel = disc_again.rim.u_radius_px / disc_again.rim.radius
    assert found.height_mm / camera.height_mm == pytest.approx(1.0, abs=2.0 * u_rel)
    assert disc_again.rim.rms_px < first.rms_px


# --- from the photo to the scale


def seen(photo: Photo, coin: str | None = "eur-1"):
    circles = find_circles(photo)
    told = partial(is_ring, photo, circles)
    return see_reference(photo, circles, None, Reference(coin=coin), told)


@pytest.mark.parametrize("aside", [(0.0, 0.0), (-12.0, 8.0)])
def test_a_photo_of_a_coin_gives_the_scale_within_its_u(aside: tuple[float, float]) -> None:
    camera = camera_at(aside)
    sight = seen(drawn(camera, disc(0, 0, RADIUS, THICK, FACE)))
    assert isinstance(sight, CoinSight)
    scale = sight.scale()
    there = np.array([sight.disc.rim.x, sight.disc.rim.y])
    ratio = scale.camera.mm_per_px(there) / camera.mm_per_px(there)
    assert ratio == pytest.approx(1.0, abs=2.0 * scale.u_rel)
    assert scale.u_rel < 0.002
    assert scale.camera_height_mm == pytest.approx(200.0, rel=0.003)
    assert sight.hides(*there)
    assert not sight.hides(there[0] + 1.1 * sight.disc.rim.radius, there[1])


def test_two_coins_are_refused_with_their_places() -> None:
    camera = camera_at()
    two = drawn(
        camera, disc(-15, 0, RADIUS, THICK, FACE), disc(15, 0, RADIUS, THICK, (0.2, 0.3, 0.5))
    )
    with pytest.raises(ScaleError, match=r"^2 discs could be the coin eur-1: at \(") as caught:
        seen(two)
    assert "leave one coin" in caught.value.hint


def test_a_smaller_button_beside_the_coin_is_no_rival() -> None:
    camera = camera_at((8.0, 0.0))
    photo = drawn(
        camera, disc(0, 0, RADIUS, THICK, FACE), disc(22, 0, 0.4 * RADIUS, THICK, (0.2, 0.3, 0.5))
    )
    scale = seen(photo).scale()
    assert scale.camera_height_mm == pytest.approx(200.0, rel=0.003)


def test_a_washer_is_no_coin() -> None:
    """Its hole shows the table."""
    washer = drawn(camera_at(), annulus(0, 0, 0.7 * RADIUS, RADIUS, 0.0, 0.4))
    with pytest.raises(ScaleError, match=r"no coin found: looked for .*eur-1"):
        seen(washer)


def test_an_unnamed_coin_is_pointed_at() -> None:
    photo = drawn(camera_at(), disc(0, 0, RADIUS, THICK, FACE))
    with pytest.raises(ScaleError, match=r"the disc at \(4[45]\d, 3[45]\d\) looks like a coin"):
        seen(photo, None)
