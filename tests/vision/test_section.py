"""Silhouettes of wire that is not round, against dense points of the solid drawn one by one.

The solid is sampled here from its plain description (a square, half a disc, swept around the
ring), without any formula for a silhouette: the hole is bounded by the points drawn nearest its
middle in each direction, the ring by the support of all points drawn.
"""

import itertools

import numpy as np
import pytest

from vision.rings.fit import rematch
from vision.rings.section import (
    HALF_ROUND,
    HALF_ROUND_INSIDE,
    ROUND,
    SECTIONS,
    SQUARE,
    TWISTED,
    Profile,
    Section,
)
from vision.rings.torus import outlines, ring_angles, torus
from vision.scale.camera import Camera, looking_down

WIRE_MM, ID_MM = 1.5, 6.0
PX_PER_MM = 20.0
CLOSE_PX = 0.02
"""A thousandth of a millimetre on the table."""
AROUND = 5760
"""Directions around the ring; where edges of the hole cross at a slope of 0.25 their spacing of
0.1 px leaves 0.025 px times the slope."""


def camera_at(height_mm: float, aside_deg: float) -> Camera:
    """A level camera that sees the world's origin `aside_deg` off the plumb line."""
    aside = height_mm * np.tan(np.radians(aside_deg))
    return Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([0.8 * aside, 0.6 * aside, height_mm]),
        f_px=PX_PER_MM * height_mm,
        cx=0.0,
        cy=0.0,
    )


def section_points(profile: Profile) -> np.ndarray:
    """Border (k, 2) of the section in mm: outwards from the inside of the wire, up."""
    t, sides = np.linspace(0.0, 1.0, 181)[:, None], np.linspace(0.0, 1.0, 9)[:, None]
    if profile is Profile.SQUARE:
        corners = WIRE_MM * np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]], float)
        return np.concatenate([a + sides * (b - a) for a, b in itertools.pairwise(corners)])
    turn = np.pi * t
    half = WIRE_MM / 2
    if profile is Profile.HALF_ROUND:
        dome = np.hstack([half + half * np.cos(turn), half * np.sin(turn)])
        return np.concatenate([dome, np.hstack([WIRE_MM * sides, 0 * sides])])
    if profile is Profile.HALF_ROUND_INSIDE:
        dome = np.hstack([WIRE_MM * np.sin(turn), WIRE_MM - WIRE_MM * np.cos(turn)])
        return np.concatenate([dome, np.hstack([0 * sides, 2 * WIRE_MM * sides])])
    return half + half * np.hstack([np.cos(2 * turn), np.sin(2 * turn)])


def drawn_solid(camera: Camera, profile: Profile) -> np.ndarray:
    """Points of the solid's surface, drawn (n, 2)."""
    across = section_points(profile)
    around = np.linspace(0.0, 2 * np.pi, AROUND, endpoint=False)[:, None]
    reach = ID_MM / 2 + across[:, 0]
    surface = [reach * np.cos(around), reach * np.sin(around), across[:, 1] + 0 * around]
    return camera.project(np.stack(surface, axis=-1)).reshape(-1, 2)


def nearest(points: np.ndarray, middle: np.ndarray, bins: int) -> np.ndarray:
    """Least distance from the middle in each of `bins` directions."""
    apart = points - middle
    turns = np.arctan2(apart[:, 1], apart[:, 0]) / (2 * np.pi)
    place = np.floor(turns * bins).astype(int) % bins
    least = np.full(bins, np.inf)
    np.minimum.at(least, place, np.hypot(*apart.T))
    return least


@pytest.mark.parametrize("profile", list(Profile))
@pytest.mark.parametrize("height_mm", [100.0, 250.0])
@pytest.mark.parametrize("aside_deg", [0.0, 12.0, 25.0])
def test_outlines_bound_the_solid(profile: Profile, height_mm: float, aside_deg: float) -> None:
    camera = camera_at(height_mm, aside_deg)
    ring = torus(0.0, 0.0, ID_MM, WIRE_MM)[None]
    inner, outer = (
        edge[0] for edge in outlines(camera, ring, ring_angles(7200), SECTIONS[profile])
    )
    solid = drawn_solid(camera, profile)

    directions = np.stack([np.cos(ring_angles(90)), np.sin(ring_angles(90))])
    reach = (outer @ directions).max(axis=0) - (solid @ directions).max(axis=0)
    assert np.abs(reach).max() < CLOSE_PX

    middle = inner.mean(axis=0)
    hole = nearest(inner, middle, 120) - nearest(solid, middle, 120)
    assert np.abs(hole).max() < CLOSE_PX


def test_a_flat_side_is_seen_where_handbook_geometry_puts_it() -> None:
    """From straight above, a square's hole is its lower edge, its rim the upper edge, magnified.

    ID 6, side 1.5, H 150: 3 and 4.5 * 150 / 148.5 = 4.545455 on the table (similar triangles).
    """
    inner, outer = outlines(
        camera_at(150.0, 0.0), torus(0.0, 0.0, 6.0, 1.5)[None], ring_angles(8), SQUARE
    )
    assert np.hypot(*inner[0].T) / PX_PER_MM == pytest.approx(3.0, abs=1e-12)
    assert np.hypot(*outer[0].T) / PX_PER_MM == pytest.approx(4.5 * 150 / 148.5, abs=1e-12)


@pytest.mark.parametrize("section", SECTIONS.values(), ids=lambda one: one.profile.value)
def test_outlines_of_any_section_give_the_ring_back(section: Section) -> None:
    """The ring that another camera would see is the same ring where the cameras are the same."""
    camera = camera_at(150.0, 10.0)
    ring = torus(1.0, -2.0, ID_MM, WIRE_MM)[None]
    assert rematch(ring, camera, camera, section) == pytest.approx(ring, abs=1e-6)


def test_round_wire_takes_the_same_silhouette_either_way() -> None:
    """A hull of a circle alone is the circle: both ways to its tangents agree."""
    camera, angles = camera_at(120.0, 20.0), ring_angles(64)
    ring = torus(0.0, 0.0, ID_MM, WIRE_MM)[None]
    closed = outlines(camera, ring, angles, ROUND)
    along = (camera.position[0] - ring[0, 2] * np.cos(angles)) * np.cos(angles) + (
        camera.position[1] - ring[0, 2] * np.sin(angles)
    ) * np.sin(angles)
    for edge, seen in zip(
        closed, ROUND.touched(ring[0, 3], along, camera.position[2]), strict=True
    ):
        reach = ring[0, 2] + seen[:, 0]
        place = [reach * np.cos(angles), reach * np.sin(angles), seen[:, 1]]
        assert camera.project(np.stack(place, axis=-1)) == pytest.approx(edge[0], abs=1e-9)


def test_what_is_not_round_says_what_its_numbers_mean() -> None:
    assert not ROUND.meaning
    for section in (SQUARE, HALF_ROUND, HALF_ROUND_INSIDE, TWISTED):
        assert section.meaning.startswith(section.profile.value.split("-")[0])
        assert "not seen" in section.meaning
