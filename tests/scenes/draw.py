"""Scenes drawn by lot: photos that nothing was tuned on, as many as wanted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.scenes.catalogue import ANODISED, main_lens, piece, rings, tele_lens
from tests.scenes.coin import COINS
from tests.scenes.phone import Phone
from tests.scenes.scene import Group, Lens, Piece, Scene, SheetLying

METALS = (
    "aluminium",
    "aluminium_matt",
    "silver",
    "copper",
    "brass",
    "bronze",
    "gold",
    "stainless",
    "stainless_polished",
    "titanium",
    "zinc_steel",
)
OTHERS = (*ANODISED, "anodised_black", "rubber", "rubber_red")
SURFACES = {"white_paper": 0.6, "grey_card": 0.2, "blue_card": 0.1, "wood": 0.1}
LIGHTS = {
    "soft_window": 0.3,
    "overcast": 0.2,
    "two_lamps": 0.15,
    "hard_lamp": 0.1,
    "back_lit": 0.15,
    "torch": 0.05,
    "dim": 0.05,
}
"""How often each is drawn; a back-lit table has no other surface."""
EXPOSURES = {"white_paper": (190, 232), "grey_card": (110, 145), "blue_card": (95, 130)}
EXPOSURES |= {"wood": (105, 140)}
WIRES_MM = (0.64, 0.8, 1.0, 1.2, 1.29, 1.5, 1.6, 2.0)
SHEET_SHARE, WIRES_SHARE, TELE_SHARE = 0.35, 0.4, 0.3
LEAST_ROOM_MM, A5_ROOM_MM = 125.0, 168.0
"""Distance of a 26 mm lens from which it sees all of the smaller sheet, and of the larger."""


def draw_scene(number: int, seed: int, *, pieces: bool = False) -> Scene:
    """Draw scene `number` of the lot `seed`; with `pieces` few rings, and five pieces of wire."""
    rng = np.random.default_rng([seed, number])

    def one_of(shares: dict[str, float]) -> str:
        weights = np.array(list(shares.values()))
        return str(rng.choice(list(shares), p=weights / weights.sum()))

    light = one_of(LIGHTS)
    surface = "white_paper" if light == "back_lit" else one_of(SURFACES)
    on_sheet = surface == "white_paper" and rng.random() < SHEET_SHARE
    wires_mm = rng.choice(WIRES_MM, 2, replace=False)
    lens = _lens(rng, thinnest_mm=float(wires_mm.min()), on_sheet=on_sheet)
    room_mm = lens.distance_mm * 26.0 / lens.f35
    groups = tuple(_group(rng, float(wire_mm), room_mm) for wire_mm in wires_mm)
    if pieces:
        groups = (replace(groups[0], count=4),)
    exposure = float(rng.uniform(*EXPOSURES[surface]))
    return Scene(
        name=f"d{number:02}-{light}-{surface}".replace("_", "-"),
        seed=int(rng.integers(1, 2**21)),
        groups=groups,
        wires=_wires(rng, groups, pieces=pieces) if pieces or rng.random() < WIRES_SHARE else (),
        surface=surface,
        light=light,
        sheet=_sheet(rng, room_mm) if on_sheet else None,
        coins=() if on_sheet else (str(rng.choice(list(COINS))),),
        debris=("lint",) if rng.random() < 0.3 else (),
        spread=float(rng.uniform(0.8, 1.0)),
        lens=lens,
        phone=Phone(
            exposure=exposure,
            iso=float(rng.choice((50, 64, 125, 400))),
            psf_sigma_px=float(rng.uniform(0.5, 1.1)),
            contrast=float(rng.choice((0.0, 0.2, 0.4))),
            sharpen=float(rng.uniform(0.0, 0.7)),
            quality=int(rng.integers(86, 97)),
            white_balance=(float(rng.uniform(0.95, 1.08)), 1.0, float(rng.uniform(0.88, 1.05))),
        ),
    )


def _lens(rng: np.random.Generator, *, thinnest_mm: float, on_sheet: bool) -> Lens:
    """A camera near enough to see the thinnest wire 14 pixels wide."""
    tele = rng.random() < TELE_SHARE
    f35 = float(rng.uniform(50, 54) if tele else rng.uniform(24, 28))
    farthest = min(170.0, 240.0 * thinnest_mm)
    room = float(rng.uniform(0.8, 1.0)) * farthest
    distance = (max(room, LEAST_ROOM_MM) if on_sheet else room) * f35 / 26.0
    hold = {
        "tilt_deg": float(abs(rng.normal(0.0, 1.8))),
        "tilt_azimuth_deg": float(rng.uniform(0, 360)),
        "roll_deg": float(rng.normal(0.0, 3.0)),
    }
    if tele:
        return tele_lens(distance, f35, **hold)
    return main_lens(distance, f35, k1=float(rng.uniform(-0.006, 0.009)), **hold)


def _group(rng: np.random.Generator, wire_mm: float, room_mm: float) -> Group:
    material = str(rng.choice(METALS if rng.random() < 0.8 else OTHERS))
    id_mm = float(np.round(wire_mm * rng.uniform(3.0, 6.0), 1))
    # rings and the space around them cover at most an eighth of the table each
    count = int(np.clip(0.12 * room_mm**2 / (id_mm + 2 * wire_mm) ** 2 / 1.6, 4, 16))
    cut = 0.0 if material.startswith("rubber") else float(rng.choice((0.05, 0.1, 0.3)))
    return rings(material, id_mm, wire_mm, count, gap_max_mm=cut)


def _wires(
    rng: np.random.Generator, groups: tuple[Group, ...], *, pieces: bool
) -> tuple[Piece, ...]:
    """Two or three pieces, or five; the first of the rings' own wire."""
    more = 4 if pieces else int(rng.integers(1, 3))
    widths = [groups[0].wire_mm, *rng.choice(WIRES_MM, more)]
    metals = [groups[0].material, *rng.choice(METALS, len(widths) - 1)]
    return tuple(
        piece(
            str(metal),
            float(np.round(width + rng.normal(0.0, 0.01), 3)),
            float(rng.uniform(20, 38)),
            bow_radius_mm=float(rng.choice((0.0, 400.0, -600.0))),
            taper_mm=float(rng.choice((0.0, 0.0, 0.04))),
        )
        for metal, width in zip(metals, widths, strict=True)
    )


def _sheet(rng: np.random.Generator, room_mm: float) -> SheetLying:
    return SheetLying(
        paper="a5" if room_mm > A5_ROOM_MM else "a6",
        turn_deg=float(rng.normal(0.0, 3.0)),
        print_scale=(float(rng.normal(1.0, 0.002)), float(rng.normal(1.0, 0.002))),
    )
