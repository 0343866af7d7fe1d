"""The outline reader: small trained networks that find both edges in an unwrapped ring.

It is the seam between a candidate and its outline: unwrapped pictures go in, edges with weights
come out. Two sizes were trained alike: a scout, a tenth of the work, tells which guesses are worth
reading; the reader proper measures. How is told in `tests/training`, where their twin stands.
"""

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from vision.rings.unwrap import S_FROM, S_TO

Array = NDArray[np.float64]
Picture = NDArray[np.float32]
Weights = dict[str, Picture]

PLACES = 36
"""Places along s that the network tells apart; a soft mean and an offset read between them."""
MEAN_LIGHT, SLOPE_GAIN = 0.8, 8.0
"""What brings the inputs around zero and to like size; as in training."""
LOG_WEIGHT_LIMIT = 4.0
BATCH, SCOUT_BATCH = 2, 6
"""Rings read at a time: what they need fits the processor's cache."""


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
def _weights(net: str) -> Weights:
    with files("vision.rings").joinpath(f"{net}.npz").open("rb") as file, np.load(file) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


def read_edges(planes: Picture, *, scout: bool = False) -> Reading:
    """Find inner and outer edge of every unwrapped ring.

    Parameters
    ----------
    planes : (n, 6, 32, 144) float32, as `vision.rings.unwrap.unwrap` gives them
    scout : read quickly and half as well, to choose among guesses

    Notes
    -----
    Convolutions along s and across the neighbouring sectors, with the mean of the whole ring
    beside them: a sector lost in shadow or glare is read by what the others show.
    """
    net = _weights("scout" if scout else "reader")
    size = SCOUT_BATCH if scout else BATCH
    parts = [_read(net, planes[at : at + size]) for at in range(0, len(planes), size)]
    if not parts:
        nothing = np.empty((0, 2, planes.shape[2]))
        return Reading(edges=nothing, weight=nothing, scale=np.empty((0, 2)), presence=np.empty(0))
    edges, log_weight, answer = (
        np.concatenate(part).astype(np.float64) for part in zip(*parts, strict=True)
    )
    return Reading(
        edges=edges,
        weight=np.exp(np.clip(log_weight, -LOG_WEIGHT_LIMIT, LOG_WEIGHT_LIMIT)),
        scale=np.exp(answer[:, :2]),
        presence=1.0 / (1.0 + np.exp(-answer[:, 2])),
    )


def _read(net: Weights, planes: Picture) -> tuple[Picture, Picture, Picture]:
    rows = _along(net, "first", _inputs(planes), edge=3, stride=2)
    rows = _along(net, "second", np.maximum(rows, 0), edge=2, stride=2)
    np.maximum(rows, 0, out=rows)
    block = 0
    while f"blocks.{block}.along.weight" in net:
        rows = _block(net, f"blocks.{block}", rows)
        block += 1
    head = np.moveaxis(_product(net, "head", rows), 3, 1)
    place, offset, trust = head[:, :2], head[:, 2:4], head[:, 4:]
    share = np.exp(place - place.max(axis=3, keepdims=True))
    share /= share.sum(axis=3, keepdims=True)
    edges = (share * (_places() + offset)).sum(axis=3)
    log_weight = (share * trust).sum(axis=3)
    ring = np.concatenate([rows.mean(axis=1), rows.max(axis=1)], axis=2)
    seen = np.maximum(_product(net, "summary", ring), 0).swapaxes(1, 2).reshape(len(rows), -1)
    answer = _product(net, "answer", np.maximum(_product(net, "hidden", seen), 0))
    return edges, log_weight, answer


def _places() -> Picture:
    step = (S_TO - S_FROM) / PLACES
    return (S_FROM + (np.arange(PLACES) + 0.5) * step).astype(np.float32)


def _inputs(planes: Picture) -> Picture:
    """What the network reads (n, 32, 144, 8): light, its change along s, clipping, wire width."""
    rows = np.zeros((len(planes), *planes.shape[2:], 8), np.float32)
    light = np.moveaxis(planes[:, :3], 1, 3)
    rows[..., :3] = light - np.float32(MEAN_LIGHT)
    rows[:, :, 1:-1, 3:6] = (light[:, :, 2:] - light[:, :, :-2]) * np.float32(SLOPE_GAIN)
    rows[..., 6] = planes[:, 3]
    rows[..., 7] = planes[:, 5] - np.float32(1.0)
    return rows


def _block(net: Weights, name: str, rows: Picture) -> Picture:
    reach = 2 * int(net[f"{name}.dilation"])
    seen = _along(net, f"{name}.along", rows, edge=reach, apart=reach // 2)
    np.maximum(seen, 0, out=seen)
    around = np.concatenate([np.roll(seen, 1, axis=1), seen, np.roll(seen, -1, axis=1)], axis=3)
    out = _product(net, f"{name}.across", around)
    out += _product(net, f"{name}.whole", rows.mean(axis=1, keepdims=True))
    out += rows
    return np.maximum(out, 0, out=out)


def _along(
    net: Weights, name: str, rows: Picture, *, edge: int, stride: int = 1, apart: int = 1
) -> Picture:
    """Convolve along s, `edge` zeros beyond both ends: (n, 32, m, c) to (n, 32, m / stride, c')."""
    rings, sectors, count, channels = rows.shape
    window = len(net[f"{name}.weight"]) // channels
    padded = np.zeros((rings, sectors, count + 2 * edge, channels), np.float32)
    padded[:, :, edge : edge + count] = rows
    out = (count + 2 * edge - (window - 1) * apart - 1) // stride + 1
    ring, sector, place, channel = padded.strides
    wide = np.lib.stride_tricks.as_strided(
        padded,
        (rings, sectors, out, window, channels),
        (ring, sector, stride * place, apart * place, channel),
        writeable=False,
    )
    return _product(net, name, wide.reshape(rings, sectors, out, window * channels))


def _product(net: Weights, name: str, rows: Picture) -> Picture:
    # one product of two matrices: numpy takes more dimensions as many small products
    out: Picture = rows.reshape(-1, rows.shape[-1]) @ net[f"{name}.weight"]
    out += net[f"{name}.bias"]
    return out.reshape(*rows.shape[:-1], -1)
