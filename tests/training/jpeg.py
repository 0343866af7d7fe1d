"""JPEG in torch: block transform and quantisation as the standard's Annex A and K have them."""

import math

import torch
from torch import Tensor
from torch.nn import functional as F

LUMA_TABLE = (
    (16, 11, 10, 16, 24, 40, 51, 61),
    (12, 12, 14, 19, 26, 58, 60, 55),
    (14, 13, 16, 24, 40, 57, 69, 56),
    (14, 17, 22, 29, 51, 87, 80, 62),
    (18, 22, 37, 56, 68, 109, 103, 77),
    (24, 35, 55, 64, 81, 104, 113, 92),
    (49, 64, 78, 87, 103, 121, 120, 101),
    (72, 92, 95, 98, 112, 100, 103, 99),
)
CHROMA_TABLE = (
    (17, 18, 24, 47, 99, 99, 99, 99),
    (18, 21, 26, 66, 99, 99, 99, 99),
    (24, 26, 56, 99, 99, 99, 99, 99),
    (47, 66, 99, 99, 99, 99, 99, 99),
    *[(99,) * 8] * 4,
)
"""Tables K.1 and K.2 of ITU-T T.81 (from memory; `test_jpeg.py` holds them against libjpeg)."""


def _scaled(table: Tensor, quality: Tensor) -> Tensor:
    """Quantisation tables (n, 1, 8, 8) for qualities (n,): the scaling libjpeg uses."""
    scale = torch.where(quality < 50, torch.floor(5000 / quality), 200 - 2 * quality)
    return torch.floor((table * scale[:, None, None] + 50) / 100).clamp(1, 255)


def _transform(device: torch.device) -> Tensor:
    """Matrix (64, 64) of the two-dimensional cosine transform of a flattened block."""
    k = torch.arange(8, dtype=torch.float64)
    m = torch.cos((2 * k[None, :] + 1) * k[:, None] * math.pi / 16) / 2
    m[0] /= math.sqrt(2.0)
    return torch.kron(m, m).float().to(device)


def _coded(plane: Tensor, table: Tensor) -> Tensor:
    """Quantise planes (n, c, h, w) of 0..255 in 8 x 8 blocks with tables (n, 8, 8)."""
    n, c, h, w = plane.shape
    d = _transform(plane.device)
    blocks = (plane - 128).reshape(n, c, h // 8, 8, w // 8, 8).permute(0, 1, 2, 4, 3, 5)
    t = table.reshape(n, 1, 64)
    coded = torch.round((blocks.reshape(n, -1, 64) @ d.T) / t) * t
    back = (coded @ d).reshape(n, c, h // 8, w // 8, 8, 8).permute(0, 1, 2, 4, 3, 5)
    return torch.round(back.reshape(n, c, h, w) + 128).clamp(0, 255)


def through_jpeg(pictures: Tensor, quality: Tensor, full_chroma: Tensor) -> Tensor:
    """What a JPEG decoder gives back.

    Parameters
    ----------
    pictures : (n, 3, h, w), RGB in [0, 1]; h and w multiples of 16
    quality : (n,) 1 to 100
    full_chroma : (n,) bool; False stores chroma at half resolution (4:2:0)

    Returns
    -------
    (n, 3, h, w) in [0, 1], whole 255ths
    """
    rgb = torch.round(pictures.clamp(0, 1) * 255)
    r, g, b = rgb[:, 0:1], rgb[:, 1:2], rgb[:, 2:3]
    y = torch.round(0.299 * r + 0.587 * g + 0.114 * b)
    chroma = torch.cat([
        -0.168735892 * r - 0.331264108 * g + 0.5 * b + 128,
        0.5 * r - 0.418687589 * g - 0.081312411 * b + 128,
    ], 1).round().clamp(0, 255)  # fmt: skip
    luma_t = _scaled(torch.tensor(LUMA_TABLE, device=rgb.device).float(), quality)
    chroma_t = _scaled(torch.tensor(CHROMA_TABLE, device=rgb.device).float(), quality)
    y = _coded(y, luma_t)
    out = torch.empty_like(chroma)
    full = full_chroma.nonzero()[:, 0]
    half = (~full_chroma).nonzero()[:, 0]
    if len(full):
        out[full] = _coded(chroma[full], chroma_t[full])
    if len(half):
        small = F.avg_pool2d(chroma[half], 2) * 4
        bias = 1.0 + torch.arange(small.shape[3], device=rgb.device) % 2  # libjpeg's fair rounding
        small = torch.floor((small + bias) / 4)
        small = _coded(small, chroma_t[half])
        wide = F.interpolate(small, scale_factor=2, mode="bilinear", align_corners=False)
        out[half] = torch.round(wide)
    cb, cr = out[:, 0:1] - 128, out[:, 1:2] - 128
    rgb = torch.cat([y + 1.402 * cr, y - 0.344136286 * cb - 0.714136286 * cr, y + 1.772 * cb], 1)
    return torch.round(rgb).clamp(0, 255) / 255
