"""What a command writes: why it can't be written, in one line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stylemeter.errors import UsageError
from stylemeter.reading import show

__all__ = ["writing"]


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
