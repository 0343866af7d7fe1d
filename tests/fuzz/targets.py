"""What damaged files are fed to, and what must come of it."""

from pathlib import Path

from typer.testing import CliRunner

from cli.main import app
from tests.fuzz.watched import FAULT
from tests.robust.photos import SCALE
from vision.errors import PhotoError
from vision.photo.decode import LEAST_SIDE_PX, read_photo

ENDS = (0, 3)
"""Measured, or the input cannot be used."""


def read(path: Path) -> str:
    """Read a photo: it is one, or a `PhotoError` says why not and what to do."""
    try:
        photo = read_photo(path)
    except PhotoError as error:
        return "refused" if str(error) and error.hint else f"{FAULT} no hint: {error}"
    fine = (
        photo.bgr.dtype == "uint8"
        and photo.bgr.ndim == 3
        and photo.bgr.shape[2] == 3
        and min(photo.bgr.shape[:2]) >= LEAST_SIDE_PX
        and photo.size == (photo.info.width_px, photo.info.height_px)
        and (photo.f35_mm is None or 8.0 <= photo.f35_mm <= 1000.0)
    )
    return "read" if fine else f"{FAULT} {photo.info}, {photo.bgr.shape}"


def measure(path: Path) -> str:
    """Measure a photo with all outputs: a documented end, and files in one folder only."""
    out = path.parent / "out"
    before = set(path.parent.iterdir())
    ended = CliRunner().invoke(app, ["measure", str(path), *SCALE, "--out", str(out), "--json"])
    wrong = []
    if ended.exit_code not in ENDS:
        wrong.append(f"ended with {ended.exit_code}")
    if "Traceback" in ended.output or "has a bug" in ended.output:
        wrong.append("a bug reached the user")
    if ended.exit_code != 0 and not ended.stderr.startswith("error: "):
        wrong.append("no message")
    written = sorted(out.iterdir()) if out.is_dir() else []
    if len(written) != (4 if ended.exit_code == 0 else 0):
        wrong.append(f"wrote {[file.name for file in written]}")
    for file in written:
        file.unlink()
    if out.is_dir():
        out.rmdir()
    if set(path.parent.iterdir()) != before:
        wrong.append("files elsewhere")
    if wrong:
        return f"{FAULT} {'; '.join(wrong)}: {ended.stderr[-500:]}"
    return "measured" if ended.exit_code == 0 else "refused"
