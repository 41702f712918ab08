"""Rows and spines of a Humdrum file: which column belongs to which spine, row by row.

Conventions: a column is what stands between two tabs, a spine what one ``**`` word starts; a spine that splits has
several columns. Nothing is interpreted here but the spine paths.

References
----------
.. [1] D. Huron, The Humdrum Toolkit: Reference Manual, 1994: "Humdrum syntax", spine-path indicators.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stylemeter.errors import InputError, LimitError

__all__ = ["Cell", "Column", "Row", "read_rows", "split_pieces"]

#: Columns of one row, and rows of one file.
COLUMNS_MAX, ROWS_MAX = 128, 200_000
#: Characters of one cell.
CELL_MAX = 400

_PATHS = frozenset({"*^", "*v", "*x", "*+", "*-"})


@dataclass(slots=True, eq=False)
class Column:
    """One column: its spine's number from 0, its ``**`` word, and whether it leads its spine.

    Of the columns a spine splits into the left one leads: the upper voice, as engravers of kern take it.
    """

    spine: int
    kind: str
    leads: bool = True


@dataclass(frozen=True, slots=True)
class Cell:
    """What one column says in one row."""

    column: Column
    text: str


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file, its cells, and which column each column came out of (new -> old)."""

    line: int
    cells: tuple[Cell, ...]
    origins: tuple[tuple[Column, Column], ...] = ()


def split_pieces(text: str) -> list[tuple[int, list[str]]]:
    """Pieces of a file: a new one starts at a ``**`` row once every spine of the one before has ended.

    Returns
    -------
    list of (line, lines)
        Line number of the first line, from 1. Lines before the first ``**`` row stand at the head of it.

    Raises
    ------
    InputError
        If there is no ``**kern`` spine in it.
    """
    lines = re.split(r"\r\n|\r|\n", text)
    if len(lines) > ROWS_MAX:
        raise LimitError(f"more than {ROWS_MAX} lines", mend="split the file")
    starts = [i for i, line in enumerate(lines) if line.startswith("**")]
    if not any("**kern" in lines[i] for i in starts):
        raise InputError("no **kern spine in it", mend="check that it is a Humdrum file with a **kern column")
    pieces = []
    for start, end in zip(starts, [*starts[1:], len(lines)], strict=True):
        head = start
        while head > 0 and lines[head - 1].startswith("!!!"):
            head -= 1
        pieces.append((head + 1, lines[head:end]))
    return pieces


def read_rows(first: int, lines: Sequence[str], remarks: list[str]) -> Iterator[Row]:
    """Rows of one piece with their columns; comments and empty lines are passed over.

    Parameters
    ----------
    first : int
        Number of the first line.
    lines : sequence of str
    remarks : list of str
        Repairs are added to it.

    Raises
    ------
    InputError
        If a row has too few or too many cells: its notes could belong to any column.
    LimitError
        If the spines split beyond `COLUMNS_MAX`.
    """
    columns: list[Column] = []
    spaced = _spaced(lines)
    if spaced:
        remarks.append("columns are parted by spaces in place of tabs")
    for number, line in enumerate(lines, start=first):
        if not line.strip() or line.startswith("!"):
            continue
        texts = _cells(line, len(columns), spaced=spaced)
        if line.startswith("**"):
            columns = [Column(i, text) for i, text in enumerate(texts)]
            _bounded(columns, number)
            continue
        if not columns:  # after the last *-
            raise InputError("notes after the end of every spine", where=f"line {number}", mend="remove the early *-")
        if len(texts) != len(columns):
            texts = _complete(texts, len(columns), number)
        row, columns = _row(columns, texts, number)
        yield row
    if columns:
        remarks.append("no *- at the end: the file may be cut short")


def _row(columns: list[Column], texts: Sequence[str], number: int) -> tuple[Row, list[Column]]:
    """A row, and the columns after it."""
    if any(text in _PATHS for text in texts):
        after, origins = _follow(columns, texts, number)
        _bounded(after, number)
        return Row(number, tuple(Cell(c, "*") for c in columns), origins), after
    for column, text in zip(columns, texts, strict=True):
        if column.kind == "**" and text.startswith("**"):  # a spine just added tells what it holds
            column.kind = text
    return Row(number, tuple(map(Cell, columns, texts))), columns


def _spaced(lines: Sequence[str]) -> bool:
    """Whether the columns are parted by spaces: two or more ``**`` words on a row without a tab."""
    head = next((line for line in lines if line.startswith("**")), "")
    return "\t" not in head and len(head.split()) > 1


def _cells(line: str, expected: int, *, spaced: bool) -> list[str]:
    """Cells of a row; where spaces part them, single ones may also be inside a chord."""
    if not spaced:
        cells = line.rstrip("\t ").split("\t") if line.endswith(("\t", " ")) else line.split("\t")
    else:
        cells = re.split(r"\s{2,}|\t", line.strip())
        if len(cells) != expected:
            cells = line.split()
    return [cell.strip()[:CELL_MAX] for cell in cells]


def _complete(texts: list[str], expected: int, number: int) -> list[str]:
    """A row with a wrong number of cells: a lone bar line or end holds for all, anything else is refused."""
    if len(texts) == 1 and (texts[0].startswith("=") or texts[0] == "*-"):
        return texts * expected
    raise InputError(
        f"{len(texts)} cells where there are {expected} columns",
        where=f"line {number}",
        mend='part the cells with tabs and write "." where nothing starts',
    )


def _bounded(columns: Sequence[Column], number: int) -> None:
    """Refuse too many columns."""
    if len(columns) > COLUMNS_MAX:
        raise LimitError(f"more than {COLUMNS_MAX} columns", where=f"line {number}", mend="give the melody alone")


def _follow(
    columns: Sequence[Column], texts: Sequence[str], number: int
) -> tuple[list[Column], tuple[tuple[Column, Column], ...]]:
    """Columns after a row of spine paths, and what each new one came out of."""
    after: list[Column] = []
    origins: list[tuple[Column, Column]] = []
    joining: Column | None = None
    swaps: list[int] = []
    for column, text in zip(columns, texts, strict=True):
        if text != "*v" or (joining is not None and joining.spine != column.spine):
            joining = None
        if text == "*v":
            if joining is None:
                joining = Column(column.spine, column.kind, leads=False)
                after.append(joining)
            joining.leads = joining.leads or column.leads
            origins.append((joining, column))
            continue
        if text == "*x":
            swaps.append(len(after))
        made = _made(column, text, columns)
        after += made
        origins += [(new, column) for new in made if new is not column]
    if len(swaps) % 2:
        raise InputError(
            "an exchange of spines (*x) without its partner", where=f"line {number}", mend="write *x twice"
        )
    for a, b in zip(swaps[::2], swaps[1::2], strict=True):
        after[a], after[b] = after[b], after[a]
    return after, tuple(origins)


def _made(column: Column, path: str, columns: Sequence[Column]) -> list[Column]:
    """What becomes of a column that does not join another."""
    if path == "*-":
        return []
    if path == "*^":
        return [Column(column.spine, column.kind, column.leads), Column(column.spine, column.kind, leads=False)]
    if path == "*+":
        return [column, Column(1 + max(c.spine for c in columns), "**")]
    return [column]
