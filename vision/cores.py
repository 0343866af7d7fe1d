"""Work on the cores that are free: aside, while something else is done, or in parts.

There are as many threads as cores, no more: the one that asks works too, and does itself what no
other has begun when it needs it. So nothing waits for a thread that waits.
"""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from typing import Generic, ParamSpec, TypeVar

import cv2

Given = ParamSpec("Given")
Part = TypeVar("Part")
Outcome = TypeVar("Outcome")


class _Shared:
    """What the threads of this process share."""

    granted: int | None = None
    helpers: ThreadPoolExecutor | None = None


def grant(cores: int) -> None:
    """Let this process use so many cores, in threads of its own.

    OpenCV then starts none: its threads wait for work by turning on the spot, which costs a photo
    that is measured by itself a twentieth of its time.
    """
    cv2.setNumThreads(1)
    if _Shared.helpers:
        _Shared.helpers.shutdown(wait=False)
    _Shared.granted, _Shared.helpers = max(1, cores), None


def free_cores() -> int:
    """Cores that this process may use: as many as were granted, or as OpenCV may use."""
    # some builds of OpenCV name hundreds of threads
    return _Shared.granted or max(1, min(cv2.getNumThreads(), os.cpu_count() or 1))


class Aside(Generic[Outcome]):
    """Work that is done on another core, if one is free before its outcome is needed."""

    def __init__(
        self, work: Callable[Given, Outcome], /, *args: Given.args, **kwargs: Given.kwargs
    ) -> None:
        self._work = partial(work, *args, **kwargs)
        helpers = _helpers()
        self._begun: Future[Outcome] | None = helpers.submit(self._work) if helpers else None

    def result(self) -> Outcome:
        """The outcome, or the error, of the work; asked for once."""
        if self._begun is None or self._begun.cancel():
            return self._work()
        return self._begun.result()


class Asides(Generic[Outcome]):
    """Parts of one piece of work, each done on another core if one is free in time.

    Other cores begin with the first part, the one that needs them with the last.
    """

    def __init__(self, work: Callable[[Part], Outcome], parts: Sequence[Part]) -> None:
        self._begun = [Aside(work, part) for part in parts]

    def result(self) -> list[Outcome]:
        """The outcome of every part, in their order; or the first error, once no part is worked on.

        Asked for once.
        """
        outcomes: list[Outcome] = []
        errors: list[Exception] = []
        for part in reversed(self._begun):
            try:
                outcomes.append(part.result())
            except Exception as error:  # the others work on the same things
                errors.append(error)
        if errors:
            raise errors[-1]
        return outcomes[::-1]


def each(work: Callable[[Part], Outcome], parts: Sequence[Part]) -> list[Outcome]:
    """The outcome of every part, in their order, worked on by all cores that are free."""
    if len(parts) == 1:  # to hand it over takes longer than a short piece of work
        return [work(parts[0])]
    return Asides(work, parts).result()


def _helpers() -> ThreadPoolExecutor | None:
    """Threads on all cores but the one that asks; kept, for starting them takes time."""
    cores = free_cores()
    if cores == 1:
        return None
    if _Shared.helpers is None:
        _Shared.helpers = ThreadPoolExecutor(cores - 1, thread_name_prefix="annulet")
    return _Shared.helpers


def _forget_helpers() -> None:
    _Shared.helpers = None


if hasattr(os, "register_at_fork"):  # threads do not survive a fork
    os.register_at_fork(after_in_child=_forget_helpers)
