"""What can be wrong with an input, from the command line and through the real pipeline.

Each message says what was found, what was expected and what to do; the exit code is the one of the
contract (2 wrong usage, 3 the input cannot be used); no traceback, no file left behind.
"""

import json
import os
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.vision.drawn import coded, disc, photo_of
from vision.scale.camera import Camera, focal_px, looking_down

USAGE, INPUT = 2, 3


SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"


def jpeg(path: Path, bgr: np.ndarray, quality: int = 92) -> Path:
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    path.write_bytes(data.tobytes())
    return path


def paper(width: int = 900, height: int = 700) -> np.ndarray:
    """White paper under a lamp, nothing on it."""
    shade = np.linspace(0.75, 0.5, width)[None, :, None]
    return coded(np.broadcast_to(shade, (height, width, 3)).astype(np.float32), None).bgr


def with_coin() -> np.ndarray:
    """A disc of 23 mm on white paper, nothing beside it."""
    size = (900, 700)
    camera = Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([0.0, 0.0, 200.0]),
        f_px=focal_px(100.0, *size),
        cx=449.5,
        cy=349.5,
    )
    return photo_of(camera, size, [disc(0, 0, 11.6, 2.33, (0.35, 0.45, 0.5))], 100.0).bgr


def bomb(path: Path) -> Path:
    """A PNG of 20000 x 15000 pixels that takes 40 kB: 300 megapixels, 900 MB once decoded."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    header = struct.pack(">IIBBBBB", 20000, 15000, 1, 0, 0, 0, 0)
    rows = zlib.compress(bytes(15000 * (1 + 20000 // 8)), 9)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")
    )
    return path


def text_file(path: Path) -> Path:
    path.write_text("40 rings of bronze, 16 SWG, 1/4 inch\n" * 50)
    return path


def empty_file(path: Path) -> Path:
    path.touch()
    return path


def half_a_jpeg(path: Path) -> Path:
    whole = jpeg(path, np.random.default_rng(1).integers(0, 255, (300, 400, 3), np.uint8))
    whole.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    return path


def one_pixel(path: Path) -> Path:
    return jpeg(path, np.full((1, 1, 3), 200, np.uint8))


def bare_paper(path: Path) -> Path:
    return jpeg(path, paper())


def coin_alone(path: Path) -> Path:
    return jpeg(path, with_coin())


COIN = ("--coin", "eur-1")
STATED = ("--mm-per-px", "0.05")
UNUSABLE = {
    "a text file": (text_file, "notes.jpg", COIN, ("not a picture that can be read", "JPEG, PNG")),
    "an empty file": (empty_file, "tray.jpg", COIN, ("is empty (0 bytes)", "copy")),
    "half a JPEG": (half_a_jpeg, "tray.jpg", COIN, ("cut short or damaged", "copy")),
    "one pixel": (one_pixel, "tray.jpg", COIN, ("1 x 1 pixels", "64 pixels a side are needed")),
    "a bomb": (
        bomb,
        "tray.png",
        COIN,
        ("300 megapixels", "at most 64", "130 of a JPEG", "crop it"),
    ),
    "no reference": (bare_paper, "tray.jpg", (), ("no scale reference found", "--coin")),
    "no coin": (bare_paper, "tray.jpg", COIN, ("no coin found", "eur-1", "lay the coin flat")),
    "no sheet": (bare_paper, "tray.jpg", ("--sheet",), ("no printed sheet found", "frame")),
    "no ring, stated scale": (bare_paper, "tray.jpg", STATED, ("no ring", "lay the rings flat")),
    "no ring, a coin": (coin_alone, "tray.jpg", COIN, ("no ring", "lay the rings flat")),
}


def folder_of(path: Path) -> list[str]:
    return sorted(entry.name for entry in path.iterdir())


@pytest.mark.parametrize("case", UNUSABLE)
def test_an_input_of_no_use_ends_in_3_with_two_lines_and_no_file(
    run: Callable, tmp_path: Path, case: str
) -> None:
    make, name, options, said = UNUSABLE[case]
    path = make(tmp_path / name)
    ended = run("measure", path, *options, "--out", tmp_path / "out", "--json")
    assert ended.exit_code == INPUT, ended.stderr
    problem, hint = ended.stderr.splitlines()
    assert problem.startswith("error: ")
    assert hint.startswith(" hint: ")
    for words in said:
        assert words in ended.stderr
    assert ended.stdout == ""
    assert folder_of(tmp_path) == [name]


WRONG_USE = {
    "a coin that does not exist": (("--coin", "eur-20"), ("'eur-20'", "annulet coins")),
    "a coin that is not round": (("--coin", "gbp-0.5"), ("gbp-0.5", "7 sides")),
    "a scale of nought": (("--mm-per-px", "0"), ("must be a positive number",)),
}


@pytest.mark.parametrize(
    ("photo", "coin", "said"),
    [
        ("bronze-handful.jpg", "jpy-5", "5 yen has a hole, it has none"),
        ("copper-and-brass.jpg", "eur-1", "1 euro has no hole, it has one"),
    ],
)
def test_a_coin_of_the_wrong_kind_is_noticed_by_its_hole(
    run: Callable, photo: str, coin: str, said: str
) -> None:
    ended = run("measure", SAMPLES / photo, "--coin", coin)
    assert ended.exit_code == INPUT
    assert said in ended.stderr


@pytest.mark.parametrize("case", WRONG_USE)
def test_a_wrong_option_ends_in_2_and_says_what_is_right(
    run: Callable, tmp_path: Path, case: str
) -> None:
    options, said = WRONG_USE[case]
    path = bare_paper(tmp_path / "tray.jpg")
    ended = run("measure", path, *options, "--out", tmp_path / "out")
    assert ended.exit_code == USAGE
    for words in said:
        assert words in " ".join(ended.stderr.split())
    assert "Traceback" not in ended.output
    assert folder_of(tmp_path) == ["tray.jpg"]


def test_a_missing_file_ends_in_2_and_is_named(run: Callable, tmp_path: Path) -> None:
    ended = run("measure", tmp_path / "tray.jpg", *COIN, "--out", tmp_path / "out")
    assert ended.exit_code == USAGE
    assert "there is no file or folder" in ended.stderr
    assert "tray.jpg" in ended.stderr
    assert "check the spelling" in ended.stderr
    assert folder_of(tmp_path) == []


def test_a_folder_without_photos_ends_in_3(run: Callable, tmp_path: Path) -> None:
    text_file(tmp_path / "notes.txt")
    ended = run("measure", tmp_path, *COIN)
    assert ended.exit_code == INPUT
    assert "no photo in the folder" in ended.stderr
    assert ".jpg" in ended.stderr


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_to_ends_in_2_before_any_work(
    run: Callable, tmp_path: Path
) -> None:
    path = bare_paper(tmp_path / "tray.jpg")
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    ended = run("measure", path, *COIN, "--out", locked / "out")
    assert ended.exit_code == USAGE
    assert "cannot write to" in ended.stderr
    assert "Permission denied" in ended.stderr
    assert "--out" in ended.stderr
    assert folder_of(locked) == []


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="no /proc, where none may write")
def test_a_folder_that_cannot_be_made_ends_in_2_before_any_work(
    run: Callable, tmp_path: Path
) -> None:
    ended = run("measure", bare_paper(tmp_path / "tray.jpg"), *COIN, "--out", "/proc/out")
    assert ended.exit_code == USAGE
    assert "cannot write to /proc/out" in ended.stderr
    assert "choose a folder that you may write to" in ended.stderr


def test_out_that_is_a_file_ends_in_2_and_leaves_it_alone(run: Callable, tmp_path: Path) -> None:
    path = bare_paper(tmp_path / "tray.jpg")
    kept = text_file(tmp_path / "out")
    before = kept.read_bytes()
    ended = run("measure", path, *COIN, "--out", kept)
    assert ended.exit_code == USAGE
    assert "cannot write to" in ended.stderr
    assert kept.read_bytes() == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read anything")
def test_a_photo_that_may_not_be_read_ends_in_3(run: Callable, tmp_path: Path) -> None:
    path = bare_paper(tmp_path / "tray.jpg")
    path.chmod(0o000)
    ended = run("measure", path, *COIN)
    assert ended.exit_code == INPUT
    assert "Permission denied" in ended.stderr


def test_one_bad_photo_does_not_stop_the_others(run: Callable, tmp_path: Path) -> None:
    """A small photo of four drawn rings between two bad ones, in processes of their own."""
    photos = [
        text_file(tmp_path / "a.jpg"),
        jpeg(tmp_path / "b.jpg", four_rings(), 97),
        half_a_jpeg(tmp_path / "c.jpg"),
    ]
    ended = run("measure", *photos, "--mm-per-px", "0.05", "--json", "--out", tmp_path / "out")
    assert ended.exit_code == INPUT
    record = json.loads(ended.stdout)
    assert [entry["photo"]["file"] for entry in record["photos"]] == ["b.jpg"]
    assert record["photos"][0]["summary"]["rings"] == 4
    assert [entry["file"] for entry in record["failed"]] == ["a.jpg", "c.jpg"]
    assert "2 of 3 photos could not be measured" in ended.stderr
    assert "not a picture" in ended.stderr
    assert "cut short" in ended.stderr
    assert "Traceback" not in ended.output
    written = [name for name in folder_of(tmp_path / "out") if name.endswith(".json")]
    assert written == ["b.json"]
    assert not [name for name in folder_of(tmp_path / "out") if name.startswith(".")]


def four_rings() -> np.ndarray:
    """Dull grey wire of 1.5 mm around holes of 6 mm, at 20 pixels a millimetre."""
    x, y = np.meshgrid(np.arange(1000.0), np.arange(800.0))
    light = np.full((800, 1000), 0.7)
    for place in ((250, 200), (750, 220), (260, 600), (740, 590)):
        across = (np.hypot(x - place[0], y - place[1]) - 75.0) / 15.0
        metal = np.clip((1.0 - np.abs(across)) * 15.0 + 0.5, 0.0, 1.0)
        shade = 0.1 + 0.25 * np.sqrt(np.clip(1.0 - across**2, 0.0, 1.0))
        light = (1.0 - metal) * light + metal * shade
    soft = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.8)
    return coded(np.repeat(soft[..., None], 3, axis=2), None).bgr
