"""A smaller picture of the same scene: exact areas, and much faster than steps in between."""

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]


def halvings(picture: Pixels, side_px: int) -> int:
    """How often to halve a picture so that its longer side comes nearest to `side_px`."""
    return max(0, round(float(np.log2(max(picture.shape[:2]) / side_px))))


def halved(picture: Pixels, times: int = 1) -> Pixels:
    """Average squares of `2**times` pixels a side; rows and columns left over are left out.

    In one go: halving again and again rounds as often, and faint edges drown in that.

    Parameters
    ----------
    picture : (h, w) or (h, w, 3)
    times : how often; pixel (x, y) of the outcome has its centre at
        `(x + 0.5) * 2**times - 0.5` of the picture
    """
    if times == 0:
        return picture
    height, width = picture.shape[0] >> times, picture.shape[1] >> times
    whole = picture[: height << times, : width << times]
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
