"""Which straight dark strips are printed lines, and no wire."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.rings.unwrap import places_of

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

RELIEF_NONE, RIM_NONE = 0.03, 0.3
"""Spread of light over the middle of a strip, and brightness of its rim over its middle, under
which it is equally dark all over. Square roots of light relative to the paper. Drawn lines: up to
0.01 and, blurred over ten pixels, 0.24; rendered bright wire before a light 0.02 and from 0.36."""
SHADOW_NONE, SHADOW_USUAL = 0.05, 0.08
"""Loss of light beside a strip that counts as no shadow, and what says that a photo has shadows."""


def printed(strips: Sequence[Picture], rings: Picture) -> NDArray[np.bool_]:
    """Tell which strips (n,) are print.

    A wire on the table darkens the paper beside it and is not equally bright all over; print does
    neither. Before a light wire casts no shadow either: what lies on the table beside the strips
    says whether the photo is one of those, and then nothing is called print.

    Parameters
    ----------
    strips : for each the planes (k, 9, sectors, samples) of its stretches, unwrapped
    rings : (m, 9, ...) the same of the rings
    """
    shadows = np.array([np.median(_shadow(planes)) for planes in strips])
    even = np.array([_even(planes) for planes in strips], dtype=bool)
    peers = np.concatenate([shadows[~even], _shadow(rings)])
    if len(peers) and float(np.median(peers)) < SHADOW_USUAL:
        return np.zeros(len(strips), bool)
    flat: NDArray[np.bool_] = even & (shadows < SHADOW_NONE)
    return flat


def _light(planes: Picture, low: float, high: float) -> Array:
    """Light (n, sectors, m) between two places across."""
    light: Array = planes[:, :3].mean(axis=1, dtype=float)
    s = places_of(planes.shape[3])
    return light[:, :, (low < s) & (high > s)]


def _shadow(planes: Picture) -> Array:
    """Loss of light (n,) beside a strip, on its darker side."""
    sides = _light(planes, -0.4, -0.12).mean(axis=2), _light(planes, 1.12, 1.4).mean(axis=2)
    shadow: Array = 1.0 - np.minimum(*(np.median(side, axis=1) for side in sides))
    return shadow


def _even(planes: Picture) -> bool:
    middle = _light(planes, 0.3, 0.7)
    sides = _light(planes, 0.09, 0.14), _light(planes, 0.86, 0.91)
    rim = max(float(np.median(side)) for side in sides) - float(np.median(middle))
    relief = float(np.median(middle.std(axis=2)))
    return relief < RELIEF_NONE and rim < RIM_NONE
