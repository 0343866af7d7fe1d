"""Which rings are refused, which are warned about, and what is said of them: rings made by hand.

The geometry is plain: rings of ID 6 and wire 1.5 mm, 9 mm across, seen at 20 pixels a millimetre.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.cli.fakes import result
from tests.vision.drawn import photo_of
from tests.vision.made_fit import fit_of, lit, scattered
from vision.photo.circles import Nest
from vision.photo.decode import Photo
from vision.results import PhotoInfo, Status
from vision.rings.along import look_along
from vision.rings.check import reasons_against, warnings_about, wavy, wire_widths_px
from vision.rings.find import Found, looks_round, without_specks, without_twins
from vision.rings.others import Thing
from vision.rings.record import reading_order, rings_of, sizes_in
from vision.rings.torus import torus
from vision.rings.unwrap import FINE
from vision.scale.camera import Camera, looking_down

SIZE = (2000, 1500)
PX_PER_MM = 20.0
CAMERA = Camera(
    rotation=looking_down(0.0, 0.0),
    position=np.array([0.0, 0.0, 1e6]),
    f_px=1e6 * PX_PER_MM,
    cx=(SIZE[0] - 1) / 2,
    cy=(SIZE[1] - 1) / 2,
)
"""So far up that the view is parallel."""
EMPTY = photo_of(CAMERA, SIZE, [], 26.0)
"""A table with nothing on it; what the reader saw is made up."""
ID, WIRE = 6.0, 1.5
OUTER = ID / 2 + WIRE


def rings(*places: tuple[float, float]) -> np.ndarray:
    return np.stack([torus(x, y, ID, WIRE) for x, y in places])


def reasons(tori: np.ndarray, **changes: np.ndarray) -> list[list[str]]:
    return reasons_against(fit_of(tori, **changes), CAMERA, SIZE)


def warnings(tori: np.ndarray, **changes: np.ndarray) -> list[list[str]]:
    fit = fit_of(tori, **changes)
    return warnings_about(CAMERA, fit, wavy(EMPTY, CAMERA, fit))


def test_rings_that_lie_apart_are_measured_without_a_word() -> None:
    apart = rings((-20, 0), (0, 0), (20, 0))
    assert reasons(apart) == [[], [], []]
    assert warnings(apart) == [[], [], []]


# --- neighbours


@pytest.mark.parametrize("direction", [0.0, 0.7, 2.5])
def test_rings_that_share_metal_name_each_other(direction: float) -> None:
    """Centres nearer than one outside diameter by half a wire."""
    far = 2 * OUTER - 0.5 * WIRE
    both = rings((0, 0), (far * np.cos(direction), far * np.sin(direction)), (40, 20))
    assert reasons(both) == [["overlaps ring {1}"], ["overlaps ring {0}"], []]


def test_rings_that_touch_are_measured_and_told_so() -> None:
    touching = rings((0, 0), (2 * OUTER, 0))
    assert reasons(touching) == [[], []]
    assert warnings(touching) == [["touches ring {1}"], ["touches ring {0}"]]


def test_a_ring_a_wire_away_does_not_touch() -> None:
    assert warnings(rings((0, 0), (2 * OUTER + WIRE, 0))) == [[], []]


def test_a_small_ring_in_the_hole_of_a_large_one_does_not_overlap_it() -> None:
    large, small = torus(0, 0, 12.0, 2.0), torus(1.0, 0.5, 5.0, 1.0)
    assert reasons(np.stack([large, small])) == [[], []]
    leaning = torus(2.5, 0.0, 5.0, 1.0)  # outer edge at 2.5 + 3.5 = 6: it touches
    assert reasons(np.stack([large, leaning])) == [[], []]
    assert warnings(np.stack([large, leaning])) == [["touches ring {1}"], ["touches ring {0}"]]
    across = torus(4.0, 0.0, 5.0, 1.0)
    assert reasons(np.stack([large, across])) == [["overlaps ring {1}"], ["overlaps ring {0}"]]


# --- the photo's edge


@pytest.mark.parametrize("side", [(-1, 0), (1, 0), (0, -1), (0, 1)])
def test_a_ring_that_leaves_the_picture_is_refused(side: tuple[int, int]) -> None:
    reach = np.array([SIZE[0], SIZE[1]]) / 2 / PX_PER_MM  # 50 by 37.5 mm
    for inside_mm, refused in ((0.5, False), (-0.3, True)):
        place = np.array(side) * (reach - OUTER - inside_mm)
        said = reasons(rings(tuple(place)))
        assert said == [["cut off by the photo's edge"] if refused else []]


# --- size and clearness


def test_thin_wire_is_refused_and_thinnish_wire_warned_about() -> None:
    """20 px/mm: 0.35 mm are 7 pixels, 0.5 mm are 10, 0.65 mm are 13."""
    thin = np.stack([torus(20.0 * k, 0, ID, wire) for k, wire in enumerate((0.35, 0.5, 0.65))])
    thin = thin - np.array([20.0, 0, 0, 0, 0, 0])
    assert wire_widths_px(fit_of(thin), CAMERA) == pytest.approx([7.0, 10.0, 13.0], abs=1e-3)
    assert reasons(thin) == [["wire is only 7 pixels across, 12 are needed"], [], []]
    said = warnings(thin)
    assert said[1] == ["wire is 10 pixels across, 12 or more are good"]
    assert said[2] == []


def test_an_unclear_outline_is_refused_whatever_made_it_so() -> None:
    """By the scatter of the edges, or by the reader's own word on wire, ID or presence."""
    lone = rings((0, 0))
    unclear = "outline is not clear: covered, bent, not flat or not a ring"
    assert reasons(lone, residuals=scattered(1, 0.05)) == [[unclear]]
    assert reasons(lone, residuals=scattered(1, 0.02)) == [[]]
    assert reasons(lone, scale=np.array([[0.12, 0.01]])) == [[unclear]]
    assert reasons(lone, scale=np.array([[0.01, 0.12]])) == [[unclear]]
    assert reasons(lone, presence=np.array([0.6])) == [[unclear]]


def test_dark_surroundings_are_warned_about() -> None:
    (said,) = warnings(rings((0, 0)), paper=np.array([0.03]))
    assert said == ["dark surroundings hide the edge of bright wire: lay it on white paper"]


def test_overexposed_metal_is_warned_about() -> None:
    """On a table that is not: the middle four tenths of the wire, then a fifth of it."""
    glare = planes("r")
    glare[:, 3, :, (FINE.s > 0.3) & (FINE.s < 0.7)] = 1.0
    (said,) = warnings(rings((0, 0)), planes=glare)
    assert said == ["its metal is overexposed: take the photo darker, or on lighter paper"]
    glare[:, 3, :, (FINE.s > 0.5)] = 0.0
    assert warnings(rings((0, 0)), planes=glare) == [[]]


# --- print


def planes(kinds: str, *, shadow: float = 0.3) -> np.ndarray:
    """What the reader sees of rings (r) and of printed circles (p)."""
    return np.concatenate(
        [lit(1, shadow=shadow) if kind == "r" else lit(1, shadow=0.0, relief=0.0) for kind in kinds]
    )


def row(count: int) -> np.ndarray:
    return rings(*[(-40 + 12.0 * k, 0.0) for k in range(count)])


def test_a_printed_circle_among_rings_is_refused() -> None:
    said = reasons(row(5), planes=planes("rrprr"))
    assert said == [[], [], ["casts no shadow as the rings do: printed, not a ring"], [], []]


def test_over_a_light_nothing_casts_a_shadow_and_nothing_is_called_print() -> None:
    assert reasons(row(5), planes=planes("rrprr", shadow=0.02)) == [[]] * 5


def test_among_few_things_nothing_stands_out() -> None:
    assert reasons(row(3), planes=planes("rpr")) == [[]] * 3


# --- which fits are rings at all


def test_of_several_fits_in_one_place_the_clearest_stays() -> None:
    near = rings((0, 0), (0.3, 0.1), (20, 0))
    residuals = np.concatenate([scattered(1, 0.03), scattered(1, 0.01), scattered(1, 0.02)])
    kept = without_twins(fit_of(near, residuals=residuals))
    assert kept.tori[:, 0] == pytest.approx([0.3, 20.0])


def test_a_ring_in_another_s_hole_is_no_twin() -> None:
    nested = np.stack([torus(0, 0, 12.0, 2.0), torus(0.2, 0, 5.0, 1.0)])
    assert len(without_twins(fit_of(nested))) == 2


def test_what_scatters_too_much_or_is_no_ring_to_the_reader_is_left_out() -> None:
    tori = rings((-20, 0), (0, 0), (20, 0))
    residuals = np.concatenate([scattered(1, 0.02), scattered(1, 0.2), scattered(1, 0.02)])
    kept = looks_round(fit_of(tori, residuals=residuals, presence=np.array([0.9, 0.9, 0.2])))
    assert kept.tori[:, 0] == pytest.approx([-20.0])


def test_a_ring_that_scatters_hardly_at_all_is_sure_though_it_is_less_present() -> None:
    """A shadow read as its ring scatters more, and is less present too."""
    tori = rings((-20, 0), (0, 0), (20, 0))
    residuals = np.concatenate([scattered(1, 0.004), scattered(1, 0.016), scattered(1, 0.016)])
    fit = fit_of(tori, residuals=residuals, presence=np.array([0.96, 0.96, 0.99]))
    assert fit.is_sure.tolist() == [True, False, True]


def test_print_as_small_as_a_letter_is_no_ring() -> None:
    """A letter o on the sheet is 1.5 mm high; the smallest jump rings are 2 mm across."""
    letter, tiny = torus(0, 0, 1.0, 0.25), torus(10, 0, 1.2, 0.4)
    found = Found(fit=fit_of(np.stack([letter, tiny])), open_nests=[], camera=CAMERA)
    kept = found.under(CAMERA, lambda x, y: False).fit
    assert kept.tori == pytest.approx(tiny[None], abs=1e-6)


def test_rings_found_before_the_scale_was_known_lie_where_they_were_seen() -> None:
    """Seen from twice as high a picture shows rings twice as large; one is the coin's rim."""
    tori = rings((-20, 0), (0, 0), (20, 0))
    nest = Nest(x=0.0, y=0.0, circles=(), votes=1.0)
    camera = replace(CAMERA, position=np.array([0.0, 0.0, 300.0]), f_px=300.0 * PX_PER_MM)
    higher = replace(camera, position=2.0 * camera.position)
    coin = camera.project(np.array([20.0, 0.0, 0.0]))
    found = Found(fit=fit_of(tori), open_nests=[nest], camera=camera)
    moved = found.under(higher, lambda x, y: bool(np.hypot(x - coin[0], y - coin[1]) < 50.0))
    assert moved.fit.tori[:, :4] == pytest.approx(2.0 * tori[:2, :4], abs=1e-6)
    assert moved.camera is higher and moved.open_nests == [nest]


def test_a_speck_far_smaller_than_the_rings_around_is_left_out() -> None:
    speck = torus(0, 20, 1.6, 0.3)
    tori = np.concatenate([row(4), speck[None]])
    assert len(without_specks(fit_of(tori), CAMERA)) == 4


# --- from fits to numbered rings


def record(tori: np.ndarray, things: list[Thing], **changes: np.ndarray):
    grey = np.full((SIZE[1], SIZE[0], 3), 200, np.uint8)
    info = PhotoInfo(file="a.png", width_px=SIZE[0], height_px=SIZE[1], taken=None, sha256="0")
    photo = Photo(info=info, bgr=grey, f35_mm=None)
    scale = replace(result().scale, camera=CAMERA)
    fit = fit_of(tori, **changes)
    along = look_along(photo, CAMERA, fit)
    return rings_of(photo, scale, fit, sizes_in(fit, scale), along, things, lambda x, y: None)


def test_numbers_run_like_text_and_reasons_use_them() -> None:
    """Two rows: the reasons, made with indices, name the numbers that the reader sees."""
    tori = rings((20, -20), (-20, 20.5), (20 + 2 * OUTER - 1, -20), (0, 20))
    found = record(tori, [Thing(x=100.0, y=1100.0, radius_px=60.0, reason="stands")])
    assert [ring.number for ring in found] == [1, 2, 3, 4, 5]
    assert [ring.status for ring in found[:2]] == [Status.MEASURED] * 2
    assert found[2].reasons == ("stands",)
    assert found[3].reasons == ("overlaps ring 5",)
    assert found[4].reasons == ("overlaps ring 4",)
    assert [ring.wire_mm is None for ring in found] == [False, False, True, True, True]


def test_a_measured_ring_has_all_numbers_and_od_is_id_plus_two_wires() -> None:
    (ring,) = record(rings((3, -2)), [])
    values = [ring.wire_mm, ring.id_mm, ring.od_mm, ring.ar]
    assert [q.value for q in values] == pytest.approx([WIRE, ID, ID + 2 * WIRE, ID / WIRE])
    assert all(0 < q.u95 < 0.5 for q in values)
    assert ring.center_mm == pytest.approx((3.0, -2.0))
    assert ring.center_px == pytest.approx((CAMERA.cx + 60.0, CAMERA.cy + 40.0), abs=0.01)
    assert ring.radius_px == pytest.approx(OUTER * PX_PER_MM, abs=0.01)


def test_reading_order_of_rows_that_are_not_quite_straight() -> None:
    """Three rows of three, jittered by a third of a radius."""
    rng = np.random.default_rng(20240501)
    places = [(100.0 * c, 100.0 * r) for r in range(3) for c in range(3)]
    jittered = [(x + rng.uniform(-13, 13), y + rng.uniform(-13, 13)) for x, y in places]
    shuffled = rng.permutation(9)
    numbers = reading_order([jittered[k] for k in shuffled], [40.0] * 9)
    assert numbers == [int(k) + 1 for k in shuffled]
    assert reading_order([], []) == []
