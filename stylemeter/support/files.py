"""Files written whole or not at all, read within bounds, and cache entries that carry their own digest."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stylemeter.errors import UsageError
from stylemeter.support.printable import show

__all__ = ["keep", "kept", "read_bounded", "write_whole", "writing"]

#: Bytes of the line with the digest in front of an entry: what follows stays aligned for arrays.
_HEAD = 128


def write_whole(path: Path, data: bytes) -> None:
    """Write a file aside and move it into place, so that nobody sees half of it.

    Parameters
    ----------
    path : Path
        In a folder that is there.
    data : bytes

    Raises
    ------
    OSError
        If it can't be written; what was begun is taken away again.
    """
    if path.exists() and not path.is_file():
        # a device or a pipe takes what is written; a file moved into its place would do away with it
        path.write_bytes(data)
        return
    # a file begun by another process or thread is another file
    aside = path.with_name(f".{path.name}.{os.getpid()}.{threading.get_ident()}.part")
    try:
        aside.write_bytes(data)
        aside.replace(path)
    except OSError:
        aside.unlink(missing_ok=True)
        raise


def read_bounded(path: Path, most: int) -> bytes:
    """Bytes of a file of ours, such as a profile's.

    Parameters
    ----------
    path : Path
        A link to a file is followed.
    most : int
        Bytes it may have.

    Raises
    ------
    OSError
        If it can't be read, is no regular file (a pipe would block, a device never end) or is larger.
    """
    # so that opening a pipe does not wait for its other end
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)
    with os.fdopen(descriptor, "rb") as file:
        state = os.fstat(descriptor)
        if not stat.S_ISREG(state.st_mode):
            raise OSError(errno.EINVAL, "no regular file")
        data = b"" if state.st_size > most else file.read(most + 1)
        if max(state.st_size, len(data)) > most:
            raise OSError(errno.EFBIG, f"larger than {most / 2**20:g} MiB")
    return data


def keep(path: Path, data: bytes) -> None:
    """Write a cache entry whole, its digest in front, its folder made where it is missing.

    A cache that can't be written stops nothing.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, _head(data) + data)
    except OSError:
        return


def kept(path: Path) -> memoryview | None:
    """A cache entry; None where there is none, or it is not what was written."""
    try:
        entry = memoryview(read_bounded(path, 2**30))
    except OSError:
        return None
    return entry[_HEAD:] if entry[:_HEAD] == _head(entry[_HEAD:]) else None


def _head(data: bytes | memoryview) -> bytes:
    return hashlib.sha256(data).hexdigest().encode("ascii").ljust(_HEAD - 1) + b"\n"


@contextmanager
def writing(path: Path) -> Iterator[None]:
    """Turn what keeps a result from being written into our one line.

    Raises
    ------
    UsageError
    """
    try:
        yield
    except OSError as error:
        why = error.strerror or "no such folder"
        mend = "name a file in a folder that is there"
        raise UsageError(f"can't be written ({why})", where=show(path), mend=mend) from None
