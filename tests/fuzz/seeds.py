"""Small valid pictures of every kind that phones, scanners and programs write."""

from io import BytesIO
from typing import Any

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from pillow_heif import from_pillow

from tests.robust.photos import ring_photo


def picture(mode: str = "RGB", size: tuple[int, int] = (96, 80)) -> Image.Image:
    """Something with edges and colours, the same each time."""
    coarse = np.random.default_rng(11).integers(0, 255, (6, 8, 3), np.uint8)
    image = Image.fromarray(coarse).resize(size, Image.Resampling.BICUBIC)
    return image if mode == "RGB" else image.convert(mode)


def exif(orientation: int = 6) -> Image.Exif:
    """What a phone writes: orientation, lens, time, place, owner."""
    tags = Image.Exif()
    tags[274] = orientation
    tags[271], tags[272], tags[315] = "Maker", "Phone", "Owner"
    inner = tags.get_ifd(0x8769)
    inner[0x9003], inner[0xA405], inner[0x920A] = "2026:03:02 10:11:12", 26, IFDRational(43, 10)
    tags.get_ifd(0x8825).update({1: "N", 2: (48.0, 8.0, 13.0), 3: "E", 4: (11.0, 34.0, 31.0)})
    return tags


def stored(image: Image.Image, kind: str, **options: Any) -> bytes:
    """A picture in a file format."""
    file = BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


def heic(image: Image.Image, **options: Any) -> bytes:
    """A picture as HEIC."""
    file = BytesIO()
    from_pillow(image).save(file, quality=60, **options)
    return file.getvalue()


def deep(size: tuple[int, int] = (96, 80)) -> Image.Image:
    """16 bits a pixel."""
    return Image.fromarray(np.asarray(picture("L", size)).astype(np.uint16) * 257)


def seeds() -> dict[str, bytes]:
    """Files by name; the ending tells the format."""
    plain, frames = picture(), [picture("RGBA").rotate(90 * n) for n in range(3)]
    several = {"save_all": True, "append_images": frames[1:]}
    return {
        "plain.jpg": stored(plain, "JPEG", quality=80),
        "phone.jpg": stored(plain, "JPEG", quality=80, exif=exif()),
        "progressive.jpg": stored(plain, "JPEG", progressive=True, exif=exif(3)),
        "restart.jpg": stored(plain, "JPEG", restart_marker_blocks=2),
        "grey.jpg": stored(picture("L"), "JPEG"),
        "cmyk.jpg": stored(picture("CMYK"), "JPEG"),
        "two.jpg": stored(plain, "MPO", save_all=True, append_images=[plain.rotate(90)]),
        "plain.png": stored(plain, "PNG", exif=exif()),
        "alpha.png": stored(picture("RGBA"), "PNG"),
        "grey-alpha.png": stored(picture("LA"), "PNG"),
        "palette.png": stored(picture("P"), "PNG", transparency=3),
        "deep.png": stored(deep(), "PNG"),
        "bits.png": stored(picture("1"), "PNG"),
        "moving.png": stored(frames[0], "PNG", **several),
        "plain.tif": stored(plain, "TIFF", exif=exif()),
        "lzw.tif": stored(plain, "TIFF", compression="tiff_lzw"),
        "deflate.tif": stored(plain, "TIFF", compression="tiff_adobe_deflate"),
        "jpeg.tif": stored(plain, "TIFF", compression="jpeg"),
        "fax.tif": stored(picture("1"), "TIFF", compression="group4"),
        "deep.tif": stored(deep(), "TIFF"),
        "float.tif": stored(picture("F"), "TIFF"),
        "cmyk.tif": stored(picture("CMYK"), "TIFF"),
        "lab.tif": stored(Image.new("LAB", (96, 80), (120, 90, 30)), "TIFF"),
        "pages.tif": stored(frames[0], "TIFF", **several),
        "lossy.webp": stored(plain, "WEBP", quality=60, exif=exif()),
        "lossless.webp": stored(plain, "WEBP", lossless=True),
        "alpha.webp": stored(picture("RGBA"), "WEBP"),
        "moving.webp": stored(frames[0], "WEBP", **several),
        "phone.heic": heic(plain, exif=exif().tobytes()),
        "alpha.heic": heic(picture("RGBA")),
        "moving.gif": stored(frames[0], "GIF", **several),
        "plain.bmp": stored(plain, "BMP"),
    }


def ring_seeds() -> dict[str, bytes]:
    """Photos of a ring that can be measured, in the formats that phones write."""
    bgr = ring_photo(1, rings=1, size=(200, 200))
    image = Image.fromarray(np.ascontiguousarray(bgr[..., ::-1]))
    return {
        "ring.jpg": stored(image, "JPEG", quality=90, exif=exif()),
        "ring.png": stored(image, "PNG"),
        "ring.tif": stored(image, "TIFF", compression="tiff_lzw"),
        "ring.webp": stored(image, "WEBP", quality=90),
        "ring.heic": heic(image),
    }
