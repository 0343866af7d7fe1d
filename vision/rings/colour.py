"""What colour a ring has, in a word a maker would use."""

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.rings.torus import outlines, ring_angles
from vision.scale.camera import Camera

Array = NDArray[np.float64]

LANES = np.array([-0.5, -0.35, 0.35, 0.45, 0.55, 0.65, 1.35, 1.5])
"""Across the wire, in s: two lanes of table, four of wire, two of table."""
GREY_CHROMA = 5.0
"""CIE Lab chroma under which a ring has no colour of its own: of 257 rendered rings of white metals
on white paper all have less than 4.3, of 309 of copper, bronze, brass and gold 99 of 100 more."""
BLACK_LIGHTNESS = 22.0
METALS = ((30.0, 62.0, "copper-coloured"), (62.0, 100.0, "brass-coloured"))
HUES = (
    (55.0, "red"),
    (88.0, "orange"),
    (115.0, "yellow"),
    (170.0, "green"),
    (225.0, "turquoise"),
    (312.0, "blue"),
    (340.0, "purple"),
    (360.0, "pink"),
)
"""Upper hue angle (degrees of Lab) of each name; sRGB's red lies at 40, its blue at 306."""
VIVID_CHROMA = 48.0
"""Chroma from which a warm hue is a dye, not a metal."""


def colours_of(photo: Photo, camera: Camera, tori: Array) -> list[str]:
    """Name the colour of the middle of each ring's wire (n, 6), the paper taken as white.

    Bright wire mirrors the room, so only clear hues are named; the rest is grey.
    """
    inner, outer = outlines(camera, tori, ring_angles(48))
    points = inner[:, None] + LANES[:, None, None] * (outer - inner)[:, None]
    if not len(tori):
        return []
    light = photo.sample(points.reshape(-1, *points.shape[2:])).reshape(*points.shape[:3], 3)
    paper = np.percentile(light[:, [0, 1, -2, -1]].reshape(len(tori), -1, 3), 80, axis=1)
    grey = np.maximum(paper, 0.02)
    metal = np.median(light[:, 2:6].reshape(len(tori), -1, 3), axis=1)
    wire = metal * grey.mean(axis=1, keepdims=True) / grey
    coded = np.clip(1.055 * np.maximum(wire, 1e-6) ** (1 / 2.4) - 0.055, 0.0, 1.0)
    lab = cv2.cvtColor(coded[None].astype(np.float32), cv2.COLOR_BGR2LAB)[0]
    return [_name(each) for each in lab]


def _name(lab: Array) -> str:
    """Name of a colour (3,), CIE Lab."""
    chroma = float(np.hypot(lab[1], lab[2]))
    if chroma < GREY_CHROMA:
        return "black" if lab[0] < BLACK_LIGHTNESS else "silver-coloured"
    hue = float(np.degrees(np.arctan2(lab[2], lab[1]))) % 360.0
    if chroma < VIVID_CHROMA:
        for low, high, name in METALS:
            if low <= hue < high:
                return name
    return next(name for top, name in HUES if hue <= top)
