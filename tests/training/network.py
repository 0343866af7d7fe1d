"""The outline reader's network: unwrapped ring in, edge positions, weights, scales, presence out.

Built from operations that OpenCV's dnn module runs as they are: convolution, ReLU, sum, product,
mean, concatenation, softmax, nearest-neighbour enlargement. The 32 sectors are a circle: every
convolution along the angle reads across the seam.
"""

from dataclasses import dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional as F

from tests.training.unwrapping import S_FROM, S_TO, SAMPLES

POSITIONS = SAMPLES // 2
"""Places along s in the network; the soft mean reads between them."""
LOG_WEIGHT_LIMIT = 4.0
SUMMARY, HIDDEN = 8, 32


@dataclass(frozen=True, slots=True, kw_only=True)
class NetConfig:
    """Size of one network."""

    name: str
    channels: int
    fine: tuple[int, ...]
    """Dilations along s of the blocks at 32 x 72, before the coarse part (if there is one)."""
    coarse: tuple[int, ...] = ()
    """Dilations of the blocks at 16 x 36; none leaves the coarse part out."""
    coarse_channels: int = 48
    last: tuple[int, ...] = ()
    """Dilations of the blocks at 32 x 72 after it."""


CONFIGS = {
    c.name: c
    for c in (
        NetConfig(name="slim16", channels=16, fine=(1, 2, 4, 8, 4, 2, 1)),
        NetConfig(name="flat24", channels=24, fine=(1, 2, 4, 4, 2, 1)),
        NetConfig(name="flat32", channels=32, fine=(1, 2, 4, 8, 4, 2, 1)),
        NetConfig(
            name="deep24",
            channels=24,
            fine=(1,),
            coarse=(1, 2, 4, 2),
            coarse_channels=48,
            last=(1, 1),
        ),
        NetConfig(
            name="deep32",
            channels=32,
            fine=(1,),
            coarse=(1, 2, 4, 2),
            coarse_channels=48,
            last=(1, 1),
        ),
    )
}


def around(x: Tensor) -> Tensor:
    """Put the last sector before the first and the first after the last."""
    return torch.cat([x[:, :, -1:], x, x[:, :, :1]], 2)


class SplitBlock(nn.Module):
    """Along s, then along the angle, plus what the whole ring shows at each s."""

    def __init__(self, channels: int, dilation: int) -> None:
        super().__init__()
        self.along = nn.Conv2d(
            channels, channels, (1, 5), padding=(0, 2 * dilation), dilation=(1, dilation)
        )
        self.across = nn.Conv2d(channels, channels, (3, 1))
        self.whole = nn.Conv2d(channels, channels, 1)

    def forward(self, x: Tensor) -> Tensor:
        x = F.relu(x + self.across(around(F.relu(self.along(x)))))
        return x + F.relu(self.whole(x.mean(2, keepdim=True)))


class FullBlock(nn.Module):
    """As `SplitBlock` with one window over both directions."""

    def __init__(self, channels: int, dilation: int) -> None:
        super().__init__()
        self.window = nn.Conv2d(
            channels, channels, (3, 5), padding=(0, 2 * dilation), dilation=(1, dilation)
        )
        self.along = nn.Conv2d(channels, channels, (1, 3), padding=(0, 1))
        self.whole = nn.Conv2d(channels, channels, 1)

    def forward(self, x: Tensor) -> Tensor:
        x = F.relu(x + self.along(F.relu(self.window(around(x)))))
        return x + F.relu(self.whole(x.mean(2, keepdim=True)))


class Reader(nn.Module):
    """See the module's text; outputs in the order edges, log_weight, log_scale, presence."""

    def __init__(self, config: NetConfig) -> None:
        super().__init__()
        c, w = config.channels, config.coarse_channels
        self.stem = nn.Conv2d(6, c, (1, 8), stride=(1, 2), padding=(0, 3))
        self.fine = nn.Sequential(*[SplitBlock(c, d) for d in config.fine])
        self.is_deep = bool(config.coarse)
        if self.is_deep:
            self.down = nn.Conv2d(c, w, (4, 4), stride=(2, 2), padding=(0, 1))
            self.coarse = nn.Sequential(*[FullBlock(w, d) for d in config.coarse])
            self.up = nn.Conv2d(w, c, 1)
            self.last = nn.Sequential(*[SplitBlock(c, d) for d in config.last])
        self.place = nn.Conv2d(c, 2, 1)
        self.trust = nn.Conv2d(c, 2, 1)
        self.summary = nn.Conv2d(c, SUMMARY, 1)
        self.hidden = nn.Conv2d(SUMMARY, HIDDEN, (1, POSITIONS))
        self.answer = nn.Conv2d(HIDDEN, 3, 1)
        step = (S_TO - S_FROM) / POSITIONS
        places = S_FROM + (torch.arange(POSITIONS) + 0.5) * step
        self.register_buffer("places", places.reshape(1, 1, 1, POSITIONS), persistent=False)

    def forward(self, rings: Tensor) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        x = self.fine(F.relu(self.stem(rings)))
        if self.is_deep:
            y = self.coarse(F.relu(self.down(around(x))))
            y = F.relu(self.up(y))
            x = self.last(x + F.interpolate(y, scale_factor=2.0, mode="nearest"))
        share = torch.softmax(self.place(x).float(), 3)
        edges = (share * self.places).sum(3)
        weight = (share * self.trust(x).float()).sum(3)
        weight = weight.clamp(-LOG_WEIGHT_LIMIT, LOG_WEIGHT_LIMIT)
        seen = F.relu(self.summary(x.mean(2, keepdim=True)))
        answer = self.answer(F.relu(self.hidden(seen))).float().flatten(1)
        return edges, weight, answer[:, :2], answer[:, 2:]


def multiply_adds(config: NetConfig) -> float:
    """Millions of multiply-adds for one ring."""
    net, total = Reader(config), [0.0]

    def count(module: nn.Module, _: object, out: Tensor) -> None:
        if isinstance(module, nn.Conv2d):
            total[0] += module.weight.numel() * out.shape[2] * out.shape[3] / 1e6

    for module in net.modules():
        module.register_forward_hook(count)
    net(torch.zeros(1, 6, 32, SAMPLES))
    return total[0]
