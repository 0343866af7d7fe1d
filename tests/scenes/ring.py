"""One ring: its exact shape, how it lies, its mesh and its outline."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from tests.scenes.camera import Camera
from tests.scenes.mesh import Mesh, tube
from tests.scenes.wire import swept

FACETS_ALONG = 320
"""Along the wire. With 96 around it the polygon stays within 0.001 mm of the true surface."""
FACETS_AROUND = 96


@dataclass(frozen=True, slots=True, kw_only=True)
class RingShape:
    """A torus with an elliptic centre line, cut open at +x of its own frame."""

    wire_mm: float
    id_mm: float
    """Inside diameter, mean of the largest and the smallest."""
    ovality: float = 0.0
    """(largest - smallest inside diameter) / mean."""
    oval_direction_deg: float = 0.0
    gap_mm: float = 0.0
    """Between the parallel faces of the saw cut; 0 is a ring without a cut."""
    end_radial_mm: float = 0.0
    """How far one end stands outside the other; the wire spirals evenly."""
    end_axial_mm: float = 0.0
    """How far one end stands above the other; the wire climbs evenly."""
    profile: str = "round"
    """Or `square`, `half-round` (on its flat side), `twisted` (two strands): such rings lie flat,
    their ends in line, and `wire_mm` is their width as seen from above."""

    @property
    def mean_radius_mm(self) -> float:
        """Mean radius of the centre line."""
        return (self.id_mm + self.wire_mm) / 2

    def centre_line(
        self, count: int = FACETS_ALONG + 1
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Give points, outward cross axes and upward cross axes, each (count, 3), ring frame."""
        open_angle = np.arcsin(min(self.gap_mm / 2 / self.mean_radius_mm, 1.0))
        angle = np.linspace(open_angle, 2 * np.pi - open_angle, count)
        share = np.linspace(-0.5, 0.5, count)
        turn = np.radians(self.oval_direction_deg)
        major = self.mean_radius_mm + self.ovality * self.id_mm / 4
        minor = self.mean_radius_mm - self.ovality * self.id_mm / 4
        along, across = major * np.cos(angle - turn), minor * np.sin(angle - turn)
        x = along * np.cos(turn) - across * np.sin(turn)
        y = along * np.sin(turn) + across * np.cos(turn)
        points = np.column_stack(
            [
                x + self.end_radial_mm * share * np.cos(angle),
                y + self.end_radial_mm * share * np.sin(angle),
                self.end_axial_mm * share,
            ]
        )
        tangent = np.gradient(points, angle, axis=0, edge_order=2)
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
        side = np.cross(tangent, [0.0, 0.0, 1.0])
        side /= np.linalg.norm(side, axis=1, keepdims=True)
        return points, side, np.cross(side, tangent)

    def mesh(self) -> Mesh:
        """Build the surface in the ring's own frame, its axis along z."""
        points, side, up = self.centre_line()
        if self.profile != "round":
            return swept(
                self.profile, points - [0, 0, self.wire_mm / 2], np.full(len(points), self.wire_mm)
            )
        mesh = tube(points, side, up, self.wire_mm / 2, FACETS_AROUND)
        return mesh if self.gap_mm == 0 else self._saw(mesh)

    def _saw(self, mesh: Mesh) -> Mesh:
        """Slide both ends along the wire onto the two parallel faces of the cut."""
        vertices = mesh.vertices.copy()
        rim = FACETS_AROUND + 1
        wall = (FACETS_ALONG + 1) * rim
        ends = (
            (np.r_[0:rim, wall : wall + rim + 1], self.gap_mm / 2),
            (np.r_[wall - rim : wall, wall + rim + 1 : wall + 2 * rim + 2], -self.gap_mm / 2),
        )
        for rows, y in ends:
            vertices[rows, 1] = y
        return replace(mesh, vertices=vertices)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedRing:
    """A ring on the table, with what is true of it in the picture."""

    shape: RingShape
    material: str
    group: str
    id_nominal_mm: float
    wire_nominal_mm: float
    pose: NDArray[np.float64]
    """Ring frame to world, (3, 3)."""
    centre_mm: NDArray[np.float64]
    overlapped: bool = False
    touching: bool = False
    standing: bool = False
    partly_out_of_frame: bool = False

    @property
    def measurable(self) -> bool:
        """Whether a fair tool should report this ring."""
        return not (self.overlapped or self.touching or self.standing or self.partly_out_of_frame)

    @property
    def tilt_deg(self) -> float:
        """Angle between the ring's axis and the vertical."""
        return float(np.degrees(np.arccos(min(1.0, abs(self.pose[2, 2])))))

    @property
    def reach_mm(self) -> float:
        """Radius of the circle on the table that the lying ring stays within."""
        shape = self.shape
        extra = shape.ovality * shape.id_mm / 4 + abs(shape.end_radial_mm) / 2
        return shape.mean_radius_mm + shape.wire_mm / 2 + extra

    def mesh(self) -> Mesh:
        """Build the surface in the world."""
        return self.shape.mesh().moved(self.pose, self.centre_mm)

    def centre_line(self, count: int = FACETS_ALONG + 1) -> NDArray[np.float64]:
        """Give centre-line points in the world, (count, 3)."""
        return self.shape.centre_line(count)[0] @ self.pose.T + self.centre_mm

    def outlines(
        self, camera: Camera, count: int = 721
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Draw the outer and the inner silhouette of round wire, pixels (count, 2) each.

        On every cross-section of the tube, `n . (camera - point) = 0` has two solutions in closed
        form; the cut ends and the wire hiding itself are left out.
        """
        points, side, up = (part @ self.pose.T for part in self.shape.centre_line(count))
        points = points + self.centre_mm
        view = camera.position - points
        out, over = np.sum(view * side, axis=1), np.sum(view * up, axis=1)
        facing = np.arctan2(over, out)
        half = np.arccos(self.shape.wire_mm / 2 / np.hypot(out, over))
        drawn = []
        for angle in (facing - half, facing + half):
            normal = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * up
            drawn.append(camera.project(points + self.shape.wire_mm / 2 * normal))
        outer_first = np.median(np.cos(facing - half)) > np.median(np.cos(facing + half))
        return (drawn[0], drawn[1]) if outer_first else (drawn[1], drawn[0])


def pose_of(
    gap_direction_deg: float, tilt_deg: float, tilt_towards_deg: float
) -> NDArray[np.float64]:
    """Turn the ring about its axis, then tilt it so that it is low towards the given direction."""
    gap, tilt, towards = np.radians([gap_direction_deg, tilt_deg, tilt_towards_deg])
    spin = np.array([[np.cos(gap), -np.sin(gap), 0], [np.sin(gap), np.cos(gap), 0], [0, 0, 1.0]])
    axis = np.array([-np.sin(towards), np.cos(towards), 0.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    lean = np.eye(3) + np.sin(tilt) * cross + (1 - np.cos(tilt)) * cross @ cross
    return lean @ spin


def rest_height(shape: RingShape, pose: NDArray[np.float64]) -> float:
    """Height of the ring's centre when its lowest point touches the table."""
    points, _, _ = shape.centre_line()
    lowest_tube = points @ pose[2]
    tangent = np.gradient(points, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    steep = np.sqrt(1 - np.clip(tangent @ pose[2], -1, 1) ** 2)
    return float(np.max(shape.wire_mm / 2 * steep - lowest_tube))


def lay(ring: PlacedRing, *, x_mm: float, y_mm: float, pose: NDArray[np.float64]) -> PlacedRing:
    """Lay a ring on the table in a given attitude."""
    height = rest_height(ring.shape, pose)
    return replace(ring, pose=pose, centre_mm=np.array([x_mm, y_mm, height]))


def lean_on(
    upper: PlacedRing, lower: PlacedRing, *, direction_deg: float, distance_mm: float
) -> tuple[PlacedRing, PlacedRing]:
    """Rest one ring on another: its far side on the table, its near side on the lower wire.

    The tilt is the smallest one at which the two wires no longer cut into each other.
    """
    towards = np.radians(direction_deg)
    x, y = lower.centre_mm[:2] + distance_mm * np.array([np.cos(towards), np.sin(towards)])
    wires = (upper.shape.wire_mm + lower.shape.wire_mm) / 2
    tree = cKDTree(lower.centre_line(1441))
    gap_direction = np.degrees(np.arctan2(upper.pose[1, 0], upper.pose[0, 0]))

    def at(tilt_deg: float) -> tuple[PlacedRing, float]:
        pose = pose_of(float(gap_direction), tilt_deg, direction_deg)
        placed = lay(upper, x_mm=float(x), y_mm=float(y), pose=pose)
        return placed, float(tree.query(placed.centre_line(1441))[0].min())

    tilt = next((t for t in np.arange(0.5, 60, 0.5) if at(t)[1] >= wires), None)
    if tilt is None:
        raise ValueError(f"no tilt up to 60 degrees lets the ring rest at {distance_mm} mm")
    low, high = tilt - 0.5, tilt
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (low, middle) if at(middle)[1] >= wires else (middle, high)
    return replace(at(high)[0], overlapped=True), replace(lower, overlapped=True)
