"""Correction files: TOML that a person can read and check."""

import json
import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from cli.words import harmless
from vision.photo.file import read_file
from vision.spotcheck.correction import (
    CORRECTION_FORMAT,
    CORRECTION_VERSION,
    Bound,
    Correction,
    CorrectionError,
    correction_record,
)

HINT = "give a file that annulet spotcheck --save wrote"

MOST_BYTES = 100_000

ABOUT = {
    "factor": "true wire and OD = factor * measured + rim_mm; true ID = factor * measured - rim_mm",
    "u_factor": "standard uncertainty (k = 1)",
    "covariance_mm": "of factor and rim_mm",
    "u_scale_rel": "relative standard uncertainty of the photos' own scale",
}


def correction_toml(correction: Correction) -> bytes:
    """Write a correction as TOML; what is unknown is left out."""
    record = correction_record(correction)
    set_up = record.pop("set_up")
    lines = [
        "# Caliper correction, for annulet measure PHOTO --correction FILE.",
        "# It holds for the same reference, metal, light and camera distance.",
        *_lines(record),
        "",
        "[set_up]",
        *_lines(set_up),
        "",
    ]
    return "\n".join(lines).encode("utf-8")


def read_correction(path: Path) -> Correction:
    """Read a correction file.

    Raises
    ------
    CorrectionError
        If it cannot be read, is no correction, or holds an impossible value.
    """
    try:
        content = read_file(path, MOST_BYTES)
        if len(content) > MOST_BYTES:
            raise CorrectionError(f"{path} is far too large for a correction", hint=HINT)
        record = tomllib.loads(content.decode("utf-8-sig"))
    except OSError as error:
        raise CorrectionError(
            f"cannot read {path}: {error.strerror or error}", hint=HINT
        ) from error
    except (ValueError, RecursionError) as error:  # no UTF-8, no TOML, or endless digits
        raise CorrectionError(f"{path} is no correction file: {error}", hint=HINT) from error
    if record.get("format") != CORRECTION_FORMAT:
        raise CorrectionError(
            f"{path} is no correction file: its format is {record.get('format')!r}, "
            f"expected {CORRECTION_FORMAT!r}",
            hint=HINT,
        )
    if record.get("version") != CORRECTION_VERSION:
        raise CorrectionError(
            f"{path} has version {record.get('version')!r}, "
            f"this program reads version {CORRECTION_VERSION}",
            hint="make it again with annulet spotcheck --save",
        )
    return _correction(record, str(path))


def _correction(record: Mapping[str, Any], name: str) -> Correction:
    set_up = record.get("set_up")
    if not isinstance(set_up, dict):
        raise CorrectionError(f"{name}: the part [set_up] is missing", hint=HINT)
    rim = _number(record, "rim_mm", name) if "rim_mm" in record else None
    version = set_up.get("sheet_version")
    return Correction(
        factor=_number(record, "factor", name, least=0.5, most=2.0),
        u_factor=_number(record, "u_factor", name, least=0.0, most=1.0),
        rim_mm=rim,
        u_rim_mm=_number(record, "u_rim_mm", name, least=0.0) if rim is not None else None,
        covariance_mm=_number(record, "covariance_mm", name),
        readings=int(_number(record, "readings", name, least=1)),
        rings=int(_number(record, "rings", name, least=1)),
        bound=Bound(
            kind=_text(set_up, "kind", name),
            reference=_text(set_up, "reference", name),
            sheet_version=int(_number(set_up, "sheet_version", name)) if version else None,
            mm_per_px=_number(set_up, "mm_per_px", name, least=1e-9),
            u_scale_rel=_number(set_up, "u_scale_rel", name, least=0.0),
            colours=_texts(set_up, "colours", name),
            light=_text(set_up, "light", name),
            photos_sha256=_texts(set_up, "photos_sha256", name),
        ),
    )


def _lines(record: Mapping[str, Any]) -> list[str]:
    lines = []
    for key, value in record.items():
        if value is None:
            continue
        about = f"  # {ABOUT[key]}" if key in ABOUT else ""
        lines.append(f"{key} = {_toml(value)}{about}")
    return lines


def _toml(value: Any) -> str:
    """Write a number, a text or a list of texts; JSON's spelling of these is also TOML's."""
    if isinstance(value, str):
        return json.dumps(harmless(value), ensure_ascii=False)
    if isinstance(value, list):
        return f"[{', '.join(_toml(item) for item in value)}]"
    return repr(value)


def _number(
    record: Mapping[str, Any],
    key: str,
    name: str,
    *,
    least: float = -math.inf,
    most: float = math.inf,
) -> float:
    value = record.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise CorrectionError(f"{name}: {key} must be a number, found {value!r}", hint=HINT)
    if not least <= value <= most:
        raise CorrectionError(
            f"{name}: {key} must be from {least:g} to {most:g}, found {value!r}", hint=HINT
        )
    return float(value)


def _text(record: Mapping[str, Any], key: str, name: str) -> str:
    value = record.get(key)
    if not isinstance(value, str):
        raise CorrectionError(f"{name}: {key} must be text, found {value!r}", hint=HINT)
    return value


def _texts(record: Mapping[str, Any], key: str, name: str) -> tuple[str, ...]:
    value = record.get(key)
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise CorrectionError(f"{name}: {key} must be a list of texts, found {value!r}", hint=HINT)
    return tuple(value)
