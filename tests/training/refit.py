"""The product's readings in torch, batched: unwrap, read, refit (vision/rings/fit.py)."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import torch
from torch import Tensor

from tests.training.starts import start_outlines
from tests.training.unwrapping import RINGS, S_FROM, S_TO, Grid, outlines, ring_angles, unwrap

ROUNDS, REWEIGHTINGS, STRICT_FROM, HUBER_S, EDGE_S, OVAL_PRIOR = 2, 6, 3, 0.03, 0.02, 0.01
QUARTER = RINGS.rays / 4 - 0.25
PHASES = ((-0.25, 0.25, -QUARTER), (0.25, -0.25, QUARTER))
STEPS = (1e-4, 1e-4, 1e-4, 1e-4, 1e-5, 1e-5)
TUBE_SHRINK, TUBE_GROW, HOLE_LEAST = 0.5, 1.6, 1.05

Outputs = tuple[Tensor, Tensor, Tensor, Tensor]


@dataclass(slots=True, kw_only=True)
class Settled:
    """Mean of the readings from all phases; tensors in float64."""

    tori: Tensor
    """(n, 6)"""
    outputs: Outputs
    residuals: Tensor
    """(n, 2, sectors) of all readings"""
    apart: Tensor
    """(n, 2) standard deviation of wire and ID over the readings."""
    history: list[Tensor]
    """Tori (n, 6) before and after each round that came before."""


def settle(
    read: Callable[[Tensor], Outputs], light: Tensor, matrix: Tensor, camera: Tensor, tori: Tensor,
    grid: Grid = RINGS,
) -> Settled:  # fmt: skip
    """Refine starts `tori` (n, 6) float64 on photos `light`; cameras (n, 3, 4) and (n, 3)."""
    history = [tori]
    for _ in range(ROUNDS):
        history.append(_read_once(read, light, matrix, camera, history[-1], grid)[0])
    each = [
        _read_once(
            read, light, matrix, camera, _shifted(history[-1], inner, outer, grid), grid, turn
        )
        for inner, outer, turn in PHASES
    ]
    found = torch.stack([one[0] for one in each])
    sizes = torch.stack([2 * found[..., 3], 2 * (found[..., 2] - found[..., 3])], -1)
    edges, log_weight, log_scale, logit = (
        torch.stack([one[1][k].double() for one in each]) for k in range(4)
    )
    return Settled(
        tori=found.mean(0),
        outputs=(
            edges.mean(0),
            log_weight.exp().mean(0).log(),
            log_scale.exp().mean(0).log(),
            logit.sigmoid().mean(0).logit(),
        ),
        residuals=torch.cat([one[2] for one in each], 2),
        apart=sizes.std(0),
        history=history,
    )


def _read_once(
    read: Callable[[Tensor], Outputs], light: Tensor, matrix: Tensor, camera: Tensor, tori: Tensor,
    grid: Grid, turn: float = 0.0,
) -> tuple[Tensor, Outputs, Tensor]:  # fmt: skip
    whole = torch.full((len(tori),), 2 * math.pi, device=tori.device, dtype=tori.dtype)
    inner, outer = start_outlines(matrix, camera, tori, whole, grid, turn=turn)
    outputs = read(unwrap(light, inner.float(), outer.float(), grid))
    edges, weight = outputs[0].double(), outputs[1].double().exp()
    moved, residuals = refit(matrix, camera, tori, edges, weight, turn)
    return moved, outputs, residuals


def _shifted(tori: Tensor, inner: float, outer: float, grid: Grid) -> Tensor:
    place = (S_TO - S_FROM) / grid.samples * 4
    shifted = tori.clone()
    shifted[:, 3] += (outer - inner) * place * tori[:, 3]
    shifted[:, 2] += (outer + inner) * place * tori[:, 3]
    return shifted


def refit(
    matrix: Tensor, camera: Tensor, tori: Tensor, edges: Tensor, weight: Tensor, turn: float = 0.0
) -> tuple[Tensor, Tensor]:
    """Weighted least squares of edges (n, 2, sectors), linear around `tori`, Huber-reweighted."""
    n = len(tori)
    jacobian = _jacobian(matrix, camera, tori, turn).reshape(n, -1, 6)
    ideal = torch.tensor([0.0, 1.0], device=tori.device, dtype=tori.dtype)
    wanted = (edges - ideal[None, :, None]).reshape(n, -1)
    pull = torch.zeros(6, device=tori.device, dtype=tori.dtype)
    pull[4:] = (EDGE_S / OVAL_PRIOR) ** 2
    base = weight.reshape(n, -1)
    move = torch.zeros_like(tori)
    for turn in range(REWEIGHTINGS):
        left = wanted - torch.einsum("nkp,np->nk", jacobian, move)
        trust = HUBER_S / left.abs().clamp_min(HUBER_S)
        if turn >= STRICT_FROM:
            agree = left.abs().median(1, keepdim=True).values < HUBER_S / 2
            trust = torch.where(agree, trust**3, trust)
        used = base * trust
        normal = torch.einsum("nkp,nk,nkq->npq", jacobian, used, jacobian) + torch.diag(pull + 1e-9)
        right = torch.einsum("nkp,nk,nk->np", jacobian, used, wanted) - pull * tori
        move = torch.linalg.solve(normal, right[..., None])[..., 0]
    left = wanted - torch.einsum("nkp,np->nk", jacobian, move)
    moved = tori + move
    tube = torch.clamp(moved[:, 3], TUBE_SHRINK * tori[:, 3], TUBE_GROW * tori[:, 3])
    moved[:, 3] = tube
    moved[:, 2] = torch.maximum(moved[:, 2], HOLE_LEAST * tube)
    return moved, left.reshape(n, 2, -1)


def _jacobian(matrix: Tensor, camera: Tensor, tori: Tensor, turn: float) -> Tensor:
    """Change (n, 2, sectors, 6) of both outlines along s for a unit of each parameter."""
    angles = ring_angles(RINGS.sectors, tori.device).to(tori.dtype)
    angles = angles + turn * 2 * math.pi / RINGS.stations

    def both(t: Tensor, at: Tensor) -> Tensor:
        return torch.stack(outlines(matrix, camera, t, at), 1)

    here = both(tori, angles)
    tangent = both(tori, angles + 1e-4) - here
    normal = torch.stack([tangent[..., 1], -tangent[..., 0]], -1)
    across = (here[:, 1] - here[:, 0])[:, None]
    width = (across * normal).sum(-1)
    columns = []
    for k, step in enumerate(STEPS):
        there = tori.clone()
        there[:, k] += step
        columns.append(((both(there, angles) - here) * normal).sum(-1) / width / step)
    return torch.stack(columns, -1)
