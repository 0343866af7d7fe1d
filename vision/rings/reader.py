"""The outline reader: a small trained network that finds both edges in an unwrapped ring.

It is the seam between a candidate and its outline: unwrapped pictures go in, edges with weights
come out. How it was trained, and on what, is told in `tests/training`.
"""

from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

OUTPUTS = ("edges", "log_weight", "log_scale", "presence")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """What the reader saw of n rings; s counts from the inner (0) to the outer (1) guess."""

    edges: Array
    """(n, 2, 32) s of the inner and the outer edge in each sector."""
    weight: Array
    """(n, 2, 32) relative weight of each edge; the likely error is 0.02 / weight in s."""
    scale: Array
    """(n, 2) likely error of wire and ID, in wire widths."""
    presence: Array
    """(n,) probability that one whole ring lies near the guess."""


@cache
def _network() -> cv2.dnn.Net:
    with as_file(files("vision.rings") / "reader.onnx") as path:
        # The engine new in OpenCV 5 rejects the broadcast sums of this network.
        return cv2.dnn.readNetFromONNX(str(path), cv2.dnn.ENGINE_CLASSIC)


def read_edges(planes: Picture) -> Reading:
    """Find inner and outer edge of every unwrapped ring, all rings in one batch.

    Parameters
    ----------
    planes : (n, 6, 32, 144) float32, as `vision.rings.unwrap.unwrap` gives them
    """
    if not len(planes):
        return Reading(
            edges=np.empty((0, 2, planes.shape[2])),
            weight=np.empty((0, 2, planes.shape[2])),
            scale=np.empty((0, 2)),
            presence=np.empty(0),
        )
    network = _network()
    network.setInput(planes, "rings")
    edges, log_weight, log_scale, logit = (
        np.asarray(out, np.float64) for out in network.forward(list(OUTPUTS))
    )
    return Reading(
        edges=edges,
        weight=np.exp(log_weight),
        scale=np.exp(log_scale),
        presence=1.0 / (1.0 + np.exp(-logit.reshape(-1))),
    )
