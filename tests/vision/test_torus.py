"""The silhouette of a torus against closed formulas and an independent sampling of its surface.

Formulas: a tube is the union of balls on its centre line, so its parallel projection is the union
of discs on the projected centre line; the tangent cone from a point on the axis touches the tube's
section in two points. Derived in plain geometry, no source needed; numbers computed with numpy.
"""

import numpy as np
import pytest

from vision.rings.fit import _jacobian, rematch
from vision.rings.section import SECTIONS, Profile
from vision.rings.torus import outlines, ring_angles, torus
from vision.scale.camera import Camera, looking_down


def straight_down(height_mm: float, *, tilt: float = 0.0, f_px: float = 3000.0) -> Camera:
    rotation = looking_down(tilt, 0.0)
    back = rotation.T @ np.array([0.0, 0.0, -height_mm])
    return Camera(rotation=rotation, position=back, f_px=f_px, cx=0.0, cy=0.0)


def radii_mm(camera: Camera, ring: np.ndarray) -> tuple[float, float]:
    inner, outer = outlines(camera, ring[None], ring_angles(64))
    return tuple(np.hypot(*camera.to_plane(edge[0]).T).mean() for edge in (inner, outer))


def test_a_camera_on_the_axis_sees_the_tangent_circles() -> None:
    """R 3, r 0.6, Z 300: 3.607258 and 2.404790 on the table's plane."""
    ring = torus(0.0, 0.0, id_mm=4.8, wire_mm=1.2)
    assert radii_mm(straight_down(300.0), ring) == pytest.approx((2.404790, 3.607258), abs=2e-6)


def test_the_nearer_camera_of_the_optics_example() -> None:
    """R 5, r 1, Z 160: 6.038 and 4.025 instead of 6 and 4."""
    ring = torus(0.0, 0.0, id_mm=8.0, wire_mm=2.0)
    assert radii_mm(straight_down(160.0), ring) == pytest.approx((4.025, 6.038), abs=1e-3)


def test_from_afar_a_tilted_torus_shows_parallel_curves() -> None:
    """R 3.1, r 0.6, tilt 30 degrees: half extents 3.7 and R cos 30 + r = 3.284679."""
    height = 1e6
    camera = straight_down(height, tilt=np.deg2rad(30.0), f_px=height)
    _, outer = outlines(camera, torus(0.0, 0.0, 5.0, 1.2)[None], ring_angles(4096))
    half = (outer[0].max(axis=0) - outer[0].min(axis=0)) / 2
    assert half == pytest.approx((3.7, 3.284679), abs=2e-4)


@pytest.mark.parametrize("tilt_deg", [0.0, 5.0, 12.0])
@pytest.mark.parametrize("place", [(0.0, 0.0), (40.0, -25.0)])
def test_the_outline_bounds_the_sampled_surface(tilt_deg: float, place: tuple) -> None:
    """No surface point is drawn outside the outer outline, and some come up to it."""
    camera = straight_down(150.0, tilt=np.deg2rad(tilt_deg))
    ring = torus(*place, id_mm=6.0, wire_mm=1.5)
    around, across = np.meshgrid(ring_angles(720), ring_angles(360))
    reach = ring[2] + ring[3] * np.cos(across)
    surface = np.stack(
        [
            place[0] + reach * np.cos(around),
            place[1] + reach * np.sin(around),
            ring[3] + ring[3] * np.sin(across),
        ],
        axis=-1,
    )
    drawn = camera.project(surface.reshape(-1, 3))
    _, outer = outlines(camera, ring[None], ring_angles(720))
    directions = np.stack([np.cos(ring_angles(90)), np.sin(ring_angles(90))])
    gap = (outer[0] @ directions).max(axis=0) - (drawn @ directions).max(axis=0)
    assert np.abs(gap).max() < 0.01


def test_the_same_outlines_through_another_camera_give_a_scaled_ring() -> None:
    ring = torus(3.0, -2.0, 6.0, 1.5)[None]
    near = straight_down(150.0)
    far = Camera(rotation=near.rotation, position=near.position * 1.1, f_px=3000.0, cx=0.0, cy=0.0)
    found = rematch(ring, near, far)
    assert found[0, :4] == pytest.approx(ring[0, :4] * 1.1, rel=1e-9)


@pytest.mark.parametrize("profile", Profile)
def test_outlines_move_as_a_small_change_of_each_parameter_moves_them(profile: Profile) -> None:
    """Along their normals, in wire widths; by differences of the drawn outlines themselves."""
    camera, section, angles = straight_down(200.0, tilt=0.07), SECTIONS[profile], ring_angles(8)
    ring = torus(20.0, -12.0, id_mm=7.0, wire_mm=1.4)
    ring[4:] = 0.01, -0.006
    slopes, normal, width, _ = _jacobian(camera, ring[None], angles, section)
    for parameter, step in enumerate((1e-5, 1e-5, 1e-5, 1e-5, 1e-6, 1e-6)):
        ends = []
        for sign in (1.0, -1.0):
            moved = ring.copy()
            moved[parameter] += sign * step
            ends.append(np.stack(outlines(camera, moved[None], angles, section), axis=1))
        expected = np.sum((ends[0] - ends[1]) * normal, axis=-1) / width / (2.0 * step)
        assert slopes[..., parameter] == pytest.approx(expected, abs=1e-4)
