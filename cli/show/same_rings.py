"""Several photos of the same rings, as text and as columns of a CSV."""

import math

from rich.text import Text

from cli.show.numbers import rounded, significant
from cli.show.page import HEADING, QUIET, add_line, add_table
from cli.show.table import result_text
from cli.words import count, harmless
from vision.results import Quantity, Ring, Wire
from vision.together.combine import Joined, Together
from vision.together.wires import JoinedWire

NAMES = (("wire_mm", "wire"), ("id_mm", "ID"))
PHOTO_HEADINGS = ("", "photo", "turned", "wire reads", "ID reads", "weight", "rings")
NONE = "-"
"""What stands for a photo that gives no number."""


def same_rings_text(whole: Together, *, width: int) -> Text:
    """Lay out the photos, the combined rings, and what each photo says of them."""
    page = Text()
    add_line(page, f"the same rings in {count(len(whole.photos), 'photo')}", width, HEADING)
    add_table(page, PHOTO_HEADINGS, photo_rows(whole), width)
    add_line(page, agreement_words(whole), width, QUIET)
    add_line(page, "", width)
    page.append_text(result_text(whole.result, width=width))
    rings = [each for each in whole.rings if any(_reading(ring, "id_mm") for ring in each.seen)]
    letters = ", ".join(letter(k) for k in range(len(whole.photos)))
    add_line(page, f"by photo ({letters}), and U before and after", width, HEADING)
    headings = ("ring", "wire mm", "U", "ID mm", "U")
    add_table(page, headings, [_row(each) for each in rings], width)
    pieces = pieces_seen(whole)
    if pieces:
        add_line(page, "", width)
        add_table(page, ("wire", "wire mm", "U"), [_piece_row(each) for each in pieces], width)
    add_line(page, "", width)
    return page


def letter(place: int) -> str:
    """Name of a photo in the tables: A to Z, then numbers."""
    return chr(ord("A") + place) if place < 26 else str(place + 1)


def agreement_words(whole: Together) -> str:
    """Say how far the photos are apart, and what U makes of it."""
    said = [
        f"{agreed.ratio:.1f} ({label}, {agreed.degrees:.0f} repetitions)"
        for name, label in NAMES
        for agreed in [whole.agreement[name]]
        if agreed.degrees > 0
    ]
    kept = "what all photos share (coin or print, tilt, height, rim of the metal) stays in U"
    if not said:
        return f"too few rings to see how far the photos are apart: U stays as stated; {kept}"
    return f"scatter between the photos over the stated one: {', '.join(said)}; {kept}"


def pieces_seen(whole: Together) -> list[JoinedWire]:
    """The pieces of wire that some photo measures."""
    return [each for each in whole.wires if any(_reading(wire, "wire_mm") for wire in each.seen)]


def values_by_photo(each: Joined | JoinedWire, name: str) -> tuple[str, ...]:
    """What each photo says of a quantity, to the place that its U supports."""
    readings = [_reading(ring, name) for ring in each.seen]
    u95 = min((reading.u95 for reading in readings if reading), default=math.nan)
    return tuple(rounded(reading.value, u95)[0] if reading else NONE for reading in readings)


def u_before_after(each: Joined | JoinedWire, name: str) -> tuple[str, str]:
    """U of the best single photo, and of all together."""
    single = min(reading.u95 for ring in each.seen if (reading := _reading(ring, name)))
    after = _reading(each.combined, name)
    return significant(single), significant(after.u95) if after else NONE


def beside_rings(whole: Together) -> dict[int, dict[str, float | int | None]]:
    """Further columns of the CSV by ring: how many photos, and what each says."""
    beside: dict[int, dict[str, float | int | None]] = {}
    for each in whole.rings:
        row: dict[str, float | int | None] = {"photos": each.readings}
        for place, ring in enumerate(each.seen):
            for name, label in NAMES:
                reading = _reading(ring, name)
                key = f"{label.lower()}_{letter(place).lower()}"
                row[f"{key}_mm"] = reading.value if reading else None
                row[f"{key}_u95_mm"] = reading.u95 if reading else None
        beside[each.number] = row
    return beside


def photo_rows(whole: Together) -> list[tuple[str, ...]]:
    """Each photo: letter, name, turn, how large it reads, its weight and its rings."""
    return [
        (
            letter(place),
            harmless(photo.file),
            f"{round(photo.turned_deg)}°" if place else "",
            f"{100.0 * photo.wire_rel:+.2f} %",
            f"{100.0 * photo.id_rel:+.2f} %",
            f"{100.0 * photo.weight:.0f} %",
            str(photo.rings),
        )
        for place, photo in enumerate(whole.photos)
    ]


def _row(each: Joined) -> tuple[str, ...]:
    cells = [str(each.number).rjust(4)]
    for name, _ in NAMES:
        before, after = u_before_after(each, name)
        cells += [" ".join(values_by_photo(each, name)), f"{before} to {after}"]
    return tuple(cells)


def _piece_row(each: JoinedWire) -> tuple[str, ...]:
    before, after = u_before_after(each, "wire_mm")
    values = " ".join(values_by_photo(each, "wire_mm"))
    return each.combined.name.rjust(4), values, f"{before} to {after}"


def _reading(ring: Ring | Wire | None, name: str) -> Quantity | None:
    quantity = getattr(ring, name, None)
    return quantity if isinstance(quantity, Quantity) else None
