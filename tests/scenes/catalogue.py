"""The photos that are rendered, each from its own seed.

The samples tell one story: a small workshop checks a delivery of rings. The validation photos
cover materials, surfaces, lights, lenses and references, good photos and bad ones. The turned
ones show the same rings several times.
"""

from __future__ import annotations

from tests.scenes.phone import Phone
from tests.scenes.scene import Group, Lens, Piece, Scene, SheetLying
from tests.scenes.wire import WireShape

ANODISED = ("anodised_red", "anodised_blue", "anodised_green", "anodised_violet", "anodised_orange")


def rings(material: str, id_mm: float, wire_mm: float, count: int, **spread: float | str) -> Group:
    """Word a group of rings shortly."""
    return Group(material=material, id_mm=id_mm, wire_mm=wire_mm, count=count, **spread)


def piece(material: str, width_mm: float, length_mm: float, **shape: float | str) -> Piece:
    """Word a piece of wire shortly."""
    return Piece(
        material=material,
        shape=WireShape(width_mm=width_mm, length_mm=length_mm, **shape),
    )


def main_lens(distance_mm: float, f35: float = 25.8, **hold: float) -> Lens:
    """The main camera of a phone."""
    return Lens(f35=f35, distance_mm=distance_mm, **hold)


def tele_lens(distance_mm: float, f35: float = 51.8, **hold: float) -> Lens:
    """The double-length camera of a phone: hardly any distortion."""
    hold = {"k1": 0.003, "k2": -0.001, **hold}
    return Lens(f35=f35, distance_mm=distance_mm, **hold)


SAMPLES = (
    Scene(
        name="bronze-handful",
        seed=101,
        groups=(rings("bronze", 8.0, 1.6, 14),),
        coins=("eur-1",),
        lens=main_lens(135.0, tilt_deg=1.2, tilt_azimuth_deg=250.0, roll_deg=2.0),
        phone=Phone(exposure=208, white_balance=(1.02, 1.0, 0.96), taken="2026:03:02 10:11:12"),
    ),
    Scene(
        name="aluminium-forty",
        seed=102,
        groups=(rings("aluminium", 6.0, 1.2, 39), rings("aluminium", 6.6, 1.2, 1)),
        coins=("usd-0.25",),
        rows=True,
        lens=tele_lens(235.0, tilt_deg=0.8, tilt_azimuth_deg=20.0, roll_deg=-1.0),
        phone=Phone(exposure=212, quality=90, taken="2026:03:02 10:19:40"),
    ),
    Scene(
        name="anodised-colours",
        seed=103,
        groups=tuple(rings(colour, 5.0, 1.2, 6) for colour in ANODISED),
        coins=("gbp-0.01",),
        light="two_lamps",
        spread=0.9,
        lens=main_lens(115.0, f35=26.3, tilt_deg=2.1, tilt_azimuth_deg=100.0, k1=-0.005),
        phone=Phone(
            exposure=200, contrast=0.3, white_balance=(1.05, 1.0, 0.90), taken="2026:03:02 10:31:05"
        ),
    ),
    Scene(
        name="copper-and-brass",
        seed=104,
        groups=(rings("copper", 5.0, 1.0, 14), rings("brass", 5.0, 1.0, 14, id_sd_mm=0.05)),
        coins=("jpy-5",),
        spread=0.92,
        lens=main_lens(110.0, f35=24.2, tilt_deg=1.6, tilt_azimuth_deg=310.0, roll_deg=4.0),
        phone=Phone(exposure=205, contrast=0.2, taken="2026:03:02 10:44:51"),
    ),
    Scene(
        name="stainless-grey-card",
        seed=105,
        groups=(rings("stainless", 9.5, 1.6, 24),),
        coins=("eur-1",),
        surface="grey_card",
        light="two_lamps",
        rows=True,
        lens=main_lens(150.0, f35=26.1, tilt_deg=1.0, tilt_azimuth_deg=60.0),
        phone=Phone(exposure=128, iso=100, quality=88, taken="2026:03:02 11:02:33"),
    ),
    Scene(
        name="rubber-rings",
        seed=106,
        groups=(
            rings("rubber", 10.0, 2.0, 10, ovality_max=0.02, gap_max_mm=0.0),
            rings("rubber_red", 8.0, 2.0, 8, ovality_max=0.02, gap_max_mm=0.0),
        ),
        coins=("usd-0.25",),
        light="overcast",
        lens=Lens(width=3264, height=2448, f35=27.8, distance_mm=140.0, tilt_deg=2.5, k1=0.008),
        phone=Phone(exposure=206, taken="2026:03:02 11:15:20"),
    ),
    Scene(
        name="silver-on-wood",
        seed=107,
        groups=(rings("silver", 3.5, 0.8, 20),),
        coins=("gbp-0.01",),
        surface="wood",
        spread=0.8,
        lens=Lens(width=3264, height=2448, f35=52.2, distance_mm=190.0, tilt_deg=1.4),
        phone=Phone(exposure=120, iso=100, orientation=6, quality=88, taken="2026:03:02 11:27:02"),
    ),
    Scene(
        name="back-lit-sheet",
        seed=108,
        groups=(
            rings("aluminium", 6.0, 1.2, 8),
            rings("copper", 5.0, 1.0, 8),
            rings("stainless", 8.0, 1.6, 6),
        ),
        light="back_lit",
        sheet=SheetLying(paper="a6", turn_deg=1.5),
        lens=tele_lens(235.0, tilt_deg=1.1, tilt_azimuth_deg=200.0),
        phone=Phone(exposure=215, taken="2026:03:02 11:40:18"),
    ),
    Scene(
        name="brass-on-sheet",
        seed=109,
        groups=(rings("brass", 6.0, 1.2, 30),),
        sheet=SheetLying(paper="a5", turn_deg=-2.0, print_scale=(0.9985, 1.001)),
        lens=main_lens(172.0, tilt_deg=1.8, tilt_azimuth_deg=150.0, roll_deg=1.0),
        phone=Phone(exposure=206, taken="2026:03:02 11:52:44"),
    ),
    Scene(
        name="mixed-difficult",
        seed=110,
        groups=(
            rings("bronze", 8.0, 1.6, 9, gap_max_mm=0.4),
            rings("aluminium", 6.0, 1.2, 10, gap_max_mm=0.3),
            rings("anodised_blue", 5.0, 1.2, 6),
            rings("stainless", 9.5, 1.6, 5),
        ),
        coins=("eur-1",),
        overlapping=3,
        touching=2,
        standing=2,
        cut_by_frame=2,
        text_lines=1,
        circles=1,
        debris=("lint", "lint", "offcut", "nut", "bead"),
        lens=main_lens(150.0, f35=26.4, tilt_deg=3.0, tilt_azimuth_deg=35.0, roll_deg=-3.0),
        phone=Phone(exposure=200, contrast=0.3, taken="2026:03:02 12:08:09"),
    ),
    Scene(
        name="copper-fifty",
        seed=111,
        groups=(rings("copper", 5.0, 1.0, 49), rings("copper", 5.0, 1.2, 1)),
        coins=("eur-1",),
        lens=main_lens(135.0, f35=25.9, tilt_deg=1.5, tilt_azimuth_deg=280.0, roll_deg=1.5),
        phone=Phone(exposure=206, taken="2026:03:02 12:15:33"),
    ),
)

VALIDATION = (
    Scene(
        name="v01-aluminium-white-window",
        seed=201,
        groups=(rings("aluminium", 6.35, 1.29, 30), rings("aluminium", 4.76, 1.02, 12)),
        coins=("eur-1",),
        lens=main_lens(145.0, f35=26.3, tilt_deg=0.7, tilt_azimuth_deg=10.0),
        phone=Phone(exposure=195),
    ),
    Scene(
        name="v02-aluminium-white-clipped",
        seed=202,
        groups=(rings("aluminium", 7.94, 1.63, 24),),
        coins=("usd-0.25",),
        light="overcast",
        lens=main_lens(150.0, f35=25.7, tilt_deg=2.0, tilt_azimuth_deg=130.0, k1=-0.006),
        phone=Phone(exposure=285, contrast=0.2),
    ),
    Scene(
        name="v03-silver-blue-close",
        seed=203,
        groups=(rings("silver", 3.0, 0.8, 18), rings("silver", 2.4, 0.64, 14)),
        coins=("usd-0.1",),
        surface="blue_card",
        lens=main_lens(82.0, f35=25.9, tilt_deg=1.5, tilt_azimuth_deg=80.0, k1=0.009),
        phone=Phone(exposure=110, iso=80),
    ),
    Scene(
        name="v04-copper-white-lamps",
        seed=204,
        groups=(rings("copper", 8.0, 1.6, 16), rings("copper", 10.0, 2.0, 8)),
        coins=("usd-0.25",),
        light="two_lamps",
        lens=main_lens(150.0, f35=24.3, tilt_deg=3.4, tilt_azimuth_deg=290.0),
        phone=Phone(exposure=205, contrast=0.4, white_balance=(1.08, 1.0, 0.86), sharpen=0.5),
    ),
    Scene(
        name="v05-brass-wood-tele",
        seed=205,
        groups=(rings("brass", 5.0, 1.0, 24),),
        coins=("eur-1",),
        surface="wood",
        lens=tele_lens(205.0, tilt_deg=2.0, tilt_azimuth_deg=45.0, roll_deg=3.0),
        phone=Phone(exposure=125, orientation=6),
    ),
    Scene(
        name="v06-stainless-grey-hard-lamp",
        seed=206,
        groups=(rings("stainless", 6.35, 1.63, 18), rings("stainless_polished", 9.5, 2.0, 8)),
        coins=("jpy-5",),
        surface="grey_card",
        light="hard_lamp",
        lens=main_lens(135.0, f35=26.0, tilt_deg=1.0, tilt_azimuth_deg=190.0),
        phone=Phone(exposure=120, iso=125, contrast=0.3),
    ),
    Scene(
        name="v07-anodised-white-overcast",
        seed=207,
        groups=tuple(rings(colour, 6.0, 1.6, 7) for colour in (*ANODISED, "anodised_black")),
        coins=("gbp-0.01",),
        light="overcast",
        lens=main_lens(140.0, f35=27.6, tilt_deg=1.1, tilt_azimuth_deg=330.0, k1=0.007),
        phone=Phone(exposure=215),
    ),
    Scene(
        name="v08-rubber-grey-window",
        seed=208,
        groups=(
            rings("rubber", 10.0, 2.0, 8, ovality_max=0.01, gap_max_mm=0.0),
            rings("anodised_black", 8.0, 1.6, 10),
            rings("rubber_red", 6.0, 1.5, 8, ovality_max=0.01, gap_max_mm=0.0),
        ),
        coins=("usd-0.25",),
        surface="grey_card",
        lens=main_lens(150.0, f35=26.2, tilt_deg=1.9, tilt_azimuth_deg=15.0),
        phone=Phone(exposure=135),
    ),
    Scene(
        name="v09-bronze-torch",
        seed=209,
        groups=(rings("bronze", 7.0, 1.4, 24),),
        coins=("eur-1",),
        light="torch",
        lens=main_lens(140.0, f35=25.8, tilt_deg=1.4, tilt_azimuth_deg=220.0),
        phone=Phone(exposure=190, contrast=0.3),
    ),
    Scene(
        name="v10-aluminium-dark-cloth",
        seed=210,
        groups=(rings("aluminium", 6.0, 1.2, 26),),
        coins=("usd-0.25",),
        surface="dark_cloth",
        lens=main_lens(135.0, f35=26.1, tilt_deg=1.0, tilt_azimuth_deg=140.0),
        phone=Phone(exposure=38, iso=200),
    ),
    Scene(
        name="v11-mixed-dim-noisy",
        seed=211,
        groups=(rings("aluminium", 8.0, 1.6, 12), rings("copper", 6.0, 1.2, 14)),
        coins=("eur-2",),
        light="dim",
        lens=main_lens(145.0, f35=26.4, tilt_deg=2.8, tilt_azimuth_deg=75.0),
        phone=Phone(exposure=165, iso=1600, psf_sigma_px=1.0, sharpen=0.6, quality=88),
    ),
    Scene(
        name="v12-overlapping-heap",
        seed=212,
        groups=(
            rings("aluminium", 8.0, 1.6, 14, gap_max_mm=0.3),
            rings("brass", 6.0, 1.2, 16, gap_max_mm=0.3),
            rings("copper", 10.0, 1.6, 6),
        ),
        coins=("eur-1",),
        overlapping=6,
        touching=3,
        standing=2,
        cut_by_frame=3,
        debris=("lint", "offcut", "screw"),
        lens=main_lens(165.0, f35=26.0, tilt_deg=1.3, tilt_azimuth_deg=165.0),
        phone=Phone(exposure=205),
    ),
    Scene(
        name="v13-gold-back-lit",
        seed=213,
        groups=(rings("gold", 2.5, 0.5, 20), rings("gold", 4.0, 0.8, 16)),
        coins=("usd-0.01",),
        light="back_lit",
        spread=0.85,
        lens=tele_lens(182.0, tilt_deg=0.9, tilt_azimuth_deg=260.0),
        phone=Phone(exposure=212),
    ),
    Scene(
        name="v14-titanium-grey-tilted",
        seed=214,
        groups=(rings("titanium", 8.0, 1.6, 14), rings("titanium", 5.0, 1.2, 12)),
        coins=("eur-1",),
        surface="grey_card",
        light="overcast",
        lens=main_lens(165.0, f35=27.7, tilt_deg=6.0, tilt_azimuth_deg=215.0),
        phone=Phone(exposure=128),
    ),
    Scene(
        name="v15-large-steel-lamps",
        seed=215,
        groups=(
            rings("zinc_steel", 25.0, 2.5, 5, id_sd_mm=0.08),
            rings("stainless", 16.0, 2.0, 6, id_sd_mm=0.05),
        ),
        coins=("usd-0.25",),
        light="two_lamps",
        lens=main_lens(190.0, f35=26.2, tilt_deg=1.2, tilt_azimuth_deg=95.0),
        phone=Phone(exposure=200, white_balance=(1.06, 1.0, 0.9)),
    ),
    Scene(
        name="v16-sixty-small-tele",
        seed=216,
        groups=(rings("brass", 4.0, 1.0, 30), rings("aluminium", 4.0, 0.9, 30)),
        coins=("jpy-50",),
        light="overcast",
        lens=tele_lens(230.0, tilt_deg=1.0, tilt_azimuth_deg=55.0),
        phone=Phone(exposure=205),
    ),
    Scene(
        name="v17-steel-wood-hard-lamp",
        seed=217,
        groups=(rings("zinc_steel", 7.0, 1.5, 22),),
        coins=("eur-0.02",),
        surface="wood",
        light="hard_lamp",
        lens=main_lens(130.0, f35=25.6, tilt_deg=2.4, tilt_azimuth_deg=120.0),
        phone=Phone(exposure=115, iso=160, contrast=0.3),
    ),
    Scene(
        name="v18-copper-printed-page",
        seed=218,
        groups=(rings("copper", 6.0, 1.2, 22),),
        coins=("gbp-0.01",),
        text_lines=2,
        circles=2,
        debris=("lint", "bead", "nut"),
        lens=main_lens(130.0, f35=26.0, tilt_deg=1.7, tilt_azimuth_deg=30.0),
        phone=Phone(exposure=205, contrast=0.2),
    ),
    Scene(
        name="v19-sheet-aluminium-window",
        seed=219,
        groups=(rings("aluminium", 6.35, 1.29, 24),),
        sheet=SheetLying(paper="a6", turn_deg=3.0),
        lens=tele_lens(240.0, tilt_deg=1.5, tilt_azimuth_deg=175.0),
        phone=Phone(exposure=205),
    ),
    Scene(
        name="v20-sheet-copper-lamps",
        seed=220,
        groups=(rings("copper", 8.0, 1.6, 16), rings("copper", 6.0, 1.2, 16)),
        light="two_lamps",
        sheet=SheetLying(paper="a5", turn_deg=-1.0, print_scale=(1.004, 0.997)),
        lens=main_lens(178.0, f35=26.3, tilt_deg=2.2, tilt_azimuth_deg=300.0, k1=0.009),
        phone=Phone(exposure=200, contrast=0.3, white_balance=(1.06, 1.0, 0.9)),
    ),
    Scene(
        name="v21-sheet-stainless-turned",
        seed=221,
        groups=(rings("stainless", 5.0, 1.2, 26),),
        light="overcast",
        sheet=SheetLying(paper="a6", turn_deg=9.0, print_scale=(1.001, 1.002)),
        lens=main_lens(135.0, f35=26.0, tilt_deg=4.0, tilt_azimuth_deg=60.0, k1=-0.006),
        phone=Phone(exposure=210),
    ),
    Scene(
        name="v22-sheet-bronze-hard-lamp",
        seed=222,
        groups=(rings("bronze", 7.0, 1.5, 26),),
        light="hard_lamp",
        sheet=SheetLying(paper="a5", turn_deg=2.0, print_scale=(0.998, 0.999)),
        lens=main_lens(175.0, f35=25.7, tilt_deg=1.2, tilt_azimuth_deg=240.0),
        phone=Phone(exposure=205, iso=100, contrast=0.3),
    ),
    Scene(
        name="v23-sheet-silver-back-lit",
        seed=223,
        groups=(rings("silver", 4.0, 0.8, 20), rings("anodised_red", 5.0, 1.2, 12)),
        light="back_lit",
        sheet=SheetLying(paper="a6", turn_deg=-2.0),
        lens=tele_lens(235.0, tilt_deg=1.0, tilt_azimuth_deg=345.0),
        phone=Phone(exposure=215),
    ),
)

_HALF = Scene(
    name="t1-brass-half-turn-a",
    seed=301,
    groups=(rings("brass", 6.0, 1.2, 24),),
    light="hard_lamp",
    sheet=SheetLying(paper="a5", turn_deg=1.0, print_scale=(0.9985, 1.001)),
    lens=main_lens(172.0, tilt_deg=1.6, tilt_azimuth_deg=150.0),
    phone=Phone(exposure=206, taken="2026:03:03 09:10:05"),
)
_QUARTER = Scene(
    name="t2-steel-quarter-turn-a",
    seed=311,
    groups=(rings("stainless", 8.0, 1.6, 12), rings("copper", 5.0, 1.0, 8)),
    sheet=SheetLying(paper="a6", turn_deg=-1.5, print_scale=(1.002, 1.001)),
    lens=main_lens(165.0, f35=26.2, tilt_deg=2.0, tilt_azimuth_deg=40.0, k1=0.006),
    phone=Phone(exposure=204, contrast=0.2, taken="2026:03:03 09:21:40"),
)
_STEPS = Scene(
    name="t3-aluminium-camera-moved-a",
    seed=321,
    groups=(rings("aluminium", 6.0, 1.2, 16), rings("aluminium", 8.0, 1.6, 8)),
    coins=("eur-1",),
    spread=0.68,
    lens=main_lens(150.0, f35=26.3, tilt_deg=2.2, tilt_azimuth_deg=20.0),
    phone=Phone(exposure=203, taken="2026:03:03 09:34:12"),
)
_LAMP = Scene(
    name="t4-bronze-lamp-moved-a",
    seed=331,
    groups=(rings("bronze", 7.0, 1.4, 22),),
    coins=("gbp-0.01",),
    light="hard_lamp",
    spread=0.9,
    lens=main_lens(140.0, f35=25.8, tilt_deg=1.0, tilt_azimuth_deg=300.0),
    phone=Phone(exposure=200, contrast=0.3, taken="2026:03:03 09:47:58"),
)
_WINDOW = Scene(
    name="t5-wire-by-the-window-a",
    seed=341,
    groups=(rings("brass", 6.0, 1.2, 8),),
    wires=(
        piece("aluminium", 1.203, 40.0, bow_radius_mm=500.0),
        piece("silver", 1.021, 34.0),
        piece("copper", 0.807, 30.0),
        piece("stainless", 1.596, 28.0),
        piece("brass", 2.008, 36.0),
    ),
    coins=("eur-1",),
    lens=main_lens(148.0, f35=26.1, tilt_deg=1.2, tilt_azimuth_deg=60.0),
    phone=Phone(exposure=204, taken="2026:03:03 10:02:11"),
)
_LAMPS = Scene(
    name="t6-wire-under-two-lamps-a",
    seed=351,
    groups=(rings("copper", 5.0, 1.0, 8),),
    wires=(
        piece("titanium", 1.004, 32.0),
        piece("aluminium", 0.811, 36.0),
        piece("anodised_black", 1.998, 30.0),
        piece("bronze", 1.293, 38.0, bow_radius_mm=-400.0),
        piece("zinc_steel", 1.002, 26.0),
    ),
    surface="grey_card",
    light="two_lamps",
    coins=("eur-2",),
    lens=main_lens(144.0, f35=25.9, tilt_deg=0.9, tilt_azimuth_deg=210.0),
    phone=Phone(exposure=196, taken="2026:03:03 10:10:47"),
)
_QUARTER_B = _QUARTER.again(
    "t2-steel-quarter-turn-b", turned_deg=90.0, tilt_azimuth_deg=75.0, tilt_deg=1.5
)
_STEPS_B = _STEPS.again(
    "t3-aluminium-camera-moved-b", tilt_azimuth_deg=190.0, roll_deg=90.0, distance_mm=155.0
)

TURNED = (
    _HALF,
    _HALF.again("t1-brass-half-turn-b", turned_deg=180.0, tilt_azimuth_deg=120.0, roll_deg=1.5),
    _QUARTER,
    _QUARTER_B,
    _QUARTER_B.again("t2-steel-quarter-turn-c", turned_deg=180.0, tilt_azimuth_deg=20.0),
    _STEPS,
    _STEPS_B,
    # The first ring was moved before this photo.
    _STEPS_B.again(
        "t3-aluminium-camera-moved-c", tilt_azimuth_deg=110.0, roll_deg=-170.0, shifted=1
    ),
    _LAMP,
    _LAMP.again(
        "t4-bronze-lamp-moved-b", light="hard_lamp_left", tilt_azimuth_deg=250.0, roll_deg=-2.0
    ),
    _WINDOW,
    _WINDOW.again("t5-wire-by-the-window-b", turned_deg=90.0, roll_deg=90.0),
    _LAMPS,
    _LAMPS.again("t6-wire-under-two-lamps-b", turned_deg=90.0, roll_deg=90.0),
)
"""Photos of rings and wire that stay where they are, while sheet, camera or lamp move between."""

WIRES = (
    Scene(
        name="w1-copper-beside-rings",
        seed=301,
        groups=(rings("copper", 6.0, 1.2, 8),),
        wires=(
            piece("copper", 1.206, 48.0, bow_radius_mm=420.0),
            piece("copper", 1.021, 30.0),
            piece("copper", 1.632, 22.0, taper_mm=0.05),
            piece("copper", 0.812, 36.0, bow_radius_mm=-260.0),
        ),
        coins=("eur-1",),
        lens=main_lens(150.0, f35=26.0, tilt_deg=1.4, tilt_azimuth_deg=70.0),
        phone=Phone(exposure=205),
    ),
    Scene(
        name="w2-steel-and-silver-alone",
        seed=302,
        wires=(
            piece("stainless", 1.588, 40.0),
            piece("stainless_polished", 0.795, 30.0),
            piece("silver", 1.024, 34.0, bow_radius_mm=600.0),
            piece("zinc_steel", 2.05, 26.0),
            piece("titanium", 1.291, 18.0, taper_mm=-0.03),
        ),
        coins=("usd-0.25",),
        light="overcast",
        lens=main_lens(140.0, f35=26.4, tilt_deg=0.9, tilt_azimuth_deg=200.0, k1=0.007),
        phone=Phone(exposure=200),
    ),
    Scene(
        name="w3-sheet-brass-profiles",
        seed=303,
        groups=(rings("brass", 5.0, 1.0, 6),),
        wires=(
            piece("brass", 1.297, 40.0),
            piece("brass", 1.504, 28.0, profile="square"),
            piece("brass", 2.012, 26.0, profile="half-round"),
            piece("brass", 1.6, 36.0, profile="twisted"),
            piece("zinc_steel", 0.92, 24.0, form="clip"),
        ),
        light="two_lamps",
        sheet=SheetLying(paper="a6", turn_deg=2.0, print_scale=(1.001, 0.999)),
        lens=main_lens(132.0, f35=25.9, tilt_deg=1.6, tilt_azimuth_deg=130.0),
        phone=Phone(exposure=203, contrast=0.2),
    ),
    Scene(
        name="w4-sheet-back-lit-alone",
        seed=304,
        wires=(
            piece("aluminium", 1.63, 44.0, bow_radius_mm=900.0),
            piece("copper", 0.644, 30.0),
            piece("silver", 1.024, 20.0),
            piece("gold", 0.511, 25.0),
            piece("stainless", 2.588, 36.0),
            piece("anodised_black", 1.29, 28.0),
        ),
        light="back_lit",
        sheet=SheetLying(paper="a6", turn_deg=-1.5),
        lens=tele_lens(236.0, tilt_deg=1.2, tilt_azimuth_deg=310.0),
        phone=Phone(exposure=213),
    ),
    Scene(
        name="w5-grey-card-hard-lamp",
        seed=305,
        groups=(rings("stainless", 7.0, 1.5, 8),),
        wires=(
            piece("stainless", 1.506, 42.0, bow_radius_mm=350.0),
            piece("brass", 0.914, 24.0),
            piece("aluminium", 2.3, 30.0),
            piece("bronze", 1.291, 22.0, form="bent"),
        ),
        coins=("jpy-5",),
        surface="grey_card",
        light="hard_lamp",
        lens=main_lens(128.0, f35=26.1, tilt_deg=2.0, tilt_azimuth_deg=20.0),
        phone=Phone(exposure=122, iso=100, contrast=0.3),
    ),
    Scene(
        name="w6-colours-printed-page",
        seed=306,
        groups=tuple(rings(colour, 5.0, 1.2, 3) for colour in ANODISED[:3]),
        wires=(
            piece("anodised_red", 1.185, 34.0),
            piece("anodised_blue", 0.815, 26.0, bow_radius_mm=300.0),
            piece("aluminium", 1.025, 40.0),
            piece("aluminium", 3.25, 24.0),
            piece("zinc_steel", 0.6, 25.5),
        ),
        coins=("gbp-0.01",),
        light="soft_window",
        text_lines=2,
        circles=1,
        debris=("lint", "offcut"),
        lens=main_lens(135.0, f35=25.7, tilt_deg=1.5, tilt_azimuth_deg=250.0, k1=-0.005),
        phone=Phone(exposure=198, contrast=0.2),
    ),
)


def _flat(material: str, id_mm: float, wire_mm: float, count: int, profile: str) -> Group:
    """Rings of drawn or twisted wire, lying flat, their ends in line."""
    return rings(
        material,
        id_mm,
        wire_mm,
        count,
        profile=profile,
        out_of_line_max_mm=0.0,
        tilt_max_deg=0.0,
        gap_max_mm=0.05,
    )


PROFILES = (
    Scene(
        name="p1-square-brass-window",
        seed=401,
        groups=(_flat("brass", 7.0, 1.3, 9, "square"), _flat("copper", 5.0, 1.0, 9, "square")),
        coins=("eur-1",),
        lens=main_lens(140.0, f35=26.2, tilt_deg=1.1, tilt_azimuth_deg=40.0),
        phone=Phone(exposure=205),
    ),
    Scene(
        name="p2-square-steel-sheet-lamps",
        seed=402,
        groups=(_flat("stainless", 6.5, 1.5, 12, "square"),),
        light="two_lamps",
        sheet=SheetLying(paper="a6", turn_deg=1.5),
        lens=main_lens(134.0, f35=25.8, tilt_deg=1.7, tilt_azimuth_deg=170.0),
        phone=Phone(exposure=204, contrast=0.2),
    ),
    Scene(
        name="p3-half-round-silver-overcast",
        seed=403,
        groups=(
            _flat("silver", 8.0, 1.6, 8, "half-round"),
            _flat("copper", 6.0, 2.0, 8, "half-round"),
        ),
        coins=("usd-0.25",),
        light="overcast",
        lens=main_lens(138.0, f35=26.0, tilt_deg=0.8, tilt_azimuth_deg=300.0),
        phone=Phone(exposure=203),
    ),
    Scene(
        name="p4-twisted-brass-window",
        seed=404,
        groups=(_flat("brass", 8.0, 1.6, 9, "twisted"), _flat("copper", 6.0, 1.2, 9, "twisted")),
        coins=("usd-0.25",),
        lens=main_lens(136.0, f35=26.3, tilt_deg=1.4, tilt_azimuth_deg=110.0),
        phone=Phone(exposure=206),
    ),
)
"""Photos of rings of other wire than round, one profile each."""
