"""Disturbed outlines and cameras to start from, and what the network should answer to them."""

import math
from dataclasses import dataclass

import torch
from torch import Tensor

from tests.training.photo import Dice
from tests.training.unwrapping import (
    RINGS,
    S_FROM,
    S_TO,
    WHOLE_TURN,
    Grid,
    outlines,
    stations,
    true_positions,
)  # fmt: skip

START_ERRORS_PX = (3.0, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
"""Standard deviations of a start's x, y, radius and width; one start of each a photo. Where 0, the
start is off by any share up to:"""
BOX, BOX_LEAST_PX = (0.10, 0.10, 0.10, 0.16), 1.2
"""Of the wire's width, or so many pixels where that is more. Even errors, not small ones: a reader
that has learnt that starts are good keeps two thirds of their error where it sees little."""

CRUDE_SHARE, FALSE_SHARE = 0.12, 0.16
"""Shares of starts as crude as a threshold's, and of starts that lie on no ring at all."""

GAP_WEIGHT = 0.1
"""Weight of a sector that lies wholly in the gap: the ring continued, seen by nobody."""

NEAR, OFF = 0.5, 0.62
"""Median distance of an outline (in s) below which a start counts as on a ring, above which not."""


@dataclass(slots=True, kw_only=True)
class Target:
    """What belongs to n starts."""

    edges: Tensor
    """(n, 2, sectors) true inner and outer position in s."""
    weight: Tensor
    """(n, 2, sectors) 0 where the edge is out of view."""
    presence: Tensor
    """(n,) 1 a ring, 0 none, -1 between both."""
    whole: Tensor
    """(n,) 1 where the outlines may be learnt."""


def disturb_camera(matrix: Tensor, camera: Tensor, dice: Dice) -> tuple[Tensor, Tensor]:
    """Tilt each camera (n, 3, 4) about its ring and move it along its line of sight.

    Half of them a little (0.3 degrees, 1 %), half as badly as a coin photo knows them (up to
    3 degrees and 10 %). The ring's middle keeps its place and its scale.
    """
    n = len(camera)
    poor = dice.chance(n, 0.5)
    tilt = torch.where(poor, 1.2, 0.3)[:, None] * math.pi / 180 * dice.normal(n, 2)
    tilt = tilt.clamp(-0.0524, 0.0524)
    stretch = 1 + (torch.where(poor, 0.045, 0.01) * dice.normal(n)).clamp(-0.12, 0.12)
    angle = torch.linalg.norm(tilt, dim=1).clamp_min(1e-9)
    axis = torch.stack([tilt[:, 0] / angle, tilt[:, 1] / angle, torch.zeros_like(angle)], 1)
    turn = _rotation(axis, angle)
    moved = torch.einsum("nij,nj->ni", turn, camera) * stretch[:, None]
    m = matrix[:, :, :3]
    m = m / torch.linalg.norm(m[:, 2:], dim=2, keepdim=True)
    m = m @ turn.transpose(1, 2)
    centre = (m * m[:, 2:]).sum(2)[:, :2]  # principal point: rows 0, 1 along row 2
    pure = m[:, :2] - centre[:, :, None] * m[:, 2:]
    pure = pure * stretch[:, None, None]
    rows = torch.cat([pure + centre[:, :, None] * m[:, 2:], m[:, 2:]], 1)
    last = -torch.einsum("nij,nj->ni", rows, moved)
    before = matrix[:, :2, 3] / matrix[:, 2:, 3]
    shift = before - last[:, :2] / last[:, 2:]
    rows = torch.cat([rows[:, :2] + shift[:, :, None] * rows[:, 2:], rows[:, 2:]], 1)
    last = -torch.einsum("nij,nj->ni", rows, moved)
    return torch.cat([rows, last[:, :, None]], 2), moved


def _rotation(axis: Tensor, angle: Tensor) -> Tensor:
    zero = torch.zeros_like(angle)
    x, y, z = axis.unbind(1)
    k = torch.stack([zero, -z, y, z, zero, -x, -y, x, zero], 1).reshape(-1, 3, 3)
    eye = torch.eye(3, device=axis.device)
    s, c = torch.sin(angle)[:, None, None], torch.cos(angle)[:, None, None]
    return eye + s * k + (1 - c) * (k @ k)


def draw_starts(tori: Tensor, scale: Tensor, sigma_px: Tensor, span: Tensor, dice: Dice) -> Tensor:
    """Disturb true rings (n, 6) of `scale` px/mm by `sigma_px` (n,): new rings (n, 6)."""
    n = len(tori)
    wire_px = 2 * tori[:, 3] * scale
    out = tori.clone()
    step = sigma_px[:, None] * dice.normal(n, 4)
    reach = torch.tensor(BOX, device=tori.device) * wire_px[:, None]
    even = dice.uniform(n, -1, 1, 4) * reach.clamp_min(BOX_LEAST_PX)
    step = torch.where(sigma_px[:, None] > 0, step, even)
    crude = dice.chance(n, CRUDE_SHARE)
    reach = torch.minimum(dice.uniform(n, 3, 10), 0.5 * wire_px)
    way = dice.uniform(n, 0, 2 * math.pi)
    wide = dice.uniform(n, -0.36, 0.36) * wire_px
    rough = torch.stack([
        reach * torch.cos(way), reach * torch.sin(way), dice.uniform(n, -0.5, 0.5) * reach, wide,
    ], 1)  # fmt: skip
    step = torch.where(crude[:, None], rough, step)
    width = torch.minimum(step[:, 3].abs(), 0.4 * wire_px) * step[:, 3].sign()
    out[:, 0] += step[:, 0] / scale
    out[:, 1] += step[:, 1] / scale
    out[:, 2] += step[:, 2] / scale
    out[:, 3] += 0.5 * width / scale
    oval = dice.normal(n, 2) * 0.004 + torch.where(dice.chance(n, 0.4)[:, None], -tori[:, 4:], 0.0)
    piece = span < WHOLE_TURN
    out[:, 4:] += torch.where(piece[:, None], 0.0, oval)
    aside = torch.where(sigma_px > 0, sigma_px, BOX_LEAST_PX)  # a piece is turned as well
    turn = aside / scale * dice.normal(n) / (span * tori[:, 2])
    turn = torch.where(piece, turn, 0.0)
    out[:, 0], out[:, 1] = out[:, 0] - turn * out[:, 1], out[:, 1] + turn * out[:, 0]
    return _false_starts(out, tori, dice)


def _false_starts(out: Tensor, tori: Tensor, dice: Dice) -> Tensor:
    """Some starts beside the ring: moved, far too thin or thick, or on another radius."""
    n = len(out)
    false = dice.chance(n, FALSE_SHARE)
    kind = dice.integers(n, 4)
    tube, radius = tori[:, 3], tori[:, 2]
    way, far = dice.uniform(n, 0, 2 * math.pi), dice.uniform(n, 1.4, 4.0) * tube
    moved = false & (kind == 0)
    out[:, 0] += torch.where(moved, far * torch.cos(way), 0.0)
    out[:, 1] += torch.where(moved, far * torch.sin(way), 0.0)
    thin = false & (kind == 1)
    factor = torch.where(
        dice.chance(n, 0.6), dice.uniform(n, 0.25, 0.45), dice.uniform(n, 2.0, 3.0)
    )
    out[:, 3] = torch.where(thin, tube * factor, out[:, 3])
    aside = false & (kind == 2)
    shift = dice.uniform(n, 1.3, 3.5) * tube * torch.where(dice.chance(n, 0.5), 1.0, -1.0)
    out[:, 2] = torch.where(aside, radius + shift, out[:, 2])
    # one true outline taken for the other: the guess lies just outside or inside the wire
    beside = false & (kind == 3)
    out[:, 3] = torch.where(beside, tube * dice.uniform(n, 0.6, 1.2), out[:, 3])
    side = torch.where(dice.chance(n, 0.5), 1.0, -1.0)
    out[:, 2] = torch.where(beside, radius + side * (tube + out[:, 3]), out[:, 2])
    out[:, 3] = torch.minimum(out[:, 3], 0.93 * out[:, 2]).clamp_min(1e-3)
    out[:, 2] = torch.maximum(out[:, 2], 1.05 * out[:, 3])
    return out


def make_target(
    inner: Tensor, outer: Tensor, truth: Tensor, span: Tensor, gap: Tensor, margin: Tensor,
    is_wire: Tensor, grid: Grid = RINGS,
) -> Target:  # fmt: skip
    """Label starts.

    Parameters
    ----------
    inner, outer : (n, stations, 2) outlines of the start, px
    truth : (n, 2, v, 2) true outlines, px
    span : (n,) angle that is read
    gap : (n, 2) its direction and half angle; margin : (n,) radians added to it
    is_wire : (n,) bool, a ring or a piece of wire
    grid : how finely it is read
    """
    s, angle = true_positions(inner, outer, truth, span)
    off = torch.remainder(angle - gap[:, 0, None, None] + math.pi, 2 * math.pi) - math.pi
    seen = (off.abs() > (gap[:, 1] + margin)[:, None, None]).float()
    n = len(s)
    rays = s.reshape(n, 2, grid.sectors, grid.rays)
    seen = seen.reshape(n, 2, grid.sectors, grid.rays)
    some = seen.sum(3)
    edges = torch.where(some > 0, (rays * seen).sum(3) / some.clamp_min(1), rays.mean(3))
    weight = torch.where(some > 0, some / grid.rays, GAP_WEIGHT)
    inside = (edges > S_FROM + 0.04) & (edges < S_TO - 0.04)
    weight = weight * inside
    ideal = torch.tensor([0.0, 1.0], device=s.device)[None, :, None]
    distance = (edges - ideal).abs().median(2).values.amax(1)
    presence = torch.where(distance < NEAR, 1.0, torch.where(distance > OFF, 0.0, -1.0))
    presence = torch.where(is_wire, presence, 0.0)
    whole = (is_wire & (distance < OFF) & (inside.float().mean((1, 2)) > 0.75)).float()
    return Target(edges=edges, weight=weight, presence=presence, whole=whole)


def start_outlines(
    matrix: Tensor, camera: Tensor, tori: Tensor, span: Tensor, grid: Grid = RINGS,
    turn: float = 0.0,
) -> tuple[Tensor, Tensor]:  # fmt: skip
    return outlines(matrix, camera, tori, stations(tori, span, grid.stations, turn))
