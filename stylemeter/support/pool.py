"""One call many times: here, in worker processes, or on a cluster.

Conventions: results come in the order of the jobs, whoever works on them. Workers are joblib's; they load what they
need themselves, ignore the terminal's Ctrl-C, which is for the process that waits for them, and end within two seconds
of it, however it ends.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from stylemeter.errors import MissingLibraryError, StylemeterError, UsageError

__all__ = ["cores", "run_many"]

T = TypeVar("T")

#: How often a worker looks whether its parent is still there.
GLANCE_SECONDS = 0.5


def cores(most: int) -> int:
    """Cores this process may use, a number at the most."""
    try:
        return min(most, len(os.sched_getaffinity(0)))
    except AttributeError:  # only Linux tells
        return min(most, os.cpu_count() or 1)


def run_many(
    call: Callable[..., T], jobs: Sequence[tuple[Any, ...]], workers: int = 1, scheduler: str | None = None
) -> Iterator[T]:
    """Call a function with the arguments of every job.

    Parameters
    ----------
    call : callable
        At the top of a module.
    jobs : sequence of tuple
        Arguments of each call.
    workers : int
        Processes; one works here.
    scheduler : str, optional
        Address of a dask cluster that does the work instead.

    Yields
    ------
    object
        What the calls return, in order.

    Raises
    ------
    UsageError
        If there is no such cluster.
    StylemeterError
        If workers were ended from outside twice.
    """
    if scheduler is None and (workers <= 1 or len(jobs) <= 1):
        yield from (call(*job) for job in jobs)
        return
    done = 0
    for last in (False, True):
        try:
            with _backend(scheduler, min(workers, len(jobs))) as parallel:
                results = parallel(_delayed(call, job) for job in jobs[done:])
                try:
                    for result in results:
                        done += 1
                        yield result
                finally:
                    _let_go(results)
                return
        except _ended_from_outside() as error:  # the system may have been short of memory: once more, what is left
            if last:
                raise StylemeterError(
                    "worker processes were ended from outside", mend="run it again: what is done is kept"
                ) from error


def _let_go(results: Any) -> None:
    """End what is still being worked on, where whoever asked for it has left."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # that work is lost is what was asked for
        results.close()


def _delayed(call: Callable[..., T], job: tuple[Any, ...]) -> Any:
    """The call as joblib hands it over."""
    import joblib

    return joblib.delayed(call)(*job)


def _ended_from_outside() -> tuple[type[Exception], ...]:
    """What is raised when a worker has gone."""
    import sys
    from concurrent.futures.process import BrokenProcessPool

    distributed = sys.modules.get("distributed")
    return (BrokenProcessPool, *([distributed.KilledWorker] if distributed else []))


@contextmanager
def _backend(scheduler: str | None, workers: int) -> Iterator[Any]:
    """Joblib, with processes of this machine or with a cluster's; whatever happens, the processes are ended."""
    import joblib

    if scheduler is None:
        from joblib.externals.loky import get_reusable_executor

        try:
            with joblib.parallel_config("loky", n_jobs=workers, initializer=_begin, initargs=(os.getpid(),)):
                yield joblib.Parallel(return_as="generator")
        finally:
            get_reusable_executor().shutdown(wait=True, kill_workers=True)
        return
    try:
        from distributed import Client
    except ImportError:
        raise MissingLibraryError.of("dask", "cluster") from None
    try:
        client = Client(scheduler, timeout="10s")
    except (OSError, ValueError) as error:
        what = f"no cluster answers at {scheduler!r} ({type(error).__name__})"
        raise UsageError(what, mend="start its scheduler, or leave --scheduler out") from None
    with client, joblib.parallel_config("dask"):
        yield joblib.Parallel(return_as="generator")


def _begin(parent: int) -> None:
    """Make a worker ready."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    """End this process when its parent is gone: a worker would wait minutes for work, its output held open."""
    while os.getppid() == parent:
        time.sleep(GLANCE_SECONDS)
    os._exit(1)
