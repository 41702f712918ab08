"""Which column of a table holds what, by its name.

Conventions: a name may carry a unit ("onset (s)", "duration_ms", "start [beats]"). Where it does not, names with
"time" in them are seconds, as sound tools write them, and all others quarter notes, as notation tools do.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from stylemeter.errors import InputError

__all__ = ["Column", "Role", "assign", "known"]

Moment = Literal["onset", "seconds", "bar", "beat", "bar_position", "duration", "end"]
Role = Literal[Moment, "pitch", "technique", "degree", "part", "string", "fret"]
Unit = Literal["quarters", "seconds", "milliseconds", "hertz", ""]

_NAMES: dict[str, tuple[Role, Unit]] = {
    **dict.fromkeys(("onset", "onsets", "start", "begin", "position", "offset"), ("onset", "")),
    **dict.fromkeys(("time", "onset_time", "start_time", "begin_time", "time_start"), ("onset", "seconds")),
    **dict.fromkeys(("seconds", "second", "secs", "sec", "s"), ("onset", "seconds")),
    **dict.fromkeys(("ms", "milliseconds"), ("onset", "milliseconds")),
    **dict.fromkeys(("beats", "quarters", "quarter", "quarter_notes"), ("onset", "quarters")),
    **dict.fromkeys(("bar", "bars", "measure", "bar_number", "measure_number"), ("bar", "")),
    "beat": ("beat", ""),
    **dict.fromkeys(("bar_position", "measure_position"), ("bar_position", "")),
    **dict.fromkeys(("duration", "durations", "dur", "length", "len"), ("duration", "")),
    **dict.fromkeys(("quarter_length", "quarterlength"), ("duration", "quarters")),
    **dict.fromkeys(("end", "stop", "note_off"), ("end", "")),
    **dict.fromkeys(("end_time", "offset_time", "stop_time", "time_end"), ("end", "seconds")),
    **dict.fromkeys(("pitch", "pitches", "midi", "note", "note_number", "name", "note_name"), ("pitch", "")),
    **dict.fromkeys(("midi_pitch", "midi_note", "pitch_midi", "pitch_name", "midi_number"), ("pitch", "")),
    **dict.fromkeys(("frequency", "freq", "hz", "f0", "hertz"), ("pitch", "hertz")),
    **dict.fromkeys(("technique", "techniques"), ("technique", "")),
    **dict.fromkeys(("degree", "scale_degree"), ("degree", "")),
    **dict.fromkeys(("part", "track", "voice", "instrument", "staff", "player"), ("part", "")),
    **dict.fromkeys(("string", "string_number"), ("string", "")),
    "fret": ("fret", ""),
}

_UNITS: dict[str, Unit] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "seconds"),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), "milliseconds"),
    **dict.fromkeys(("beat", "beats", "quarter", "quarters", "ql", "quarter_notes"), "quarters"),
    **dict.fromkeys(("hz", "hertz"), "hertz"),
    "midi": "",
}


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is used.

    Attributes
    ----------
    index : int
        Place in the row.
    name : str
        As written.
    role : Role
    unit : {"quarters", "seconds", "milliseconds", "hertz", ""}
        Empty where the name does not say.
    """

    index: int
    name: str
    role: Role
    unit: Unit


def _meaning(name: str) -> tuple[Role, Unit] | None:
    """Role and unit of a column's name, or None where it isn't known."""
    found = re.fullmatch(r"([^(\[]*)(?:[(\[]\s*([^)\]]*?)\s*[)\]])?\s*", name.strip().lower())
    if not found:
        return None
    base = re.sub(r"[^a-z0-9]+", "_", found[1]).strip("_")
    unit = _UNITS.get(re.sub(r"[^a-z]+", "_", found[2] or ""))
    if base in _NAMES:
        role, own = _NAMES[base]
        return role, own if unit is None else unit
    head, _, tail = base.rpartition("_")
    if head in _NAMES and tail in _UNITS:
        return _NAMES[head][0], _UNITS[tail]
    return None


def known(names: Iterable[str]) -> int:
    """How many of these names are column names.

    Examples
    --------
    >>> known(["Onset (s)", "pitch", "velocity"])
    2
    """
    return sum(_meaning(name) is not None for name in names)


def assign(names: Sequence[str]) -> tuple[dict[Role, Column], list[str]]:
    """Which column plays which part.

    Parameters
    ----------
    names : sequence of str
        As written, one a column.

    Returns
    -------
    columns : dict
        Role -> column. "seconds" is a second onset column, beside one in musical time.
    ignored : list of str
        Names of the columns that play none.

    Raises
    ------
    InputError
        If pitch is missing, or anything to tell the time by.

    Examples
    --------
    >>> columns, ignored = assign(["start", "offset", "midi", "velocity"])
    >>> {role: column.name for role, column in columns.items()}, ignored
    ({'onset': 'start', 'end': 'offset', 'pitch': 'midi'}, ['velocity'])
    """
    columns: dict[Role, Column] = {}
    ignored: list[str] = []
    for column in _columns(names, ignored):
        role = _place(column, columns)
        if role is None:
            ignored.append(column.name)
        else:
            columns[role] = column
    _beat_alone(columns)
    _seconds_alone(columns)
    _check(columns)
    return columns, ignored


def _columns(names: Sequence[str], ignored: list[str]) -> list[Column]:
    """Columns of a known name; "offset" is the end where another column is the start."""
    found = [(i, name, _meaning(name)) for i, name in enumerate(names)]
    starts = sum(m is not None and m[0] == "onset" for _, _, m in found)
    columns = []
    for index, name, meaning in found:
        if meaning is None:
            if name.strip():
                ignored.append(name.strip())
            continue
        role, unit = meaning
        if name.strip().lower().startswith("offset") and role == "onset" and starts > 1:
            role = "end"
        columns.append(Column(index, name.strip(), role, unit))
    return columns


def _place(column: Column, columns: dict[Role, Column]) -> Role | None:
    """The part a column plays beside those there already."""
    if column.role == "onset" and column.unit in ("seconds", "milliseconds"):
        return "seconds" if "seconds" not in columns else None
    return column.role if column.role not in columns else None


def _beat_alone(columns: dict[Role, Column]) -> None:
    """Without bars, "beat" counts quarter notes from the start."""
    if "beat" in columns and "bar" not in columns and "onset" not in columns:
        columns["onset"] = columns.pop("beat")


def _seconds_alone(columns: dict[Role, Column]) -> None:
    """Seconds are the onset where nothing else is."""
    musical = "onset" in columns or "bar_position" in columns or {"bar", "beat"} <= columns.keys()
    if not musical and "seconds" in columns:
        columns["onset"] = columns.pop("seconds")


def _check(columns: dict[Role, Column]) -> None:
    """Refuse a table without pitches, or without anything to tell the time by."""
    named = ", ".join(column.name for column in columns.values()) or "none"
    mend = "name the columns in a first line (onset, duration, pitch, ...)"
    if "pitch" not in columns:
        raise InputError(f"no column of pitches (columns known: {named})", mend=mend)
    timed = "onset" in columns or "bar_position" in columns or {"bar", "beat"} <= columns.keys()
    if not timed and "duration" not in columns:
        raise InputError(f"no column of onsets (columns known: {named})", mend=mend)
