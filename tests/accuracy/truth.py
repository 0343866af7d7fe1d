"""Photos with exact truth, and which truth belongs to which measured ring."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve()
SAMPLES = HERE.parents[2] / "sample_images"
BESIDE = HERE.parents[3] / "shared" / "photos" / "rendered"
"""More photos with truth may lie beside the checkout; they are read where they are."""

COINS = {
    "us_quarter": "usd-0.25",
    "us_cent": "usd-0.01",
    "euro1": "eur-1",
    "euro2cent": "eur-0.02",
    "yen5": "jpy-5",
}
BESIDE_WIRE_PX = 40.0
"""A measured piece of wire is the true one whose axis is nearer than this: pieces lie further
apart, and a bow lifts the axis off its chord."""
NEAR = 0.35
"""A measured ring is the true one whose centre is nearer than this share of its outer radius."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueRing:
    """What a ring in the photo really is."""

    name: str
    material: str
    x: float
    y: float
    radius_px: float
    wire_mm: float
    id_mm: float
    measurable: bool
    only_touching: bool
    """Not called measurable because it touches a neighbour: a tool may measure it or refuse it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueWire:
    """What a piece of wire in the photo really is."""

    name: str
    material: str
    profile: str
    wire_mm: float
    taper_mm: float
    parts_px: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    """Both ends of the axis of each straight part."""
    measurable: bool
    """Straight all along: of another piece a tool may measure the straight parts or refuse it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TruePhoto:
    """A photo with its truth."""

    path: Path
    surface: str
    light: str
    coin: str | None
    sheet: bool
    bars_mm: tuple[float, float] | None
    rings: tuple[TrueRing, ...]
    profile: str = "round"
    """Of the wire of all rings."""
    wires: tuple[TrueWire, ...] = ()


def photos_with_truth(folders: list[Path]) -> list[TruePhoto]:
    """Every photo in the folders that has a truth file beside it."""
    found = []
    for folder in folders:
        for path in sorted(folder.glob("*.truth.json")):
            truth = json.loads(path.read_text(encoding="utf-8"))
            found.append(_photo(path.parent / truth["image"], truth))
    return found


def _photo(path: Path, truth: dict[str, Any]) -> TruePhoto:
    coins = truth["coins"]
    kind = coins[0]["kind"] if coins else None
    sheet = truth.get("sheet")
    return TruePhoto(
        path=path,
        surface=truth["surface"],
        light=truth["light"],
        coin=COINS.get(kind, kind) if kind else None,
        sheet=bool(sheet),
        bars_mm=tuple(sheet["bars_mm"]) if isinstance(sheet, dict) and "bars_mm" in sheet else None,
        rings=tuple(_ring(ring, truth) for ring in truth["rings"]),
        profile=next((ring.get("profile", "round") for ring in truth["rings"]), "round"),
        wires=tuple(_wire(wire) for wire in truth.get("wires", ())),
    )


def _ring(ring: dict[str, Any], truth: dict[str, Any]) -> TrueRing:
    x, y = ring.get("centre_px_display") or ring["centre_px"]
    radius = ring.get("outer_radius_px") or ring["od_mm"] / 2 / truth["mm_per_px_plane"]
    return TrueRing(
        name=ring["id"],
        material=ring["material"],
        x=x,
        y=y,
        radius_px=radius,
        wire_mm=ring["wire_mm"],
        id_mm=ring["id_mm"],
        measurable=ring["measurable"],
        only_touching=ring.get("touching", False)
        and not any(ring.get(k) for k in ("overlapped", "standing", "partly_out_of_frame")),
    )


def _wire(wire: dict[str, Any]) -> TrueWire:
    return TrueWire(
        name=wire["id"],
        material=wire["material"],
        profile=wire["profile"],
        wire_mm=wire["wire_mm"],
        taper_mm=wire["taper_mm"],
        parts_px=tuple(
            ((part[0][0], part[0][1]), (part[1][0], part[1][1]))
            for part in wire["parts_px_display"]
        ),
        measurable=wire["measurable"],
    )


def wire_at(truth: tuple[TrueWire, ...], place: tuple[float, float]) -> TrueWire | None:
    """The true piece on whose straight part a place lies, if any."""
    nearest, least = None, BESIDE_WIRE_PX
    for wire in truth:
        for first, last in wire.parts_px:
            start, way = np.array(first), np.array(last) - np.array(first)
            share = np.clip((np.array(place) - start) @ way / (way @ way), 0.0, 1.0)
            apart = float(np.hypot(*(start + share * way - place)))
            if apart < least:
                nearest, least = wire, apart
    return nearest


def match(truth: tuple[TrueRing, ...], places: np.ndarray) -> dict[int, int]:
    """Index of the place (n, 2) that belongs to each true ring, where one does."""
    matched: dict[int, int] = {}
    for index, ring in enumerate(truth):
        if not len(places):
            break
        apart = np.hypot(places[:, 0] - ring.x, places[:, 1] - ring.y)
        nearest = int(apart.argmin())
        if apart[nearest] < NEAR * ring.radius_px:
            matched[index] = nearest
    return matched
