"""A folder installed as a transaction: made aside, checked whole, swapped in under a lock.

Conventions: whatever ends the process, a reader finds the folder that was there or the new one; what was there is taken
away only after the new one stands. What a run that was ended left aside is cleared by the next.
"""

from __future__ import annotations

import ctypes
import errno
import fcntl
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from stylemeter.errors import UsageError
from stylemeter.support.files import writing
from stylemeter.support.printable import show

__all__ = ["in_the_way", "install"]

_AT_FDCWD, _EXCHANGE = -100, 2


def install(
    folder: Path, fill: Callable[[Path], None], ours: Callable[[Path], bool], check: Callable[[Path], object]
) -> None:
    """Put a folder in place.

    Parameters
    ----------
    folder : Path
        Where it is to lie; an older one of ours there is replaced.
    fill : callable
        Writes the files into the empty folder it is called with.
    ours : callable
        Whether a folder is one that may be replaced: nothing else is ever removed.
    check : callable
        Raises if the folder it is called with is not what it should be. It is called with the lock held.

    Raises
    ------
    UsageError
        If something else lies there, or it can't be written.
    """
    with writing(folder):
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _locked(folder.parent):
            _clear(folder)
            if os.path.lexists(folder) and not ours(folder):
                raise in_the_way(folder)
            aside = folder.with_name(f".{folder.name}.{os.getpid()}.part")
            try:
                aside.mkdir()
                fill(aside)
                check(aside)
                _settle(aside)
                _swap(aside, folder)
            finally:
                shutil.rmtree(aside, ignore_errors=True)


def in_the_way(folder: Path) -> UsageError:
    """The error of a folder that must not be replaced."""
    what = "is there already and holds something else: nothing was changed"
    return UsageError(what, where=show(folder), mend="choose another name or another --out")


@contextmanager
def _locked(parent: Path) -> Iterator[None]:
    """Wait for whoever else is installing something in a folder; the lock goes with the process, however that ends."""
    lock = os.open(parent, os.O_RDONLY | os.O_CLOEXEC)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)


def _clear(folder: Path) -> None:
    """Take away what runs that were ended left aside; the lock tells that none of them is running."""
    moved = folder.with_name(f".{folder.name}.0.part")
    if moved.exists() and not os.path.lexists(folder):  # ended between the two moves of `_swap`
        moved.rename(folder)
    for left in folder.parent.glob(f".{_plain(folder.name)}.*.part"):
        if left.name.split(".")[-2].isdigit():
            shutil.rmtree(left, ignore_errors=True)


def _plain(name: str) -> str:
    """A name as a pattern that fits it alone."""
    return "".join(f"[{sign}]" if sign in "*?[" else sign for sign in name)


def _settle(folder: Path) -> None:
    """Have the system write what it holds back, so that a failing disk or power fails before the swap."""
    for path in [*folder.iterdir(), folder]:
        descriptor = os.open(path, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _swap(aside: Path, folder: Path) -> None:
    """Move a folder into its place; what was there then lies aside."""
    if not os.path.lexists(folder):
        aside.rename(folder)
    elif not _exchanged(aside, folder):
        # a file system that can't exchange: for the blink between two moves there is no profile
        old = folder.with_name(f".{folder.name}.0.part")
        folder.rename(old)
        aside.rename(folder)
        shutil.rmtree(old, ignore_errors=True)


def _exchanged(one: Path, other: Path) -> bool:
    """Exchange two names in one step, where the system can (Linux from 3.15)."""
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    if renameat2(_AT_FDCWD, os.fsencode(one), _AT_FDCWD, os.fsencode(other), _EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in (errno.ENOSYS, errno.EINVAL, errno.ENOTSUP):
        return False
    raise OSError(code, os.strerror(code))
