"""Fits made by hand, for tests of what follows from them."""

import numpy as np

from vision.rings.fit import Fit
from vision.rings.reader import Reading
from vision.rings.unwrap import FINE

SHADOW, RELIEF = 0.3, 0.2
SECTORS = 2 * FINE.sectors
"""Of both readings whose mean counts."""


def fit_of(tori: np.ndarray, **changes: np.ndarray) -> Fit:
    """Rings (n, 6) that were read clearly on white paper, with relief and a shadow beside them."""
    count = len(tori)
    parts = {
        "scale": np.full((count, 2), 0.01),
        "presence": np.ones(count),
        "residuals": np.zeros((count, 2, SECTORS)),
        "apart": np.full((count, 2), 0.001),
        "clear": np.ones((count, SECTORS)),
        "planes": lit(count),
        "paper": np.full(count, 0.6),
        "clipped": np.zeros(count),
    } | changes
    reading = Reading(
        edges=np.tile(np.array([0.0, 1.0])[:, None], (count, 1, SECTORS)),
        weight=np.ones((count, 2, SECTORS)),
        scale=parts.pop("scale"),
        presence=parts.pop("presence"),
    )
    return Fit(tori=np.asarray(tori, float).reshape(-1, 6), reading=reading, **parts)


def lit(count: int, *, shadow: float = SHADOW, relief: float = RELIEF) -> np.ndarray:
    """What the reader saw (n, 6, ...): paper of light 1, a band on the wire, a shadow."""
    light = np.ones(FINE.samples)
    wire = (FINE.s > 0.0) & (FINE.s < 1.0)
    light[wire] = 0.6 + relief * np.sin(4.0 * np.pi * FINE.s[wire])
    light[(FINE.s >= 1.0) & (FINE.s < 1.3)] -= shadow
    planes = np.zeros((count, 6, FINE.sectors, FINE.samples), np.float32)
    planes[:, :3] = light
    planes[:, 4] = FINE.s
    return planes


def scattered(count: int, spread: float) -> np.ndarray:
    """Residuals (n, 2, sectors) whose standard deviation is `spread` wire widths."""
    signs = np.resize([1.0, -1.0], SECTORS)
    return np.tile(spread * signs, (count, 2, 1))
