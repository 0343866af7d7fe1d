"""Coins as solid discs: published sizes, an invented relief, a plain or reeded edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from tests.scenes.mesh import Mesh, grid_faces, join

RIM_MM = 0.9
FIELD_DEPTH_MM = 0.11
"""How far the field lies below the rim."""
RELIEF_MM = 0.09
BEVEL_MM = 0.07
REED_DEPTH_MM = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class CoinKind:
    """Size of a coin as its mint publishes it, and what it is made of."""

    diameter_mm: float
    thickness_mm: float
    hole_mm: float = 0.0
    reeds: int = 0
    material: str = "cupronickel"
    core_mm: float = 0.0
    """Diameter of the inner part of a coin of two metals; 0 for one metal."""
    core_material: str = "cupronickel"


COINS = {
    # Council Regulation (EU) 729/2014, Annex I; thickness indicative.
    "eur-1": CoinKind(diameter_mm=23.25, thickness_mm=2.33, material="nickel_brass", core_mm=16.3),
    "eur-2": CoinKind(
        diameter_mm=25.75,
        thickness_mm=2.20,
        reeds=260,
        core_mm=18.2,
        core_material="nickel_brass",
    ),
    "eur-0.02": CoinKind(diameter_mm=18.75, thickness_mm=1.67, material="copper_coin"),
    # United States Mint, Coin Specifications.
    "usd-0.25": CoinKind(diameter_mm=24.26, thickness_mm=1.75, reeds=119),
    "usd-0.1": CoinKind(diameter_mm=17.91, thickness_mm=1.35, reeds=118),
    "usd-0.01": CoinKind(diameter_mm=19.05, thickness_mm=1.52, material="copper_coin"),
    # The Royal Mint, one-penny page.
    "gbp-0.01": CoinKind(diameter_mm=20.3, thickness_mm=1.65, material="copper_coin"),
    # Japan Mint, coins made now; thickness measured by others.
    "jpy-5": CoinKind(diameter_mm=22.0, thickness_mm=1.5, hole_mm=5.0, material="nickel_brass"),
    "jpy-50": CoinKind(diameter_mm=21.0, thickness_mm=1.7, hole_mm=4.0, reeds=120),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedCoin:
    """A coin lying on the table."""

    kind: str
    x_mm: float
    y_mm: float
    turn_deg: float

    def meshes(self) -> dict[str, Mesh]:
        """Build the coin in the world, one mesh a metal."""
        turn = np.radians(self.turn_deg)
        rotation = np.array(
            [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]]
        )
        shift = np.array([self.x_mm, self.y_mm, 0.0])
        parts = coin_meshes(COINS[self.kind])
        return {material: mesh.moved(rotation, shift) for material, mesh in parts.items()}


def coin_meshes(kind: CoinKind) -> dict[str, Mesh]:
    """Build a coin standing on z = 0 at the origin, one mesh a metal."""
    inner, outer = kind.hole_mm / 2, kind.diameter_mm / 2
    relief = draw_relief(kind)
    if not kind.core_mm:
        return {kind.material: join([_face(kind, relief, inner, outer), *_edges(kind)])}
    core = kind.core_mm / 2
    return {
        kind.core_material: _face(kind, relief, inner, core),
        kind.material: join([_face(kind, relief, core, outer), *_edges(kind)]),
    }


def draw_relief(kind: CoinKind, size: int = 1024) -> NDArray[np.float64]:
    """Draw an invented face, heights in [0, 1], over the square around the coin."""
    picture = Image.new("L", (size, size), 0)
    pen = ImageDraw.Draw(picture)
    middle, unit = size / 2, size / 2 / (kind.diameter_mm / 2)
    rim = (kind.diameter_mm / 2 - RIM_MM) * unit
    for turn in np.arange(0, 2 * np.pi, np.pi / 30):
        x, y = middle + 0.93 * rim * np.cos(turn), middle + 0.93 * rim * np.sin(turn)
        pen.ellipse((x - 7, y - 7, x + 7, y + 7), fill=255)
    for petal in range(7):
        turn = 2 * np.pi * petal / 7
        for step in np.linspace(0.28, 0.62, 40):
            swing = turn + 0.9 * (step - 0.28)
            x, y = middle + step * rim * np.cos(swing), middle + step * rim * np.sin(swing)
            half = 26 * np.sin(np.pi * (step - 0.26) / 0.4)
            pen.ellipse((x - half, y - half, x + half, y + half), fill=210)
    _letter(picture, "SPECIMEN  NO VALUE", middle, 0.78 * rim)
    soft = picture.filter(ImageFilter.GaussianBlur(2.5))
    return np.asarray(soft, dtype=np.float64)[::-1] / 255


def _letter(picture: Image.Image, text: str, middle: float, radius: float) -> None:
    """Write letters around a circle."""
    font = ImageFont.load_default(size=64)
    for number, letter in enumerate(text):
        tile = Image.new("L", (90, 90), 0)
        ImageDraw.Draw(tile).text((45, 45), letter, fill=230, font=font, anchor="mm")
        turn = 360 * number / len(text)
        tile = tile.rotate(-turn, resample=Image.Resampling.BICUBIC)
        x = middle + radius * np.sin(np.radians(turn))
        y = middle - radius * np.cos(np.radians(turn))
        picture.paste(255, (int(x - 45), int(y - 45)), tile)


def _height(
    kind: CoinKind,
    relief: NDArray[np.float64],
    radius: NDArray[np.float64],
    angle: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Height of the face: rim, field, relief."""
    size = len(relief)
    scale = (size - 1) / kind.diameter_mm
    column = np.clip((radius * np.cos(angle) + kind.diameter_mm / 2) * scale, 0, size - 1)
    row = np.clip((radius * np.sin(angle) + kind.diameter_mm / 2) * scale, 0, size - 1)
    bump = relief[row.round().astype(int), column.round().astype(int)]
    inside = np.clip((kind.diameter_mm / 2 - RIM_MM - radius) / 0.15, 0, 1)
    if kind.hole_mm:
        inside = inside * np.clip((radius - kind.hole_mm / 2 - 0.7) / 0.15, 0, 1)
    if kind.core_mm:
        groove = np.exp(-(((radius - kind.core_mm / 2) / 0.08) ** 2))
        inside = inside + groove * 0.5
    ease = inside * inside * (3 - 2 * np.minimum(inside, 1))
    return kind.thickness_mm - FIELD_DEPTH_MM * ease + RELIEF_MM * bump * np.minimum(ease, 1)


def _turns(kind: CoinKind) -> NDArray[np.float64]:
    """Angles around the coin, fine enough for its reeds."""
    return np.linspace(0, 2 * np.pi, 8 * kind.reeds + 1 if kind.reeds else 961)


def _face(kind: CoinKind, relief: NDArray[np.float64], inner: float, outer: float) -> Mesh:
    """Build the upper face between two radii."""
    last = outer - BEVEL_MM if outer == kind.diameter_mm / 2 else outer
    first = inner + BEVEL_MM if kind.hole_mm and inner == kind.hole_mm / 2 else inner
    radius = np.linspace(first, last, max(40, int((last - first) / 0.07)))
    r, a = np.meshgrid(radius, _turns(kind), indexing="ij")
    z = _height(kind, relief, r, a)
    vertices = np.stack([r * np.cos(a), r * np.sin(a), z], axis=-1)
    slope_r = np.gradient(z, radius, axis=0)
    slope_a = np.gradient(z, a[0], axis=1) / np.maximum(r, 1e-3)
    slope_a[:, 0] = slope_a[:, -1] = 0.0
    normals = np.stack(
        [
            -slope_r * np.cos(a) + slope_a * np.sin(a),
            -slope_r * np.sin(a) - slope_a * np.cos(a),
            np.ones_like(z),
        ],
        axis=-1,
    )
    return _sheet(vertices, normals)


def _edges(kind: CoinKind) -> list[Mesh]:
    """Build bevel and outer wall, and the wall of a hole."""
    turns = _turns(kind)
    depth = REED_DEPTH_MM * (0.5 - 0.5 * np.cos(kind.reeds * turns)) if kind.reeds else 0 * turns
    top = kind.thickness_mm
    quarter = np.linspace(np.pi / 2, 0, 7)
    outer = kind.diameter_mm / 2
    profile = [
        (
            outer - BEVEL_MM + BEVEL_MM * np.cos(q),
            top - BEVEL_MM + BEVEL_MM * np.sin(q),
            np.cos(q),
            np.sin(q),
        )
        for q in quarter
    ]
    profile.append((outer, 0.0, 1.0, 0.0))
    walls = [_revolve(profile, turns, depth)]
    if kind.hole_mm:
        hole = kind.hole_mm / 2
        profile = [
            (hole, 0.0, -1.0, 0.0),
            *(
                (
                    hole + BEVEL_MM - BEVEL_MM * np.cos(q),
                    top - BEVEL_MM + BEVEL_MM * np.sin(q),
                    -np.cos(q),
                    np.sin(q),
                )
                for q in quarter[::-1]
            ),
        ]
        walls.append(_revolve(profile, turns, 0 * turns))
    return walls


def _revolve(
    profile: list[tuple[float, float, float, float]],
    turns: NDArray[np.float64],
    depth: NDArray[np.float64],
) -> Mesh:
    """Turn a profile of (radius, height, normal outwards, normal upwards) about the axis."""
    rows = np.array(profile)
    # Reeds are cut into the wall and run out on the bevel.
    bite = np.clip(rows[:, 2], 0, 1)[:, None] * depth[None, :]
    radius = rows[:, :1] - bite
    slope = np.gradient(depth, turns)[None, :] / rows[:, :1] * np.clip(rows[:, 2:3], 0, 1)
    cos, sin = np.cos(turns), np.sin(turns)
    vertices = np.stack(np.broadcast_arrays(radius * cos, radius * sin, rows[:, 1:2]), axis=-1)
    out, up = rows[:, 2:3], rows[:, 3:4]
    normals = np.stack(
        np.broadcast_arrays(out * cos - slope * sin, out * sin + slope * cos, up), axis=-1
    )
    return _sheet(vertices, normals)


def _sheet(vertices: NDArray[np.float64], normals: NDArray[np.float64]) -> Mesh:
    rows, columns, _ = vertices.shape
    flat = normals.reshape(-1, 3)
    flat = flat / np.linalg.norm(flat, axis=1, keepdims=True)
    points = vertices.reshape(-1, 3)
    faces = grid_faces(rows, columns)
    return Mesh(points, flat, points[:, :2].copy(), _facing(points, flat, faces))


def _facing(
    points: NDArray[np.float64], normals: NDArray[np.float64], faces: NDArray[np.int32]
) -> NDArray[np.int32]:
    """Order the corners of each triangle so that it faces along its vertex normals."""
    a, b, c = (points[faces[:, k]] for k in range(3))
    wrong = np.sum(np.cross(b - a, c - a) * normals[faces[:, 0]], axis=1) < 0
    turned = faces.copy()
    turned[wrong] = turned[wrong][:, ::-1]
    return turned
