"""What is seen along each ring's wire, however large a millimetre is: its cut, colour, strands."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.cores import Aside
from vision.photo.decode import Photo
from vision.rings.check import wavy
from vision.rings.colour import colours_of
from vision.rings.fit import Fit
from vision.rings.gap import Gaps, find_gaps
from vision.scale.camera import Camera


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Along:
    """Of n rings, looked for aside."""

    gaps: Gaps
    colours: Aside[list[str]]
    strands: Aside[NDArray[np.bool_]]
    """(n,) whether the wire looks twisted, though it is said to be plain."""


def look_along(photo: Photo, camera: Camera, fit: Fit, blur_px: float | None = None) -> Along:
    """Look at the wire of every ring.

    Parameters
    ----------
    camera : under which the rings are drawn where they are seen; its scale does not count
    blur_px : standard deviation of the blur of the photo's edges, where it is known
    """
    tori, section = fit.tori, fit.section
    return Along(
        gaps=find_gaps(photo, camera, tori, blur_px=blur_px, section=section),
        colours=Aside(colours_of, photo, camera, tori),
        strands=Aside(wavy, photo, camera, fit),
    )
