"""The centre line of a fitted ring as it lies in the picture."""

import numpy as np
from numpy.typing import NDArray

from vision.rings.fit import Fit
from vision.rings.torus import OVAL_COS, OVAL_SIN, RADIUS, TUBE, X, Y, ring_angles
from vision.scale.camera import Camera
from vision.scale.level import ROUND_POINTS, Round

Array = NDArray[np.float64]

U_RING_OVAL = 0.005
"""Oval amplitude of an ordinary jump ring, by itself."""


def centre_lines_px(camera: Camera, tori: Array) -> Array:
    """Project the centre lines of rings (n, 6), at half their height: (n, ROUND_POINTS, 2) px."""
    angles = ring_angles(ROUND_POINTS)
    oval = tori[:, [OVAL_COS]] * np.cos(2 * angles) + tori[:, [OVAL_SIN]] * np.sin(2 * angles)
    radius = tori[:, [RADIUS]] * (1.0 + oval)
    points = np.stack(
        [
            tori[:, [X]] + radius * np.cos(angles),
            tori[:, [Y]] + radius * np.sin(angles),
            np.broadcast_to(tori[:, [TUBE]], radius.shape),
        ],
        axis=-1,
    )
    return camera.project(points)


def rounds_of(camera: Camera, fit: Fit) -> list[Round]:
    """The clearly read rings as round things that tell tilt and lens."""
    lines = centre_lines_px(camera, fit.tori)
    clear = np.nonzero(fit.is_clear)[0]
    return [Round(points_px=lines[index], u_oval=U_RING_OVAL) for index in clear]
