"""A smaller picture of the same scene, by halves: exact areas, and much faster than other steps."""

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]


def halved(picture: Pixels, times: int = 1) -> Pixels:
    """Average squares of 2 x 2 pixels, again and again; an odd last row or column is left out.

    Parameters
    ----------
    picture : (h, w) or (h, w, 3)
    times : how often; pixel (x, y) of the outcome has its centre at
        `(x + 0.5) * 2**times - 0.5` of the picture
    """
    for _ in range(times):
        height, width = picture.shape[0] // 2, picture.shape[1] // 2
        even = picture[: 2 * height, : 2 * width]
        picture = np.asarray(
            cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA), np.uint8
        )
    return picture
