"""Note tables kept between runs, so that a file read once is not parsed again.

Conventions: an entry is named by the hash of everything that decides it (the file's bytes, the kind, the options,
the versions of readers, package and libraries, the age of our own code); it holds `codec.pack`'s document behind a
line with its own hash, never a pickle. The cache only saves time: whatever goes wrong with it, the file is read.
"""

from __future__ import annotations

import contextlib
import json
import os
import threading
from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from stylemeter._version import __version__
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import KINDS
from stylemeter.support.files import keep
from stylemeter.support.places import cache_folder

if TYPE_CHECKING:
    from stylemeter.music.melody import Melody

__all__ = ["READER_VERSION", "NoteCache", "entry_name", "folder", "for_reader", "stamp_of"]

#: Raised with every change of what any reader makes of a file.
READER_VERSION = 4

#: Writes after which the size is looked at again.
_WRITES_BETWEEN_TRIMS = 256

#: Share of the size limit left after a trim, so that not every write trims.
_KEPT_SHARE = 0.9


def folder() -> Path | None:
    """Folder of the note tables in the user's cache, or None where it is switched off (`places.cache_folder`)."""
    cache = cache_folder()
    return None if cache is None else cache / "notes"


def for_reader(options: ReadOptions) -> ReadOptions:
    """The options a reader sees: without those added after reading, for all of whose values the table is the same.

    A meter is applied after reading too, but what is quantised is quantised in it.
    """
    return replace(options, key=None, chords=None)


def entry_name(data: bytes, kind: str, options: ReadOptions) -> str:
    """Name of the entry that holds what a file is read as.

    Examples
    --------
    >>> one = entry_name(b"X:1", "abc", ReadOptions())
    >>> one == entry_name(b"X:1", "abc", ReadOptions(key="D")), one == entry_name(b"X:1", "abc", ReadOptions(part="2"))
    (True, False)
    """
    import hashlib

    digest = hashlib.sha256(_decided(READER_VERSION, __version__, _code_stamp(), kind, options).encode("ascii"))
    digest.update(hashlib.sha256(data).digest())
    return digest.hexdigest()


@lru_cache(maxsize=64)
def _decided(reader: int, package: str, code: str, kind: str, options: ReadOptions) -> str:
    """What decides a table beside the file's bytes."""
    wishes = asdict(for_reader(options))
    libraries = [_library_version(library) for library in KINDS[kind].libraries]
    return json.dumps([reader, package, code, kind, libraries, wishes], sort_keys=True)


@lru_cache(maxsize=1)
def _code_stamp() -> str:
    """The age of our own modules: a table is never older than the code that would read it today."""
    package = Path(__file__).parents[2]
    return stamp_of([package / "reading", package / "music", package / "support"])


def stamp_of(folders: list[Path]) -> str:
    """A hash of names, sizes and times of the modules in some folders; constant where they can't be listed."""
    try:
        files = sorted(file for folder in folders for file in folder.rglob("*.py"))
        stamps = [(file.name, status.st_size, status.st_mtime_ns) for file in files for status in [file.stat()]]
    except OSError:
        stamps = []
    return _digest(json.dumps(stamps).encode("ascii"))


def _digest(document: bytes) -> str:
    """Hash as put in front of an entry's document."""
    import hashlib

    return hashlib.sha256(document).hexdigest()


@lru_cache(maxsize=32)
def _library_version(library: str) -> str:
    """Version of an installed package by the folder that describes it; the package is not imported.

    The library's own way (`importlib.metadata`) takes longer to import than a cached table to read.
    """
    from importlib.util import find_spec

    try:
        spec = find_spec(library)
        places = list(spec.submodule_search_locations or ()) if spec else []
        found = sorted(Path(places[0]).parent.glob(f"{library}-*.dist-info")) if places else []
    except (ImportError, OSError, ValueError):
        found = []
    return found[-1].name.removesuffix(".dist-info") if found else library


class NoteCache:
    """A folder of note tables.

    Parameters
    ----------
    place : Path or None
        None: nothing is kept and nothing found.
    most : int
        Bytes it may hold; the entries used longest ago make room.
    """

    def __init__(self, place: Path | None, most: int = limits.CACHE_BYTES_MAX) -> None:
        self.place = place
        self.most = most
        self._writes = 0
        self._lock = threading.Lock()

    @property
    def kept(self) -> bool:
        """Whether anything is kept at all."""
        return self.place is not None

    def get(self, name: str, path: str = "") -> list[Melody] | None:
        """What is kept under a name, as melodies of that path; None where there is nothing or it is damaged."""
        entry = self._path(name)
        if entry is None:
            return None
        try:
            head, _, document = entry.read_bytes().partition(b"\n")
            from stylemeter.reading.process.codec import unpack

            if head.decode("ascii", "replace") != _digest(document):
                return None
            melodies = unpack(document, path)
        except (OSError, ValueError, MemoryError):
            return None
        with contextlib.suppress(OSError):
            os.utime(entry)
        return melodies

    def has(self, name: str) -> bool:
        """Whether there is an entry (it may be damaged)."""
        path = self._path(name)
        try:
            return path is not None and path.is_file()
        except OSError:
            return False

    def put(self, name: str, document: bytes) -> None:
        """Keep a document: written aside and moved into place, so that no reader sees half of it."""
        path = self._path(name)
        if path is None or len(document) > self.most // 4:
            return
        if not keep(path, _digest(document).encode("ascii") + b"\n" + document):
            return
        with self._lock:
            self._writes += 1
            due = self._writes % _WRITES_BETWEEN_TRIMS == 0
        if due:
            self.trim()

    def close(self) -> None:
        """Look at the size once more, where anything was written."""
        if self._writes:
            self.trim()
            self._writes = 0

    def trim(self) -> None:
        """Remove the entries used longest ago until the rest fits."""
        if self.place is None:
            return
        entries = sorted(_entries(self.place))
        total = sum(size for _, _, size in entries)
        if total <= self.most:
            return
        for _, path, size in entries:
            if total <= self.most * _KEPT_SHARE:
                break
            with contextlib.suppress(OSError):
                os.unlink(path)  # noqa: PTH108 - as scandir gave it
                total -= size

    def _path(self, name: str) -> Path | None:
        """Where an entry lies."""
        return None if self.place is None else self.place / name[:2] / f"{name}.json"


def _entries(place: Path) -> list[tuple[float, str, int]]:
    """(last use, path, size) of everything the cache wrote, half-written files left by a killed process included."""
    found: list[tuple[float, str, int]] = []
    with contextlib.suppress(OSError), os.scandir(place) as shelves:
        for shelf in shelves:
            if len(shelf.name) != 2 or not shelf.is_dir(follow_symlinks=False):
                continue
            with contextlib.suppress(OSError), os.scandir(shelf) as files:
                for file in files:
                    if file.is_file(follow_symlinks=False) and (file.name.endswith(".json") or file.name[0] == "."):
                        status = file.stat(follow_symlinks=False)
                        found.append((status.st_mtime, file.path, status.st_size))
    return found
