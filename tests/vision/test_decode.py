"""Reading photos: formats, orientation, damage. Pillow is the independent decoder."""

from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps
from pillow_heif import from_pillow

from vision.errors import PhotoError
from vision.photo.decode import read_photo

RNG = np.random.default_rng(7)


def picture(width: int = 160, height: int = 120) -> Image.Image:
    coarse = RNG.integers(0, 255, (6, 8, 3), dtype=np.uint8)
    return Image.fromarray(coarse).resize((width, height), Image.Resampling.BICUBIC)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_as_pillow_applies_it(tmp_path: Path, orientation: int) -> None:
    path = tmp_path / "turned.png"
    exif = Image.Exif()
    exif[274] = orientation
    picture().save(path, exif=exif)
    upright = ImageOps.exif_transpose(Image.open(path)).convert("RGB")
    assert np.array_equal(read_photo(path).bgr[..., ::-1], np.asarray(upright))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_every_format_is_read_as_pillow_reads_it(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"photo.{kind.lower()}"
    picture().save(path, kind)
    with Image.open(path) as stored:
        wanted = np.asarray(stored.convert("RGB")).astype(int)
    assert np.abs(read_photo(path).bgr[..., ::-1] - wanted).max() <= 1


def test_heic_is_read(tmp_path: Path) -> None:
    path = tmp_path / "phone.heic"
    original = picture()
    from_pillow(original).save(str(path), quality=95)
    difference = read_photo(path).bgr[..., ::-1].astype(int) - np.asarray(original)
    assert np.abs(difference).mean() < 3.0


@pytest.mark.parametrize("mode", ["L", "CMYK", "P", "I;16", "RGBA", "1"])
def test_unusual_pictures_become_colour(tmp_path: Path, mode: str) -> None:
    path = tmp_path / "odd.tif"
    if mode == "I;16":
        Image.fromarray(np.full((100, 120), 40000, np.uint16)).save(path)
    else:
        picture().convert(mode).save(path)
    assert read_photo(path).bgr.shape[2] == 3


def test_exif_tells_focal_length_and_time(tmp_path: Path) -> None:
    path = tmp_path / "phone.jpg"
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    exif.get_ifd(0x8769)[0x9003] = "2026:03:02 10:11:12"
    picture().save(path, exif=exif)
    photo = read_photo(path)
    assert (photo.f35_mm, photo.info.taken) == (26.0, "2026-03-02T10:11:12")


def damaged(name: str) -> bytes:
    whole = BytesIO()
    picture(400, 300).save(whole, "PNG" if "png" in name else "JPEG")
    return {
        "empty.jpg": b"",
        "text.jpg": b"these are my notes about rings\n" * 20,
        "cut.jpg": whole.getvalue()[: len(whole.getvalue()) // 2],
        "cut.png": whole.getvalue()[: len(whole.getvalue()) // 2],
    }[name]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("empty.jpg", "is empty"),
        ("text.jpg", "not a picture"),
        ("cut.jpg", "cut short"),
        ("cut.png", "cut short"),
    ],
)
def test_damaged_files_say_what_is_wrong(tmp_path: Path, name: str, said: str) -> None:
    (tmp_path / name).write_bytes(damaged(name))
    with pytest.raises(PhotoError, match=said):
        read_photo(tmp_path / name)


def test_a_tiny_and_a_huge_picture_are_refused_by_their_size(tmp_path: Path) -> None:
    Image.new("RGB", (1, 1)).save(tmp_path / "dot.png")
    with pytest.raises(PhotoError, match="1 x 1 pixels"):
        read_photo(tmp_path / "dot.png")
    Image.new("1", (32767, 70)).save(tmp_path / "strip.png")
    with pytest.raises(PhotoError, match="32767 x 70 pixels"):
        read_photo(tmp_path / "strip.png")
    Image.new("1", (20000, 15000)).save(tmp_path / "bomb.png")
    with pytest.raises(PhotoError, match="300 megapixels"):
        read_photo(tmp_path / "bomb.png")
