"""Inputs that no camera writes: names, kinds of files, absurd EXIF, odd pictures, private data.

Each ends in a documented exit code and a message, and nothing is written but in the one folder.
"""

import csv
import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from tests.cli.conftest import Pipeline, pipeline, run
from tests.cli.fakes import photo
from tests.robust.photos import SCALE, ring_photo, save
from tests.vision.drawn import as_photo
from vision.errors import PhotoError
from vision.photo.circles import find_circles
from vision.photo.decode import read_photo

__all__ = ["pipeline", "run"]

ROOT = Path(__file__).parents[2]
USAGE, INPUT = 2, 3


def harmless_text(text: str) -> bool:
    return not any(ord(c) < 32 and c not in "\n\r" for c in text) and "\x7f" not in text


NAMES = {
    "newline": b"a\nerror: forged.jpg",
    "quotes": b"a\"'b.jpg",
    "formula": b"=cmd|'!A0.jpg",
    "dash": b"--out.jpg",
    "escape": b"a\x1b[31mred.jpg",
    "no text": b"a\xff\xfe.jpg",
    "markup": b"<script>alert(1)<.jpg",
    "right to left": "a\u202egpj.jpg".encode(),
    "c1 control": "a\x9b31m.jpg".encode(),
    "very long": b"a" * 246 + b".jpg",
}


@pytest.mark.parametrize("case", NAMES)
def test_any_file_name_goes_through_all_outputs(
    pipeline: Pipeline, run: Callable, tmp_path: Path, case: str
) -> None:
    folder = tmp_path / "photos"
    folder.mkdir()
    name = os.fsdecode(NAMES[case])
    photo(folder / "plain.jpg").rename(folder / name)
    ended = run("measure", folder, "--coin", "eur-1", "--out", tmp_path / "out")
    if case == "very long":  # no room for ".marked.jpg" behind it
        assert ended.exit_code == USAGE
        assert "too long" in ended.stderr
        assert pipeline.asked == []
        return
    assert ended.exit_code == 0, ended.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "photos"]
    assert harmless_text(ended.stdout + ended.stderr)
    assert "\nerror:" not in f"\n{ended.stderr}"
    written = list((tmp_path / "out").iterdir())
    assert len(written) == 4
    for path in written:
        if path.suffix == ".jpg":
            continue
        text = path.read_bytes().decode("utf-8")
        assert harmless_text(text), path
        assert not {"\u202e", "\x9b"} & set(text), path
        if path.suffix == ".json":
            assert json.loads(text)["photo"]["file"] == name
        if path.suffix == ".csv":
            (row,) = csv.DictReader(io.StringIO(text))
            assert not row["photo"].startswith("=")
        if path.suffix == ".html":
            assert "<script>alert" not in text
    ended = run("batch", tmp_path / "out")
    assert ended.exit_code in (0, 5), ended.stderr


def fifo(path: Path) -> Path:
    os.mkfifo(path)
    return path


def loop(path: Path) -> Path:
    path.symlink_to(path)
    return path


def dangling(path: Path) -> Path:
    path.symlink_to(path.with_name("gone"))
    return path


def folder(path: Path) -> Path:
    path.mkdir()
    return path


SPECIAL = {
    "a pipe": fifo,
    "a loop": loop,
    "a dangling link": dangling,
    "a folder": folder,
    "/dev/zero": lambda _: Path("/dev/zero"),
    "/dev/null": lambda _: Path("/dev/null"),
    "a log of the kernel": lambda _: Path("/proc/kmsg"),
    "a name of 300 letters": lambda path: path.with_name("a" * 300),
}
COMMANDS = {
    "measure": ("measure", "{}", *SCALE),
    "batch": ("batch", "{}"),
    "judge": ("judge", "{result}", "--order", "{}"),
    "correction": ("measure", "{photo}", *SCALE, "--correction", "{}"),
    "readings": ("spotcheck", "{result}", "--readings", "{}"),
}


@pytest.mark.parametrize("kind", SPECIAL)
@pytest.mark.parametrize("command", COMMANDS)
def test_what_is_no_plain_file_is_refused_at_once(
    pipeline: Pipeline, run: Callable, tmp_path: Path, kind: str, command: str
) -> None:
    picture = photo(tmp_path / "tray.jpg")
    assert run("measure", picture, "--coin", "eur-1", "--out", tmp_path / "out").exit_code == 0
    path = SPECIAL[kind](tmp_path / "special")
    words = {"photo": picture, "result": tmp_path / "out" / "tray.json"}
    ended = run(*(part.format(path, **words) for part in COMMANDS[command]))
    assert ended.exit_code in (USAGE, INPUT), ended.stderr
    assert ended.stderr.startswith("error: "), ended.stderr
    assert "bug" not in ended.stderr


def test_a_link_to_a_photo_is_followed_and_a_link_in_the_way_of_results_is_not(
    pipeline: Pipeline, run: Callable, tmp_path: Path
) -> None:
    picture = photo(tmp_path / "tray.jpg")
    (tmp_path / "link.jpg").symlink_to(picture)
    out, mine = tmp_path / "out", tmp_path / "mine.txt"
    out.mkdir()
    mine.write_text("mine")
    (out / "link.csv").symlink_to(mine)
    asked = ("measure", tmp_path / "link.jpg", "--coin", "eur-1", "--out", out)
    assert run(*asked).exit_code == USAGE
    assert run(*asked, "--force").exit_code == 0
    assert mine.read_text() == "mine"
    assert not (out / "link.csv").is_symlink()


# --- pictures


def with_exif(path: Path, **inner: object) -> Path:
    tags = Image.Exif()
    names = {"orientation": 274, "focal": 0xA405, "taken": 0x9003, "length": 0x920A}
    for name, value in inner.items():
        (tags if name == "orientation" else tags.get_ifd(0x8769))[names[name]] = value
    Image.new("RGB", (80, 64), (90, 120, 200)).save(path, exif=tags)
    return path


@pytest.mark.parametrize("focal", [0, 65535, 1, 7])
def test_an_absurd_focal_length_counts_as_unknown(tmp_path: Path, focal: int) -> None:
    assert read_photo(with_exif(tmp_path / "a.jpg", focal=focal)).f35_mm is None


@pytest.mark.parametrize("orientation", [0, 9, 255, 65535])
def test_an_orientation_that_does_not_exist_turns_nothing(tmp_path: Path, orientation: int) -> None:
    assert read_photo(with_exif(tmp_path / "a.jpg", orientation=orientation)).size == (80, 64)


@pytest.mark.parametrize("taken", ["", "0000:00:00 00:00:00", "x" * 60000, "2026\n:03:02 10:11:12"])
def test_a_nonsense_time_is_null_or_digits(tmp_path: Path, taken: str) -> None:
    found = read_photo(with_exif(tmp_path / "a.jpg", taken=taken)).info.taken
    assert found is None or set(found) <= set("0123456789-:T")


def test_a_rational_without_a_value_is_no_focal_length(tmp_path: Path) -> None:
    path = with_exif(tmp_path / "a.jpg", length=IFDRational(0, 0), focal=26)
    assert read_photo(path).f35_mm == 26.0


def test_exif_that_counts_past_its_end_does_not_matter(tmp_path: Path) -> None:
    """Every count and offset of the block is blown up in turn."""
    path = with_exif(tmp_path / "a.jpg", focal=26, taken="2026:03:02 10:11:12", orientation=6)
    whole = path.read_bytes()
    start = whole.index(b"Exif\0\0")
    for at in range(start + 6, start + 160, 2):
        path.write_bytes(whole[:at] + b"\xff\xff\xff\xfe" + whole[at + 4 :])
        try:
            assert set(read_photo(path).size) == {80, 64}
        except PhotoError as error:
            assert error.hint


@pytest.mark.parametrize("size", [(1, 1), (1, 60000), (60000, 1), (63, 5000)])
def test_a_picture_too_narrow_for_a_ring_is_refused(tmp_path: Path, size: tuple[int, int]) -> None:
    Image.new("L", size).save(tmp_path / "a.png")
    with pytest.raises(PhotoError, match="too few to measure a ring"):
        read_photo(tmp_path / "a.png")


def test_numbers_that_are_none_become_black(tmp_path: Path) -> None:
    grey = np.full((80, 80), np.nan, np.float32)
    grey[40:] = 200.0
    Image.fromarray(grey).save(tmp_path / "a.tif")
    bgr = read_photo(tmp_path / "a.tif").bgr
    assert (int(bgr[:40].max()), int(bgr[40:].min())) == (0, 200)


@pytest.mark.parametrize("mode", ["RGB", "RGBA", "L", "1", "I;16"])
def test_a_large_picture_that_is_no_jpeg_is_refused_before_it_is_decoded(
    tmp_path: Path, mode: str
) -> None:
    Image.new(mode, (8100, 8000)).save(tmp_path / "a.png", compress_level=1)
    with pytest.raises(PhotoError, match=r"65 megapixels.*at most 64"):
        read_photo(tmp_path / "a.png")


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_several_pictures_in_a_file_are_not_one_photo(tmp_path: Path, kind: str) -> None:
    first, second = (Image.new("RGB", (80, 80), colour) for colour in ("red", "blue"))
    first.save(tmp_path / "a", kind, save_all=True, append_images=[second])
    with pytest.raises(PhotoError, match="several pictures"):
        read_photo(tmp_path / "a")


def test_a_phone_s_jpeg_with_further_pictures_is_read(tmp_path: Path) -> None:
    first, second = (Image.new("RGB", (80, 80), colour) for colour in ("red", "blue"))
    first.save(tmp_path / "a.jpg", "MPO", save_all=True, append_images=[second])
    assert read_photo(tmp_path / "a.jpg").bgr[40, 40, 2] > 200


def test_a_damaged_png_is_noticed_by_its_check_sums(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    noise = np.random.default_rng(5).integers(0, 255, (80, 80), np.uint8)
    Image.fromarray(noise).save(path)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(PhotoError, match="damaged"):
        read_photo(path)


def test_a_page_full_of_round_marks_is_refused_before_each_is_looked_into() -> None:
    dots = np.full((40 * 60, 40 * 45, 3), 230, np.uint8)
    y, x = np.indices(dots.shape[:2])
    dots[np.abs(np.hypot(x % 40 - 20.0, y % 40 - 20.0) - 14.0) < 3.0] = 30
    with pytest.raises(PhotoError, match="full of small round marks"):
        find_circles(as_photo(dots))


# --- what belongs to the photographer


SECRETS = (b"48.13719", b"SN-0815-4711", b"Jane Q. Owner", b"XMPSECRET", b"THUMBSECRET", b"Flat 3")


def photo_with_secrets(path: Path) -> Path:
    """A measurable photo whose EXIF and XMP hold place, owner, serial numbers and a thumbnail."""
    tags = Image.Exif()
    tags[315], tags[270], tags[33432] = "Jane Q. Owner", "THUMBSECRET", "Jane Q. Owner"
    inner = tags.get_ifd(0x8769)
    inner[0xA430], inner[0xA431], inner[0xA435] = "Jane Q. Owner", "SN-0815-4711", "SN-0815-4711"
    inner[0x9286], inner[0x927C] = b"ASCII\0\0\0Flat 3", b"THUMBSECRET"
    tags.get_ifd(0x8825).update({1: "N", 2: (48.0, 8.0, 13.9), 29: "48.13719", 27: b"48.13719"})
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>XMPSECRET SN-0815-4711 48.13719</x:xmpmeta>"
    bgr = ring_photo(3, rings=1, size=(200, 200))
    image = Image.fromarray(np.ascontiguousarray(bgr[..., ::-1]))
    image.save(path, quality=95, exif=tags, xmp=xmp, comment=b"Jane Q. Owner THUMBSECRET")
    assert all(secret in path.read_bytes() for secret in SECRETS)
    return path


def test_place_owner_and_serial_numbers_reach_no_output(tmp_path: Path) -> None:
    path = photo_with_secrets(tmp_path / "tray.jpg")
    ended = subprocess.run(
        [sys.executable, "-m", "cli.main", "measure", path, *SCALE, "--out", tmp_path / "out"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    written = list((tmp_path / "out").iterdir())
    assert len(written) == 4
    for content in (ended.stdout, ended.stderr, *(file.read_bytes() for file in written)):
        assert not [secret for secret in SECRETS if secret in content]
    with Image.open(tmp_path / "out" / "tray.marked.jpg") as marked:
        assert not marked.getexif()
        assert "xmp" not in marked.info


def test_a_damaged_picture_makes_no_library_talk(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    Image.fromarray(np.arange(80 * 80, dtype=np.uint8).reshape(80, 80)).save(
        path, compression="tiff_lzw"
    )
    data = bytearray(path.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 40] = bytes(40)
    path.write_bytes(data)
    ended = subprocess.run(
        [sys.executable, "-m", "cli.main", "measure", path, *SCALE],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert ended.returncode == INPUT
    assert [line[:7] for line in ended.stderr.splitlines()] == ["error: ", " hint: "]


def test_the_same_photo_gives_the_same_bytes_however_many_are_measured_at_a_time(
    tmp_path: Path,
) -> None:
    """A piece of a sample photo beside a drawn one, with one and two processes and threads."""
    sample = read_photo(ROOT / "sample_images" / "silver-on-wood.jpg").bgr
    folder = tmp_path / "photos"
    folder.mkdir()
    save(folder / "sample.jpg", sample[SAMPLE_PIECE])
    save(folder / "drawn.jpg", ring_photo(4, rings=1, size=(200, 200)))
    found = []
    for jobs, threads in ((1, 1), (2, 2)):
        out = tmp_path / f"out-{jobs}"
        number = str(threads)
        wanted = (folder, *SCALE, "--out", out, "--jobs", str(jobs))
        subprocess.run(
            [sys.executable, "-m", "cli.main", "measure", *wanted],
            cwd=ROOT,
            env={**os.environ, "OMP_NUM_THREADS": number, "OPENBLAS_NUM_THREADS": number},
            capture_output=True,
            check=True,
        )
        found.append({path.name: path.read_bytes() for path in out.iterdir()})
    assert len(found[0]) == 8
    assert found[0] == found[1]
    assert json.loads(found[0]["sample.json"])["summary"]["measured"] >= 1


SAMPLE_PIECE = np.s_[200:560, 1640:2280]
"""Holds two rings."""
