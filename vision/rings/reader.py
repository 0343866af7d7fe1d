"""The outline reader: small trained networks that find both edges in an unwrapped ring.

It is the seam between a candidate and its outline: unwrapped pictures go in, edges with weights
come out. Four were trained: a scout, which does a twenty-eighth of the work, tells which guesses
are worth reading; a quick reader with a fifth of it finds the rings; one reads rings for good, and
one, which sees twice as finely, straight wire. How is told in `tests/training`, where their twin
stands.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from vision.rings.rows import Rows
from vision.rings.unwrap import S_FROM, S_TO

Array = NDArray[np.float64]
Picture = NDArray[np.float32]
Weights = dict[str, Picture]

SAMPLES_PER_PLACE = 4
"""Samples along s to each of the places that a network tells apart; a soft mean and an offset read
between them."""
MEAN_LIGHT, SLOPE_GAIN = 0.8, 8.0
"""What brings the inputs around zero and to like size; as in training."""
LOG_WEIGHT_LIMIT = 4.0
REACH = 2
"""So many places either way a place looks along s, each a block's dilation from the next."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading(Rows):
    """What the reader saw of n rings; s counts from the inner (0) to the outer (1) guess."""

    edges: Array
    """(n, 2, sectors) s of the inner and the outer edge in each sector."""
    weight: Array
    """(n, 2, sectors) relative weight of each edge; the likely error is 0.02 / weight in s."""
    scale: Array
    """(n, 2) likely error of wire and ID, in wire widths."""
    presence: Array
    """(n,) probability that one whole ring lies near the guess."""


class Net(StrEnum):
    """A trained network, by the name of its file."""

    SCOUT = "scout"
    QUICK = "quick"
    RING = "reader"
    WIRE = "wire"


@cache
def _weights(net: Net) -> Weights:
    with files("vision.rings").joinpath(f"{net}.npz").open("rb") as file, np.load(file) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


def read_edges(planes: Picture, net: Net = Net.RING) -> Reading:
    """Find inner and outer edge of every unwrapped ring or stretch of wire.

    Parameters
    ----------
    planes : (n, 6 or 9, sectors, samples) float32, as `vision.rings.unwrap.unwrap` gives them, of
        the network's grid
    net : which reads

    Notes
    -----
    Convolutions along s and across the neighbouring sectors, with the mean of the whole ring
    beside them: a sector lost in shadow or glare is read by what the others show.
    """
    if not len(planes):
        nothing = np.empty((0, 2, planes.shape[2]))
        return Reading(edges=nothing, weight=nothing, scale=np.empty((0, 2)), presence=np.empty(0))
    edges, log_weight, answer = (part.astype(np.float64) for part in _read(_weights(net), planes))
    return Reading(
        edges=edges,
        weight=np.exp(np.clip(log_weight, -LOG_WEIGHT_LIMIT, LOG_WEIGHT_LIMIT)),
        scale=np.exp(answer[:, :2]),
        presence=1.0 / (1.0 + np.exp(-answer[:, 2])),
    )


def _read(net: Weights, planes: Picture) -> tuple[Picture, Picture, Picture]:
    rings, _, sectors, samples = planes.shape
    rows = _halved(net, "first", _inputs(planes, edge=3))
    padded = np.zeros((rings, sectors, samples // 2 + 4, rows.shape[3]), np.float32)
    np.maximum(rows[:, :, : samples // 2], 0, out=padded[:, :, 2:-2])
    rows = _halved(net, "second", padded)
    places = samples // 4
    held, strip = _strip(net, rows[:, :, :places])
    np.maximum(held, 0, out=held)
    block = 0
    while f"blocks.{block}.along.weight" in net:
        _block(net, f"blocks.{block}", held, strip, places)
        block += 1
    rows = np.ascontiguousarray(strip[:, :, :places])
    head = np.moveaxis(_product(net, "head", rows), 3, 1)
    place, offset, trust = head[:, :2], head[:, 2:4], head[:, 4:]
    share = np.exp(place - place.max(axis=3, keepdims=True))
    share /= share.sum(axis=3, keepdims=True)
    edges = (share * (_places(places) + offset)).sum(axis=3)
    log_weight = (share * trust).sum(axis=3)
    ring = np.concatenate([rows.mean(axis=1), rows.max(axis=1)], axis=2)
    seen = np.maximum(_product(net, "summary", ring), 0).swapaxes(1, 2).reshape(rings, -1)
    answer = _product(net, "answer", np.maximum(_product(net, "hidden", seen), 0))
    return edges, log_weight, answer


def _places(count: int) -> Picture:
    step = (S_TO - S_FROM) / count
    return (S_FROM + (np.arange(count) + 0.5) * step).astype(np.float32)


def _inputs(planes: Picture, *, edge: int) -> Picture:
    """What is read (n, sectors, samples, 8): light, its change along s, clipping, wire width.

    Of a wide look (n, sectors, samples, 14): its light and its change too. `edge` zeros stand
    before and behind the samples.
    """
    wide = planes.shape[1] > 6
    rings, _, sectors, samples = planes.shape
    padded = np.zeros((rings, sectors, samples + 2 * edge, 14 if wide else 8), np.float32)
    rows = padded[:, :, edge:-edge]
    _put_light(rows[..., :6], planes[:, :3])
    rows[..., 6] = planes[:, 3]
    rows[..., 7] = planes[:, 5] - np.float32(1.0)
    if wide:
        _put_light(rows[..., 8:], planes[:, 6:])
    return padded


def _put_light(rows: Picture, planes: Picture) -> None:
    """Three planes, and their change along s, into rows (n, sectors, samples, 6)."""
    light = np.moveaxis(planes, 1, 3)
    rows[..., :3] = light - np.float32(MEAN_LIGHT)
    rows[:, :, 1:-1, 3:] = (light[:, :, 2:] - light[:, :, :-2]) * np.float32(SLOPE_GAIN)


def _halved(net: Weights, name: str, rows: Picture) -> Picture:
    """Convolve along s in steps of two: (n, sectors, m, c) to (n, sectors, m / 2, c').

    Two neighbouring places count as one row, so that a step of two is a shift by one row.
    """
    rings, sectors, count, channels = rows.shape
    weight = net[f"{name}.weight"].reshape(-1, net[f"{name}.bias"].size)
    out = _windows(rows.reshape(-1, 2 * channels), weight)
    out += net[f"{name}.bias"]
    return out.reshape(rings, sectors, count // 2, -1)


def _windows(rows: Picture, weight: Picture) -> Picture:
    """Convolve rows (k, c) with `weight` (t c, c'): in row i what rows i to i + t - 1 give.

    Every t-th window lies next to the one before it in memory: t products of two matrices give all,
    without a copy or a sum. The last t - 1 rows mean nothing.
    """
    count, channels = rows.shape
    taps = len(weight) // channels
    steps = -(-count // taps)
    out = np.empty((steps, taps, weight.shape[1]), np.float32)
    out[-2:] = 0.0
    for first in range(taps):
        here = (count - first) // taps
        apart = rows[first : first + here * taps].reshape(here, taps * channels)
        np.matmul(apart, weight, out=out[:here, first])
    return out.reshape(-1, weight.shape[1])[:count]


def _strip(net: Weights, rows: Picture) -> tuple[Picture, Picture]:
    """Rows (n, sectors, places, c) with zeros behind each sector, as many as any place looks along.

    Looking along s is then a shift of the whole strip. Its places can be sorted by their remainder
    to the distance between those that one place looks at.

    Returns
    -------
    held : (k, c) the whole strip, with `REACH` rows of zeros before and behind
    strip : (n, sectors, length, c) a view of it without these
    """
    rings, sectors, places, channels = rows.shape
    widest = max(int(value) for name, value in net.items() if name.endswith("dilation"))
    length = -(-(places + REACH * widest) // widest) * widest
    held = np.zeros((REACH + rings * sectors * length + REACH, channels), np.float32)
    strip = held[REACH:-REACH].reshape(rings, sectors, length, channels)
    strip[:, :, :places] = rows
    return held, strip


def _block(net: Weights, name: str, held: Picture, strip: Picture, places: int) -> None:
    """Let each place look along s, across to the neighbours and at the whole ring; in place."""
    rings, sectors, length, channels = strip.shape
    apart = int(net[f"{name}.dilation"])
    bias = net[f"{name}.along.bias"]
    every = _along(held, net[f"{name}.along.weight"], apart).reshape(apart, rings, sectors, -1)
    # max(x + bias, 0) is max(x, -bias) + bias, and all that follows is sums: bias comes below
    np.maximum(every, np.tile(-bias, length // apart), out=every)
    # a circle of sectors: the last one again before the first, the first one after the last
    circle = np.empty((rings, places, sectors + 2, channels), np.float32)
    for turn, seen in enumerate(every.reshape(apart, rings, sectors, -1, channels)):
        mine = circle[:, turn::apart, 1:-1]
        mine[:] = np.swapaxes(seen[:, :, : mine.shape[1]], 1, 2)
    circle[:, :, 0], circle[:, :, -1] = circle[:, :, -2], circle[:, :, 1]
    weight = net[f"{name}.across.weight"].reshape(-1, channels)
    beside = _across(circle.reshape(rings * places, -1), weight, sectors)
    kept = strip[:, :, :places]
    share = np.full((1, sectors), 1.0 / sectors, np.float32)  # a product: faster than a mean
    mean = (share @ strip.reshape(rings, sectors, -1)).reshape(rings, length, channels)
    whole = _product(net, f"{name}.whole", mean[:, :places])
    whole += net[f"{name}.across.bias"] + np.concatenate(3 * [bias]) @ weight
    kept += np.swapaxes(beside.reshape(rings, places, sectors, channels), 1, 2)
    kept += whole[:, None]
    np.maximum(kept, 0, out=kept)


def _across(circles: Picture, weight: Picture, sectors: int) -> Picture:
    """What each sector sees of itself and its neighbours: (k, sectors + 2 by c) to (k, sectors, c).

    One product a sector: its neighbours lie next to it in memory.
    """
    channels = weight.shape[1]
    out = np.empty((len(circles), sectors, channels), np.float32)
    for sector in range(sectors):
        near = circles[:, sector * channels : (sector + 3) * channels]
        np.matmul(near, weight, out=out[:, sector])
    return out


def _along(held: Picture, weight: Picture, apart: int) -> Picture:
    """What each place of a strip sees of itself and of two either way, `apart` places apart.

    (k, c) to (apart, k / apart, c), without what is held before and behind: first every `apart`-th
    place from the first one on, then those from the second one on, and so forth.
    """
    channels = held.shape[1]
    if apart == 1:
        sorted_ = held[None]
    else:
        places = held[REACH:-REACH].reshape(-1, apart, channels).swapaxes(0, 1)
        sorted_ = np.zeros((apart, REACH + places.shape[1] + REACH, channels), np.float32)
        sorted_[:, REACH:-REACH] = places
    seen = _windows(sorted_.reshape(-1, channels), weight.reshape(-1, channels))
    return seen.reshape(sorted_.shape)[:, : -2 * REACH]


def _product(net: Weights, name: str, rows: Picture) -> Picture:
    # one product of two matrices: numpy takes more dimensions as many small products
    out: Picture = rows.reshape(-1, rows.shape[-1]) @ net[f"{name}.weight"]
    out += net[f"{name}.bias"]
    return out.reshape(*rows.shape[:-1], -1)
