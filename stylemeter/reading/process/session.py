"""Reading many files: checked, looked up in the cache, parsed in a bounded child, given what the user said.

Conventions: a session keeps its reading processes from the first file to the last; results come in the order
asked for; what is wrong with one file is told in its own result and stops nothing.
"""

from __future__ import annotations

import importlib
import queue
import sys
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, islice
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from stylemeter.errors import InputError, StylemeterError, UnknownNameError
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.guard import load, load_stream, sniff
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import KINDS
from stylemeter.reading.process.cache import NoteCache, entry_name, folder, for_reader
from stylemeter.reading.process.parent import ReadingProcess
from stylemeter.support.printable import show

if TYPE_CHECKING:
    from concurrent.futures import Future

    from stylemeter.music.melody import Melody

__all__ = ["Read", "Session"]

#: What a child loads when it is started before any file is known.
_USUAL = KINDS["musicxml"].libraries
#: Files looked at by `Session.start` to find the first one the cache does not hold.
_LOOKED_AT = 16
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
    """Reading processes and cache for a batch of files; a context manager.

    Parameters
    ----------
    workers : int
        Files parsed at a time, each in a process of its own. Whatever the caller does with one result, the next
        files are read meanwhile.

    Examples
    --------
    >>> with Session() as session:
    ...     for result in session.read_all(["no-such.abc"]):
    ...         print(result.error)
    no-such.abc: no such file; check the name
    """

    def __init__(self, workers: int = 1) -> None:
        self._workers = max(1, workers)
        self._processes = [ReadingProcess() for _ in range(self._workers)]
        # Last in, first out: one process serves as long as there is one file at a time.
        self._idle: queue.LifoQueue[ReadingProcess] = queue.LifoQueue()
        for process in reversed(self._processes):
            self._idle.put(process)
        self._cache = NoteCache(folder())

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def start(self, paths: Sequence[str | PathLike[str]] = (), options: ReadOptions | None = None) -> None:
        """Start a reading process now, so that it loads its libraries while the caller does something else.

        Parameters
        ----------
        paths : sequence of path
            What will be read, where it is known: nothing is started if the cache holds all of it, and the
            process loads what the first file needs. By default it loads what notation needs.
        options : ReadOptions
            As they will be given to `read_all`.
        """
        libraries = self._needed(paths, options or ReadOptions()) if paths else _USUAL
        if libraries is not None:
            self._processes[0].start(libraries)

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
            data = load_stream(sys.stdin.buffer) if str(path) == "-" else load(path)
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
        return self._results(iter(paths), options, kind)

    def close(self) -> None:
        """End the reading processes."""
        for process in self._processes:
            process.close()
        self._cache.close()

    def _results(
        self, paths: Iterator[str | PathLike[str]], options: ReadOptions | None, kind: str | None
    ) -> Iterator[Read]:
        """Results in order; a few files ahead are read meanwhile."""
        head = list(islice(paths, 2))
        if len(head) < 2:  # a single file needs no threads
            yield from (self._result(path, options, kind) for path in head)
            return
        from concurrent.futures import ThreadPoolExecutor

        pending: deque[Future[Read]] = deque()
        # One thread more than processes: while they parse, it opens the next file or unpacks the last.
        pool = ThreadPoolExecutor(self._workers + 1, thread_name_prefix="reading")
        try:
            for path in chain(head, paths):
                pending.append(pool.submit(self._result, path, options, kind))
                if len(pending) > 2 * self._workers:
                    yield pending.popleft().result()
            while pending:
                yield pending.popleft().result()
        finally:
            if pending:  # the caller went away: what is being read is of no use any more
                self._interrupt(stop=True)
            pool.shutdown(cancel_futures=True)
            self._interrupt(stop=False)

    def _interrupt(self, *, stop: bool) -> None:
        """Have the processes leave what they read, or be ready again."""
        for process in self._processes:
            process.interrupt(stop=stop)

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
        path = show(where, _PATH_CHARACTERS)
        wishes = for_reader(options)
        melodies = (
            _read_here(kind, data, wishes, path) if _is_cheap(kind, data) else self._parsed(kind, data, wishes, path)
        )
        return [_finished(melody, options) for melody in melodies]

    def _parsed(self, kind: str, data: bytes, options: ReadOptions, path: str) -> list[Melody]:
        """From the cache, else from a reading process."""
        name = entry_name(data, kind, options) if self._cache.kept else ""
        kept = self._cache.get(name, path)
        if kept is not None:
            return kept
        process = self._idle.get()
        try:
            process.start(KINDS[kind].libraries)
            from stylemeter.reading.process.codec import unpack  # loads numpy, while the process starts

            document = process.read(KINDS[kind], data, options)
        finally:
            self._idle.put(process)
        try:
            melodies = unpack(document, path)
        except ValueError:
            raise InputError("broke the reader (no note table came back)", mend="export it again") from None
        self._cache.put(name, document)
        return melodies

    def _needed(self, paths: Sequence[str | PathLike[str]], options: ReadOptions) -> tuple[str, ...] | None:
        """Libraries of the first file that needs a reading process; None where none of them does."""
        wishes = for_reader(options)
        for path in paths[:_LOOKED_AT]:
            if str(path) == "-":
                return _USUAL
            try:
                data = load(path)
                kind = sniff(data, str(path))
            except StylemeterError:
                continue
            if not _is_cheap(kind, data) and not self._cache.has(entry_name(data, kind, wishes)):
                return KINDS[kind].libraries
        return None if len(paths) <= _LOOKED_AT else _USUAL


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


def _is_cheap(kind: str, data: bytes) -> bool:
    """Whether a file is a note table small enough to be read in this process."""
    return KINDS[kind].ours and len(data) <= limits.OWN_BYTES_MAX


def _read_here(kind: str, data: bytes, options: ReadOptions, path: str) -> list[Melody]:
    """Read a small note table in this process."""
    from stylemeter.reading.process.codec import pack, unpack

    reader = importlib.import_module(KINDS[kind].module)
    try:
        return unpack(pack(reader.read(data, options)), path)  # by the same way as all others
    except RecursionError:
        raise InputError("is nested too deeply to read", mend="export it again") from None
    except MemoryError:
        raise InputError("is too large to read", mend="give a shorter part of it") from None


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
