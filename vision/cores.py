"""Work on the cores that are free: aside, while something else is done, or in parts.

There are as many threads as cores, no more: the one that asks works too, and does itself what no
other has begun when it needs it. So nothing waits for a thread that waits.
"""

import os
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from typing import Any, ClassVar, Generic, ParamSpec, TypeVar

import cv2

Given = ParamSpec("Given")
Part = TypeVar("Part")
Outcome = TypeVar("Outcome")


class _Shared:
    """What the threads of this process share."""

    granted: int | None = None
    helpers: ThreadPoolExecutor | None = None
    waiting: tuple[deque["Aside[Any]"], ...] = (deque(), deque())
    """Work that no one has begun, the first row before the second."""


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

    _row: ClassVar[int] = 0

    def __init__(
        self, work: Callable[Given, Outcome], /, *args: Given.args, **kwargs: Given.kwargs
    ) -> None:
        self._work = partial(work, *args, **kwargs)
        self._begun: Future[Outcome] | None = None
        if helpers := _helpers():
            self._begun = Future()
            _Shared.waiting[self._row].append(self)
            helpers.submit(_do_the_next)

    def result(self) -> Outcome:
        """The outcome, or the error, of the work; asked for once."""
        if self._begun is None or self._begun.cancel():
            return self._work()
        return self._begun.result()

    def _do(self) -> bool:
        """Do it, unless the one that needs it does."""
        assert self._begun is not None
        if not self._begun.set_running_or_notify_cancel():
            return False
        try:
            self._begun.set_result(self._work())
        except BaseException as error:
            self._begun.set_exception(error)
        return True


class Meanwhile(Aside[Outcome]):
    """The same for what is needed late: other cores begin with it when nothing else is to be done.

    Between two steps that follow one another there is always a moment when that is so.
    """

    _row = 1


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


def _do_the_next() -> None:
    """Do one piece of work that waits, if any does still."""
    for row in _Shared.waiting:
        while row:
            try:
                work = row.popleft()
            except IndexError:  # another core took the last one
                break
            if work._do():
                return


def _forget_helpers() -> None:
    _Shared.helpers, _Shared.waiting = None, (deque(), deque())


if hasattr(os, "register_at_fork"):  # threads do not survive a fork
    os.register_at_fork(after_in_child=_forget_helpers)
