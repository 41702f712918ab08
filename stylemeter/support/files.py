"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stylemeter.errors import UsageError
from stylemeter.support.printable import show

__all__ = ["keep", "write_whole", "writing"]


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


def keep(path: Path, data: bytes) -> bool:
    """Write a cache's file whole, its folder made where it is missing; a cache that can't be written stops nothing.

    Returns
    -------
    bool
        Whether it was written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, data)
    except OSError:
        return False
    return True


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
