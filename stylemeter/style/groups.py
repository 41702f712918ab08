"""Groups of solos: what a table of metadata says of each file, and by which of its columns they are grouped.

A table is a CSV file with a column that names the files ("file", "solo", "id", ... else its first column): by path,
by name with or without the ending, or by number ("7" is 007.csv). Without a table, ``folder`` is a column.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from stylemeter.errors import InputError, UsageError
from stylemeter.reading.intake.guard import load
from stylemeter.support.decoding import decode
from stylemeter.support.printable import show

__all__ = ["FOLDER", "UNKNOWN", "Metadata", "grouped", "load_metadata"]

#: The column every file has.
FOLDER = "folder"
#: Group of files whose column is empty or that the table doesn't name.
UNKNOWN = "(not known)"
#: Columns that name the file, the first that is there.
_NAMES = ("file", "path", "filename", "file_name", "solo", "id", "name", "title")
#: Most rows and columns of a table.
ROWS_MAX, COLUMNS_MAX = 1_000_000, 200


@dataclass(frozen=True, eq=False)
class Metadata:
    """What is known of each file.

    Attributes
    ----------
    columns : tuple of str
        Of the table, the one that names the files left out.
    rows : dict
        By what names a file.
    """

    columns: tuple[str, ...] = ()
    rows: dict[str, dict[str, str]] | None = None

    def of(self, path: str | Path) -> dict[str, str]:
        """Return the columns of a file, empty where the table doesn't name it."""
        found = {}
        if self.rows is not None:
            row = next((self.rows[key] for key in _keys(Path(path)) if key in self.rows), {})
            found = {column: row.get(column, "") for column in self.columns}
        return found if FOLDER in found else {**found, FOLDER: Path(path).resolve().parent.name}

    def names(self, path: str | Path) -> bool:
        """Whether the table has a row for a file."""
        return self.rows is not None and any(key in self.rows for key in _keys(Path(path)))

    def check(self, column: str) -> None:
        """Refuse a column that isn't there.

        Raises
        ------
        UsageError
        """
        there = [*self.columns, *([] if FOLDER in self.columns else [FOLDER])]
        if column not in there:
            mend = "columns are: " + ", ".join(show(c) for c in there)
            if self.rows is None:
                mend += "; name a table of others with --metadata FILE.csv"
            raise UsageError(f"no column {show(column)!r} to group by", mend=mend)


def _keys(path: Path) -> list[str]:
    """Names a table may call a file by, the closest first."""
    names = [str(path), path.name, path.stem]
    if path.stem.isdecimal():
        names.append(str(int(path.stem)))
    return [name.casefold() for name in names]


def load_metadata(path: Path | None) -> Metadata:
    """Read a table of metadata.

    Parameters
    ----------
    path : Path or None
        None gives the columns every file has.

    Raises
    ------
    InputError
        If it can't be read as a table with a header.
    """
    if path is None:
        return Metadata()
    where = show(path)
    text = decode(load(path)).lstrip("\ufeff")
    head = text.partition("\n")[0]
    comma = max(",;\t", key=head.count)
    try:
        table = list(csv.reader(io.StringIO(text), delimiter=comma))
    except csv.Error as error:
        raise InputError(f"not a table: {error}", where=where, mend="save it as CSV") from None
    if len(table) < 2 or len(table) > ROWS_MAX or not 1 < len(table[0]) <= COLUMNS_MAX:
        raise InputError(
            "not a table of metadata", where=where, mend="it needs a header, a column that names the files, and others"
        )
    header = [cell.strip() for cell in table[0]]
    twice = [h for h in header if header.count(h) > 1]
    if twice:
        raise InputError(f"two columns are called {show(twice[0])!r}", where=where, mend="give each its own name")
    low = [h.casefold() for h in header]
    name = next((low.index(n) for n in _NAMES if n in low), 0)
    rows: dict[str, dict[str, str]] = {}
    for cells in table[1:]:
        if len(cells) > name and cells[name].strip():
            row = dict(zip(header, (show(c.strip(), 200) for c in cells), strict=False))
            for key in _keys(Path(cells[name].strip())):
                rows.setdefault(key, row)
    return Metadata(tuple(h for i, h in enumerate(header) if i != name), rows)


def grouped(paths: Iterable[Path], metadata: Metadata, column: str) -> dict[str, list[Path]]:
    """Files by what a column says of them, the groups sorted by name.

    Raises
    ------
    UsageError
        If there is no such column.
    """
    metadata.check(column)
    found: dict[str, list[Path]] = {}
    for path in paths:
        found.setdefault(metadata.of(path)[column] or UNKNOWN, []).append(path)
    return {name: found[name] for name in sorted(found, key=_natural)}


def _natural(name: str) -> tuple[bool, float, str]:
    """Numbers by their value, before names."""
    number: Sequence[str] = name.split(".")
    plain = all(part.isdecimal() for part in number) and len(number) <= 2
    return (not plain, float(name) if plain else 0.0, name)
