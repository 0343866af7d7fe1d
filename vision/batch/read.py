"""Result files read back: their rings with every cause of doubt, or what is wrong with the file."""

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from vision.errors import VisionError
from vision.results import (
    BATCH_FORMAT,
    COVERAGE_FACTOR,
    FORMAT_VERSION,
    RESULT_FORMAT,
    SUMMARY_NAMES,
    PhotoInfo,
    Quantity,
    Result,
    Ring,
    Status,
)

OUTLINE, SCALE = "outline", "scale"
"""Causes given to the rings of files that do not list causes: their own, and the photo's."""

SUM_REL = 0.01
"""How far the listed causes may be from adding up to the stated U: some digits were rounded."""

U95_NAMES = {name: f"{name.removesuffix('_mm')}_u95_mm" for name in SUMMARY_NAMES} | {
    "ar": "ar_u95"
}

SIZE_REL, SIZE_MM = 0.01, 0.01
"""How far OD may be from ID + 2 wire, and AR from ID / wire, before the file is called damaged."""


class ResultFileError(VisionError):
    """The file is no result file, or one that is damaged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """What set the scale of a photo, as far as a result file tells."""

    kind: str
    """`coin`, `sheet` or `stated`."""
    reference: str
    """Name of the coin or sheet, or how the scale was stated."""
    mm_per_px: float
    u_rel: float
    """Relative standard uncertainty of lengths, common to all rings of the photo."""
    camera_height_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shot:
    """One photo's rings, as a result file keeps them."""

    photo: PhotoInfo
    set_up: SetUp
    rings: tuple[Ring, ...]
    """Without outlines; `radius_px` is half the OD, 0 for an unusable ring."""
    warnings: tuple[str, ...] = ()
    corrected: bool = False
    """Whether its sizes already went through a caliper correction."""
    combined_sha256: tuple[str, ...] = ()
    """All photos of the same rings that were combined here; empty for one photo."""

    @property
    def photos_sha256(self) -> frozenset[str]:
        """The photos, by content, whose rings these are."""
        return frozenset({self.photo.sha256, *self.combined_sha256})

    @property
    def measured(self) -> tuple[Ring, ...]:
        """The rings that carry numbers."""
        return tuple(ring for ring in self.rings if ring.status is Status.MEASURED)


def shot_of(result: Result) -> Shot:
    """Keep of a fresh result what a result file would keep."""
    scale = result.scale
    return Shot(
        photo=result.photo,
        set_up=SetUp(
            kind=scale.kind,
            reference=scale.reference,
            mm_per_px=scale.mm_per_px,
            u_rel=scale.u_rel,
            camera_height_mm=scale.camera_height_mm,
        ),
        rings=result.rings,
        warnings=(*scale.warnings, *result.warnings),
        corrected=result.correction is not None,
        combined_sha256=tuple(
            photo["sha256"] for photo in (result.same_rings or {"photos": ()})["photos"]
        ),
    )


def read_shots(content: bytes, *, name: str) -> tuple[Shot, ...]:
    """Read a result file: one photo (`annulet-result`) or several (`annulet-batch`).

    Parameters
    ----------
    content : the file's bytes, UTF-8
    name : what messages call the file

    Returns
    -------
    One value a photo, in the file's order. Fields that this version does not know are ignored.

    Raises
    ------
    ResultFileError
        Not JSON, not a result file, of a later version, or with a field missing or impossible
        (NaN, a negative wire, a measured ring without numbers, two rings of one number).
    """
    record = _decode(content, name)
    if not isinstance(record, dict) or record.get("format") not in (RESULT_FORMAT, BATCH_FORMAT):
        found = record.get("format") if isinstance(record, dict) else None
        said = f"its format says {found!r}" if found else "it names no format"
        _fail(f"{name} is no result file: {said}, expected {RESULT_FORMAT!r} or {BATCH_FORMAT!r}")
    if record.get("version") != FORMAT_VERSION:
        raise ResultFileError(
            f"{name} has version {record.get('version')!r} of the format, "
            f"this program reads version {FORMAT_VERSION}",
            hint="use the annulet that wrote it, or measure the photo again",
        )
    file = _Node(record, name, "")
    if record["format"] == RESULT_FORMAT:
        return (_shot(file),)
    shots = tuple(_shot(photo) for photo in file.each("photos"))
    if not shots:
        _fail(f"{name} holds no photo", hint="none of its photos could be measured: try others")
    return shots


def _fail(problem: str, *, hint: str = "give a JSON file that annulet measure wrote") -> NoReturn:
    raise ResultFileError(problem, hint=hint)


def _decode(content: bytes, name: str) -> Any:
    def refuse(word: str) -> NoReturn:
        _fail(
            f"{name} holds {word}, which is no number",
            hint="the file is damaged or was changed by hand: measure the photo again",
        )

    if not content.strip():
        _fail(f"{name} is empty")
    try:
        return json.loads(content.decode("utf-8-sig"), parse_constant=refuse)
    except UnicodeDecodeError:
        _fail(f"{name} is no text file", hint="measure a photo first, then give its JSON file")
    except json.JSONDecodeError as error:
        _fail(f"{name} is no JSON: {error.msg} in line {error.lineno}, column {error.colno}")
    except RecursionError:
        _fail(f"{name} is no result file: it is nested too deep")
    except ValueError as error:  # a number of thousands of digits
        _fail(f"{name} is no result file: {error}")


@dataclass(frozen=True, slots=True)
class _Node:
    """An object of the file, which knows where it stands."""

    fields: Mapping[str, Any]
    file: str
    place: str

    def wrong(self, key: str, expected: str) -> NoReturn:
        path = f"{self.place}.{key}" if self.place else key
        found = repr(self.fields[key]) if key in self.fields else "nothing"
        raise ResultFileError(
            f"{self.file}: {path} must be {expected}, found {_short(found)}",
            hint="the file is damaged or was changed by hand: measure the photo again",
        )

    def node(self, key: str) -> "_Node":
        value = self.fields.get(key)
        if not isinstance(value, dict):
            self.wrong(key, "an object")
        return _Node(value, self.file, f"{self.place}.{key}" if self.place else key)

    def each(self, key: str) -> Iterator["_Node"]:
        values = self.fields.get(key)
        if not isinstance(values, list):
            self.wrong(key, "a list")
        path = f"{self.place}.{key}" if self.place else key
        for index, value in enumerate(values):
            if not isinstance(value, dict):
                _Node({key: value}, self.file, self.place).wrong(key, "a list of objects")
            yield _Node(value, self.file, f"{path}[{index}]")

    def text(self, key: str) -> str:
        value = self.fields.get(key)
        if not isinstance(value, str):
            self.wrong(key, "text")
        return value

    def text_or_none(self, key: str) -> str | None:
        return None if self.fields.get(key) is None else self.text(key)

    def texts(self, key: str) -> tuple[str, ...]:
        values = self.fields.get(key, [])
        if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
            self.wrong(key, "a list of texts")
        return tuple(values)

    def whole(self, key: str) -> int:
        value = self.fields.get(key)
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            self.wrong(key, "a whole number from 1")
        return value

    def number(self, key: str, *, least: float = -math.inf, positive: bool = False) -> float:
        value = self.fields.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.wrong(key, "a number")
        try:
            value = float(value)
        except OverflowError:
            self.wrong(key, "a finite number")
        if not math.isfinite(value):
            self.wrong(key, "a finite number")
        if positive and not value > 0:
            self.wrong(key, "a positive number")
        if value < least:
            self.wrong(key, f"a number from {least:g}")
        return value

    def number_or_none(self, key: str) -> float | None:
        return None if self.fields.get(key) is None else self.number(key)

    def point_or_none(self, key: str) -> tuple[float, float] | None:
        values = self.fields.get(key)
        if values is None:
            return None
        if not isinstance(values, list) or len(values) != 2:
            self.wrong(key, "two numbers")
        pair = _Node(
            {f"{key}[{i}]": value for i, value in enumerate(values)}, self.file, self.place
        )
        return pair.number(f"{key}[0]"), pair.number(f"{key}[1]")


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:37]}..."


def _shot(node: _Node) -> Shot:
    photo, scale = node.node("photo"), node.node("scale")
    set_up = SetUp(
        kind=scale.text("kind"),
        reference=scale.text("reference"),
        mm_per_px=scale.number("mm_per_px", positive=True),
        u_rel=scale.number("u_rel", least=0.0),
        camera_height_mm=scale.number_or_none("camera_height_mm"),
    )
    rings: dict[int, Ring] = {}
    for row in node.each("rings"):
        ring = _ring(row, set_up)
        if ring.number in rings:
            row.wrong("number", "different for each ring")
        rings[ring.number] = ring
    return Shot(
        photo=PhotoInfo(
            file=photo.text("file"),
            width_px=photo.whole("width_px"),
            height_px=photo.whole("height_px"),
            taken=photo.text_or_none("taken"),
            sha256=photo.text("sha256").lower(),
        ),
        set_up=set_up,
        rings=tuple(rings.values()),
        warnings=node.texts("warnings"),
        corrected=node.fields.get("correction") is not None,
        combined_sha256=_combined(node),
    )


def _combined(node: _Node) -> tuple[str, ...]:
    if node.fields.get("same_rings") is None:
        return ()
    return tuple(one.text("sha256").lower() for one in node.node("same_rings").each("photos"))


def _ring(row: _Node, set_up: SetUp) -> Ring:
    status = row.text("status")
    if status not in list(Status):
        row.wrong("status", " or ".join(repr(one.value) for one in Status))
    center = row.point_or_none("center_px")
    if center is None:
        row.wrong("center_px", "two numbers")
    number = row.whole("number")
    quantities: dict[str, Quantity] = {}
    if status == Status.MEASURED:
        quantities = {name: _quantity(row, name, set_up) for name in SUMMARY_NAMES}
        _check_sizes(row, quantities)
    return Ring(
        number=number,
        center_px=center,
        center_mm=row.point_or_none("center_mm"),
        radius_px=quantities["od_mm"].value / set_up.mm_per_px / 2 if quantities else 0.0,
        status=Status(status),
        reasons=row.texts("reasons"),
        warnings=row.texts("warnings"),
        cell=row.text_or_none("cell"),
        wire_mm=quantities.get("wire_mm"),
        id_mm=quantities.get("id_mm"),
        od_mm=quantities.get("od_mm"),
        ar=quantities.get("ar"),
        ovality=row.number_or_none("ovality"),
        gap_mm=row.number_or_none("gap_mm"),
        gap_deg=row.number_or_none("gap_deg"),
        colour=row.text_or_none("colour"),
    )


def _quantity(row: _Node, name: str, set_up: SetUp) -> Quantity:
    value = row.number(name, positive=True)
    u = row.number(U95_NAMES[name], positive=True) / COVERAGE_FACTOR
    if row.fields.get("u_parts") is None:
        return Quantity(value=value, parts=_parts_by_scale(name, value, u, set_up))
    listed = row.node("u_parts").node(name)
    parts = {cause: listed.number(cause, least=0.0) for cause in listed.fields}
    quantity = Quantity(value=value, parts=parts)
    if abs(quantity.u - u) > SUM_REL * u:
        row.wrong(U95_NAMES[name], f"{quantity.u95:.4g}, twice what its u_parts add up to")
    return quantity


def _parts_by_scale(name: str, value: float, u: float, set_up: SetUp) -> dict[str, float]:
    """Part U by the scale alone: a ratio of two lengths does not feel it."""
    common = 0.0 if name == "ar" else min(set_up.u_rel * value, u)
    return {OUTLINE: math.sqrt(u * u - common * common), SCALE: common}


def _check_sizes(row: _Node, quantities: Mapping[str, Quantity]) -> None:
    wire, inside = quantities["wire_mm"].value, quantities["id_mm"].value
    if abs(quantities["od_mm"].value - inside - 2 * wire) > SIZE_MM:
        row.wrong("od_mm", f"{inside + 2 * wire:.3f}, ID and twice the wire")
    if abs(quantities["ar"].value * wire / inside - 1) > SIZE_REL:
        row.wrong("ar", f"{inside / wire:.3f}, ID over wire")
