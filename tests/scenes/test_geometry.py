"""Shapes, projection and truth of the rendered scenes, without a renderer."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from tests.scenes.camera import Camera, distort, place_camera, undistort
from tests.scenes.catalogue import SAMPLES, TURNED, VALIDATION
from tests.scenes.coin import COINS, PlacedCoin
from tests.scenes.debris import MAKERS, make_debris
from tests.scenes.mesh import Mesh
from tests.scenes.phone import Phone, demosaic, expose, tone
from tests.scenes.ring import PlacedRing, RingShape, lay, lean_on, pose_of
from tests.scenes.scene import Scene, arrange
from tests.scenes.truth import write_truth

FACET_TOLERANCE_MM = 0.001
SCENES = {scene.name: scene for scene in SAMPLES + VALIDATION}


def volume(mesh: Mesh) -> float:
    """Volume inside a closed mesh, by the divergence theorem; negative if turned inside out."""
    a, b, c = (mesh.vertices[mesh.faces[:, corner]] for corner in range(3))
    return float(np.sum(np.cross(a, b) * c) / 6)


def place(shape: RingShape, pose: NDArray[np.float64], x_mm: float, y_mm: float) -> PlacedRing:
    loose = PlacedRing(
        shape=shape,
        material="matt_black",
        group="",
        id_nominal_mm=shape.id_mm,
        wire_nominal_mm=shape.wire_mm,
        pose=pose,
        centre_mm=np.zeros(3),
    )
    return lay(loose, x_mm=x_mm, y_mm=y_mm, pose=pose)


def high_camera(distance_mm: float = 160.0) -> Camera:
    return place_camera(width=4032, height=3024, f35_true=26.0, distance_mm=distance_mm)


def test_a_closed_ring_has_the_volume_of_its_torus() -> None:
    # Pappus: cross-section times the way of its centre. The polygon of 96 sides loses
    # (2 pi / 96)^2 / 6 = 0.07 % of the section.
    mesh = RingShape(wire_mm=1.2, id_mm=8.0).mesh()
    assert volume(mesh) == pytest.approx(2 * np.pi * 4.6 * np.pi * 0.6**2, rel=1e-3)


def test_a_cut_ring_lacks_its_kerf_and_stays_closed() -> None:
    whole, cut = RingShape(wire_mm=1.2, id_mm=8.0), RingShape(wire_mm=1.2, id_mm=8.0, gap_mm=0.4)
    missing = volume(whole.mesh()) - volume(cut.mesh())
    assert missing == pytest.approx(0.4 * np.pi * 0.6**2, rel=0.02)


def test_mesh_diameters_are_the_stated_ones() -> None:
    shape = RingShape(wire_mm=1.6, id_mm=10.0, ovality=0.01, oval_direction_deg=90.0)
    radius = np.hypot(*shape.mesh().vertices[:, :2].T)
    # Stated: mean inside diameter 10, largest - smallest = 1 % of it.
    assert 2 * radius.max() == pytest.approx(10.05 + 3.2, abs=2 * FACET_TOLERANCE_MM)
    assert 2 * radius.min() == pytest.approx(9.95, abs=2 * FACET_TOLERANCE_MM)
    assert np.ptp(shape.mesh().vertices[:, 2]) == pytest.approx(1.6, abs=FACET_TOLERANCE_MM)


def test_the_cut_faces_are_flat_parallel_and_as_far_apart_as_stated() -> None:
    shape = RingShape(wire_mm=1.2, id_mm=6.0, gap_mm=0.3, end_radial_mm=0.08, end_axial_mm=0.05)
    mesh = shape.mesh()
    near = mesh.vertices[(mesh.vertices[:, 0] > 0) & (np.abs(mesh.vertices[:, 1]) < 0.1501)]
    above, below = near[near[:, 1] > 0], near[near[:, 1] < 0]
    np.testing.assert_allclose(above[:, 1], 0.15, atol=1e-9)
    np.testing.assert_allclose(below[:, 1], -0.15, atol=1e-9)
    middle_above, middle_below = (
        (part.max(axis=0) + part.min(axis=0)) / 2 for part in (above, below)
    )
    # The wire winds up and outwards evenly: one end is higher and farther out than the other.
    np.testing.assert_allclose(
        middle_below - middle_above, [0.08, -0.3, 0.05], atol=2 * FACET_TOLERANCE_MM
    )


@pytest.mark.parametrize("tilt_deg", [0.0, 0.5, 2.0, 45.0, 86.0])
def test_a_laid_ring_touches_the_table_and_does_not_sink_in(tilt_deg: float) -> None:
    shape = RingShape(wire_mm=1.2, id_mm=8.0, ovality=0.01, gap_mm=0.2, end_axial_mm=0.05)
    ring = place(shape, pose_of(70.0, tilt_deg, 200.0), 3.0, -2.0)
    assert ring.mesh().vertices[:, 2].min() == pytest.approx(0, abs=2 * FACET_TOLERANCE_MM)
    assert ring.tilt_deg == pytest.approx(tilt_deg, abs=1e-6)


def test_an_upper_ring_rests_on_the_lower_wire_and_on_the_table() -> None:
    flat = pose_of(0.0, 0.0, 0.0)
    lower = place(RingShape(wire_mm=1.6, id_mm=8.0), flat, 0.0, 0.0)
    loose = place(RingShape(wire_mm=1.2, id_mm=6.0), flat, 0.0, 0.0)
    upper, _ = lean_on(loose, lower, direction_deg=30.0, distance_mm=6.0)
    near = cKDTree(lower.centre_line(7201)).query(upper.centre_line(7201))[0].min()
    assert near == pytest.approx(1.4, abs=0.005)
    assert upper.mesh().vertices[:, 2].min() == pytest.approx(0, abs=2 * FACET_TOLERANCE_MM)


def test_the_outline_of_a_lying_ring_straight_below_follows_the_tangent_formula() -> None:
    # Tangents from a camera at height Z to a tube of radius r around a circle of radius Rc at
    # height r: D = hypot(Rc, Z - r), phi = atan(Rc / (Z - r)), delta = asin(r / D), drawn at
    # f tan(phi +- delta). For Z = 160, Rc = 5, r = 1 the radii on the table are 6.038 and 4.025.
    camera = high_camera(160.0)
    ring = place(RingShape(wire_mm=2.0, id_mm=8.0), pose_of(0.0, 0.0, 0.0), 0.0, 0.0)
    outer, inner = ring.outlines(camera)
    on_table = np.hypot(*(outer - (camera.cx, camera.cy)).T) / camera.f_px * 160.0
    np.testing.assert_allclose(on_table, 6.038, atol=0.0005)
    on_table = np.hypot(*(inner - (camera.cx, camera.cy)).T) / camera.f_px * 160.0
    np.testing.assert_allclose(on_table, 4.025, atol=0.0005)


@pytest.mark.parametrize("k1", [0.0, 0.01])
def test_the_outline_bounds_the_projected_mesh(k1: float) -> None:
    # Independent of the tangency formula: the farthest mesh vertex in every direction.
    camera = dataclasses.replace(high_camera(120.0), k1=k1)
    shape = RingShape(wire_mm=1.6, id_mm=9.0, ovality=0.01)
    ring = place(shape, pose_of(10.0, 1.5, 60.0), 22.0, 14.0)
    outer, inner = ring.outlines(camera)
    seen = camera.project(ring.mesh().vertices)
    centre = camera.project(ring.centre_mm[None])[0]
    for direction in np.radians(np.arange(0, 360, 15)):
        ray = np.array([np.cos(direction), np.sin(direction)])
        assert ((seen - centre) @ ray).max() == pytest.approx(
            ((outer - centre) @ ray).max(), abs=0.03
        )
    # No vertex is drawn inside the hole.
    hole = np.unwrap(np.arctan2(*(inner - centre).T[::-1]))
    order = np.argsort(np.mod(hole, 2 * np.pi))
    angle = np.mod(np.arctan2(*(seen - centre).T[::-1]), 2 * np.pi)
    edge = np.interp(
        angle,
        np.mod(hole, 2 * np.pi)[order],
        np.hypot(*(inner - centre).T)[order],
        period=2 * np.pi,
    )
    assert (np.hypot(*(seen - centre).T) - edge).min() == pytest.approx(0, abs=0.03)


def test_projection_follows_the_published_distortion_example() -> None:
    # OpenCV's radial model, worked for k1 = 0.1, k2 = -0.05 at (0.2, 0.1):
    # r2 = 0.05, factor = 1 + 0.005 - 0.000125 = 1.004875.
    drawn = distort(np.array([[0.2, 0.1]]), 0.1, -0.05)
    np.testing.assert_allclose(drawn, [[0.200975, 0.1004875]], rtol=1e-12)


def test_undistort_inverts_distort() -> None:
    ideal = np.random.default_rng(3).uniform(-0.7, 0.7, (200, 2))
    back = undistort(distort(ideal, 0.02, -0.01), 0.02, -0.01)
    np.testing.assert_allclose(back, ideal, atol=1e-10)


def test_a_camera_looks_where_it_is_told() -> None:
    camera = place_camera(
        width=4032,
        height=3024,
        f35_true=26.0,
        distance_mm=150.0,
        tilt_deg=5.0,
        tilt_azimuth_deg=40.0,
        roll_deg=7.0,
        aim_mm=(4.0, -3.0),
    )
    np.testing.assert_allclose(camera.rotation @ camera.rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(camera.rotation) == pytest.approx(1.0)
    np.testing.assert_allclose(
        camera.project(np.array([[4.0, -3.0, 0.0]])), [[camera.cx, camera.cy]], atol=1e-9
    )
    # Tilted towards azimuth 40 degrees: the camera stands out that way by sin(5) of its distance.
    lean = camera.position[:2] - (4.0, -3.0)
    assert np.hypot(*lean) == pytest.approx(150 * np.sin(np.radians(5)))
    assert np.degrees(np.arctan2(lean[1], lean[0])) == pytest.approx(40.0)
    pixels = np.array([[100.0, 200.0], [3900.0, 2800.0]])
    np.testing.assert_allclose(camera.project(camera.on_plane(pixels)), pixels, atol=1e-6)


def test_focal_length_in_pixels_is_defined_on_the_diagonal() -> None:
    # CIPA DCG-001: 26 mm on a 4:3 sensor sees 67.30 x 49.74 (28 mm: 63.44) degrees; handbook
    # values for 26 mm, horizontal, on the equal diagonal.
    camera = high_camera()
    seen = 2 * np.degrees(np.arctan(camera.width / 2 / camera.f_px))
    assert seen == pytest.approx(67.30, abs=0.005)


@pytest.mark.parametrize("kind", COINS)
def test_a_coin_has_its_published_size(kind: str) -> None:
    meshes = PlacedCoin(kind=kind, x_mm=0.0, y_mm=0.0, turn_deg=0.0).meshes().values()
    vertices = np.concatenate([mesh.vertices for mesh in meshes])
    radius = np.hypot(*vertices[:, :2].T)
    assert 2 * radius.max() == pytest.approx(COINS[kind].diameter_mm, abs=1e-6)
    assert vertices[:, 2].max() == pytest.approx(COINS[kind].thickness_mm, abs=1e-6)
    assert vertices[:, 2].min() == pytest.approx(0.0, abs=1e-9)
    if COINS[kind].hole_mm:
        assert 2 * radius.min() == pytest.approx(COINS[kind].hole_mm, abs=1e-6)


def test_coin_sizes_are_those_of_the_mints() -> None:
    # Council Regulation (EU) 729/2014; US Mint specifications; Royal Mint; Japan Mint.
    sizes = {name: COINS[name].diameter_mm for name in ("eur-1", "usd-0.25", "gbp-0.01", "jpy-5")}
    assert sizes == {"eur-1": 23.25, "usd-0.25": 24.26, "gbp-0.01": 20.3, "jpy-5": 22.0}


@pytest.mark.parametrize("kind", MAKERS)
def test_debris_lies_on_the_table(kind: str) -> None:
    thing = make_debris(kind, (5.0, 6.0), np.random.default_rng(4))
    assert thing.mesh.vertices[:, 2].min() == pytest.approx(0.0, abs=1e-9)
    lengths = np.linalg.norm(thing.mesh.normals, axis=1)
    np.testing.assert_allclose(lengths, 1.0, atol=1e-9)


@pytest.mark.parametrize("name", ["bronze-handful", "mixed-difficult", "silver-on-wood"])
def test_truth_agrees_with_its_own_camera(name: str) -> None:
    truth = json.loads(json.dumps(write_truth(arrange(SCENES[name]))))
    rotation, position = np.array(truth["camera"]["R"]), np.array(truth["camera"]["position"])
    for thing in truth["rings"] + truth["coins"]:
        # The convention in words: X_cam = R (X - position), xd = xu (1 + k1 r2 + k2 r4).
        x, y, z = rotation @ (np.array(thing["centre_mm"]) - position)
        r2 = (x / z) ** 2 + (y / z) ** 2
        bend = 1 + truth["camera"]["k1"] * r2 + truth["camera"]["k2"] * r2**2
        pixel = np.array([x / z, y / z]) * bend * truth["camera"]["f_px"]
        pixel += truth["camera"]["cx"], truth["camera"]["cy"]
        np.testing.assert_allclose(pixel, thing["centre_px"], atol=0.01)
        shown = thing["centre_px_display"]
        if truth["orientation"] == 6:  # EXIF 6: turn a quarter clockwise to see it upright
            assert shown == pytest.approx([truth["height"] - 1 - pixel[1], pixel[0]], abs=0.01)
        else:
            assert shown == thing["centre_px"]


def test_lying_rings_keep_clear_of_each_other_and_of_the_frame() -> None:
    for scene in SAMPLES + VALIDATION + TURNED:
        arranged = arrange(scene)
        free = [ring for ring in arranged.rings if ring.measurable]
        for number, ring in enumerate(free):
            drawn, _ = ring.outlines(arranged.camera, 91)
            assert drawn.min() > 0, scene.name
            assert np.all(drawn < (arranged.camera.width, arranged.camera.height)), scene.name
            for other in free[:number]:
                apart = np.hypot(*(ring.centre_mm - other.centre_mm)[:2])
                assert apart > ring.reach_mm + other.reach_mm, scene.name


@pytest.mark.parametrize("scene", [scene for scene in TURNED if scene.before], ids=lambda s: s.name)
def test_a_photo_taken_again_shows_the_same_rings_on_the_turned_table(scene: Scene) -> None:
    assert scene.before is not None
    then, now = (write_truth(arrange(each)) for each in (scene.before, scene))
    turn = np.exp(1j * np.radians(now["same_rings"]["turned_deg"]))
    moved = now["same_rings"]["moved"]
    for kind in ("rings", "coins"):
        for old, new in zip(then[kind], now[kind], strict=True):
            place = complex(*old["centre_mm"][:2]) * turn
            apart = abs(place - complex(*new["centre_mm"][:2]))
            assert (apart > 5.0) if old.get("id") in moved else (apart < 1e-4)
            if kind == "rings":
                same = ("id", "wire_mm", "id_mm", "gap_mm", "material")
                assert [old[key] for key in same] == [new[key] for key in same]
                assert new["measurable"]
    assert now["same_rings"]["before"] == then["name"]
    if now["sheet"]:
        assert now["sheet"]["print_scale"] == then["sheet"]["print_scale"]
        after = np.exp(1j * np.radians(now["sheet"]["turn_deg"] - then["sheet"]["turn_deg"]))
        assert after == pytest.approx(turn)


def test_touching_rings_touch() -> None:
    rings = [ring for ring in arrange(SCENES["v12-overlapping-heap"]).rings if ring.touching]
    assert len(rings) == 6
    for one, two in zip(rings[::2], rings[1::2], strict=True):
        apart = cKDTree(one.centre_line(7201)).query(two.centre_line(7201))[0].min()
        wires = (one.shape.wire_mm + two.shape.wire_mm) / 2
        assert apart == pytest.approx(wires, abs=0.01)


def test_rings_marked_as_cut_cross_the_frame() -> None:
    arranged = arrange(SCENES["v12-overlapping-heap"])
    cut = [ring for ring in arranged.rings if ring.partly_out_of_frame]
    assert len(cut) == 3
    for ring in cut:
        drawn, _ = ring.outlines(arranged.camera)
        size = (arranged.camera.width - 1, arranged.camera.height - 1)
        inside = np.all((drawn >= 0) & (drawn <= size), axis=1)
        assert 0 < inside.mean() < 1


def test_the_same_scene_is_always_the_same() -> None:
    scene = SCENES["bronze-handful"]
    assert write_truth(arrange(scene)) == write_truth(arrange(scene))
    other: Scene = dataclasses.replace(scene, seed=scene.seed + 1)
    assert write_truth(arrange(other))["rings"] != write_truth(arrange(scene))["rings"]


def test_a_smaller_picture_shows_the_same_scene() -> None:
    full, small = (arrange(SCENES["bronze-handful"], scale) for scale in (1.0, 0.25))
    point = full.rings[0].centre_mm[None]
    at_full, at_small = full.camera.project(point), small.camera.project(point)
    # Pixel centres are integers: a quarter of the size maps x + 0.5 to a quarter of it.
    np.testing.assert_allclose((at_full + 0.5) / 4, at_small + 0.5, atol=1e-9)


def test_flat_grey_passes_the_sensor_unchanged() -> None:
    raw = np.full((12, 16), 0.37, dtype=np.float32)
    np.testing.assert_allclose(demosaic(raw), 0.37, atol=1e-6)


def test_demosaicing_keeps_a_grey_ramp() -> None:
    # The filters reproduce linear ramps exactly away from the borders.
    ramp = np.tile(np.linspace(0.1, 0.9, 32, dtype=np.float32), (24, 1))
    np.testing.assert_allclose(demosaic(ramp)[4:-4, 4:-4, 1], ramp[4:-4, 4:-4], atol=1e-5)


@pytest.mark.parametrize("contrast", [0.0, 0.4])
def test_exposure_brings_the_surface_to_the_wanted_code(contrast: float) -> None:
    phone = Phone(exposure=205, contrast=contrast)
    light = np.full((64, 64, 3), 3.3, dtype=np.float32)
    code = tone(light * expose(light, phone), contrast)
    assert 255 * float(code.mean()) == pytest.approx(205, abs=0.1)
