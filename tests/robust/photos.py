"""Small photos of drawn rings, each its own: they take a fraction of a second to measure."""

from pathlib import Path

import cv2
import numpy as np

from tests.vision.drawn import coded

MM_PER_PX = 0.05
SCALE = ("--mm-per-px", str(MM_PER_PX))
SIZE_PX = (480, 360)


def ring_photo(seed: int, *, rings: int = 2, size: tuple[int, int] = SIZE_PX) -> np.ndarray:
    """Dull grey wire of about 1 mm around holes of about 5 mm, at 20 pixels a millimetre."""
    rng = np.random.default_rng(seed)
    width, height = size
    x, y = np.meshgrid(np.arange(float(width)), np.arange(float(height)))
    light = np.full((height, width), 0.7)
    for index in range(rings):
        middle = width * (index + 0.5) / rings, height / 2.0
        place = middle + rng.uniform(-15.0, 15.0, 2)
        across = (np.hypot(x - place[0], y - place[1]) - rng.uniform(58.0, 62.0)) / 11.0
        metal = np.clip((1.0 - np.abs(across)) * 11.0 + 0.5, 0.0, 1.0)
        shade = 0.1 + 0.25 * np.sqrt(np.clip(1.0 - across**2, 0.0, 1.0))
        light = (1.0 - metal) * light + metal * shade
    soft = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.8)
    return coded(np.repeat(soft[..., None], 3, axis=2), None).bgr


def save(path: Path, bgr: np.ndarray, quality: int = 95) -> Path:
    """Write a picture in the format that the file's name says."""
    done, data = cv2.imencode(path.suffix, bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    path.write_bytes(data.tobytes())
    return path


def ring_photos(folder: Path, number: int) -> list[Path]:
    """Write photos of different rings."""
    folder.mkdir(parents=True, exist_ok=True)
    return [save(folder / f"tray-{n:02}.jpg", ring_photo(n)) for n in range(number)]
