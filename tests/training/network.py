"""The outline reader's network: unwrapped ring in, edge positions, weights, scales, presence out.

Two strided layers make one place of every four samples of a sector; blocks then look along s,
across the neighbouring sectors and at the mean of the whole ring. Only matrix products, so that
plain numpy runs it. The sectors are a circle: looking across reads over the seam.
"""

from dataclasses import dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional as F

from tests.training.unwrapping import HALF, RINGS, S_FROM, S_TO, WIRES, Grid

LOG_WEIGHT_LIMIT = 4.0
SAMPLES_PER_PLACE = 4
"""Samples to each place along s; the soft mean and an offset read between them."""
PLANES = {False: 8, True: 14}
"""Inputs without and with the wide look."""
MEAN_LIGHT = 0.8
"""Usual value of a channel's plane, taken off so that the inputs lie around zero."""
SLOPE_GAIN = 8.0
"""Brings the change between samples to the size of the other inputs: from light alone, which
hardly differs from sample to sample, training takes several times as long."""
SUMMARY, HIDDEN = 12, 48


@dataclass(frozen=True, slots=True, kw_only=True)
class NetConfig:
    """Size of one network."""

    name: str
    channels: int
    dilations: tuple[int, ...]
    """Of the blocks, along s."""
    grid: Grid = RINGS
    wide: bool = True
    """Whether the wide look is read too."""

    @property
    def places(self) -> int:
        """Places along s."""
        return self.grid.samples // SAMPLES_PER_PLACE


CONFIGS = {
    c.name: c
    for c in (
        NetConfig(name="scout", channels=16, dilations=(1, 1, 1), grid=HALF, wide=False),
        NetConfig(name="quick", channels=32, dilations=(1, 1, 1, 1, 1), grid=HALF),
        NetConfig(name="full", channels=48, dilations=(1, 1, 2, 2, 1, 1)),
        NetConfig(name="wire", channels=48, dilations=(1, 2, 4, 4, 2, 1), grid=WIRES),
    )
}


class Block(nn.Module):
    """Along s, then across the angle, plus what the whole ring shows at each s."""

    def __init__(self, channels: int, dilation: int) -> None:
        super().__init__()
        self.along = nn.Conv2d(
            channels, channels, (1, 5), padding=(0, 2 * dilation), dilation=(1, dilation)
        )
        self.across = nn.Conv2d(channels, channels, (3, 1))
        self.whole = nn.Conv2d(channels, channels, 1)

    def forward(self, x: Tensor) -> Tensor:
        seen = F.relu(self.along(x))
        over_seam = torch.cat([seen[:, :, -1:], seen, seen[:, :, :1]], 2)
        return F.relu(x + self.across(over_seam) + self.whole(x.mean(2, keepdim=True)))


class Reader(nn.Module):
    """See the module's text; outputs in the order edges, log_weight, log_scale, presence."""

    def __init__(self, config: NetConfig) -> None:
        super().__init__()
        c, self.wide, places = config.channels, config.wide, config.places
        self.grid = config.grid
        self.first = nn.Conv2d(PLANES[config.wide], c, (1, 8), stride=(1, 2), padding=(0, 3))
        self.second = nn.Conv2d(c, c, (1, 6), stride=(1, 2), padding=(0, 2))
        self.blocks = nn.ModuleList([Block(c, d) for d in config.dilations])
        self.head = nn.Conv2d(c, 6, 1)
        self.summary = nn.Conv2d(2 * c, SUMMARY, 1)
        self.hidden = nn.Linear(SUMMARY * places, HIDDEN)
        self.answer = nn.Linear(HIDDEN, 3)
        for block in self.blocks:
            nn.init.zeros_(block.across.weight)
        nn.init.normal_(self.head.weight, std=0.01)
        step = (S_TO - S_FROM) / places
        at = S_FROM + (torch.arange(places) + 0.5) * step
        self.register_buffer("places", at, persistent=False)

    def forward(self, rings: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        x = F.relu(self.second(F.relu(self.first(inputs(rings, wide=self.wide)))))
        for block in self.blocks:
            x = block(x)
        place, offset, trust = self.head(x).float().unflatten(1, (3, 2)).unbind(1)
        share = torch.softmax(place, 3)
        edges = (share * (self.places + offset)).sum(3)
        weight = (share * trust).sum(3).clamp(-LOG_WEIGHT_LIMIT, LOG_WEIGHT_LIMIT)
        ring = torch.cat([x.mean(2, keepdim=True), x.amax(2, keepdim=True)], 1)
        seen = F.relu(self.summary(ring)).flatten(1)
        answer = self.answer(F.relu(self.hidden(seen))).float()
        return edges, weight, answer[:, :2], answer[:, 2:]


def inputs(rings: Tensor, *, wide: bool) -> Tensor:
    """Planes (n, 8, sectors, samples): light, its change along s, clipping, wire width.

    With the wide look 14: its light and its change too.
    """
    planes = [*_light(rings[:, :3]), rings[:, 3:4], rings[:, 5:6] - 1.0]
    return torch.cat(planes + (_light(rings[:, 6:]) if wide else []), 1)


def _light(light: Tensor) -> list[Tensor]:
    return [light - MEAN_LIGHT, F.pad(light[..., 2:] - light[..., :-2], (1, 1)) * SLOPE_GAIN]


def multiply_adds(config: NetConfig) -> float:
    """Millions of multiply-adds for one ring."""
    net, total = Reader(config), [0.0]

    def count(module: nn.Module, _: object, out: Tensor) -> None:
        if isinstance(module, nn.Conv2d):
            total[0] += module.weight.numel() * out.shape[2] * out.shape[3] / 1e6

    for module in net.modules():
        module.register_forward_hook(count)
    net(torch.zeros(1, 9, config.grid.sectors, config.grid.samples))
    return total[0]
