"""Bytes to an upright picture, with what the camera wrote about itself."""

import hashlib
import warnings
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from threading import Lock
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, UnidentifiedImageError
from pillow_heif import register_heif_opener

from vision.cores import Aside
from vision.errors import PhotoError
from vision.photo.file import read_file
from vision.photo.light import LIGHT_STEPS, Light
from vision.photo.reduce import halved
from vision.results import PhotoInfo

Pixels = NDArray[np.uint8]
Picture = NDArray[np.float32]

register_heif_opener()
Image.MAX_IMAGE_PIXELS = None  # the limit below says what is wrong in the maker's words

JPEG = ("JPEG", "MPO")
"""Plain, or with further pictures behind the first, as phones write for depth and brightness."""
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF")
SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif")
MOST_MEGAPIXELS = 130.0
"""Above this a picture is refused unread: 128 megapixels is 390 MB once decoded."""
MOST_MEGAPIXELS_OTHER = 64.0
"""The same for all formats but JPEG: on the way they take up to 22 bytes a pixel, JPEG 6."""
MOST_FILE_BYTES = 400_000_000
MOST_SIDE_PX = 32_766
"""OpenCV counts the places that light is read at in 16 bits."""
LEAST_SIDE_PX = 64
"""Below this no ring can be 12 px across its wire and whole."""

TURNS = {
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: a[::-1].swapaxes(0, 1),
    7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
    8: lambda a: a[:, ::-1].swapaxes(0, 1),
}
"""EXIF orientation (tag 274) to the array operation that makes the picture upright."""


_QUIET = Lock()
"""Held while warnings are off: that is a setting of the whole process, not of one thread."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Photo:
    """An upright photo."""

    info: PhotoInfo
    bgr: Pixels
    """(h, w, 3) upright, as stored: gamma-coded."""
    f35_mm: float | None
    """Focal length as 35 mm equivalent, from EXIF."""
    _small: dict[int, Pixels] = field(default_factory=dict, init=False, repr=False)
    _lit: dict[int, Light] = field(default_factory=dict, init=False, repr=False)
    _making: Lock = field(default_factory=Lock, init=False, repr=False)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.bgr.shape[1], self.bgr.shape[0]

    def sample(self, points: NDArray[np.floating]) -> Picture:
        """Linear light (..., 3), blue first, at the points (rows, columns, 2); bilinear.

        Outside the picture the border's pixels go on. Many points at once are read several times
        faster than a few at a time; those of a row should lie together.
        """
        across, down = (np.ascontiguousarray(points[..., axis], np.float32) for axis in (0, 1))
        return self.sample_steps(across, down) * np.float32(1.0 / LIGHT_STEPS)

    def sample_steps(self, across: Picture, down: Picture, times: int = 0) -> Picture:
        """The same (rows, columns, 3) in `LIGHT_STEPS`, at x and y (rows, columns) of points.

        Parameters
        ----------
        times : how often the picture is halved before; the points lie in what is left of it
        """
        if not across.size:
            return np.empty((*across.shape, 3), np.float32)
        small = self.halved(times)
        with self._making:
            if times not in self._lit:
                self._lit[times] = Light(small)
        return self._lit[times].sample(across, down)

    def halved(self, times: int) -> Pixels:
        """The picture reduced, as `vision.photo.reduce.halved` does it; each size is made once."""
        with self._making:
            if times not in self._small:
                self._small[times] = halved(self.bgr, times)
            return self._small[times]


def read_photo(path: Path) -> Photo:
    """Read a JPEG, PNG, TIFF, WebP or HEIC file; orientation from EXIF is applied.

    Raises
    ------
    PhotoError
        No file, not a picture, cut short, too small or too large.
    """
    data = _read_bytes(path)
    digest = Aside(_digest, data)  # one core decodes
    with _QUIET, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # damaged EXIF is no reason to refuse a good picture
        image = _open(data, path.name)
        exif = _exif(image)
        pixels = _pixels(image, data, path.name)
    orientation = exif.get(ExifTags.Base.Orientation, 1)
    if image.format != "HEIF" and orientation in TURNS:  # the HEIF opener has turned it already
        pixels = np.ascontiguousarray(TURNS[orientation](pixels))
    return Photo(
        info=PhotoInfo(
            file=path.name,
            width_px=pixels.shape[1],
            height_px=pixels.shape[0],
            taken=_taken(exif),
            sha256=digest.result(),
        ),
        bgr=pixels,
        f35_mm=_f35(exif),
    )


def file_digest(path: Path) -> str:
    """SHA-256 of a photo's file, as its result says it.

    Raises
    ------
    PhotoError
        If it cannot be read.
    """
    return _digest(_read_bytes(path))


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _read_bytes(path: Path) -> bytes:
    try:
        data = read_file(path, MOST_FILE_BYTES)
    except FileNotFoundError as error:
        raise PhotoError(f"no such file: {path}", hint="check the name and the folder") from error
    except OSError as error:
        raise PhotoError(
            f"{path} cannot be read: {error.strerror}", hint="name a photo, or a folder of photos"
        ) from error
    if len(data) > MOST_FILE_BYTES:
        raise PhotoError(
            f"{path.name} is larger than the {MOST_FILE_BYTES / 1e6:.0f} MB that are read at most",
            hint="send the photo as the camera's JPEG",
        )
    if not data:
        raise PhotoError(f"{path.name} is empty (0 bytes)", hint="copy the photo again")
    return data


def _open(data: bytes, name: str) -> Image.Image:
    try:
        image = Image.open(BytesIO(data), formats=FORMATS)
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise PhotoError(
            f"{name} is not a picture that can be read; expected JPEG, PNG, TIFF, WebP or HEIC",
            hint="open it in a viewer; if that fails too, copy it from the camera again",
        ) from error
    width, height = image.size
    most = MOST_MEGAPIXELS if image.format in JPEG else MOST_MEGAPIXELS_OTHER
    if width * height > most * 1e6:
        raise PhotoError(
            f"{name} has {width} x {height} pixels ({width * height / 1e6:.0f} megapixels); "
            f"at most {most:.0f} megapixels are read"
            + ("" if image.format in JPEG else f", {MOST_MEGAPIXELS:.0f} of a JPEG"),
            hint="crop it to the rings and the reference, or photograph with 12 to 50 megapixels",
        )
    if image.format not in JPEG and getattr(image, "is_animated", False):
        raise PhotoError(
            f"{name} holds several pictures, an animation or pages",
            hint="save the one with the rings as a photo of its own",
        )
    if min(width, height) < LEAST_SIDE_PX:
        raise PhotoError(
            f"{name} has {width} x {height} pixels, too few to measure a ring",
            hint=f"at least {LEAST_SIDE_PX} pixels a side are needed, 8 megapixels are good",
        )
    if max(width, height) > MOST_SIDE_PX:
        raise PhotoError(
            f"{name} has {width} x {height} pixels; at most {MOST_SIDE_PX} a side are read",
            hint="crop it to the rings and the reference",
        )
    return image


def _exif(image: Image.Image) -> dict[int, Any]:
    try:
        exif = image.getexif()
        return {**exif, **exif.get_ifd(ExifTags.IFD.Exif)}
    except Exception:  # whatever a broken EXIF block raises, the pixels may be fine
        return {}


def _pixels(image: Image.Image, data: bytes, name: str) -> Pixels:
    """(h, w, 3) BGR. OpenCV decodes JPEG twice as fast, but is silent about a missing end."""
    cut = PhotoError(
        f"{name} is cut short or damaged: its picture data end too early",
        hint="copy the photo again",
    )
    if image.format in JPEG:
        whole = Aside(_jpeg_is_whole, data)
        flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
        decoded = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
        if not whole.result():
            raise cut
        if decoded is not None:
            return np.asarray(decoded, np.uint8)
    try:
        if image.format == "PNG":
            Image.open(BytesIO(data), formats=("PNG",)).verify()  # its check sums
        if image.mode.startswith(("I", "F")):
            deep = np.nan_to_num(np.asarray(image, np.float32))
            top = 65535.0 if deep.max() > 255 else 255.0
            grey = np.round(np.clip(deep / top, 0, 1) * 255).astype(np.uint8)
            return np.repeat(grey[..., None], 3, axis=2)
        return np.ascontiguousarray(np.asarray(_flat(image), np.uint8)[..., ::-1])
    except (OSError, ValueError, SyntaxError, EOFError, IndexError) as error:
        raise cut from error


def _flat(image: Image.Image) -> Image.Image:
    """As RGB; what is transparent becomes white."""
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        layer = image.convert("RGBA")
        return Image.alpha_composite(Image.new("RGBA", layer.size, "white"), layer).convert("RGB")
    return image.convert("RGB")


def _jpeg_is_whole(data: bytes) -> bool:
    """Whether an end marker (FFD9) follows the first scan; a thumbnail's own one does not count."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:
            return data.find(b"\xff\xd9", at) > 0
        if marker == 0xFF:
            at += 1
            continue
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def _taken(exif: dict[int, Any]) -> str | None:
    """`2026:03:02 10:11:12` as ISO 8601; None where the camera says nothing sensible."""
    text = exif.get(ExifTags.Base.DateTimeOriginal) or exif.get(ExifTags.Base.DateTime)
    if not isinstance(text, str) or len(text) < 19 or not text[:4].isdigit():
        return None
    stamp = f"{text[:10].replace(':', '-')}T{text[11:19]}"
    return stamp if all(c.isdigit() or c in "-:T" for c in stamp) else None


def _f35(exif: dict[int, Any]) -> float | None:
    try:
        value = float(exif.get(ExifTags.Base.FocalLengthIn35mmFilm, 0))
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return value if 8.0 <= value <= 1000.0 else None
