"""Torch twins of the product's outline model and unwrapping, batched over photos and starts.

Shapes: p photos, k starts each, n = p k. A camera is a (3, 4) matrix (world mm to pixels) and its
centre (3,); the product's lens terms are zero in a crop.
"""

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional as F

S_FROM, S_TO, WIDER, EVERY = -0.6, 1.6, 2.0, 3
PAPER_INSIDE, PAPER_OUTSIDE, PAPER_SHARE, PAPER_LEAST = -0.25, 1.25, 0.8, 0.002
BRIGHTEST, CLIPPED, LENGTH_UNIT_PX = 5.0, 0.955, 30.0
"""As in `vision/rings/unwrap.py`; `test_unwrapping.py` holds both together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How finely a ring or a piece of wire is read."""

    sectors: int
    rays: int
    """In each sector; the product may read another number of them."""
    samples: int

    @property
    def stations(self) -> int:
        """Angles that are read around."""
        return self.sectors * self.rays


RINGS = Grid(sectors=8, rays=12, samples=72)
HALF = Grid(sectors=8, rays=12, samples=36)
WIRES = Grid(sectors=16, rays=6, samples=144)
WHOLE_TURN = 6.0
"""Radians; less than that is a piece of wire, drawn as a small part of a very large ring."""


def ring_angles(count: int, device: torch.device) -> Tensor:
    return (torch.arange(count, device=device) + 0.5) * (2 * math.pi / count)


def stations(tori: Tensor, span: Tensor, count: int, turn: float = 0.0) -> Tensor:
    """Angles (n, count) that are read around `tori` (n, 6): a whole turn, or a piece at (0, 0).

    `turn` shifts all of them, in the angle between two.
    """
    place = (torch.arange(count, device=tori.device) + 0.5 + turn) / count
    turn = 2 * math.pi * place.expand(len(tori), count)
    middle = torch.atan2(-tori[:, 1], -tori[:, 0])
    piece = middle[:, None] + (place - 0.5) * span[:, None]
    return torch.where((span < WHOLE_TURN)[:, None], piece, turn.to(piece.dtype))


def project(matrix: Tensor, points: Tensor) -> Tensor:
    """Pixels (n, m, 2) of world points (n, m, 3) under matrices (n, 3, 4)."""
    h = points @ matrix[:, :, :3].transpose(1, 2) + matrix[:, None, :, 3]
    return h[..., :2] / h[..., 2:]


def outlines(matrix: Tensor, camera: Tensor, tori: Tensor, angles: Tensor) -> tuple[Tensor, Tensor]:
    """Inner and outer outline (n, m, 2) px of flat rings `tori` (n, 6)."""
    x, y, radius, tube, oval_cos, oval_sin = (c[:, None] for c in tori.unbind(1))
    cos_t, sin_t = torch.cos(angles), torch.sin(angles)
    line = radius * (1 + oval_cos * torch.cos(2 * angles) + oval_sin * torch.sin(2 * angles))
    cx, cy = x + line * cos_t, y + line * sin_t
    along = (camera[:, 0:1] - cx) * cos_t + (camera[:, 1:2] - cy) * sin_t
    above = camera[:, 2:3] - tube
    towards = torch.atan2(above.expand_as(along), along)
    opening = torch.acos((tube / torch.hypot(along, above.expand_as(along))).clamp(-1, 1))

    def touch(polar: Tensor) -> Tensor:
        out, up = tube * torch.cos(polar), tube + tube * torch.sin(polar)
        return project(matrix, torch.stack([cx + out * cos_t, cy + out * sin_t, up], -1))

    return touch(towards + opening), touch(towards - opening)


def sample_places(samples: int, device: torch.device) -> Tensor:
    step = (S_TO - S_FROM) / samples
    return S_FROM + (torch.arange(samples, device=device) + 0.5) * step


def unwrap(light: Tensor, inner: Tensor, outer: Tensor, grid: Grid = RINGS) -> Tensor:
    """Read photos around guessed outlines.

    Parameters
    ----------
    light : (p, 3, h, w) linear light
    inner, outer : (p * k, stations, 2) px, the k starts of a photo next to each other
    grid : how finely

    Returns
    -------
    (p * k, 9, sectors, samples), the planes of the product's `unwrap`
    """
    n = len(inner)
    s = sample_places(grid.samples, light.device)
    values = _sampled(light, inner, outer, s, grid.sectors)
    some = slice(EVERY // 2, None, EVERY)
    far_s = 0.5 + WIDER * (s - 0.5)
    far = _sampled(light, inner[:, some], outer[:, some], far_s, grid.sectors).mean(3)
    clipped = (values.amax(1) > CLIPPED).float().mean(2)
    mean = values.mean(3)
    paper = (s < PAPER_INSIDE) | (s > PAPER_OUTSIDE)
    around = mean[:, :, :, paper].reshape(n, 3, -1).sort(-1).values
    at = PAPER_SHARE * (around.shape[-1] - 1)
    low = int(at)
    level = around[..., low] + (at - low) * (around[..., low + 1] - around[..., low])
    relative, beyond = (
        (part / level.clamp_min(PAPER_LEAST)[:, :, None, None]).clamp(0, BRIGHTEST).sqrt()
        for part in (mean, far)
    )
    width = torch.linalg.norm(outer - inner, dim=-1).mean(1) / LENGTH_UNIT_PX
    shape = (n, 1, grid.sectors, grid.samples)
    return torch.cat([
        relative, clipped[:, None], s.expand(shape), width[:, None, None, None].expand(shape),
        beyond,
    ], 1)  # fmt: skip


def _sampled(light: Tensor, inner: Tensor, outer: Tensor, s: Tensor, sectors: int) -> Tensor:
    """Light (n, 3, sectors, rays a sector, samples) at places `s` from inner to outer."""
    photos, _, h, w = light.shape
    n, rays, _ = inner.shape
    points = inner[:, :, None] + s[None, None, :, None] * (outer - inner)[:, :, None]
    scale = torch.tensor([2 / (w - 1), 2 / (h - 1)], device=light.device)
    at = (points * scale - 1).reshape(photos, n // photos * rays, len(s), 2)
    values = F.grid_sample(light, at, mode="bilinear", padding_mode="border", align_corners=True)
    values = values.reshape(photos, 3, n // photos, sectors, rays // sectors, len(s))
    return values.transpose(1, 2).reshape(n, 3, sectors, rays // sectors, len(s))


def true_positions(
    inner: Tensor, outer: Tensor, truth: Tensor, span: Tensor
) -> tuple[Tensor, Tensor]:
    """Where each ray of a start meets the true outlines.

    Parameters
    ----------
    inner, outer : (n, m, 2) outlines of the start, px
    truth : (n, 2, v, 2) vertices of the true inner and outer outline at equal angles, px; those of
        a piece of wire reach as far again beyond both its ends
    span : (n,) angle that is read, radians

    Returns
    -------
    s : (n, 2, m) in the start's measure; angle : (n, 2, m) around the true ring, radians
    """
    n, m, _ = inner.shape
    vertices = truth.shape[2]
    way = (outer - inner)[:, None]
    share = (torch.arange(m, device=inner.device) + 0.5) / m
    piece = (span < WHOLE_TURN)[:, None]
    place = vertices * torch.where(piece, 0.25 + 0.5 * share, share)
    place = place[:, None].expand(n, 2, m).clone()
    row = torch.arange(n, device=inner.device)[:, None, None]
    edge = torch.arange(2, device=inner.device)[None, :, None]
    for step in range(6):
        low = torch.floor(place)
        a = truth[row, edge, low.long() % vertices]
        b = truth[row, edge, (low.long() + 1) % vertices]
        chord = b - a
        point = a + (place - low)[..., None] * chord - inner[:, None]
        if step == 5:
            break
        miss = way[..., 0] * point[..., 1] - way[..., 1] * point[..., 0]
        slope = way[..., 0] * chord[..., 1] - way[..., 1] * chord[..., 0]
        slope = torch.where(slope.abs() < 1e-9, 1e-9, slope)
        place = place - (miss / slope).clamp(-40, 40)
    s = (point * way).sum(-1) / (way * way).sum(-1)
    return s, place * (2 * math.pi / vertices)
