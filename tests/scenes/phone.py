"""What a phone does with light: lens, sensor, mosaic, colour, tone, sharpening, JPEG."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import convolve, gaussian_filter, map_coordinates, spline_filter

from tests.scenes.camera import Camera, undistort

Picture = NDArray[np.float32]

FULL_WELL_ISO_50 = 9000.0
"""Electrons at white and ISO 50, a phone's pixel."""
READ_NOISE = 2.5
"""Electrons."""
BALANCE_SHARE = 0.85
"""Part of the light's colour that the automatic white balance removes."""
LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Phone:
    """How this phone develops this photo."""

    exposure: float = 205.0
    """Code value (0-255) that the surface reads in the photo, as a median; above 255 it clips."""
    iso: float = 64.0
    psf_sigma_px: float = 0.6
    vignette: float = 0.12
    """Loss of light in the corners before the phone's own correction."""
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Error of the white balance, gains."""
    contrast: float = 0.0
    """Strength of an S-shaped tone curve on top of sRGB, 0 to 1."""
    sharpen: float = 0.35
    sharpen_radius_px: float = 1.0
    quality: int = 91
    orientation: int = 1
    """EXIF orientation, 1 or 6."""
    mosaic: bool = True
    taken: str = "2026:03:02 10:11:12"


def develop(
    radiance: Picture,
    camera: Camera,
    phone: Phone,
    rng: np.random.Generator,
    surface: NDArray[np.float64],
) -> Picture:
    """Turn traced radiance with its margin into code values in [0, 1], (height, width, 3).

    `surface` (3,) is the colour of what the rings lie on: the automatic white balance of this
    phone guesses it well, and takes out most of the colour of the light.
    """
    light = balance(bend(radiance, camera), surface)
    if phone.psf_sigma_px:
        light = gaussian_filter(light, (phone.psf_sigma_px, phone.psf_sigma_px, 0))
    light *= expose(light, phone)
    light *= shade(camera, phone.vignette)
    light = light * np.array(phone.white_balance, dtype=np.float32)
    light = demosaic(sense(light, phone, rng)) if phone.mosaic else np.clip(light, 0, 1)
    return sharpen(tone(light, phone.contrast), phone)


def bend(radiance: Picture, camera: Camera) -> Picture:
    """Resample the ideal picture (margin all around) through the distortion, cubic splines."""
    height, width, _ = radiance.shape
    out = np.empty((camera.height, camera.width, 3), dtype=np.float32)
    coefficients = [spline_filter(radiance[..., c], order=3, output=np.float32) for c in range(3)]
    x = np.arange(camera.width, dtype=np.float64) - camera.cx
    for top in range(0, camera.height, 256):
        y = np.arange(top, min(top + 256, camera.height), dtype=np.float64) - camera.cy
        drawn = np.stack(np.meshgrid(x, y), axis=-1) / camera.f_px
        ideal = undistort(drawn, camera.k1, camera.k2) * camera.f_px
        place = [ideal[..., 1] + (height - 1) / 2, ideal[..., 0] + (width - 1) / 2]
        for c in range(3):
            out[top : top + len(y), :, c] = map_coordinates(
                coefficients[c], place, order=3, prefilter=False, mode="nearest"
            )
    return np.maximum(out, 0)


def balance(light: Picture, surface: NDArray[np.float64]) -> Picture:
    """Take most of the colour of the light out, judged by the surface's own colour."""
    seen = np.median(light[::7, ::7].reshape(-1, 3), axis=0) / surface
    gains = (seen[1] / seen) ** BALANCE_SHARE
    return light * gains.astype(np.float32)


def expose(light: Picture, phone: Phone) -> np.float32:
    """Gain that brings the median of the picture, which is the surface, to the wanted code."""
    code = min(phone.exposure / 255, 1.0)
    wanted = ((code + 0.055) / 1.055) ** 2.4 if code > 0.04045 else code / 12.92
    if phone.exposure > 255:
        wanted *= phone.exposure / 255
    else:
        wanted = float(_unlift(np.array(wanted), phone.contrast))
    return np.float32(wanted / float(np.median(light[::7, ::7] @ LUMA)))


def shade(camera: Camera, vignette: float) -> Picture:
    """Darken the corners by the given share."""
    x = (np.arange(camera.width) - camera.cx) / (camera.width / 2)
    y = (np.arange(camera.height) - camera.cy) / (camera.width / 2)
    r2 = x[None, :] ** 2 + y[:, None] ** 2
    return (1 - vignette * r2 / r2.max())[..., None].astype(np.float32)


def sense(light: Picture, phone: Phone, rng: np.random.Generator) -> Picture:
    """Collect electrons behind a red-green-green-blue mosaic, clip, and scale back to [0, 1]."""
    raw = np.empty(light.shape[:2], dtype=np.float32)
    raw[0::2, 0::2], raw[0::2, 1::2] = light[0::2, 0::2, 0], light[0::2, 1::2, 1]
    raw[1::2, 0::2], raw[1::2, 1::2] = light[1::2, 0::2, 1], light[1::2, 1::2, 2]
    well = FULL_WELL_ISO_50 * 50 / phone.iso
    spread = np.sqrt(np.maximum(raw, 0) * well + READ_NOISE**2, dtype=np.float32) / well
    raw += spread * rng.standard_normal(raw.shape, dtype=np.float32)
    return np.clip(raw, 0, 1)


def demosaic(raw: Picture) -> Picture:
    """Fill in the missing colours: bilinear, corrected by the Laplacian of the known colour.

    References
    ----------
    H. S. Malvar, L.-W. He, R. Cutler, "High-quality linear interpolation for demosaicing of
    Bayer-patterned color images", ICASSP 2004.
    """
    cross = np.array(
        [[0, 0, -1, 0, 0], [0, 0, 2, 0, 0], [-1, 2, 4, 2, -1], [0, 0, 2, 0, 0], [0, 0, -1, 0, 0]]
    )
    row = np.array(
        [
            [0, 0, 0.5, 0, 0],
            [0, -1, 0, -1, 0],
            [-1, 4, 5, 4, -1],
            [0, -1, 0, -1, 0],
            [0, 0, 0.5, 0, 0],
        ]
    )
    corner = np.array(
        [
            [0, 0, -1.5, 0, 0],
            [0, 2, 0, 2, 0],
            [-1.5, 0, 6, 0, -1.5],
            [0, 2, 0, 2, 0],
            [0, 0, -1.5, 0, 0],
        ]
    )
    green = convolve(raw, (cross / 8).astype(np.float32), mode="mirror")
    beside = convolve(raw, (row / 8).astype(np.float32), mode="mirror")
    above = convolve(raw, (row.T / 8).astype(np.float32), mode="mirror")
    diagonal = convolve(raw, (corner / 8).astype(np.float32), mode="mirror")
    full = np.stack([raw, raw, raw], axis=-1)
    full[0::2, 0::2, 1], full[1::2, 1::2, 1] = green[0::2, 0::2], green[1::2, 1::2]
    full[0::2, 1::2, 0], full[0::2, 1::2, 2] = beside[0::2, 1::2], above[0::2, 1::2]
    full[1::2, 0::2, 0], full[1::2, 0::2, 2] = above[1::2, 0::2], beside[1::2, 0::2]
    full[1::2, 1::2, 0], full[0::2, 0::2, 2] = diagonal[1::2, 1::2], diagonal[0::2, 0::2]
    return np.clip(full, 0, 1)


def tone(light: Picture, contrast: float) -> Picture:
    """Code linear light: an S-shaped curve of the given strength, then sRGB (IEC 61966-2-1)."""
    light = _lift(light, contrast)
    return np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    ).astype(np.float32)


def _lift(light: Picture, contrast: float) -> Picture:
    root = np.sqrt(light)
    return (root + contrast * 0.5 * (root * root * (3 - 2 * root) - root)) ** 2


def _unlift(light: NDArray[np.float64], contrast: float) -> NDArray[np.float64]:
    grid = np.linspace(0, 1, 4097)
    return np.interp(light, _lift(grid, contrast), grid)


def sharpen(code: Picture, phone: Phone) -> Picture:
    """Add an unsharp mask of the brightness to coded values, as phones do."""
    if phone.sharpen:
        luma = code @ LUMA
        detail = luma - gaussian_filter(luma, phone.sharpen_radius_px)
        code = code + np.float32(phone.sharpen) * detail[..., None]
    return np.clip(code, 0, 1)


def save(code: Picture, path: Path, camera: Camera, phone: Phone) -> None:
    """Write a JPEG, 4:2:0, with the EXIF fields that matter."""
    picture = Image.fromarray((code * 255 + 0.5).astype(np.uint8))
    exif = Image.Exif()
    exif[0x0112] = phone.orientation
    exif[0x0132] = phone.taken
    details = exif.get_ifd(0x8769)
    details[0x9003] = phone.taken
    details[0x8827] = int(phone.iso)
    details[0xA405] = int(camera.f35)
    picture.save(path, quality=phone.quality, subsampling="4:2:0", exif=exif, optimize=True)
