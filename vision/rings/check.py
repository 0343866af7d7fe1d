"""Which fitted rings cannot be measured fairly, and why."""

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.rings.fit import Fit
from vision.rings.section import Profile
from vision.rings.torus import RADIUS, TUBE, X, Y, outlines, ring_angles
from vision.rings.unwrap import FINE, Grid, unwrap, widths_px
from vision.scale.camera import Camera

Array = NDArray[np.float64]

OVERLAP_WIRE = 0.12
"""Rings overlap if their metal shares more than this part of the thinner wire; less is touching."""
LINKED = 2
"""Rings that one ring overlaps, from which it is told to hang in a chain or lie in a heap."""
NEAR_WIRE = 0.15
"""Gap between two rings, in wires, under which they are told to touch."""
PRINT_PEERS = 4
"""Rings needed in a photo before one of them can stand out by lacking a shadow."""
SHADOW_USUAL, SHADOW_NONE, RELIEF_NONE = 0.12, 0.07, 0.06
"""Loss of light beside a wire that says the photo has shadows, and what counts as none; spread of
light over a wire that counts as none. Square roots of relative light."""
WIRE_LEAST_PX = 8.0
"""Narrower wire is not measured."""
WIRE_WELL_PX = 12.0
"""Narrower wire is measured with a warning."""
HOLE_AT, BESIDE_AT = (0.1, 0.3, 0.45), (1.25, 1.35, 1.45)
"""Where the light in a hole and beside a ring is read, in radii of the inner and outer outline."""
BRIGHTER, DARKER, COLOURED = 0.15, -0.5, 0.2
"""Differences (ln of the light) between the hole and the table from which something fills the hole:
mean over the channels, and between the channels. Of 1,400 rendered rings 99 of 100 lie within
-0.40 to 0.05 and under 0.09; of 20 coins whose raised rim passed for a ring, 19 lie beyond."""
DEEP_AR = 4.0
"""In a smaller hole, by the AR, shadow alone can be as dark as that."""
DARK_PAPER = 0.08
"""Linear light of the surroundings under which the rim mirrors black: the edge is not there."""
STRANDS = Grid(sectors=32, rays=3, samples=48)
"""How a ring is cut open to count strands: the reader's sectors are too wide for them."""
WAVY_SHARE, WAVY_RELIEF, WAVY_SCATTER = 0.25, 0.1, 0.012
"""Share of the wire's relief that repeats 5 to 15 times around the ring, the relief itself (square
roots of relative light) and the scatter of the edges (wire widths), from which strands are seen:
4 of 4 rendered twisted rings, 1 of 500 round ones."""
CLIPPED_SHARE, BURNT_SHARE = 0.25, 0.3
"""Shares of overexposed samples, around a ring and on its wire, from which a warning is due."""


def printed(fit: Fit, loose: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which fits (n,) are circles printed on the table.

    A wire on the table darkens the paper beside it and is not equally bright all over; print does
    neither. Over a light neither do rings, so this speaks only where the other rings do: those
    that are `loose` (n,), each clearly a ring for itself.
    """
    if np.count_nonzero(loose) < PRINT_PEERS:
        return np.zeros(len(fit), bool)
    light = fit.planes[:, :3].mean(axis=1)
    s = FINE.s
    beside = ((s > 1.08) & (s < 1.25)) | ((s > -0.25) & (s < -0.08))
    wire = (s > 0.25) & (s < 0.75)
    shadow = 1.0 - light[:, :, beside].mean(axis=2).min(axis=1)
    relief = light[:, :, wire].std(axis=(1, 2))
    if np.median(shadow[loose]) < SHADOW_USUAL:
        return np.zeros(len(fit), bool)
    flat: NDArray[np.bool_] = (shadow < SHADOW_NONE) & (relief < RELIEF_NONE)
    return flat


def wavy(photo: Photo, camera: Camera, fit: Fit) -> NDArray[np.bool_]:
    """Which fits (n,) of plain wire look twisted: strands cross it at even steps, edges scatter."""
    strands = np.zeros(len(fit), bool)
    asked = np.nonzero(fit.scatter > WAVY_SCATTER)[0]
    if fit.section.profile is not Profile.ROUND or not len(asked):
        return strands
    planes = unwrap(photo, camera, fit.tori[asked], fit.section, STRANDS).planes
    wire = (STRANDS.s > 0.1) & (STRANDS.s < 0.9)
    light = planes[:, :3].mean(axis=1, dtype=float)[:, :, wire]
    light = light - light.mean(axis=1, keepdims=True)
    power = (np.abs(np.fft.rfft(light, axis=1)) ** 2).sum(axis=2)[:, 1:16]
    share = power[:, 4:].sum(axis=1) / np.maximum(power.sum(axis=1), 1e-12)
    relief = light.std(axis=(1, 2))
    strands[asked] = (share > WAVY_SHARE) & (relief > WAVY_RELIEF)
    return strands


def filled(photo: Photo, camera: Camera, fit: Fit) -> NDArray[np.bool_]:
    """Whether something else than the table, and than another ring, shows in each hole (n,).

    The raised rim of a coin is a ring to the eye, but for what lies inside.
    """
    inner, outer = outlines(camera, fit.tori, ring_angles(24), fit.section)
    middle = inner.mean(axis=1)[:, None]

    def light(lines: Array, shares: tuple[float, ...]) -> Array:
        around = [middle + share * (lines - middle) for share in shares]
        each = photo.sample(np.concatenate(around, axis=1))
        return np.asarray(np.median(each.astype(float), axis=1))

    ratio = np.log((light(inner, HOLE_AT) + 0.003) / (light(outer, BESIDE_AT) + 0.003))
    bright, colour = ratio.mean(axis=1), np.ptp(ratio, axis=1)
    dark = (bright < DARKER) & (fit.id_mm > DEEP_AR * fit.wire_mm)
    apart = np.hypot(*(fit.tori[:, None, :2] - fit.tori[None, :, :2]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    alone = ~((apart < fit.tori[:, [RADIUS]]) & fit.is_clear).any(axis=1)
    strange: NDArray[np.bool_] = alone & ((bright > BRIGHTER) | (colour > COLOURED) | dark)
    return strange


def burnt(fit: Fit) -> NDArray[np.bool_]:
    """Whose metal (n,) is overexposed: its light seems to spread beyond its edges."""
    wire = (FINE.s > 0.0) & (FINE.s < 1.0)
    spread: NDArray[np.bool_] = fit.planes[:, 3][:, :, wire].mean(axis=(1, 2)) > BURNT_SHARE
    return spread


def reasons_against(fit: Fit, camera: Camera, size: tuple[int, int]) -> list[list[str]]:
    """Say for each ring why it carries no numbers; an empty list means that it does.

    Reasons name other rings by index in braces, `{3}`, to be replaced by their numbers.
    """
    reasons: list[list[str]] = [[] for _ in range(len(fit))]
    width_px = wire_widths_px(fit, camera)
    clear = fit.is_clear
    overlap, _ = _beside_each_other(fit.tori)
    over = [np.flatnonzero(row).tolist() for row in overlap]
    outside = _leaves_picture(camera, fit, size)
    flat = printed(fit, clear & np.array([not others for others in over], bool))
    for index in range(len(fit)):
        mine = reasons[index]
        if flat[index]:
            mine.append("casts no shadow as the rings do: printed, not a ring")
        if outside[index]:
            mine.append("cut off by the photo's edge")
        mine += [f"overlaps ring {{{other}}}" for other in over[index]]
        if len(over[index]) >= LINKED:
            mine.append("linked with its neighbours, or in a heap: lay each ring for itself")
        if width_px[index] < WIRE_LEAST_PX:
            mine.append(f"wire is only {width_px[index]:.0f} pixels across, 12 are needed")
        if not clear[index] and not mine:
            mine.append("outline is not clear: covered, bent, not flat or not a ring")
    return reasons


def warnings_about(camera: Camera, fit: Fit, strands: NDArray[np.bool_]) -> list[list[str]]:
    """Say for each measured ring what makes its numbers less sure.

    Parameters
    ----------
    strands : (n,) whether its wire looks twisted
    """
    warnings: list[list[str]] = [[] for _ in range(len(fit))]
    width_px = wire_widths_px(fit, camera)
    glare = burnt(fit)
    _, touch = _beside_each_other(fit.tori)
    for index in range(len(fit)):
        mine = warnings[index]
        if strands[index]:
            mine.append("its outline is wavy: twisted wire? measure with --profile twisted")
        mine += [f"touches ring {{{other}}}" for other in np.flatnonzero(touch[index])]
        if width_px[index] < WIRE_WELL_PX:
            mine.append(f"wire is {width_px[index]:.0f} pixels across, 12 or more are good")
        if fit.paper[index] < DARK_PAPER:
            mine.append("dark surroundings hide the edge of bright wire: lay it on white paper")
        if fit.clipped[index] > CLIPPED_SHARE:
            mine.append("overexposed around the ring: take the photo darker")
        elif glare[index]:
            mine.append("its metal is overexposed: take the photo darker, or on lighter paper")
    return warnings


def wire_widths_px(fit: Fit, camera: Camera) -> Array:
    """Mean width (n,) of each wire in the picture."""
    return widths_px(*outlines(camera, fit.tori, ring_angles(32), fit.section))


def _leaves_picture(camera: Camera, fit: Fit, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Which rings (n,) reach the photo's edge."""
    _, outer = outlines(camera, fit.tori, ring_angles(64), fit.section)
    leaves = (outer < 1.0) | (outer > np.array(size) - 2.0)
    return np.asarray(leaves.any(axis=(1, 2)), np.bool_)


def _beside_each_other(tori: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which rings (n, n) overlap on the table, and which touch without that."""
    apart = np.hypot(*(tori[:, None, [X, Y]] - tori[None, :, [X, Y]]).transpose(2, 0, 1))
    radius, tube = tori[:, RADIUS], tori[:, TUBE]
    tubes = tube[:, None] + tube
    beside = apart - radius[:, None] - radius - tubes
    within = np.abs(radius[:, None] - radius) - apart - tubes
    clearance = np.maximum(beside, within)  # of metal from metal; negative where they overlap
    thinner = 2.0 * np.minimum(tube[:, None], tube)
    overlap = clearance < -OVERLAP_WIRE * thinner
    np.fill_diagonal(overlap, False)
    touch = ~overlap & (clearance < NEAR_WIRE * thinner)
    np.fill_diagonal(touch, False)
    return overlap, touch
