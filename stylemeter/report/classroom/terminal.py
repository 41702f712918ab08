"""A class for the terminal: a row a solo in 80 columns, plain text through a pipe."""

from __future__ import annotations

import io
import os
import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from stylemeter.features import HABITS
from stylemeter.practice.words import capital, words
from stylemeter.report.classroom.overview import ClassView, group_title, habits_in_common, keys_words
from stylemeter.report.classroom.words import say, texts
from stylemeter.support.printable import show
from stylemeter.takes.class_rows import Row, groups, pupil

__all__ = ["WIDTH", "class_text", "print_class", "put_out"]

WIDTH = 80
#: Traits in common that are listed.
COMMON_MOST = 8

_MARKS = {"shown": "■", "hinted": "▪", "none": "·", "unmeasured": "?"}
_STYLES = {"shown": "bold yellow", "hinted": "yellow", "none": "", "unmeasured": "dim"}


def put_out(*blocks: Table | Text) -> None:
    """Print blocks: in colour on a terminal, as plain text through a pipe or where NO_COLOR is set."""
    if sys.stdout.isatty() and not os.environ.get("NO_COLOR"):
        console = Console(width=min(WIDTH, Console().width), highlight=False)
        for block in blocks:
            console.print(block)
        return
    sys.stdout.write(as_text(*blocks))


def as_text(*blocks: Table | Text) -> str:
    """Blocks as plain text, 80 columns wide."""
    out = io.StringIO()
    console = Console(file=out, width=WIDTH, no_color=True, highlight=False, force_terminal=False)
    for block in blocks:
        console.print(block)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"


def print_class(view: ClassView, page: Path, placed: int) -> None:
    """Print the class and where its overview is."""
    put_out(*_blocks(view, page, placed))


def class_text(view: ClassView, page: Path, placed: int) -> str:
    """The same as plain text."""
    return as_text(*_blocks(view, page, placed))


def _blocks(view: ClassView, page: Path, placed: int) -> list[Table | Text]:
    blocks: list[Table | Text] = []
    if view.rows:
        blocks += [*_groups(view), _table(view), Text(texts()["terminal.legend"], style="dim"), *_common(view)]
    if view.unread:
        blocks.append(Text(say("terminal.unread", len(view.unread), count=len(view.unread))))
    if view.passed_over:
        blocks.append(
            Text(say("terminal.passed_over", len(view.passed_over), count=len(view.passed_over)), style="dim")
        )
    solos = say("class.solos", len(view.rows), count=len(view.rows))
    blocks.append(Text(say("terminal.written", solos=solos, count=placed, path=show(page, 4096)), overflow="fold"))
    return blocks


def _groups(view: ClassView) -> Iterator[Text]:
    """Who works on what, a paragraph each."""
    for group in groups(view.rows):
        names = ", ".join(show(pupil(row), 40) for row in group.rows)
        count = say("class.pupils", len(group.rows), count=len(group.rows))
        head = f"{capital(group_title(group.kind, group.habit))}: {count}"
        yield Text(f"{head}\n" + textwrap.fill(names, WIDTH, initial_indent="  ", subsequent_indent="  "))
    keys = keys_words(view.rows)
    if keys:
        yield Text(keys, style="yellow")
    yield Text()


def _table(view: ClassView) -> Table:
    table = Table(box=None, pad_edge=False, header_style="dim", collapse_padding=True)
    table.add_column(texts()["terminal.solo"], width=26, no_wrap=True, overflow="ellipsis")
    for name in HABITS:
        table.add_column(name, width=len(name), justify="center", no_wrap=True)
    for row in view.rows:
        table.add_row(Text(show(pupil(row), 60)), *_cells(row))
    return table


def _cells(row: Row) -> list[Text]:
    verdicts = [row["habits"][name]["verdict"] for name in HABITS]
    return [Text(_MARKS[verdict], style=_STYLES[verdict]) for verdict in verdicts]


def _common(view: ClassView) -> list[Table | Text]:
    """What they have in common: the habits, and the commonest traits."""
    habits, traits = habits_in_common(view), view.common[:COMMON_MOST]
    said = ", ".join(habits) if habits or traits else texts()["terminal.nothing_common"]
    lines: list[Table | Text] = [Text(f"{texts()['terminal.common']} {said}".rstrip())]
    for shared in traits:
        own = words().features[shared.name]
        clause = own.more if shared.verdict == "above" else own.less
        lines.append(Text(f"  {shared.count}/{shared.measured}  {clause}"))
    more = len(view.common) - len(traits)
    return [*lines, Text("  " + say("terminal.more_common", more, count=more))] if more else lines
