"""Drawn photos of what is no loose ring: linked rings, a spring, washers, nuts, keys, print."""

import cv2
import numpy as np

from tests.vision.drawn import coded

SIZE_PX = (1000, 700)
PX_PER_MM = 20.0
RADIUS_PX, TUBE_PX = 75.0, 15.0
"""Centre line and half wire of the usual ring: wire 1.5 mm, ID 6 mm."""

Array = np.ndarray


class Table:
    """White paper on which things are laid one after another; light is linear."""

    def __init__(self, size: tuple[int, int] = SIZE_PX) -> None:
        self.x, self.y = np.meshgrid(np.arange(float(size[0])), np.arange(float(size[1])))
        self.light = np.full(self.x.shape, 0.7)

    def wire(self, away: Array, half_px: float, where: Array | bool = True) -> None:
        """Lay wire along a line to which every pixel's distance is given, with its soft shadow."""
        across = away / half_px
        metal = np.clip((1.0 - np.abs(across)) * half_px + 0.5, 0.0, 1.0) * where
        shadow = 0.75 + 0.25 * np.clip((np.abs(across) - 1.0) / 0.6, 0.0, 1.0)
        shade = 0.1 + 0.25 * np.sqrt(np.clip(1.0 - across**2, 0.0, 1.0))
        self.light = np.where(where, self.light * shadow, self.light)
        self.light = (1.0 - metal) * self.light + metal * shade

    def ring(
        self, x: float, y: float, where: Array | bool = True, radius: float = RADIUS_PX
    ) -> None:
        """Lay a ring; `where` keeps a part of it."""
        self.wire(np.hypot(self.x - x, self.y - y) - radius, TUBE_PX, where)

    def plate(self, inside: Array, shade: float = 0.3) -> None:
        """Lay something flat: a washer, a nut, a key."""
        soft = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 4.0)
        self.light = np.where(inside, shade, self.light * (1.0 - 0.25 * soft))

    def photo(self) -> Array:
        """The picture (h, w, 3), as a camera codes it."""
        soft = cv2.GaussianBlur(self.light.astype(np.float32), (0, 0), 0.8)
        return coded(np.repeat(soft[..., None], 3, axis=2), None).bgr


def chain() -> Array:
    """Eight rings, each through its neighbours: over at one crossing, under at the other."""
    table = Table()
    middle, places = np.array([500.0, 350.0]), []
    for k in range(8):
        turn = 2.0 * np.pi * k / 8
        places.append(middle + 180.0 * np.array([np.cos(turn), np.sin(turn)]))
    for place in places:
        table.ring(*place)
    for place, after in zip(places, [*places[1:], places[0]], strict=True):
        # Beside the line through both centres, on one side, this ring comes out on top again.
        side = (table.x - place[0]) * (after[1] - place[1]) - (table.y - place[1]) * (
            after[0] - place[0]
        )
        near = np.hypot(table.x - after[0], table.y - after[1]) < RADIUS_PX + 2.0 * TUBE_PX
        table.ring(*place, where=(side > 0) & near)
    return table.photo()


def heap() -> Array:
    """Two rings that lie on each other beside a loose one: over at both crossings."""
    table = Table()
    for place in ((250.0, 250.0), (340.0, 300.0), (750.0, 350.0)):
        table.ring(*place)
    return table.photo()


def spring() -> Array:
    """A coil of twelve turns from the side, beside a loose ring."""
    table = Table()
    for k in range(12):
        x = 200.0 + 34.0 * k
        table.wire(np.hypot((table.x - x) * 2.2, table.y - 250.0) - RADIUS_PX, 9.0)
    table.ring(500.0, 550.0)
    return table.photo()


def washers_and_nuts() -> Array:
    """A washer, a hexagon nut and a key beside a ring."""
    table = Table()
    far = np.hypot(table.x - 200.0, table.y - 200.0)
    table.plate((far > 45.0) & (far < 100.0))
    dx, dy = table.x - 520.0, table.y - 200.0
    turns = [np.cos(a) * dx + np.sin(a) * dy for a in np.arange(3) * np.pi / 3]
    table.plate((np.max(np.abs(turns), axis=0) < 85.0) & (np.hypot(dx, dy) > 45.0), 0.25)
    far = np.hypot(table.x - 200.0, table.y - 520.0)
    shaft = (table.x > 260) & (table.x < 600) & (np.abs(table.y - 520.0) < 14.0)
    bit = (table.x > 540) & (table.x < 590) & (table.y > 520) & (table.y < 580)
    table.plate(((far < 70.0) & (far > 40.0)) | shaft | bit, 0.2)
    table.ring(800.0, 500.0)
    return table.photo()


def text() -> Array:
    """A page of text in several sizes."""
    table = Table((520, 360))
    page = np.zeros(table.light.shape, np.uint8)
    y = 0
    for size in (0.6, 0.8, 1.2, 2.0):
        for _ in range(2):
            y += int(34 * size) + 4
            words = "Oo 0 8 & @ e g 6 9 Q the book of good food " * 3
            cv2.putText(page, words, (10, y), cv2.FONT_HERSHEY_COMPLEX, size, 255, 3, cv2.LINE_AA)
    table.light = table.light * (1.0 - 0.9 * page / 255.0)
    return table.photo()


PHOTOS = {
    "chain": chain,
    "heap": heap,
    "spring": spring,
    "washers and nuts": washers_and_nuts,
    "text": text,
}
