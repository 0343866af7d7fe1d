"""Lines, dashes, hatches and letters on a picture; every length in pixels."""

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Points = NDArray[np.float64]
Colour = tuple[int, int, int]
"""Blue, green, red, as OpenCV has them."""

DASHES = 24
"""Dashes around a dashed outline."""

HATCH_OFFSETS = (-0.75, -0.375, 0.0, 0.375, 0.75)
"""Where hatching lines cross a disc, in radii from its centre."""

SUBPIXEL_BITS = 4
"""OpenCV draws at 1/16 px."""

FONT_WEIGHT = 600
CAPITALS_PART = 0.76
"""Height of the font's capitals and digits as part of its size."""

INK: Colour = (25, 25, 25)


def draw_closed(picture: Picture, outline: Points, colour: Colour, line: int) -> None:
    """Draw a closed outline (m, 2), centred on its points."""
    _draw(picture, [outline], colour, line, closed=True)


def draw_dashed(picture: Picture, outline: Points, colour: Colour, line: int) -> None:
    """Draw a closed outline (m, 2) in dashes of equal length."""
    closed = np.vstack([outline, outline[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    ends = np.linspace(0.0, along[-1], 2 * DASHES + 1)
    dashes = []
    for start, end in zip(ends[:-1:2], ends[1::2], strict=True):
        at = np.linspace(start, end, 8)
        dashes.append(np.stack([np.interp(at, along, closed[:, axis]) for axis in (0, 1)], axis=1))
    _draw(picture, dashes, colour, line, closed=False)


def draw_hatched(
    picture: Picture, center: tuple[float, float], radius: float, colour: Colour, line: int
) -> None:
    """Draw a disc's circle and fill it with lines along both diagonals."""
    middle = np.asarray(center)
    lines = []
    for along in (np.array([1.0, 1.0]), np.array([1.0, -1.0])):
        along = along / math.sqrt(2.0)
        across = np.array([-along[1], along[0]])
        for offset in HATCH_OFFSETS:
            foot = middle + offset * radius * across
            half = math.sqrt(1.0 - offset * offset) * radius * along
            lines.append(np.stack([foot - half, foot + half]))
    _draw(picture, lines, colour, line, closed=False)
    draw_closed(picture, circle(center, radius), colour, line)


def draw_line(picture: Picture, start: Points, end: Points, colour: Colour, line: int) -> None:
    """Draw a straight line between two points (2,)."""
    _draw(picture, [np.stack([start, end])], colour, line, closed=False)


def circle(center: tuple[float, float], radius: float) -> Points:
    """Points (180, 2) of a circle."""
    angles = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
    points: Points = np.asarray(center) + radius * np.stack(
        [np.cos(angles), np.sin(angles)], axis=1
    )
    return points


def text_width(text: str, size: int) -> int:
    """Width of a line of text."""
    return int(cv2.getTextSize((0, 0), text, (0, 0), cv2.FontFace("sans"), size, FONT_WEIGHT)[2])


def text_height(size: int) -> int:
    """Height of capitals and digits."""
    return round(CAPITALS_PART * size)


def write(picture: Picture, text: str, left: int, bottom: int, size: int) -> None:
    """Write a line of text whose capitals stand on `bottom`."""
    cv2.putText(picture, text, (left, bottom), INK, cv2.FontFace("sans"), size, FONT_WEIGHT)


def _draw(
    picture: Picture, lines: Sequence[Points], colour: Colour, width: int, *, closed: bool
) -> None:
    points = [np.round(line * 2**SUBPIXEL_BITS).astype(np.int32) for line in lines]
    cv2.polylines(picture, points, closed, colour, width, cv2.LINE_AA, SUBPIXEL_BITS)
