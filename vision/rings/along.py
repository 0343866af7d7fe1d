"""What is seen along each ring's wire, however large a millimetre is: its cut, colour, strands."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.photo.decode import Photo
from vision.rings.check import wavy
from vision.rings.colour import colours_of
from vision.rings.fit import Fit
from vision.rings.gap import Gap, find_gaps
from vision.rings.section import Profile
from vision.scale.camera import Camera


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Along:
    """Of n rings."""

    gaps: list[Gap | None]
    colours: list[str]
    strands: NDArray[np.bool_]
    """(n,) whether the wire looks twisted, though it is said to be plain."""


def look_along(photo: Photo, camera: Camera, fit: Fit, blur_px: float | None = None) -> Along:
    """Look at the wire of every ring.

    Parameters
    ----------
    camera : under which the rings are drawn where they are seen; its scale does not count
    blur_px : standard deviation of the blur of the photo's edges, where it is known
    """
    plain = fit.section.profile is Profile.ROUND and len(fit) > 0
    return Along(
        gaps=find_gaps(photo, camera, fit.tori, blur_px=blur_px, section=fit.section),
        colours=colours_of(photo, camera, fit.tori),
        strands=wavy(photo, camera, fit) if plain else np.zeros(len(fit), bool),
    )
