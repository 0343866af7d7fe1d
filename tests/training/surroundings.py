"""What lies under and around a ring: table, print, lights, phone, far room."""

import numpy as np
from numpy.typing import NDArray

from tests.training.layout import LIGHTS, ROOM_H, ROOM_W
from tests.training.materials import log_uniform, vivid

Rng = np.random.Generator
Array = NDArray[np.float64]

SURFACES = {
    "white": 0.30, "grey": 0.11, "colour": 0.12, "back-lit": 0.20, "wood": 0.08,
    "dark": 0.09, "speckle": 0.04, "mat": 0.06,
}  # fmt: skip
"""Share of each kind of table; the order numbers the groups of the evaluation table."""

ARRANGEMENTS = {
    "window": 0.26, "two lamps": 0.26, "hard lamp": 0.14, "torch": 0.12, "overhead": 0.10,
    "overcast": 0.12,
}  # fmt: skip


def pick(rng: Rng, shares: dict[str, float]) -> str:
    return str(rng.choice(list(shares), p=np.array(list(shares.values()))))


def draw_table(rng: Rng, s: NDArray[np.void]) -> int:
    """Fill the table's fields of scene `s`; returns the number of its group."""
    kind = pick(rng, SURFACES)
    s["texture_seed"] = rng.integers(1 << 30)
    s["grain_freq"] = log_uniform(rng, 0.5, 12.0)
    angle = rng.uniform(0, 2 * np.pi)
    s["grain_cos"], s["grain_sin"] = np.cos(angle), np.sin(angle)
    s["table_rough"] = 0.4
    tone = 1 + rng.normal(0, 0.03, 3)
    vary = log_uniform(rng, 0.003, 0.06)
    if kind in ("white", "back-lit"):
        base = rng.uniform(0.7, 0.92) * tone
    elif kind == "grey":
        base = log_uniform(rng, 0.12, 0.6) * tone
        vary *= 2
    elif kind == "colour":
        base = vivid(rng)
        vary *= 2
    elif kind == "wood":
        s["texture"] = 1
        s["grain_freq"] = log_uniform(rng, 0.25, 2.5)
        base = (
            np.array([0.55, 0.36, 0.20]) * log_uniform(rng, 0.25, 1.5) * (1 + rng.normal(0, 0.1, 3))
        )
        vary = rng.uniform(0.15, 0.7)
    elif kind == "dark":
        s["texture"] = int(rng.choice([0, 2, 2, 3]))
        s["grain_freq"] = log_uniform(rng, 1.0, 6.0)
        base = log_uniform(rng, 0.012, 0.10) * (1 + rng.normal(0, 0.1, 3))
        vary = rng.uniform(0.05, 0.8)
    elif kind == "speckle":
        s["texture"] = int(rng.choice([2, 3]))
        base = log_uniform(rng, 0.15, 0.8) * (1 + rng.normal(0, 0.12, 3))
        vary = rng.uniform(0.1, 0.6)
    else:  # cutting mat
        base = vivid(rng) * 0.4
    s["albedo"] = np.clip(base, 0.005, 0.95)
    s["albedo2"] = np.clip(base * (1 - vary), 0.004, 0.95)
    if kind == "back-lit":
        s["glow"] = (1 + rng.normal(0, 0.04, 3)) * 1.0
        if rng.random() < 0.5:
            s["albedo"] = s["albedo2"] = rng.uniform(0.02, 0.5)  # tablet glass instead of paper
    if rng.random() < (0.35 if kind in ("back-lit", "wood", "mat") else 0.12):
        s["table_f0"] = rng.uniform(0.02, 0.06)
        s["table_rough"] = log_uniform(rng, 0.05, 0.5)
    _sheet(rng, s, wide=kind in ("wood", "dark", "speckle"))
    _print(rng, s, often=kind == "mat")
    return list(SURFACES).index(kind)


def _sheet(rng: Rng, s: NDArray[np.void], *, wide: bool) -> None:
    half = rng.uniform(40, 160, 2) * (6 if wide or rng.random() < 0.2 else 1)
    s["sheet_half_x"], s["sheet_half_y"] = half
    s["sheet_x"], s["sheet_y"] = rng.uniform(-0.6, 0.6, 2) * half
    s["beyond"] = log_uniform(rng, 0.03, 0.7) * rng.uniform(0.6, 1.0, 3)


def _print(rng: Rng, s: NDArray[np.void], *, often: bool) -> None:
    angle = rng.uniform(0, 2 * np.pi)
    s["line_cos"], s["line_sin"] = np.cos(angle), np.sin(angle)
    s["ink"] = rng.uniform(0.02, 0.6) * rng.uniform(0.7, 1.0, 3)
    if often:
        s["ink"] = rng.uniform(0.4, 0.9)
    s["line_ink"] = rng.uniform(0.4, 1.0)
    if rng.random() < (0.7 if often else 0.13):
        s["line_step"] = log_uniform(rng, 2.0, 30.0)
        s["line_half"] = log_uniform(rng, 0.04, 0.4)
        s["line_x"], s["line_y"] = rng.uniform(0, 30, 2)
        s["line_both"] = rng.random() < 0.7
    if rng.random() < 0.06:
        s["glyph_size"] = log_uniform(rng, 0.8, 5.0)


def draw_lights(
    rng: Rng, s: NDArray[np.void], *, back_lit: bool
) -> tuple[int, NDArray[np.float32]]:
    """Fill lights and phone of scene `s`; returns the group's number and the room's map.

    Radiances are scaled so that white paper is about 1 (lights, room) or glows with 1 (back-lit).
    """
    kind = pick(rng, ARRANGEMENTS)
    height = float(s["camera"][2])
    strength = log_uniform(rng, 0.01, 0.5) if back_lit else 1.0
    ambient = {"window": 0.35, "two lamps": 0.3, "hard lamp": 0.25, "torch": 0.3,
               "overhead": 0.4, "overcast": 1.0}[kind] * log_uniform(rng, 0.3, 1.8)  # fmt: skip
    ambient = min(ambient, 1.0)
    direct = 0.0 if kind == "overcast" else 1.0 - 0.85 * ambient
    colour = 1 + rng.normal(0, 0.08, 3)
    rects: list[tuple[Array, Array, Array, float]] = []
    azimuth = rng.uniform(0, 2 * np.pi)
    if kind == "window":
        rects.append(_window(rng, azimuth))
        if rng.random() < 0.4:  # a cross bar cuts it in two
            rects = _split(rng, rects[0])
    elif kind == "two lamps":
        for k in range(2 + int(rng.random() < 0.3)):
            rects.append(_lamp(rng, azimuth + k * rng.uniform(1.2, 3.4), 40, 300))
    elif kind == "hard lamp":
        rects.append(_lamp(rng, azimuth, 15, 60))
    elif kind == "overhead":
        rects.append(_lamp(rng, azimuth, 150, 900, steep=True))
    elif kind == "torch":
        beside = np.array([np.cos(azimuth), np.sin(azimuth), 0]) * rng.uniform(7, 18)
        at = np.asarray(s["camera"], float) + beside + np.array([0, 0, -1.0])
        size = rng.uniform(2, 6)
        rects.append((at - size / 2, np.array([size, 0, 0]), np.array([0, size, 0]), 1.0))
    s["lights"] = min(len(rects), LIGHTS)
    weights = np.array([w for *_, w in rects])
    for i, (corner, e1, e2, w) in enumerate(rects[:LIGHTS]):
        light = s["light"][i]
        light["corner"], light["e1"], light["e2"] = corner, e1, e2
        light["share"] = w / weights.sum()
        middle = corner + (e1 + e2) / 2
        normal = np.cross(e1, e2)
        area = np.linalg.norm(normal)
        d2 = middle @ middle
        seen = abs(normal @ middle) / (area * np.sqrt(d2)) * middle[2] / np.sqrt(d2) * area / d2
        light["power"] = (
            np.pi * direct * strength * (w / weights.sum()) / max(seen, 1e-9)
            * colour * (1 + rng.normal(0, 0.05, 3))
        )  # fmt: skip
    s["phone_on"] = rng.random() < 0.85
    _phone(rng, s, height, ambient * strength)
    s["floor_light"] = 0.1 * ambient * strength
    return list(ARRANGEMENTS).index(kind), _room(rng, ambient * strength)


def _facing(middle: Array, wide: float, tall: float, turn: Array) -> tuple[Array, Array, Array]:
    """A rectangle at `middle` that looks at the origin, then is turned a little."""
    out = -middle / np.linalg.norm(middle) + turn
    out /= np.linalg.norm(out)
    e1 = np.cross(out, [0.0, 0.0, 1.0])
    e1 /= max(np.linalg.norm(e1), 1e-6)
    e2 = np.cross(e1, out)
    return middle - e1 * wide / 2 - e2 * tall / 2, e1 * wide, e2 * tall


def _window(rng: Rng, azimuth: float) -> tuple[Array, Array, Array, float]:
    distance, elevation = rng.uniform(500, 3000), np.radians(rng.uniform(12, 55))
    level = np.array([np.cos(azimuth) * np.cos(elevation), np.sin(azimuth) * np.cos(elevation), 0])
    middle = distance * (level + np.array([0, 0, np.sin(elevation)]))
    out = -level / np.linalg.norm(level)
    e1, e2 = np.array([-out[1], out[0], 0]), np.array([0.0, 0.0, 1.0])
    wide = distance * rng.uniform(0.25, 1.3)
    tall = min(distance * rng.uniform(0.3, 1.3), 1.9 * middle[2])
    return middle - e1 * wide / 2 - e2 * tall / 2, e1 * wide, e2 * tall, 1.0


def _split(
    rng: Rng, rect: tuple[Array, Array, Array, float]
) -> list[tuple[Array, Array, Array, float]]:
    corner, e1, e2, _ = rect
    bar = rng.uniform(0.03, 0.12)
    half = (1 - bar) / 2
    return [(corner, e1 * half, e2, 0.5), (corner + e1 * (half + bar), e1 * half, e2, 0.5)]


def _lamp(
    rng: Rng, azimuth: float, low: float, high: float, *, steep: bool = False
) -> tuple[Array, Array, Array, float]:
    elevation = np.radians(rng.uniform(60, 88) if steep else rng.uniform(22, 70))
    distance = rng.uniform(600, 2000) if steep else rng.uniform(250, 1200)
    way = [
        np.cos(azimuth) * np.cos(elevation),
        np.sin(azimuth) * np.cos(elevation),
        np.sin(elevation),
    ]
    size = log_uniform(rng, low, high)
    middle = distance * np.array(way)
    corner, e1, e2 = _facing(middle, size, size * rng.uniform(0.4, 1.0), rng.normal(0, 0.15, 3))
    return corner, e1, e2, rng.uniform(0.4, 1.0)


def _phone(rng: Rng, s: NDArray[np.void], height: float, level: float) -> None:
    wide, tall = rng.uniform(68, 80), rng.uniform(140, 168)
    angle = rng.uniform(0, 2 * np.pi)
    e1 = np.array([np.cos(angle), np.sin(angle), 0]) * wide
    e2 = np.array([-np.sin(angle), np.cos(angle), 0]) * tall
    corner = np.asarray(s["camera"], float) + np.array([0, 0, 2.0])
    corner = corner - e1 * rng.uniform(0.1, 0.6) - e2 * rng.uniform(0.06, 0.3)
    s["phone_corner"], s["phone_e1"], s["phone_e2"] = corner, e1, e2
    s["phone_light"] = rng.uniform(0.0, 0.12) * level * (1 + rng.normal(0, 0.1, 3))


def _room(rng: Rng, level: float) -> NDArray[np.float32]:
    """A patchy far room whose light on the table is `level` of white paper's radiance."""
    spread = rng.uniform(0.3, 1.4)
    coarse = np.exp(rng.normal(0, spread, (4, 8, 1)) + rng.normal(0, 0.12, (4, 8, 3)))
    zoom = np.repeat(np.repeat(coarse, ROOM_H // 4, 0), ROOM_W // 8, 1)
    zoom = 0.5 * zoom + 0.25 * np.roll(zoom, 1, 1) + 0.25 * np.roll(zoom, -1, 1)
    zoom = zoom * np.exp(rng.normal(0, 0.2, (ROOM_H, ROOM_W, 1)))
    lift = np.linspace(0, 1, ROOM_H)[:, None, None]
    zoom *= np.exp(rng.normal(0.3, 0.7) * lift)
    for _ in range(int(rng.integers(0, 4))):  # bright things: lamps far off, doors, white walls
        y, x = int(rng.integers(ROOM_H)), int(rng.integers(ROOM_W))
        wide, tall = int(rng.integers(1, 5)), int(rng.integers(1, 4))
        zoom[y : y + tall, x : x + wide] *= log_uniform(rng, 1.5, 15.0)
    if rng.random() < 0.5:  # the photographer: a dark side
        x = int(rng.integers(ROOM_W))
        zoom[: ROOM_H - 1, np.arange(x, x + 5) % ROOM_W] *= rng.uniform(0.1, 0.6)
    elevation = (np.arange(ROOM_H) + 0.5) / ROOM_H * np.pi / 2
    weight = (np.sin(elevation) * np.cos(elevation))[:, None, None]
    mean = (zoom * weight).sum((0, 1)) / (weight.sum() * ROOM_W)
    room: NDArray[np.float32] = (zoom / mean.mean() * level).astype(np.float32)
    return room
