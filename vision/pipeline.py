"""From a photo to its rings: the order of the stages, and no arithmetic."""

from dataclasses import asdict, replace
from functools import cache, partial
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.cores import Aside, Meanwhile
from vision.errors import RingsError, ScaleError
from vision.photo.circles import find_circles
from vision.photo.decode import Photo, read_photo
from vision.photo.fitness import explained, judge, require_contrast
from vision.photo.look import look_at
from vision.results import Result, Ring, Scale, Wire
from vision.rings.along import look_along
from vision.rings.find import Found, find_rings, is_ring, refind, upheld
from vision.rings.fit import Fit, rematch, settled
from vision.rings.others import Unlike, find_others, unlike_table
from vision.rings.record import rings_of, sizes_in
from vision.rings.section import SECTIONS, Profile
from vision.rings.shape import rounds_of
from vision.scale.camera import Camera
from vision.scale.reference import Reference, Sight, first_sight, see_reference, see_sheet
from vision.wires.find import find_wires
from vision.wires.record import shadows_of, touched, wires_of
from vision.wires.seeds import straight_lines

MOST_OTHERS, OTHERS_PER_RING = 40, 5
"""Things that are no rings, at all and for each ring, above which a photo is not one of rings:
among 200 letters a few loops pass for small rings."""


def measure_photo(
    path: Path, reference: Reference | None = None, profile: Profile = Profile.ROUND
) -> Result:
    """Measure every ring in a photo.

    Parameters
    ----------
    path : a JPEG, PNG, TIFF, WebP or HEIC file
    reference : what is known of the scale; by default it is looked for
    profile : shape of the wire of all rings in the photo

    Raises
    ------
    PhotoError, ScaleError, CoinError, RingsError
        The file, its scale reference or its rings cannot be used.
    """
    return measure(read_photo(path), reference or Reference(), profile)


def measure(photo: Photo, reference: Reference, profile: Profile = Profile.ROUND) -> Result:
    """Measure every ring in a photo that is already in memory; errors as `measure_photo`."""
    looked, sheet = Aside(look_at, photo), Aside(see_sheet, photo, reference)
    lines, unlike = Meanwhile(straight_lines, photo), Meanwhile(unlike_table, photo)
    circles = find_circles(photo)
    look = looked.result()
    require_contrast(look, photo.info.file)
    try:
        view, told = sheet.result(), partial(is_ring, photo, circles)
        seen = Aside(see_reference, photo, circles, view, reference, told)
        camera, hides = first_sight(photo, view, reference)
        nests = [nest for nest in circles if not hides(nest.x, nest.y)]
        found = find_rings(photo, camera, nests, SECTIONS[profile])
        scale, read, wires = read_rings(photo, seen.result(), found, lines, unlike, look.blur_px)
    except (ScaleError, RingsError) as error:
        raise explained(error, look) from error
    rings, fitness = judge(photo.bgr, look, scale, read, photo.info.file)
    meaning = SECTIONS[profile].meaning
    return Result(
        photo=photo.info,
        scale=scale,
        rings=rings,
        wires=wires,
        fitness=fitness,
        profile=profile.value,
        notes=(meaning,) if meaning else (),
        settings=settings_of(reference, profile),
    )


def settings_of(reference: Reference, profile: Profile) -> dict[str, Any]:
    """All that changes a photo's numbers besides the photo itself, as plain values."""
    return {
        "annulet": _own_version(),
        "reference": asdict(reference),
        "profile": profile.value,
    }


@cache
def _own_version() -> str | None:
    try:
        return version("annulet")
    except PackageNotFoundError:  # run from its folder without being installed
        return None


def read_rings(
    photo: Photo,
    sight: Sight,
    found: Found,
    lines: Aside[NDArray[np.float64]],
    unlike: Aside[Unlike],
    blur_px: float | None = None,
) -> tuple[Scale, tuple[Ring, ...], tuple[Wire, ...]]:
    """Read the rings that were found in a photo whose reference has been seen, and wires.

    Parameters
    ----------
    lines : the photo's `straight_lines`
    unlike : its `unlike_table`
    """
    found = found.under(sight.camera, sight.hides)
    level = sight.levelled(rounds_of(found.camera, found.fit))
    traced, camera = Aside(level.retraced), level.camera
    fit = refind(photo, camera, found.open_nests, _laid(found.fit, found.camera, camera))
    fit = upheld(photo, camera, settled(photo, camera, fit))
    along = look_along(photo, camera, fit, blur_px)
    sight = traced.result().levelled(rounds_of(camera, fit)).retraced()
    scale = sight.scale()
    fit = _laid(fit, camera, scale.camera)
    sizes = Aside(sizes_in, fit, scale)
    pieces = find_wires(photo, lines.result(), scale, fit, sight.hides)
    others = find_others(unlike.result(), scale, fit, shadows_of(pieces, scale.camera))
    if not len(fit) and not others and not pieces:
        raise RingsError(
            f"no ring and no straight wire found in {photo.info.file}",
            hint="lay the rings flat on plain paper, each for itself, and fill the picture",
        )
    if len(others) > max(MOST_OTHERS, OTHERS_PER_RING * (len(fit) + len(pieces))):
        raise RingsError(
            f"{photo.info.file} shows {len(others)} things that are no rings and hardly any that "
            "may be one: print, or clutter",
            hint="lay the rings on plain paper, without text or pattern, and nothing beside them",
        )
    against = touched(pieces, fit)
    rings = rings_of(photo, scale, fit, sizes.result(), along, others, sight.cell_of, against)
    return scale, rings, wires_of(photo, scale, pieces, sight.cell_of, blur_px)


def _laid(fit: Fit, seen_by: Camera, through: Camera) -> Fit:
    """The rings where another camera would draw them as they are seen."""
    return replace(fit, tori=rematch(fit.tori, seen_by, through, fit.section))
