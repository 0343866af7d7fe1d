"""Result files: names that do not collide, checks before the work, nothing half-written."""

import os
import secrets
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from cli.inputs import MARKED_SUFFIX
from cli.problems import UsageProblem

JSON_SUFFIX = ".json"
CSV_SUFFIX = ".csv"
REPORT_SUFFIX = ".html"
SUFFIXES = (JSON_SUFFIX, CSV_SUFFIX, MARKED_SUFFIX, REPORT_SUFFIX)
"""What each photo becomes. JSON comes first: where it is, the names of the others are ours."""

PART = ".annulet-*.part"
"""A file that is being written; a killed run leaves it behind."""

MOST_NAME_BYTES = 255
"""What the usual file systems take as a name."""

LISTED = 3
"""Existing files named in a message before it says how many more there are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputFolder:
    """A folder that was found fit to write to, and the base name of each photo's files."""

    folder: Path
    stems: Mapping[Path, str]

    def path(self, photo: Path, suffix: str) -> Path:
        """Where one of a photo's files goes."""
        return self.folder / f"{self.stems[photo]}{suffix}"

    def write(self, photo: Path, contents: Mapping[str, bytes]) -> list[Path]:
        """Write a photo's files, by suffix, each of them whole or not at all.

        Raises
        ------
        UsageProblem
            If the folder stopped accepting files, for example because the disk is full.
        """
        files = {self.path(photo, suffix): contents[suffix] for suffix in SUFFIXES}
        write_together(files)
        return list(files)

    def clear_parts(self) -> None:
        """Remove what a run that was killed had half-written."""
        for part in self.folder.glob(PART):
            with suppress(OSError):
                part.unlink()


def prepare_folder(folder: Path, photos: Iterable[Path], *, force: bool) -> OutputFolder:
    """Check before any measuring that the results can be written; leave no trace of the check.

    Raises
    ------
    UsageProblem
        If the folder cannot be made or written to, or a file is in the way and `force` is off.
    """
    output = OutputFolder(folder=folder, stems=name_outputs(photos))
    _refuse_long_names(output)
    if not force:
        _refuse_overwriting(output)
    missing = [place for place in (folder, *folder.parents) if not os.path.lexists(place)]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _probe(folder)
    except OSError as error:
        raise _cannot_write(folder, error) from error
    finally:
        for place in missing:
            with suppress(OSError):
                place.rmdir()
    return output


def name_outputs(photos: Iterable[Path]) -> dict[Path, str]:
    """Give each photo its stem as base name, numbered where two photos share one.

    Names that differ in case only count as the same: on many disks they are.
    """
    photos = list(photos)
    stems = {photo.stem.casefold() for photo in photos}
    taken: set[str] = set()
    names: dict[Path, str] = {}
    for photo in photos:
        name, number = photo.stem, 1
        while name.casefold() in taken or (number > 1 and name.casefold() in stems):
            number += 1
            name = f"{photo.stem}-{number}"
        taken.add(name.casefold())
        names[photo] = name
    return names


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is there in full or not at all, even if the power fails.

    Raises
    ------
    UsageProblem
        If it cannot be written.
    """
    write_together({path: content})


def write_together(contents: Mapping[Path, bytes]) -> None:
    """Write files of one folder, each in full or not at all, and never new beside old.

    All are written aside before the first takes its place, so that a full disk changes nothing.
    Of older files the others go before the first is replaced: whenever the power fails, the first
    file and what is beside it belong together.

    Raises
    ------
    UsageProblem
        If one cannot be written.
    """
    first, *others = contents
    parts: dict[Path, Path] = {}
    try:
        first.parent.mkdir(parents=True, exist_ok=True)
        try:
            for path, content in contents.items():
                parts[path] = _part(path.parent)
                with parts[path].open("xb") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
            for path in others:
                path.unlink(missing_ok=True)
            for path, part in parts.items():
                part.replace(path)
        finally:
            for part in parts.values():
                part.unlink(missing_ok=True)
    except OSError as error:
        raise _cannot_write(first, error) from error


def _part(folder: Path) -> Path:
    return folder / PART.replace("*", secrets.token_hex(6))


def _probe(folder: Path) -> None:
    probe = _part(folder)
    probe.touch(exist_ok=False)
    probe.unlink()


def _refuse_long_names(output: OutputFolder) -> None:
    for stem in output.stems.values():
        if len(os.fsencode(f"{stem}{MARKED_SUFFIX}")) > MOST_NAME_BYTES:
            raise UsageProblem(
                f"the name {stem[:40]}... is too long: no name is left for its {MARKED_SUFFIX}",
                hint="give the photo a shorter name, or measure it without --out",
            )


def _refuse_overwriting(output: OutputFolder) -> None:
    paths = (output.path(photo, suffix) for photo in output.stems for suffix in SUFFIXES)
    present = [path for path in paths if os.path.lexists(path)]
    if not present:
        return
    names = ", ".join(path.name for path in present[:LISTED])
    more = f" and {len(present) - LISTED} more" if len(present) > LISTED else ""
    raise UsageProblem(
        f"{output.folder} already holds {names}{more}",
        hint="choose another --out folder, add --resume to measure only what is missing, "
        "or --force to overwrite",
    )


def _cannot_write(path: Path, error: OSError) -> UsageProblem:
    return UsageProblem(
        f"cannot write to {path}: {error.strerror or error}",
        hint="choose a folder that you may write to, with space left, for --out",
    )
