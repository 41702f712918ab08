"""The folder a batch writes: a page and a record a solo, and a ledger of what is done, so that nothing is done twice.

Conventions: every file is written aside and moved into place; a solo counts as done once its line stands in the
ledger, and only as long as its page and its record are the bytes the line names. Whatever ends the process, the next
run finds whole files or none.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from stylemeter.errors import UsageError
from stylemeter.support.files import read_bounded, write_whole
from stylemeter.support.places import LEDGER
from stylemeter.support.printable import show

__all__ = ["Line", "Shelf", "safe_names"]

#: Characters of a file name made of a solo's name.
NAME_MAX = 48
#: Bytes of a ledger and of one of our pages or records: far more than any has.
LEDGER_BYTES_MAX, RESULT_BYTES_MAX = 256 * 2**20, 64 * 2**20
#: Names some file systems keep for themselves.
_RESERVED = re.compile(r"(?i)con|prn|aux|nul|com\d|lpt\d")
_ASIDE = re.compile(r"\..*(\.\d+)+\.part\Z", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of the ledger: one solo that is done.

    Attributes
    ----------
    name : str
        Of its page and record.
    key : str
        Hash of all that decides what they hold.
    tune, of : int
        Which of how many solos of its file it is, from 1.
    page, record : str
        SHA-256 of the files.
    """

    name: str
    key: str
    tune: int
    of: int
    page: str
    record: str


class Shelf:
    """The folder of a batch.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.pages = folder / "pages"
        self.records = folder / LEDGER.parent
        self.ledger = folder / LEDGER

    @contextmanager
    def held(self) -> Iterator[None]:
        """Make the folder, or make sure that it is one of ours, and keep other batches out of it.

        Raises
        ------
        UsageError
            If it holds something else, can't be written, or another batch is writing it.
        """
        where = show(self.folder)
        try:
            if not self.ledger.is_file() and not self._is_begun():
                raise UsageError("holds other files", where=where, mend="name a new folder with --out")
            for folder in (self.pages, self.records):
                folder.mkdir(parents=True, exist_ok=True)
            self.ledger.touch()
            lock = os.open(self.records, os.O_RDONLY)
        except OSError as error:
            raise UsageError(f"can't be written ({error.strerror})", where=where, mend="name another folder") from None
        try:
            _lock(lock, where)
            self._clear_asides()
            self._end_line()
            yield
        finally:
            os.close(lock)

    def _is_begun(self) -> bool:
        """Whether the folder holds nothing but what a run makes before its ledger: empty folders of ours."""
        visible = {p for p in self.folder.iterdir() if not p.name.startswith(".")} if self.folder.is_dir() else set()
        return visible <= {self.pages, self.records} and not any(_visible(p) for p in visible)

    def lines(self) -> dict[str, Line]:
        """Solos in the ledger, by name; lines cut short or not ours are passed over."""
        found = {}
        ledger = read_bounded(self.ledger, LEDGER_BYTES_MAX).decode("utf-8", "replace")
        for text in ledger.splitlines():
            try:
                line = Line(**json.loads(text))
            except (ValueError, TypeError, RecursionError):
                continue
            if any(type(getattr(line, f.name)).__name__ != f.type for f in fields(line)):
                continue
            # a ledger may have been edited: it must not name a file outside
            if isinstance(line.name, str) and Path(line.name).name == line.name and "\0" not in line.name:
                found[line.name] = line
        return found

    def is_whole(self, line: Line) -> bool:
        """Whether a solo's page and record are there as the ledger says."""
        try:
            page, record = (read_bounded(p, RESULT_BYTES_MAX) for p in (self.page(line.name), self.record(line.name)))
        except OSError:
            return False
        return (_digest(page), _digest(record)) == (line.page, line.record)

    def page(self, name: str) -> Path:
        """Where a solo's page lies."""
        return self.pages / f"{name}.html"

    def record(self, name: str) -> Path:
        """Where a solo's record lies."""
        return self.records / f"{name}.json"

    def put(self, name: str, key: str, tune: int, of: int, page: bytes, record: bytes) -> None:
        """Keep a solo: its page and record first, its line last."""
        write_whole(self.page(name), page)
        write_whole(self.record(name), record)
        line = _text(Line(name, key, tune, of, _digest(page), _digest(record)))
        # one short write to a file opened for appending: lines of several processes do not mix
        ledger = os.open(self.ledger, os.O_WRONLY | os.O_APPEND)
        try:
            os.write(ledger, line.encode("utf-8"))
        finally:
            os.close(ledger)

    def tidy(self, names: Iterable[str]) -> None:
        """Keep these solos only, their lines sorted: what an earlier run wrote of others is of no use any more.

        Only what the ledger names is removed: a user may have put a page of their own beside ours.
        """
        self._clear_asides()
        wanted = set(names)
        there = self.lines()
        # the ledger last: a run that is ended before it leaves nothing that no line names
        for name in sorted(set(there) - wanted):
            self.page(name).unlink(missing_ok=True)
            self.record(name).unlink(missing_ok=True)
        lines = "".join(_text(there[n]) for n in sorted(wanted & set(there)))
        write_whole(self.ledger, lines.encode("utf-8"))

    def _clear_asides(self) -> None:
        """Remove what a killed run left half-written."""
        for folder in (self.folder, self.pages, self.records):
            for path in folder.iterdir():
                if _ASIDE.match(path.name):
                    with contextlib.suppress(OSError):
                        path.unlink()

    def _end_line(self) -> None:
        """End a line that a killed run cut short, so that the next one does not run on from it."""
        there = self.ledger.read_bytes()
        if there and not there.endswith(b"\n"):
            with self.ledger.open("ab") as ledger:
                ledger.write(b"\n")


def _lock(descriptor: int, where: str) -> None:
    """Take a lock that goes with the process, however that ends."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise UsageError("another batch is writing it", where=where, mend="wait for it to end") from None


def _visible(folder: Path) -> bool:
    """Whether a folder holds anything a user would see."""
    return folder.is_dir() and any(not p.name.startswith(".") for p in folder.iterdir())


def _text(line: Line) -> str:
    return json.dumps(asdict(line), ensure_ascii=False) + "\n"


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def safe_names(texts: Sequence[str]) -> list[str]:
    """File names without a suffix, made of any texts: letters, digits and hyphens, each different.

    Parameters
    ----------
    texts : sequence of str

    Returns
    -------
    list of str
        Different also where capitals do not count.

    Examples
    --------
    >>> safe_names(["Anna B. take 1", "anna-b-take-1", "<script>", "../..", "con"])
    ['Anna-B-take-1', 'anna-b-take-1-2', 'script', 'solo', 'solo-con']
    """
    taken: set[str] = set()
    names = []
    for text in texts:
        base = _plain(text)
        name, count = base, 1
        while name.casefold() in taken:
            count += 1
            name = f"{base}-{count}"
        taken.add(name.casefold())
        names.append(name)
    return names


def _plain(text: str) -> str:
    """Letters and digits of any script, with their marks; the rest as single hyphens."""
    kept = "".join(c if unicodedata.category(c)[0] in "LNM" else "-" for c in unicodedata.normalize("NFC", text))
    name = re.sub(r"-+", "-", kept).strip("-")[:NAME_MAX].strip("-")
    while name and unicodedata.category(name[0])[0] == "M":
        name = name[1:]
    if not name:
        return "solo"
    return f"solo-{name}" if _RESERVED.fullmatch(name) else name
