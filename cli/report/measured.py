"""The report of one photo: what the rings are, where they lie, how sure that is."""

from collections.abc import Mapping
from datetime import date

import numpy as np

from cli.report.picture import Picture, embed, outline_path
from cli.report.plots import PLOTTED, plot
from cli.report.render import render
from cli.report.rows import Row, State, piece_row, row_of
from cli.report.sections import (
    CAUTIONS,
    budget_of,
    by_distance,
    check_steps,
    checks_of,
    facts_of,
    views_of,
)
from cli.show.lot import LEAST_U95_MM, off_words, size_words
from cli.show.numbers import rounded
from cli.show.page import LABELS, percent
from cli.show.pieces import piece_words
from cli.show.same_rings import (
    PHOTO_HEADINGS,
    agreement_words,
    photo_rows,
    pieces_seen,
    u_before_after,
    values_by_photo,
)
from cli.show.table import scale_line
from cli.words import count
from vision.batch.lot import LEAST_TO_JUDGE, Group, Report, report
from vision.batch.read import shot_of
from vision.batch.sample import Batch, expanded, pool
from vision.results import Result, Status
from vision.together.combine import Together

WORDS = {
    State.GOOD: "measured",
    State.DOUBT: "measured, with a note",
    State.OFF: "off size",
    State.UNUSABLE: "not measured",
}

Deviations = Mapping[int, tuple[float, str]]
"""By ring number: the largest deviation in U, and its words."""


def measured_html(
    result: Result, picture_bgr: Picture, *, written: date, together: Together | None = None
) -> str:
    """Write the report of one photo.

    Parameters
    ----------
    picture_bgr : (h, w, 3) uint8, the upright photo
    written : date of the report
    together : the photos of the same rings that the result combines, if it does

    Returns
    -------
    One HTML document that needs no other file.
    """
    shot = shot_of(result)
    found = report(pool([shot])) if result.measured else None
    rows = _rows(result, found)
    outline = result.scale.outline_px
    return render(
        "measured.html",
        title=result.photo.file,
        photo=result.photo,
        written=written.isoformat(),
        headline=headline(result, found),
        sizes=[
            (size_words(group), facts_of(group), _plots(group, rows))
            for group in (found.groups if found else ())
        ],
        off=[(off_words(off, found), off.member.ring.number) for off in found.off_size]
        if found
        else [],
        pictures=[embed(picture_bgr)],
        names=[result.photo.file],
        reference=outline_path(outline) if outline is not None else "",
        rows=rows,
        pieces=[piece_row(wire) for wire in result.wires],
        cards=by_distance(rows),
        views=views_of(rows),
        words=WORDS,
        checks=checks_of([shot], rows) if found else (),
        steps=check_steps([shot]) if found else (),
        budget=budget_of(result.measured) if found else None,
        photo_lines=photo_lines(result),
        findings=result.fitness.findings if result.fitness is not None else (),
        judged=result.fitness is not None,
        notes=result.scale.notes,
        warnings=(*result.scale.warnings, *result.warnings),
        cautions=CAUTIONS,
        sheet=result.scale.kind == "sheet",
        combined=_combined(together) if together is not None else None,
    )


def _combined(together: Together) -> dict[str, object]:
    """Say which photos were combined, and what each says of each ring."""
    return {
        "headings": PHOTO_HEADINGS,
        "photos": photo_rows(together),
        "words": agreement_words(together),
        "rings": [
            (
                each.number,
                [
                    (values_by_photo(each, name), *u_before_after(each, name))
                    for name in ("wire_mm", "id_mm")
                ],
            )
            for each in together.rings
            if each.readings
        ],
        "wires": [
            (
                each.combined.name,
                values_by_photo(each, "wire_mm"),
                *u_before_after(each, "wire_mm"),
            )
            for each in pieces_seen(together)
        ],
    }


def headline(result: Result, found: Report | None) -> str:
    """Answer in a sentence: how many rings, of how many sizes, how many off size."""
    if not result.rings and result.wires:
        return f"{piece_words(result.wires)}, no ring"
    if found is None:
        return f"None of {count(len(result.rings), 'ring')} could be measured"
    n, lost = len(found.batch), len(result.rings) - len(found.batch)
    sizes = len(found.groups)
    said = [f"{count(n, 'ring')} of {'one size' if sizes == 1 else f'{sizes} mixed sizes'}"]
    off = len({off.member.ring.number for off in found.off_size})
    if off:
        said.append(f"{off} off size")
    elif any(len(group.members) >= LEAST_TO_JUDGE for group in found.groups):
        said.append("none off size")
    else:
        said.append("too few to tell whether one is off size")
    if lost:
        said.append(f"{lost} more not measured")
    return ", ".join(said)


def photo_lines(result: Result) -> list[tuple[str, str]]:
    """Say what set the scale and how the photo looks: a name and its finding."""
    scale, look = result.scale, result.fitness
    lines = [
        ("scale", scale_line(scale).removeprefix("scale: ")),
        ("size of the photo", f"{result.photo.width_px} x {result.photo.height_px} pixels"),
    ]
    if look is None:
        return lines
    if look.thinnest_wire_px is not None:
        lines.append(("across the thinnest wire", f"{look.thinnest_wire_px:.0f} pixels"))
    if look.blur_px is not None:
        lines.append(("blur of edges", f"{look.blur_px:.1f} pixels (standard deviation)"))
    lines.append(("noise", f"{percent(look.noise_rel)} of the light of the table"))
    lines.append(("burnt out", f"{percent(look.burnt_share)} of the picture"))
    return lines


def _rows(result: Result, found: Report | None) -> list[Row]:
    away = _deviations(found) if found else {}
    off = {entry.member.ring.number for entry in found.off_size} if found else set()
    rows = []
    for ring in result.rings:
        state = State.DOUBT if ring.warnings else State.GOOD
        if ring.number in off:
            state = State.OFF
        if ring.status is Status.UNUSABLE:
            state = State.UNUSABLE
        distance, said = away.get(ring.number, (0.0, ""))
        if state is State.UNUSABLE:
            said = "; ".join(ring.reasons) or "no reason given"
        rows.append(
            row_of(
                ring,
                photo=0,
                several=False,
                state=state,
                said=said,
                away=distance,
                remarks=ring.warnings,
            )
        )
    return rows


def _deviations(found: Report) -> Deviations:
    """Tell how far each ring is from the middle of its size."""
    places = {id(member): place for place, member in enumerate(found.batch.members)}
    return {
        number: worst
        for group in found.groups
        for number, worst in _group_deviations(
            found.batch, [places[id(member)] for member in group.members]
        ).items()
    }


def _group_deviations(batch: Batch, which: list[int]) -> dict[int, tuple[float, str]]:
    worst: dict[int, tuple[float, str]] = {}
    for name in ("wire_mm", "id_mm"):
        sample = batch.sample(name, which)
        middle = float(np.median(sample.values))
        for place, value, u in zip(which, sample.values, sample.u_private, strict=True):
            number = batch.members[place].ring.number
            off = float(value) - middle
            u95 = max(expanded(float(u)), LEAST_U95_MM)
            if number not in worst or abs(off) / u95 > worst[number][0]:
                side = "above" if off > 0 else "below"
                said = f"{LABELS[name]} {rounded(abs(off), u95)[0]} mm {side} the middle"
                worst[number] = (abs(off) / u95, said)
    return worst


def _plots(group: Group, rows: list[Row]) -> list[object]:
    numbers = {member.ring.number for member in group.members}
    chosen = [row for row in rows if row.number in numbers]
    return [plot(chosen, name) for name in PLOTTED]
