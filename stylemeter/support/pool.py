"""Worker processes that begin with what this process has loaded.

On Linux they are forks, so that nothing is loaded twice and no memory is held twice. They are started afresh elsewhere,
where a fork may break the system's own libraries, and beside other threads, which a fork would not hold.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

from stylemeter.errors import StylemeterError

__all__ = ["cores", "in_processes"]

T = TypeVar("T")
#: Calls handed out ahead, a worker.
AHEAD = 3


def cores(most: int) -> int:
    """Cores this process may use, a number at the most."""
    try:
        return min(most, len(os.sched_getaffinity(0)))
    except AttributeError:  # only Linux tells
        return min(most, os.cpu_count() or 1)


def method() -> str:
    """How worker processes start: "fork" or "spawn"."""
    return "fork" if sys.platform == "linux" and threading.active_count() == 1 else "spawn"


def in_processes(
    function: Callable[..., T],
    calls: Iterable[tuple[Any, ...]],
    workers: int,
    let_go: Callable[[], None] | None = None,
) -> Iterator[T]:
    """Call a function in worker processes.

    Parameters
    ----------
    function : callable
        At the top of a module.
    calls : iterable of tuple
        Arguments of each call; taken as workers get free, a few ahead.
    workers : int
    let_go : callable, optional
        Called in each fork before its first call: what this process holds and a fork must not.

    Yields
    ------
    object
        What the calls return, in any order.

    Raises
    ------
    StylemeterError
        If a worker was ended from outside.
    """
    how = method()
    pool = ProcessPoolExecutor(
        workers,
        mp_context=multiprocessing.get_context(how),
        initializer=_begin,
        initargs=(let_go if how == "fork" else None,),
    )
    running: set[Future[T]] = set()
    try:
        for arguments in calls:
            running.add(pool.submit(function, *arguments))
            if len(running) >= AHEAD * workers:
                done, running = wait(running, return_when=FIRST_COMPLETED)
                yield from (future.result() for future in done)
        while running:
            done, running = wait(running, return_when=FIRST_COMPLETED)
            yield from (future.result() for future in done)
    except BrokenProcessPool:
        raise StylemeterError(
            "a worker process was ended from outside", mend="run it again: what is done is kept"
        ) from None
    finally:
        pool.shutdown(cancel_futures=True)


def _begin(let_go: Callable[[], None] | None) -> None:
    """Make a worker ready: whoever interrupts the run interrupts the process that waits for it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if let_go is not None:
        let_go()
