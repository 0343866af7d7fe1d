"""A ring taken for another size than those around it, in a rendered photo."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.vision.made_fit import scattered
from vision.photo.circles import find_circles
from vision.photo.decode import read_photo
from vision.rings.find import find_rings, refind
from vision.rings.fit import Fit, settled
from vision.rings.torus import RADIUS, TUBE
from vision.scale.camera import Camera, focal_px, looking_down

PHOTO = Path(__file__).resolve().parents[2] / "sample_images" / "bronze-handful.jpg"
HEIGHT_MM = 136.0
"""Of the camera, roughly: sizes are compared with each other only."""


def test_a_band_of_light_gives_way_to_a_ring_of_the_usual_size() -> None:
    """One of fourteen equal rings is handed over as a thin one along its inner edge."""
    photo = read_photo(PHOTO)
    width, height = photo.size
    camera = Camera(
        rotation=looking_down(0.0, 0.0),
        position=np.array([0.0, 0.0, HEIGHT_MM]),
        f_px=focal_px(photo.f35_mm or 26.0, width, height),
        cx=(width - 1) / 2,
        cy=(height - 1) / 2,
    )
    fit, _ = find_rings(photo, camera, find_circles(photo))
    usual = np.abs(np.log(fit.wire_mm / np.median(fit.wire_mm))) < 0.1
    fit = fit.chosen(np.nonzero(usual)[0])
    assert len(fit) >= 12
    again = refind(photo, camera, [], with_band(fit))
    assert len(again) == len(fit)
    exact = settled(photo, camera, again)
    assert np.ptp(exact.wire_mm) < 0.05 * float(np.median(exact.wire_mm))


def with_band(fit: Fit) -> Fit:
    """The first ring as its inner third, with the signs that a band had in a rendered photo."""
    tori, scale, residuals = fit.tori.copy(), fit.reading.scale.copy(), fit.residuals.copy()
    inside = tori[0, RADIUS] - tori[0, TUBE]
    tori[0, TUBE] /= 3.0
    tori[0, RADIUS] = inside + tori[0, TUBE]
    scale[0], residuals[0] = 0.06, scattered(1, 0.02)[0]
    return replace(fit, tori=tori, residuals=residuals, reading=replace(fit.reading, scale=scale))
