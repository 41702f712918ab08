"""Reading: path or bytes -> melodies.

The way of a file: `guard.load` and `guard.sniff` check it, the reader of its kind (`kinds.KINDS`) reads it, in this
process or in a guarded child (`process.session`), `draft.user_options` adds what the user said. Importing this package
does not load numpy.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from stylemeter.errors import InputError, LimitError, UsageError, WrongTypeError
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.guard import load, sniff
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import KINDS, Reader, kind_of_suffix
from stylemeter.reading.process.session import Read, Session, shared_session
from stylemeter.support.places import LEDGER
from stylemeter.support.printable import show

if TYPE_CHECKING:
    from stylemeter.music.melody import Melody

__all__ = [
    "KINDS",
    "Read",
    "ReadOptions",
    "Reader",
    "Session",
    "find",
    "load",
    "read",
    "read_bytes",
    "read_many",
    "shared_session",
    "show",
    "sniff",
]


def read(path: str | PathLike[str], options: ReadOptions | None = None, *, guarded: bool = False) -> list[Melody]:
    """Read one file.

    Parameters
    ----------
    path : str or path
        ``"-"`` is standard input.
    options : ReadOptions, optional
    guarded : bool
        Whether to read it in a child of bounded time and memory, however small it is: for files of strangers.

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
    For many files, `read_many` reads quicker, and tells what is wrong with one without stopping.
    """
    if not isinstance(path, str | PathLike):
        raise WrongTypeError.of("a file", path, "its path")
    with Session(guarded=guarded) as session:
        return session.read(path, options)


def read_many(
    paths: str | PathLike[str] | Iterable[str | PathLike[str]],
    options: ReadOptions | None = None,
    *,
    kind: str | None = None,
) -> list[Read]:
    """Read many files; what is wrong with one stops nothing.

    Parameters
    ----------
    paths : path or iterable of path
        Files, and folders to be searched through.
    options : ReadOptions, optional
    kind : str, optional
        A key of `KINDS` for all of them; by default each file's content tells.

    Returns
    -------
    list of Read
        One a file, in order: its `melodies`, or its `error`.

    Raises
    ------
    UsageError
        If an option can't be understood.

    Examples
    --------
    >>> [str(found.error) for found in read_many(["no-such.abc"])]
    ['no-such.abc: no such file; check the name']
    """
    named = [paths] if isinstance(paths, str | PathLike) else list(paths)
    wrong = next((path for path in named if not isinstance(path, str | PathLike)), None)
    if wrong is not None:
        raise WrongTypeError.of("a file", wrong, "paths")
    with Session() as session:
        return list(session.read_all(find(named), options, kind))


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
        folders, links to folders and folders a batch wrote passed over. A folder with no such file, or that can't
        be looked into, stays in the list, so that reading it tells so.
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
    for named in paths:
        if not os.fspath(named):
            raise UsageError("an empty name", mend="name a file or a folder")
        path = Path(named)
        closed: list[Path] = []
        files = sorted(_inside(path, closed)) if os.path.isdir(path) else []  # noqa: PTH112 - says no where pathlib raises
        inside = sorted([*(file for file in files if _holds_notes(file)), *closed])
        found.update(dict.fromkeys(inside or [path]))
        if passed_over is not None:
            passed_over += sorted({*files} - {*inside})
        if len(found) > limits.FILES_MAX:
            raise LimitError(f"more than {limits.FILES_MAX} files", where=show(path), mend="name the folders you mean")
    return list(found)


def _inside(folder: Path, closed: list[Path]) -> Iterator[Path]:
    """Files in a folder and the folders in it that aren't hidden; adds those to `closed` that can't be looked into."""
    for count, (place, folders, names) in enumerate(os.walk(folder, onerror=lambda e: closed.append(Path(e.filename)))):
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
