"""Many photos, each for itself, on whatever executor there is."""

from collections.abc import Callable, Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any, TypeVar, overload

from vision.errors import PhotoError, VisionError
from vision.photo.decode import Photo, read_photo
from vision.pipeline import measure
from vision.results import Result
from vision.rings.section import Profile
from vision.scale.reference import Reference

Answer = TypeVar("Answer")

MOST_AHEAD = 64
"""Photos handed to an executor before the first of them came back: work for as many workers, while
what they send back never piles up."""


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


@overload
def measure_photos(
    paths: Iterable[Path],
    reference: Reference | None = None,
    profile: Profile = Profile.ROUND,
    *,
    executor: Executor | None = None,
) -> Generator[tuple[Path, Result | Failure], None, None]: ...


@overload
def measure_photos(
    paths: Iterable[Path],
    reference: Reference | None = None,
    profile: Profile = Profile.ROUND,
    *,
    executor: Executor | None = None,
    then: Callable[[Photo, Result], Answer],
) -> Generator[tuple[Path, Answer | Failure], None, None]: ...


def measure_photos(
    paths: Iterable[Path],
    reference: Reference | None = None,
    profile: Profile = Profile.ROUND,
    *,
    executor: Executor | None = None,
    then: Callable[[Photo, Result], Any] | None = None,
) -> Generator[tuple[Path, Any], None, None]:
    """Measure many photos; one that fails does not stop the others.

    Parameters
    ----------
    paths : the photos, as for `vision.measure_photo`
    reference, profile : hold for all of them
    executor : any `concurrent.futures.Executor`: threads, processes (started by "spawn": OpenCV's
        threads do not survive a fork), or another library's, such as `Client.get_executor()` of
        Dask; left out, the photos are measured here, one after another
    then : called where a photo was measured, while its picture is at hand; what it returns is
        yielded in place of the result. For other processes it must be picklable.

    Yields
    ------
    Each path with its result or `Failure`, as they come: with an executor in any order. The
    results do not depend on executor or order.
    """
    reference = reference or Reference()
    if executor is None:
        for path in paths:
            yield path, _measured_or_failed(path, reference, profile, then)
        return
    waiting = iter(paths)
    under_way: dict[Future[Any], Path] = {}
    try:
        while True:
            for path in islice(waiting, MOST_AHEAD - len(under_way)):
                try:
                    task = executor.submit(_measured_or_failed, path, reference, profile, then)
                except BrokenExecutor as error:
                    yield path, _lost(path, error)
                    continue
                under_way[task] = path
            if not under_way:
                return
            for task in wait(under_way, return_when=FIRST_COMPLETED).done:
                path = under_way.pop(task)
                try:
                    outcome = task.result()
                except Exception as error:
                    outcome = _lost(path, error)
                yield path, outcome
    finally:
        for task in under_way:
            task.cancel()


def _measured_or_failed(
    path: Path,
    reference: Reference,
    profile: Profile,
    then: Callable[[Photo, Result], Any] | None,
) -> Any:
    """Measure one photo; whatever it raises comes back as a value."""
    try:
        photo = read_photo(path)
        result = measure(photo, reference, profile)
        return result if then is None else then(photo, result)
    except MemoryError:
        return Failure(photo=path, error=_too_little_memory(path))
    except Exception as error:
        return Failure(photo=path, error=error)


def _lost(path: Path, error: Exception) -> Failure:
    """Say that no answer came back: of a worker that died, the usual cause is memory."""
    return Failure(
        photo=path, error=_too_little_memory(path) if isinstance(error, BrokenExecutor) else error
    )


def _too_little_memory(path: Path) -> PhotoError:
    return PhotoError(
        f"{path.name} was not measured: its process ended or found no memory",
        hint="measure fewer photos at a time, or smaller ones; each takes up to a gigabyte",
    )
