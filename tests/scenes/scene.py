"""A scene as the catalogue words it, and its arrangement into placed rings, coins and debris."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from tests.scenes.camera import Camera, place_camera
from tests.scenes.coin import COINS, PlacedCoin
from tests.scenes.debris import Debris, make_debris
from tests.scenes.phone import Phone
from tests.scenes.ring import PlacedRing, RingShape, lay, lean_on, pose_of
from tests.scenes.surface import PrintedCircle, SheetLying
from tests.scenes.wire import PlacedWire, WireShape

FRAME_MARGIN = 0.05
"""Share of the picture's width that stays free along its edges."""
WIRE_ROOM = 0.9
"""What a piece of wire needs free on either side, in its own widths beyond half a width."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Rings of one kind, with the spread of their making."""

    material: str
    id_mm: float
    wire_mm: float
    count: int
    id_sd_mm: float = 0.03
    wire_sd_mm: float = 0.006
    ovality_max: float = 0.008
    gap_max_mm: float = 0.08
    """0 for rings without a cut."""
    out_of_line_max_mm: float = 0.05
    tilt_max_deg: float = 0.5
    profile: str = "round"


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A piece of wire that lies beside the rings."""

    material: str
    shape: WireShape


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """Which lens, and how the phone is held."""

    width: int = 4032
    height: int = 3024
    f35: float = 26.0
    """True equivalent; EXIF rounds it."""
    distance_mm: float = 150.0
    tilt_deg: float = 1.5
    tilt_azimuth_deg: float = 60.0
    roll_deg: float = 0.0
    k1: float = 0.004
    k2: float = -0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything that makes one photo, reproducible from its seed."""

    name: str
    seed: int
    groups: tuple[Group, ...] = ()
    wires: tuple[Piece, ...] = ()
    surface: str = "white_paper"
    light: str = "soft_window"
    lens: Lens = field(default_factory=Lens)
    phone: Phone = field(default_factory=Phone)
    coins: tuple[str, ...] = ()
    text_lines: int = 0
    """Printed lines of text near the edges of the page."""
    circles: int = 0
    """Printed circles, as large as rings: drawn rings that are none."""
    debris: tuple[str, ...] = ()
    rows: bool = False
    """Laid out in loose rows instead of strewn."""
    spread: float = 1.0
    """Share of the frame that strewn rings are spread over."""
    overlapping: int = 0
    """Pairs, the upper ring resting on the lower."""
    touching: int = 0
    """Pairs side by side, wire on wire."""
    standing: int = 0
    cut_by_frame: int = 0
    sheet: SheetLying | None = None
    before: Scene | None = None
    """The photo taken before of the same table, by the same phone: nothing is placed anew."""
    turned_deg: float = 0.0
    """How far everything on the table was turned about its middle since that photo."""
    shifted: int = 0
    """Rings that someone moved to another place since that photo: the first ones."""

    def again(self, name: str, **changes: Any) -> Scene:
        """Word another photo of the same rings: what changes, a lens field by field."""
        lens = {f.name: changes.pop(f.name) for f in fields(Lens) if f.name in changes}
        return replace(
            self,
            name=name,
            seed=self.seed + 1,
            before=self,
            lens=replace(self.lens, **lens),
            **{"turned_deg": 0.0, "shifted": 0, **changes},
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Arranged:
    """A scene with every object in its place."""

    scene: Scene
    camera: Camera
    rings: tuple[PlacedRing, ...]
    wires: tuple[PlacedWire, ...]
    coins: tuple[PlacedCoin, ...]
    debris: tuple[Debris, ...]
    circles: tuple[PrintedCircle, ...]


class Table:
    """Finds free places; keeps circles on the table from meeting."""

    def __init__(
        self,
        camera: Camera,
        rng: np.random.Generator,
        spread: float,
        clearance_mm: float,
        sheet: SheetLying | None,
    ) -> None:
        self._camera, self._rng, self._sheet = camera, rng, sheet
        self._spread, self._clearance_mm = spread, clearance_mm
        self._taken: list[tuple[float, float, float]] = []

    def take(self, x_mm: float, y_mm: float, radius_mm: float) -> None:
        """Mark a circle as occupied."""
        self._taken.append((x_mm, y_mm, radius_mm))

    def is_free(self, x_mm: float, y_mm: float, radius_mm: float) -> bool:
        """Tell whether a circle meets nothing."""
        return all(
            np.hypot(x_mm - x, y_mm - y) > radius_mm + r + self._clearance_mm
            for x, y, r in self._taken
        )

    def is_in_frame(self, x_mm: float, y_mm: float, radius_mm: float) -> bool:
        """Tell whether a circle is well inside the picture, and inside a sheet's work area."""
        if self._sheet is not None and not self._sheet.holds(x_mm, y_mm, radius_mm):
            return False
        turn = np.linspace(0, 2 * np.pi, 17)
        rim = np.column_stack(
            [x_mm + radius_mm * np.cos(turn), y_mm + radius_mm * np.sin(turn), 0 * turn + 1.0]
        )
        pixels = self._camera.project(rim)
        edge = FRAME_MARGIN * self._camera.width
        size = (self._camera.width - edge, self._camera.height - edge)
        return bool(np.all((pixels > edge) & (pixels < size)))

    def find(self, radius_mm: float, spread: float | None = None) -> tuple[float, float]:
        """Find a free place for a circle and take it."""
        camera = self._camera
        middle = np.array([camera.cx, camera.cy])
        half = np.array([camera.width, camera.height]) / 2 * (spread or self._spread)
        for _ in range(20000):
            pixel = middle + half * self._rng.uniform(-1, 1, 2)
            x, y, _ = camera.on_plane(pixel[None])[0]
            if self.is_free(x, y, radius_mm) and self.is_in_frame(x, y, radius_mm):
                self.take(x, y, radius_mm)
                return float(x), float(y)
        raise ValueError(f"no free place for a circle of {radius_mm:.1f} mm; strew fewer rings")


def arrange(scene: Scene, scale: float = 1.0) -> Arranged:
    """Place everything, the same way every time; `scale` shrinks the picture only."""
    if scene.before is not None:
        return _arrange_again(scene, arrange(scene.before), scale)
    rng = np.random.default_rng(scene.seed)
    full = _camera(scene.lens, rng)
    camera = full if scale == 1.0 else _shrink(full, scale)
    loose = [_make_ring(group, rng) for group in scene.groups for _ in range(group.count)]
    clearance = 0.25 * float(np.median([ring.reach_mm for ring in loose])) if loose else 1.0
    table = Table(full, rng, scene.spread, clearance, scene.sheet)
    coins = tuple(_place_coin(kind, table, rng) for kind in scene.coins)
    wires = tuple(_lay_wire(piece, table, full, rng) for piece in scene.wires)
    rings = _place_rings(scene, loose, table, full, rng)
    debris = tuple(make_debris(kind, table.find(2.5), rng) for kind in scene.debris)
    circles = tuple(_print_circle(table, rng) for _ in range(scene.circles))
    return Arranged(
        scene=scene,
        camera=camera,
        rings=tuple(rings),
        wires=wires,
        coins=coins,
        debris=debris,
        circles=circles,
    )


def _arrange_again(scene: Scene, before: Arranged, scale: float) -> Arranged:
    """Turn what lay there before, look at it anew, and move the rings that someone moved."""
    rng = np.random.default_rng(scene.seed)
    full = _camera(scene.lens, np.random.default_rng(_first(scene).seed))
    spin = _spin(scene.turned_deg)
    sheet = before.scene.sheet
    if sheet is not None:
        x, y, _ = spin @ (sheet.x_mm, sheet.y_mm, 0.0)
        sheet = replace(
            sheet, x_mm=float(x), y_mm=float(y), turn_deg=sheet.turn_deg + scene.turned_deg
        )
    rings = [
        replace(ring, pose=spin @ ring.pose, centre_mm=spin @ ring.centre_mm)
        for ring in before.rings
    ]
    coins = [
        replace(coin, x_mm=float(x), y_mm=float(y), turn_deg=coin.turn_deg + scene.turned_deg)
        for coin in before.coins
        for x, y, _ in [spin @ (coin.x_mm, coin.y_mm, 0.0)]
    ]
    wires = [
        wire.at(float(x), float(y), wire.turn_deg + scene.turned_deg)
        for wire in before.wires
        for x, y, _ in [spin @ (wire.x_mm, wire.y_mm, 0.0)]
    ]
    table = Table(full, rng, scene.spread, 1.0, sheet)
    for coin in coins:
        table.take(coin.x_mm, coin.y_mm, COINS[coin.kind].diameter_mm / 2)
    for ring in rings:
        table.take(float(ring.centre_mm[0]), float(ring.centre_mm[1]), ring.reach_mm)
    for index in range(scene.shifted):
        rings[index] = _at(rings[index], *table.find(rings[index].reach_mm))
    return Arranged(
        scene=replace(scene, sheet=sheet),
        camera=full if scale == 1.0 else _shrink(full, scale),
        rings=tuple(rings),
        wires=tuple(wires),
        coins=tuple(coins),
        debris=before.debris,
        circles=before.circles,
    )


def _first(scene: Scene) -> Scene:
    return scene if scene.before is None else _first(scene.before)


def _spin(turn_deg: float) -> NDArray[np.float64]:
    cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])


def _camera(lens: Lens, rng: np.random.Generator) -> Camera:
    return place_camera(
        width=lens.width,
        height=lens.height,
        f35_true=lens.f35,
        distance_mm=lens.distance_mm,
        tilt_deg=lens.tilt_deg,
        tilt_azimuth_deg=lens.tilt_azimuth_deg,
        roll_deg=lens.roll_deg,
        k1=lens.k1,
        k2=lens.k2,
        centre_offset_px=(float(rng.uniform(-9, 9)), float(rng.uniform(-9, 9))),
    )


def _shrink(camera: Camera, scale: float) -> Camera:
    return replace(
        camera,
        width=round(camera.width * scale) // 2 * 2,
        height=round(camera.height * scale) // 2 * 2,
        f_px=camera.f_px * scale,
        cx=(camera.cx + 0.5) * scale - 0.5,
        cy=(camera.cy + 0.5) * scale - 0.5,
    )


def _make_ring(group: Group, rng: np.random.Generator) -> PlacedRing:
    """Draw one ring of a group; it lies nowhere yet."""
    wire = group.wire_mm + group.wire_sd_mm * rng.standard_normal()
    cut = group.gap_max_mm > 0
    ends = group.out_of_line_max_mm * rng.uniform(-1, 1, 2) * cut
    shape = RingShape(
        wire_mm=float(wire),
        id_mm=float(group.id_mm + group.id_sd_mm * rng.standard_normal()),
        ovality=float(group.ovality_max * rng.uniform() ** 1.5),
        oval_direction_deg=float(rng.uniform(0, 180)),
        gap_mm=float(0.004 + group.gap_max_mm * rng.uniform() ** 3) if cut else 0.0,
        end_radial_mm=float(ends[0]),
        end_axial_mm=float(ends[1]),
        profile=group.profile,
    )
    tilt = group.tilt_max_deg * rng.uniform() ** 2
    pose = pose_of(float(rng.uniform(0, 360)), float(tilt), float(rng.uniform(0, 360)))
    return PlacedRing(
        shape=shape,
        material=group.material,
        group=f"{group.wire_mm:g}x{group.id_mm:g}",
        id_nominal_mm=group.id_mm,
        wire_nominal_mm=group.wire_mm,
        pose=pose,
        centre_mm=np.zeros(3),
    )


def _lay_wire(piece: Piece, table: Table, camera: Camera, rng: np.random.Generator) -> PlacedWire:
    """Lay a piece of wire where it meets nothing, at any angle."""
    width = piece.shape.width_mm
    room = width / 2 + WIRE_ROOM * width
    wire = PlacedWire(shape=piece.shape, material=piece.material)
    half = np.array([camera.width, camera.height]) / 2
    for _ in range(5000):
        pixel = np.array([camera.cx, camera.cy]) + half * rng.uniform(-0.9, 0.9, 2)
        x, y, _ = camera.on_plane(pixel[None])[0]
        laid = wire.at(float(x), float(y), float(rng.uniform(0, 360)))
        along = laid.centre_line()[:: max(1, int(room))]
        if all(table.is_free(*at, room) and table.is_in_frame(*at, room) for at in along):
            for at in along:
                table.take(*at, room)
            return laid
    raise ValueError(f"no free place for a wire of {piece.shape.length_mm:.0f} mm")


def _place_coin(kind: str, table: Table, rng: np.random.Generator) -> PlacedCoin:
    x, y = table.find(COINS[kind].diameter_mm / 2, spread=0.8)
    return PlacedCoin(kind=kind, x_mm=x, y_mm=y, turn_deg=float(rng.uniform(0, 360)))


def _print_circle(table: Table, rng: np.random.Generator) -> PrintedCircle:
    radius = float(rng.uniform(4, 7))
    x, y = table.find(radius)
    return PrintedCircle(x_mm=x, y_mm=y, radius_mm=radius)


def _place_rings(
    scene: Scene,
    loose: list[PlacedRing],
    table: Table,
    camera: Camera,
    rng: np.random.Generator,
) -> list[PlacedRing]:
    """Lay all rings: first the awkward ones, then the rest in rows or strewn."""
    waiting = [loose[k] for k in rng.permutation(len(loose))]
    placed: list[PlacedRing] = []
    for _ in range(scene.cut_by_frame):
        placed.append(_cut(waiting.pop(), table, camera, rng))
    for _ in range(scene.overlapping):
        placed += _overlap(waiting.pop(), waiting.pop(), table, rng)
    for _ in range(scene.touching):
        placed += _touch(waiting.pop(), waiting.pop(), table, rng)
    for _ in range(scene.standing):
        placed.append(_stand(waiting.pop(), table, rng))
    if scene.rows:
        return placed + _in_rows(waiting, table, camera, rng)
    for ring in sorted(waiting, key=lambda ring: -ring.reach_mm):
        placed.append(_at(ring, *table.find(ring.reach_mm)))
    return placed


def _at(ring: PlacedRing, x_mm: float, y_mm: float) -> PlacedRing:
    return lay(ring, x_mm=x_mm, y_mm=y_mm, pose=ring.pose)


def _cut(ring: PlacedRing, table: Table, camera: Camera, rng: np.random.Generator) -> PlacedRing:
    """Lay a ring across an edge of the picture."""
    for _ in range(1000):
        side, along = rng.integers(4), rng.uniform(0.15, 0.85)
        pixel = np.array(
            [
                (along * camera.width, 0),
                (along * camera.width, camera.height - 1),
                (0, along * camera.height),
                (camera.width - 1, along * camera.height),
            ][side]
        )
        x, y, _ = camera.on_plane(pixel[None].astype(float))[0]
        inward = -np.array([x, y]) / np.hypot(x, y)
        x, y = np.array([x, y]) + inward * ring.reach_mm * rng.uniform(-0.3, 0.5)
        if table.is_free(x, y, ring.reach_mm):
            table.take(x, y, ring.reach_mm)
            return replace(_at(ring, float(x), float(y)), partly_out_of_frame=True)
    raise ValueError("no free place along the edges of the frame")


def _overlap(
    first: PlacedRing, second: PlacedRing, table: Table, rng: np.random.Generator
) -> list[PlacedRing]:
    """Lay one ring, rest the other on it."""
    distance = (first.reach_mm + second.reach_mm) * float(rng.uniform(0.5, 0.75))
    turn = float(rng.uniform(0, 360))
    x, y = table.find((first.reach_mm + second.reach_mm + distance) / 2)
    back = distance / 2 * np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    lower = _at(first, x - float(back[0]), y - float(back[1]))
    return list(lean_on(second, lower, direction_deg=turn, distance_mm=distance))


def _touch(
    first: PlacedRing, second: PlacedRing, table: Table, rng: np.random.Generator
) -> list[PlacedRing]:
    """Lay two rings side by side, wires in contact within a hundredth of a millimetre."""
    turn = float(rng.uniform(0, 2 * np.pi))
    flat = [
        replace(ring, pose=pose_of(float(rng.uniform(0, 360)), 0, 0)) for ring in (first, second)
    ]
    distance = first.reach_mm + second.reach_mm
    x, y = table.find(distance)
    step = np.array([np.cos(turn), np.sin(turn)])
    a, b = (np.array([x, y]) + sign * step * distance / 2 for sign in (-1, 1))
    one = replace(_at(flat[0], *map(float, a)), touching=True)
    for _ in range(4):
        two = replace(_at(flat[1], *map(float, b)), touching=True)
        b = b - step * _clearance(one, two)
    return [one, replace(_at(flat[1], *map(float, b)), touching=True)]


def _clearance(one: PlacedRing, two: PlacedRing) -> float:
    near = cKDTree(one.centre_line(2881)).query(two.centre_line(2881))[0].min()
    return float(near - (one.shape.wire_mm + two.shape.wire_mm) / 2)


def _stand(ring: PlacedRing, table: Table, rng: np.random.Generator) -> PlacedRing:
    """Stand a ring on its wire, leaning a little."""
    x, y = table.find(ring.reach_mm)
    pose = pose_of(
        float(rng.uniform(60, 300)), float(rng.uniform(78, 88)), float(rng.uniform(0, 360))
    )
    return replace(lay(ring, x_mm=x, y_mm=y, pose=pose), standing=True)


def _in_rows(
    waiting: list[PlacedRing], table: Table, camera: Camera, rng: np.random.Generator
) -> list[PlacedRing]:
    """Lay rings in loose rows; cells that are taken stay free."""
    largest = max(ring.reach_mm for ring in waiting)
    for pitch in np.arange(4.4, 2.15, -0.02) * largest:
        cells = _cells(float(pitch), largest, table, camera, rng)
        if len(cells) >= len(waiting):
            break
    else:
        raise ValueError(f"{len(waiting)} rings do not fit in rows")
    for x, y in cells[: len(waiting)]:
        table.take(x, y, largest)
    return [_at(ring, x, y) for ring, (x, y) in zip(waiting, cells, strict=False)]


def _cells(
    pitch: float, reach: float, table: Table, camera: Camera, rng: np.random.Generator
) -> list[tuple[float, float]]:
    corners = np.array(
        [[0, 0], [camera.width, 0], [0, camera.height], [camera.width, camera.height]]
    )
    ground = camera.on_plane(corners.astype(float))
    low, high = ground[:, :2].min(axis=0), ground[:, :2].max(axis=0)
    start = low + ((high - low) % pitch) / 2
    cells = []
    for y in np.arange(start[1], high[1], pitch)[::-1]:
        for x in np.arange(start[0], high[0], pitch):
            px, py = np.array([x, y]) + rng.uniform(-0.06, 0.06, 2) * pitch
            if table.is_in_frame(px, py, reach) and table.is_free(px, py, reach - 0.5):
                cells.append((float(px), float(py)))
    return cells


def visible_area_mm(camera: Camera) -> NDArray[np.float64]:
    """Width and height of a rectangle around the origin that holds all that the camera sees."""
    corners = np.array(
        [[0, 0], [camera.width, 0], [0, camera.height], [camera.width, camera.height]], dtype=float
    )
    return 2 * np.abs(camera.on_plane(corners)[:, :2]).max(axis=0) + 16.0
