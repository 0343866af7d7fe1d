"""Results as JSON and CSV text."""

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from cli.words import harmless
from vision.results import Result, Ring, Wire, batch_record, result_record

CSV_COLUMNS = (
    "photo",
    "ring",
    "cell",
    "status",
    "wire_mm",
    "wire_u95_mm",
    "id_mm",
    "id_u95_mm",
    "od_mm",
    "od_u95_mm",
    "ar",
    "ar_u95",
    "ovality",
    "gap_mm",
    "colour",
    "center_x_px",
    "center_y_px",
    "reasons",
    "warnings",
    "kind",
    "length_mm",
    "variation_mm",
    "variation_u95_mm",
    "awg",
    "swg",
)

FORMULA_STARTS = ("=", "+", "-", "@", "|", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What makes a spreadsheet take a text for something to compute; the last four are full-width."""


def json_text(result: Result) -> str:
    """Write a result as JSON (format `annulet-result`), full digits, null where unknown."""
    return dump(result_record(result))


def batch_text(
    records: Sequence[Mapping[str, Any]], failed: Sequence[Mapping[str, str]] = ()
) -> str:
    """Write the records of several results as JSON; photos that failed beside them."""
    return dump(batch_record(records) | {"failed": list(failed)})


def csv_text(
    results: Iterable[Result], beside: Mapping[int, Mapping[str, float | int | None]] | None = None
) -> str:
    """Write one row a ring, then one a wire, with units in the header, full digits.

    What is unknown stays empty; wires are numbered W1, W2 and so on in the column of rings. Text
    that a spreadsheet would compute is led by an apostrophe; control characters are spelled out.

    Parameters
    ----------
    beside : further columns by ring number, the same for each ring, where there is one result
    """
    beside = beside or {}
    columns = [*CSV_COLUMNS, *next(iter(beside.values()), {})]
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    for result in results:
        for ring in result.rings:
            row = _ring_row(result.photo.file, ring) | dict(beside.get(ring.number, {}))
            writer.writerow([_guarded(row.get(column)) for column in columns])
        for wire in result.wires:
            row = _wire_row(result.photo.file, wire)
            writer.writerow([_guarded(row.get(column)) for column in columns])
    return out.getvalue()


def dump(record: Mapping[str, Any]) -> str:
    """Write a record as JSON text: full digits, NaN refused.

    What steers a terminal, and the lone surrogates of file names that are no text, is escaped.
    """
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, indent=1)
    return "\n".join(map(_escaped, text.split("\n"))) + "\n"


def _escaped(line: str) -> str:
    """Write harmful characters as JSON does: they stand in strings only."""
    if line.isascii() and "\x7f" not in line:
        return line
    return "".join(json.dumps(c)[1:-1] if harmless(c) != c else c for c in line)


def _ring_row(photo: str, ring: Ring) -> dict[str, str | float | int | None]:
    row: dict[str, str | float | int | None] = {
        "photo": photo,
        "ring": ring.number,
        "cell": ring.cell,
        "status": ring.status.value,
        "ar": ring.ar.value if ring.ar else None,
        "ar_u95": ring.ar.u95 if ring.ar else None,
        "ovality": ring.ovality,
        "gap_mm": ring.gap_mm,
        "colour": ring.colour,
        "center_x_px": ring.center_px[0],
        "center_y_px": ring.center_px[1],
        "reasons": "; ".join(ring.reasons),
        "warnings": "; ".join(ring.warnings),
        "kind": "ring",
    }
    for name, quantity in (("wire", ring.wire_mm), ("id", ring.id_mm), ("od", ring.od_mm)):
        row[f"{name}_mm"] = quantity.value if quantity else None
        row[f"{name}_u95_mm"] = quantity.u95 if quantity else None
    return row


def _wire_row(photo: str, wire: Wire) -> dict[str, str | float | int | None]:
    wide, varies = wire.wire_mm, wire.variation_mm
    return {
        "photo": photo,
        "ring": wire.name,
        "cell": wire.cell,
        "status": wire.status.value,
        "wire_mm": wide.value if wide else None,
        "wire_u95_mm": wide.u95 if wide else None,
        "center_x_px": wire.center_px[0],
        "center_y_px": wire.center_px[1],
        "reasons": "; ".join(wire.reasons),
        "warnings": "; ".join(wire.warnings),
        "kind": "wire",
        "length_mm": wire.length_mm,
        "variation_mm": varies.value if varies else None,
        "variation_u95_mm": varies.u95 if varies else None,
        "awg": wire.awg.name if wire.awg else None,
        "swg": wire.swg.name if wire.swg else None,
    }


def _guarded(value: str | float | int | None) -> str | float | int | None:
    if not isinstance(value, str):
        return value
    text = harmless(value)
    return f"'{text}" if text.strip().startswith(FORMULA_STARTS) else text
