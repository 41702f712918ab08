"""Reads note tables: our own JSON and CSV, and tables of notes from elsewhere.

Conventions: JSON or CSV is told by the content. A file may hold several tables: JSON documents one after another or
in a list, or CSV tables that each begin with our first comment line. Comment lines start with "#". What spreadsheets
do to a CSV file is undone: quoted or padded comment lines, semicolons or tabs for commas, decimal commas, byte order
marks, other encodings and line ends, "sep=;" in front. Rows are counted as a spreadsheet counts them.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from stylemeter.errors import InputError, LimitError, UnknownNameError
from stylemeter.music.melody import Melody
from stylemeter.reading.draft.fields import as_list, shown
from stylemeter.reading.draft.numbers import parse_number
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.intake.limits import NOTES_MAX, TUNES_MAX
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.table.columns import known
from stylemeter.reading.table.comments import record_of
from stylemeter.reading.table.foreign import Table, melody_of_table
from stylemeter.reading.table.own import melody_of
from stylemeter.reading.table.time import Row
from stylemeter.support.decoding import decode
from stylemeter.writing.table import SCHEMA

__all__ = ["read"]

#: Rows looked at to tell the delimiter.
SAMPLE = 20
#: Columns of one table, rows of one file, and its size in bytes: ten times the largest melody's (tables are read
#: without a child process to bound them).
COLUMNS_MAX = 200
ROWS_MAX = 250_000
BYTES_MAX = 8 * 2**20

#: Stands behind the last row: a quote that is never closed swallows it.
_END = "\x03end of the table\x03"
_DELIMITERS = ("\t", ";", ",")
_COMMENT = re.compile(r"#\s*([A-Za-z_ ]{1,20}?)\s*[:=]\s*(.*)", re.DOTALL)
_SHEET_ERROR = re.compile(r"#[^\W\d_]+[!?]|#[A-Z]+/[A-Z0]+[!?]?|#NV|#+")
#: What a comment or a field may be called elsewhere.
_SAID = {
    **{name: name for name in ("title", "part", "key", "meter", "tempo", "chords")},
    "bpm": "tempo",
    "time signature": "meter",
    "time_signature": "meter",
    "timesignature": "meter",
    "name": "title",
    "tonality": "key",
}

Cells = tuple[str, ...]


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the melodies of a note table.

    Parameters
    ----------
    data : bytes
        JSON or CSV.
    options : ReadOptions
        `part`, and `columns`, `tempo`, `meter` and `first_beat` are used for tables from elsewhere.

    Returns
    -------
    list of Melody
        One a table; a table that can't be read is told in a remark of the first one that can.

    Raises
    ------
    InputError
        If none can be read: with the row or note, and what is wrong with it.
    UnknownNameError
        If no table holds the part asked for.
    """
    if len(data) > BYTES_MAX:
        raise LimitError(f"a table of more than {BYTES_MAX >> 20} MiB", mend="put fewer melodies in one file")
    text = decode(data).lstrip("\ufeff")
    readers = _json_tables(text, options) if text.lstrip()[:1] in ("{", "[") else _csv_tables(text, options)
    return _each(readers)


def _each(readers: Sequence[Callable[[], Melody]]) -> list[Melody]:
    """Read each table; those that fail become remarks of the first."""
    if len(readers) > TUNES_MAX:
        raise InputError(f"{len(readers)} tables in one file; at most {TUNES_MAX} are read", mend="cut the file")
    melodies: list[Melody] = []
    failed: list[tuple[int, InputError]] = []
    unknown: list[UnknownNameError] = []
    for place, reader in enumerate(readers, 1):
        try:
            melodies.append(reader())
        except InputError as error:
            failed.append((place, error))
        except UnknownNameError as error:
            unknown.append(error)
    if not melodies and unknown:
        raise unknown[0]
    if not melodies:
        raise failed[0][1] if failed else InputError("no notes in it", mend="check the file")
    remarks = [f"table {place} left out: {error}" for place, error in failed]
    return [melodies[0].with_remarks(*remarks), *melodies[1:]] if remarks else melodies


def _json_tables(text: str, options: ReadOptions) -> list[Callable[[], Melody]]:
    """Readers of the tables in JSON documents."""
    readers = []
    for document in _documents(text):
        several = isinstance(document, list) and all(isinstance(d, dict) and "notes" in d for d in document)
        for table in document if several and document else [document]:
            readers.append(_json_reader(table, options))
            if len(readers) > TUNES_MAX:
                return readers
    return readers


def _documents(text: str) -> Iterator[Any]:
    """JSON documents, one after another."""
    decoder = json.JSONDecoder()
    place = 0
    while place < len(text):
        blank = re.compile(r"\s*").match(text, place)
        place = blank.end() if blank else place
        if place == len(text):
            return
        try:
            document, place = decoder.raw_decode(text, place)
        except json.JSONDecodeError as error:
            where = f"line {error.lineno}, character {error.colno}"
            raise InputError(f"not JSON ({error.msg})", where=where, mend="mend it there or export it again") from None
        except (RecursionError, ValueError):
            raise InputError("JSON that holds no note table", mend="export it again") from None
        yield document


def _json_reader(table: object, options: ReadOptions) -> Callable[[], Melody]:
    """How to read one JSON value."""
    if isinstance(table, list):
        return lambda: melody_of_table(_listed(table, {}, options), options)
    if not isinstance(table, dict):
        return lambda: _refuse(table)
    schema = table.get("schema")
    if schema == SCHEMA:
        return lambda: _with_part(melody_of(table), options)
    if isinstance(schema, str) and schema.startswith("stylemeter/"):
        return lambda: _refuse_schema(schema)
    if "notes" not in table:
        return _refuse_without_notes
    return lambda: melody_of_table(_listed(as_list(table["notes"], "notes"), _said(table), options), options)


def _refuse(value: object) -> Melody:
    raise InputError(f"{shown(value)} is no note table", mend="give a list of notes with onset, duration and pitch")


def _refuse_without_notes() -> Melody:
    mend = 'give a list of objects with onset, duration and pitch, or an object with such a list as "notes"'
    raise InputError("no list of notes in it", mend=mend)


def _refuse_schema(schema: str) -> Melody:
    mend = f"this version reads {SCHEMA}: write the table again, or use the version that wrote it"
    raise InputError(f"layout {shown(schema)} is not known", mend=mend)


def _said(table: dict[str, Any]) -> dict[str, str]:
    """What an object says beside its notes."""
    said = {}
    for name, value in table.items():
        if name.lower() in _SAID and isinstance(value, str | int | float) and not isinstance(value, bool):
            said[_SAID[name.lower()]] = str(value)
        elif _SAID.get(name.lower()) == "meter" and isinstance(value, list) and len(value) == 2:
            said["meter"] = "/".join(str(part) for part in value)
        elif name.lower() in _SAID and value not in (None, "", [], {}):
            said[_SAID[name.lower()]] = json.dumps(value)
    return said


def _listed(notes: list[Any], said: dict[str, str], options: ReadOptions) -> Table:
    """A table of a JSON list: of objects, or of lists with `options.columns`."""
    if len(notes) > NOTES_MAX:
        raise InputError(f"{len(notes)} notes; at most {NOTES_MAX} are read", mend="cut the file")
    if notes and all(isinstance(note, dict) for note in notes):
        names = tuple(dict.fromkeys(name for note in notes for name in note))[:COLUMNS_MAX]
        rows = [tuple(_cell(note.get(name)) for name in names) for note in notes]
    elif notes and all(isinstance(note, list) for note in notes):
        if not options.columns:
            mend = "write objects with onset, duration and pitch"
            raise InputError("lists without column names", mend=mend)
        names = options.columns
        rows = [tuple(_cell(value) for value in note[:COLUMNS_MAX]) for note in notes]
    else:
        raise InputError("no list of notes", mend="give objects with onset, duration and pitch")
    return Table(names, [Row(f"note {i}", cells) for i, cells in enumerate(rows, 1)], said, "json")


def _cell(value: object) -> str:
    """A JSON value as the text of a cell."""
    if isinstance(value, list) and all(isinstance(part, str) for part in value):
        return " ".join(value)
    return value if isinstance(value, str) else "" if value is None else repr(value)


def _csv_tables(text: str, options: ReadOptions) -> list[Callable[[], Melody]]:
    """Readers of the tables in a CSV file."""
    rows = _rows(text)
    starts = [i for i, row in enumerate(rows) if _is_ours(row)]
    if not starts:
        return [lambda: _csv_melody(rows, options)]
    blocks = [rows[a:b] for a, b in zip(starts, [*starts[1:], len(rows)], strict=True)]
    return [lambda block=block: _csv_melody(block, options) for block in blocks]  # type: ignore[misc]


def _is_ours(row: Row) -> bool:
    """Whether a row is the first comment line of our layout."""
    return bool(row.cells) and row.cells[0].lstrip().startswith("#") and row.cells[0].lstrip("# ").strip() == SCHEMA


def _rows(text: str) -> list[Row]:
    """Rows of cells that aren't blank, each with its number as a spreadsheet counts."""
    lines = text.split("\n", 1)
    separator = re.fullmatch(r"sep=(.)\r?", lines[0], re.IGNORECASE)
    delimiter = separator[1] if separator else _delimiter(text)
    rows = []
    for number, cells in enumerate(_cells(text, delimiter), 1):
        if number > ROWS_MAX:
            raise LimitError(f"more than {ROWS_MAX} rows", mend="put fewer melodies in one file")
        kept = cells[:COLUMNS_MAX]
        filled = max((place for place, cell in enumerate(kept, 1) if cell.strip()), default=0)
        if filled and not (separator and number == 1):
            rows.append(Row(f"row {number}", tuple(kept[:filled])))
    return rows


def _cells(text: str, delimiter: str) -> Iterator[Sequence[str]]:
    """Cells of each row; comment lines of a table parted by blanks stay whole."""
    if delimiter == " ":
        for line in text.splitlines():
            yield [line.strip()] if line.lstrip().startswith("#") else line.split()
        return
    reader = csv.reader(io.StringIO(f"{text}\n{_END}\n", newline=""), delimiter=delimiter)
    while True:
        start = reader.line_num + 1
        try:
            row = next(reader)
        except csv.Error as error:
            where = f"line {reader.line_num}"
            raise InputError(f"not a table ({error})", where=where, mend="look for a stray quote") from None
        if row == [_END]:
            return
        if any(_END in cell for cell in row):
            mend = "close the quote, or take it out"
            raise InputError("a quote opened here is never closed", where=f"line {start}", mend=mend)
        yield row


def _delimiter(text: str) -> str:
    """What parts the cells: that of tab, semicolon and comma which all rows agree on, else blanks."""
    lines = [line for line in text.splitlines()[: 50 * SAMPLE] if line.strip().strip(",;\t")]
    sample = [line for line in lines if not line.lstrip(' "').startswith("#")][:SAMPLE]
    counts = {mark: {_count(line, mark) for line in sample} for mark in _DELIMITERS}
    parting = [mark for mark in _DELIMITERS if min(counts[mark], default=1) > 1]
    agreed = [mark for mark in parting if len(counts[mark]) == 1]
    if parting:
        return (agreed or parting)[0]
    return " " if sample and all(len(line.split()) > 1 for line in sample) else ","


def _count(line: str, delimiter: str) -> int:
    """Cells of a line."""
    try:
        return len(next(csv.reader([line], delimiter=delimiter), []))
    except csv.Error:
        return 0


def _csv_melody(rows: Sequence[Row], options: ReadOptions) -> Melody:
    """The melody of one CSV table."""
    comments = [_comment(row) for row in rows if _is_comment(row)]
    table = [row for row in rows if not _is_comment(row)]
    if not table:
        raise InputError("no notes in it", mend="give a line of column names and a line a note")
    if rows and _is_ours(rows[0]):
        return _with_part(_own(comments, table), options)
    names, under = _header(table, options)
    said = {_SAID[name]: text for name, text in comments if name in _SAID}
    return melody_of_table(Table(names, under, said, "csv"), options)


def _own(comments: Sequence[tuple[str, str]], table: Sequence[Row]) -> Melody:
    """The melody of our CSV layout."""
    if len(table) > NOTES_MAX + 1:
        raise InputError(f"{len(table)} notes; at most {NOTES_MAX} are read", mend="cut the file")
    names = [name.strip().lower() for name in table[0].cells]
    missing = {"onset", "pitch"} - set(names)
    if missing:
        mend = "the first line after the comments names the columns"
        raise InputError(f"no column {' or '.join(sorted(missing))}", where=table[0].where, mend=mend)
    technique = {"technique": ""} if "technique" in names else {}
    notes = [technique | dict(zip(names, row.cells, strict=False)) for row in table[1:]]
    return melody_of(record_of(comments) | {"notes": notes}, [row.where for row in table[1:]])


def _with_part(melody: Melody, options: ReadOptions) -> Melody:
    """The melody of a table of ours, whose one part is the one asked for."""
    choose([Candidate(melody.part, len(melody), 0.0)], options.part)
    return melody


def _is_comment(row: Row) -> bool:
    """Whether a row is a comment line; "#REF!" is a cell that a spreadsheet could not work out."""
    return row.cells[0].lstrip().startswith("#") and not _SHEET_ERROR.fullmatch(row.cells[0].strip())


def _comment(row: Row) -> tuple[str, str]:
    """Name and text of a comment line; a spreadsheet may have cut it at its commas."""
    found = _COMMENT.fullmatch(",".join(row.cells).strip())
    return (found[1].lower(), found[2]) if found else ("", "")


def _header(table: Sequence[Row], options: ReadOptions) -> tuple[Cells, Sequence[Row]]:
    """Column names and the rows under them: from the user, else from the first row."""
    first = table[0]
    if options.columns:
        return options.columns, table[1:] if known(first.cells) > 1 else table
    if not known(first.cells):
        mend = "name the columns in a first line (onset, duration, pitch, ...)"
        raise InputError("the first line names no column known here", where=first.where, mend=mend)
    _check_widths(first, table[1:])
    return first.cells, table[1:]


def _check_widths(header: Row, rows: Sequence[Row]) -> None:
    """Refuse rows with numbers beyond the last name: their cells are not under the names they stand for."""
    names = len(header.cells)
    for row in rows:
        if any(parse_number(cell) for cell in row.cells[names:]):
            what = f"{len(row.cells)} cells under {names} column names"
            mend = "name every column (row numbers too), and quote numbers with a decimal comma or part cells by ';'"
            raise InputError(what, where=row.where, mend=mend)
