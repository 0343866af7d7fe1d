"""The outline reader: a small trained network that finds both edges in an unwrapped ring.

It is the seam between a candidate and its outline: unwrapped pictures go in, edges with weights
come out. How it was trained, and on what, is told in `tests/training`, where its twin stands.
"""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Picture = NDArray[np.float32]
Weights = dict[str, Picture]

BINS = 36
"""Light and clipping are seen in this many steps along s; only their change is seen finely."""
MEAN_LIGHT, SLOPE_GAIN = 0.8, 8.0
"""What brings the inputs around zero and to like size; as in training."""
LOG_WEIGHT_LIMIT = 4.0
BATCH = 64
"""Rings read at a time, which bounds the memory."""


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
def _weights() -> Weights:
    with files("vision.rings").joinpath("reader.npz").open("rb") as file, np.load(file) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


def read_edges(planes: Picture) -> Reading:
    """Find inner and outer edge of every unwrapped ring.

    Parameters
    ----------
    planes : (n, 6, 32, 144) float32, as `vision.rings.unwrap.unwrap` gives them

    Notes
    -----
    Three layers; each sees a sector, the mean of its neighbours and the mean of the whole ring.
    A sector lost in shadow or glare is read by what the others show.
    """
    parts = [_read(planes[at : at + BATCH]) for at in range(0, len(planes), BATCH)]
    if not parts:
        parts = [_read(planes)]
    edges, log_weight, answer = (
        np.concatenate(part).astype(np.float64) for part in zip(*parts, strict=True)
    )
    return Reading(
        edges=edges,
        weight=np.exp(np.clip(log_weight, -LOG_WEIGHT_LIMIT, LOG_WEIGHT_LIMIT)),
        scale=np.exp(answer[:, :2]),
        presence=1.0 / (1.0 + np.exp(-answer[:, 2])),
    )


def _read(planes: Picture) -> tuple[Picture, Picture, Picture]:
    first = _layer("first", _profiles(planes))
    second = _layer("second", _around(first))
    third = _layer("third", _around(second))
    edges = _linear("edge", third).swapaxes(1, 2)
    log_weight = _linear("trust", third).swapaxes(1, 2)
    whole = np.concatenate([third.mean(axis=1), second.mean(axis=1)], axis=1)
    return edges, log_weight, _linear("answer", _layer("hidden", whole))


def _profiles(planes: Picture) -> Picture:
    """A row for each sector (n, 32, 571): change of light, light, clipping, wire width."""
    count, _, sectors, samples = planes.shape
    light = planes[:, :3].swapaxes(1, 2)
    slope = (light[..., 2:] - light[..., :-2]) * np.float32(SLOPE_GAIN)
    binned = (count, sectors, 3, BINS, samples // BINS)
    coarse = light.reshape(binned).mean(axis=4) - np.float32(MEAN_LIGHT)
    clipped = planes[:, 3].reshape(count, sectors, BINS, samples // BINS).mean(axis=3)
    flat = [
        slope.reshape(count, sectors, 3 * (samples - 2)),
        coarse.reshape(count, sectors, 3 * BINS),
        clipped,
    ]
    return np.concatenate([*flat, planes[:, 5, :, :1] - np.float32(1.0)], axis=2)


def _around(rows: Picture) -> Picture:
    """Each sector's row, the mean of its neighbours' and the mean of the ring's."""
    beside = 0.5 * (np.roll(rows, 1, axis=1) + np.roll(rows, -1, axis=1))
    whole = np.broadcast_to(rows.mean(axis=1, keepdims=True), rows.shape)
    return np.concatenate([rows, beside, whole], axis=2)


def _layer(name: str, rows: Picture) -> Picture:
    return np.maximum(_linear(name, rows), np.float32(0.0))


def _linear(name: str, rows: Picture) -> Picture:
    weights = _weights()
    out: Picture = rows @ weights[f"{name}.weight"].T + weights[f"{name}.bias"]
    return out
