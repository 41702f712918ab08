"""Reading files: checked, read here or in a guarded child, given what the user said.

Conventions: there is one way for all commands. A file is read in this process up to the size its kind allows
(`kinds.Reader.here_bytes`), above it in a child of bounded time and memory; a session that is `guarded`, as for a
page that strangers may use, reads everything in the child. Both give the same melodies. What is wrong with one file
is told in its own result and stops nothing.
"""

from __future__ import annotations

import importlib
import sys
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from stylemeter.errors import InputError, PassingError, StylemeterError, UnknownNameError
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.guard import check_size, load, load_stream, sniff, unpacked_size
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import KINDS
from stylemeter.reading.process.parent import ReadingProcess, too_slow
from stylemeter.support.printable import show
from stylemeter.support.timing import TimeUp, within

if TYPE_CHECKING:
    from stylemeter.music.melody import Melody

__all__ = ["Read", "Session", "shared_session"]

#: Longest part of an error quoted from a reader, and longest path shown, in characters.
_ERROR_CHARACTERS = 500
_PATH_CHARACTERS = 4096


@dataclass(frozen=True, slots=True)
class Read:
    """What became of one file.

    Attributes
    ----------
    path : Path
        As asked for; ``Path("-")`` for standard input.
    melodies : list of Melody
        Empty where there is an error.
    error : StylemeterError or None
        Names the file.
    """

    path: Path
    melodies: list[Melody] = field(default_factory=list)
    error: StylemeterError | None = None

    def __repr__(self) -> str:
        found = f"{len(self.melodies)} melodies" if self.error is None else str(self.error)
        return f"<Read {show(self.path)}: {found}>"


class Session:
    """Reads files, with one guarded child for those that need it; a context manager.

    Parameters
    ----------
    guarded : bool
        Whether every file is read in the child, however small.

    Examples
    --------
    >>> with Session() as session:
    ...     for result in session.read_all(["no-such.abc"]):
    ...         print(result.error)
    no-such.abc: no such file; check the name
    """

    def __init__(self, *, guarded: bool = False) -> None:
        self._guarded = guarded
        self._process = ReadingProcess()
        self._one_at_a_time = threading.Lock()

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def read(
        self, path: str | PathLike[str], options: ReadOptions | None = None, kind: str | None = None
    ) -> list[Melody]:
        """Read one file; ``"-"`` is standard input.

        Returns
        -------
        list of Melody
            At least one.

        Raises
        ------
        InputError
            If it can't be read; LimitError if it is too large or takes too long.
        UsageError
            If an option can't be understood.
        """
        options = _checked(options, kind)
        try:
            data = load_stream(sys.stdin.buffer, kind) if str(path) == "-" else load(path)
            return self._melodies(data, kind, path, options)
        except StylemeterError as error:
            raise _plain(error).at(show(path)) from None

    def read_bytes(
        self, data: bytes, kind: str | None = None, where: str = "-", options: ReadOptions | None = None
    ) -> list[Melody]:
        """Read bytes as if they were a file of that name; raises like `read`."""
        options = _checked(options, kind)
        try:
            if not data:
                raise InputError("is empty", mend="export it again")
            return self._melodies(data, kind, where, options)
        except StylemeterError as error:
            raise _plain(error).at(show(where)) from None

    def read_all(
        self,
        paths: Iterable[str | PathLike[str]],
        options: ReadOptions | None = None,
        kind: str | None = None,
    ) -> Iterator[Read]:
        """Read files, one result each, in order.

        Parameters
        ----------
        paths : iterable of path
        options : ReadOptions
        kind : str, optional
            A key of `kinds.KINDS` for all of them; by default each file's content tells.

        Raises
        ------
        UsageError
            If an option can't be understood. Nothing else is raised.
        """
        _checked(options, kind)
        return (self._result(path, options, kind) for path in paths)

    def close(self) -> None:
        """End the child."""
        self._process.close()

    def _result(self, path: str | PathLike[str], options: ReadOptions | None, kind: str | None) -> Read:
        """The result of one file."""
        try:
            return Read(Path(path), self.read(path, options, kind))
        except StylemeterError as error:
            return Read(Path(path), [], error)

    def _melodies(
        self, data: bytes, kind: str | None, where: str | PathLike[str], options: ReadOptions
    ) -> list[Melody]:
        """Melodies of some bytes, finished."""
        kind = kind or sniff(data, str(where))
        check_size(len(data), limits.max_bytes(KINDS[kind].bytes_max))
        # the same to all readers: these are laid over the melody afterwards
        wishes = replace(options, key=None, chords=None)
        if self._guarded or unpacked_size(data) > KINDS[kind].here_bytes:
            with self._one_at_a_time:
                document: str | bytes = self._process.read(KINDS[kind], data, wishes)
        else:
            document = _read_here(kind, data, wishes)
        from stylemeter.reading.process.codec import unpack

        try:
            melodies = unpack(document, show(where, _PATH_CHARACTERS))
        except ValueError:
            raise InputError("broke the reader (no note table came back)", mend="export it again") from None
        return [_finished(melody, options) for melody in melodies]


@lru_cache(maxsize=1)
def shared_session() -> Session:
    """The session of a worker process, kept to its end: one call follows the other there."""
    return Session()


def _checked(options: ReadOptions | None, kind: str | None) -> ReadOptions:
    """The options, once they are known to make sense."""
    if kind is not None and kind not in KINDS:
        raise UnknownNameError.among("format", show(kind), sorted(KINDS))
    for limit in (limits.seconds, limits.memory_bytes, limits.max_bytes):  # a bad value is told once, not for each file
        limit()
    if options is None or options == ReadOptions():
        return options or ReadOptions()
    from stylemeter.reading.draft.user_options import check

    check(options)
    return options


def _read_here(kind: str, data: bytes, options: ReadOptions) -> str:
    """Read a file in this process, as the child would."""
    from stylemeter.reading.process.codec import pack

    reader = importlib.import_module(KINDS[kind].module)
    most = limits.seconds(KINDS[kind].seconds)
    try:
        with within(most):
            return pack(reader.read(data, options))
    except StylemeterError:
        raise
    except TimeUp:
        raise too_slow(most) from None
    except RecursionError:
        raise InputError("is nested too deeply to read", mend="export it again") from None
    except MemoryError:
        raise PassingError("takes more memory to read than there is", mend="give a shorter part of it") from None
    except Exception as error:  # noqa: BLE001 - a reader's fault must not cost the other files
        what = f"broke the reader ({type(error).__name__}: {error!s:.200})"
        raise InputError(what, mend="export it again or in another format, and report it") from None


def _finished(melody: Melody, options: ReadOptions) -> Melody:
    """The melody with the user's options applied."""
    if options == ReadOptions():
        return melody
    from stylemeter.reading.draft.user_options import apply

    return apply(melody, options)


def _plain(error: StylemeterError) -> StylemeterError:
    """The same error with nothing in it that could steer a terminal."""
    words = (" ".join(text.split()) for text in (error.what, error.where, error.mend))
    what, where, mend = (show(text, _ERROR_CHARACTERS) for text in words)
    return type(error)(what, where=where, mend=mend)
