"""Pieces of wire as the values that leave the stage: numbered in reading order."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.photo.fitness import SOFT_MOST
from vision.results import NearGauge, Scale, Status, Wire
from vision.rings.check import CLIPPED_SHARE, DARK_PAPER, WIRE_LEAST_PX, WIRE_WELL_PX
from vision.rings.fit import Fit
from vision.rings.record import reading_order
from vision.rings.torus import RADIUS, TUBE
from vision.scale.camera import Camera
from vision.trade.gauges import System, nearest
from vision.wires.budget import variation_of, width_of
from vision.wires.find import Piece

Array = NDArray[np.float64]

SHADOW_WIDTHS = 1.0
"""Wires hide this much beyond either side: their shadows are no things."""
TOUCH_WIDTHS = 0.12
"""Ring and wire lie against each other if less than this share of the wire parts them."""
UNCLEAR_SHARE = 0.12
"""U over the width above which the sides count as unclear: there shadows, facets of square wire and
two wires side by side were taken for one wire."""
NOT_CLEAR = "its sides are not clear or not straight: covered, bent, or too near to something"
SHADOW_OR_WIRE = "its shadow cannot be told from its dark side: lay it in softer light"
TWO_MEANINGS = "may be one wire, or narrower ones side by side: lay them apart"


def wires_of(
    photo: Photo,
    scale: Scale,
    pieces: Sequence[Piece],
    cell_of: Callable[[float, float], str | None],
    blur_px: float | None = None,
) -> tuple[Wire, ...]:
    """All straight pieces of wire of a photo, measured and unusable, in reading order.

    Parameters
    ----------
    blur_px : standard deviation of the blur of the photo's edges, where it is known
    """
    camera = scale.camera
    axes = [_drawn(camera, piece.axis_mm, piece.width_mm / 2.0) for piece in pieces]
    places = [tuple(float(v) for v in axis[len(axis) // 2]) for axis in axes]
    radii = [float(np.hypot(*(axis[-1] - axis[0]))) / 4.0 for axis in axes]
    numbers = reading_order([(x, y) for x, y in places], radii)
    found = [
        _wire(photo, scale, piece, axis, number, cell_of, blur_px)
        for piece, axis, number in zip(pieces, axes, numbers, strict=True)
    ]
    return tuple(sorted(found, key=lambda wire: wire.number))


def _wire(
    photo: Photo,
    scale: Scale,
    piece: Piece,
    axis_px: Array,
    number: int,
    cell_of: Callable[[float, float], str | None],
    blur_px: float | None,
) -> Wire:
    middle = piece.axis_mm[len(piece.axis_mm) // 2]
    x_px, y_px = axis_px[len(axis_px) // 2]
    width_px = piece.width_mm / scale.camera.mm_per_px(np.array([x_px, y_px]), piece.width_mm / 2)
    reasons = _reasons(piece, width_px, blur_px)
    width = None if reasons else width_of(piece, scale)
    if width is not None and width.u95 > UNCLEAR_SHARE * width.value:
        reasons, width = [NOT_CLEAR], None
    (first_x, first_y), (last_x, last_y) = axis_px[0], axis_px[-1]
    return Wire(
        number=number,
        center_px=(float(x_px), float(y_px)),
        ends_px=((float(first_x), float(first_y)), (float(last_x), float(last_y))),
        center_mm=(float(middle[0]), float(middle[1])),
        length_mm=piece.length_mm,
        status=Status.UNUSABLE if reasons else Status.MEASURED,
        reasons=tuple(reasons),
        warnings=() if reasons else tuple(_warnings(piece, width_px, axis_px, photo.size)),
        cell=cell_of(float(middle[0]), float(middle[1])),
        wire_mm=width,
        variation_mm=None if reasons else variation_of(piece),
        awg=near_gauge(width.value, System.AWG) if width else None,
        swg=near_gauge(width.value, System.SWG) if width else None,
        outline_px=outline_of(piece, scale.camera, 0.5),
    )


def near_gauge(value_mm: float, system: System) -> NearGauge:
    """The nearest number of a system; half way between two, both by name."""
    matches = nearest(value_mm, (system,))
    return NearGauge(
        name=" or ".join(match.gauge.name for match in matches),
        diameter_mm=matches[0].gauge.diameter_mm,
        off_mm=matches[0].difference_mm,
    )


def _reasons(piece: Piece, width_px: float, blur_px: float | None) -> list[str]:
    if width_px < WIRE_LEAST_PX:
        return [f"wire is only {width_px:.0f} pixels across, {WIRE_WELL_PX:.0f} are needed"]
    if blur_px is not None and blur_px > SOFT_MOST * width_px:
        return [
            f"too blurred: edges are {blur_px:.1f} pixels soft (standard deviation) on a wire of "
            f"{width_px:.0f}, at most {SOFT_MOST * width_px:.1f} will do"
        ]
    if piece.narrower:
        return [TWO_MEANINGS]
    if piece.fit.torn[piece.good].any():
        return [SHADOW_OR_WIRE]
    return [] if piece.good.any() else [NOT_CLEAR]


def _warnings(piece: Piece, width_px: float, axis_px: Array, size: tuple[int, int]) -> list[str]:
    said = []
    if piece.bent:
        said.append("goes on in a bend: measured on this straight part")
    if not piece.good.all():
        said.append(f"measured on {piece.good.mean():.0%} of its length: the rest is not clear")
    if np.any(axis_px < width_px) or np.any(axis_px > np.array(size) - 1.0 - width_px):
        said.append("goes on beyond the photo's edge")
    if width_px < WIRE_WELL_PX:
        said.append(f"wire is {width_px:.0f} pixels across, {WIRE_WELL_PX:.0f} or more are good")
    if np.median(piece.fit.paper) < DARK_PAPER:
        said.append("dark surroundings hide the edge of bright wire: lay it on white paper")
    if np.median(piece.fit.clipped) > CLIPPED_SHARE:
        said.append("overexposed around the wire: take the photo darker")
    return said


def outline_of(piece: Piece, camera: Camera, beside: float) -> Array:
    """Outline (m, 2) px of a band around the axis, `beside` widths to either side of it."""
    tangent = np.gradient(piece.axis_mm, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    aside = beside * piece.width_mm * np.column_stack([-tangent[:, 1], tangent[:, 0]])
    band = np.concatenate([piece.axis_mm + aside, (piece.axis_mm - aside)[::-1]])
    return _drawn(camera, band, piece.width_mm / 2.0)


def shadows_of(pieces: Sequence[Piece], camera: Camera) -> list[Array]:
    """Outline (m, 2) px of each piece with its shadow."""
    return [outline_of(piece, camera, 0.5 + SHADOW_WIDTHS) for piece in pieces]


def touched(pieces: Sequence[Piece], fit: Fit) -> frozenset[int]:
    """Indices of the rings that a piece of wire lies against, over or under."""
    hit = set()
    for piece in pieces:
        for index, torus in enumerate(fit.tori):
            away = np.hypot(*(piece.axis_mm - torus[:2]).T)
            free = np.abs(away - torus[RADIUS]).min() - torus[TUBE] - piece.width_mm / 2.0
            if free < TOUCH_WIDTHS * piece.width_mm:
                hit.add(index)
    return frozenset(hit)


def _drawn(camera: Camera, points_mm: Array, height_mm: float) -> Array:
    return camera.project(np.column_stack([points_mm, np.full(len(points_mm), height_mm)]))
