"""Linear light of a picture, worked out where it is read and nowhere else.

Rings cover a part of a photo; to bring all of it to linear light would take as long as to decode a
third of it, and twice its memory.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Picture = NDArray[np.float32]
Indices = NDArray[np.int64]


def _srgb_to_linear() -> Picture:
    code = np.arange(256) / 255.0
    low, high = code / 12.92, ((code + 0.055) / 1.055) ** 2.4
    return np.where(code <= 0.04045, low, high).astype(np.float32)


LINEAR: Picture = _srgb_to_linear()
"""(256,) the sRGB curve undone (IEC 61966-2-1)."""
LIGHT_STEPS = 65535
"""Steps of linear light in memory: the first steps of sRGB are twenty of them apart."""
LINEAR_CODE: NDArray[np.uint16] = np.rint(LINEAR * LIGHT_STEPS).astype(np.uint16)
TILE = 64
"""Side of the squares, in pixels, that are worked out whole."""


class Light:
    """Light of a picture.

    Several threads may read it: what two of them need at once both work out, to the same numbers.
    """

    def __init__(self, picture: Pixels) -> None:
        self._picture = picture
        self._lit = np.empty(picture.shape, np.uint16)  # no memory until it is written to
        rows, columns = (-(-side // TILE) for side in picture.shape[:2])
        self._done = np.zeros((rows, columns), bool)

    def sample(self, across: Picture, down: Picture) -> Picture:
        """Light (rows, columns, 3) in `LIGHT_STEPS` at x and y (rows, columns) of points; bilinear.

        Outside the picture the border's pixels go on. The points of a row should lie together: its
        light is worked out all around them.
        """
        self._light_up(across, down)
        # two maps: with one map of pairs OpenCV 5.0 reads rubbish between the pixels
        sampled = cv2.remap(
            self._lit,
            across,
            down,
            interpolation=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.asarray(sampled, np.float32)

    def _light_up(self, across: Picture, down: Picture) -> None:
        """Work out the light that lies around each row of points and is not there yet."""
        height, width = self._picture.shape[:2]
        left, right = _tiles(across, width)
        top, bottom = _tiles(down, height)
        rows, columns = self._done.shape
        # a rectangle's corners, summed up along both sides, count the rectangles over each tile
        corners = np.zeros((rows + 1, columns + 1), np.int64)
        np.add.at(corners, (top, left), 1)
        np.add.at(corners, (bottom, right), 1)
        np.add.at(corners, (top, right), -1)
        np.add.at(corners, (bottom, left), -1)
        wanted = corners.cumsum(axis=0).cumsum(axis=1)[:-1, :-1] > 0
        wanted &= ~self._done
        for row in np.flatnonzero(wanted.any(axis=1)):
            ends = np.flatnonzero(np.diff(wanted[row], prepend=False, append=False))
            for first, last in ends.reshape(-1, 2):
                part = np.s_[row * TILE : (row + 1) * TILE, first * TILE : last * TILE]
                cv2.LUT(self._picture[part], LINEAR_CODE, dst=self._lit[part])
                self._done[row, first:last] = True


def _tiles(places: Picture, side: int) -> tuple[Indices, Indices]:
    """First tile (n,) along a side that each row of points (n, m) needs, and one past the last."""
    least, most = places.min(axis=1), places.max(axis=1) + 1.0  # between two pixels both are read
    first, last = (  # a point that is nowhere counts as one at the beginning
        np.fmin(np.fmax(ends, 0.0), side - 1).astype(np.int64) // TILE for ends in (least, most)
    )
    return first, last + 1
