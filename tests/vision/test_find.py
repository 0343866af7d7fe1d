"""A ring taken for another size than those around it, in a rendered photo."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tests.vision.made_fit import scattered
from vision.photo.circles import Circle, Nest, find_circles
from vision.photo.decode import Photo, read_photo
from vision.rings.find import _explained, find_rings, refind, upheld
from vision.rings.fit import SURE_SCATTER, Fit, settled
from vision.rings.torus import RADIUS, TUBE, X, Y, outlines, ring_angles
from vision.rings.unwrap import FINE
from vision.scale.camera import Camera, focal_px, looking_down

PHOTO = Path(__file__).resolve().parents[2] / "sample_images" / "bronze-handful.jpg"
HEIGHT_MM = 136.0
"""Of the camera, roughly: sizes are compared with each other only."""


HARD_LAMP = Path(__file__).with_name("hard-lamp.jpg")
"""A rendered brass ring of 1.205 mm wire and ID 6.005 mm in hard light, cut from a photo of the
scene `t1-brass-half-turn-a`: its middle, its outer radius, and how the photo was taken (pixels)."""
RING_AT, RING_RADIUS = (160.03, 160.58), 73.38
F_PX, MIDDLE_AT, CAMERA_MM = 3005.4, (-366.3, 96.1), 171.9


@cache
def handful() -> tuple[Photo, Camera, Fit]:
    """Fourteen equal rings, found."""
    photo = read_photo(PHOTO)
    width, height = photo.size
    camera = Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([0.0, 0.0, HEIGHT_MM]),
        f_px=focal_px(photo.f35_mm or 26.0, width, height),
        cx=(width - 1) / 2,
        cy=(height - 1) / 2,
    )
    fit = find_rings(photo, camera, find_circles(photo)).fit
    usual = np.abs(np.log(fit.wire_mm / np.median(fit.wire_mm))) < 0.1
    fit = fit.chosen(np.nonzero(usual)[0])
    assert len(fit) >= 12
    return photo, camera, fit


def test_a_band_of_light_gives_way_to_a_ring_of_the_usual_size() -> None:
    """One of the rings is handed over as a thin one along its inner edge."""
    photo, camera, fit = handful()
    again = refind(photo, camera, [], with_band(fit))
    assert len(again) == len(fit)
    exact = settled(photo, camera, again)
    assert np.ptp(exact.wire_mm) < 0.05 * float(np.median(exact.wire_mm))


def test_what_is_read_for_good_and_not_sure_is_asked_again() -> None:
    """One ring stands half a wire's width aside, as a shadow's edge had it, with such signs."""
    photo, camera, found = handful()
    exact = settled(photo, camera, found)
    again = upheld(photo, camera, strayed(exact))
    assert len(again) == len(exact)
    assert np.array_equal(again.tori[:-1], exact.tori[1:])  # what is sure stays as it was read
    back = np.abs(again.tori[-1] - exact.tori[0])
    assert back[[X, Y, RADIUS, TUBE]].max() < 0.01 * float(exact.wire_mm[0])


def test_a_ring_of_shadow_is_not_taken_for_the_ring_that_throws_it() -> None:
    """The scout likes the shadow best: it has had too few rounds to see the ring itself."""
    photo = read_photo(HARD_LAMP)
    camera = Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([0.0, 0.0, CAMERA_MM]),
        f_px=F_PX,
        cx=MIDDLE_AT[0],
        cy=MIDDLE_AT[1],
    )
    fit = find_rings(photo, camera, find_circles(photo)).fit
    fit = upheld(photo, camera, settled(photo, camera, fit))
    assert len(fit) == 1
    _, outer = outlines(camera, fit.tori, ring_angles(96))
    middle = outer[0].mean(axis=0)
    assert np.hypot(*(middle - RING_AT)) < 1.0
    assert np.hypot(*(outer[0] - middle).T).mean() == pytest.approx(RING_RADIUS, abs=1.0)
    assert fit.wire_mm == pytest.approx(1.205, abs=0.02)


def test_light_and_shadow_on_the_metal_of_a_found_ring_are_no_other_ring() -> None:
    _, camera, fit = handful()
    ring = fit.tori[0]
    around, on_metal = (
        nest_at(camera, ring, 0.0, ring[RADIUS]),
        nest_at(camera, ring, ring[RADIUS], 0.8 * ring[TUBE]),
    )
    inside = ring[RADIUS] - ring[TUBE]
    over_it = nest_at(camera, ring, ring[RADIUS], 0.6 * ring[RADIUS])
    in_the_hole = nest_at(camera, ring, 0.45 * inside, 0.5 * inside)
    nests = [around, on_metal, over_it, in_the_hole]
    assert _explained(camera, nests, fit).tolist() == [True, True, False, False]


def test_a_single_circle_across_a_sure_ring_is_its_shadow_and_a_speck_is_none() -> None:
    photo, camera, found = handful()
    fit = settled(photo, camera, found)
    assert fit.is_sure[0]
    ring = fit.tori[0]
    shadow = nest_at(camera, ring, 0.5 * ring[RADIUS], 0.9 * ring[RADIUS])
    lying_on_it = replace(shadow, circles=(replace(shadow.outer, radius=30.0), shadow.outer))
    far = 40.0 * ring[RADIUS]
    speck = nest_at(camera, ring, far, 0.2 * ring[RADIUS])
    small_ring = nest_at(camera, ring, far, 0.5 * ring[RADIUS])
    nests = [shadow, lying_on_it, speck, small_ring]
    assert _explained(camera, nests, fit).tolist() == [True, False, True, False]
    doubtful = replace(
        fit, residuals=1.1 * SURE_SCATTER / fit.scatter[:, None, None] * fit.residuals
    )
    assert _explained(camera, nests, doubtful).tolist() == [False, False, True, False]


def nest_at(camera: Camera, ring: np.ndarray, aside_mm: float, radius_mm: float) -> Nest:
    """One circle so far to the right of a ring's middle."""
    px = 1.0 / camera.mm_per_px(camera.project(np.array([*ring[[X, Y]], ring[TUBE]])))
    x, y = camera.project(np.array([ring[X] + aside_mm, ring[Y], ring[TUBE]]))
    circle = Circle(x=float(x), y=float(y), radius=radius_mm * px, cover=1.0)
    return Nest(x=circle.x, y=circle.y, circles=(circle,), votes=2.0)


def strayed(fit: Fit) -> Fit:
    """The first ring half a wire aside and as much too small, and not quite sure of it."""
    tori, residuals, presence = fit.tori.copy(), fit.residuals.copy(), fit.reading.presence.copy()
    tori[0, [X, RADIUS]] -= 0.5 * tori[0, TUBE]
    residuals[0], presence[0] = scattered(1, 0.024)[0], 0.95
    return replace(
        fit, tori=tori, residuals=residuals, reading=replace(fit.reading, presence=presence)
    )


def with_band(fit: Fit) -> Fit:
    """The first ring as its inner third, with the signs that a band had in a rendered photo."""
    tori, scale, residuals = fit.tori.copy(), fit.reading.scale.copy(), fit.residuals.copy()
    inside = tori[0, RADIUS] - tori[0, TUBE]
    tori[0, TUBE] /= 3.0
    tori[0, RADIUS] = inside + tori[0, TUBE]
    scale[0], residuals[0] = 0.06, scattered(1, 0.02)[0, :, : FINE.sectors]
    return replace(fit, tori=tori, residuals=residuals, reading=replace(fit.reading, scale=scale))
