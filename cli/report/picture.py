"""The photo inside a report: one JPEG that the whole view and all close-ups share."""

from base64 import b64encode
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from cli.inputs import MARKED_SUFFIX
from vision.batch.read import Shot
from vision.errors import PhotoError
from vision.photo.decode import read_photo

Picture = NDArray[np.uint8]

MOST_BYTES = 3_000_000
"""JPEG bytes of all photos of a report; base64 adds a third, and mail takes 5 MB anywhere."""

QUALITIES = (82, 70, 55)
"""Tried in this order; below the last one the picture is shrunk instead."""

SHRINK = 0.75
OUTLINE_POINTS = 72
"""Corners of a drawn outline: on a circle of 200 px they miss it by 0.2 px."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Embedded:
    """A picture as text; it stands for a photo of `width` x `height` pixels, whatever its own."""

    uri: str
    width: int
    height: int


def embed(picture_bgr: Picture, most_bytes: int = MOST_BYTES) -> Embedded:
    """Encode an upright picture as a data URI.

    Parameters
    ----------
    picture_bgr : (h, w, 3) uint8
    most_bytes : size of the JPEG, before base64; quality, then size give way to it
    """
    height, width = picture_bgr.shape[:2]
    shrunk: NDArray[Any] = picture_bgr
    while True:
        for quality in QUALITIES:
            done, data = cv2.imencode(".jpg", shrunk, [cv2.IMWRITE_JPEG_QUALITY, quality])
            if not done:
                raise ValueError(f"a picture of shape {shrunk.shape} cannot become a JPEG")
            if len(data) <= most_bytes or min(shrunk.shape[:2]) < 2:
                text = b64encode(data.tobytes()).decode("ascii")
                return Embedded(uri=f"data:image/jpeg;base64,{text}", width=width, height=height)
        shrunk = cv2.resize(shrunk, None, fx=SHRINK, fy=SHRINK, interpolation=cv2.INTER_AREA)


def embed_marked(shots: Sequence[Shot], files: Sequence[Path]) -> dict[int, Embedded]:
    """Look for the marked photos beside result files, and encode those that are there.

    Parameters
    ----------
    files : for each shot, its result file

    Returns
    -------
    By place in `shots`; without the legend below the photo. A file that is no picture, or one of
    another size, is left out.
    """
    marked = [file.with_name(f"{file.stem}{MARKED_SUFFIX}") for file in files]
    there = [place for place, path in enumerate(marked) if path.is_file()]
    found = {}
    for place in there:
        photo = shots[place].photo
        with suppress(PhotoError):
            picture = read_photo(marked[place]).bgr
            if picture.shape[1] == photo.width_px and picture.shape[0] >= photo.height_px:
                found[place] = embed(picture[: photo.height_px], MOST_BYTES // len(there))
    return found


def outline_path(outline_px: NDArray[np.float64]) -> str:
    """Write a closed outline (m, 2) as the data of an SVG path, thinned out."""
    step = max(1, len(outline_px) // OUTLINE_POINTS)
    points = " ".join(f"{x:.1f} {y:.1f}" for x, y in outline_px[::step])
    return f"M{points}Z"


def circle_path(x: float, y: float, radius: float) -> str:
    """Write a circle as the data of an SVG path."""
    arc = f"a{radius:.1f} {radius:.1f} 0 1 0"
    return f"M{x - radius:.1f} {y:.1f}{arc} {2 * radius:.1f} 0{arc} {-2 * radius:.1f} 0Z"
