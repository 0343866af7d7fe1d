"""How many threads a measurement takes: as many as OpenCV was granted."""

from collections.abc import Iterator
from threading import current_thread, get_ident

import cv2
import pytest

from vision.cores import free_cores


@pytest.fixture
def threads() -> Iterator[int]:
    before = cv2.getNumThreads()
    yield before
    cv2.setNumThreads(before)


def test_with_one_core_nothing_is_started(threads: int) -> None:
    cv2.setNumThreads(1)
    with free_cores() as cores:
        assert list(cores.map(lambda _: get_ident(), range(4))) == 4 * [get_ident()]


def test_what_fails_there_fails_where_it_is_asked_for(threads: int) -> None:
    cv2.setNumThreads(1)
    with free_cores() as cores:
        task = cores.submit(int, "five")
        with pytest.raises(ValueError, match="five"):
            task.result()


def test_with_more_cores_work_goes_aside_and_keeps_its_order(
    threads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    cv2.setNumThreads(3)
    monkeypatch.setattr("os.cpu_count", lambda: 4)
    with free_cores() as cores:
        assert list(cores.map(lambda k: k * k, range(50))) == [k * k for k in range(50)]
        assert cores.submit(get_ident).result() != get_ident()


def test_no_more_threads_than_asked_for(threads: int, monkeypatch: pytest.MonkeyPatch) -> None:
    cv2.setNumThreads(3)
    monkeypatch.setattr("os.cpu_count", lambda: 4)
    with free_cores(1) as cores:
        names = set(cores.map(lambda _: current_thread().name, range(20)))
    assert len(names) == 1
