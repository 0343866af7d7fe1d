"""Whether a photo can serve: what is wrong with it, what to do about it, what it cannot carry.

The limits come from sharp photos with known truth that were blurred, shaken, brightened and
scaled down step by step (`tests/accuracy/degraded.py`), and from where rings lie in photos with
known truth.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.errors import PhotoError, VisionError
from vision.photo.look import FULL, Look
from vision.results import Check, Finding, Fitness, Ring, Scale, Status

Pixels = NDArray[np.uint8]

SOFT_SHARE, SOFT_MOST = 0.09, 0.14
"""Blur of edges over the wire's width: from the first one the error grows (wire p95 0.009 mm at
0.05, 0.028 at 0.11), from the second one outlines are taken for each other (0.17-0.23 mm at 0.15
and more, where U covers half of the rings)."""
BURNT_SOME, BURNT_MOST = 0.2, 0.45
"""Share of the strip beside a ring's outlines in which the light is burnt out: from the first
one U grows, from the second one the rim of bright wire is as white as the paper and the wire
reads up to 0.4 mm too thin."""
STRIP = (0.03, 0.2)
"""That strip, in wire widths from the outline."""
NEARLY_FULL = 240
"""Level that the third channel must reach where two are burnt out: what mirrors burnt paper is as
burnt out but in the colour that it swallows, and what that has left lies on the tone curve's end.
Gold before such paper read 0.49 mm too thin."""
DARK_RIM = 128
"""8-bit level under which a wire is so dark along its rim that burnt paper does not hide it: a ring
before a light. Over it, wire mirrors the paper."""
NOISE_MUCH = 0.06
"""Noise of a pixel over the light of the table from which edges scatter: at 0.11 the wire's p95
grows by half."""
TILT_MUCH_DEG, TILT_MOST_DEG = 12.0, 35.0
"""The reader of outlines was trained on views up to the first; beyond the second half of a rim is
hidden behind the wire."""
WIRE_WELL_PX = 12.0
"""Under this the wire's p95 is 0.034 mm, above 18 px it is 0.015."""
EDGE_FROM = 0.8
"""Distance from the photo's middle, in half widths and half heights, from which a ring lies near
the edge: there ID is off by twice as much as in the middle (p95 0.067 against 0.035 mm), since a
coin tells the tilt and the lens only where it lies. A printed sheet tells them everywhere."""
ASLANT_FROM = 0.36
"""Distance from the optical axis, in focal lengths (20 degrees), that it takes besides: a longer
lens has no such edge."""
SPAN_LEAST = 12.0
"""Levels between dark and bright under which a photo shows nothing."""
BLUR_MUCH_PX, BURNT_MUCH, NOISE_VERY_MUCH = 2.5, 0.5, 0.15
"""From these on a photo's looks may be why nothing was found in it."""

SHARPER = (
    "tap on the rings to focus, do not go nearer than the camera can focus, wipe the lens, and "
    "rest the phone on something or use its timer"
)
DARKER = "take the photo darker, until the paper is light grey (tap on the paper, then pull down)"
LEVEL = "hold the camera straight above the rings: use its level or grid"
BLURRED = "too blurred"
NAMED = 6
"""Rings named in a sentence before it says how many more there are."""
LIGHTER = "take the photo in more light, by a window, with the phone at rest"


def require_contrast(look: Look, file: str) -> None:
    """Refuse a photo on which there is nothing to see.

    Raises
    ------
    PhotoError
        The photo is all black, all white, or a blank surface.
    """
    if look.span >= SPAN_LEAST:
        return
    burnt = look.burnt_share > BURNT_MUCH
    raise PhotoError(
        f"{file} shows nothing: it is {'burnt out' if burnt else 'of one shade'} all over",
        hint=DARKER if burnt else "take the lens cap off, and the rings and the reference into it",
    )


def explained(error: VisionError, look: Look) -> VisionError:
    """Give an error about what was not found the photo's part in it."""
    causes = []
    if look.blur_px is not None and look.blur_px > BLUR_MUCH_PX:
        causes.append(f"the photo is blurred ({look.blur_px:.1f} px): {SHARPER}")
    if look.burnt_share > BURNT_MUCH:
        causes.append(f"{100 * look.burnt_share:.0f} % of the photo is burnt out: {DARKER}")
    if look.noise_rel > NOISE_VERY_MUCH:
        causes.append(f"the photo is noisy ({100 * look.noise_rel:.0f} %): {LIGHTER}")
    if not causes:
        return error
    return type(error)(str(error), hint="; ".join([*causes, error.hint] if error.hint else causes))


def judge(
    bgr: Pixels, look: Look, scale: Scale, rings: tuple[Ring, ...], file: str
) -> tuple[tuple[Ring, ...], Fitness]:
    """Judge a photo by its rings, and take the numbers from those that it cannot carry.

    Parameters
    ----------
    bgr : (h, w, 3) the upright photo
    look : of this photo
    rings : as measured, with their outlines
    file : its name, for messages

    Raises
    ------
    PhotoError
        The camera was tilted too far, or no measured ring can keep its numbers.
    """
    if scale.tilt_deg is not None and scale.tilt_deg > TILT_MOST_DEG:
        raise PhotoError(
            f"{file} was taken at {scale.tilt_deg:.0f} degrees from straight down; up to "
            f"{TILT_MOST_DEG:.0f} can be measured, up to {TILT_MUCH_DEG:.0f} are good",
            hint=LEVEL,
        )
    burnt = _burnt_beside(bgr, rings)
    widths = _wire_px(scale, rings)
    kept = tuple(
        _withheld(ring, look.blur_px, width, share)
        for ring, width, share in zip(rings, widths, burnt, strict=True)
    )
    _require_one(kept, rings, file)
    near = tuple(ring.number for ring in kept if _near_edge(ring, scale, bgr.shape))
    measured = [width for ring, width in zip(kept, widths, strict=True) if _has_numbers(ring)]
    thinnest = min(measured, default=None)
    findings = (
        _sharpness(look, thinnest),
        _exposure([ring.number for ring, b in zip(kept, burnt, strict=True) if b > BURNT_SOME]),
        _noise(look),
        _tilt(scale),
        _resolution(thinnest),
        _edge(near),
    )
    fitness = Fitness(
        blur_px=look.blur_px,
        noise_rel=look.noise_rel,
        burnt_share=look.burnt_share,
        tilt_deg=scale.tilt_deg,
        thinnest_wire_px=thinnest,
        near_edge=near,
        findings=tuple(finding for finding in findings if finding is not None),
    )
    return kept, fitness


def _has_numbers(ring: Ring) -> bool:
    return ring.status is Status.MEASURED


def _wire_px(scale: Scale, rings: tuple[Ring, ...]) -> list[float]:
    """Width of each ring's wire in the picture; 0 for a ring without numbers."""
    wires = np.array([ring.wire_mm.value if ring.wire_mm else 0.0 for ring in rings])
    places = np.array([ring.center_px for ring in rings]).reshape(-1, 2)
    widths: list[float] = (
        wires / scale.camera.pixel_sizes(places, wires[:, None, None] / 2.0)
    ).tolist()
    return widths


def _burnt_beside(bgr: Pixels, rings: tuple[Ring, ...]) -> list[float]:
    """Share of the strips just outside and inside each ring in which burnt paper hides the rim.

    Two channels are burnt out there, the third nearly so, and the wire's own rim beside it is not
    dark.
    """
    shares = [0.0] * len(rings)
    drawn = {
        index: ring.outlines_px
        for index, ring in enumerate(rings)
        if ring.outlines_px is not None and _has_numbers(ring)
    }
    if not drawn:
        return shares
    inner, outer = np.moveaxis(np.array(list(drawn.values())), 1, 0)[:, :, None]
    steps = np.linspace(*STRIP, 4)[:, None, None] * (outer - inner)
    paper = _levels(bgr, np.stack([outer + steps, inner - steps]))
    if paper.max() < FULL:
        return shares
    burnt = ((paper >= FULL).sum(axis=-1) > 1) & (paper.min(axis=-1) >= NEARLY_FULL)
    wire = _levels(bgr, np.stack([outer - steps, inner + steps])).max(axis=-1)
    hidden = burnt & (wire.mean(axis=2, keepdims=True) > DARK_RIM)
    for index, share in zip(drawn, hidden.mean(axis=(0, 2, 3)), strict=True):
        shares[index] = float(share)
    return shares


def _levels(bgr: Pixels, points: NDArray[np.float64]) -> Pixels:
    """8-bit levels (..., 3) of the pixels nearest to the points (..., 2)."""
    height, width = bgr.shape[:2]
    nearest = np.clip(np.rint(points), 0, (width - 1, height - 1)).astype(np.int64)
    levels: Pixels = bgr[nearest[..., 1], nearest[..., 0]]
    return levels


def _withheld(ring: Ring, blur_px: float | None, wire_px: float, burnt: float) -> Ring:
    """The ring, without its numbers if the photo cannot carry them."""
    if not _has_numbers(ring):
        return ring
    reasons = []
    if blur_px is not None and blur_px > SOFT_MOST * wire_px:
        reasons.append(
            f"{BLURRED}: edges are {blur_px:.1f} pixels soft (standard deviation) on a wire of "
            f"{wire_px:.0f}, at most {SOFT_MOST * wire_px:.1f} will do"
        )
    if burnt > BURNT_MOST:
        reasons.append("burnt out around the ring: its rim cannot be told from the paper")
    if not reasons:
        return ring
    return replace(
        ring,
        status=Status.UNUSABLE,
        reasons=tuple(reasons),
        warnings=(),
        wire_mm=None,
        id_mm=None,
        od_mm=None,
        ar=None,
        ovality=None,
        ovality_u95=None,
        gap_mm=None,
        gap_u95_mm=None,
        gap_deg=None,
        gap_u95_deg=None,
        ends_mm=None,
        ends_u95_mm=None,
    )


def _require_one(kept: tuple[Ring, ...], rings: tuple[Ring, ...], file: str) -> None:
    """Refuse the photo if it took the numbers from every ring that had some."""
    lost = [ring for ring, was in zip(kept, rings, strict=True) if ring is not was]
    if not lost or any(_has_numbers(ring) for ring in kept):
        return
    reason = lost[0].reasons[0]
    raise PhotoError(
        f"{file} cannot be measured, {reason}",
        hint=SHARPER if reason.startswith(BLURRED) else DARKER,
    )


def _near_edge(ring: Ring, scale: Scale, shape: tuple[int, ...]) -> bool:
    if scale.kind == "sheet" or scale.camera_height_mm is None or not _has_numbers(ring):
        return False
    camera, half = scale.camera, np.array([shape[1], shape[0]]) / 2.0
    aside = np.hypot(ring.center_px[0] - camera.cx, ring.center_px[1] - camera.cy) / camera.f_px
    outside = np.any(np.abs(np.array(ring.center_px) / half - 1.0) > EDGE_FROM)
    return bool(outside and aside > ASLANT_FROM)


def _sharpness(look: Look, thinnest: float | None) -> Finding | None:
    if look.blur_px is None:
        problem = "no edge stands out: how sharp the photo is cannot be told"
        return Finding(check=Check.SHARPNESS, problem=problem, advice=LIGHTER)
    if thinnest is None or look.blur_px < SOFT_SHARE * thinnest:
        return None
    problem = (
        f"soft: edges are blurred by {look.blur_px:.1f} pixels, {100 * look.blur_px / thinnest:.0f}"
        f" % of the thinnest wire; under {100 * SOFT_SHARE:.0f} % is good"
    )
    return Finding(check=Check.SHARPNESS, problem=problem, advice=SHARPER)


def _exposure(burnt: list[int]) -> Finding | None:
    if not burnt:
        return None
    problem = f"burnt out: the paper has no light left to tell rims by, around {_rings(burnt)}"
    return Finding(check=Check.EXPOSURE, problem=problem, advice=DARKER)


def _noise(look: Look) -> Finding | None:
    if look.noise_rel < NOISE_MUCH:
        return None
    problem = (
        f"noisy: a pixel scatters by {100 * look.noise_rel:.0f} % of the light of the table, "
        f"under {100 * NOISE_MUCH:.0f} % is good"
    )
    return Finding(check=Check.NOISE, problem=problem, advice=LIGHTER)


def _tilt(scale: Scale) -> Finding | None:
    if scale.tilt_deg is None or scale.tilt_deg < TILT_MUCH_DEG:
        return None
    problem = (
        f"tilted: the camera looked {scale.tilt_deg:.0f} degrees aslant, up to "
        f"{TILT_MUCH_DEG:.0f} are good"
    )
    return Finding(check=Check.TILT, problem=problem, advice=LEVEL)


def _resolution(thinnest: float | None) -> Finding | None:
    if thinnest is None or thinnest > WIRE_WELL_PX:
        return None
    problem = (
        f"coarse: the thinnest wire is {thinnest:.0f} pixels across, {WIRE_WELL_PX:.0f} and more "
        "are good"
    )
    advice = "go nearer or take the 2x lens, fill the picture, and send the photo in full size"
    return Finding(check=Check.RESOLUTION, problem=problem, advice=advice)


def _edge(near: tuple[int, ...]) -> Finding | None:
    if not near:
        return None
    problem = f"near the photo's edge, where a coin does not tell the lens: {_rings(near)}"
    advice = "lay rings in the middle of the picture, or take the printed sheet"
    return Finding(check=Check.EDGE, problem=problem, advice=advice)


def _rings(numbers: Sequence[int]) -> str:
    """`ring 3`, `rings 3, 8`, `rings 3, 8, 11, 12 and 9 more`."""
    named = ", ".join(str(number) for number in numbers[:NAMED])
    more = f" and {len(numbers) - NAMED} more" if len(numbers) > NAMED else ""
    return f"ring{'s' if len(numbers) > 1 else ''} {named}{more}"
