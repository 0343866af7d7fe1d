"""Which result files a command line means, and what they hold."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from cli.inputs import PHOTO_SUFFIXES
from cli.problems import UsageProblem
from cli.words import count
from vision.photo.file import read_file

if TYPE_CHECKING:
    from vision.batch.read import Shot

MOST_BYTES = 200_000_000
"""A ring takes about 2 kB: no honest result file is larger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """The photos that result files hold, each once."""

    shots: "tuple[Shot, ...]"
    files: tuple[Path, ...]
    """For each photo, the file that it was read from."""
    repeats: tuple[str, ...]
    """For each photo that came again, by content: a sentence that says so."""


def read_results(paths: Iterable[Path]) -> Read:
    """Read result files; a folder stands for the JSON files in it. Each photo counts once.

    Raises
    ------
    UsageProblem
        If a path does not exist, or is a photo.
    ResultFileError
        If a file holds no results, or no photo has a measured ring.
    """
    from vision.batch.read import ResultFileError, read_shots

    files = [file for path in paths for file in _files_of(path)]
    found = [(shot, file) for file in files for shot in read_shots(_content(file), name=str(file))]
    once, repeats = drop_repeats([shot for shot, _ in found])
    kept = set(map(id, once))
    if not any(shot.measured for shot in once):
        rings = sum(len(shot.rings) for shot in once)
        raise ResultFileError(
            f"no measured ring in {count(len(once), 'photo')}"
            + (f": all {rings} rings are unusable" if rings else ": no ring at all"),
            hint="spread the rings, each for itself and flat, and take the photo again",
        )
    origins = tuple(file for shot, file in found if id(shot) in kept)
    return Read(shots=once, files=origins, repeats=repeats)


def drop_repeats(shots: "Iterable[Shot]") -> "tuple[tuple[Shot, ...], tuple[str, ...]]":
    """Keep each photo once, told by its content, and say which came again.

    Photos of the same rings that were combined stand for each of them.
    """
    shots = list(shots)
    taken: dict[str, Shot] = {}
    kept, repeats = set(), []
    for shot in sorted(shots, key=lambda shot: -len(shot.photos_sha256)):
        known = next((taken[one] for one in shot.photos_sha256 if one in taken), None)
        if known is None:
            taken |= dict.fromkeys(shot.photos_sha256, shot)
            kept.add(id(shot))
            continue
        name = shot.photo.file
        if known.combined_sha256 != shot.combined_sha256:
            said = f"{name} shows the rings that were combined in {known.photo.file}"
        elif known.photo.file != name:
            said = f"{name} is the same photo as {known.photo.file}"
        else:
            said = f"{name} was given twice"
        repeats.append(f"{said}: counted once")
    return tuple(shot for shot in shots if id(shot) in kept), tuple(repeats)


def _files_of(path: Path) -> list[Path]:
    if not path.exists():
        raise UsageProblem(
            f"there is no file or folder {path}",
            hint="check the spelling; file names with blanks need quotes",
        )
    if path.is_dir():
        files = sorted(
            entry
            for entry in path.iterdir()
            if entry.suffix.lower() == ".json"
            and not entry.name.startswith(".")
            and entry.is_file()
        )
        if not files:
            raise UsageProblem(
                f"no result file in the folder {path}",
                hint="annulet measure PHOTO --out DIR writes them",
            )
        return files
    if path.suffix.lower() in PHOTO_SUFFIXES:
        raise UsageProblem(
            f"{path} is a photo, expected a result file",
            hint="measure it first: annulet measure PHOTO --out DIR, then give DIR",
        )
    return [path]


def _content(file: Path) -> bytes:
    from vision.batch.read import ResultFileError

    try:
        content = read_file(file, MOST_BYTES)
    except OSError as error:
        raise ResultFileError(
            f"cannot read {file}: {error.strerror or error}",
            hint="give a JSON file that annulet measure wrote",
        ) from error
    if len(content) > MOST_BYTES:
        raise ResultFileError(
            f"{file} is far too large for a result file",
            hint="give a JSON file that annulet measure wrote",
        )
    return content
