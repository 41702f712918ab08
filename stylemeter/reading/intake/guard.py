"""What is checked before a byte is interpreted: a regular file of a bearable size, and what kind it is.

Conventions: nothing here opens anything but the one file asked for, and nothing here parses; every refusal is
an `InputError` that names what was found and what to do instead.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from collections.abc import Iterator
from typing import IO

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.sniffing import sniff
from stylemeter.reading.kinds import KINDS, kind_of_suffix

__all__ = ["check_size", "load", "load_stream", "sniff", "unpacked_size"]

_NOT_FILES = (
    (stat.S_ISDIR, "a folder", "name a file in it, or a folder that holds files of a known kind"),
    (stat.S_ISFIFO, "a pipe", "save its content to a file first, or send it to standard input and read '-'"),
    (stat.S_ISSOCK, "a socket", "give a regular file"),
    (stat.S_ISCHR, "a device", "give a regular file"),
    (stat.S_ISBLK, "a device", "give a regular file"),
)

_REFUSALS = {
    errno.ENOENT: ("no such file", "check the name"),
    errno.ENOTDIR: ("no such file", "check the name"),
    errno.EACCES: ("not permitted to read it", "check the file's permissions"),
    errno.EPERM: ("not permitted to read it", "check the file's permissions"),
    errno.ELOOP: ("a link that leads back to itself", "give the file itself"),
    errno.ENAMETOOLONG: ("a name too long for the file system", "check the name"),
}


def load(path: str | os.PathLike[str]) -> bytes:
    """Bytes of a regular file.

    Parameters
    ----------
    path : str or path
        A link to a regular file is followed; folders, pipes, sockets and devices, also behind links, are refused.

    Returns
    -------
    bytes
        At least one, at most those of the kind its name says.

    Raises
    ------
    InputError
        If it isn't a regular file, can't be read or is empty.
    LimitError
        If it is too large.
    """
    most = _most(os.fsdecode(path))
    with _told():
        # Looked at before it is opened: opening a device can already do something.
        state = os.stat(path)  # noqa: PTH116 - a path may be one that pathlib can't print
        if stat.S_ISDIR(state.st_mode) and not os.access(path, os.R_OK | os.X_OK):
            raise PermissionError(errno.EACCES, "")
        _refuse_special(state.st_mode)
        flags = os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY
        descriptor = os.open(path, flags)
        with os.fdopen(descriptor, "rb") as file:
            found = os.fstat(descriptor)
            _refuse_special(found.st_mode)
            check_size(found.st_size, most)
            return _bounded(file, most)


def load_stream(stream: IO[bytes], kind: str | None = None) -> bytes:
    """Bytes of an open stream such as standard input, read to its end.

    Parameters
    ----------
    stream : binary file
    kind : str, optional
        What it is said to hold.

    Raises
    ------
    InputError
        If there are none.
    LimitError
        If there are more than such a file may have.
    """
    with _told():
        return _bounded(stream, limits.max_bytes(KINDS[kind].bytes_max) if kind else limits.max_bytes())


def _most(name: str) -> int:
    """Most bytes of a file of that name."""
    kind = kind_of_suffix(name)
    return limits.max_bytes(KINDS[kind].bytes_max) if kind else limits.max_bytes()


def unpacked_size(data: bytes) -> int:
    """Bytes to be looked at: of a zip archive what its members say they unpack to, since no more is taken out."""
    if not data.startswith(b"PK"):
        return len(data)
    import io
    import zipfile

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return sum(member.file_size for member in archive.infolist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, EOFError):  # the reader will tell
        return len(data)


def _bounded(file: IO[bytes], most: int) -> bytes:
    """Read to the end, but no more than the limit (a file can grow meanwhile)."""
    data = file.read(most + 1) or b""
    check_size(len(data), most)
    if not data:
        raise InputError("is empty", mend="export it again")
    return data


def _refuse_special(mode: int) -> None:
    """Refuse whatever isn't a regular file."""
    if stat.S_ISREG(mode):
        return
    words, mend = next(((w, m) for test, w, m in _NOT_FILES if test(mode)), ("no regular file", "give a regular file"))
    raise InputError(f"is {words}, not a file of notes", mend=mend)


def check_size(size: int, most: int) -> None:
    """Refuse more bytes than allowed."""
    if size > most:
        raise LimitError(
            f"is larger than {most / 2**20:.4g} MiB",
            mend="give the one melody alone, or allow more with STYLEMETER_MAX_BYTES",
        )


@contextlib.contextmanager
def _told() -> Iterator[None]:
    """Turn what the system refuses into our own words."""
    try:
        yield
    except OSError as error:
        what, mend = _REFUSALS.get(error.errno or 0, (f"can't be read ({error.strerror or 'no reason given'})", ""))
        raise InputError(what, mend=mend) from error
    except ValueError as error:  # a NUL in the name
        raise InputError("is not a file name", mend="check the name") from error
