"""The processes that photos are measured in: how many, and how they end."""

import os
import signal
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import active_children, get_context, parent_process
from threading import Thread

WORKER_BYTES = 1_500_000_000
"""Memory of the machine that goes with each worker: a photo under way takes up to a gigabyte."""
MOST_UNKNOWN = 4
"""Workers where the machine does not say how much memory it has."""


@contextmanager
def workers(jobs: int) -> Iterator[Executor | None]:
    """Start processes to measure `jobs` photos at a time; None for one, which needs none.

    Left early, the processes end at once: a photo under way may take half a minute.
    """
    from vision.cores import grant

    if jobs == 1:
        grant(_cores())
        yield None
        return
    # Started afresh, not forked: OpenCV's threads do not survive a fork.
    with ProcessPoolExecutor(
        jobs,
        mp_context=get_context("spawn"),
        initializer=_start_worker,
        initargs=(max(1, _cores() // jobs),),
    ) as pool:
        try:
            yield pool
        except BaseException:
            for worker in active_children():
                worker.terminate()
            pool.shutdown(wait=True, cancel_futures=True)
            raise


def worker_count(photos: int) -> int:
    """How many photos to measure at a time on this machine."""
    return max(1, min(photos, _cores(), _workers_in_memory()))


def _cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _workers_in_memory() -> int:
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // WORKER_BYTES
    except (AttributeError, OSError, ValueError):  # no POSIX
        return MOST_UNKNOWN


def _start_worker(threads: int) -> None:
    """Leave Ctrl-C to the parent and other cores to the other workers; do not outlive the parent.

    Parameters
    ----------
    threads : how many this worker may use
    """
    from vision.cores import grant

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    grant(threads)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End when the parent was killed: a worker would wait forever for its next photo."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
