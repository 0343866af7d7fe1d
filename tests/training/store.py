"""Rendered scenes on disk: written chunk by chunk, read back into one long buffer."""

import os
import queue
import threading
import time
from collections.abc import Iterator
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from tests.training.scenes import draw_scene
from tests.training.tracer import build, offsets_of, trace_cpu

CHUNK = 192
"""Scenes drawn, rendered and written together."""


def _draw(
    job: tuple[int, int, bool],
) -> tuple[NDArray[np.void], NDArray[np.float32], NDArray[np.void]]:
    seed, chunk, wires = job
    drawn = [draw_scene(seed, chunk * CHUNK + k, wires=wires) for k in range(CHUNK)]
    scenes, rooms, truths = (np.stack(part) for part in zip(*drawn, strict=True))
    order = np.argsort(-scenes["size"], kind="stable")  # like sizes launch together
    return scenes[order], rooms[order], truths[order]


def generate(
    folder: Path, *, seed: int, count: int, minutes: float, most_bytes: float, gpu: bool = True,
    beside: int = 1, wires: bool = False,
) -> int:  # fmt: skip
    """Render up to `count` scenes within `minutes`, one of `beside` such programs on the machine.

    Returns how many were written.
    """
    library = build(gpu=True) if gpu else None
    folder.mkdir(parents=True, exist_ok=True)
    started, made, size, traced = time.time(), 0, 0.0, 0.0
    chunks = (count + CHUNK - 1) // CHUNK
    writes: queue.Queue[tuple[str, NDArray[np.float16], NDArray[np.void]] | None] = queue.Queue(8)

    def write() -> None:
        while (item := writes.get()) is not None:
            name, pixels, truths = item
            pixels.tofile(folder / f"{name}.part")
            np.save(folder / f"{name}.npy", truths)
            (folder / f"{name}.part").rename(folder / f"{name}.f16")

    writer = threading.Thread(target=write)
    writer.start()
    workers = max(1, (os.cpu_count() or 2) // beside - 3)
    meter, stop = threading.Semaphore(workers + 6), threading.Event()

    def jobs() -> Iterator[tuple[int, int, bool]]:
        """Hand out chunks no faster than the renderer takes results back."""
        for k in range(chunks):
            while not meter.acquire(timeout=0.2):
                if stop.is_set():
                    return
            if stop.is_set():
                return
            yield seed, k, wires

    with get_context("spawn").Pool(workers) as pool:
        ahead = pool.imap(_draw, jobs())
        for chunk, (scenes, rooms, truths) in enumerate(ahead):
            meter.release()
            begun = time.time()
            pixels = _trace_gpu(library, scenes, rooms) if library else _trace_cpu(scenes, rooms)
            traced += time.time() - begun
            writes.put((f"s{seed:05d}-{chunk:05d}", pixels, truths))
            made += len(scenes)
            size += pixels.nbytes
            spent = time.time() - started
            if chunk % 20 == 0 or chunk == 2:
                print(
                    f"{made} scenes, {size / 1e9:.1f} GB, {spent:.0f} s, "
                    f"{made / spent:.0f} scenes/s "
                    f"(tracing alone {made / traced:.0f}/s)", flush=True,
                )  # fmt: skip
            if spent > 60 * minutes or size > most_bytes:
                break
        stop.set()
    writes.put(None)
    writer.join()
    spent = time.time() - started
    print(f"wrote {made} scenes, {size / 1e9:.2f} GB in {spent:.0f} s: {made / spent:.0f} scenes/s")
    return made


def _trace_cpu(scenes: NDArray[np.void], rooms: NDArray[np.float32]) -> NDArray[np.float16]:
    crops = trace_cpu(scenes, rooms)
    return np.concatenate([c.reshape(-1, 3) for c in crops]).astype(np.float16)


def _trace_gpu(library, scenes, rooms):  # type: ignore[no-untyped-def]
    """Render scenes, sorted by falling size, in launches of like size."""
    starts, total = offsets_of(scenes)
    device = torch.device("cuda")
    records = torch.from_numpy(scenes.view(np.uint8).reshape(len(scenes), -1).copy()).to(device)
    maps = torch.from_numpy(np.ascontiguousarray(rooms, np.float32)).to(device)
    places = torch.from_numpy(starts).to(device)
    out = torch.empty(total, 3, dtype=torch.float16, device=device)
    stream = torch.cuda.current_stream().cuda_stream
    for first in range(0, len(scenes), 48):
        last = min(first + 48, len(scenes))
        error = library.trace_scenes(
            records[first:].data_ptr(), maps[first:].data_ptr(), places[first:].data_ptr(),
            out.data_ptr(), last - first, int(scenes["size"][first]), stream,
        )  # fmt: skip
        if error:
            raise RuntimeError(f"CUDA error {error} while tracing")
    return out.cpu().numpy()


class Scenes:
    """All scenes of a folder on one device: crops in one buffer, truth as tensors."""

    def __init__(self, folder: Path, device: torch.device, *, most: int | None = None) -> None:
        names = sorted(p.stem for p in folder.glob("*.f16"))
        if not names:
            raise FileNotFoundError(f"no rendered scenes in {folder}")
        truths, sizes = [], []
        for name in names:
            truths.append(np.load(folder / f"{name}.npy"))
            sizes.append((folder / f"{name}.f16").stat().st_size // 6)
            if most and sum(map(len, truths)) >= most:
                break
        self.pixels = torch.empty(sum(sizes), 3, dtype=torch.float16, device=device)
        at = 0
        for name, size in zip(names, sizes, strict=False):
            part = np.fromfile(folder / f"{name}.f16", np.float16).reshape(-1, 3)
            self.pixels[at : at + size] = torch.from_numpy(part).to(device)
            at += size
        self._take(np.concatenate(truths), device)

    @classmethod
    def of_crops(
        cls, crops: list[NDArray[np.float32]], truths: NDArray[np.void], device: torch.device
    ) -> "Scenes":
        """From crops in memory."""
        self = cls.__new__(cls)
        flat = np.concatenate([c.reshape(-1, 3) for c in crops])
        self.pixels = torch.from_numpy(flat).half().to(device)
        self._take(truths, device)
        return self

    def _take(self, truth: NDArray[np.void], device: torch.device) -> None:
        self.truth = truth
        size = torch.from_numpy(truth["size"].astype(np.int64))
        self.start = (torch.cumsum(size**2, 0) - size**2).to(device)
        self.size = size.to(device)
        self.matrix = torch.from_numpy(truth["matrix"].copy()).to(device)
        self.camera = torch.from_numpy(truth["camera"].copy()).to(device)
        self.torus = torch.from_numpy(truth["torus"].copy()).to(device)
        self.outline = torch.from_numpy(truth["outline"].copy()).to(device)
        self.gap = torch.from_numpy(truth["gap"].copy()).to(device)
        self.span = torch.from_numpy(truth["span"].copy()).to(device)
        self.kind = torch.from_numpy(truth["kind"].astype(np.int64)).to(device)
        self.surface = torch.from_numpy(truth["surface"].astype(np.int64)).to(device)
        self.wire_px = torch.from_numpy(truth["wire_px"].copy()).to(device)
        self.level = torch.cat([self._levels(part) for part in torch.arange(len(size)).split(512)])

    def __len__(self) -> int:
        return len(self.truth)

    def _levels(self, rows: Tensor) -> Tensor:
        """Radiance of the surroundings: median luma on a circle near the crop's border."""
        rows = rows.to(self.start.device)
        angle = torch.arange(256, device=rows.device) * (2 * torch.pi / 256)
        size = self.size[rows][:, None].float()
        x = ((size - 1) / 2 + 0.475 * size * torch.cos(angle)).long()
        y = ((size - 1) / 2 + 0.475 * size * torch.sin(angle)).long()
        values = self.pixels[self.start[rows][:, None] + y * self.size[rows][:, None] + x].float()
        luma = values @ torch.tensor([0.25, 0.6, 0.15], device=rows.device)
        return luma.median(1).values

    def crops(self, rows: Tensor, frame: int, offset: Tensor) -> Tensor:
        """Crops (n, 3, frame, frame) of scenes `rows`, placed at pixel `offset` (n, 2)."""
        grid = torch.arange(frame, device=rows.device)
        size = self.size[rows][:, None]
        x = torch.minimum((grid - offset[:, :1]).clamp_min(0), size - 1)
        y = torch.minimum((grid - offset[:, 1:]).clamp_min(0), size - 1)
        index = self.start[rows][:, None, None] + y[:, :, None] * size[:, :, None] + x[:, None, :]
        return self.pixels[index].permute(0, 3, 1, 2).float()

    def moved(self, rows: Tensor, offset: Tensor) -> tuple[Tensor, Tensor]:
        """Matrices (n, 3, 4) and outlines (n, 2, v, 2) after placing the crops at `offset`."""
        m = self.matrix[rows].clone()
        m[:, :2] += offset[:, :, None] * m[:, 2:]
        return m, self.outline[rows] + offset[:, None, None, :]
