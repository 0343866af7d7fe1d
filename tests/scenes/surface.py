"""What the rings lie on: reflectance pictures of paper, card, wood, cloth, with printed marks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import gaussian_filter, zoom

Rgb = NDArray[np.float32]

STEP_MM = 0.1
"""Pixel of a plain surface."""
MARK_STEP_MM = 0.04
"""Pixel of a surface with print on it."""


PAPERS_MM = {
    # Page, width x height, and the clear work area in its middle; pages lie on their long side.
    "a4": ((297.0, 210.0), (232.0, 152.0)),
    "letter": ((279.4, 215.9), (216.0, 152.0)),
    "a5": ((210.0, 148.0), (157.5, 97.5)),
    "a6": ((148.0, 105.0), (105.0, 65.0)),
}
"""ISO 216, ANSI/ASME Y14.1; the work areas are those of the project's own sheet."""

PAPER_REFLECTANCE = 0.82
INK_REFLECTANCE = 0.035


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLying:
    """Which printed sheet lies where, and what the printer did to it."""

    paper: str
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    print_scale: tuple[float, float] = (1.0, 1.0)
    """True size over nominal size, along width and height."""

    @property
    def size_mm(self) -> tuple[float, float]:
        """True width and height of the printed picture."""
        (width, height), _ = PAPERS_MM[self.paper]
        return width * self.print_scale[0], height * self.print_scale[1]

    def holds(self, x_mm: float, y_mm: float, radius_mm: float) -> bool:
        """Tell whether a circle on the table lies within the work area."""
        turn = np.radians(self.turn_deg)
        x, y = x_mm - self.x_mm, y_mm - self.y_mm
        along, across = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
        width, height = PAPERS_MM[self.paper][1]
        inside = abs(along) + radius_mm < width / 2 - 1, abs(across) + radius_mm < height / 2 - 1
        return all(inside)


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A rectangle on the table with its reflectance; row 0 of the picture is at +y."""

    reflectance: Rgb
    width_mm: float
    height_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedCircle:
    """A circle printed on the page; the radius is that of the middle of its line."""

    x_mm: float
    y_mm: float
    radius_mm: float
    line_mm: float = 0.7


def paint(
    kind: str,
    area_mm: tuple[float, float],
    rng: np.random.Generator,
    *,
    text_lines: int = 0,
    circles: tuple[PrintedCircle, ...] = (),
) -> Patch:
    """Paint a surface of the given kind over a rectangle around the origin, with print on it."""
    printed = text_lines > 0 or len(circles) > 0
    step = MARK_STEP_MM if printed else STEP_MM
    shape = (round(area_mm[1] / step), round(area_mm[0] / step))
    picture = KINDS[kind](shape, step, rng)
    if printed:
        ink = print_marks(text_lines, circles, shape, step)
        picture = picture * (1 - ink[..., None]) + 0.045 * ink[..., None]
    return Patch(picture.astype(np.float32), shape[1] * step, shape[0] * step)


def print_sheet(lying: SheetLying, picture: Path) -> Patch:
    """Lay a picture of a sheet, sRGB-coded, on the table as paper and ink."""
    code = np.asarray(Image.open(picture).convert("RGB"), dtype=np.float32) / 255
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    reflectance = INK_REFLECTANCE + (PAPER_REFLECTANCE - INK_REFLECTANCE) * linear
    width, height = lying.size_mm
    return Patch(
        reflectance.astype(np.float32), width, height, lying.x_mm, lying.y_mm, lying.turn_deg
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
    text_lines: int, circles: tuple[PrintedCircle, ...], shape: tuple[int, int], step: float
) -> Rgb:
    """Print text lines and circles, ink coverage in [0, 1]."""
    page = Image.new("L", (shape[1], shape[0]), 0)
    pen = ImageDraw.Draw(page)
    font = ImageFont.load_default(size=3.4 / step)
    for number in range(text_lines):
        place = (0.10 * shape[1], (0.10 + 0.79 * (number % 2)) * shape[0])
        pen.text(place, TEXTS[number % len(TEXTS)], fill=235, font=font, anchor="lm")
    ink = np.asarray(page, dtype=np.float32) / 255
    x = (np.arange(shape[1], dtype=np.float32) + 0.5 - shape[1] / 2) * step
    y = (shape[0] / 2 - 0.5 - np.arange(shape[0], dtype=np.float32)) * step
    for circle in circles:
        off_line = np.abs(
            np.hypot(x[None, :] - circle.x_mm, y[:, None] - circle.y_mm) - circle.radius_mm
        )
        ink = np.maximum(ink, 0.88 * np.clip((circle.line_mm / 2 - off_line) / step + 0.5, 0, 1))
    return gaussian_filter(ink.astype(np.float32), 0.06 / step)
