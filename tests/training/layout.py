"""The record of one scene, shared by numpy and the tracer: one list of fields makes both."""

import numpy as np

ROOM_W, ROOM_H = 24, 8
"""Cells of the far room's map: azimuth x elevation (horizon to zenith)."""

SOLIDS, FINISHES, LIGHTS = 3, 3, 4
"""Most solids, finishes and lights of a scene."""

Fields = list[tuple[str, str, int]]

SOLID: Fields = [
    ("kind", "i4", 1),  # 0 bent wire, 1 disc, 2 a straight piece, hardly bowed
    ("section", "i4", 1),  # 0 round, 1 square, 2 half-round, 3 half-round inside, 4 twisted
    ("plain", "i4", 1),  # 1: closed ring without ends
    ("finish", "i4", 1),
    ("centre", "f4", 3),
    ("axes", "f4", 9),  # rows: the solid's own axes in the world
    *[
        (name, "f4", 1)
        for name in [
            "radius",
            "tube",
            "oval_cos",
            "oval_sin",
            "gap_cos",
            "gap_sin",
            "gap_half",
            "step_r",
            "step_z",
            "step_mid",
            "step_power",
            "slant_r",
            "slant_z",
            "wedge_r",
            "wedge_z",
            "burr",
            "burr_r",
            "burr_z",
            "round_mm",
            "reach_z",
            "reach_r",
            "safety",
            "bound",  # radius around the centre line that holds the cross-section
            "corner",  # rounding of a square's edges
            "twist",  # radians a mm, of strands
            "half_length",  # of a straight piece
        ]
    ],
]
FINISH: Fields = [
    ("metal", "i4", 1),
    ("beckmann", "i4", 1),
    ("seed", "i4", 1),
    *[(name, "f4", 3) for name in ["eta", "k", "tint", "diffuse", "dirt_colour"]],
    *[
        (name, "f4", 1)
        for name in [
            "f0",
            "rough_along",
            "rough_across",
            "streak",
            "streak_freq",
            "mark",
            "mark_freq",
            "dirt",
            "dirt_freq",
        ]
    ],
]
LIGHT: Fields = [*[(name, "f4", 3) for name in ["corner", "e1", "e2", "power"]], ("share", "f4", 1)]
SCENE: Fields = [
    *[
        (name, "i4", 1)
        for name in [
            "size",
            "seed",
            "paths",
            "paths_far",
            "bounces",
            "solids",
            "lights",
            "phone_on",
            "texture",
            "texture_seed",
            "line_both",
        ]
    ],
    ("camera", "f4", 3),
    ("eye", "f4", 9),  # pixel (x, y, 1) to direction in the world
    *[
        (name, "f4", 1)
        for name in [
            "focus_x",
            "focus_y",
            "focus_z",
            "near_from",
            "near_to",
            "white",
            "sheet_x",
            "sheet_y",
            "sheet_half_x",
            "sheet_half_y",
            "grain_cos",
            "grain_sin",
            "grain_freq",
            "table_f0",
            "table_rough",
            "line_step",
            "line_cos",
            "line_sin",
            "line_x",
            "line_y",
            "line_half",
            "line_ink",
            "glyph_size",
            "circle_x",
            "circle_y",
            "circle_radius",
            "circle_half",
            "circle_hollow",
        ]
    ],
    *[
        (name, "f4", 3)
        for name in [
            "albedo",
            "albedo2",
            "glow",
            "ink",
            "beyond",
            "floor_light",
            "phone_corner",
            "phone_e1",
            "phone_e2",
            "phone_light",
        ]
    ],
]


def _dtype(fields: Fields) -> list[tuple[str, str] | tuple[str, str, tuple[int]]]:
    return [(name, kind, (count,)) if count > 1 else (name, kind) for name, kind, count in fields]


SOLID_T = np.dtype(_dtype(SOLID))
FINISH_T = np.dtype(_dtype(FINISH))
LIGHT_T = np.dtype(_dtype(LIGHT))
SCENE_T = np.dtype(
    [
        *_dtype(SCENE),
        ("solid", SOLID_T, (SOLIDS,)),
        ("finish", FINISH_T, (FINISHES,)),
        ("light", LIGHT_T, (LIGHTS,)),
    ]
)


def header() -> str:
    """Write the same records as C structs."""

    def struct(name: str, fields: Fields, extra: str = "") -> str:
        kinds = {"i4": "int", "f4": "float"}
        lines = [
            f"  {kinds[kind]} {field}{f'[{count}]' if count > 1 else ''};"
            for field, kind, count in fields
        ]
        return f"struct {name} {{\n" + "\n".join(lines) + f"\n{extra}}};\n"

    extra = f"  Solid solid[{SOLIDS}];\n  Finish finish[{FINISHES}];\n  Light light[{LIGHTS}];\n"
    return (
        f"#pragma once\n#define ROOM_W {ROOM_W}\n#define ROOM_H {ROOM_H}\n"
        + struct("Solid", SOLID)
        + struct("Finish", FINISH)
        + struct("Light", LIGHT)
        + struct("Scene", SCENE, extra)
    )
