"""Fitted rings as the values that leave the stage: numbered in reading order."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.results import COVERAGE_FACTOR, Quantity, Ring, Scale, Status
from vision.rings.along import Along
from vision.rings.budget import Sizes, edge_u, sizes_of
from vision.rings.check import DARK_PAPER, burnt, filled, reasons_against, warnings_about
from vision.rings.fit import Fit
from vision.rings.form import ovality_of, step_of_ends
from vision.rings.gap import Gap
from vision.rings.others import Thing
from vision.rings.section import Section
from vision.rings.torus import RADIUS, X, Y, outlines, ring_angles

Array = NDArray[np.float64]

DRAWN_POINTS = 96
UNSURE_SHARE = 0.17
"""U of the wire in harsh light, as a share of it, from which it may be no wire: drawn washers and
nuts have 0.19 to 0.55, and of 1,645 rendered rings in any light one has 0.15, all others less than
0.14."""
DOUBTFUL_SHARE = 0.12
"""The same for what scatters more, or is less present, than nearly all rings: an enlarged hexagon
nut had 0.17, of nine such rings one had 0.13 (and was 0.07 mm off), the others less."""
HOLE_FILLED = "its hole does not show the table: a coin's rim, or something lies in it"
LIES_AGAINST = "something lies against it, over or under it: it may not lie flat"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """Where a fitted ring lies in the picture, and what is to be said of it."""

    number: int
    center_px: tuple[float, float]
    radius_px: float
    outlines_px: tuple[Array, Array]
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]


def sizes_in(fit: Fit, scale: Scale) -> list[Sizes]:
    """Sizes of every fitted ring, with the doubt that its light and its section add."""
    plain = sizes_of(fit, scale, fit.paper < DARK_PAPER, burnt(fit))
    return [less_sure(each, fit.section) for each in plain]


def rings_of(
    photo: Photo,
    scale: Scale,
    fit: Fit,
    sizes: list[Sizes],
    along: Along,
    things: list[Thing],
    cell_of: Callable[[float, float], str | None],
    touched: frozenset[int] = frozenset(),
) -> tuple[Ring, ...]:
    """All rings of a photo, measured and unusable, in reading order.

    Parameters
    ----------
    sizes : of each fitted ring
    along : what is seen along its wire
    touched : indices of the rings that a piece of wire lies against
    """
    camera = scale.camera
    reasons = reasons_against(fit, camera, photo.size)
    for mine, strange in zip(reasons, filled(photo, camera, fit), strict=True):
        if strange:
            mine.append(HOLE_FILLED)
    for thing in things:
        for index in thing.against:
            reasons[index].append(LIES_AGAINST)
    for index in touched:
        reasons[index].append(LIES_AGAINST)
    share = np.where(fit.is_sure, UNSURE_SHARE, DOUBTFUL_SHARE)
    unsure = COVERAGE_FACTOR * edge_u(fit, "wire") > share * fit.wire_mm
    for index, each in enumerate(sizes):
        if not reasons[index] and unsure[index]:
            reasons[index].append(
                f"its edges are not sure: the wire would be {each.wire_mm.value:.1f} mm, give or "
                f"take {each.wire_mm.u95:.1f}; covered, out of focus, or no ring of wire"
            )
    inner, outer = outlines(camera, fit.tori, ring_angles(DRAWN_POINTS), fit.section)
    middles = (inner.mean(axis=1) + outer.mean(axis=1)) / 2.0
    spread = np.hypot(*np.moveaxis(outer - middles[:, None], -1, 0)).mean(axis=1)
    places = [*((float(x), float(y)) for x, y in middles), *((t.x, t.y) for t in things)]
    radii = [*(float(r) for r in spread), *(t.radius_px for t in things)]
    numbers = reading_order(places, radii)
    names = {str(index): numbers[index] for index in range(len(fit))}

    whole = []
    gaps, colours = along.gaps.result(), along.colours.result()
    warnings = warnings_about(camera, fit, along.strands.result())
    for index in range(len(fit)):
        seen = Seen(
            number=numbers[index],
            center_px=places[index],
            radius_px=radii[index],
            outlines_px=(inner[index], outer[index]),
            reasons=tuple(dict.fromkeys(_named(text, names) for text in reasons[index])),
            warnings=tuple(_named(text, names) for text in warnings[index]),
        )
        if seen.reasons:
            whole.append(_bare(fit, index, seen))
        else:
            cut = gaps[index], colours[index]
            whole.append(_measured(scale, fit, index, sizes[index], seen, *cut))
    for index, thing in enumerate(things, start=len(fit)):
        whole.append(
            Ring(
                number=numbers[index],
                center_px=places[index],
                center_mm=_on_table(scale, places[index]),
                radius_px=thing.radius_px,
                status=Status.UNUSABLE,
                reasons=(thing.reason,),
            )
        )
    return tuple(
        replace(ring, cell=cell_of(*ring.center_mm) if ring.center_mm else None)
        for ring in sorted(whole, key=lambda ring: ring.number)
    )


def reading_order(places: list[tuple[float, float]], radii: list[float]) -> list[int]:
    """Number (from 1) of each place: rows from the top, each from the left.

    A row ends where the next place lies more than a typical radius lower than the row's first.
    """
    if not places:
        return []
    depth = float(np.median(radii))
    order: list[int] = []
    row: list[int] = []
    for index in sorted(range(len(places)), key=lambda k: places[k][1]):
        if row and places[index][1] - places[row[0]][1] > depth:
            order += sorted(row, key=lambda k: places[k][0])
            row = []
        row.append(index)
    order += sorted(row, key=lambda k: places[k][0])
    numbers = [0] * len(places)
    for number, index in enumerate(order, start=1):
        numbers[index] = number
    return numbers


def less_sure(sizes: Sizes, section: Section) -> Sizes:
    """The sizes with the doubt that wire of this section adds; round wire adds none."""
    if section.u_wire_rel == 0.0:
        return sizes
    wire, inside, ratio = sizes.wire_mm.value, sizes.id_mm.value, sizes.ar.value
    by_wire, by_id = section.u_wire_rel * wire, section.u_id_rel * wire

    def with_part(quantity: Quantity, part: float) -> Quantity:
        return Quantity(value=quantity.value, parts={**quantity.parts, "profile": part})

    return Sizes(
        wire_mm=with_part(sizes.wire_mm, by_wire),
        id_mm=with_part(sizes.id_mm, by_id),
        od_mm=with_part(sizes.od_mm, float(np.hypot(by_id, 2.0 * by_wire))),
        ar=with_part(sizes.ar, ratio * float(np.hypot(by_wire / wire, by_id / inside))),
    )


def _bare(fit: Fit, index: int, seen: Seen) -> Ring:
    """A ring that carries no numbers."""
    return Ring(
        number=seen.number,
        center_px=seen.center_px,
        center_mm=(float(fit.tori[index, X]), float(fit.tori[index, Y])),
        radius_px=seen.radius_px,
        outlines_px=seen.outlines_px,
        status=Status.UNUSABLE,
        reasons=seen.reasons,
    )


def _measured(
    scale: Scale, fit: Fit, index: int, sizes: Sizes, seen: Seen, gap: Gap | None, colour: str
) -> Ring:
    oval = ovality_of(fit, scale, index)
    radius = float(fit.tori[index, RADIUS])
    ends = step_of_ends(fit, index, gap.direction_deg) if gap else None
    return replace(
        _bare(fit, index, seen),
        status=Status.MEASURED,
        warnings=seen.warnings,
        wire_mm=sizes.wire_mm,
        id_mm=sizes.id_mm,
        od_mm=sizes.od_mm,
        ar=sizes.ar,
        ovality=oval.value,
        ovality_u95=oval.u95,
        gap_mm=gap.width * radius if gap else None,
        gap_u95_mm=COVERAGE_FACTOR * gap.u_width * radius if gap else None,
        gap_deg=gap.direction_deg if gap else None,
        gap_u95_deg=COVERAGE_FACTOR * gap.u_direction_deg if gap else None,
        ends_mm=ends.value if ends else None,
        ends_u95_mm=ends.u95 if ends else None,
        colour=colour,
    )


def _named(text: str, names: dict[str, int]) -> str:
    for index, number in names.items():
        text = text.replace("{" + index + "}", str(number))
    return text


def _on_table(scale: Scale, place: tuple[float, float]) -> tuple[float, float]:
    x, y = scale.camera.to_plane(np.array(place))
    return float(x), float(y)
