"""Placing a folder of solos: each read, placed and given a page, in processes of their own, whatever ends the run.

Conventions: the unit of work is a file, what is kept is a record and a page a solo (see `ledger`). A solo is done
again only where something that decides its page has changed: the file's bytes, its name, the options, the style,
the advice or a version. What could not be read is tried again every time.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from os import PathLike
from pathlib import Path
from typing import Any

from stylemeter._version import __version__
from stylemeter.batch.ledger import Entry, Ledger, safe_names
from stylemeter.batch.worker import BatchSettings, Done, Task, Worker, analysis_of, in_worker, tune_names
from stylemeter.errors import LimitError, StylemeterError, UsageError
from stylemeter.features import FEATURE_VERSION
from stylemeter.practice.advice import load_advice
from stylemeter.reading import ReadOptions, find, load
from stylemeter.reading.kinds import READER_VERSION
from stylemeter.report.classroom.overview import ClassView, class_view, write_overview
from stylemeter.report.classroom.words import say
from stylemeter.style.profile import Profile, load_profile
from stylemeter.support.files import write_whole
from stylemeter.support.places import LEDGER
from stylemeter.support.pool import run_many
from stylemeter.support.printable import show
from stylemeter.writing.table import escape

__all__ = ["BatchSettings", "ClassResult", "Outcome", "Unread", "key_file", "place_folder", "run"]

#: Raised with every change of what a record or a page holds that no other version tells.
RECORD_VERSION = 2


@dataclass(frozen=True, slots=True)
class Unread:
    """A file without a page.

    Attributes
    ----------
    name : str
        What it is called in the overview: its path in the folder, or its number.
    reason : str
        Fit for the overview: without names where these are not wanted.
    error : StylemeterError
        With the path, for the one who runs the batch.
    """

    name: str
    reason: str
    error: StylemeterError


@dataclass(frozen=True)
class Outcome:
    """What became of a folder.

    Attributes
    ----------
    rows : list of dict
        A row a solo (see `class_rows`), in the order of the files.
    unread : list of Unread
    passed_over : list of str
        Files of no kind that is read; nameless where names are not wanted.
    done : int
        Solos placed by this run; the others were there.
    """

    rows: list[dict[str, Any]]
    unread: list[Unread]
    passed_over: list[str]
    done: int


@dataclass(frozen=True)
class ClassResult:
    """What placing a folder made: a page a solo and the overview over them.

    Attributes
    ----------
    page : Path
        The overview.
    view : ClassView
        What it says.
    outcome : Outcome
        What became of every file.
    """

    page: Path
    view: ClassView
    outcome: Outcome

    def __repr__(self) -> str:
        rows, unread = len(self.outcome.rows), len(self.outcome.unread)
        return f"<ClassResult: {rows} solos placed, {unread} files without a page, {self.page}>"


def place_folder(
    folder: str | PathLike[str],
    out: str | PathLike[str],
    profile: str | PathLike[str],
    *,
    options: ReadOptions | None = None,
    kind: str | None = None,
    coverage: float = 0.9,
    advice: str | PathLike[str] | None = None,
    anonymous: bool = False,
    workers: int = 1,
    again: bool = False,
    progress: Callable[[int, int], None] | None = None,
    on_error: Callable[[StylemeterError], None] | None = None,
) -> ClassResult:
    """Place every solo of a folder: a page each, an overview, and the tables beside it.

    An interrupted run goes on where it stopped when it is called again; a file that can't be read stops nothing.

    Parameters
    ----------
    folder, out : path
        Where the solos lie, and where pages and tables go.
    profile : str or path
        Name or folder of the style they are compared with.
    options : ReadOptions, optional
        How to read the files.
    kind : str, optional
        Kind of every file, where the content is not to tell.
    coverage : float
        Share of the style the norm holds, 0.5 to 0.99.
    advice : path, optional
        An advice file of the teacher's own, laid over ours.
    anonymous : bool
        Whether numbers take the place of names, titles and paths.
    workers : int
        Processes.
    again : bool
        Whether to do anew what is done.
    progress : callable, optional
        Called with how many files are done and how many there are.
    on_error : callable, optional
        Called with what is wrong with a file, as it is found.

    Returns
    -------
    ClassResult

    Raises
    ------
    UsageError, ProfileError, AdviceError
        If an option can't be used, the folder is not there or `out` can't be written.
    """
    target = Path(out)
    own = None if advice is None else str(advice)
    settings = BatchSettings(str(profile), options or ReadOptions(), kind, coverage, own, anonymous)
    outcome = run(Path(folder), target, settings, workers=workers, again=again, progress=progress, on_error=on_error)
    view = class_view(
        outcome.rows,
        load_profile(settings.profile),
        load_advice(own),
        coverage,
        unread=[(u.name, u.reason) for u in outcome.unread],
        passed_over=outcome.passed_over,
        anonymous=anonymous,
    )
    try:
        write_overview(view, target)
    except OSError as error:
        raise UsageError(f"can't be written ({error.strerror})", where=show(target)) from None
    return ClassResult(target / "index.html", view, outcome)


def run(
    folder: Path,
    out: Path,
    settings: BatchSettings,
    *,
    workers: int = 1,
    again: bool = False,
    progress: Callable[[int, int], None] | None = None,
    on_error: Callable[[StylemeterError], None] | None = None,
) -> Outcome:
    """Place every solo of a folder.

    Parameters
    ----------
    folder, out : Path
        Where the solos lie, and where pages and records go.
    settings : BatchSettings
    workers : int
        Processes, each of which reads, places and writes whole solos.
    again : bool
        Whether to do anew what is done.
    progress : callable, optional
        Called with how many files are done and how many there are.
    on_error : callable, optional
        Called with what is wrong with a file, as it is found.

    Returns
    -------
    Outcome

    Raises
    ------
    UsageError, ProfileError, AdviceError
        If an option can't be used, the folder is not there or `out` can't be written.
    """
    basis = _basis(settings)
    files, passed_over = _files(folder, out)
    ledger = Ledger(out)
    try:
        with ledger.held():
            batch = _Batch(folder, files, settings, basis, ledger, again)
            for count, (file, done) in enumerate(batch.work(workers), 1):
                for error in batch.note(file, done):
                    if on_error:
                        on_error(error)
                if progress:
                    progress(count, len(files))
            return batch.outcome([""] * len(passed_over) if settings.anonymous else passed_over)
    except BrokenPipeError:
        raise
    except OSError as error:
        what = f"can't be written ({error.strerror})"
        raise UsageError(what, where=show(out), mend="make room and run it again: what is done is kept") from None


def _basis(settings: BatchSettings) -> str:
    """Hash of what decides every page of a batch; raises where a wish can't be met."""
    analysis = analysis_of(settings)
    known = {
        "versions": [RECORD_VERSION, READER_VERSION, FEATURE_VERSION, __version__],
        "reading": [settings.kind, asdict(settings.options)],
        "judging": [settings.coverage, settings.anonymous, repr(analysis.advice)],
        "styles": [[s.digest, *_digests(s)] for s in [analysis.profile, *analysis.styles] if s is not None],
    }
    return hashlib.sha256(json.dumps(known, sort_keys=True, default=str).encode("utf-8", "replace")).hexdigest()


def _digests(style: Profile) -> list[str]:
    """Digests of what a style says beside its sample."""
    paths = [Path(style.folder or "") / name for name in ("profile.json", "calibration.json")]
    return [hashlib.sha256(p.read_bytes()).hexdigest() if p.is_file() else "" for p in paths]


def _files(folder: Path, out: Path) -> tuple[list[Path], list[str]]:
    """Files to read, sorted, and the visible others; what a batch wrote itself is neither."""
    if not folder.is_dir():
        raise UsageError("is no folder", where=show(folder), mend="name a folder of solos")
    own = out.resolve()
    # only a result inside the folder is to be told from the solos; one around it is refused when it is opened
    inside = folder.resolve() in own.parents
    files = [p for p in find([folder]) if p != folder and not (inside and own in p.resolve().parents)]
    known = set(files)
    there = sorted(folder.rglob("*"))
    results = {p.parents[1] for p in there if p.parts[-2:] == LEDGER.parts} - {folder}
    others = [
        show(str(p.relative_to(folder)))
        for p in there
        if p not in known
        and p.is_file()
        and not (inside and own in p.resolve().parents)
        and not _hidden(p, folder)
        and results.isdisjoint(p.parents)
    ]
    if not files:
        raise UsageError("holds no file of a kind that is read", where=show(folder), mend="name a folder of solos")
    return files, others


def _hidden(path: Path, folder: Path) -> bool:
    return any(part.startswith(".") for part in path.relative_to(folder).parts)


# -- the run -----------------------------------------------------------------------------------------------------


class _Batch:
    """The bookkeeping of one run, in the process that started it."""

    def __init__(
        self, folder: Path, files: Sequence[Path], settings: BatchSettings, basis: str, ledger: Ledger, again: bool
    ) -> None:
        self.folder, self.files, self.settings, self.basis, self.ledger = folder, files, settings, basis, ledger
        inside = [str(p.relative_to(folder)) for p in files]
        numbers = _numbers(ledger.folder, inside) if settings.anonymous else range(1, len(files) + 1)
        width = max(2, len(str(max(numbers))))
        self.labels = [say("class.number", count=f"{i:0{width}}") for i in numbers]
        if settings.anonymous:
            self.names = safe_names(self.labels)
        else:
            self.names = safe_names([p.stem for p in files])
        self.there = {} if again else _by_key(ledger)
        self.unread: dict[int, list[Unread]] = {}
        self.solos: dict[int, list[str]] = {}
        self.placed = 0

    def work(self, workers: int) -> Iterator[tuple[int, Done]]:
        """Do what is to be done; yields a file's place in the list and what became of it."""
        waiting: list[tuple[int, Task]] = []
        for i, task in self._tasks():
            if isinstance(task, Done):
                yield i, task
            else:
                waiting.append((i, task))
        if workers <= 1 or len(waiting) <= 1:
            if waiting:
                with Worker(self.settings) as worker:
                    yield from ((i, worker.do(task, self.ledger)) for i, task in waiting)
            return
        jobs = [(task, self.settings, self.ledger.folder, os.getpid()) for _, task in waiting]
        yield from zip((i for i, _ in waiting), run_many(in_worker, jobs, workers), strict=True)

    def _tasks(self) -> Iterator[tuple[int, Task | Done]]:
        """A task a file, or what is known of it without any work."""
        for i, path in enumerate(self.files):
            inside = self.labels[i] if self.settings.anonymous else show(str(path.relative_to(self.folder)))
            task = Task(self.names[i], path, inside, self.labels[i] if self.settings.anonymous else "", self.basis)
            try:
                key = task.key(load(path))
            except StylemeterError as error:
                yield i, Done(error=error.at(show(path)))
                continue
            entries = [entry for entry in self.there.get(key, []) if self.ledger.is_whole(entry)]
            if entries and len(entries) == entries[0].of:
                yield i, Done(of=len(entries))
            else:
                yield i, replace(task, skip=frozenset(entry.tune for entry in entries))

    def note(self, i: int, done: Done) -> list[StylemeterError]:
        """Keep what became of a file; returns what went wrong with it."""
        self.placed += done.placed
        gone = dict(done.lost)
        names = tune_names(self.names[i], done.of)
        self.solos[i] = [name for tune, name in enumerate(names, 1) if tune not in gone]
        wrong = [done.error] if done.error is not None else list(gone.values())
        nameless = self.settings.anonymous
        name = self.labels[i] if nameless else show(str(self.files[i].relative_to(self.folder)))
        self.unread[i] = [Unread(name, _nameless_reason(e) if nameless else _reason(e), e) for e in wrong]
        return wrong

    def outcome(self, passed_over: list[str]) -> Outcome:
        """What became of the folder; files of an earlier run that no solo of this one has are removed."""
        names = [name for i in sorted(self.solos) for name in self.solos[i]]
        self.ledger.tidy(names)
        rows = [json.loads(self.ledger.record(name).read_text(encoding="utf-8")) for name in names]
        return Outcome(rows, [u for i in sorted(self.unread) for u in self.unread[i]], passed_over, self.placed)


def key_file(out: Path) -> Path:
    """Where the numbers of an anonymous batch are told apart: beside its folder, so that the folder can be shared."""
    return out.resolve().with_name(f"{out.resolve().name}-key.csv")


def _numbers(out: Path, files: Sequence[str]) -> list[int]:
    """A number a file: those the key file gives, the next ones for files it does not know; the key file is written."""
    path = key_file(out)
    known: dict[str, int] = {}
    if path.is_file():
        for row in csv.DictReader(io.StringIO(path.read_text(encoding="utf-8", errors="replace"))):
            number = row.get("number") or ""
            if number.isdecimal() and row.get("file"):
                known[str(row["file"])] = int(number)
    free = max(known.values(), default=0)
    for file in (f for f in files if escape(f) not in known):
        free += 1
        known[escape(file)] = free
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["number", "file"])
    writer.writerows(sorted((number, file) for file, number in known.items()))
    write_whole(path, text.getvalue().encode("utf-8", "replace"))
    return [known[escape(file)] for file in files]


def _by_key(ledger: Ledger) -> dict[str, list[Entry]]:
    found: dict[str, list[Entry]] = {}
    for entry in ledger.entries().values():
        found.setdefault(entry.key, []).append(entry)
    return found


def _reason(error: StylemeterError) -> str:
    """Why a file has no page, without its name in front."""
    return show(f"{error.what}; {error.mend}" if error.mend else error.what, 500)


def _nameless_reason(error: StylemeterError) -> str:
    """The same without a word of the file's or of its path's."""
    if isinstance(error, LimitError):
        return say("class.unread_limit")
    return say("class.unread_option" if isinstance(error, UsageError) else "class.unread")
