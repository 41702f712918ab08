"""A bound on the processor time of what runs in this process."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["TimeUp", "within"]


class TimeUp(BaseException):
    """The processor seconds are used up; passes through whatever the bounded code catches."""


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Raise `TimeUp` once so many processor seconds are used, where signals can: in the main thread.

    Python code and searches with `re` are stopped; a library's own loop is not before it returns.
    """
    in_use = signal.getitimer(signal.ITIMER_PROF)[0] > 0  # by a profiler, or a bound around this one
    if in_use or threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(*_: object) -> None:
        raise TimeUp

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
