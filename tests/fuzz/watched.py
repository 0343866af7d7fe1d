"""A target in a process of its own, watched: its answer, its time, its memory, its death."""

import multiprocessing
import os
import resource
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType
from typing import Self

MOST_S = 10.0
MOST_BYTES = 1_500_000_000
FAULT = "FAULT"
"""How an answer starts that must not be."""

Target = Callable[[Path], str]


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of one file."""

    said: str
    seconds: float

    @property
    def is_fault(self) -> bool:
        """Whether this must not happen."""
        return self.said.startswith(FAULT)


class Watched:
    """Runs a target on one file after another; starts again what died or hung."""

    def __init__(self, target: Target, *, most_s: float = MOST_S) -> None:
        self._target = target
        self._most_s = most_s
        self._context = multiprocessing.get_context("spawn")
        self._start()

    def _start(self) -> None:
        self._ours, theirs = self._context.Pipe()
        self._process = self._context.Process(
            target=_serve, args=(self._target, theirs), daemon=True
        )
        self._process.start()
        theirs.close()
        self._ours.recv()  # its imports are done

    def run(self, name: str, data: bytes) -> Answer:
        """Hand over a file, and wait for what becomes of it."""
        began = time.monotonic()
        self._ours.send((name, data))
        try:
            if self._ours.poll(self._most_s):
                said = self._ours.recv()
            else:
                said = f"{FAULT} no answer within {self._most_s:.0f} s"
        except EOFError:
            self._process.join()
            said = f"{FAULT} the process died with {self._process.exitcode}"
        answer = Answer(said, time.monotonic() - began)
        if answer.is_fault:
            self.close()
            self._start()
        return answer

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.join()
        self._ours.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()


def _serve(target: Target, pipe: Connection) -> None:
    """Answer files until the other side goes away; a warning would be shown to a user."""
    warnings.simplefilter("error")
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # what C libraries complain about
    with tempfile.TemporaryDirectory() as folder:
        pipe.send("ready")
        while True:
            try:
                name, data = pipe.recv()
            except EOFError:
                return
            path = Path(folder) / name
            path.write_bytes(data)
            try:
                said = target(path)
            except BaseException:
                said = f"{FAULT} {traceback.format_exc()}"
            path.unlink(missing_ok=True)
            used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
            if used > MOST_BYTES:
                said = f"{FAULT} {used / 1e9:.2f} GB of memory; {said}"
            pipe.send(said)
