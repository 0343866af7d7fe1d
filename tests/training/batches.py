"""Training batches: scenes photographed anew, starts disturbed anew, labels to match."""

from dataclasses import dataclass

import torch
from torch import Tensor

from tests.training.photo import Dice, Settings, draw_settings, take_photos, to_linear
from tests.training.scenes import KINDS
from tests.training.starts import (
    START_ERRORS_PX,
    Target,
    disturb_camera,
    draw_starts,
    make_target,
    start_outlines,
)  # fmt: skip
from tests.training.store import Scenes
from tests.training.unwrapping import Grid, unwrap

FRAMES = (192, 304, 544)
"""Sizes of padded pictures; a crop goes into the smallest that leaves 16 px to place it."""

MIXED_CHANNELS, MIRRORED, GAIN_SPREAD = 0.35, 0.5, 0.05
"""Shares of samples with channels in random order and with the sense of rotation reversed;
spread of extra channel gains."""

GAP_MARGIN = 0.2
"""Part of the wire radius next to the gap that is left out of the labels."""


@dataclass(slots=True, kw_only=True)
class Photos:
    """Photographed scenes of one frame size."""

    rows: Tensor
    light: Tensor
    """(p, 3, f, f) linear light, blue first as the product reads it."""
    matrix: Tensor
    outline: Tensor
    settings: Settings


def frame_of(size: Tensor) -> Tensor:
    """Index into FRAMES of each crop size."""
    limits = torch.tensor([f - 16 for f in FRAMES], device=size.device)
    return torch.searchsorted(limits, size)


def photograph(scenes: Scenes, rows: Tensor, frame: int, dice: Dice, *, harder: bool) -> Photos:
    """Place, expose and develop scenes `rows` in frames of `frame` px."""
    room = (frame - scenes.size[rows]).float()
    offset = torch.floor(dice.uniform(len(rows), 0, 1, 2) * (room[:, None].clamp_max(16) + 0.999))
    offset = offset.long()
    settings = draw_settings(dice, scenes.level[rows], harder=harder)
    coded = take_photos(scenes.crops(rows, frame, offset), settings, dice)
    matrix, outline = scenes.moved(rows, offset)
    light = to_linear(coded).flip(1).contiguous()
    return Photos(rows=rows, light=light, matrix=matrix, outline=outline, settings=settings)


def is_wire(scenes: Scenes, rows: Tensor) -> Tensor:
    """Whether there is a ring or a piece of wire to read."""
    kind = scenes.kind[rows]
    return (kind == KINDS.index("ring")) | (kind == KINDS.index("wire"))


def label_margin(scenes: Scenes, rows: Tensor) -> Tensor:
    """Angle beside the gap that is left out, radians."""
    return (GAP_MARGIN * scenes.torus[rows, 3] / scenes.torus[rows, 2]).float()


def make_batch(
    scenes: Scenes, pools: list[Tensor], photos: int, dice: Dice, grid: Grid
) -> tuple[Tensor, Target]:
    """Draw about `photos` photos with all their starts: planes (n, 9, ...) and targets."""
    total = sum(len(p) for p in pools)
    parts: list[tuple[Tensor, Target]] = []
    for frame, pool in zip(FRAMES, pools, strict=True):
        count = round(photos * len(pool) / total)
        if count == 0:
            continue
        rows = pool[dice.integers(count, len(pool))]
        taken = photograph(scenes, rows, frame, dice, harder=False)
        parts.append(_samples(scenes, taken, dice, grid))
    planes = torch.cat([p for p, _ in parts])
    target = Target(**{
        name: torch.cat([getattr(t, name) for _, t in parts]) for name in Target.__slots__
    })  # fmt: skip
    return augment(planes, target, dice)


def _samples(scenes: Scenes, photos: Photos, dice: Dice, grid: Grid) -> tuple[Tensor, Target]:
    k = len(START_ERRORS_PX)
    rows = photos.rows.repeat_interleave(k)
    matrix, outline = photos.matrix.repeat_interleave(k, 0), photos.outline.repeat_interleave(k, 0)
    sigma = torch.tensor(START_ERRORS_PX, device=rows.device).repeat(len(photos.rows))
    tori = scenes.torus[rows].float()
    scale = scenes.wire_px[rows] / (2 * tori[:, 3])
    span = scenes.span[rows]
    starts = draw_starts(tori, scale, sigma, span, dice)
    matrix, camera = disturb_camera(matrix.float(), scenes.camera[rows].float(), dice)
    inner, outer = start_outlines(matrix, camera, starts, span, grid)
    target = make_target(
        inner, outer, outline, span, scenes.gap[rows], label_margin(scenes, rows),
        is_wire(scenes, rows), grid,
    )  # fmt: skip
    return unwrap(photos.light, inner, outer, grid), target


def augment(planes: Tensor, target: Target, dice: Dice) -> tuple[Tensor, Target]:
    """Mirror the angle, mix and weigh the channels: no metal is tied to a colour."""
    n = len(planes)
    mirrored = dice.chance(n, MIRRORED)
    planes = torch.where(mirrored[:, None, None, None], planes.flip(2), planes)
    target.edges = torch.where(mirrored[:, None, None], target.edges.flip(2), target.edges)
    target.weight = torch.where(mirrored[:, None, None], target.weight.flip(2), target.weight)
    order = dice.uniform(n, 0, 1, 3).argsort(1)
    plain = torch.arange(3, device=planes.device).expand(n, 3)
    order = torch.where(dice.chance(n, MIXED_CHANNELS)[:, None], order, plain)
    index = order[:, :, None, None].expand(-1, -1, *planes.shape[2:])
    gain = torch.exp(GAIN_SPREAD * dice.normal(n, 3))[:, :, None, None]
    near, far = (light.gather(1, index) * gain for light in (planes[:, :3], planes[:, 6:]))
    return torch.cat([near, planes[:, 3:6], far], 1), target


class Pool:
    """A store of samples that is renewed piece by piece.

    Taking a photo costs more than learning from it, so each sample is read a few times before a
    new one takes its place.
    """

    def __init__(self, planes: Tensor, target: Target, size: int) -> None:
        n, device = len(planes), planes.device
        self.size, self.filled, self.next = size // n * n, 0, 0
        shape = (self.size, 7, *planes.shape[2:])
        self.light = torch.empty(shape, dtype=torch.float16, device=device)
        self.width = torch.empty(self.size, device=device)
        self.place = planes[:1, 4:5].clone()
        self.target = {
            name: torch.empty((self.size, *getattr(target, name).shape[1:]), device=device)
            for name in Target.__slots__
        }

    def put(self, planes: Tensor, target: Target) -> None:
        """Let new samples take the place of the oldest; always as many as at the first time."""
        here = slice(self.next, self.next + len(planes))
        self.light[here] = torch.cat([planes[:, :4], planes[:, 6:]], 1).half()
        self.width[here] = planes[:, 5, 0, 0]
        for name, held in self.target.items():
            held[here] = getattr(target, name)
        self.next = here.stop % self.size
        self.filled = max(self.filled, here.stop)

    def draw(self, count: int, dice: Dice) -> tuple[Tensor, Target]:
        rows = dice.integers(count, self.filled)
        light = self.light[rows].float()
        place = self.place.expand(count, 1, *light.shape[2:])
        width = self.width[rows, None, None, None].expand_as(place)
        target = Target(**{name: held[rows] for name, held in self.target.items()})
        return torch.cat([light[:, :4], place, width, light[:, 4:]], 1), target
