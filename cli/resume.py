"""Which photos of a run are done already, by content and settings."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cli.outputs import JSON_SUFFIX, SUFFIXES, OutputFolder
from cli.problems import UsageProblem
from cli.results import MOST_BYTES
from cli.show.record import dump
from vision.batch.read import ResultFileError, Shot, read_shots
from vision.errors import PhotoError
from vision.photo.decode import file_digest
from vision.photo.file import read_file
from vision.results import RESULT_FORMAT

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Done:
    """A photo that was measured before."""

    record: Record
    """What its result file holds."""
    shot: Shot
    """Its rings."""


def find_done(
    output: OutputFolder,
    photos: Iterable[Path],
    *,
    settings: Record,
    correction: Record | None,
    force: bool,
) -> dict[Path, Done]:
    """Read the result files of the photos that need no measuring again.

    A photo is done if its four files are there and the result file names the same photo, content
    and settings. If only some of its four files are there, it is measured again.

    Raises
    ------
    UsageProblem
        If a file is in the way that no run with these photos and settings wrote, and `force` is
        off.
    """
    wanted = json.loads(json.dumps({"settings": settings, "correction": correction}))
    done = {}
    for photo in photos:
        present = [suffix for suffix in SUFFIXES if output.path(photo, suffix).is_file()]
        found = _read(output.path(photo, JSON_SUFFIX))
        differs = _difference(found, photo, wanted) if present else ""
        if differs and not force:
            raise UsageProblem(
                f"{output.path(photo, present[0])} {differs}",
                hint="choose another --out folder, or add --force to overwrite what differs",
            )
        if found is not None and not differs and len(present) == len(SUFFIXES):
            done[photo] = found
    return done


def _difference(found: Done | None, photo: Path, wanted: Record) -> str:
    """Say why a result file is not the one that would be written; empty if it is."""
    if found is None:
        return "is in the way, and beside it is no result file of annulet"
    record = found.record
    about = record.get("photo")
    if not isinstance(about, dict) or about.get("file") != photo.name:
        return f"is not of {photo.name}"
    try:
        if about.get("sha256") != file_digest(photo):
            return f"is of another photo that was called {photo.name}"
    except PhotoError:
        return f"is there, but {photo.name} cannot be read any more"
    changed = [key for key in ("settings", "correction") if record.get(key) != wanted[key]]
    if changed == ["correction"]:
        return "was measured with another correction, or with none"
    return f"was measured with other settings: {_changes(record, wanted)}" if changed else ""


def _changes(record: Record, wanted: Record) -> str:
    """Name the settings that changed, with their values then and now."""
    then, now = record.get("settings"), wanted["settings"]
    if not isinstance(then, dict):
        return "it does not say which"
    flat_then, flat_now = _flat(then), _flat(now)
    return ", ".join(
        f"{key} {flat_then.get(key)} then, {flat_now.get(key)} now"
        for key in sorted(flat_then.keys() | flat_now.keys())
        if flat_then.get(key) != flat_now.get(key)
    )


def _flat(settings: Record) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in settings.items():
        flat.update(value if isinstance(value, dict) else {key: value})
    return flat


def _read(path: Path) -> Done | None:
    """Read a result file; None if there is none, or it holds something else."""
    try:
        content = read_file(path, MOST_BYTES)
        shots = read_shots(content, name=path.name)
        record = json.loads(content.decode("utf-8-sig"))
        dump(record)  # a number that is none is refused here
    except (OSError, ValueError, ResultFileError):
        return None
    return Done(record=record, shot=shots[0]) if record["format"] == RESULT_FORMAT else None
