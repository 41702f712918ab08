"""Faults at the system calls that change files: a kill or an error at the n-th of them, in a fork.

The interpreter's audit events stand for the calls (opening to write, renaming, making and removing): each is raised
just before its call is made.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
from collections.abc import Callable

#: Audit events of calls that change files or folders.
CHANGING = {
    "os.link",
    "os.mkdir",
    "os.remove",
    "os.rename",
    "os.rmdir",
    "os.symlink",
    "os.truncate",
    "ctypes.call_function",
}


def in_a_fork(work: Callable[[], object], fault: Callable[[int], None]) -> int:
    """Do some work in a fork, `fault` called with the number of each change before it is made; its exit status.

    0 is good, 1 an `Exception` that reached the top, below 0 the signal that ended it.
    """
    pid = os.fork()
    if pid:
        return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    seen = 0

    def hook(event: str, args: tuple[object, ...]) -> None:
        nonlocal seen
        if event in CHANGING or (event == "open" and _writes(args)):
            seen += 1
            fault(seen)

    try:
        sys.addaudithook(hook)
        work()
        status = 0
    except SystemExit as left:
        status = left.code if isinstance(left.code, int) else 0
    except BaseException:  # noqa: BLE001 - whatever it is, the fork ends here
        status = 1
    os._exit(status)


def _writes(args: tuple[object, ...]) -> bool:
    path, mode, flags = args
    if isinstance(path, int) or str(path).startswith("/dev/"):
        return False
    written = os.O_WRONLY | os.O_RDWR | os.O_CREAT
    return (isinstance(mode, str) and bool(set(mode) & set("wax+"))) or (
        isinstance(flags, int) and bool(flags & written)
    )


def count_changes(work: Callable[[], object]) -> int:
    """How many changes some work makes."""
    reading, writing = os.pipe()
    status = in_a_fork(work, lambda number: os.write(writing, b".") and None)
    os.close(writing)
    made = len(os.read(reading, 2**16))
    os.close(reading)
    assert status == 0
    return made


def killed_at(number: int) -> Callable[[int], None]:
    """End the process at a change."""

    def fault(seen: int) -> None:
        if seen == number:
            os.kill(os.getpid(), signal.SIGKILL)

    return fault


def refused_from(number: int, code: int = errno.ENOSPC) -> Callable[[int], None]:
    """Refuse a change and all after it, as a full disk does."""

    def fault(seen: int) -> None:
        if seen >= number:
            raise OSError(code, os.strerror(code))

    return fault
