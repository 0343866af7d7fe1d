"""What the rings lie on: reflectance pictures of paper, card, wood, cloth, with printed marks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import gaussian_filter, map_coordinates, zoom

Rgb = NDArray[np.float32]

STEP_MM = 0.1
"""Pixel of a plain surface."""
MARK_STEP_MM = 0.04
"""Pixel of a surface with print on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A printed sheet given as a picture of known physical size."""

    picture: Path
    width_mm: float
    height_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    print_scale: tuple[float, float] = (1.0, 1.0)
    """True size over nominal size, along width and height: what the printer did."""


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A rectangle on the table with its reflectance; row 0 of the picture is at +y."""

    reflectance: Rgb
    width_mm: float
    height_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0


def paint(
    kind: str, marks: tuple[str, ...], area_mm: tuple[float, float], rng: np.random.Generator
) -> Patch:
    """Paint a surface of the given kind over a rectangle around the origin."""
    step = MARK_STEP_MM if marks else STEP_MM
    shape = (round(area_mm[1] / step), round(area_mm[0] / step))
    picture = KINDS[kind](shape, step, rng)
    if marks:
        ink = print_marks(marks, shape, step, rng)
        picture = picture * (1 - ink[..., None]) + 0.045 * ink[..., None]
    return Patch(picture.astype(np.float32), shape[1] * step, shape[0] * step)


def read_sheet(sheet: Sheet) -> Patch:
    """Turn a picture of a sheet into reflectance: paper 0.82, ink 0.035."""
    picture = Image.open(sheet.picture).convert("RGB")
    code = np.asarray(picture, dtype=np.float32) / 255
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return Patch(
        (0.035 + (0.82 - 0.035) * linear).astype(np.float32),
        sheet.width_mm * sheet.print_scale[0],
        sheet.height_mm * sheet.print_scale[1],
        sheet.x_mm,
        sheet.y_mm,
        sheet.turn_deg,
    )


def noise(
    shape: tuple[int, int], size_px: float | tuple[float, float], rng: np.random.Generator
) -> Rgb:
    """Smooth noise of unit spread with the given correlation length (rows, columns)."""
    sizes = (size_px, size_px) if isinstance(size_px, int | float) else size_px
    shrink = [max(1.0, size / 4) for size in sizes]
    small = tuple(int(n / s) + 8 for n, s in zip(shape, shrink, strict=True))
    rough = rng.standard_normal(small, dtype=np.float32)
    smooth = gaussian_filter(rough, [s / k for s, k in zip(sizes, shrink, strict=True)])
    grown = zoom(smooth, [(n + 6) / m for n, m in zip(shape, small, strict=True)], order=1)
    cut = grown[: shape[0], : shape[1]]
    return (cut - cut.mean()) / cut.std()


def _tinted(grey: Rgb, colour: tuple[float, float, float]) -> Rgb:
    return grey[..., None] * np.array(colour, dtype=np.float32)


def _white_paper(shape: tuple[int, int], step: float, rng: np.random.Generator) -> Rgb:
    grey = 1 + 0.005 * noise(shape, 0.12 / step, rng) + 0.006 * noise(shape, 12 / step, rng)
    return _tinted(grey, (0.80, 0.81, 0.82))


def _grey_card(shape: tuple[int, int], step: float, rng: np.random.Generator) -> Rgb:
    grey = 1 + 0.02 * noise(shape, 0.1 / step, rng) + 0.01 * noise(shape, 8 / step, rng)
    return _tinted(grey, (0.182, 0.18, 0.178))


def _blue_card(shape: tuple[int, int], step: float, rng: np.random.Generator) -> Rgb:
    grey = 1 + 0.025 * noise(shape, 0.1 / step, rng) + 0.01 * noise(shape, 8 / step, rng)
    return _tinted(grey, (0.045, 0.11, 0.34))


def _wood(shape: tuple[int, int], step: float, rng: np.random.Generator) -> Rgb:
    """Plain-sawn boards: distorted growth rings, pores along the grain."""
    row, column = np.meshgrid(
        np.arange(shape[0], dtype=np.float32) * step,
        np.arange(shape[1], dtype=np.float32) * step,
        indexing="ij",
    )
    wave = 5 * noise(shape, (25 / step, 120 / step), rng)
    wave += 0.35 * noise(shape, (2 / step, 40 / step), rng)
    ring = np.mod((row + wave + 0.03 * column) / 4.2, 1.0)
    late = np.clip((ring - 0.55) / 0.4, 0, 1) * np.clip((1 - ring) / 0.05, 0, 1)
    fibre = noise(shape, (0.15 / step, 6 / step), rng)
    pores = np.clip(noise(shape, (0.10 / step, 1.6 / step), rng) - 1.9, 0, 1)
    light, dark = np.array([0.47, 0.30, 0.165]), np.array([0.27, 0.145, 0.066])
    mix = (0.55 * late + 0.06 * fibre + 0.2)[..., None]
    colour = light * (1 - mix) + dark * mix
    return np.clip(colour * (1 - 0.55 * pores[..., None]), 0.01, 0.9).astype(np.float32)


def _dark_cloth(shape: tuple[int, int], step: float, rng: np.random.Generator) -> Rgb:
    """Plain weave of dull black threads."""
    row, column = np.meshgrid(np.arange(shape[0]) * step, np.arange(shape[1]) * step, indexing="ij")
    sway = 0.12 * noise(shape, 6 / step, rng)
    across, along = (row + sway) / 0.42, (column + sway) / 0.42
    over = (np.floor(across) + np.floor(along)) % 2
    thread = np.where(over, np.sin(np.pi * (across % 1)), np.sin(np.pi * (along % 1)))
    grey = 0.012 + 0.018 * thread + 0.003 * noise(shape, 0.15 / step, rng)
    return _tinted(np.clip(grey, 0.004, 1).astype(np.float32), (1.0, 1.0, 1.06))


def _plain(shape: tuple[int, int], step: float, rng: np.random.Generator) -> Rgb:
    return np.full((*shape, 3), 0.8, dtype=np.float32)


KINDS: dict[str, Callable[[tuple[int, int], float, np.random.Generator], Rgb]] = {
    "white_paper": _white_paper,
    "grey_card": _grey_card,
    "blue_card": _blue_card,
    "wood": _wood,
    "dark_cloth": _dark_cloth,
    "back_lit": _plain,
    "plain": _plain,
}

TEXTS = (
    "DELIVERY NOTE   lot 7   4 bags   checked by:",
    "count  ____   off size  ____   date  ____",
    "keep dry - small parts - tray 12",
)


def print_marks(
    marks: tuple[str, ...], shape: tuple[int, int], step: float, rng: np.random.Generator
) -> Rgb:
    """Print text lines and circles, ink coverage in [0, 1]."""
    page = Image.new("L", (shape[1], shape[0]), 0)
    pen = ImageDraw.Draw(page)
    for number, mark in enumerate(marks):
        if mark == "text":
            font = ImageFont.load_default(size=3.4 / step)
            place = (0.10 * shape[1], (0.10 + 0.79 * (number % 2)) * shape[0])
            pen.text(place, TEXTS[number % len(TEXTS)], fill=235, font=font, anchor="lm")
        elif mark == "circle":
            x, y = rng.uniform(0.25, 0.75, 2) * shape[::-1]
            radius = rng.uniform(5, 8) / step
            box = (x - radius, y - radius, x + radius, y + radius)
            pen.ellipse(box, outline=225, width=round(0.7 / step))
    return gaussian_filter(np.asarray(page, dtype=np.float32) / 255, 0.06 / step)


def sample(patch: Patch, x_mm: float, y_mm: float) -> NDArray[np.float64]:
    """Read the reflectance of an unturned patch at a world point."""
    rows, columns, _ = patch.reflectance.shape
    column = ((x_mm - patch.x_mm) / patch.width_mm + 0.5) * columns - 0.5
    row = (0.5 - (y_mm - patch.y_mm) / patch.height_mm) * rows - 0.5
    return np.array(
        [
            map_coordinates(patch.reflectance[..., c], [[row], [column]], order=1)[0]
            for c in range(3)
        ]
    )
