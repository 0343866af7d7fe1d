"""A coin as the reference: find the disc, read its rim, stand the camera over it."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from vision.errors import ScaleError
from vision.photo.circles import Circle, Nest
from vision.photo.decode import Photo
from vision.scale.camera import Camera, focal_px, looking_down
from vision.scale.rim import Rim, trace_rim
from vision.trade.coins import Coin

Array = NDArray[np.float64]

RIM_ROUNDING_MM, U_RIM_ROUNDING_MM = 0.035, 0.015
"""How far inside the coin's true edge its strong step lies. A struck edge is rounded by 0.1 to
0.15 mm; where the rounding is steeper than 45 degrees it mirrors the table, which is 0.29 of it."""
ASSUMED_F35_MM, U_ASSUMED_F35_REL = 27.0, 0.25
"""Main camera of a phone, for photos without EXIF; 20 to 35 mm covers phones and pocket cameras."""
U_F35_REL = 0.03
"""EXIF gives whole millimetres, and its frame may be the diagonal or the width."""
RIVAL = 0.6
"""A second disc is a rival from this share of the largest one's radius."""
LAB_DIFFERENCE = 12.0
TEXTURE_RATIO, TEXTURE_LEAST = 3.0, 1.5
"""A disc is solid if its face differs from the table in colour (CIE Lab; lightness, which a
shadow changes, counts half), or is this much rougher."""
DIRECTIONS = 64
"""Directions in which the extents of the seen and the drawn rim are compared."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Disc:
    """A solid round thing in the picture, with its traced rim."""

    rim: Rim

    @property
    def place(self) -> str:
        """Where it lies, for messages."""
        return f"({self.rim.x:.0f}, {self.rim.y:.0f})"


def find_discs(photo: Photo, nests: list[Nest]) -> list[Disc]:
    """Find solid discs, largest first; small ones beside a large one are left out."""
    discs: list[Disc] = []
    for nest in sorted(nests, key=lambda n: -n.outer.radius):
        largest = discs[0].rim.radius if discs else 0.0
        if nest.outer.radius < RIVAL * largest or any(_covers(d.rim, nest) for d in discs):
            continue
        if _is_solid(photo, nest):
            rim = trace_rim(photo, _likely_rim(nest))
            if rim is not None and rim.radius > RIVAL * largest:
                discs.append(Disc(rim=rim))
    return sorted(discs, key=lambda disc: -disc.rim.radius)


def the_coin(discs: list[Disc], coin: Coin) -> Disc:
    """Choose the disc that is the coin.

    Raises
    ------
    ScaleError
        No disc, or more than one that could be it.
    """
    if not discs:
        raise ScaleError(
            f"no coin found: looked for the round outline of {coin.name} ({coin.label})",
            hint="lay the coin flat and whole in the picture, away from rings and shadows, "
            "on a surface of another colour",
        )
    if len(discs) > 1:
        raise ScaleError(
            f"{len(discs)} discs could be the coin {coin.name}: at "
            + " and ".join(disc.place for disc in discs),
            hint="leave one coin in the picture, or cover the other round things",
        )
    return discs[0]


def _likely_rim(nest: Nest) -> Circle:
    """The best covered circle, large ones preferred: beyond the rim there is only shadow."""
    return max(nest.circles, key=lambda c: min(c.cover, 1.0) + 0.5 * c.radius / nest.outer.radius)


def _covers(rim: Rim, nest: Nest) -> bool:
    return bool(np.hypot(rim.x - nest.x, rim.y - nest.y) < rim.radius)


def _is_solid(photo: Photo, nest: Nest) -> bool:
    """Whether the middle looks unlike the table around: a ring's hole shows the table."""
    outer = nest.outer
    reach = 1.4 * outer.radius
    width, height = photo.size
    left, top = int(max(0, outer.x - reach)), int(max(0, outer.y - reach))
    right, bottom = int(min(width, outer.x + reach)), int(min(height, outer.y + reach))
    if right - left < 16 or bottom - top < 16:
        return False
    shrink = 48.0 / reach
    small = cv2.resize(
        photo.bgr[top:bottom, left:right],
        None,
        fx=shrink,
        fy=shrink,
        interpolation=cv2.INTER_AREA,
    )
    lab = cv2.cvtColor(small.astype(np.float32) / 255.0, cv2.COLOR_BGR2LAB)
    rows, columns = np.indices(lab.shape[:2])
    far = np.hypot(columns / shrink + left - outer.x, rows / shrink + top - outer.y) / outer.radius
    face, table = (far > 0.25) & (far < 0.42), (far > 1.12) & (far < 1.38)
    if face.sum() < 20 or table.sum() < 20:
        return False
    change = np.median(lab[face], axis=0) - np.median(lab[table], axis=0)
    difference = float(np.hypot(0.5 * change[0], np.hypot(change[1], change[2])))
    rough = np.hypot(cv2.Sobel(lab[..., 0], -1, 1, 0), cv2.Sobel(lab[..., 0], -1, 0, 1)) / 8.0
    face_rough, table_rough = float(np.median(rough[face])), float(np.median(rough[table]))
    return difference > LAB_DIFFERENCE or face_rough > TEXTURE_RATIO * table_rough + TEXTURE_LEAST


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What is known or assumed of the camera before its place is."""

    f_px: float
    cx: float
    cy: float
    tilt_x: float = 0.0
    tilt_y: float = 0.0
    k1: float = 0.0


def first_view(photo: Photo) -> View:
    """A camera that looks straight down, with the focal length from EXIF or assumed."""
    width, height = photo.size
    f35 = photo.f35_mm or ASSUMED_F35_MM
    return View(f_px=focal_px(f35, width, height), cx=(width - 1) / 2, cy=(height - 1) / 2)


def stand_over(view: View, rim: Rim, coin: Coin, *, grow_mm: float = 0.0) -> Camera:
    """Place the camera so that the coin's upper rim is drawn where it is seen.

    The world's origin is the coin's middle. Three unknowns, the place of the lens, are fitted to
    the extents of the rim in 64 directions (the support function of both convex outlines, so
    that no point must be matched with another).

    Parameters
    ----------
    view : focal length, tilt and lens, taken as known
    grow_mm : added to the coin's diameter, to see what a doubt about it does
    """
    if coin.thickness_mm is None:
        raise ScaleError(f"the thickness of {coin.name} is unknown")
    angles = np.arange(DIRECTIONS) * (2.0 * np.pi / DIRECTIONS)
    directions = np.stack([np.cos(angles), np.sin(angles)])
    seen = (rim.points() @ directions).max(axis=0)
    radius = coin.diameter_mm / 2.0 - RIM_ROUNDING_MM + grow_mm / 2.0
    around = np.arange(4 * DIRECTIONS) * (np.pi / 2.0 / DIRECTIONS)
    circle = np.stack(
        [
            radius * np.cos(around),
            radius * np.sin(around),
            np.full_like(around, coin.thickness_mm),
        ],
        axis=-1,
    )
    rotation = looking_down(view.tilt_x, view.tilt_y)

    def camera(place: Array) -> Camera:
        return Camera(
            rotation=rotation,
            position=place,
            f_px=view.f_px,
            cx=view.cx,
            cy=view.cy,
            k1=view.k1,
        )

    def misfit(place: Array) -> Array:
        drawn = (camera(place).project(circle) @ directions).max(axis=0)
        apart: Array = drawn - seen
        return apart

    height = view.f_px * radius / rim.radius + coin.thickness_mm
    start = _towards(view, rotation, rim, height, coin.thickness_mm)
    place = least_squares(misfit, start, x_scale=(1.0, 1.0, 10.0)).x
    return camera(np.asarray(place, np.float64))


def _towards(view: View, rotation: Array, rim: Rim, distance_mm: float, height_mm: float) -> Array:
    """Place of the lens from which the coin's middle is seen where it is."""
    camera = Camera(
        rotation=rotation,
        position=np.array([0.0, 0.0, distance_mm]),
        f_px=view.f_px,
        cx=view.cx,
        cy=view.cy,
        k1=view.k1,
    )
    there = camera.to_plane(np.array([rim.x, rim.y]), height_mm)
    return np.array([-there[0], -there[1], distance_mm])
