"""Photos of the printed sheet drawn without the library's camera: OpenCV's lens and pose."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.vision.sheet_picture import MM_PER_INCH, sheet_picture
from vision.scale.sheet import Sheet

Array = NDArray[np.float64]

COARSE = 8
"""The map from picture to page is computed at every 8th sample and interpolated (error < 1e-3)."""


@dataclass(frozen=True, kw_only=True)
class Shot:
    """A camera in OpenCV's terms, and what the photo suffers."""

    f_px: float
    width: int
    height: int
    turn: Array
    """Rotation vector, sheet (x right, y up, z up) to camera."""
    shift: Array
    lens: Array = field(default_factory=lambda: np.zeros(4))
    """k1 k2 p1 p2."""
    stretch: tuple[float, float] = (1.0, 1.0)
    """True size of the print over its nominal size, along x and y."""
    curl_mm: float = 0.0
    """Height of the sheet's left and right ends (half width of the frame) over its middle."""
    paper_mm: tuple[float, float] | None = None
    """True size of the paper; None if it shrank with the print."""
    samples: int = 3
    blur_px: float = 0.8
    noise: float = 2.0
    seed: int = 1

    @property
    def matrix(self) -> Array:
        return np.array(
            [
                [self.f_px, 0.0, (self.width - 1) / 2],
                [0.0, self.f_px, (self.height - 1) / 2],
                [0.0, 0.0, 1.0],
            ]
        )

    @property
    def position(self) -> Array:
        """Where the camera stands over the sheet."""
        return -cv2.Rodrigues(self.turn)[0].T @ self.shift

    def draw(self, points_mm: Array) -> Array:
        """True pixels (n, 2) of true points (n, 3) mm."""
        pixels, _ = cv2.projectPoints(points_mm, self.turn, self.shift, self.matrix, self.lens)
        return pixels.reshape(-1, 2)


def looking(
    *, height_mm: float, tilt_deg: float, towards_deg: float = 30.0, roll_deg: float = 0.0
) -> tuple[Array, Array]:
    """Rotation vector and shift of a camera that looks at the sheet's middle."""
    tilt, towards, roll = np.radians([tilt_deg, towards_deg, roll_deg])
    ahead = -np.array(
        [np.sin(tilt) * np.cos(towards), np.sin(tilt) * np.sin(towards), np.cos(tilt)]
    )
    right = np.cross(ahead, [-np.sin(roll), np.cos(roll), 0.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    position = -ahead * height_mm / np.cos(tilt)
    return cv2.Rodrigues(rotation)[0].ravel(), -rotation @ position


def take(sheet: Sheet, shot: Shot, dpi: float = 600.0) -> NDArray[np.uint8]:
    """Photograph the sheet on a dark table: area sampling, lens blur, sensor noise, sRGB curve."""
    page = sheet_picture(sheet, dpi)
    page = np.where(page > 128, page * 0.85, page * 0.85 + 12).astype(np.uint8)
    map_x, map_y = _page_map(sheet, shot, dpi)
    if shot.paper_mm is not None:
        page, pad_x, pad_y = _on_paper(page, shot, dpi)
        map_x, map_y = map_x + pad_x, map_y + pad_y
    fine = cv2.remap(page, map_x, map_y, cv2.INTER_LINEAR, borderValue=60)
    light = (fine.astype(np.float32) / 255.0) ** 2.2
    light = cv2.resize(light, (shot.width, shot.height), interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), shot.blur_px)
    coded = 255.0 * light ** (1 / 2.2)
    rng = np.random.default_rng(shot.seed)
    coded = coded + rng.standard_normal(coded.shape, dtype=np.float32) * shot.noise
    return np.clip(np.rint(coded), 0, 255).astype(np.uint8)


def _on_paper(
    page: NDArray[np.uint8], shot: Shot, dpi: float
) -> tuple[NDArray[np.uint8], int, int]:
    """Lay the printed page in the middle of a paper of another size."""
    wanted = [
        round(side / scale * dpi / MM_PER_INCH)
        for side, scale in zip(shot.paper_mm, shot.stretch, strict=True)
    ]
    pad_x, pad_y = (wanted[0] - page.shape[1]) // 2, (wanted[1] - page.shape[0]) // 2
    grown = np.pad(page, ((max(pad_y, 0),) * 2, (max(pad_x, 0),) * 2), constant_values=216)
    cut_x, cut_y = max(-pad_x, 0), max(-pad_y, 0)
    cut = grown[cut_y : grown.shape[0] - cut_y, cut_x : grown.shape[1] - cut_x]
    return cut, pad_x, pad_y


def _page_map(sheet: Sheet, shot: Shot, dpi: float) -> tuple[NDArray[np.float32], ...]:
    """Page pixel under each sample of the picture, found by OpenCV's own undistortion."""
    nodes_x = np.arange(0, shot.width * shot.samples + COARSE, COARSE)
    nodes_y = np.arange(0, shot.height * shot.samples + COARSE, COARSE)
    grid = np.stack(np.meshgrid(nodes_x, nodes_y), axis=-1).reshape(-1, 1, 2)
    pixels = (grid + 0.5) / shot.samples - 0.5
    many = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 60, 1e-10)
    straight = cv2.undistortPoints(pixels, shot.matrix, shot.lens, criteria=many)
    rays = np.column_stack([straight.reshape(-1, 2), np.ones(len(grid))])
    rays = rays @ cv2.Rodrigues(shot.turn)[0]
    position = shot.position
    height = np.zeros(len(rays))
    for _ in range(1 if shot.curl_mm == 0.0 else 12):
        hits = position[:2] + rays[:, :2] * ((height - position[2]) / rays[:, 2])[:, None]
        height = curl_height(sheet, shot, hits)
    nominal = hits / shot.stretch
    shape = (len(nodes_y), len(nodes_x))
    page_x = (nominal[:, 0] + sheet.width_mm / 2) * dpi / MM_PER_INCH - 0.5
    page_y = (sheet.height_mm / 2 - nominal[:, 1]) * dpi / MM_PER_INCH - 0.5
    size = (shot.width * shot.samples, shot.height * shot.samples)
    return tuple(_fill_in(part.reshape(shape), size) for part in (page_x, page_y))


def curl_height(sheet: Sheet, shot: Shot, points_mm: Array) -> Array:
    """Height (n,) mm of the sheet, rolled about the y direction."""
    half = sheet.frame_mm[0] / 2
    reach = np.clip(points_mm[:, 0] / shot.stretch[0], -1.3 * half, 1.3 * half)
    return shot.curl_mm * (reach / half) ** 2


def _fill_in(nodes: Array, size: tuple[int, int]) -> NDArray[np.float32]:
    across, down = (
        _weights(count, size_) for count, size_ in zip(nodes.shape[::-1], size, strict=True)
    )
    return (down @ nodes.astype(np.float32) @ across.T).astype(np.float32)


def _weights(nodes: int, size: int) -> NDArray[np.float32]:
    place = np.arange(size) / COARSE
    first = np.minimum(place.astype(int), nodes - 2)
    weights = np.zeros((size, nodes), dtype=np.float32)
    weights[np.arange(size), first] = 1.0 - (place - first)
    weights[np.arange(size), first + 1] = place - first
    return weights
