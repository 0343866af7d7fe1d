"""What is said of a photo before its numbers, and which numbers it cannot carry."""

from dataclasses import replace

import numpy as np
import pytest

from tests.cli.fakes import HEIGHT_PX, WIDTH_PX, quantity, result, ring, unusable
from vision.errors import PhotoError, ScaleError
from vision.photo.decode import Photo
from vision.photo.fitness import explained, judge, require_contrast
from vision.photo.look import Look
from vision.pipeline import measure
from vision.results import Check, Status
from vision.scale.reference import Reference

GOOD = Look(blur_px=0.9, noise_rel=0.005, burnt_share=0.0, span=120.0)
GREY = np.full((HEIGHT_PX, WIDTH_PX, 3), 128, np.uint8)
WHITE = (255, 255, 255)
SCALE = result().scale
"""10 pixels a millimetre: a wire of 1.63 mm is 16 pixels across."""


WIDE = replace(SCALE.camera, f_px=400.0, position=np.array([0.0, 0.0, 40.0]))
"""The same pixels on the table, seen by a wide lens from near by."""


def judged(look=GOOD, *, rings=None, bgr=GREY, **scale):
    rings = (ring(1), ring(2), ring(9)) if rings is None else rings
    return judge(bgr, look, replace(SCALE, **scale), tuple(rings), "tray.jpg")


def checks(*args, **options) -> list[Check]:
    return [finding.check for finding in judged(*args, **options)[1].findings]


def burnt_around(number: int, share: float = 1.0, white: tuple[int, ...] = WHITE) -> np.ndarray:
    """The grey photo, white around one ring over a part of its turn."""
    bgr = GREY.copy()
    x, y = ring(number).center_px
    rows, columns = np.indices(bgr.shape[:2])
    turn = (np.arctan2(rows - y, columns - x) / (2 * np.pi)) % 1.0
    bgr[(np.hypot(columns - x, rows - y) < 39) & (turn < share)] = white
    return bgr


def test_a_good_photo_has_no_findings_and_keeps_its_rings() -> None:
    rings = (ring(9), ring(10))
    kept, fitness = judged(rings=rings)
    assert kept == rings and fitness.findings == ()
    assert fitness.blur_px == 0.9 and fitness.tilt_deg == 1.8
    # 1.6256 mm half a wire above the table: 16.26 pixels, 0.4 % nearer to the lens.
    assert fitness.thinnest_wire_px == pytest.approx(16.26, rel=0.005)


@pytest.mark.parametrize(
    ("look", "check", "said"),
    [
        ({"blur_px": 1.9}, Check.SHARPNESS, "1.9 pixels, 12 % of the thinnest wire"),
        ({"blur_px": None}, Check.SHARPNESS, "cannot be told"),
        ({"noise_rel": 0.09}, Check.NOISE, "9 % of the light"),
    ],
)
def test_what_the_pixels_say_is_told_with_what_to_do(look, check, said) -> None:
    _, fitness = judged(replace(GOOD, **look), rings=(ring(9),))
    (finding,) = fitness.findings
    assert finding.check is check and said in finding.problem and len(finding.advice) > 20


def test_a_tilted_camera_is_told_and_one_far_aslant_refused() -> None:
    assert checks(rings=(ring(9),), tilt_deg=14.0) == [Check.TILT]
    assert checks(rings=(ring(9),), tilt_deg=11.0) == []
    with pytest.raises(PhotoError, match=r"41 degrees .* up to 35 can be measured") as refused:
        judged(tilt_deg=41.0)
    assert "straight above" in refused.value.hint


def test_thin_wire_is_told_in_pixels() -> None:
    thin = ring(9, wire=1.1, inside=7.4)
    _, fitness = judged(rings=(ring(10), thin))
    (finding,) = fitness.findings
    assert finding.check is Check.RESOLUTION and "11 pixels across, 12 and more" in finding.problem


def test_rings_near_the_edge_are_named_where_a_coin_sets_the_scale() -> None:
    # Rings 1 to 7 stand 80 pixels from the top of 480: outside the middle four fifths are 48.
    near = ring(3, center_px=(240.0, 40.0))
    _, fitness = judged(rings=(near, ring(9)), camera=WIDE)
    assert fitness.near_edge == (3,)
    assert [finding.check for finding in fitness.findings] == [Check.EDGE]
    # A sheet tells the lens everywhere, and a long lens has little to tell.
    assert checks(rings=(near, ring(9)), camera=WIDE, kind="sheet") == []
    assert checks(rings=(near, ring(9))) == []


def test_a_blurred_photo_takes_the_numbers_from_thin_wires_first() -> None:
    rings = (ring(9, wire=1.0, inside=7.6), ring(10))
    kept, fitness = judged(replace(GOOD, blur_px=1.7), rings=rings)
    assert [each.status for each in kept] == [Status.UNUSABLE, Status.MEASURED]
    assert kept[0].wire_mm is None and kept[0].id_mm is None and kept[0].ar is None
    assert "too blurred: edges are 1.7 pixels soft" in kept[0].reasons[0]
    assert kept[0].outlines_px is not None
    # The thinnest wire that is left is the measure.
    assert fitness.thinnest_wire_px == pytest.approx(16.26, rel=0.005)


def test_a_photo_too_blurred_for_every_ring_is_refused_with_what_to_do() -> None:
    with pytest.raises(PhotoError, match=r"tray.jpg cannot be measured, too blurred") as refused:
        judged(replace(GOOD, blur_px=4.0), rings=(ring(9), unusable(2, "cut off")))
    assert "focus" in refused.value.hint


def test_paper_burnt_out_beside_a_ring_is_told_then_costs_its_numbers() -> None:
    kept, fitness = judged(rings=(ring(9), ring(10)), bgr=burnt_around(9, 0.3))
    assert kept[0].status is Status.MEASURED
    assert [finding.check for finding in fitness.findings] == [Check.EXPOSURE]
    assert "ring 9" in fitness.findings[0].problem
    kept, _ = judged(rings=(ring(9), ring(10)), bgr=burnt_around(9))
    assert [each.status for each in kept] == [Status.UNUSABLE, Status.MEASURED]
    assert "burnt out around the ring" in kept[0].reasons[0]
    with pytest.raises(PhotoError, match="burnt out") as refused:
        judged(rings=(ring(9),), bgr=burnt_around(9))
    assert "darker" in refused.value.hint


def test_a_dark_ring_before_a_burnt_out_light_keeps_its_numbers() -> None:
    """A silhouette's rim is plain to see: washers before a light, all of it burnt out, are measured
    to 0.01 mm between each other (`tests.accuracy.washers`)."""
    bgr = burnt_around(9)
    rows, columns = np.indices(bgr.shape[:2])
    x, y = ring(9).center_px
    wire = np.abs(np.hypot(columns - x, rows - y) - 25.0) < 5.0  # radii 20 to 30 pixels
    for shade, status in ((20, Status.MEASURED), (230, Status.UNUSABLE)):
        bgr[wire] = shade
        kept, _ = judged(rings=(ring(9), ring(10)), bgr=bgr)
        assert kept[0].status is status


@pytest.mark.parametrize(
    ("white", "status"),
    [
        ((245, 255, 255), Status.UNUSABLE),  # gold that mirrors burnt paper
        ((200, 255, 255), Status.MEASURED),  # yellow paper: blue tells the rim
        ((245, 245, 245), Status.MEASURED),
    ],
)
def test_light_is_burnt_out_where_one_channel_has_hardly_any_left(
    white: tuple[int, ...], status: Status
) -> None:
    kept, _ = judged(rings=(ring(9), ring(10)), bgr=burnt_around(9, white=white))
    assert kept[0].status is status


def test_many_rings_are_not_all_named() -> None:
    rings = [ring(n, center_px=(30.0, 240.0)) for n in range(1, 10)]
    problem = judged(rings=rings, camera=WIDE)[1].findings[0].problem
    assert problem.endswith("rings 1, 2, 3, 4, 5, 6 and 3 more")


def test_rings_without_numbers_are_left_as_they_are() -> None:
    lost = unusable(1, "overlaps ring 2")
    kept, fitness = judged(replace(GOOD, blur_px=9.0), rings=(lost,))
    assert kept == (lost,) and fitness.thinnest_wire_px is None


@pytest.mark.parametrize(
    ("shade", "said"), [(0, "of one shade"), (255, "burnt out"), (128, "of one shade")]
)
def test_a_blank_photo_is_refused_before_anything_is_looked_for(shade, said) -> None:
    info = result(file="blank.jpg").photo
    blank = Photo(info=info, bgr=np.full((400, 600, 3), shade, np.uint8), f35_mm=None)
    with pytest.raises(PhotoError, match=f"blank.jpg shows nothing: it is {said}"):
        measure(blank, Reference())


def test_a_photo_with_something_on_it_is_looked_at() -> None:
    require_contrast(GOOD, "tray.jpg")


def test_when_nothing_is_found_the_photo_s_part_in_it_is_told() -> None:
    lost = ScaleError("no sheet found", hint="uncover it")
    assert explained(lost, GOOD) is lost
    told = explained(lost, replace(GOOD, blur_px=6.0, burnt_share=0.7))
    assert isinstance(told, ScaleError) and str(told) == "no sheet found"
    assert "blurred (6.0 px)" in told.hint and "70 % of the photo is burnt" in told.hint
    assert told.hint.endswith("uncover it")


def test_every_quantity_is_gone_with_the_numbers() -> None:
    full = ring(9, gap_deg=40.0, colour="golden", od_mm=quantity(9.6, 0.03))
    kept, _ = judged(replace(GOOD, blur_px=2.6), rings=(full, ring(10, wire=2.6)))
    gone = kept[0]
    assert (gone.wire_mm, gone.id_mm, gone.od_mm, gone.ar) == (None, None, None, None)
    assert (gone.gap_mm, gone.gap_deg, gone.ovality) == (None, None, None)
