"""What else lies on the table: things among the rings that are no measurable ring.

Nothing is dropped in silence: a standing ring, a heap, a ring at the photo's edge and a crumb are
told apart from the table by colour and lightness, and listed with the reason why not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.photo.reduce import halved, halvings
from vision.results import Scale
from vision.rings.fit import Fit
from vision.rings.torus import outlines, ring_angles
from vision.scale.camera import Camera

Array = NDArray[np.float64]
Mask = NDArray[np.uint8]
Pixels = NDArray[np.uint8]
Floats = NDArray[np.float32]
Indices = NDArray[np.intp]

AROUND_SHARE = 0.12
"""Side of the window whose median is the table, as a share of the longest side."""
AROUND_MOST = 255
"""Pixels that OpenCV takes the median over at most; only a strip asks for more."""
STANDS_OUT = 8.0
"""Times the usual difference to the table's colour from which a pixel belongs to a thing."""
DIFFERENCE_LEAST = 7.0
"""Least difference (CIE Lab, lightness counts half) that counts."""
QUARTER = 2
"""How often the reduced picture is halved again before the table's colour is looked for."""
ZERO = (0.0, 128.0, 128.0)
"""Added to lightness, a and b so that they fit a byte."""
BAND = 64
"""Rows that are compared at a time: what is worked out of them fits the processor's cache."""
SOME = np.s_[::2, ::2]
"""Pixels that tell what is usual as well as all."""
EDGE_LEAST, EDGE_SHARE = 3.0, 85.0
"""Steepness (Lab units a pixel) that this percentile of a thing's border reaches; a shadow's border
is softer nearly all around."""
FRAME_MM = 4.0
"""The printed frame's notches and letters reach this far into the sheet's area for rings."""
SHADOW_RIM = 1.25
"""Rings hide this much of their surroundings, in outer radii: their shadows are no things."""
AGAINST_PX, AGAINST_SHARE = 3, 0.5
"""A thing this near (pixels of the reduced picture) to what a ring hides lies against the ring, if
it is at least this large (radii of the ring): a crumb lifts nothing."""
WIRE_SHARE = 0.4
"""A thing is a piece of wire if its straight parts cover this share of it."""
AREA_SHARE = 0.12
"""Least area of a thing, as a share of the smallest ring's disc (or of 0.01 % of the picture)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something that lies among the rings and is no measurable ring."""

    x: float
    y: float
    radius_px: float
    reason: str
    against: tuple[int, ...] = ()
    """Indices of the fitted rings that it lies against, over or under."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unlike:
    """What differs from the table, in a reduced picture."""

    mask: Mask
    """(h, w) 1 where something lies."""
    steep: Floats
    """(h, w) change of colour, Lab units a pixel."""
    shrink: float
    """Pixels of it for each of the photo's."""


def unlike_table(photo: Photo) -> Unlike:
    """Tell what lies on the table of a photo from the table itself, ring or not."""
    times = halvings(photo.size)
    small = photo.halved(times)
    table = _table(halved(small, QUARTER), small.shape[1::-1])
    difference, steep = np.empty((2, *small.shape[:2]), np.float32)
    for top in range(0, len(small), BAND):
        rows, first = slice(top, top + BAND), max(top - 1, 0)
        beside = slice(first, top + BAND + 1)  # slopes need the row before and the one behind
        planes = [np.asarray(plane, np.float32) for plane in cv2.split(_lab(small[beside]))]
        inner = slice(top - first, top - first + BAND)
        steep[rows] = _steepness(planes)[inner]
        difference[rows] = _apart([plane[inner] for plane in planes], table[rows])
    edges = steep > max(EDGE_LEAST, STANDS_OUT * _usual(steep))
    apart = difference > max(DIFFERENCE_LEAST, STANDS_OUT * _usual(difference))
    mask = (apart | edges).astype(np.uint8)
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8)), np.uint8)
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), np.uint8)
    return Unlike(mask=mask, steep=steep, shrink=1.0 / 2**times)


def find_others(
    unlike: Unlike, scale: Scale, fit: Fit, wires_px: Sequence[Array] = ()
) -> list[Thing]:
    """List the things on the table that neither reference, rings nor wires account for.

    Parameters
    ----------
    unlike : what differs from the table
    wires_px : outline (m, 2) of each piece of wire, with its shadow
    """
    mask, shrink = unlike.mask.copy(), unlike.shrink
    _blank_known(mask, shrink, scale, fit)
    _blank_wires(mask, [np.rint(wire * shrink).astype(np.int32) for wire in wires_px])
    blobs = _blobs(mask, unlike.steep, _least_area(scale.camera, fit, shrink, mask))
    if not blobs:
        return []
    owners = _owners(mask, shrink, scale, fit)
    reach = np.bincount(owners[owners >= 0], minlength=1)
    return [_thing(blob, owners, reach, shrink) for blob in blobs]


def _usual(values: Floats) -> float:
    """Median of some of the values; numpy's takes four times as long."""
    some = values[SOME].ravel()
    return float(np.partition(some, len(some) // 2)[len(some) // 2])


def _lab(picture: Pixels) -> Floats:
    """CIE Lab (h, w, 3); lightness counts half."""
    lab = np.asarray(cv2.cvtColor(np.float32(1 / 255) * picture, cv2.COLOR_BGR2LAB), np.float32)
    lab[..., 0] *= 0.5
    return lab


def _table(picture: Pixels, size: tuple[int, ...]) -> Pixels:
    """Median colour of the wide surroundings of every pixel, as Lab plus `ZERO`; enlarged."""
    window = min(int(AROUND_SHARE * max(picture.shape[:2]) * 2) // 2 * 2 + 1, AROUND_MOST)
    coded = np.clip(np.rint(_lab(picture) + np.array(ZERO, np.float32)), 0, 255)
    return np.asarray(cv2.resize(cv2.medianBlur(coded.astype(np.uint8), window), size), np.uint8)


def _apart(planes: Sequence[Floats], table: Pixels) -> Floats:
    """Difference (h, w) between the planes of Lab and those of `_table` (h, w, 3)."""
    squares = np.zeros(table.shape[:2], np.float32)
    for plane, zero, other in zip(planes, ZERO, cv2.split(table), strict=True):
        apart = plane - (other - np.float32(zero))
        squares += apart * apart
    return np.asarray(np.sqrt(squares, out=squares), np.float32)


def _blank_known(mask: Mask, shrink: float, scale: Scale, fit: Fit) -> None:
    """Clear the mask where the reference and the fitted rings lie, with their shadows."""
    if scale.work_px is not None:
        outside = np.ones_like(mask)
        cv2.fillPoly(outside, [np.rint(scale.work_px * shrink).astype(np.int32)], 0)
        reach = int(np.ceil(FRAME_MM / scale.mm_per_px * shrink))
        mask[cv2.dilate(outside, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)) > 0] = 0
    elif scale.outline_px is not None:
        middle = scale.outline_px.mean(axis=0)
        grown = middle + (scale.outline_px - middle) * SHADOW_RIM
        cv2.fillPoly(mask, [np.rint(grown * shrink).astype(np.int32)], 0)
    for ring in _grown(scale.camera, fit, shrink):
        cv2.fillPoly(mask, [ring], 0)


def _blank_wires(mask: Mask, wires: Sequence[NDArray[np.int32]]) -> None:
    """Clear the wires, and with them what is mostly wire: the bends of a bent piece."""
    if not wires:
        return
    held = np.zeros_like(mask)
    for wire in wires:
        cv2.fillPoly(held, [wire], 1)
    _, labels = cv2.connectedComponents(mask, connectivity=8)
    area = np.bincount(labels.ravel())
    share = np.bincount(labels[held > 0].ravel(), minlength=len(area)) / area
    mask[(held > 0) | (share > WIRE_SHARE)[labels]] = 0


def _owners(mask: Mask, shrink: float, scale: Scale, fit: Fit) -> NDArray[np.int32]:
    """Index of the ring whose hidden surroundings, a little widened, hold each pixel; -1 none."""
    owners = np.full(mask.shape, -1, np.int32)
    for index, ring in enumerate(_grown(scale.camera, fit, shrink)):
        cv2.fillPoly(owners, [ring], index)
        cv2.polylines(owners, [ring], True, index, 2 * AGAINST_PX + 1)
    return owners


def _grown(camera: Camera, fit: Fit, shrink: float) -> list[NDArray[np.int32]]:
    """Each ring's outline with its shadow, in the reduced picture."""
    if not len(fit):
        return []
    _, outer = outlines(camera, fit.tori, ring_angles(48), fit.section)
    middles = outer.mean(axis=1, keepdims=True)
    grown = np.rint((middles + (outer - middles) * SHADOW_RIM) * shrink).astype(np.int32)
    return list(grown)


def _least_area(camera: Camera, fit: Fit, shrink: float, mask: Mask) -> float:
    if not len(fit):
        return 1e-4 * mask.size
    _, outer = outlines(camera, fit.tori, ring_angles(32), fit.section)
    radius = np.hypot(*np.moveaxis(outer - outer.mean(axis=1, keepdims=True), -1, 0)).mean(axis=1)
    return max(12.0, AREA_SHARE * np.pi * float(radius.min() * shrink) ** 2)


def _steepness(planes: Sequence[Floats]) -> Floats:
    """Change of colour (h, w) a pixel, strongest direction and plane."""
    slopes = (
        (cv2.Sobel(plane, cv2.CV_32F, *along, scale=1 / 8) for along in ((1, 0), (0, 1)))
        for plane in planes
    )
    light, a, b = (cv2.magnitude(*each) for each in slopes)
    return np.asarray(cv2.max(cv2.max(light, a), b), np.float32)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Blob:
    """A connected part of the mask, in the reduced picture."""

    place: tuple[slice, slice]
    mask: NDArray[np.bool_]
    """Of the picture at that place."""
    centre: Array
    size: float
    """Half of its longer side."""
    at_frame: bool


def _blobs(mask: Mask, steep: Floats, least: float) -> list[_Blob]:
    """Connected parts of the mask, of that area at least, with a sharp border."""
    count, labels, stats, centres = cv2.connectedComponentsWithStats(mask, connectivity=8)
    height, width = mask.shape
    around = np.ones((3, 3), np.uint8)
    found = []
    for index in range(1, count):
        left, top, wide, high, area = (int(v) for v in stats[index])
        if area < least:
            continue
        place = np.s_[max(0, top - 1) : top + high + 1, max(0, left - 1) : left + wide + 1]
        blob = (labels[place] == index).astype(np.uint8)
        border = cv2.dilate(blob, around) - cv2.erode(blob, around)
        if float(np.percentile(steep[place][border > 0], EDGE_SHARE)) < EDGE_LEAST:
            continue
        found.append(
            _Blob(
                place=place,
                mask=blob > 0,
                centre=centres[index],
                size=max(wide, high) / 2.0,
                at_frame=min(left, top) <= 1
                or left + wide >= width - 1
                or top + high >= height - 1,
            )
        )
    return found


def _thing(blob: _Blob, owners: NDArray[np.int32], reach: Indices, shrink: float) -> Thing:
    """What a blob is, and the rings it lies against; `reach` counts each ring's pixels."""
    x, y = blob.centre / shrink
    mine = owners[blob.place][blob.mask]
    return Thing(
        x=float(x),
        y=float(y),
        radius_px=blob.size / shrink,
        reason="cut off by the photo's edge"
        if blob.at_frame
        else "not a ring lying flat for itself: standing, heaped, bent, or something else",
        against=tuple(
            int(ring)
            for ring in np.unique(mine[mine >= 0])
            if blob.size > AGAINST_SHARE * np.sqrt(reach[ring] / np.pi) / SHADOW_RIM
        ),
    )
