"""Which photos a command line means."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from cli.problems import UsageProblem
from vision.errors import PhotoError

PHOTO_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".bmp"}
)
"""What counts as a photo inside a folder; a file named outright may be called anything."""

MARKED_SUFFIX = ".marked.jpg"
"""Ending of the marked photos that this program writes, never taken for input from a folder."""


def collect_photos(paths: Iterable[Path]) -> list[Path]:
    """List every photo once, in the order given; a folder stands for the photos in it.

    Raises
    ------
    UsageProblem
        If a path does not exist.
    PhotoError
        If a folder holds no photo.
    """
    found: dict[Path, Path] = {}
    for path in paths:
        for photo in _photos_of(path):
            found.setdefault(_identity(photo), photo)
    return list(found.values())


def _photos_of(path: Path) -> Iterator[Path]:
    if not path.exists():
        raise UsageProblem(
            f"there is no file or folder {path}",
            hint="check the spelling; file names with blanks need quotes",
        )
    if not path.is_dir():
        yield path
        return
    try:
        photos = sorted(entry for entry in path.iterdir() if _looks_like_photo(entry))
    except OSError as error:
        raise PhotoError(f"cannot list the folder {path}: {error.strerror}") from error
    if not photos:
        raise PhotoError(
            f"no photo in the folder {path}",
            hint=f"photos end in {', '.join(sorted(PHOTO_SUFFIXES))}; "
            "folders inside are not searched",
        )
    yield from photos


def _looks_like_photo(entry: Path) -> bool:
    name = entry.name.lower()
    return (
        entry.suffix.lower() in PHOTO_SUFFIXES
        and not name.startswith(".")
        and not name.endswith(MARKED_SUFFIX)
        and entry.is_file()
    )


def _identity(photo: Path) -> Path:
    """Tell two ways of naming the same file."""
    try:
        return photo.resolve()
    except (OSError, RuntimeError):
        return photo.absolute()
