"""The training loop: by the clock, several network sizes on the same batches if wanted."""

import math
import os
import time
from pathlib import Path

import torch
from torch import Tensor

from tests.training.batches import FRAMES, Pool, frame_of, make_batch
from tests.training.export import read_weights
from tests.training.losses import losses
from tests.training.network import CONFIGS, Reader
from tests.training.photo import Dice
from tests.training.starts import Target
from tests.training.store import Scenes

PEAK_RATE, WEIGHT_DECAY, WARM_UP = 2.5e-3, 1e-4, 0.02
AVERAGE_DECAY = 0.9985
CLIP_NORM = 2.0
CHECKPOINT_S, LOG_EVERY = 60.0, 50
BATCH, REUSE = 1024, 6.0
"""Samples a step, and how often a sample is learnt from before it is replaced."""
STEPS_BEFORE_RECORDING = 3
POOL = 200_000
"""Samples held."""
FILL = 0.15
"""Part of the pool that is filled before the first step."""

NAMES = tuple(Target.__slots__)


class Course:
    """One network with its optimiser and its running average.

    A step is hundreds of small sums: on a GPU it is recorded once and replayed, which takes a
    fraction of the time of asking for them one by one. So all batches are of one size.
    """

    def __init__(self, name: str, device: torch.device) -> None:
        self.name = name
        self.net = Reader(CONFIGS[name]).to(device)
        self.average = {k: v.detach().clone() for k, v in self.net.state_dict().items()}
        self.rate = torch.tensor(PEAK_RATE, device=device)
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), lr=self.rate, weight_decay=WEIGHT_DECAY, betas=(0.9, 0.98),
            fused=True, capturable=device.type == "cuda",
        )  # fmt: skip
        self.sums = torch.zeros(8, device=device)
        self.given: tuple[Tensor, Target] | None = None
        self.recorded: torch.cuda.CUDAGraph | None = None

    def step(self, planes: Tensor, target: Target, rate: float) -> None:
        self.rate.fill_(rate)
        if not planes.is_cuda:
            self._learn(planes, target)
            return
        if self.recorded is None:
            self._record(planes, target)
        self._take(planes, target)
        assert self.recorded is not None
        self.recorded.replay()

    def _record(self, planes: Tensor, target: Target) -> None:
        self.given = planes.clone(), Target(**{k: getattr(target, k).clone() for k in NAMES})
        aside = torch.cuda.Stream()
        aside.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(aside):
            for _ in range(STEPS_BEFORE_RECORDING):
                self._learn(*self.given)
        torch.cuda.current_stream().wait_stream(aside)
        self.recorded = torch.cuda.CUDAGraph()
        with torch.cuda.graph(self.recorded):
            self._learn(*self.given)

    def _take(self, planes: Tensor, target: Target) -> None:
        """Put a batch where the recorded step reads it."""
        assert self.given is not None
        self.given[0].copy_(planes)
        for name in NAMES:
            getattr(self.given[1], name).copy_(getattr(target, name))

    def _learn(self, planes: Tensor, target: Target) -> None:
        # the batch's shape is fixed, so searching the fastest convolution pays; the camera's is not
        with torch.backends.cudnn.flags(enabled=True, benchmark=planes.is_cuda):
            with torch.autocast(
                planes.device.type, torch.bfloat16, enabled=planes.is_cuda, cache_enabled=False
            ):
                outputs = self.net(planes)
            found = losses(outputs, target)
            self.optimiser.zero_grad(set_to_none=True)
            found.total.backward()
        self._tame_gradients()
        self.optimiser.step()
        with torch.no_grad():
            now = self.net.state_dict()
            held = list(self.average.values())
            torch._foreach_lerp_(held, [now[k] for k in self.average], 1 - AVERAGE_DECAY)
        self.sums += torch.stack([
            found.total, found.edge, found.fit, found.scale, found.presence,
            found.wire_error, found.id_error, found.presence_wrong,
        ]).detach().nan_to_num(0.0, 0.0, 0.0)  # fmt: skip

    def _tame_gradients(self) -> None:
        """Shorten steep gradients; a batch that is not finite (one spoilt scene) moves nothing."""
        slopes = [p.grad for p in self.net.parameters() if p.grad is not None]
        norm = torch.stack([slope.float().norm() for slope in slopes]).norm()
        share = torch.where(norm.isfinite(), (CLIP_NORM / (norm + 1e-6)).clamp(max=1.0), 0.0)
        for slope in slopes:
            slope.nan_to_num_(0.0, 0.0, 0.0).mul_(share)


def rate_at(progress: float) -> float:
    """Learning rate at a share of the time: short warm-up, then a cosine to zero."""
    if progress < WARM_UP:
        return PEAK_RATE * progress / WARM_UP + 1e-5
    rest = min(1.0, (progress - WARM_UP) / (1 - WARM_UP))
    return PEAK_RATE * 0.5 * (1 + math.cos(math.pi * rest)) + 1e-7


def train(
    scenes: Scenes, names: list[str], *, minutes: float, photos: int, seed: int,
    folders: list[Path], resume: Path | None = None, rate: float = 1.0,
    most_steps: int | None = None, pool_size: int = POOL,
) -> Path:  # fmt: skip
    """Train networks `names` for `minutes`; writes `reader.pt` into every folder, returns one."""
    device = scenes.pixels.device
    if device.type == "cuda":
        torch.backends.cudnn.allow_tf32 = False  # the camera's filters want all their digits
    torch.manual_seed(seed)
    dice = Dice(seed, device)
    courses = [Course(name, device) for name in names]
    (grid,) = {CONFIGS[name].grid for name in names}
    if resume is not None:
        for course in courses:
            course.net.load_state_dict(_held(resume, course.name))
            course.average = {k: v.clone() for k, v in course.net.state_dict().items()}
    frames = frame_of(scenes.size)
    pools = [(frames == k).nonzero()[:, 0] for k in range(len(FRAMES))]
    print(f"{len(scenes)} scenes, by frame {[len(p) for p in pools]}", flush=True)
    started = saved = time.time()
    steps, rounds, logged, made = 0, 0, 0, 0.0
    pool: Pool | None = None
    while True:
        progress = (time.time() - started) / (60 * minutes)
        if most_steps:
            progress = steps / most_steps
        if progress >= 1:
            break
        begun = time.time()
        with torch.no_grad():
            planes, target = make_batch(scenes, pools, photos, dice, grid)
            pool = pool or Pool(planes, target, max(pool_size, len(planes)))
            pool.put(planes, target)
        if rounds % LOG_EVERY == 0 and device.type == "cuda":
            torch.cuda.synchronize()
            made = time.time() - begun
        rounds += 1
        if pool.filled < FILL * pool.size:
            started = time.time()
            continue
        for _ in range(math.ceil(REUSE * len(planes) / BATCH)):
            with torch.no_grad():
                batch = pool.draw(BATCH, dice)
            for course in courses:
                course.step(*batch, rate * rate_at(progress))
            steps += 1
        if rounds % LOG_EVERY == 0:
            _log(courses, steps, time.time() - started, made, steps - logged)
            logged = steps
        if time.time() - saved > CHECKPOINT_S:
            _save(courses, steps, folders)
            saved = time.time()
    _save(courses, steps, folders)
    print(f"trained {steps} steps of {BATCH} in {time.time() - started:.0f} s")
    return folders[0] / "reader.pt"


def _held(path: Path, name: str) -> dict[str, torch.Tensor]:
    """Weights of a checkpoint, or of a file as the product ships it."""
    if path.suffix == ".npz":
        return read_weights(path, name)
    held: dict[str, torch.Tensor] = torch.load(path, map_location="cpu", weights_only=False)[
        "nets"
    ][name]["average"]
    return held


def _log(courses: list[Course], steps: int, spent: float, made: float, over: int) -> None:
    for course in courses:
        total, edge, fit, scale, presence, wire, inner, wrong = (
            course.sums / max(over, 1)
        ).tolist()
        course.sums.zero_()
        print(
            f"{spent:5.0f} s step {steps:6d} {BATCH * steps / spent:6.0f} samples/s "
            f"batch {made * 1e3:.0f} ms "
            f"{course.name}: loss {total:.3f} edge {edge:.3f} fit {fit:.3f} scale {scale:.2f} "
            f"presence {presence:.3f} | median wire {wire:.4f} id {inner:.4f} widths, "
            f"presence wrong {100 * wrong:.1f} %", flush=True,
        )  # fmt: skip


def _save(courses: list[Course], steps: int, folders: list[Path]) -> None:
    held = {
        "steps": steps,
        "nets": {c.name: {"average": {k: v.cpu() for k, v in c.average.items()}} for c in courses},
    }
    for folder in folders:
        folder.mkdir(parents=True, exist_ok=True)
        torch.save(held, folder / "part.pt")
        os.replace(folder / "part.pt", folder / "reader.pt")
