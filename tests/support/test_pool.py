"""One call many times: results in order, one line where workers are ended from outside, none outlives its parent."""

import operator
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from stylemeter.errors import StylemeterError, UsageError
from stylemeter.support.pool import run_many


@pytest.mark.parametrize("workers", [1, 2])
def test_every_call_is_made_once_and_results_come_in_order(workers):
    assert list(run_many(operator.add, [(i, 100) for i in range(20)], workers)) == [100 + i for i in range(20)]


def test_one_worker_and_one_job_are_done_here():
    assert list(run_many(os.getpid, [(), ()], 1)) == [os.getpid()] * 2
    assert list(run_many(os.getpid, [()], 8)) == [os.getpid()]
    assert os.getpid() not in set(run_many(os.getpid, [()] * 4, 2))


def _fail_once(flag, how, argument):
    """End this process the first time, work from then on."""
    if not Path(flag).exists():
        Path(flag).touch()
        how(argument)
    return os.getpid()


@pytest.mark.parametrize(("how", "argument"), [(os._exit, 3), (signal.raise_signal, signal.SIGKILL)])
def test_a_worker_ended_from_outside_costs_nothing_once(tmp_path, how, argument):
    jobs = [(str(tmp_path / "flag"), how, argument)] * 6
    assert len(list(run_many(_fail_once, jobs, 2))) == 6


@pytest.mark.parametrize(("how", "argument"), [(os._exit, 3), (signal.raise_signal, signal.SIGKILL)])
def test_workers_ended_again_are_one_line(how, argument):
    with pytest.raises(StylemeterError, match="ended from outside; run it again"):
        list(run_many(how, [(argument,)] * 3, 2))


def test_a_fault_in_a_worker_is_raised_here():
    with pytest.raises(ZeroDivisionError):
        list(run_many(operator.truediv, [(1, 2), (1, 0)], 2))


def test_whoever_leaves_early_waits_for_nothing():
    results = run_many(time.sleep, [(0.1,), *[(60,)] * 5], 2)
    next(results)
    start = time.monotonic()
    results.close()
    assert time.monotonic() - start < 30


def test_a_cluster_that_is_not_there_is_one_line():
    with pytest.raises(UsageError, match=r"dask is not installed|no cluster answers"):
        list(run_many(operator.add, [(1, 2), (3, 4)], 2, "tcp://127.0.0.1:1"))


PROGRAM = """
import os, time
from stylemeter.support.pool import run_many
def work(n):
    print(os.getpid(), flush=True)
    time.sleep(60)
if __name__ == "__main__":
    list(run_many(work, [(n,) for n in range(6)], 2))
"""


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_workers_end_within_two_seconds_of_their_parent_however_it_ends(end, tmp_path):
    (tmp_path / "program.py").write_text(PROGRAM)
    root = str(Path(__file__).resolve().parents[2])
    with subprocess.Popen(
        [sys.executable, str(tmp_path / "program.py")],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
        env={**os.environ, "PYTHONPATH": root},
    ) as parent:
        workers = [int(parent.stdout.readline()) for _ in range(2)]
        if end == signal.SIGINT:  # a terminal sends it to the whole group
            os.killpg(parent.pid, end)
        else:
            parent.send_signal(end)
        parent.wait(timeout=60)
        _gone(workers)
        assert parent.stdout.read() == ""  # nobody holds it open any more


def _gone(pids):
    """Wait until processes have ended: two seconds of their own time, more on a machine that gives them none."""
    deadline = time.monotonic() + 20
    while any(map(_runs, pids)):
        assert time.monotonic() < deadline, "a worker outlived its parent"
        time.sleep(0.05)


def _runs(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False
