"""Work on the cores that are free: nothing is lost, nothing waits for itself, order is kept."""

import os
import time
from threading import Barrier, Event, get_ident

import cv2
import pytest

from vision import cores
from vision.cores import Aside, Meanwhile, each, free_cores, grant

pytestmark = pytest.mark.usefixtures("cores_as_before")


def test_with_one_core_nothing_is_started() -> None:
    grant(1)
    assert each(lambda _: get_ident(), range(4)) == 4 * [get_ident()]
    assert Aside(get_ident).result() == get_ident()


def test_without_a_grant_as_many_as_opencv_may_use(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cores._Shared, "granted", None)
    monkeypatch.setattr("os.cpu_count", lambda: 4)
    cv2.setNumThreads(3)
    assert free_cores() == 3
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    assert free_cores() == 2


def test_who_uses_all_cores_himself_leaves_none_to_opencv() -> None:
    grant(3)
    assert free_cores() == 3 and cv2.getNumThreads() == 1


@pytest.mark.parametrize("count", [1, 3])
def test_what_fails_there_fails_where_it_is_asked_for(count: int) -> None:
    grant(count)
    with pytest.raises(ValueError, match="five"):
        Aside(int, "five").result()
    with pytest.raises(ValueError, match="six"):
        each(int, ["1", "2", "six", *map(str, range(200))])


def test_parts_keep_their_order_and_all_cores_work_on_them() -> None:
    grant(3)
    together = Barrier(3, timeout=20)  # passed only by three at a time

    def square(k: int) -> tuple[int, int]:
        if k < 3:
            together.wait()
        return k * k, get_ident()

    done = each(square, range(60))
    assert [value for value, _ in done] == [k * k for k in range(60)]
    assert len({who for _, who in done}) == 3


def test_a_part_by_itself_is_done_by_who_asks() -> None:
    grant(3)
    assert each(lambda _: get_ident(), [0]) == [get_ident()]


def test_work_that_no_other_core_has_begun_is_done_by_the_one_that_needs_it() -> None:
    """The only helper waits for what is asked aside inside of it: nobody else would do it."""
    grant(2)

    def inner() -> int:
        return sum(each(lambda k: k, range(10))) + Aside(lambda: 5).result()

    assert Aside(inner).result() == 50
    slow, quick = Aside(time.sleep, 0.2), Aside(get_ident)
    assert quick.result() == get_ident()  # the helper still sleeps
    slow.result()


def test_what_is_needed_late_is_done_when_nothing_else_is() -> None:
    grant(2)
    go, done = Event(), []
    busy = Aside(go.wait, 20.0)
    late = [Meanwhile(done.append, name) for name in ("late", "later")]
    soon = Aside(done.append, "soon")
    go.set()
    busy.result()
    until = time.monotonic() + 20.0
    while len(done) < 3 and time.monotonic() < until:
        time.sleep(0.001)
    assert done == ["soon", "late", "later"]
    for work in (*late, soon):
        work.result()
    assert len(done) == 3  # nothing twice


def test_what_is_needed_late_is_done_by_the_one_that_needs_it_before() -> None:
    grant(2)
    go = Event()
    busy, late = Aside(go.wait, 20.0), Meanwhile(get_ident)
    assert late.result() == get_ident()
    go.set()
    assert busy.result()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork on this system")
def test_a_forked_process_starts_helpers_of_its_own() -> None:
    grant(2)
    Aside(get_ident).result()
    child = os.fork()
    if child == 0:
        busy = Aside(time.sleep, 0.01)  # would wait for ever for the parent's helper
        time.sleep(0.2)
        begun = busy._begun
        os._exit(0 if begun is not None and begun.done() else 1)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 0
