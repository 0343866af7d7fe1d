"""A camera in torch: from linear radiance to the decoded JPEG, each photo with its own settings.

Order of a phone: lens (blur, colour shift, glare), exposure, sensor noise, mosaic and its
interpolation, noise reduction, colour, tone curve, local tone, sharpening, JPEG.
"""

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

from tests.training.jpeg import through_jpeg

BILATERAL_REACH = 2
"""Half width of the edge-keeping filter's window, pixels."""


class Dice:
    """Random numbers on one device from one seed."""

    def __init__(self, seed: int, device: torch.device) -> None:
        self.device = device
        self.source = torch.Generator(device=device).manual_seed(seed)

    def uniform(self, n: int, low: float = 0.0, high: float = 1.0, *more: int) -> Tensor:
        u = torch.rand(n, *more, generator=self.source, device=self.device)
        return low + (high - low) * u

    def log_uniform(self, n: int, low: float, high: float) -> Tensor:
        return torch.exp(self.uniform(n, math.log(low), math.log(high)))

    def normal(self, *shape: int) -> Tensor:
        return torch.randn(*shape, generator=self.source, device=self.device)

    def chance(self, n: int, p: float) -> Tensor:
        return self.uniform(n) < p

    def integers(self, n: int, high: int) -> Tensor:
        return torch.randint(high, (n,), generator=self.source, device=self.device)


@dataclass(slots=True, kw_only=True)
class Settings:
    """One value a photo, drawn by `draw_settings`; `harder` widens the worst of them."""

    gain: Tensor
    """(n,) factor that brings radiance to linear sensor units, 1 = full scale."""
    sigma_px: Tensor
    disc_px: Tensor
    motion_px: Tensor
    motion_angle: Tensor
    shift_px: Tensor
    """(n, 3, 2) picture shift of each channel."""
    glare: Tensor
    glare_px: Tensor
    shot: Tensor
    read: Tensor
    balance: Tensor
    """(n, 3) channel gains."""
    mosaic: Tensor
    sharp_mosaic: Tensor
    """(n,) 0 bilinear to 1 gradient-corrected interpolation."""
    chroma_px: Tensor
    soften: Tensor
    saturation: Tensor
    contrast: Tensor
    shoulder: Tensor
    gamma: Tensor
    black: Tensor
    local: Tensor
    bilateral: Tensor
    bilateral_level: Tensor
    sharpen: Tensor
    sharpen_px: Tensor
    quality: Tensor
    full_chroma: Tensor


def draw_settings(dice: Dice, level: Tensor, *, harder: bool = False) -> Settings:
    """Draw a camera for each of n crops whose surroundings have radiance `level` (n,).

    White paper has a level near 1. A dark table is exposed darker than white paper, but not by as
    much as it is darker: automatic exposure lifts it to somewhere in between.
    """
    n = len(level)
    u = dice.uniform(n)
    target = dice.uniform(n, 0.35, 0.85)
    target = torch.where(u < 0.14, dice.log_uniform(n, 0.9, 2.2), target)
    target = torch.where(u > (0.82 if not harder else 0.7), dice.log_uniform(n, 0.08, 0.4), target)
    lift = dice.uniform(n, 0.15, 0.9)
    target = target * (level / 0.7).clamp(0.005, 1.0) ** lift
    total = 0.42 + 1.45 * dice.uniform(n) ** (1.6 if not harder else 0.8)
    share = dice.uniform(n) * (dice.uniform(n) < 0.5)  # of the variance, to the round defocus
    moved = dice.uniform(n, 0, 0.6) * (dice.uniform(n) < 0.25)
    disc = total * torch.sqrt(share * (1 - moved))
    motion = total * torch.sqrt(moved)
    gauss = torch.sqrt((total**2 - disc**2 - motion**2).clamp_min(0.0))
    axial = dice.normal(n, 2) * dice.log_uniform(n, 0.02, 0.35)[:, None]
    way = torch.stack(
        [axial, torch.zeros_like(axial), -axial * dice.uniform(n, -0.5, 1)[:, None]], 1
    )
    noisy = dice.chance(n, 0.15 if not harder else 0.35)
    shot = torch.where(noisy, dice.log_uniform(n, 3e-4, 3e-3), dice.log_uniform(n, 5e-6, 4e-4))
    read = torch.where(noisy, dice.log_uniform(n, 2e-3, 1e-2), dice.log_uniform(n, 2e-4, 3e-3))
    swing = 1.0 if not harder else 1.4
    bent = dice.chance(n, 0.75)
    return Settings(
        gain=target / level.clamp_min(1e-6),
        sigma_px=gauss,
        disc_px=2 * disc,
        motion_px=math.sqrt(12.0) * motion,
        motion_angle=dice.uniform(n, 0, math.pi),
        shift_px=way * dice.chance(n, 0.6)[:, None, None],
        glare=dice.uniform(n, 0, 0.05) * dice.chance(n, 0.5),
        glare_px=dice.log_uniform(n, 5, 25),
        shot=shot,
        read=read,
        balance=torch.exp(dice.normal(n, 3) * 0.07),
        mosaic=dice.chance(n, 0.67),
        sharp_mosaic=dice.uniform(n) * dice.chance(n, 0.6),
        chroma_px=dice.uniform(n, 0, 2.5) * dice.chance(n, 0.7),
        soften=dice.uniform(n, 0, 0.6) * torch.where(noisy, 1.0, 0.5) * dice.chance(n, 0.5),
        saturation=dice.uniform(n, 0.85, 1.35),
        contrast=dice.uniform(n, -0.35, 0.6) * swing * bent,
        shoulder=dice.uniform(n, 0, 0.75) * dice.chance(n, 0.5),
        gamma=dice.uniform(n, 0.88, 1.14) ** (swing * bent),
        black=dice.uniform(n, -0.02, 0.03) * bent,
        local=dice.uniform(n, -0.1, 0.4) * dice.chance(n, 0.25),
        bilateral=dice.chance(n, 0.22),
        bilateral_level=dice.log_uniform(n, 0.015, 0.09),
        sharpen=dice.uniform(n, 0, 1.1 * swing) * dice.chance(n, 0.8),
        sharpen_px=dice.uniform(n, 0.6, 1.8),
        quality=torch.floor(dice.uniform(n, 85 if not harder else 75, 98)),
        full_chroma=dice.chance(n, 0.3),
    )


def take_photos(radiance: Tensor, s: Settings, dice: Dice) -> Tensor:
    """Simulate the camera.

    Parameters
    ----------
    radiance : (n, 3, h, w) linear RGB; h, w multiples of 16

    Returns
    -------
    (n, 3, h, w) RGB in [0, 1], gamma-coded, whole 255ths, as a decoder gives it
    """
    x = (radiance * _col(s.gain)).clamp(0, 30)
    x = _lens(x, s).clamp_min(0)
    x = x * s.balance[:, :, None, None]
    noise = torch.sqrt(_col(s.shot) * x + _col(s.read) ** 2)
    x = (x + noise * dice.normal(*x.shape)).clamp(-0.02, 1.0)
    which = s.mosaic.nonzero()[:, 0]
    if len(which):
        x[which] = _demosaic(x[which], s.sharp_mosaic[which], dice)
    x = _reduce_chroma_noise(x, s)
    grey = _luma(x)
    x = (grey + (x - grey) * _col(s.saturation)).clamp(0, 1)
    y = _tone(x, s)
    y = _local_tone(y, s)
    which = s.bilateral.nonzero()[:, 0]
    if len(which):
        y[which] = _bilateral(y[which], s.bilateral_level[which])
    grey = _luma(y)
    blurred = _gauss(grey, s.sharpen_px)
    y = y + (_col(s.sharpen) * (grey - blurred)).clamp(-0.2, 0.2)
    return through_jpeg(y, s.quality, s.full_chroma)


def to_linear(coded: Tensor) -> Tensor:
    """Undo sRGB (IEC 61966-2-1), as the product does by table."""
    return torch.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def _col(v: Tensor) -> Tensor:
    return v[:, None, None, None]


def _luma(x: Tensor) -> Tensor:
    return 0.299 * x[:, 0:1] + 0.587 * x[:, 1:2] + 0.114 * x[:, 2:3]


def _lens(x: Tensor, s: Settings) -> Tensor:
    """Blur with Gauss, disc, motion and glare, and shift channels, by the transfer function."""
    _, _, h, w = x.shape
    fy = torch.fft.fftfreq(h, device=x.device)[:, None]
    fx = torch.fft.rfftfreq(w, device=x.device)[None, :]
    f2 = (fx * fx + fy * fy)[None]
    otf = torch.exp(-2 * math.pi**2 * f2 * s.sigma_px[:, None, None] ** 2)
    z = 2 * math.pi * torch.sqrt(f2) * s.disc_px[:, None, None]
    otf = otf * _disc_transfer(z)
    along = (
        fx * torch.cos(s.motion_angle)[:, None, None]
        + fy * torch.sin(s.motion_angle)[:, None, None]
    )
    otf = otf * torch.sinc(along * s.motion_px[:, None, None])
    wide = torch.exp(-2 * math.pi**2 * f2 * s.glare_px[:, None, None] ** 2)
    g = s.glare[:, None, None]
    otf = otf * (1 - g) + wide * g
    out = torch.empty_like(x)
    for c in range(3):
        turn = fx * s.shift_px[:, c, 0, None, None] + fy * s.shift_px[:, c, 1, None, None]
        kernel = torch.polar(otf, -2 * math.pi * turn)
        out[:, c] = torch.fft.irfft2(torch.fft.rfft2(x[:, c]) * kernel, s=(h, w))
    return out


def _disc_transfer(z: Tensor) -> Tensor:
    """Transfer function 2 J1(z) / z of a uniform disc, by table."""
    step = 0.01
    at = torch.arange(0, 40, step, dtype=torch.float64)
    table = torch.where(at > 0, 2 * torch.special.bessel_j1(at) / at.clamp_min(step), 1.0)
    table = table.to(z)
    place = (z / step).clamp(0, len(table) - 1.001)
    low = place.long()
    return torch.lerp(table[low], table[low + 1], place - low)


# 5 x 5 interpolation from one mosaic plane; rows: green at red/blue, a colour along the row,
# along the column, on the diagonal. First plain averages, then gradient-corrected.
_PLAIN = (
    ((0, 0, 0, 0, 0), (0, 0, 1, 0, 0), (0, 1, 0, 1, 0), (0, 0, 1, 0, 0), (0, 0, 0, 0, 0)),
    ((0, 0, 0, 0, 0), (0, 0, 0, 0, 0), (0, 2, 0, 2, 0), (0, 0, 0, 0, 0), (0, 0, 0, 0, 0)),
    ((0, 0, 0, 0, 0), (0, 0, 2, 0, 0), (0, 0, 0, 0, 0), (0, 0, 2, 0, 0), (0, 0, 0, 0, 0)),
    ((0, 0, 0, 0, 0), (0, 1, 0, 1, 0), (0, 0, 0, 0, 0), (0, 1, 0, 1, 0), (0, 0, 0, 0, 0)),
)
_CORRECTED = (
    ((0, 0, -2, 0, 0), (0, 0, 4, 0, 0), (-2, 4, 8, 4, -2), (0, 0, 4, 0, 0), (0, 0, -2, 0, 0)),
    ((0, 0, 1, 0, 0), (0, -2, 0, -2, 0), (-2, 8, 10, 8, -2), (0, -2, 0, -2, 0), (0, 0, 1, 0, 0)),
    ((0, 0, -2, 0, 0), (0, -2, 8, -2, 0), (1, 0, 10, 0, 1), (0, -2, 8, -2, 0), (0, 0, -2, 0, 0)),
    ((0, 0, -3, 0, 0), (0, 4, 0, 4, 0), (-3, 0, 12, 0, -3), (0, 4, 0, 4, 0), (0, 0, -3, 0, 0)),
)


def _demosaic(x: Tensor, corrected: Tensor, dice: Dice) -> Tensor:
    """Keep one colour a pixel (red, green / green, blue) and interpolate the others."""
    _, _, h, w = x.shape
    rows = (torch.arange(h, device=x.device) + int(dice.integers(1, 2))) % 2
    cols = (torch.arange(w, device=x.device) + int(dice.integers(1, 2))) % 2
    red = ((rows == 0)[:, None] & (cols == 0)[None, :]).float()
    blue = ((rows == 1)[:, None] & (cols == 1)[None, :]).float()
    green_red = ((rows == 0)[:, None] & (cols == 1)[None, :]).float()
    green_blue = ((rows == 1)[:, None] & (cols == 0)[None, :]).float()
    raw = x[:, 0] * red + x[:, 1] * (green_red + green_blue) + x[:, 2] * blue
    kernels = torch.tensor([_PLAIN, _CORRECTED], device=x.device, dtype=x.dtype)
    kernels = kernels / kernels.sum((2, 3), keepdim=True)
    both = F.conv2d(F.pad(raw[:, None], (2, 2, 2, 2), mode="reflect"), kernels.reshape(8, 1, 5, 5))
    k = _col(corrected)
    green, along, across, diagonal = ((1 - k) * both[:, :4] + k * both[:, 4:]).unbind(1)
    return torch.stack([
        raw * red + along * green_red + across * green_blue + diagonal * blue,
        raw * (green_red + green_blue) + green * (red + blue),
        raw * blue + along * green_blue + across * green_red + diagonal * red,
    ], 1)  # fmt: skip


def _gauss(x: Tensor, sigma: Tensor, reach: int = 4) -> Tensor:
    """Blur (n, c, h, w) with one sigma a picture."""
    n, c, h, w = x.shape
    k = torch.arange(-reach, reach + 1, device=x.device, dtype=x.dtype)
    kernel = torch.exp(-0.5 * (k / sigma.clamp_min(1e-3)[:, None]) ** 2)
    kernel = (kernel / kernel.sum(1, keepdim=True)).repeat_interleave(c, 0)
    flat = x.reshape(1, n * c, h, w)
    flat = F.pad(flat, (reach,) * 4, mode="replicate")
    flat = F.conv2d(flat, kernel[:, None, None, :], groups=n * c)
    flat = F.conv2d(flat, kernel[:, None, :, None], groups=n * c)
    return flat.reshape(n, c, h, w)


def _reduce_chroma_noise(x: Tensor, s: Settings) -> Tensor:
    grey = _luma(x)
    colour = torch.cat([x[:, 0:1] - grey, x[:, 2:3] - grey], 1)
    colour = _gauss(colour, s.chroma_px)
    grey = _gauss(grey, s.soften, 2)
    red, blue = grey + colour[:, 0:1], grey + colour[:, 1:2]
    green = (grey - 0.299 * red - 0.114 * blue) / 0.587
    return torch.cat([red, green, blue], 1)


def _tone(x: Tensor, s: Settings) -> Tensor:
    x = x.clamp(0, 1)
    y = torch.where(x <= 0.0031308, 12.92 * x, 1.055 * x.clamp_min(1e-6) ** (1 / 2.4) - 0.055)
    k = _col(s.contrast)
    y = y + k * y * (1 - y) * (2 * y - 1)
    y = y - _col(s.shoulder) * (y - 0.5).clamp_min(0) ** 2 * 0.8
    y = y.clamp(1e-4, 1) ** _col(s.gamma)
    b = _col(s.black)
    return (b + (1 - b) * y).clamp(0, 1)


def _local_tone(y: Tensor, s: Settings) -> Tensor:
    """Lift dark and lower bright neighbourhoods, as phones do."""
    grey = _luma(y)
    small = F.avg_pool2d(grey, 16)
    small = F.avg_pool2d(F.pad(small, (1, 1, 1, 1), mode="replicate"), 3, stride=1)
    wide = F.interpolate(small, size=grey.shape[2:], mode="bilinear", align_corners=False)
    return (y * (1 + _col(s.local) * (0.5 - wide))).clamp(0, 1)


def _bilateral(y: Tensor, level: Tensor) -> Tensor:
    """Edge-keeping smoothing of coded values, steered by luma."""
    grey, r = _luma(y), BILATERAL_REACH
    stack = F.pad(torch.cat([y, grey], 1), (r,) * 4, mode="replicate")
    h, w = y.shape[2:]
    total, weight = torch.zeros_like(y), torch.zeros_like(grey)
    inverse = -0.5 / _col(level) ** 2
    for dy in range(2 * r + 1):
        for dx in range(2 * r + 1):
            part = stack[:, :, dy : dy + h, dx : dx + w]
            far = ((dy - r) ** 2 + (dx - r) ** 2) / (2 * 1.3**2)
            k = torch.exp(inverse * (part[:, 3:] - grey) ** 2 - far)
            total += k * part[:, :3]
            weight += k
    return total / weight
