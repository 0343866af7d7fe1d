"""Work in parts on the cores that are free: as many threads as OpenCV may use.

One setting for both: a process that measures one photo beside others gives OpenCV one thread, and
then nothing here starts another.
"""

import os
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from typing import ParamSpec, TypeVar

import cv2

Given = ParamSpec("Given")
Outcome = TypeVar("Outcome")


def free_cores(most: int | None = None) -> Executor:
    """Threads on the cores that are free, at most so many; none if there is but one core."""
    # some builds of OpenCV name hundreds of threads
    threads = min(cv2.getNumThreads(), os.cpu_count() or 1)
    return ThreadPoolExecutor(min(threads, most or threads)) if threads > 1 else _Here()


class _Here(Executor):
    """Does at once what it is given: threads that share a core only get in each other's way."""

    def submit(
        self, work: Callable[Given, Outcome], /, *args: Given.args, **kwargs: Given.kwargs
    ) -> Future[Outcome]:
        done: Future[Outcome] = Future()
        try:
            done.set_result(work(*args, **kwargs))
        except Exception as error:
            done.set_exception(error)
        return done
