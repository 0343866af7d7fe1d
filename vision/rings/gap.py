"""Where a ring is closed: the cut, read along the middle of its wire."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.cores import Asides
from vision.photo.decode import Photo
from vision.rings.section import ROUND, Section
from vision.rings.torus import RADIUS, outlines, ring_angles
from vision.scale.camera import Camera

Array = NDArray[np.float64]
Floats = NDArray[np.float32]
Indices = NDArray[np.int64]

AT_ONCE = 8
"""Rings whose light is read in one go, and stays in the processor's cache until it is judged."""
STEP_PX, COUNTS = 0.5, 64
"""Samples along the wire lie at most so far apart, and their number is a multiple of that: rings of
one size have as many, and are worked on together."""
LANES = np.linspace(0.2, 0.8, 9)
"""Lanes across the wire, in s; the cut crosses all of them."""
LANES_AND_TABLE = np.append(LANES, [-0.3, 1.3])
LANES_LACKING = 1.6
"""Of these lanes a cut may be hidden on so many, by a highlight that runs across it."""
AROUND_SHARE = 1 / 16
"""Of the ring, on either side: what the wire looks like without a cut."""
DENSE = 256
"""Points of an outline between which a line is as good as the curve, to a hundredth of a pixel."""
THIN = 16
"""The look of the wire without a cut is taken at every so many samples."""
STANDS_OUT = 5.0
"""A cut differs from the wire around it by this many times the usual difference. On 481 rings of
17 rendered photos, 0 marks elsewhere, and 54 of 56 cuts of 0.06 mm or more, stand out so."""
USUAL_LEAST = 0.003
"""Least usual difference, in square roots of light."""
BLUR_PX, BLUR_SHARE = 1.2, 0.8
"""Blur where the photo's is not known; a cut is blurred by this share of the photo's widest."""
SHARPEST_PX = 0.5
"""No photo's edges are sharper: lens and mosaic."""
WIDTHS, PLACES = 40, 6
"""Widths that are tried, and places: so many samples either way."""
WIDEST_MM = 0.8
"""Wider is not closed at all, and no ring to measure."""
GROWN, GROWN_PX = 1.25, 1.0
"""A cut is at most so much wider than its width at half its depth."""
DEPTH, U_DEPTH, U_BEYOND = 0.75, 0.25, 0.05
"""A cut is dark to this share of the light of the wire, or as bright as the paper to this share;
how sure that is; how sure it is that it is no darker than black, no brighter than the paper."""
NOISE_REL = 0.02
"""Unevenness of the wire that no model tells from a cut, as a share of its light."""
INFLATION, U_PLACE_PX = 1.5, 0.4
"""What the model leaves out: from photos of a renderer with true gaps (`(measured - true) / u`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """The closure of a ring."""

    width: float
    u_width: float
    """Radians around the ring, along the middle of its wire."""
    direction_deg: float
    """From +x towards +y of the table."""
    u_direction_deg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gaps:
    """The cuts of n rings, looked for on the cores that are free."""

    parts: list[Indices]
    """Rings that are worked on together."""
    looked_for: Asides[list[Gap | None]]

    def result(self) -> list[Gap | None]:
        """A gap for each ring; None where no place stands out, as in a soldered ring."""
        found = zip(self.parts, self.looked_for.result(), strict=True)
        by_ring = {
            int(ring): gap for rings, gaps in found for ring, gap in zip(rings, gaps, strict=True)
        }
        return [by_ring[ring] for ring in range(len(by_ring))]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Strip:
    """The light of the wire along a ring."""

    light: Floats
    """(lanes, n, 3) linear."""
    step_px: float
    step_mm: float
    paper: float
    """Linear light of the table beside it, mean of the channels."""


def find_gaps(
    photo: Photo,
    camera: Camera,
    tori: Array,
    *,
    blur_px: float | None = None,
    section: Section = ROUND,
) -> Gaps:
    """Look for each ring's cut: the one narrow place where the wire differs on all lanes.

    Parameters
    ----------
    tori : (n, 6) rings
    blur_px : standard deviation of the blur of the photo's edges, in its widest direction

    Returns
    -------
    What is looked for aside, until its result is asked for.

    Notes
    -----
    The width is that of a box of one light, blurred, on a wire whose light changes evenly. Width
    and depth of a box narrower than the blur cannot be told apart; what is known of the depth
    (no darker than black) then bounds the width. The answer is the mean and standard deviation
    over all widths and places, each weighed by how well it fits.
    """
    sigma = max(BLUR_SHARE * (blur_px or BLUR_PX), SHARPEST_PX)
    lines = np.stack(outlines(camera, tori, ring_angles(DENSE), section), axis=1)
    middle = lines.mean(axis=1)
    around_px = np.hypot(*np.moveaxis(middle - np.roll(middle, 1, axis=1), -1, 0)).sum(axis=1)
    counts = COUNTS * np.ceil(around_px / (STEP_PX * COUNTS)).astype(np.int64)

    def gaps(which: Indices) -> list[Gap | None]:
        count = int(counts[which[0]])
        light, paper = _light_along(photo, lines[which], count)
        strips = [
            _Strip(
                light=light[place],
                step_px=float(around_px[ring]) / count,
                step_mm=2.0 * np.pi * float(tori[ring, RADIUS]) / count,
                paper=float(paper[place]),
            )
            for place, ring in enumerate(which)
        ]
        found = zip(strips, _standing_out(light), strict=True)
        return [_gap(strip, *place, sigma=sigma) if place else None for strip, place in found]

    parts = []
    for count in np.unique(counts):
        alike = np.nonzero(counts == count)[0]
        parts += np.array_split(alike, -(-len(alike) // AT_ONCE))
    return Gaps(parts=parts, looked_for=Asides(gaps, parts))


def _gap(strip: _Strip, at: int, sign: float, *, sigma: float) -> Gap:
    width, u_width, moved = _box_width(strip, at, sign, sigma)
    count = strip.light.shape[1]
    deg_per_px = 360.0 / count / strip.step_px
    return Gap(
        width=float(np.radians(width * deg_per_px)),
        u_width=float(np.radians(np.hypot(INFLATION * u_width, U_PLACE_PX) * deg_per_px)),
        direction_deg=float((at + 0.5) * 360.0 / count + moved * deg_per_px) % 360.0,
        u_direction_deg=float((U_PLACE_PX + width / 4.0) * deg_per_px),
    )


def _light_along(photo: Photo, lines: Array, count: int) -> tuple[Floats, Floats]:
    """Light (k, lanes, count, 3) along k wires between lines (k, 2, DENSE, 2), and beside (k,)."""
    inner, outer = np.moveaxis(_spread(lines, count).astype(np.float32), 1, 0)
    lanes = LANES_AND_TABLE.astype(np.float32)[:, None, None]
    points = inner[:, None] + lanes * (outer - inner)[:, None]
    every = photo.sample(points.reshape(-1, count, 2)).reshape(*points.shape[:3], 3)
    light, beside = every[:, : len(LANES)], every[:, len(LANES) :].mean(axis=-1)
    return light, _four_fifths(beside.reshape(len(lines), -1))


def _four_fifths(rows: Floats) -> Floats:
    """What four fifths of each row's values (k, n) do not exceed (k,)."""
    place = int(0.8 * (rows.shape[1] - 1))
    return np.asarray(np.partition(rows, place, axis=1)[:, place])  # faster than np.percentile


def _spread(lines: Array, count: int) -> Array:
    """Closed lines (..., DENSE, 2) at the middles of so many equal sectors, (..., count, 2)."""
    at = (np.arange(count) + 0.5) * (DENSE / count) - 0.5
    before = np.floor(at).astype(np.int64)
    share = (at - before)[:, None]
    ahead = lines[..., (before + 1) % DENSE, :]
    spread: Array = (1.0 - share) * lines[..., before, :] + share * ahead
    return spread


def _standing_out(light: Floats) -> list[tuple[int, float] | None]:
    """Of each ring (k, lanes, n, 3) the sample where nearly all lanes differ from around.

    With the sign of the difference; None where there is no such place.
    """
    blue, green, red = np.moveaxis(np.sqrt(np.maximum(light, 0.0)), -1, 0)
    root = np.asarray(blue + green + red, np.float32) / np.float32(3.0)
    difference = root - _running_median(root)
    half = root.shape[2] // 2
    usual = np.partition(np.abs(difference), half, axis=2)[..., [half]]  # faster than np.median
    off = difference / (usual + USUAL_LEAST)
    return [_agreed(lanes) for lanes in off]


def _agreed(off: Floats) -> tuple[int, float] | None:
    """The sample where nearly all lanes (lanes, n) are off most, and the sign."""
    best, found = STANDS_OUT, None
    lacking = int(LANES_LACKING)
    between = LANES_LACKING - lacking
    for sign in (-1.0, 1.0):
        # only where enough lanes stand out is it worth while to sort them
        enough = (sign * off > STANDS_OUT).sum(axis=0) >= len(off) - lacking - 1
        (places,) = np.nonzero(enough)
        if not len(places):
            continue
        ordered = np.sort(sign * off[:, places], axis=0)
        agreed = (1.0 - between) * ordered[lacking] + between * ordered[lacking + 1]
        at = int(agreed.argmax())
        if agreed[at] > best:
            best, found = float(agreed[at]), (int(places[at]), sign)
    return found


def _running_median(root: Floats) -> Floats:
    """Usual light (k, lanes, n) around each sample: medians at some, straight lines between."""
    count = root.shape[2]
    half = max(8, int(count * AROUND_SHARE))
    wrapped = np.concatenate([root[..., -half:], root, root[..., :half]], axis=2)
    windows = np.lib.stride_tricks.sliding_window_view(wrapped, 2 * half + 1, axis=2)
    some = np.ascontiguousarray(windows[:, :, ::THIN, :: max(1, half // 15)])
    middle = some.shape[-1] // 2
    median = np.partition(some, middle, axis=-1)[..., middle]  # several times as fast as np.median
    share = np.arange(THIN, dtype=np.float32) / np.float32(THIN)
    before, after = median[..., None], np.roll(median, -1, axis=2)[..., None]
    return np.asarray((before + (after - before) * share).reshape(root.shape), np.float32)


def _half_depth(profile: Array, at: int) -> tuple[int, int]:
    """Width of the mark at half its depth, and its middle, in samples."""
    count = len(profile)
    reach = count // 8
    base = float(np.median(profile[np.arange(at - reach, at + reach + 1) % count]))
    depth = profile - base
    near = np.arange(at - 3, at + 4) % count
    peak = int(near[np.abs(depth[near]).argmax()])
    inside = depth / (depth[peak] or 1.0) > 0.5
    left = right = 0
    while left < reach and inside[(peak - left) % count]:
        left += 1
    while right < reach and inside[(peak + right) % count]:
        right += 1
    return left + right - 1, round(peak + (right - left) / 2)


def _box_width(strip: _Strip, at: int, sign: float, sigma: float) -> tuple[float, float, float]:
    """Width of the cut, its standard uncertainty, and how far from `at` its middle lies; px."""
    from scipy.special import ndtr

    profile = strip.light.mean(axis=(0, 2), dtype=float)
    count = len(profile)
    step = strip.step_px
    samples, middle = _half_depth(profile, at)
    seen = samples * step
    widest = min(WIDEST_MM / strip.step_mm * step, GROWN * seen + GROWN_PX)
    half = min(int((0.75 * widest + 4.0 * sigma + 6.0) / step), count // 6)
    index = np.arange(-half, half + 1)
    x, light = index * step, profile[(middle + index) % count]
    widths = np.linspace(0.05, widest, WIDTHS)
    steps = np.arange(-PLACES, PLACES + 1)
    places = steps * step
    # places lie as the samples do: a box elsewhere is the same box, seen further along
    far, ends = np.arange(-half - PLACES, half + PLACES + 1) * step, widths[:, None] / 2.0
    drawn = ndtr((far + ends) / sigma) - ndtr((far - ends) / sigma)
    box = drawn[:, PLACES - steps[:, None] + np.arange(len(x))]
    plain, _ = np.linalg.qr(np.stack([np.ones_like(x), x], axis=1))
    wanted = light - plain @ (plain.T @ light)
    given = box - (box @ plain) @ plain.T
    power = np.sum(given**2, axis=-1) + 1e-12
    height = given @ wanted / power
    squares = np.sum(wanted**2) - height**2 * power
    wire = max(float(light[np.abs(x) > 0.6 * x.max()].mean()), 1e-4)
    noise = squares.min() / len(x) + (NOISE_REL * wire) ** 2
    independent = max(len(x) * step / (2.5 * sigma), 5.0)
    fits = -0.5 * squares / noise * independent / len(x)
    most = 1.0 if sign < 0 else max(strip.paper / wire - 1.0, 0.05)
    depth = sign * height / wire / most
    beyond = np.maximum(depth - 1.0, 0.0) / U_BEYOND
    short = np.where(depth < 1.0, (depth - DEPTH) / U_DEPTH, 0.0)
    fits = np.where(depth > 0.0, fits - 0.5 * (beyond**2 + short**2), -np.inf)
    if not np.isfinite(fits.max()):
        return seen, seen / 2.0, float(middle - at) * step
    weight = np.exp(fits - fits.max())
    weight /= weight.sum()
    width = float(weight.sum(axis=1) @ widths)
    spread = float(np.sqrt(weight.sum(axis=1) @ (widths - width) ** 2))
    moved = float(weight.sum(axis=0) @ places)
    return width, spread, float(middle - at) * step + moved
