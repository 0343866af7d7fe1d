"""Stray things between the rings: lint, offcuts, a nut, a bead, a screw."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from tests.scenes.mesh import Mesh, cap, grid_faces, join, tube


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Debris:
    """One stray thing in the world."""

    kind: str
    material: str
    mesh: Mesh
    x_mm: float
    y_mm: float

    @property
    def size_mm(self) -> float:
        """Largest extent on the table."""
        extent = np.ptp(self.mesh.vertices[:, :2], axis=0)
        return float(extent.max())


def make_debris(kind: str, place: tuple[float, float], rng: np.random.Generator) -> Debris:
    """Make a stray thing lying at a place."""
    material, mesh = MAKERS[kind](rng)
    turn = rng.uniform(0, 2 * np.pi)
    rotation = np.array(
        [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]]
    )
    low = mesh.vertices[:, 2].min()
    moved = mesh.moved(rotation, np.array([*place, -low]))
    return Debris(kind=kind, material=material, mesh=moved, x_mm=place[0], y_mm=place[1])


def _frames(line: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    tangent = np.gradient(line, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    side = np.cross(tangent, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    return side, np.cross(side, tangent)


def _lint(rng: np.random.Generator) -> tuple[str, Mesh]:
    """A curled thread of a few hundredths of a millimetre."""
    knots = np.cumsum(rng.normal((0.6, 0.0), 1.3, (7, 2)), axis=0)
    height = 0.03 + 0.15 * rng.uniform(size=7)
    knots -= knots.mean(axis=0)
    line = CubicSpline(np.arange(7), np.column_stack([knots, height]))(np.linspace(0, 6, 200))
    return "lint", tube(line, *_frames(line), 0.025 + 0.02 * float(rng.uniform()), 10)


def _offcut(rng: np.random.Generator) -> tuple[str, Mesh]:
    """A short piece of bent wire."""
    length, bend = rng.uniform(3, 6), rng.uniform(0.02, 0.25)
    angle = np.linspace(-length * bend / 2, length * bend / 2, 60)
    line = np.column_stack([np.sin(angle) / bend, (np.cos(angle) - 1) / bend, 0 * angle])
    return "brass", tube(line, *_frames(line), float(rng.uniform(0.4, 0.7)), 48)


def _prism(
    radius: NDArray[np.float64], turn: NDArray[np.float64], hole: float, height: float
) -> Mesh:
    """A prism with a round hole, outline given in polar form, edges kept sharp."""
    outer = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    inner = hole * np.column_stack([np.cos(turn), np.sin(turn)])
    path = [(outer, 0.0), (outer, height), (inner, height), (inner, 0.0)]
    parts = []
    for (line_a, z_a), (line_b, z_b) in pairwise(path):
        rows = np.stack(
            [np.column_stack([line_a, 0 * turn + z_a]), np.column_stack([line_b, 0 * turn + z_b])]
        )
        # Every quad keeps its own corners, so its normal is flat.
        for k in range(len(turn) - 1):
            quad = np.array([rows[0, k], rows[0, k + 1], rows[1, k + 1], rows[1, k]])
            normal = np.cross(quad[1] - quad[0], quad[3] - quad[0])
            normal /= np.linalg.norm(normal)
            faces = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32)
            parts.append(Mesh(quad, np.tile(normal, (4, 1)), quad[:, :2].copy(), faces))
    return join(parts)


def _nut(rng: np.random.Generator) -> tuple[str, Mesh]:
    """A hexagon nut M3: 5.5 mm across flats, 2.4 mm high (ISO 4032)."""
    turn = np.linspace(0, 2 * np.pi, 121)
    sector = np.mod(turn, np.pi / 3) - np.pi / 6
    return "zinc_steel", _prism(2.75 / np.cos(sector), turn, 1.35, 2.4)


def _screw(rng: np.random.Generator) -> tuple[str, Mesh]:
    """A small screw lying on its side: shank and head."""
    body = [(0.0, 1.0), (7.0, 1.0), (7.01, 1.9), (8.6, 1.9)]
    parts = []
    for (x_a, r_a), (x_b, r_b) in zip(body[:-1:2], body[1::2], strict=True):
        line = np.column_stack([np.linspace(x_a, x_b, 50) - 4.0, np.zeros(50), np.zeros(50)])
        radius = min(r_a, r_b)
        side, up = _frames(line)
        if radius < 1.5:  # thread
            wave = radius - 0.18 * (0.5 + 0.5 * np.cos(2 * np.pi * np.linspace(0, 14, 400)))
            parts.append(_turned(np.linspace(x_a - 4, x_b - 4, 400), wave))
        else:
            parts.append(tube(line, side, up, radius, 64))
    return "zinc_steel", join(parts)


def _turned(x: NDArray[np.float64], radius: NDArray[np.float64]) -> Mesh:
    """A solid turned about the x axis, with a flat end."""
    turn = np.linspace(0, 2 * np.pi, 65)
    slope = np.gradient(radius, x)
    vertices = np.stack(
        np.broadcast_arrays(
            x[:, None], radius[:, None] * np.cos(turn), radius[:, None] * np.sin(turn)
        ),
        axis=-1,
    )
    normals = np.stack(np.broadcast_arrays(-slope[:, None], np.cos(turn), np.sin(turn)), axis=-1)
    normals = normals / np.linalg.norm(normals, axis=-1, keepdims=True)
    flat = vertices.reshape(-1, 3)
    wall = Mesh(flat, normals.reshape(-1, 3), flat[:, :2].copy(), grid_faces(len(x), len(turn)))
    return join([wall, cap(vertices[0], np.array([-1.0, 0, 0]))])


def _bead(rng: np.random.Generator) -> tuple[str, Mesh]:
    """A glossy ball."""
    radius = float(rng.uniform(1.5, 2.2))
    polar = np.linspace(0, np.pi, 49)
    turn = np.linspace(0, 2 * np.pi, 97)
    p, t = np.meshgrid(polar, turn, indexing="ij")
    normals = np.stack([np.sin(p) * np.cos(t), np.sin(p) * np.sin(t), np.cos(p)], axis=-1)
    flat = normals.reshape(-1, 3)
    return "bead", Mesh(radius * flat, flat, flat[:, :2].copy(), grid_faces(49, 97))


MAKERS = {"lint": _lint, "offcut": _offcut, "nut": _nut, "screw": _screw, "bead": _bead}
