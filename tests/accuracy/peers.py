"""Two plain ways to do the job with general libraries, for comparison in the same run.

Both get the camera that annulet found, so that only the edges differ.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from skimage.feature import canny
from skimage.measure import label, regionprops

from vision.scale.camera import Camera


@dataclass(frozen=True, slots=True, kw_only=True)
class PeerRing:
    """A ring as a peer reads it."""

    x: float
    y: float
    wire_mm: float
    id_mm: float


def by_opencv(bgr: np.ndarray, camera: Camera) -> list[PeerRing]:
    """Blur, Otsu's threshold, contours, `fitEllipse` of every contour with a hole."""
    grey = cv2.GaussianBlur(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), (5, 5), 0)
    found = []
    for kind in (cv2.THRESH_BINARY, cv2.THRESH_BINARY_INV):
        _, mask = cv2.threshold(grey, 0, 255, kind + cv2.THRESH_OTSU)
        contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        if tree is None:
            continue
        for index, (_, _, child, parent) in enumerate(tree[0]):
            if parent >= 0 or child < 0 or len(contours[index]) < 60:
                continue
            hole = max(_children(tree[0], child), key=lambda k: len(contours[k]))
            if len(contours[hole]) < 30:
                continue
            (x, y), outer, _ = cv2.fitEllipse(contours[index])
            _, inner, _ = cv2.fitEllipse(contours[hole])
            ring = _ring(camera, x, y, float(np.mean(outer)), float(np.mean(inner)), max(outer))
            if min(outer) > 0.85 * max(outer) and ring is not None:
                found.append(ring)
    return found


def _children(tree: np.ndarray, first: int) -> list[int]:
    children = []
    while first >= 0:
        children.append(int(first))
        first = tree[first][0]
    return children


def by_skimage(bgr: np.ndarray, camera: Camera) -> list[PeerRing]:
    """Canny edges, closed lines filled, ring size from `regionprops` areas of disc and hole."""
    shrink = min(1.0, 2000 / max(bgr.shape[:2]))
    small = cv2.resize(bgr, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    grey = cv2.cvtColor(small, cv2.COLOR_BGR2GRAY).astype(float) / 255.0
    edges = canny(grey, sigma=1.5)
    closed = cv2.dilate(edges.astype(np.uint8), np.ones((3, 3), np.uint8))
    found = []
    for region in regionprops(label(closed, connectivity=2)):
        if region.area_filled < 150 or region.eccentricity > 0.5:
            continue
        filled = region.image_filled
        holes = regionprops(label(filled & ~region.image, connectivity=1))
        if not holes:
            continue
        hole = max(holes, key=lambda part: part.area)
        y, x = region.centroid
        outer = 2.0 * np.sqrt(region.area_filled / np.pi) - 2.0
        inner = 2.0 * np.sqrt(hole.area / np.pi) + 2.0
        place = ((x + 0.5) / shrink - 0.5, (y + 0.5) / shrink - 0.5)
        ring = _ring(camera, *place, outer / shrink, inner / shrink, outer / shrink)
        if ring is not None:
            found.append(ring)
    return found


def _ring(
    camera: Camera, x: float, y: float, outer_px: float, inner_px: float, size_px: float
) -> PeerRing | None:
    if not 0.3 * outer_px < inner_px < 0.95 * outer_px or size_px < 20:
        return None
    middle = np.array([x, y])
    wire_mm = (outer_px - inner_px) / 2.0 * camera.mm_per_px(middle)
    scale = camera.mm_per_px(middle, wire_mm / 2.0)
    return PeerRing(x=x, y=y, wire_mm=(outer_px - inner_px) / 2.0 * scale, id_mm=inner_px * scale)
