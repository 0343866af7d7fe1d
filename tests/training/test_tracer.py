"""The tracer's silhouettes against closed forms: OPTICS of a torus, contour of a bent wire."""

import shutil

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from tests.training.layout import ROOM_H, ROOM_W
from tests.training.scenes import KINDS, draw_scene
from tests.training.silhouette import VERTICES, outlines, project
from tests.training.tracer import trace_cpu
from vision.rings.torus import outlines as flat_outlines
from vision.scale.camera import Camera

EDGE_TOLERANCE_PX = 0.05
"""Largest mean, and 95th percentile, of the distance between rendered and computed outline."""

pytestmark = pytest.mark.skipif(shutil.which("g++") is None, reason="needs g++")


def black_on_light(index, *, flat, wires=False):
    """Scene `index` as a black ring on a glowing table: pixel value = uncovered area."""
    s, _, truth = draw_scene(5, index, wires=wires)
    s["solids"], s["lights"], s["phone_on"], s["bounces"] = 1, 0, 0, 1
    s["albedo"] = s["albedo2"] = 0
    s["glow"], s["table_f0"], s["line_step"], s["glyph_size"] = 1, 0, 0, 0
    s["sheet_half_x"] = s["sheet_half_y"] = 1e4
    s["paths"] = s["paths_far"] = 144
    if flat:
        o = s["solid"][0]
        for name in [
            "step_r",
            "step_z",
            "gap_half",
            "burr",
            "oval_cos",
            "oval_sin",
            "wedge_r",
            "wedge_z",
        ]:
            o[name] = 0
        o["axes"], o["centre"], o["plain"] = np.eye(3).ravel(), (0, 0, o["tube"]), 1
        o["reach_z"] = o["tube"] + 1e-3
    return s, truth


def edge_offsets(crop, inner, outer):
    """Signed offsets (px) of the half-level crossing from each outline, along the rays."""
    ray = outer - inner
    length = np.linalg.norm(ray, axis=-1, keepdims=True)
    way = ray / length
    steps = np.linspace(-2.5, 2.5, 201)
    found = []
    for edge, sign in ((inner, -1), (outer, 1)):
        points = edge[:, None] + steps[None, :, None] * way[:, None] * sign
        values = map_coordinates(crop[..., 1], [points[..., 1], points[..., 0]], order=1)
        # the area of light in the window gives the position without a threshold
        found.append((np.clip(values, 0, 1).mean(1) - 0.5) * -(steps[-1] - steps[0]))
    return np.array(found)


@pytest.mark.parametrize("flat", [True, False])
def test_a_black_ring_on_a_light_table_covers_what_the_closed_form_says(flat):
    scenes, truths = zip(
        *[p for p in (black_on_light(k, flat=flat) for k in range(40))
          if 96 < p[0]["size"] < 260 and p[1]["kind"] == 0 and p[1]["section"] == 0
          and p[1]["wire_px"] > 12][:6],
        strict=True,
    )  # fmt: skip
    crops = trace_cpu(np.stack(scenes), np.zeros((6, ROOM_H, ROOM_W, 3), np.float32))
    angles = np.arange(VERTICES) * 2 * np.pi / VERTICES
    for s, truth, crop in zip(scenes, truths, crops, strict=True):
        if not flat:
            inner, outer = truth["outline"].astype(float)
        else:
            inner, outer = project(
                truth["matrix"], np.stack(outlines(s["solid"][0], s["camera"], angles))
            )
        phi = np.angle(np.exp(1j * (angles - truth["gap"][0])))
        clear = np.abs(phi) > (
            0 if flat else truth["gap"][1] + 2.5 * s["solid"][0]["tube"] / s["solid"][0]["radius"]
        )
        offsets = edge_offsets(crop, inner, outer)[:, clear]
        assert np.abs(offsets.mean(1)).max() < EDGE_TOLERANCE_PX
        assert np.percentile(np.abs(offsets), 95) < 3 * EDGE_TOLERANCE_PX


@pytest.mark.parametrize(("kind", "sections"), [("wire", {0}), ("ring", {1, 2, 3})])
def test_black_pieces_and_other_profiles_cover_what_the_closed_form_says(kind, sections):
    picked = []
    for index in range(2000):
        _, _, truth = draw_scene(5, index, wires=kind == "wire")
        wanted = KINDS[truth["kind"]] == kind and int(truth["section"]) in sections
        wanted &= np.hypot(*truth["camera"][:2]) < 0.2 * truth["camera"][2]
        if wanted and 96 < truth["size"] < 260 and truth["wire_px"] > 12:
            picked.append(black_on_light(index, flat=False, wires=kind == "wire"))
        if len(picked) == 5:
            break
    scenes, truths = zip(*picked, strict=True)
    crops = trace_cpu(np.stack(scenes), np.zeros((5, ROOM_H, ROOM_W, 3), np.float32))
    for s, truth, crop in zip(scenes, truths, crops, strict=True):
        inner, outer = truth["outline"].astype(float)
        clear = np.zeros(VERTICES, bool)
        clear[VERTICES // 4 : 3 * VERTICES // 4] = True  # what is read of a piece
        phi = np.angle(np.exp(1j * (np.arange(VERTICES) * 2 * np.pi / VERTICES - truth["gap"][0])))
        if kind == "ring":
            solid = s["solid"][0]
            clear = np.abs(phi) > truth["gap"][1] + 2.5 * solid["tube"] / solid["radius"]
        else:
            clear &= np.abs(phi) > truth["gap"][1] + 0.15  # slanted and pinched ends fall short
        offsets = edge_offsets(crop, inner, outer)[:, clear]
        # edges of square wire are a little rounded, and where one edge takes over from another the
        # two closed outlines cross
        assert np.abs(np.median(offsets, axis=1)).max() < EDGE_TOLERANCE_PX
        assert np.percentile(np.abs(offsets), 80) < 3 * EDGE_TOLERANCE_PX


def test_a_piece_ends_where_its_labels_do():
    picked = []
    for index in range(400):
        _, _, truth = draw_scene(5, index, wires=True)
        if truth["gap"][1] > 0 and truth["section"] == 0 and 96 < truth["size"] < 260:
            picked.append(black_on_light(index, flat=False, wires=True))
        if len(picked) == 6:
            break
    scenes, truths = zip(*picked, strict=True)
    for s in scenes:
        for name in ("slant_r", "slant_z", "wedge_r", "wedge_z"):
            s["solid"][0][name] = 0.0
    crops = trace_cpu(np.stack(scenes), np.zeros((6, ROOM_H, ROOM_W, 3), np.float32))
    for truth, crop in zip(truths, crops, strict=True):
        turn = np.arange(VERTICES) * 2 * np.pi / VERTICES
        middle = truth["outline"].astype(float).mean(axis=0)
        light = map_coordinates(crop[..., 1], [middle[:, 1], middle[:, 0]], order=1)
        read = np.abs(turn - np.pi) < 0.5 * np.pi
        length = np.hypot(*np.diff(middle[read], axis=0).T).sum()
        margin = np.pi * 0.8 * truth["wire_px"] / length  # seen aslant, the cut itself shows
        inside = np.abs(np.angle(np.exp(1j * (turn - truth["gap"][0])))) < truth["gap"][1]
        near = np.abs(np.abs(np.angle(np.exp(1j * (turn - truth["gap"][0])))) - truth["gap"][1])
        assert (light[read & inside & (near > margin)] > 0.9).all()
        assert (light[read & ~inside & (near > margin)] < 0.1).all()
        assert 2 < np.count_nonzero(read & inside) < np.count_nonzero(read)


def test_outlines_of_a_flat_ring_are_those_of_the_product():
    s, truth = black_on_light(3, flat=True)
    angles = np.arange(24) * 0.26
    ours = project(truth["matrix"], np.stack(outlines(s["solid"][0], s["camera"], angles)))
    k = truth["matrix"][:, :3]
    # K R from the matrix: with R orthonormal, K follows from the rows
    rows = np.linalg.norm(k[2])
    m = k / rows
    cx, cy = m[0] @ m[2], m[1] @ m[2]
    f = float(np.sqrt(m[0] @ m[0] - cx**2))
    rotation = np.stack([(m[0] - cx * m[2]) / f, (m[1] - cy * m[2]) / f, m[2]])
    camera = Camera(rotation=rotation, position=truth["camera"], f_px=f, cx=float(cx), cy=float(cy))
    o = s["solid"][0]
    torus = np.array([[0, 0, o["radius"], o["tube"], 0, 0]], float)
    theirs = np.concatenate(flat_outlines(camera, torus, angles))
    np.testing.assert_allclose(ours, theirs, atol=1e-3)
