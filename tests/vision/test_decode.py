"""Reading photos: formats, orientation, damage. Pillow is the independent decoder."""

from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps
from pillow_heif import from_pillow
from scipy.ndimage import map_coordinates

from vision.cores import grant
from vision.errors import PhotoError
from vision.photo.decode import BAND, LIGHT_STEPS, LINEAR, Photo, read_photo
from vision.results import PhotoInfo

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
    Image.new("1", (20000, 15000)).save(tmp_path / "bomb.png")
    with pytest.raises(PhotoError, match="300 megapixels"):
        read_photo(tmp_path / "bomb.png")


def test_linear_light_undoes_srgb() -> None:
    """IEC 61966-2-1 (from memory): code 0.5 is 0.2140 linear; the ends are fixed."""
    assert LINEAR[0] == 0.0
    assert LINEAR[255] == 1.0
    assert np.interp(127.5, np.arange(256), LINEAR) == pytest.approx(0.2140, abs=1e-4)


def test_light_between_pixels_is_that_of_straight_lines() -> None:
    """Beside `scipy.ndimage.map_coordinates` of first order; many rows, as OpenCV takes them."""
    bgr = RNG.integers(0, 256, (90, 120, 3)).astype(np.uint8)
    info = PhotoInfo(file="a", width_px=120, height_px=90, taken=None, sha256="")
    photo = Photo(info=info, bgr=bgr, f35_mm=None)
    points = RNG.uniform(-3.0, 123.0, (50, 4096, 2))
    light = photo.sample(points)
    for channel in range(3):
        expected = map_coordinates(
            LINEAR[bgr[..., channel]], [points[..., 1], points[..., 0]], order=1, mode="nearest"
        )
        np.testing.assert_allclose(light[..., channel], expected, atol=2e-5)


@pytest.mark.usefixtures("cores_as_before")
def test_light_is_the_same_on_one_core_and_on_many(tmp_path: Path) -> None:
    """It is made in bands of rows, whoever makes them; the last one is lower."""
    path = tmp_path / "a.png"
    Image.fromarray(RNG.integers(0, 256, (BAND + 100, 80, 3), np.uint8)).save(path)
    whole = np.rint(LINEAR[read_photo(path).bgr] * LIGHT_STEPS).astype(np.uint16)
    for cores in (1, 3):
        grant(cores)
        np.testing.assert_array_equal(read_photo(path).light(), whole)
