"""What the commands share: reading options, reading many files, messages and exit codes.

Exit codes: 0 everything read, 2 usage (option, profile, advice), 3 some inputs unreadable, 4 none readable.
`fit` exits 3 where a tune could not be read: the style is there, without it.
"""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import click

from stylemeter.errors import InputError, StylemeterError, UsageError
from stylemeter.reading import ReadOptions, Session, find
from stylemeter.support.files import write_whole, writing
from stylemeter.support.printable import show

__all__ = [
    "Inputs",
    "errors_to_exit_codes",
    "metadata_options",
    "open_data_option",
    "progress_bar",
    "put",
    "read_options",
    "read_options_from",
    "say",
]

USAGE, SOME, NONE = 2, 3, 4
#: Longest line told, in characters.
LINE_MAX = 4000

F = TypeVar("F", bound=Callable[..., Any])


def say(text: str) -> None:
    """Print a line of progress or a remark on standard error, nothing in it that could steer a terminal."""
    click.echo(show(text, LINE_MAX), err=True)


def errors_to_exit_codes(function: F) -> F:
    """Turn our errors into one line on standard error and an exit code; nothing else is caught."""

    @functools.wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        try:
            return function(*args, **kwargs)
        except StylemeterError as error:
            say(f"stylemeter: {error}")
            sys.exit(NONE if isinstance(error, InputError) else USAGE)

    return wrapped  # type: ignore[return-value]


def put(data: str | bytes, out: Path | None) -> None:
    """Write a result to a file, whole, or print it.

    Raises
    ------
    UsageError
        If it can't be written.
    """
    if out is None:
        click.echo(data, nl=False)
        return
    with writing(out):
        write_whole(out, data.encode("utf-8") if isinstance(data, str) else data)


def read_options(function: F, kind_option: str = "--format") -> F:
    """Add the options that say how to read a file; the command gets them as `options` and `kind`.

    Parameters
    ----------
    function : callable
    kind_option : str
        Name of the option that says the kind of file; commands that write a format of their own name it "--from".
    """
    choices = [
        click.option("--part", help="Part to read: its name or its number from 1."),
        click.option("--key", help='Key to read degrees from: "D dorian", "Bb major", "F#m".'),
        click.option("--meter", help='Meter, for files without one or to override it: "4/4".'),
        click.option("--chords", help='Chords bar by bar: "Dm7 | G7 | Cmaj7 % |".'),
        click.option("--tempo", type=float, help="Quarter notes a minute, for sources in seconds."),
        click.option("--first-beat", type=float, help="Second at which beat 1 of bar 1 falls, for performances."),
        click.option("--count-in", type=int, help="Clicks before a recording begins, a quarter note each: 4."),
        click.option(kind_option, "kind", help="Kind of file, where the content doesn't tell (needed for -)."),
    ]

    @functools.wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        names = ("part", "key", "meter", "chords", "tempo", "first_beat", "count_in")
        options = ReadOptions(**{name: kwargs.pop(name) for name in names})
        if options != ReadOptions():
            # not at the head: it loads numpy, which a mistyped option need not wait for
            from stylemeter.reading.draft.user_options import check

            check(options)
        return function(*args, options=options, **kwargs)

    decorated: Any = wrapped
    for choice in reversed(choices):
        decorated = choice(decorated)
    return decorated  # type: ignore[no-any-return]


def read_options_from(function: F) -> F:
    """As `read_options`, the kind of file given with --from."""
    return read_options(function, "--from")


open_data_option = click.option(
    "--open-data", type=click.Path(path_type=Path), help="Folder of the open collections you fetched."
)


def metadata_options(function: F) -> F:
    """Add the options that say what is known of each file; the command gets them as `by` and `metadata`."""
    by = click.option("--by", help="Group by a column of the metadata, or by folder.")
    table = click.option(
        "--metadata",
        type=click.Path(dir_okay=False, path_type=Path),
        help="Table (CSV) of what is known of each file: a column names the files, the others are yours.",
    )
    return by(table(function))


@dataclass
class Inputs:
    """The files of a call, and what could not be read of them.

    Attributes
    ----------
    failed : list of str
        A line a file.
    read : int
        Files read.
    """

    paths: Sequence[str]
    options: ReadOptions
    kind: str | None = None
    failed: list[str] = field(default_factory=list)
    usage: int = 0
    read: int = 0

    def files(self) -> list[Path]:
        """The files of the call, those of the folders named among them."""
        return [Path(p) for p in self.paths] if "-" in self.paths else find(self.paths)

    def melodies(self) -> Iterator[Any]:
        """Read them; yields the melodies one by one, telling errors as they come."""
        with Session() as session:
            for result in session.read_all(self.files(), self.options, self.kind):
                if self.took(result.error):
                    yield from result.melodies

    def took(self, error: StylemeterError | None) -> bool:
        """Whether a file was read; where not, its error is told. Counts it either way."""
        if error is not None:
            self.fail(error)
        else:
            self.read += 1
        return error is None

    def fail(self, error: StylemeterError) -> None:
        """Tell an error and count it."""
        self.failed.append(str(error))
        self.usage += isinstance(error, UsageError)
        say(f"stylemeter: {error}")

    def exit(self) -> None:
        """Leave with the code that says how much was read."""
        if not self.failed:
            return
        if self.read:
            sys.exit(SOME)
        sys.exit(USAGE if self.usage == len(self.failed) else NONE)


def tell_remarks(melody: Any) -> None:
    """Print a melody's remarks on a terminal's standard error."""
    if not sys.stderr.isatty():
        return
    for remark in melody.remarks:
        say(f"{show(Path(melody.path).name)}: {remark}")


@contextmanager
def progress_bar(words: str) -> Iterator[Callable[[int, int], None]]:
    """Show a progress bar on a terminal's standard error, nothing elsewhere.

    Yields
    ------
    callable
        To be called with how much is done and how much there is.
    """
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    task = bar.add_task(words, total=None)

    def show_(done: int, total: int) -> None:
        # its thread starts with the first thing done, when worker processes are there already
        bar.start()
        bar.update(task, completed=done, total=total)

    try:
        yield show_
    finally:
        bar.stop()
