"""Worker processes: every call's result, few handed out ahead, and one line where a worker is ended from outside."""

import operator
import os
import signal
import sys
import threading

import pytest

from stylemeter.batch.ledger import Shelf
from stylemeter.errors import StylemeterError
from stylemeter.support import pool


@pytest.mark.parametrize(
    "method",
    ["spawn", pytest.param("fork", marks=pytest.mark.skipif(sys.platform != "linux", reason="forks are for Linux"))],
)
@pytest.mark.filterwarnings("ignore:.*multi-threaded.*:DeprecationWarning")
def test_every_call_is_made_once_whichever_way_processes_start(method, monkeypatch):
    monkeypatch.setattr(pool, "method", lambda: method)
    calls = [(i, 100) for i in range(20)]
    assert sorted(pool.in_processes(operator.add, calls, 2)) == [100 + i for i in range(20)]


def test_calls_are_taken_as_workers_get_free():
    taken = []

    def calls():
        for i in range(40):
            taken.append(i)
            yield i, 1

    results = pool.in_processes(operator.add, calls(), 2)
    next(results)
    assert len(taken) <= pool.AHEAD * 2
    assert len(list(results)) == 39


def test_the_work_is_done_elsewhere():
    assert os.getpid() not in set(pool.in_processes(os.getpid, [()] * 4, 2))


@pytest.mark.parametrize("end", [(os._exit, (3,)), (signal.raise_signal, (signal.SIGKILL,))])
def test_a_worker_ended_from_outside_is_one_line(end):
    function, arguments = end
    with pytest.raises(StylemeterError, match="ended from outside; run it again"):
        list(pool.in_processes(function, [arguments] * 3, 2))


def test_a_fault_in_a_worker_is_raised_here():
    with pytest.raises(ZeroDivisionError):
        list(pool.in_processes(operator.truediv, [(1, 2), (1, 0)], 2))


@pytest.mark.skipif(sys.platform != "linux", reason="forks are for Linux")
@pytest.mark.filterwarnings("ignore:.*multi-threaded.*:DeprecationWarning")
def test_the_lock_goes_with_the_process_that_holds_it_whatever_its_forks_do(tmp_path, monkeypatch):
    monkeypatch.setattr(pool, "method", lambda: "fork")
    shelf = Shelf(tmp_path / "out")
    with shelf.held():
        descriptor = f"/proc/self/fd/{shelf._held}"
        (there,) = pool.in_processes(os.path.realpath, [(descriptor,)], 1, shelf.let_go)
        assert there != str(shelf.records)
        assert os.path.realpath(descriptor) == str(shelf.records)
        (there,) = pool.in_processes(os.path.realpath, [(descriptor,)], 1)
        assert there == str(shelf.records)


def test_beside_other_threads_nothing_is_forked():
    done = threading.Event()
    other = threading.Thread(target=done.wait)
    other.start()
    try:
        assert pool.method() == "spawn"
    finally:
        done.set()
        other.join()


def test_cores_are_those_allowed():
    assert pool.cores(1) == 1
    assert 1 <= pool.cores(64) <= (os.cpu_count() or 1)
