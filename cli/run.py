"""Many photos through the pipeline, on all cores; one that fails does not stop the others."""

import os
import signal
from collections.abc import Generator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import active_children, get_context
from pathlib import Path

from vision.errors import VisionError
from vision.pipeline import measure_photo
from vision.results import Result
from vision.rings.section import Profile
from vision.scale.reference import Reference

MOST_WORKERS = 8
"""Each photo under way takes up to a gigabyte; more workers than this fill a laptop's memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A photo that could not be measured, and why."""

    photo: Path
    error: Exception
    """A `VisionError`, or whatever a bug raised."""

    @property
    def is_bug(self) -> bool:
        """Whether the program is at fault, not the photo."""
        return not isinstance(self.error, VisionError)

    @property
    def problem(self) -> str:
        """What went wrong, in a sentence."""
        if self.is_bug:
            return f"annulet has a bug: {type(self.error).__name__}: {self.error}"
        return str(self.error)

    @property
    def hint(self) -> str:
        """What may help."""
        return self.error.hint if isinstance(self.error, VisionError) else ""


def run_photos(
    photos: Sequence[Path],
    reference: Reference,
    workers: int,
    profile: Profile = Profile.ROUND,
) -> Generator[tuple[Path, Result | Failure], None, None]:
    """Measure photo after photo, in the order given, `workers` at a time.

    One worker measures in this process; more run in processes of their own.
    """
    if workers == 1:
        for photo in photos:
            yield photo, measure_or_fail(photo, reference, profile)
        return
    # Started afresh, not forked: OpenCV's threads do not survive a fork.
    with ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_start_worker
    ) as pool:
        tasks = [
            (photo, pool.submit(measure_or_fail, photo, reference, profile)) for photo in photos
        ]
        try:
            for photo, task in tasks:
                try:
                    yield photo, task.result()
                except Exception as error:  # a worker that died, say for want of memory
                    yield photo, Failure(photo=photo, error=error)
        except BaseException:
            # Interrupted, or nobody wants the rest: a photo under way may take half a minute.
            for worker in active_children():
                worker.terminate()
            pool.shutdown(wait=True, cancel_futures=True)
            raise


def measure_or_fail(
    photo: Path, reference: Reference, profile: Profile = Profile.ROUND
) -> Result | Failure:
    """Measure one photo; whatever it raises comes back as a value."""
    try:
        return measure_photo(photo, reference, profile)
    except Exception as error:
        return Failure(photo=photo, error=error)


def worker_count(photos: int) -> int:
    """How many photos to measure at a time on this machine."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return max(1, min(photos, cores or 1, MOST_WORKERS))


def _start_worker() -> None:
    """Leave Ctrl-C to the parent, and the cores to the other workers."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)
