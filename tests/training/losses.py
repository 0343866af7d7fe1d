"""What the network is trained on: edges, their weights, the ring they add up to, presence."""

import math
from dataclasses import dataclass
from functools import cache

import torch
from torch import Tensor
from torch.nn import functional as F

from tests.training.starts import Target

EDGE_S = 0.02
"""Likely error of an edge of weight one, in wire widths."""
KNEE, FIT_FACTOR, FIT_CAP = 0.01, 60.0, 0.06
"""Smooth L1 of the fitted ring: where it turns linear, its factor, and where it flattens."""
HUBER_S = 0.03
PRIOR = (1e-3, 1e-3, 1e-3, 1e-3, 0.5, 0.5)
"""Pull of the fit's terms (`basis`) to zero, in weights of one sector."""
PRESENCE_FACTOR, SCALE_FACTOR = 0.5, 0.3


@dataclass(slots=True, kw_only=True)
class Losses:
    """Parts of the loss, and plain figures for the log."""

    total: Tensor
    edge: Tensor
    fit: Tensor
    scale: Tensor
    presence: Tensor
    wire_error: Tensor
    """Median |error| of the fitted wire, in widths."""
    id_error: Tensor
    presence_wrong: Tensor


@cache
def basis(sectors: int, device: torch.device) -> Tensor:
    """Shifts (2, sectors, 6) of inner and outer edge for x, y, radius, wire radius, two ovals."""
    t = (torch.arange(sectors, device=device) + 0.5) * (2 * math.pi / sectors)
    one = torch.ones_like(t)
    rows = [torch.stack([t.cos(), t.sin(), one, side * one, (2 * t).cos(), (2 * t).sin()], 1)
            for side in (-1.0, 1.0)]  # fmt: skip
    return torch.stack(rows)


def fitted_errors(error: Tensor, weight: Tensor) -> Tensor:
    """Errors (n, 2) of wire and ID, in widths, of the ring fitted to edges off by `error`.

    Weighted least squares with one Huber reweighting, as the product's refit does.
    """
    a = basis(error.shape[2], error.device).reshape(1, -1, 6)
    e, w = error.reshape(len(error), -1), weight.reshape(len(error), -1)
    prior = _prior(error.device)
    move = None
    for _ in range(2):
        used = w
        if move is not None:
            left = e - (a * move.detach()[:, None]).sum(2)
            used = w * (HUBER_S / left.abs().clamp_min(HUBER_S)).detach()
        normal = torch.einsum("kp,nk,kq->npq", a[0], used, a[0]) + prior
        right = torch.einsum("kp,nk,nk->np", a[0], used, e)
        move = _solved(normal, right)
    assert move is not None
    return torch.stack([2 * move[:, 3], 2 * (move[:, 2] - move[:, 3])], 1)


@cache
def _prior(device: torch.device) -> Tensor:
    return torch.diag(torch.tensor(PRIOR, device=device))


def _solved(matrix: Tensor, right: Tensor) -> Tensor:
    """x (n, k) of matrix x = right for positive definite matrices (n, k, k), by elimination.

    Without a look at the numbers, so that a step of the training can be recorded and replayed.
    """
    rows = torch.cat([matrix, right[..., None]], 2)
    for k in range(matrix.shape[1]):
        row = rows[:, k : k + 1] / rows[:, k : k + 1, k : k + 1]
        rows = rows - rows[:, :, k : k + 1] * row
        rows = torch.cat([rows[:, :k], row, rows[:, k + 1 :]], 1)
    return rows[..., -1]


def losses(outputs: tuple[Tensor, Tensor, Tensor, Tensor], target: Target) -> Losses:
    edges, log_weight, log_scale, logit = (o.float() for o in outputs)
    whole = target.whole
    count = whole.sum().clamp_min(1)
    error = edges - target.edges
    likelihood = error.abs() * torch.exp(log_weight) / EDGE_S - log_weight
    mask = target.weight * whole[:, None, None]
    edge = (likelihood.clamp_max(60) * mask).sum() / mask.sum().clamp_min(1)
    errors = fitted_errors(
        torch.where(target.weight > 0, error, 0.0), torch.exp(log_weight) * target.weight + 1e-4
    )
    size = errors.abs()
    smooth = torch.where(size < KNEE, 0.5 * size**2 / KNEE, size - 0.5 * KNEE)
    smooth = FIT_CAP * torch.log1p(smooth / FIT_CAP)
    fit = (FIT_FACTOR * smooth.sum(1) * whole).sum() / count
    log_scale = log_scale.clamp(-9, 2)
    doubt = (size.detach() + 5e-4) * torch.exp(-log_scale) + log_scale
    scale = (doubt.sum(1) * whole).sum() / count
    known = (target.presence >= 0).float()
    wanted = target.presence.clamp_min(0)
    entropy = F.binary_cross_entropy_with_logits(logit[:, 0], wanted, reduction="none")
    presence = (entropy * known).sum() / known.sum().clamp_min(1)
    total = edge + fit + SCALE_FACTOR * scale + PRESENCE_FACTOR * presence
    with torch.no_grad():
        middle = torch.where(whole[:, None] > 0, size, math.nan).nanmedian(0).values
        wrong = (((logit[:, 0] > 0) != (wanted > 0)) * known).sum() / known.sum().clamp_min(1)
    return Losses(total=total, edge=edge, fit=fit, scale=scale, presence=presence,
                  wire_error=middle[0], id_error=middle[1], presence_wrong=wrong)  # fmt: skip
