"""Reading: path or bytes -> melodies.

The way of a file: `guard.load` and `guard.sniff` check it, `cache` may know it, else `process.parent` has the reader of
its kind (`kinds.KINDS`) parse it in a bounded child, `draft.user_options` adds what the user said. Importing this
package loads neither numpy nor music21; music21 is never loaded outside the child.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.guard import load, sniff
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import KINDS, Reader, kind_of_suffix
from stylemeter.reading.process.session import Read, Session
from stylemeter.support.places import LEDGER
from stylemeter.support.printable import show

if TYPE_CHECKING:
    from stylemeter.music.melody import Melody

__all__ = ["KINDS", "Read", "ReadOptions", "Reader", "Session", "find", "load", "read", "read_bytes", "show", "sniff"]


def read(path: str | PathLike[str], options: ReadOptions | None = None) -> list[Melody]:
    """Read one file.

    Parameters
    ----------
    path : str or path
        ``"-"`` is standard input.
    options : ReadOptions, optional

    Returns
    -------
    list of Melody
        At least one; a collection file gives one a tune.

    Raises
    ------
    InputError
        If it can't be read; LimitError if it is too large or takes too long.
    UsageError
        If an option can't be understood.

    Notes
    -----
    Starts a reading process for this one file: read many with a `Session`.
    """
    with Session() as session:
        return session.read(path, options)


def read_bytes(
    data: bytes, kind: str | None = None, where: str = "-", options: ReadOptions | None = None
) -> list[Melody]:
    """Read bytes as `read` reads a file; `where` names them in errors, `kind` is a key of `KINDS`."""
    with Session() as session:
        return session.read_bytes(data, kind, where, options)


#: Suffixes of texts that may hold anything.
_TEXTS = ("", ".txt", ".text", ".asc")


def find(paths: Iterable[str | PathLike[str]], passed_over: list[Path] | None = None) -> list[Path]:
    """Files to read: those named, and in the folders named those of a known suffix and the texts that hold notes.

    Parameters
    ----------
    paths : iterable of path
        A file counts whatever its name; a folder is searched through, its files sorted, hidden files and
        folders, links to folders and folders a batch wrote passed over. A folder with no such file stays in the
        list, so that reading it tells so.
    passed_over : list of Path, optional
        Every other file of the folders is added to it, to be told.

    Returns
    -------
    list of Path
        In the order named, each once.

    Raises
    ------
    LimitError
        If there are more than `limits.FILES_MAX`.
    """
    found: dict[Path, None] = {}
    for path in map(Path, paths):
        files = sorted(_inside(path)) if os.path.isdir(path) else []  # noqa: PTH112 - says no where pathlib raises
        inside = [file for file in files if _holds_notes(file)]
        found.update(dict.fromkeys(inside or [path]))
        if passed_over is not None:
            passed_over += sorted({*files} - {*inside})
        if len(found) > limits.FILES_MAX:
            raise LimitError(f"more than {limits.FILES_MAX} files", where=show(path), mend="name the folders you mean")
    return list(found)


def _inside(folder: Path) -> Iterator[Path]:
    """Files in a folder and the folders in it that aren't hidden."""
    for count, (place, folders, names) in enumerate(os.walk(folder)):
        if count > limits.FILES_MAX:
            raise LimitError(
                f"more than {limits.FILES_MAX} folders", where=show(folder), mend="name the folders you mean"
            )
        folders[:] = [n for n in folders if not n.startswith(".") and not Path(place, n, LEDGER).is_file()]
        yield from (Path(place, name) for name in names if not name.startswith("."))


def _holds_notes(file: Path) -> bool:
    """Whether a file of a folder is one to read: by its suffix, or a text's by what is in it."""
    if kind_of_suffix(file.name):
        return True
    if file.suffix.lower() not in _TEXTS:
        return False
    try:
        sniff(load(file), file.name)
    except InputError:
        return False
    return True
