"""Rings photographed several times, drawn from the model that the combination assumes."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.cli.fakes import result
from vision.results import Quantity, Result, Ring, Status
from vision.scale.camera import Camera, looking_down
from vision.scale.coin import U_RIM_ROUNDING_MM
from vision.spotcheck.model import RIM_SHARE
from vision.trade.coins import find_coin

COIN = find_coin("eur-1")
U_WIRE_MM, U_ID_MM = 0.010, 0.014
"""Outline."""
U_TRACE_REL, U_TILT_REL, U_HEIGHT_REL, U_FLAT_REL = 0.0010, 0.0010, 0.0006, 0.0008


def strewn(rng: np.random.Generator, n: int, *, around: float = 16.0) -> np.ndarray:
    """Places (n, 2) mm around a coin, at least 14 mm apart."""
    places: list[np.ndarray] = []
    while len(places) < n:
        place = rng.uniform((-75.0, -55.0), (75.0, 55.0))
        if np.hypot(*place) > around and all(np.hypot(*(place - p)) > 14.0 for p in places):
            places.append(place)
    return np.array(places)


def grid(columns: int, rows: int, *, pitch: float = 16.0) -> np.ndarray:
    """Places of a regular grid with the coin in a gap in its middle."""
    x, y = np.meshgrid(np.arange(columns) - (columns - 1) / 2, np.arange(rows) - (rows - 1) / 2)
    places = pitch * np.stack([x.ravel(), y.ravel()], axis=1)
    return places[np.hypot(*places.T) > 1.0]


def turned(places: np.ndarray, degrees: float) -> np.ndarray:
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return places @ np.array([[cos, sin], [-sin, cos]])


def photograph(
    rng: np.random.Generator,
    wires: np.ndarray,
    insides: np.ndarray,
    places: np.ndarray,
    *,
    files: Sequence[str] = ("a.jpg", "b.jpg"),
    turns: Sequence[float] = (0.0, 180.0),
    chance: Sequence[float] | float = 1.0,
    bias_rel: Sequence[float] = (),
    kind: str = "coin",
) -> list[Result]:
    """Draw the photos; what they share is drawn once.

    Parameters
    ----------
    chance : true over stated scatter of single readings, by photo
    bias_rel : what each photo reads too large as a whole, beyond what it states
    """
    n, p = len(wires), len(files)
    lasting_rel = float(np.hypot(COIN.u_diameter_mm, 2 * U_RIM_ROUNDING_MM)) / COIN.diameter_mm
    coin_rel = float(np.hypot(lasting_rel, U_TRACE_REL))
    shared = rng.normal(0.0, np.hypot(lasting_rel, U_HEIGHT_REL)) + rng.normal(0.0, U_TILT_REL)
    shared = shared + rng.normal(0.0, U_FLAT_REL, n)
    rim = np.sqrt(RIM_SHARE) * rng.normal(0.0, 1.0, n)
    level = np.broadcast_to(np.asarray(chance, float), (p,)) * np.sqrt(1.0 - RIM_SHARE)
    bias = tuple(bias_rel) or (0.0,) * p
    made = []
    for j in range(p):
        grown = shared + rng.normal(0.0, U_TRACE_REL) + bias[j]
        edge = rim + level[j] * rng.normal(0.0, 1.0, n)
        seen_wires = wires * (1.0 + grown) + U_WIRE_MM * edge
        seen_insides = insides * (1.0 + grown) - U_ID_MM * edge
        lie = turned(places, turns[j] if kind == "coin" else 0.0)
        order = np.lexsort(lie.T) if kind == "coin" else np.arange(n)
        rings = [
            _ring(number, float(seen_wires[i]), float(seen_insides[i]), lie[i], coin_rel)
            for number, i in enumerate(order, start=1)
        ]
        made.append(_photo(files[j], rings, turns[j], kind))
    return made


def truth_of(results: Sequence[Result], places: np.ndarray, ring: Ring) -> int:
    """Which true ring lies under a ring of the first photo."""
    away = np.hypot(*(places - np.array(ring.center_mm)).T)
    return int(away.argmin())


def _photo(file: str, rings: Sequence[Ring], turn: float, kind: str) -> Result:
    bare = result(rings, file=file)
    angle = np.radians(-turn if kind == "sheet" else 0.0)
    spin = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    )
    camera = Camera(
        rotation=looking_down(0.0, 0.0) @ spin.T,
        position=np.array([0.0, 0.0, 200.0]),
        f_px=2000.0,
        cx=320.0,
        cy=240.0,
    )
    reference = COIN.name if kind == "coin" else "a5"
    return replace(bare, scale=replace(bare.scale, kind=kind, reference=reference, camera=camera))


def _ring(number: int, wire: float, inside: float, place: np.ndarray, coin_rel: float) -> Ring:
    def quantity(value: float, outline: float, ratio: bool = False) -> Quantity:
        scale = 0.0 if ratio else value
        return Quantity(
            value=value,
            parts={
                "outline": outline,
                "lies not flat": U_FLAT_REL * value,
                "coin": coin_rel * scale,
                "camera height": U_HEIGHT_REL * scale,
                "tilt and lens": U_TILT_REL * scale,
            },
        )

    px = (320.0 + 4.0 * float(place[0]), 240.0 - 4.0 * float(place[1]))
    u_ratio = inside / wire * (U_WIRE_MM / wire + U_ID_MM / inside)
    return Ring(
        number=number,
        center_px=px,
        center_mm=(float(place[0]), float(place[1])),
        radius_px=20.0,
        status=Status.MEASURED,
        wire_mm=quantity(wire, U_WIRE_MM),
        id_mm=quantity(inside, U_ID_MM),
        od_mm=quantity(inside + 2 * wire, abs(2 * U_WIRE_MM - U_ID_MM) + 0.004),
        ar=quantity(inside / wire, u_ratio, ratio=True),
        ovality=0.003,
        gap_mm=0.05,
    )
