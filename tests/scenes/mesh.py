"""Triangle meshes: building blocks, joining, and the PLY file a renderer reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

VERTEX_FIELDS = ("x", "y", "z", "nx", "ny", "nz", "u", "v")


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles in millimetres, with smooth normals and surface coordinates."""

    vertices: NDArray[np.float64]
    """(n, 3)"""
    normals: NDArray[np.float64]
    """(n, 3), unit, outwards"""
    uv: NDArray[np.float64]
    """(n, 2); u runs along a wire, so that drawing marks can follow it."""
    faces: NDArray[np.int32]
    """(m, 3), anticlockwise seen from outside"""

    def moved(self, rotation: NDArray[np.float64], shift: NDArray[np.float64]) -> Mesh:
        """Turn, then shift."""
        return Mesh(
            self.vertices @ rotation.T + shift, self.normals @ rotation.T, self.uv, self.faces
        )


def join(meshes: Sequence[Mesh]) -> Mesh:
    """Make one mesh of several."""
    starts = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes[:-1]])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.normals for mesh in meshes]),
        np.concatenate([mesh.uv for mesh in meshes]),
        np.concatenate([mesh.faces + s for mesh, s in zip(meshes, starts, strict=True)]),
    )


def grid_faces(rows: int, columns: int, *, wrap: bool = False) -> NDArray[np.int32]:
    """Triangulate a (rows, columns) grid of vertices; `wrap` closes the columns.

    Anticlockwise where (rows x columns) is the outward direction.
    """
    row, column = np.meshgrid(
        np.arange(rows - 1), np.arange(columns if wrap else columns - 1), indexing="ij"
    )
    after = (column + 1) % columns
    a, b = row * columns + column, (row + 1) * columns + column
    c, d = (row + 1) * columns + after, row * columns + after
    quads = np.stack([a, b, c, a, c, d], axis=-1).reshape(-1, 3)
    return quads.astype(np.int32)


def tube(
    line: NDArray[np.float64],
    side: NDArray[np.float64],
    up: NDArray[np.float64],
    radius: float,
    around: int = 96,
) -> Mesh:
    """Sweep a round wire along a centre line (n, 3) with its cross axes (n, 3), flat cut ends."""
    angle = np.linspace(0, 2 * np.pi, around + 1)
    out = (
        np.cos(angle)[None, :, None] * side[:, None, :]
        + np.sin(angle)[None, :, None] * up[:, None, :]
    )
    skin = line[:, None, :] + radius * out
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    uv = np.stack(np.broadcast_arrays(length[:, None], angle[None, :] * radius), axis=-1)
    wall = Mesh(
        skin.reshape(-1, 3),
        out.reshape(-1, 3),
        uv.reshape(-1, 2),
        grid_faces(len(line), around + 1),
    )
    first, last = line[0] - line[1], line[-1] - line[-2]
    return join([wall, cap(skin[0], first), cap(skin[-1], last)])


def cap(rim: NDArray[np.float64], outward: NDArray[np.float64]) -> Mesh:
    """Close a flat, star-shaped rim (n, 3), facing `outward`."""
    centre = rim[:-1].mean(axis=0)
    normal = np.cross(rim[0] - centre, rim[len(rim) // 4] - centre)
    normal /= np.linalg.norm(normal)
    count = len(rim)
    faces = np.column_stack(
        [np.full(count - 1, count), np.arange(count - 1), np.arange(1, count)]
    ).astype(np.int32)
    if normal @ outward < 0:
        normal, faces = -normal, faces[:, ::-1]
    vertices = np.vstack([rim, centre])
    return Mesh(vertices, np.tile(normal, (count + 1, 1)), vertices[:, :2].copy(), faces)


def box(low: NDArray[np.float64], high: NDArray[np.float64]) -> Mesh:
    """Make a box with flat faces from two opposite corners."""
    sides = []
    for axis in range(3):
        for end, sign in ((low, -1.0), (high, 1.0)):
            first, second = (axis + 1) % 3, (axis + 2) % 3
            corners = np.tile(end, (5, 1)).astype(np.float64)
            corners[:, first] = [low[first], high[first], high[first], low[first], low[first]]
            corners[:, second] = [low[second], low[second], high[second], high[second], low[second]]
            outward = np.zeros(3)
            outward[axis] = sign
            sides.append(cap(corners, outward))
    return join(sides)


def write_ply(mesh: Mesh, path: Path) -> None:
    """Write a binary PLY file with normals and surface coordinates."""
    header = ["ply", "format binary_little_endian 1.0", f"element vertex {len(mesh.vertices)}"]
    header += [f"property float {name}" for name in VERTEX_FIELDS]
    header += [f"element face {len(mesh.faces)}", "property list uchar int vertex_indices"]
    rows = np.empty(len(mesh.faces), dtype=[("count", "u1"), ("index", "<i4", 3)])
    rows["count"], rows["index"] = 3, mesh.faces
    vertices = np.hstack([mesh.vertices, mesh.normals, mesh.uv]).astype("<f4")
    with path.open("wb") as file:
        file.write(("\n".join([*header, "end_header"]) + "\n").encode("ascii"))
        file.write(vertices.tobytes())
        file.write(rows.tobytes())
