"""Random scenes: one ring, a piece of wire, or what only looks like one; camera and exact truth."""

import numpy as np
from numpy.typing import NDArray

from tests.training.layout import ROOM_H, ROOM_W, SCENE_T
from tests.training.materials import draw_finish, log_uniform
from tests.training.silhouette import VERTICES, centre_line, flat_outlines, outlines, project
from tests.training.surroundings import SURFACES, draw_lights, draw_table
from vision.rings.section import HALF_ROUND, HALF_ROUND_INSIDE, ROUND, SQUARE, TWISTED

Rng = np.random.Generator
Array = NDArray[np.float64]

KINDS = ("ring", "disc", "circle", "empty", "overlapped", "broken", "wire", "stripe", "border")
KIND_SHARES = {
    "rings": (0.91, 0.02, 0.02, 0.02, 0.02, 0.01, 0.0, 0.0, 0.0),
    "wires": (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.88, 0.06, 0.06),
}
"""For the reader of rings and for that of wires; what is neither teaches what is not to be read."""
PIECES = ("wire", "stripe", "border")
"""Kinds that are read along a straight line."""

SECTION_SHARES = (0.90, 0.04, 0.015, 0.015, 0.03)
"""Round, square, half-round, half-round inside, twisted: the order of PROFILES."""
PROFILES = (ROUND, SQUARE, HALF_ROUND, HALF_ROUND_INSIDE, TWISTED)

END_SHARE, END_AT, END_MARGIN = 0.55, (0.0, 0.45), 0.1
"""Share of pieces of which one end is read too; how far from the middle it lies, in lengths of the
stretch; how much short of it the labels stop, in widths. A shadow ends elsewhere than its wire."""

LARGEST_PX, GRANULE_PX, MARGIN_PX = 512, 16, 10
REACH = 0.85
"""Wire widths beyond both outlines of a ring that get the full number of paths."""
SEEN = 1.7
"""Wire widths beyond the outer outline that lie in the crop: as far as the wide look goes."""

TRUTH_T = np.dtype(
    [
        ("size", "i4"), ("kind", "i4"), ("material", "i4"), ("surface", "i4"), ("light", "i4"),
        ("matrix", "f8", (3, 4)),  # world mm to crop pixels
        ("camera", "f8", (3,)),
        ("torus", "f8", (6,)),  # x, y, centre-line radius, wire radius, oval cos, oval sin
        ("height", "f4"),  # of the centre line's middle
        ("gap", "f4", (2,)),  # direction, half angle
        ("slope", "f4", (2,)),  # of the ring's plane, the ends' step counted in
        ("section", "i4"),
        ("span", "f4"),  # angle around the torus that is read: a whole turn, or a piece of wire
        ("wire_px", "f4"), ("step", "f4", (2,)), ("neighbour", "i4"), ("paths", "i4"),
        ("outline", "f4", (2, VERTICES, 2)),  # inner, outer, crop pixels
    ]
)  # fmt: skip


def draw_scene(seed: int, index: int, *, wires: bool = False, bounces: int = 5) -> tuple[
    NDArray[np.void], NDArray[np.float32], NDArray[np.void]
]:  # fmt: skip
    """Scene record (), room map (ROOM_H, ROOM_W, 3) and truth record () of one numbered scene.

    `wires`: for the reader of wires, not for that of rings.
    """
    rng = np.random.default_rng([seed, index])
    s, truth = np.zeros((), SCENE_T), np.zeros((), TRUTH_T)
    kind = str(rng.choice(KINDS, p=KIND_SHARES["wires" if wires else "rings"]))
    piece = kind in PIECES
    s["seed"], s["white"], s["bounces"] = rng.integers(1 << 30), 1.0, bounces
    s["paths"], s["paths_far"] = int(log_uniform(rng, 28, 80)), 10
    section = int(rng.choice(len(PROFILES), p=SECTION_SHARES))
    if piece:
        ended = kind == "wire" and rng.random() < END_SHARE
        scale = _piece(rng, s, truth, section, ended=ended)
    else:
        wire, ratio, scale = _sizes(rng)
        _ring(rng, s, wire, ratio, broken=kind == "broken")
        if section > 0:
            _lay_flat(rng, s, section)
    matrix = _camera(rng, s, truth, scale)
    truth["surface"] = draw_table(rng, s)
    back_lit = list(SURFACES)[int(truth["surface"])] == "back-lit"
    truth["light"], room = draw_lights(rng, s, back_lit=back_lit)
    finish, truth["material"] = draw_finish(rng)
    s["finish"][0] = finish
    s["solids"] = 1
    ring = s["solid"][0]
    if not piece:
        truth["span"] = 2 * np.pi
        truth["torus"] = (
            ring["centre"][0], ring["centre"][1], ring["radius"], ring["tube"],
            ring["oval_cos"], ring["oval_sin"],
        )  # fmt: skip
        truth["gap"] = np.arctan2(ring["gap_sin"], ring["gap_cos"]), ring["gap_half"]
    angles = np.arange(VERTICES) * 2 * np.pi / VERTICES
    if piece:  # twice as long as what is read: starts may be shifted along it
        angles = _middle(truth) + (np.arange(VERTICES) / VERTICES - 0.5) * 2 * truth["span"]
    if piece or section > 0:
        drawn = flat_outlines(truth["torus"], s["camera"], angles, PROFILES[section])
    else:
        drawn = outlines(ring, s["camera"], angles)
    truth["outline"] = project(matrix, np.stack(drawn))
    truth["height"] = ring["centre"][2]
    truth["section"] = section
    truth["step"] = ring["step_r"], ring["step_z"]
    truth["kind"], truth["size"] = KINDS.index(kind), s["size"]
    truth["paths"] = s["paths"]
    truth["neighbour"] = _beside(rng, s) if piece else _company(rng, s, kind)
    _decoy(rng, s, kind)
    if truth["surface"] != list(SURFACES).index("back-lit"):
        s["glow"] = 0.0
    return s, room.reshape(ROOM_H, ROOM_W, 3), truth


def _sizes(rng: Rng) -> tuple[float, float, float]:
    """Wire in mm, aspect ratio, and pixels per mm that keep the crop within bounds."""
    while True:
        wire = log_uniform(rng, 0.5, 2.6)
        ratio = log_uniform(rng, 2.3, 8.0)
        wire_px = log_uniform(rng, 9.0, 75.0)
        scale = wire_px / wire
        if 12.0 <= scale <= 50.0 and (ratio + 2 + 2 * SEEN) * wire_px < LARGEST_PX - 40:
            return wire, ratio, scale


def _piece(
    rng: Rng, s: NDArray[np.void], truth: NDArray[np.void], section: int, *, ended: bool
) -> float:
    """A piece of wire through the origin, as good as straight; returns the scale in px/mm.

    `ended`: one of its ends lies inside the stretch that is read.
    """
    while True:
        wire = log_uniform(rng, 0.4, 4.0)
        wire_px = log_uniform(rng, 9.0, 75.0)
        scale = wire_px / wire
        length_px = log_uniform(rng, 3.0, 9.0 if ended else 40.0) * wire_px
        if 12.0 <= scale <= 50.0 and length_px < LARGEST_PX - 90:
            break
    o = s["solid"][0]
    length = length_px / scale
    o["kind"], o["plain"], o["tube"] = 2, 1, wire / 2
    o["radius"] = log_uniform(rng, 40.0, 600.0)
    out = rng.uniform(0, 2 * np.pi)  # away from the centre of the bow
    o["axes"] = (np.sin(out), -np.cos(out), 0, np.cos(out), np.sin(out), 0, 0, 0, 1)
    _shape_section(rng, o, section)
    o["centre"] = (0, 0, o["centre"][2])
    truth["span"] = length / o["radius"]
    truth["torus"] = (
        -o["radius"] * np.cos(out), -o["radius"] * np.sin(out), o["radius"], o["tube"], 0, 0
    )  # fmt: skip
    if ended:
        _cut_off(rng, o, truth)
    else:
        o["half_length"] = length / 2 + wire * rng.uniform(1.0, 3.0) + rng.choice([0.0, 40.0])
        truth["gap"] = 0.0, -100.0  # cut nowhere
    o["reach_r"] = np.hypot(o["half_length"], o["half_length"] ** 2 / o["radius"]) + 3 * o["tube"]
    return scale


def _cut_off(rng: Rng, o: NDArray[np.void], truth: NDArray[np.void]) -> None:
    """Let the piece end inside the stretch that is read, on either side, cut as cutters cut."""
    wire, radius, span = 2 * float(o["tube"]), float(o["radius"]), float(truth["span"])
    end, side = rng.uniform(*END_AT), rng.choice([-1.0, 1.0])
    length = span * radius
    # the other end lies beyond the stretch; cuts are square to the middle of the piece, so that one
    # of a long bow would be slanted
    half = min(log_uniform(rng, 6.0, 60.0), 0.2 * radius)
    half = max(half, (end + 0.5) * length / 2 + wire * rng.uniform(0.2, 2.0))
    o["half_length"] = radius * np.sin(half / radius)
    turn = side * (end * length - half) / radius  # of the piece's middle, around the bow's centre
    along, out = o["axes"][:2].astype(float), o["axes"][3:5].astype(float)
    # the local x axis runs against the angle around the bow's centre
    way, outward = (
        np.cos(turn) * along + np.sin(turn) * out, np.cos(turn) * out - np.sin(turn) * along
    )  # fmt: skip
    o["centre"][:2] = radius * (outward - out)
    o["axes"][:2], o["axes"][3:5] = way, outward
    if rng.random() < 0.6:
        o["slant_r"], o["slant_z"] = rng.normal(0, 0.3, 2)
    if rng.random() < 0.4:  # pinched by cutters
        o[rng.choice(["wedge_r", "wedge_z"])] = rng.uniform(0.2, 1.2)
    # outlines run twice as far as the stretch, and count as a whole turn
    margin = END_MARGIN * wire / length
    truth["gap"] = np.pi * (1 + side * (end - margin)) + side * 1.2, 1.2


def _middle(truth: NDArray[np.void]) -> float:
    """Direction from the centre of a piece's bow to the piece."""
    return float(np.arctan2(-truth["torus"][1], -truth["torus"][0]))


def _lay_flat(rng: Rng, s: NDArray[np.void], section: int) -> None:
    """Give the ring another cross-section, and lay it flat with its ends in line."""
    o = s["solid"][0]
    for name in ("step_r", "step_z", "burr"):
        o[name] = 0.0
    o["axes"] = np.eye(3).ravel()
    _shape_section(rng, o, section)
    o["centre"] = (0, 0, o["centre"][2])
    o["reach_r"] = o["radius"] * 1.03 + 2.3 * o["tube"]


def _shape_section(rng: Rng, o: NDArray[np.void], section: int) -> None:
    """Fields of a cross-section, and the height at which its centre line lies on the table."""
    tube = float(o["tube"])
    o["section"] = section
    o["bound"] = tube * (1.0, 1.42, 1.0, 2.24, 1.0)[section]
    o["centre"][2] = tube * (1.0, 1.0, 0.0, 2.0, 1.0)[section]
    o["reach_z"] = tube * (1.0, 1.0, 1.0, 2.0, 1.0)[section] + 1e-3
    o["corner"] = tube * log_uniform(rng, 0.01, 0.06)
    pitch = rng.uniform(3.0, 9.0) * 2 * tube
    turns = max(1.0, np.round(2 * np.pi * o["radius"] / pitch))
    o["twist"] = turns / o["radius"]
    o["safety"] = (0.98, 0.98, 0.98, 0.98, 0.98 / np.hypot(1.0, 0.5 * tube * o["twist"]))[section]


def _tilt_axes(slope_x: float, slope_y: float) -> Array:
    """Axes (rows) of a frame whose plane climbs by these slopes, not turned about the plumb."""
    normal = np.array([-slope_x, -slope_y, 1.0])
    normal /= np.linalg.norm(normal)
    first = np.array([1.0, 0.0, slope_x])
    first /= np.linalg.norm(first)
    first -= normal * (first @ normal)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(normal, first), normal])


def _ring(rng: Rng, s: NDArray[np.void], wire: float, ratio: float, *, broken: bool) -> None:
    o = s["solid"][0]
    tube, radius = wire / 2, wire * (ratio + 1) / 2
    o["tube"], o["radius"], o["bound"] = tube, radius, tube
    oval = rng.uniform(0, 0.02) * (rng.random() < 0.7)
    angle = rng.uniform(0, 2 * np.pi)
    o["oval_cos"], o["oval_sin"] = oval / 2 * np.cos(angle), oval / 2 * np.sin(angle)
    gap_at = rng.uniform(-np.pi, np.pi)
    o["gap_cos"], o["gap_sin"] = np.cos(gap_at), np.sin(gap_at)
    gap = rng.choice([0.0, rng.uniform(0, 0.05), rng.uniform(0.05, 0.25), rng.uniform(0.2, 0.7)],
                     p=[0.2, 0.35, 0.3, 0.15])  # fmt: skip
    o["gap_half"] = min(gap / 2 / radius, 0.45)
    if broken:
        o["gap_half"] = rng.uniform(0.6, 1.3)
    o["step_power"] = rng.choice([1.0, 1.0, 2.0, 4.0, 8.0])
    if rng.random() < 0.65:
        out_of_line = np.abs(rng.normal(0, 0.22)) if rng.random() < 0.7 else rng.uniform(0, 1.0)
        out_of_line = min(out_of_line, 1.2) * tube
        way = rng.choice([0.0, np.pi / 2, rng.uniform(0, 2 * np.pi)])
        o["step_r"], o["step_z"] = out_of_line * np.cos(way), out_of_line * np.sin(way)
    if rng.random() < 0.5:
        o["slant_r"], o["slant_z"] = rng.normal(0, 0.25, 2)
    if rng.random() < 0.3:  # pinched by cutters
        o["wedge_r"], o["wedge_z"] = rng.choice(
            [(rng.uniform(0.2, 1.0), 0.0), (0.0, rng.uniform(0.2, 1.0))]
        )
    if rng.random() < 0.15:
        where = rng.uniform(0, 2 * np.pi)
        o["burr"] = tube * rng.uniform(0.1, 0.35)
        o["burr_r"], o["burr_z"] = tube * 0.9 * np.cos(where), tube * 0.9 * np.sin(where)
    tilt = np.radians(
        rng.choice([0.0, abs(rng.normal(0, 0.6)), rng.uniform(0, 3.0)], p=[0.35, 0.4, 0.25])
    )
    toward = rng.uniform(0, 2 * np.pi)
    slope = np.tan(tilt) * np.array([np.cos(toward), np.sin(toward)])
    o["axes"] = _tilt_axes(*slope).ravel()
    bend = abs(o["step_r"]) + abs(o["step_z"])
    # resting: the lowest point of the tube touches the table
    t = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    line, level = centre_line(o, t)
    lowest = (line * (np.cos(t) * slope[0] + np.sin(t) * slope[1]) + level).min()
    o["centre"] = (0, 0, tube - lowest)
    o["reach_z"] = tube + abs(o["step_z"]) / 2 + 0.36 * tube * (o["burr"] > 0) + 1e-3
    o["reach_r"] = radius * 1.03 + tube + abs(o["step_r"]) / 2 + 0.36 * tube * (o["burr"] > 0)
    steep = bend * float(o["step_power"]) / (2 * np.pi) / radius + 2 * oval
    o["safety"] = 0.98 / np.sqrt(1 + (1.5 * steep) ** 2) * (0.85 if o["burr"] > 0 else 1.0)


def _camera(rng: Rng, s: NDArray[np.void], truth: NDArray[np.void], scale: float) -> Array:
    """Place the camera; returns the (3, 4) matrix world to crop pixels."""
    height = log_uniform(rng, 85, 260)
    off = height * 0.6 * rng.random() ** 0.8
    around = rng.uniform(0, 2 * np.pi)
    position = np.array([off * np.cos(around), off * np.sin(around), height])
    tilt = np.radians(rng.uniform(0, 14) * (rng.random() < 0.8))
    about = rng.uniform(0, 2 * np.pi)
    roll = rng.uniform(0, 2 * np.pi)
    forward = np.array([np.sin(tilt) * np.cos(about), np.sin(tilt) * np.sin(about), -np.cos(tilt)])
    right = np.cross(forward, [np.sin(roll), np.cos(roll), 0.2])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    o = s["solid"][0]
    tube, radius, middle = float(o["tube"]), float(o["radius"]), float(o["centre"][2])

    def matrix_of(f: float, cx: float, cy: float) -> Array:
        k = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1.0]])
        return np.hstack([k @ rotation, (-k @ rotation @ position)[:, None]])

    t = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    rim = radius + tube + 2 * tube * SEEN
    edge = np.stack([rim * np.cos(t), rim * np.sin(t), np.full(64, tube)], -1)
    piece = o["kind"] == 2
    if piece:
        at = _middle(truth) + np.linspace(-0.5, 0.5, 16) * float(truth["span"])
        bands = [
            np.stack([wide * np.cos(at), wide * np.sin(at), tube + 0 * at], -1)
            for wide in (rim, 2 * radius - rim)
        ]
        edge = np.concatenate(bands)
        edge[:, :2] += truth["torus"][:2]
    one = project(matrix_of(1.0, 0, 0), np.stack([[0, 0, tube], [1, 0, tube], [0, 1, tube]]))
    first, second = one[1] - one[0], one[2] - one[0]
    f = scale / np.sqrt(abs(first[0] * second[1] - first[1] * second[0]))
    while True:
        flat = project(matrix_of(f, 0, 0), edge)
        low, high = flat.min(0), flat.max(0)
        need = float((high - low).max()) + 2 * MARGIN_PX
        if need <= LARGEST_PX:
            break
        f *= 0.97 * LARGEST_PX / need
        f = f * min(1.0, (LARGEST_PX - 2 * MARGIN_PX) / (need - 2 * MARGIN_PX))
    size = int(np.ceil(need / GRANULE_PX) * GRANULE_PX)
    centre = (size - 1) / 2 - (low + high) / 2 + rng.uniform(-3, 3, 2)
    matrix = matrix_of(f, *centre)
    s["size"], s["camera"] = size, position
    inverse = rotation.T @ np.linalg.inv(
        np.array([[f, 0, centre[0]], [0, f, centre[1]], [0, 0, 1.0]])
    )
    s["eye"] = inverse.ravel()
    s["focus_z"] = middle
    s["near_from"] = max(radius - tube - 2 * tube * REACH - 0.03 * radius, -1.0)
    s["near_to"] = radius + tube + 2 * tube * REACH + 0.03 * radius
    if piece:
        s["near_from"], s["near_to"] = -1.0, radius * float(truth["span"]) / 2 + 3 * tube
    truth["matrix"], truth["camera"] = matrix, position
    truth["wire_px"] = 2 * tube * f * np.sqrt(abs(first[0] * second[1] - first[1] * second[0]))
    slope = np.array([-o["axes"][6], -o["axes"][7]]) / o["axes"][8]
    gap = np.arctan2(o["gap_sin"], o["gap_cos"])
    twist = o["step_z"] / (np.pi * radius) * np.array([np.sin(gap), -np.cos(gap)])
    truth["slope"] = slope + twist
    return matrix


def _flat_ring(
    o: NDArray[np.void], x: float, y: float, radius: float, tube: float, slope: Array, z: float
) -> None:
    o["plain"], o["radius"], o["tube"], o["bound"] = 1, radius, tube, tube
    o["gap_cos"], o["safety"] = 1.0, 0.98
    o["axes"] = _tilt_axes(*slope).ravel()
    o["centre"] = (x, y, z)
    o["reach_z"], o["reach_r"] = tube + 1e-3, radius + tube + 1e-3


def _company(rng: Rng, s: NDArray[np.void], kind: str) -> int:
    """Neighbour rings, a thread of lint, or a ring lying on the first; returns a group number."""
    ring = s["solid"][0]
    tube, radius = float(ring["tube"]), float(ring["radius"])
    company = 0
    if kind == "overlapped":
        other_tube = tube * rng.uniform(0.7, 1.3)
        other_radius = max(radius * rng.uniform(0.7, 1.3), 2.2 * other_tube)
        apart = rng.uniform(0.35, 1.6) * radius
        at = rng.uniform(0, 2 * np.pi)
        slope = 2 * tube / radius * np.array([-np.cos(at), -np.sin(at)]) * rng.uniform(0.4, 0.9)
        _flat_ring(s["solid"][1], apart * np.cos(at), apart * np.sin(at), other_radius, other_tube,
                   slope, 2 * tube + other_tube * 1.1 + 0.3 * tube)  # fmt: skip
        s["solids"], company = 2, 3
    elif rng.random() < 0.32:
        for k in range(1 + int(rng.random() < 0.3)):
            same = rng.random() < 0.6
            other_tube = tube * (1 if same else rng.uniform(0.6, 1.6))
            other_radius = radius if same else max(radius * rng.uniform(0.5, 1.6), 2 * other_tube)
            space = rng.choice(
                [0.0, rng.uniform(0, 0.06), rng.uniform(0.05, 1.2)], p=[0.25, 0.35, 0.4]
            )
            apart = 1.02 * radius + tube + other_radius + other_tube + space
            at = rng.uniform(0, 2 * np.pi)
            x, y = apart * np.cos(at), apart * np.sin(at)
            _flat_ring(s["solid"][s["solids"]], x, y, other_radius,
                       other_tube, np.zeros(2), other_tube)  # fmt: skip
            s["solids"] += 1
            company = 1 + (space > 0.06)
            if k == 1:
                break
    if s["solids"] < 3 and rng.random() < 0.07:  # a thread: a wide arc of very thin wire
        arc, thin = rng.uniform(4, 20) * radius, rng.uniform(0.008, 0.04)
        at, miss = rng.uniform(0, 2 * np.pi), rng.uniform(-1.0, 1.0) * radius
        x, y = (arc + miss) * np.cos(at), (arc + miss) * np.sin(at)
        _flat_ring(s["solid"][s["solids"]], x, y, arc,
                   thin, np.zeros(2), rng.choice([thin, 2.02 * tube]))  # fmt: skip
        s["solid"][s["solids"]]["finish"] = 2
        s["finish"][2], _ = draw_finish(rng, "coat")
        s["solids"] += 1
    for i in range(1, int(s["solids"])):
        if s["solid"][i]["finish"] == 0 and rng.random() < 0.5:
            if s["finish"][1]["rough_along"] == 0:
                s["finish"][1], _ = draw_finish(rng)
            s["solid"][i]["finish"] = 1
    return company


def _beside(rng: Rng, s: NDArray[np.void]) -> int:
    """Something beside a piece of wire: another piece, or a ring."""
    if rng.random() > 0.35:
        return 0
    first, other = s["solid"][0], s["solid"][1]
    tube = float(first["tube"])
    space = rng.choice([0.0, rng.uniform(0, 0.06), rng.uniform(0.05, 1.2)], p=[0.2, 0.3, 0.5])
    along, out = first["axes"][:2].astype(float), first["axes"][3:5].astype(float)
    side = rng.choice([-1.0, 1.0])
    shift = rng.normal(0, 3.0) * tube
    other_tube = tube * rng.choice([1.0, rng.uniform(0.6, 1.6)])
    if rng.random() < 0.5:
        for name in first.dtype.names:
            other[name] = first[name]
        apart = 2 * tube + space + 0.2 * tube * rng.random()
        base = first["centre"][:2]
    else:
        radius = other_tube * rng.uniform(3.0, 9.0)
        _flat_ring(other, 0, 0, radius, other_tube, np.zeros(2), other_tube)
        apart = tube + radius + other_tube + space
        apart += 0.5 * (radius + 9 * tube) ** 2 / float(first["radius"])  # clear of the bow
        base = np.zeros(2)
    other["centre"][:2] = base + side * apart * out + shift * along
    s["solids"] = 2
    return 1 + int(space > 0.06)


def _decoy(rng: Rng, s: NDArray[np.void], kind: str) -> None:
    """Turn the scene into one that holds no ring and no wire, where it is to hold none."""
    o = s["solid"][0]
    tube, radius = float(o["tube"]), float(o["radius"])
    if kind == "empty":
        s["solids"] = 0
    elif kind == "stripe":
        _print_stripe(rng, s)
    elif kind == "border":
        _lay_border(rng, s)
    elif kind == "circle":
        s["solids"] = 0
        s["circle_radius"] = radius * rng.uniform(0.9, 1.1)
        s["circle_half"] = tube * rng.choice([1.0, rng.uniform(0.1, 1.0)])
        s["circle_hollow"] = s["circle_half"] * rng.choice([0.0, rng.uniform(0.5, 0.9)])
    elif kind == "disc":
        o["kind"], o["plain"] = 1, 1
        o["round_mm"] = tube * rng.uniform(0.1, 0.9)
        o["radius"] = radius + tube
        o["centre"] = (0, 0, tube)
        o["axes"] = np.eye(3).ravel()
        o["reach_z"], o["reach_r"], o["safety"] = tube + 1e-3, radius + tube + 1e-3, 0.98


def _print_stripe(rng: Rng, s: NDArray[np.void]) -> None:
    """Put a printed line in the place of the piece."""
    o = s["solid"][0]
    s["solids"] = 0
    s["line_step"], s["line_both"] = 1000.0, 0
    s["line_cos"], s["line_sin"] = o["axes"][3], o["axes"][4]
    s["line_x"] = s["line_y"] = 0.0
    s["line_half"] = o["tube"] * rng.uniform(0.4, 1.1)


def _lay_border(rng: Rng, s: NDArray[np.void]) -> None:
    """Put an edge of the paper along one side of the piece, as its own or as a false one."""
    o = s["solid"][0]
    s["solids"] = 0
    s["grain_cos"], s["grain_sin"] = o["axes"][3], o["axes"][4]
    half = float(s["sheet_half_x"])
    middle = half + float(o["tube"]) * rng.choice([-1.0, 1.0]) * rng.uniform(0.5, 1.2)
    middle *= rng.choice([-1.0, 1.0])
    s["sheet_x"], s["sheet_y"] = middle * s["grain_cos"], middle * s["grain_sin"]
