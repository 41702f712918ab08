"""The parent's side of the reading process: files are parsed in a child of bounded time and memory.

Conventions: the child (`child.py`) is our own interpreter running our own file; nothing else is launched, no
shell takes part, and nothing crosses but JSON and the file's bytes, so that a child overpowered by a file has
nothing to hand over but a wrong note table. It is started with ``posix_spawn``, which neither copies this process
(no trouble with threads, no memory counted twice) nor runs the user's main module again, so that it works the
same in a script without a main guard, a console script, an interactive session and under a test runner.

References
----------
POSIX.1-2017, posix_spawn and setrlimit.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import select
import signal
import sys
import time
import weakref
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

from stylemeter import errors
from stylemeter.errors import InputError, LimitError, PassingError, StylemeterError
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import Reader

__all__ = ["ReadingProcess", "too_slow"]

_CHILD = Path(__file__).with_name("child.py")
_ERRORS: dict[str, type[StylemeterError]] = {
    name: getattr(errors, name) for name in errors.__all__ if name != "StylemeterError"
}

#: Set for the child: one thread is enough and takes less address space; sets in one order in every run.
_ENVIRONMENT = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1", "PYTHONHASHSEED": "0"}


class _EndedError(Exception):
    """The child closed its end."""


class _LateError(Exception):
    """The child did not answer in time."""


class ReadingProcess:
    """A child that reads files one after the other, started anew when one of them ends it.

    Notes
    -----
    Not for several threads at once.
    """

    def __init__(self) -> None:
        self._running: _Child | None = None

    @property
    def started(self) -> bool:
        """Whether there is a child."""
        return self._running is not None

    @property
    def pid(self) -> int | None:
        """Process number of the child, where there is one."""
        return self._running.pid if self._running else None

    def close(self) -> None:
        """End the child."""
        if self._running is not None:
            self._running.end()
            self._running = None

    def read(self, reader: Reader, data: bytes, options: ReadOptions) -> bytes:
        """Read one file in the child.

        Parameters
        ----------
        reader : Reader
            A row of `kinds.KINDS`.
        data : bytes
        options : ReadOptions

        Returns
        -------
        bytes
            `codec.pack`'s document of its melodies.

        Raises
        ------
        InputError
            As the reader says; or one that says that it broke the reader.
        PassingError
            If it took more time or memory than allowed.
        """
        used = self._running is not None and self._running.jobs > 0
        try:
            return self._ask(reader, data, options)
        except _MemoryError:
            if not used:
                raise _starved(reader) from None
        except _KilledError:
            pass
        # what earlier files left behind may have filled the memory, or the machine ran out of it: once more, afresh
        try:
            return self._ask(reader, data, options)
        except _MemoryError:
            raise _starved(reader) from None
        except _KilledError as error:
            raise PassingError(str(error), mend="export it again or in another format, and report it") from None

    def _ask(self, reader: Reader, data: bytes, options: ReadOptions) -> bytes:
        """The document; a child that has not answered to the end is ended."""
        most, memory = limits.seconds(reader.seconds), limits.memory_bytes(reader.memory_mb)
        if self._running is not None and self._running.owner != os.getpid():  # we are a fork: that child is not ours
            self._running = None
        if self._running is not None and self._running.memory != memory:
            self.close()
        child = self._running = self._running or _Child(memory)
        finished = False
        try:
            document = child.ask(reader, data, options, most)
            finished = True
        except _LateError:
            raise _late(most, begun=child.begun) from None
        except _EndedError:
            raise _broken(child, most) from None
        except StylemeterError:
            finished = child.whole and child.begun
            raise
        finally:
            if not finished:
                self.close()
        return document


class _MemoryError(Exception):
    """The child ran out of the memory it was given."""


class _KilledError(Exception):
    """Someone ended the child, or it crashed."""


def _starved(reader: Reader) -> PassingError:
    """The error of a file that takes too much memory."""
    return PassingError(
        f"takes more than {limits.memory_bytes(reader.memory_mb) / 2**20:g} MiB of memory to read",
        mend="give a shorter part of it, or allow more with STYLEMETER_MEMORY_MB",
    )


def _late(most: float, *, begun: bool) -> PassingError:
    """The error of a child that did not answer in time."""
    if not begun:
        return PassingError(f"the reading process did not start within {limits.START_SECONDS:g} s", mend="try again")
    return too_slow(most)


def too_slow(most: float) -> PassingError:
    """The error of a file that takes too much time."""
    return PassingError(
        f"took longer than {most:g} s to read",
        mend="give a shorter part of it, or allow more time with STYLEMETER_SECONDS",
    )


def _broken(child: _Child, most: float) -> Exception:
    """The error of a child that ended on its own."""
    code = child.end()
    if code == -signal.SIGPROF:
        return too_slow(most)
    how = f"signal {-code}" if code < 0 else f"exit code {code}"
    if not child.begun:
        return PassingError(
            f"the reading process could not start ({how})", mend="allow it more memory with STYLEMETER_MEMORY_MB"
        )
    return _KilledError(f"broke the reading process ({how})")


class _Child:
    """One running child and the two pipes to it."""

    def __init__(self, memory: int) -> None:
        self.jobs = 0
        self.memory = memory
        self.owner = os.getpid()
        #: Whether the reader of the present job has begun; whether the last answer was taken to its end.
        self.begun = False
        self.whole = True
        self.pid, self._to, self._from = _spawn()
        self._finalizer = weakref.finalize(self, _end, self.owner, self.pid, self._to, self._from)
        setup = {"path": _import_path(), "memory": memory, "parent": self.owner}
        with contextlib.suppress(_EndedError, _LateError):  # told when the first file asks
            self._give(time.monotonic() + limits.START_SECONDS, json.dumps(setup).encode())

    def ask(self, reader: Reader, data: bytes, options: ReadOptions, most: float) -> bytes:
        """The document a file is read as."""
        self.jobs += 1
        self.begun = self.whole = False
        patience = time.monotonic() + limits.START_SECONDS
        self._give(patience, _job(reader, options, most), data)
        answer = self._answer(patience)
        if answer.get("begun"):
            self.begun = True
            deadline = time.monotonic() + limits.PATIENCE * most
            answer = self._answer(deadline)
        document = self._take(deadline + most) if answer.get("read") else b""
        self.whole = True
        if "error" in answer:
            name, what, where, mend = (str(word) for word in answer["error"])
            raise _ERRORS.get(name, InputError)(what, where=where, mend=mend)
        if answer.get("memory"):
            raise _MemoryError
        return document

    def end(self) -> int:
        """End the child, if it hasn't; its exit code, below 0 the signal that ended it."""
        status = self._finalizer()
        return 0 if status is None else os.waitstatus_to_exitcode(status)

    def _give(self, deadline: float, *frames: bytes) -> None:
        """Send frames in one go, waiting no longer than the deadline for the child to take them."""
        rest = memoryview(b"".join(len(frame).to_bytes(8, "big") + frame for frame in frames))
        while rest:
            self._wait(self._to, select.POLLOUT, deadline)
            try:
                rest = rest[os.write(self._to, rest) :]
            except BlockingIOError:
                continue
            except OSError:
                raise _EndedError from None

    def _answer(self, deadline: float) -> dict[str, Any]:
        """Receive an answer."""
        try:
            answer = json.loads(self._take(deadline))
        except ValueError:
            raise _EndedError from None
        return answer if isinstance(answer, dict) else {}

    def _take(self, deadline: float) -> bytes:
        """Receive a frame, waiting no longer than the deadline for it."""
        length = int.from_bytes(self._exactly(8, deadline), "big")
        if length > limits.ANSWER_BYTES_MAX:
            raise LimitError("holds more notes than can be handed over", mend="split it into several files")
        return self._exactly(length, deadline)

    def _exactly(self, count: int, deadline: float) -> bytes:
        """Receive so many bytes."""
        parts = []
        while count:
            self._wait(self._from, select.POLLIN, deadline)
            part = os.read(self._from, min(count, 2**20))
            if not part:
                raise _EndedError
            parts.append(part)
            count -= len(part)
        return b"".join(parts)

    def _wait(self, pipe: int, event: int, deadline: float) -> None:
        """Wait until a pipe can be read or written, or is closed."""
        poll = select.poll()
        poll.register(pipe, event)
        if not poll.poll(max(0.0, deadline - time.monotonic()) * 1000):
            raise _LateError


@lru_cache(maxsize=16)
def _job(reader: Reader, options: ReadOptions, most: float) -> bytes:
    """The frame in front of a file."""
    modules = [*reader.libraries, reader.module]
    return json.dumps({"modules": modules, "options": asdict(options), "seconds": most}).encode()


def _spawn() -> tuple[int, int, int]:
    """Start the child: its process number, the pipe to it and the pipe from it."""
    if not sys.executable:
        raise InputError("can't be read here: the Python interpreter does not know where it lies")
    theirs_in, ours_out = _pipe()
    ours_in, theirs_out = _pipe()
    try:
        pid = os.posix_spawn(
            sys.executable,
            # -P: the folder of child.py stays off the path (its abc.py and json.py are not the library's).
            [sys.executable, "-P", "-X", "utf8", "-W", "ignore", str(_CHILD)],
            {name: value for name, value in os.environ.items() if name != "PYTHONINSPECT"} | _ENVIRONMENT,
            file_actions=[
                (os.POSIX_SPAWN_DUP2, theirs_in, 0),
                (os.POSIX_SPAWN_DUP2, theirs_out, 1),
                (os.POSIX_SPAWN_OPEN, 2, os.devnull, os.O_WRONLY, 0),
            ],
            setpgroup=0,  # Ctrl-C at a terminal goes to us alone; we end the child
        )
    except OSError as error:
        os.close(ours_in)
        os.close(ours_out)
        raise InputError(f"the reading process could not start ({error.strerror})") from error
    finally:
        os.close(theirs_in)
        os.close(theirs_out)
    os.set_blocking(ours_out, False)
    return pid, ours_out, ours_in


def _pipe() -> tuple[int, int]:
    """A pipe whose ends stay clear of the standard streams, even where those are closed."""
    ends = os.pipe()
    high = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in ends)
    for end in ends:
        os.close(end)
    return high[0], high[1]


def _import_path() -> list[str]:
    """Where the child finds modules: as we do, but never in the working folder just because it is that."""
    root = str(Path(__file__).resolve().parents[3])
    here = ""
    with contextlib.suppress(OSError):  # the working folder may be gone
        here = str(Path.cwd())  # `python -m` names it whole
    path = [entry for entry in sys.path if entry and Path(entry).is_absolute() and entry.rstrip("/") != here]
    return path if root in path else [*path, root]


def _end(owner: int, pid: int, *pipes: int) -> int | None:
    """End a child and reap it: its wait status, or None where that is someone else's."""
    for pipe in pipes:
        os.close(pipe)
    if owner != os.getpid():
        return None
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)
    try:
        return os.waitpid(pid, 0)[1]
    except ChildProcessError:
        return None
