"""Rendered pieces of wire against closed formulas of solid geometry."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scenes.catalogue import WIRES
from tests.scenes.mesh import Mesh
from tests.scenes.scene import Scene, arrange
from tests.scenes.wire import CORNER, PITCH, PlacedWire, WireShape


def volume(mesh: Mesh) -> float:
    """Of a closed mesh, by the divergence theorem; positive if its faces look outwards."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    return float(np.sum(a * np.cross(b, c)) / 6)


ROUNDED_CORNER = (1 - np.pi / 4) * CORNER**2
"""Area that a rounding of radius CORNER takes from a right corner."""
STRAND = np.pi / 16 * np.hypot(1.0, np.pi / 2 / PITCH)
"""Volume of a strand of half the width on its helix, for unit width and length."""
SECTIONS = {
    "round": np.pi / 4,
    "square": 1 - 4 * ROUNDED_CORNER,
    "half-round": np.pi / 8,
    "twisted": 2 * STRAND,
}
"""Area across for unit width, from the textbook formulas of circle, square and helix."""


@pytest.mark.parametrize("profile", list(SECTIONS))
def test_a_piece_is_as_voluminous_as_its_section_says(profile: str) -> None:
    shape = WireShape(width_mm=1.3, length_mm=27.0, profile=profile)
    # Chords of the 96-gon and of stations on a helix take up to half a percent.
    assert volume(shape.mesh()) == pytest.approx(SECTIONS[profile] * 1.3**2 * 27.0, rel=0.01)


@pytest.mark.parametrize("profile", list(SECTIONS))
def test_a_piece_is_as_wide_as_it_says_and_rests_on_the_table(profile: str) -> None:
    low, high = (
        getattr(WireShape(width_mm=0.9, length_mm=20.0, profile=profile).mesh().vertices, end)(0)
        for end in ("min", "max")
    )
    assert high[1] - low[1] == pytest.approx(0.9, abs=0.002)
    assert low[2] == pytest.approx(0.0, abs=0.005)


def test_a_bowed_piece_follows_its_circle() -> None:
    line = WireShape(width_mm=1.0, length_mm=40.0, bow_radius_mm=300.0).centre_line()
    chord = np.hypot(*(line[-1] - line[0]))
    # Chord of an arc: 2 R sin(L / 2 R).
    assert chord == pytest.approx(2 * 300.0 * np.sin(40.0 / 600.0), abs=1e-3)


def test_a_clip_has_three_straight_parts_and_a_bent_piece_two() -> None:
    clip = WireShape(width_mm=0.9, length_mm=24.0, form="clip")
    line = clip.centre_line()
    lengths = [np.hypot(*(line[last] - line[first])) for first, last in clip.straight_parts()]
    assert lengths == pytest.approx([24.0, 20.0, 15.0], abs=1e-6)
    bent = WireShape(width_mm=1.2, length_mm=20.0, form="bent")
    assert len(bent.straight_parts()) == 2


def test_a_taper_shows_in_the_mesh() -> None:
    mesh = WireShape(width_mm=1.0, length_mm=30.0, taper_mm=0.2).mesh()
    starts, ends = mesh.vertices[:, 0] < -14.9, mesh.vertices[:, 0] > 14.9
    assert np.ptp(mesh.vertices[ends, 1]) - np.ptp(mesh.vertices[starts, 1]) == pytest.approx(
        0.2, abs=0.002
    )


@pytest.mark.parametrize("scene", WIRES, ids=lambda scene: scene.name)
def test_no_piece_meets_another_piece_or_a_ring(scene: Scene) -> None:
    arranged = arrange(scene)
    lines = [(wire.centre_line(), wire.shape.width_mm / 2) for wire in arranged.wires]
    lines += [(ring.centre_line()[:, :2], ring.shape.wire_mm / 2) for ring in arranged.rings]
    for k, (one, half) in enumerate(lines):
        for other, other_half in lines[k + 1 :]:
            apart = np.hypot(*(one[:, None] - other[None]).transpose(2, 0, 1)).min()
            assert apart > half + other_half


def test_a_piece_lies_where_it_was_laid() -> None:
    wire = PlacedWire(shape=WireShape(width_mm=1.0, length_mm=20.0), material="brass")
    line = wire.at(5.0, -3.0, 90.0).centre_line()
    assert line.mean(axis=0) == pytest.approx([5.0, -3.0])
    assert np.ptp(line[:, 0]) == pytest.approx(0.0, abs=1e-9)
