"""The outline reader's network: unwrapped ring in, edge positions, weights, scales, presence out.

Every sector is a row of numbers. Three layers, each of which sees a sector, the mean of its two
neighbours and the mean of the whole ring: no convolution, so that a few matrix products in numpy
are all the product needs, and so little arithmetic that fifty rings take a fraction of a second.
The unwrapping has already put the edges near fixed places; what is left is to read a profile.
"""

from dataclasses import dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional as F

from tests.training.unwrapping import SAMPLES, SECTORS

LOG_WEIGHT_LIMIT = 4.0
BINS = 36
"""Light and clipping are seen in this many steps along s; only their change is seen finely."""
PROFILE = 3 * (SAMPLES - 2) + 3 * BINS + BINS + 1
MEAN_LIGHT = 0.8
"""Usual value of a channel's plane, taken off so that the inputs lie around zero."""
SLOPE_GAIN = 8.0
"""Brings the change between samples to the size of the other inputs: with raw profiles alone,
which hardly differ from sample to sample, training takes several times as long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NetConfig:
    """Widths of one network's three layers."""

    name: str
    first: int
    second: int
    third: int
    hidden: int = 48


CONFIGS = {
    c.name: c
    for c in (
        NetConfig(name="narrow", first=192, second=160, third=128),
        NetConfig(name="wide", first=320, second=224, third=160),
    )
}


class Reader(nn.Module):
    """See the module's text; outputs in the order edges, log_weight, log_scale, presence."""

    def __init__(self, config: NetConfig) -> None:
        super().__init__()
        self.first = nn.Linear(PROFILE, config.first)
        self.second = nn.Linear(3 * config.first, config.second)
        self.third = nn.Linear(3 * config.second, config.third)
        self.edge = nn.Linear(config.third, 2)
        self.trust = nn.Linear(config.third, 2)
        self.hidden = nn.Linear(config.third + config.second, config.hidden)
        self.answer = nn.Linear(config.hidden, 3)
        nn.init.zeros_(self.edge.weight)
        self.edge.bias.data = torch.tensor([0.0, 1.0])

    def forward(self, rings: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        first = F.relu(self.first(profiles(rings)))
        second = F.relu(self.second(around(first)))
        third = F.relu(self.third(around(second)))
        edges = self.edge(third).transpose(1, 2)
        weight = self.trust(third).transpose(1, 2).clamp(-LOG_WEIGHT_LIMIT, LOG_WEIGHT_LIMIT)
        whole = torch.cat([third.mean(1), second.mean(1)], 1)
        answer = self.answer(F.relu(self.hidden(whole)))
        return edges, weight, answer[:, :2], answer[:, 2:]


def profiles(rings: Tensor) -> Tensor:
    """Rows (n, 32, PROFILE) of planes (n, 6, 32, 144): change, light, clipping, wire width."""
    n = len(rings)
    light = rings[:, :3].permute(0, 2, 1, 3)
    slope = (light[..., 2:] - light[..., :-2]) * SLOPE_GAIN
    coarse = light.reshape(n, SECTORS, 3, BINS, -1).mean(4) - MEAN_LIGHT
    clipped = rings[:, 3].reshape(n, SECTORS, BINS, -1).mean(3)
    parts = [slope.flatten(2), coarse.flatten(2), clipped, rings[:, 5, :, :1] - 1.0]
    return torch.cat(parts, 2)


def around(rows: Tensor) -> Tensor:
    """Each sector's row, the mean of its neighbours' and the mean of the ring's (n, 32, 3 c)."""
    beside = 0.5 * (rows.roll(1, 1) + rows.roll(-1, 1))
    return torch.cat([rows, beside, rows.mean(1, keepdim=True).expand_as(rows)], 2)


def multiply_adds(config: NetConfig) -> float:
    """Millions of multiply-adds for one ring."""
    layers = [m for m in Reader(config).modules() if isinstance(m, nn.Linear)]
    return sum(SECTORS * m.weight.numel() for m in layers) / 1e6
