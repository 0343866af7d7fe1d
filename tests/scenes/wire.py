"""Straight and bent pieces of wire: their exact shape, how they lie, their mesh and their truth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tests.scenes.mesh import Mesh, cap, grid_faces, join, tube

Array = NDArray[np.float64]

STEP_MM = 0.25
"""Between stations along the wire."""
FACETS_AROUND = 96
CORNER = 0.05
"""Rounding of the edges of drawn profile wire, as a share of its width."""
PITCH = 4.5
"""One turn of twisted wire, in its width over the ridges."""
BEND = 4.0
"""Radius of the bend of a bent piece, in wires."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WireShape:
    """A piece of wire lying flat on the table; its own frame has it along x, bends in the plane."""

    width_mm: float
    """As seen from above, in the middle of the piece; of twisted wire over the ridges."""
    length_mm: float
    """Of a straight piece end to end; of other forms the length of the longest straight part."""
    profile: str = "round"
    """`round`, `square`, `half-round` (on its flat side) or `twisted` (two strands)."""
    form: str = "straight"
    """`straight`, `bent` (one bend in the middle) or `clip` (three straight parts, two turns)."""
    bow_radius_mm: float = 0.0
    """What is left of the curve of the coil; 0 is quite straight."""
    taper_mm: float = 0.0
    """Width at the end less width at the start; evenly along."""
    bend_deg: float = 40.0

    def centre_line(self) -> Array:
        """Points (n, 2) along the axis, evenly spaced."""
        if self.form == "bent":
            return _walk([(self.length_mm, 0.0), self._turn(self.bend_deg), (self.length_mm, 0.0)])
        if self.form == "clip":
            return _walk(
                [
                    (self.length_mm, 0.0),
                    (4.2 * np.pi, 180.0),
                    (self.length_mm - 4.0, 0.0),
                    (3.2 * np.pi, 180.0),
                    (self.length_mm - 9.0, 0.0),
                ]
            )
        bend = np.degrees(self.length_mm / self.bow_radius_mm) if self.bow_radius_mm else 0.0
        return _walk([(self.length_mm, bend)])

    def _turn(self, degrees: float) -> tuple[float, float]:
        return BEND * self.width_mm * np.radians(abs(degrees)), degrees

    def straight_parts(self) -> list[tuple[int, int]]:
        """First and last index of the centre line's straight parts."""
        line = self.centre_line()
        if self.form == "straight":
            return [(0, len(line) - 1)]
        step = np.diff(line, axis=0)
        turn = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
        still = np.abs(np.diff(turn)) < 1e-9
        edges = np.flatnonzero(np.diff(np.r_[False, still, False].astype(int)))
        return [(int(a), int(b) + 1) for a, b in edges.reshape(-1, 2) if b - a > 4]

    def mesh(self) -> Mesh:
        """Build the surface in the piece's own frame, standing on z = 0."""
        flat = self.centre_line()
        line = np.column_stack([flat, np.zeros(len(flat))])
        share = np.linspace(-0.5, 0.5, len(line))
        return swept(self.profile, line, self.width_mm + self.taper_mm * share)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedWire:
    """A piece of wire on the table."""

    shape: WireShape
    material: str
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0

    def _moved(self, points: Array) -> Array:
        turn = np.radians(self.turn_deg)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        return points @ spin.T + (self.x_mm, self.y_mm)

    def centre_line(self) -> Array:
        """Points (n, 2) of the axis in the world, drawn down onto the table."""
        return self._moved(self.shape.centre_line())

    def mesh(self) -> Mesh:
        """Build the surface in the world."""
        turn = np.radians(self.turn_deg)
        spin = np.array(
            [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]]
        )
        return self.shape.mesh().moved(spin, np.array([self.x_mm, self.y_mm, 0.0]))

    def at(self, x_mm: float, y_mm: float, turn_deg: float) -> PlacedWire:
        """The same piece elsewhere."""
        return replace(self, x_mm=x_mm, y_mm=y_mm, turn_deg=turn_deg)


def _walk(legs: list[tuple[float, float]]) -> Array:
    """Points (n, 2) along legs of given length that turn evenly, middle at the origin."""
    place, heading = np.zeros(2), 0.0
    points = [place]
    for length, turn_deg in legs:
        count = max(2, round(length / STEP_MM))
        for _ in range(count):
            heading += np.radians(turn_deg) / count / 2
            place = place + length / count * np.array([np.cos(heading), np.sin(heading)])
            heading += np.radians(turn_deg) / count / 2
            points.append(place)
    line = np.array(points)
    return line - (line.min(axis=0) + line.max(axis=0)) / 2


def swept(profile: str, line: Array, width_mm: Array) -> Mesh:
    """Surface of wire that stands on a level line (n, 3), as wide as `width_mm` (n,) says."""
    side = _side(line)
    if profile == "twisted":
        return _twisted(line, side, float(width_mm.mean()))
    section, normals = _section(profile)
    return _sweep(line, side, width_mm / 2, section, normals)


def _twisted(line: Array, side: Array, width_mm: float) -> Mesh:
    """Two strands around each other."""
    length = np.arange(len(line)) * float(np.hypot(*(line[1] - line[0])[:2]))
    turn = 2 * np.pi * length / (PITCH * width_mm)
    up = np.array([0.0, 0.0, 1.0])
    axis = line + width_mm / 2 * up
    strands = []
    for phase in (0.0, np.pi):
        way = np.cos(turn + phase)[:, None] * side + np.sin(turn + phase)[:, None] * up
        strand = axis + width_mm / 4 * way
        across = _side(strand)
        tangent = np.gradient(strand, axis=0)
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
        strands.append(tube(strand, across, np.cross(across, tangent), width_mm / 4, 64))
    return join(strands)


def _side(line: Array) -> Array:
    """Level directions (n, 3) to the right of a line (n, 3)."""
    side = np.cross(np.gradient(line, axis=0), [0.0, 0.0, 1.0])
    return side / np.linalg.norm(side, axis=1, keepdims=True)


def _section(profile: str) -> tuple[Array, Array]:
    """Outline (m, 2) of a section, closed, and its normals; sideways and up from the table, in
    half widths."""
    turn = np.linspace(-np.pi / 2, 3 * np.pi / 2, FACETS_AROUND + 1)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    if profile == "round":
        return circle + np.array([0.0, 1.0]), circle
    if profile == "square":
        corners = ((1.0, 0.0, -90.0), (1.0, 2.0, 0.0), (-1.0, 2.0, 90.0), (-1.0, 0.0, 180.0))
    elif profile == "half-round":
        corners = ((1.0, 0.0, -90.0), (-1.0, 0.0, 180.0))
    else:
        raise ValueError(f"no wire of profile {profile}")
    points, normals = [], []
    for x, up, start in corners:
        arc = np.radians(start + np.linspace(0, 90, 9))
        way = np.column_stack([np.cos(arc), np.sin(arc)])
        inset = 2 * CORNER * np.array([np.sign(x), 1.0 if up else -1.0])
        points.append(np.array([x, up]) - inset + 2 * CORNER * way)
        normals.append(way)
        if profile == "half-round" and x > 0:
            # The corner's rounding meets the crown where the crown stands upright above it.
            crown = np.linspace(2 * CORNER, np.pi - 2 * CORNER, FACETS_AROUND)
            way = np.column_stack([np.cos(crown), np.sin(crown)])
            points.append(way)
            normals.append(way)
    points.append(points[0][:1])
    normals.append(normals[0][:1])
    return np.concatenate(points), np.concatenate(normals)


def _sweep(line: Array, side: Array, half: Array, section: Array, normals: Array) -> Mesh:
    """Sweep a section along a level line; `half` (n,) is half the width at each station."""
    up = np.array([0.0, 0.0, 1.0])

    def spread(flat: Array) -> Array:
        return flat[None, :, :1] * side[:, None, :] + flat[None, :, 1:] * up

    skin = line[:, None, :] + half[:, None, None] * spread(section)
    out = spread(normals)
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    around = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(section, axis=0).T))])
    uv = np.stack(np.broadcast_arrays(length[:, None], around[None, :] * half[0]), axis=-1)
    wall = Mesh(
        skin.reshape(-1, 3),
        out.reshape(-1, 3),
        uv.reshape(-1, 2),
        grid_faces(len(line), len(section)),
    )
    ends = cap(skin[0], line[0] - line[1]), cap(skin[-1], line[-1] - line[-2])
    return join([wall, *ends])
