"""Build and call the path tracer: nvcc for a GPU, g++ for the CPU, one source."""

import ctypes
import hashlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.training.layout import SCENE_T, header

SOURCE = Path(__file__).with_name("tracer.cu")


def build(*, gpu: bool) -> ctypes.CDLL:
    """Compile the tracer once per content and load it; RuntimeError when no compiler is there."""
    compiler = shutil.which("nvcc" if gpu else "g++")
    if compiler is None:
        raise RuntimeError(f"the tracer needs {'nvcc' if gpu else 'g++'} on the PATH")
    text = SOURCE.read_text() + header()
    key = hashlib.sha256(f"{text}{gpu}".encode()).hexdigest()[:16]
    folder = Path(tempfile.gettempdir()) / f"ring-tracer-{key}"
    library = folder / "tracer.so"
    if not library.exists():
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "scene_layout.h").write_text(header())
        shutil.copy(SOURCE, folder / "tracer.cu")
        if gpu:
            flags = ["-O3", "-use_fast_math", "-arch=sm_90", "-shared", "-Xcompiler", "-fPIC"]
        else:
            flags = ["-O3", "-march=native", "-ffast-math", "-fopenmp", "-shared", "-fPIC"]
            flags += ["-x", "c++"]
        part = folder / f"part-{os.getpid()}.so"
        subprocess.run(
            [compiler, *flags, "-I", str(folder), "-o", str(part), str(folder / "tracer.cu")],
            check=True,
        )
        part.rename(library)
    loaded = ctypes.CDLL(str(library))
    loaded.trace_scenes.argtypes = [ctypes.c_void_p] * 4 + [ctypes.c_int] * 2 + [ctypes.c_void_p]
    size = loaded.scene_bytes()
    if size != SCENE_T.itemsize:
        raise RuntimeError(f"scene record is {SCENE_T.itemsize} bytes here, {size} in the tracer")
    return loaded


def offsets_of(scenes: NDArray[np.void]) -> tuple[NDArray[np.int64], int]:
    """First pixel of each scene's crop in one long buffer, and the buffer's length in pixels."""
    pixels = scenes["size"].astype(np.int64) ** 2
    ends = np.cumsum(pixels)
    return ends - pixels, int(ends[-1])


def trace_cpu(scenes: NDArray[np.void], rooms: NDArray[np.float32]) -> list[NDArray[np.float32]]:
    """Render scenes (n,) with rooms (n, ROOM_H, ROOM_W, 3): a crop (size, size, 3) each."""
    library = build(gpu=False)
    scenes, rooms = np.ascontiguousarray(scenes), np.ascontiguousarray(rooms, np.float32)
    starts, total = offsets_of(scenes)
    out = np.empty((total, 3), np.float32)
    library.trace_scenes(
        scenes.ctypes.data, rooms.ctypes.data, starts.ctypes.data, out.ctypes.data,
        len(scenes), int(scenes["size"].max()), None,
    )  # fmt: skip
    sizes = scenes["size"]
    return [out[a : a + n * n].reshape(n, n, 3) for a, n in zip(starts, sizes, strict=True)]
