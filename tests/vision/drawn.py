"""Pictures of flat things with sharp edges, drawn by following the rays of many points a pixel.

A second, plain projection: rays of a pinhole without a lens term meet the table or the plane of a
disc's face. Light is linear until the picture is coded as sRGB. Such pictures tell whether an edge
is put in its place; they say nothing about shiny metal.
"""

from collections.abc import Callable

import cv2
import numpy as np

from vision.photo.decode import Photo
from vision.results import PhotoInfo
from vision.scale.camera import Camera

Array = np.ndarray
Paint = Callable[[Callable[[float], Array], Array], None]
"""Paints light (h, w, 3) in place; its first argument gives x, y (h, w, 2) on a plane z mm up."""

FINE = 8
"""Points a pixel, along and across, where its neighbours differ."""
BLUR_PX = 0.8
NOISE = 0.6
"""Standard deviation of the noise, in 8-bit steps."""
PAPER = 0.75


def photo_of(camera: Camera, size: tuple[int, int], paints: list[Paint], f35: float) -> Photo:
    """Draw white paper and what is painted on it, first things first."""
    width, height = size
    columns, rows = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    light = _painted(camera, columns, rows, paints)
    around = np.ones((3, 3), np.uint8)
    mixed = (cv2.dilate(light, around) != cv2.erode(light, around)).any(axis=2)
    steps = (np.arange(FINE) + 0.5) / FINE - 0.5
    across, down = (part.ravel() for part in np.meshgrid(steps, steps))
    fine = _painted(camera, columns[mixed][:, None] + across, rows[mixed][:, None] + down, paints)
    light[mixed] = fine.mean(axis=1)
    return coded(cv2.GaussianBlur(light, (0, 0), BLUR_PX), f35)


def _painted(camera: Camera, columns: Array, rows: Array, paints: list[Paint]) -> Array:
    local = np.stack([(columns - camera.cx) / camera.f_px, (rows - camera.cy) / camera.f_px], -1)
    rays = local @ camera.rotation[:2] + camera.rotation[2]

    def on_plane(z: float) -> Array:
        far = (z - camera.position[2]) / rays[..., 2:]
        return camera.position[:2] + far * rays[..., :2]

    light = np.full((*columns.shape, 3), PAPER, np.float32)
    for paint in paints:
        paint(on_plane, light)
    return light


def coded(light: Array, f35: float | None) -> Photo:
    """Linear light (h, w, 3) as an 8-bit sRGB photo (IEC 61966-2-1), with a little noise."""
    rng = np.random.default_rng(20240501)
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    noisy = 255.0 * value + rng.normal(0.0, NOISE, light.shape)
    return as_photo(np.clip(np.rint(noisy), 0, 255).astype(np.uint8), f35)


def as_photo(bgr: Array, f35: float | None = None) -> Photo:
    """A photo of these pixels (h, w, 3)."""
    info = PhotoInfo(
        file="drawn.png", width_px=bgr.shape[1], height_px=bgr.shape[0], taken=None, sha256="0" * 64
    )
    return Photo(info=info, bgr=bgr, f35_mm=f35)


def disc(
    x: float, y: float, radius: float, height: float, face: tuple[float, float, float]
) -> Paint:
    """A coin: its wall where that shows, its face on top."""

    def paint(on_plane: Callable[[float], Array], light: Array) -> None:
        for z in np.linspace(0.0, height, 12, endpoint=False):
            light[_within(on_plane(float(z)), x, y, radius)] = np.float32(0.4) * np.float32(face)
        light[_within(on_plane(height), x, y, radius)] = np.float32(face)

    return paint


def annulus(x: float, y: float, inner: float, outer: float, z: float, shade: float) -> Paint:
    """A flat ring at one height: a step on a coin's face, a printed circle, a washer."""

    def paint(on_plane: Callable[[float], Array], light: Array) -> None:
        place = on_plane(z)
        hole = _within(place, x, y, inner)
        light[_within(place, x, y, outer) & ~hole] *= np.float32(shade)

    return paint


def _within(place: Array, x: float, y: float, radius: float) -> Array:
    return (place[..., 0] - x) ** 2 + (place[..., 1] - y) ** 2 < radius**2
