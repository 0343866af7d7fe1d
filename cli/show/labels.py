"""Where number labels go on a marked photo: beside their ring, on no other ring or label."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

DIRECTIONS_DEG = (315, 225, 45, 135, 0, 180, 270, 90, 292, 248, 22, 158, 338, 202, 68, 112)
"""Where a label may sit around its ring, best first: above right, as a reader looks for it."""

GAPS = (0.3, 0.8, 1.6)
"""How far from its ring a label may sit, in label heights."""


OUTSIDE_WEIGHT = 8.0
LABEL_WEIGHT = 4.0
"""How much worse than covering a ring it is to be cut off, or to cover another label."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """An upright rectangle in the picture, pixels."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def center(self) -> tuple[float, float]:
        """Its middle."""
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    def covers(self, other: "Box") -> float:
        """Area that two boxes share."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.bottom, other.bottom) - max(self.top, other.top)
        return max(wide, 0.0) * max(high, 0.0)

    def distance_to(self, x: float, y: float) -> float:
        """Distance of a point from the box, zero inside."""
        across = max(self.left - x, 0.0, x - self.right)
        down = max(self.top - y, 0.0, y - self.bottom)
        return float(np.hypot(across, down))


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """What a ring or a coin covers, pixels."""

    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A label that needs a place."""

    owner: Disc
    width: float
    height: float
    hole: float
    """Radius of the free middle of its ring; 0 if there is none."""


def place_labels(wanted: Sequence[Wanted], obstacles: Sequence[Disc], picture: Box) -> list[Box]:
    """Find each label a place, one after the other.

    Parameters
    ----------
    wanted : labels, in the order in which they may choose
    obstacles : every disc that no label should cover, the owners among them
    picture : the labels stay inside it

    Returns
    -------
    Boxes in the order of `wanted`. Where nothing is free beside a ring its own middle serves,
    and where that is too small the place that covers least.
    """
    centers = np.array([[disc.x, disc.y] for disc in obstacles]).reshape(-1, 2)
    radii = np.array([disc.radius for disc in obstacles])
    placed: list[Box] = []
    for label in wanted:
        reach = label.owner.radius + 3 * (label.width + label.height)
        offsets = centers - (label.owner.x, label.owner.y)
        near = np.hypot(offsets[:, 0], offsets[:, 1]) < reach + radii
        discs = [disc for disc, is_near in zip(obstacles, near, strict=True) if is_near]
        placed.append(_best_place(label, discs, placed, picture))
    return placed


def _best_place(label: Wanted, discs: Sequence[Disc], placed: Sequence[Box], picture: Box) -> Box:
    others = [disc for disc in discs if disc is not label.owner]
    best, least = None, np.inf
    for box, in_own_hole in _candidates(label):
        cost = _cost(box, others if in_own_hole else discs, placed, picture)
        if cost < least:
            best, least = box, cost
        if cost == 0.0:
            break
    assert best is not None
    return best


def _candidates(label: Wanted) -> Iterator[tuple[Box, bool]]:
    """Beside the ring, then in its middle, then further out."""
    nearest, *further = GAPS
    yield from ((box, False) for box in _around(label, nearest))
    if np.hypot(label.width, label.height) / 2 < label.hole:
        yield _box_at(label, label.owner.x, label.owner.y), True
    for gap in further:
        yield from ((box, False) for box in _around(label, gap))


def _around(label: Wanted, gap: float) -> Iterator[Box]:
    """Boxes around a ring, clear of it by `gap` label heights."""
    reach = label.owner.radius + gap * label.height
    for degrees in DIRECTIONS_DEG:
        dx, dy = float(np.cos(np.radians(degrees))), float(np.sin(np.radians(degrees)))
        x = label.owner.x + reach * dx + label.width / 2 * _side(dx)
        y = label.owner.y + reach * dy + label.height / 2 * _side(dy)
        yield _box_at(label, x, y)


def _side(part: float) -> float:
    """Whole half-size from the diagonal on, less towards the axis where it is not needed."""
    return float(np.clip(part * np.sqrt(2.0), -1.0, 1.0))


def _box_at(label: Wanted, x: float, y: float) -> Box:
    return Box(
        left=x - label.width / 2,
        top=y - label.height / 2,
        right=x + label.width / 2,
        bottom=y + label.height / 2,
    )


def _cost(box: Box, discs: Sequence[Disc], placed: Sequence[Box], picture: Box) -> float:
    """Zero where the box is free, else larger the more it covers."""
    outside = (box.right - box.left) * (box.bottom - box.top) - box.covers(picture)
    cost = OUTSIDE_WEIGHT * outside + LABEL_WEIGHT * sum(box.covers(other) for other in placed)
    for disc in discs:
        bite = disc.radius - box.distance_to(disc.x, disc.y)
        cost += max(bite, 0.0) * (box.bottom - box.top)
    return cost
