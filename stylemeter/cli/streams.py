"""Standard output and error: what can go wrong with them ends in one line and an exit code, in this one place."""

from __future__ import annotations

import codecs
import errno
import io
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from stylemeter.support.printable import show

__all__ = ["guarded_streams"]

USAGE = 2


@contextmanager
def guarded_streams() -> Iterator[None]:
    """Run a command: its output is flushed, and whatever the system refuses is told in a line.

    Raises
    ------
    SystemExit
        With 2 where results can't be written, or the system refuses something else nobody foresaw; with 0 where
        the reader of our output has gone.
    """
    _prepare()
    try:
        try:
            yield
        finally:
            if sys.stdout is not None:
                sys.stdout.flush()
    except OSError as error:
        _drop_output()
        if error.errno == errno.EPIPE:
            sys.exit(0)  # nobody is left to tell
        # a file that is refused is named by whoever opened it
        what = f"{show(str(error.filename))}: " if error.filename else "standard output can't be written: "
        _tell(f"stylemeter: {what}{error.strerror or error}")
        sys.exit(USAGE)


class _Closed(io.TextIOBase):
    """Standard output that was closed before we started: writing to it is an error, not nothing."""

    def writable(self) -> bool:
        return True

    def write(self, text: str) -> int:
        raise OSError(errno.EBADF, "it is closed")


def _prepare() -> None:
    """Have every sign printed on any terminal; a closed output refuse."""
    codecs.register_error("stylemeter", _as_escape)
    if sys.stdout is None:
        sys.stdout = _Closed()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a terminal's table stays in its columns; elsewhere nothing is lost, and JSON stays JSON
            stream.reconfigure(errors="replace" if stream.isatty() else "stylemeter")


def _as_escape(error: UnicodeError) -> tuple[str, int]:
    """Signs an encoding lacks as JSON escapes them."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    units = error.object[error.start : error.end].encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i]:02x}{units[i + 1]:02x}" for i in range(0, len(units), 2)), error.end


def _drop_output() -> None:
    """Leave what could not be written: the interpreter would try once more at its end, and complain."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
    except (OSError, ValueError, AttributeError):
        sys.stdout = io.StringIO()


def _tell(text: str) -> None:
    """A line on standard error, where there is one."""
    try:
        if sys.stderr is not None:
            print(text, file=sys.stderr, flush=True)  # noqa: T201 - the last words
    except OSError:
        pass
