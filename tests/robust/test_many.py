"""Many photos: the same results whatever measures them, and one that fails stops no other."""

import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from concurrent.futures import ThreadPoolExecutor as Threads
from contextlib import contextmanager
from pathlib import Path

import pytest

from cli.run import workers
from cli.show.record import json_text
from tests.robust.photos import MM_PER_PX, ring_photos
from vision import Failure, Reference, Result, measure_photos
from vision.cores import free_cores
from vision.errors import PhotoError
from vision.photo.decode import Photo

REFERENCE = Reference(mm_per_px=MM_PER_PX)


@contextmanager
def processes() -> Iterator[Executor]:
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield pool


@contextmanager
def dask() -> Iterator[Executor]:
    distributed = pytest.importorskip("distributed", reason="the extra dask is not installed")
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
        client.get_executor() as executor,
    ):
        yield executor


@pytest.fixture(scope="module")
def tray(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Three photos, and between them one that is none."""
    photos = ring_photos(tmp_path_factory.mktemp("tray"), 3)
    broken = photos[0].with_name("broken.jpg")
    broken.write_bytes(b"no photo")
    return [photos[0], broken, *photos[1:]]


def told(outcome: Result | Failure) -> str:
    return outcome.problem if isinstance(outcome, Failure) else json_text(outcome)


@pytest.fixture(scope="module")
def alone(tray: list[Path]) -> dict[Path, str]:
    """What comes out in this process, photo after photo."""
    return {path: told(outcome) for path, outcome in measure_photos(tray, REFERENCE)}


def test_without_an_executor_they_come_in_order_and_a_failure_is_a_value(
    tray: list[Path], alone: dict[Path, str]
) -> None:
    assert list(alone) == tray
    assert "not a picture" in alone[tray[1]]
    assert all('"measured": 2' in alone[path] for path in (tray[0], *tray[2:]))


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
@pytest.mark.parametrize("executor", [lambda: Threads(3), processes, dask])
def test_results_are_the_same_whatever_the_executor_and_order(
    tray: list[Path], alone: dict[Path, str], executor: Callable
) -> None:
    with executor() as pool:
        found = dict(measure_photos(reversed(tray), REFERENCE, executor=pool))
    assert {path: told(outcome) for path, outcome in found.items()} == alone


def wire_of(photo: Photo, result: Result) -> tuple[str, int]:
    return photo.info.sha256, len(result.measured)


def test_what_comes_then_happens_where_the_picture_is(tray: list[Path]) -> None:
    with processes() as pool:
        found = dict(measure_photos(tray[:2], REFERENCE, executor=pool, then=wire_of))
    assert found[tray[0]][1] == 2
    assert isinstance(found[tray[1]], Failure)


class Counting(Executor):
    """Keeps every task until it is asked for; counts how many wait."""

    def __init__(self, *, breaks_at: int | None = None) -> None:
        self.submitted = 0
        self.breaks_at = breaks_at

    def submit(self, task: Callable, /, *arguments: object, **_: object) -> Future:
        if self.submitted == self.breaks_at:
            raise BrokenExecutor
        self.submitted += 1
        future: Future = Future()
        future.set_result(task(*arguments))
        return future


def test_workers_share_the_cores() -> None:
    with workers(2) as executor:
        assert executor is not None
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
        assert executor.submit(free_cores).result() == max(1, (cores or 1) // 2)


def test_only_so_many_photos_are_under_way_at_a_time() -> None:
    from vision.many import MOST_AHEAD

    pool = Counting()
    outcomes = measure_photos([Path(f"{n}.jpg") for n in range(1000)], executor=pool)
    next(outcomes)
    assert pool.submitted <= MOST_AHEAD
    assert 1 + sum(1 for _ in outcomes) == 1000


def test_a_dead_worker_fails_its_photos_and_says_what_may_help() -> None:
    pool = Counting(breaks_at=2)
    found = list(measure_photos([Path(f"{n}.jpg") for n in range(5)], executor=pool))
    lost = [failure for _, failure in found if isinstance(failure, Failure)]
    assert len(lost) == 5
    assert sum("found no memory" in failure.problem for failure in lost) == 3
    assert all(isinstance(failure.error, PhotoError) for failure in lost)
