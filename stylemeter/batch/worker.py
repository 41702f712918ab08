"""One file of a batch, in whatever process works on it: read, placed, its solos' pages and records kept."""

from __future__ import annotations

import gc
import hashlib
import json
import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from stylemeter.analysis import Analysis, prepare
from stylemeter.batch.ledger import Ledger
from stylemeter.errors import StylemeterError
from stylemeter.reading import ReadOptions, Session, load
from stylemeter.report.classroom.words import say
from stylemeter.support.printable import show

if TYPE_CHECKING:
    from stylemeter.music.melody import Melody

__all__ = ["BatchSettings", "Done", "Task", "Worker", "analysis_of", "in_worker", "tune_names"]


@dataclass(frozen=True, slots=True)
class BatchSettings:
    """What a batch is asked for.

    Attributes
    ----------
    profile : str
        Name or folder of the style.
    options : ReadOptions
    kind : str or None
        Kind of every file, where the content is not to tell.
    coverage : float
        Share of the style the norm holds, 0.5 to 0.99.
    advice : str or None
        The teacher's own advice file.
    anonymous : bool
        Whether names give way to numbers.
    """

    profile: str
    options: ReadOptions = field(default_factory=ReadOptions)
    kind: str | None = None
    coverage: float = 0.9
    advice: str | None = None
    anonymous: bool = False


@dataclass(frozen=True, slots=True)
class Task:
    """A file to be worked on.

    Attributes
    ----------
    name : str
        Of its page and record.
    path : Path
    where : str
        What it is called in the overview.
    label : str
        What its solos are called where names are not wanted; else empty.
    basis : str
        Hash of all that decides its pages beside the file.
    skip : frozenset of int
        Solos of it that are done.
    """

    name: str
    path: Path
    where: str
    label: str
    basis: str
    skip: frozenset[int] = frozenset()

    def key(self, data: bytes) -> str:
        """Hash of all that decides what its pages hold."""
        decides = [self.basis, hashlib.sha256(data).hexdigest(), self.where, self.name]
        return hashlib.sha256("\n".join(decides).encode("utf-8", "replace")).hexdigest()


@dataclass(frozen=True, slots=True)
class Done:
    """What became of a task: how many solos the file holds, how many were placed now, and what went wrong.

    `error` is why the file gives none, `lost` why single ones of it are missing.
    """

    of: int = 0
    placed: int = 0
    error: StylemeterError | None = None
    lost: tuple[tuple[int, StylemeterError], ...] = ()


def analysis_of(settings: BatchSettings) -> Analysis:
    """What the solos of a batch are judged with."""
    return prepare(settings.profile, coverage=settings.coverage, advice=settings.advice)


def tune_names(name: str, of: int) -> list[str]:
    """Names of the solos of a file: its own, or numbered behind a point, which no file's own name has.

    Examples
    --------
    >>> tune_names("take", 1), tune_names("takes", 2)
    (['take'], ['takes.1', 'takes.2'])
    """
    return [name] if of == 1 else [f"{name}.{i}" for i in range(1, of + 1)]


class Worker:
    """What a process needs to work on files: a reading session, the styles and the advice, loaded once."""

    def __init__(self, settings: BatchSettings) -> None:
        self.settings = settings
        self.analysis = analysis_of(settings)
        self.session = Session()
        from stylemeter.report.solo import page
        from stylemeter.takes import class_rows  # noqa: F401

        page.warm_up()
        # what is loaded stays; what a solo leaves behind goes soon, however many there are
        gc.freeze()
        gc.set_threshold(5_000, 10, 10)

    def __enter__(self) -> Worker:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.session.close()

    def do(self, task: Task, ledger: Ledger, wanted: Callable[[], bool] = lambda: True) -> Done:
        """Read a file, place its solos and keep them, until nobody wants it any more."""
        settings = self.settings
        try:
            data = load(task.path)
        except StylemeterError as error:
            return Done(error=error.at(show(task.path)))
        try:
            melodies = self.session.read_bytes(data, settings.kind, task.where, settings.options)
        except StylemeterError as error:
            # named as on the command line: in the overview it goes by its place in the folder, or its number
            return Done(error=type(error)(error.what, where=_where(task, error), mend=error.mend))
        placed, lost = 0, []
        names = tune_names(task.name, len(melodies))
        for tune, (name, melody) in enumerate(zip(names, melodies, strict=True), 1):
            if tune in task.skip or not wanted():
                continue
            try:
                page, record = self._made(melody, name, task.label, tune if len(melodies) > 1 else 0)
            except Exception as error:  # noqa: BLE001 - a fault of ours must not cost the rest of the class
                lost.append((tune, _fault(task, tune, error)))
                continue
            if wanted():
                ledger.put(name, task.key(data), tune, len(melodies), page, record)
                placed += 1
        return Done(len(melodies), placed, lost=tuple(lost))

    def _made(self, melody: Melody, name: str, label: str, tune: int) -> tuple[bytes, bytes]:
        """Page and record of a solo."""
        from stylemeter.report.solo.page import page_html, sheet
        from stylemeter.takes.class_rows import pupil, row_of

        if label:
            melody = _nameless(melody, f"{label}.{tune}" if tune else label)
        findings = self.analysis.of(melody)
        row = row_of(findings, name)
        row["sheet"] = sheet(findings, pupil(row))
        record = json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n"
        page = page_html(findings, back="../index.html")
        return page.encode("utf-8", "replace"), record.encode("utf-8", "replace")


def _where(task: Task, error: StylemeterError) -> str:
    """Where a reader found an error, under the file's full path."""
    rest = error.where.removeprefix(show(task.where)).removeprefix(": ")
    return f"{show(task.path)}: {rest}" if rest else show(task.path)


def _fault(task: Task, tune: int, error: Exception) -> StylemeterError:
    """A fault of ours in one solo, in one line."""
    what = show(f"solo {tune} could not be placed ({type(error).__name__}: {error})", 300)
    return StylemeterError(what, where=show(task.path), mend="please report it")


def _nameless(melody: Melody, label: str) -> Melody:
    """The melody with a number for all its names; remarks go too, for they quote titles and parts."""
    count = len(melody.remarks)
    remarks = (say("class.remarks_left_out", count, count=count),) if count else ()
    return replace(melody, title=label, part="", path=label, remarks=remarks)


def in_worker(task: Task, settings: BatchSettings, folder: Path, parent: int) -> Done:
    """The same in a worker process, for as long as the process that started it is there."""
    return _worker(settings).do(task, Ledger(folder), lambda: os.getppid() == parent)


@lru_cache(maxsize=1)
def _worker(settings: BatchSettings) -> Worker:
    """The worker of this process."""
    return Worker(settings)
