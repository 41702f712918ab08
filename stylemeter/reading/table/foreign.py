"""Tables of notes from elsewhere: rows of cells in named columns, to a melody."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from stylemeter.errors import InputError, StylemeterError
from stylemeter.music.chords.symbols import lay_chords
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Key, Melody, Technique
from stylemeter.music.meter import Meter
from stylemeter.reading.draft.build import Draft, RawNote, build, count_words
from stylemeter.reading.draft.fields import number_or_none, shown
from stylemeter.reading.draft.numbers import midi_number, parse_number
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.draft.user_options import parse_meter
from stylemeter.reading.intake.limits import NOTES_MAX, PITCH_MAX, PITCH_MIN, TEMPO_MAX, TEMPO_MIN, TEXT_MAX
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.table.columns import Column, Role, assign
from stylemeter.reading.table.comments import meter_rows
from stylemeter.reading.table.own import meters_of
from stylemeter.reading.table.time import Row, Source, times_of
from stylemeter.writing.table import root_name

__all__ = ["Table", "melody_of_table"]

#: What stands for a rest in a column of pitches; so does the number 0, which no melody reaches.
_RESTS = frozenset({"", "r", "rest", "-", "none", "nan", "null", "z", "0"})
#: Those that say it.
_SAID_RESTS = frozenset({"r", "rest", "z", "-"})


@dataclass(frozen=True, slots=True)
class Table:
    """A table as found.

    Attributes
    ----------
    names : tuple of str
        Names of the columns.
    rows : sequence of Row
    said : mapping
        What is said of the whole melody: "title", "part", "key", "meter", "tempo", "chords".
    source : str
        "csv" or "json".
    """

    names: tuple[str, ...]
    rows: Sequence[Row]
    said: Mapping[str, str] = field(default_factory=dict)
    source: str = "csv"


@dataclass(frozen=True, slots=True)
class _Event:
    """A row and its pitch; None for a rest."""

    row: Row
    pitch: float | None


def melody_of_table(table: Table, options: ReadOptions) -> Melody:
    """Make the melody of a table from elsewhere.

    Parameters
    ----------
    table : Table
    options : ReadOptions
        `tempo`, `meter` and `first_beat` are used where the columns need them.

    Returns
    -------
    Melody

    Raises
    ------
    InputError
        With the row that can't be understood.
    """
    if len(table.rows) > NOTES_MAX:
        raise InputError(f"{len(table.rows)} rows; at most {NOTES_MAX} notes are read", mend="cut the table")
    columns, ignored = assign(table.names)
    remarks = [f"columns not used: {', '.join(ignored[:8])}"[:TEXT_MAX]] if ignored else []
    part, rows = _part(table, columns, options, remarks)
    events = [_Event(row, _pitch(row, columns["pitch"])) for row in rows]
    remarks += _blank_pitches(events, columns["pitch"])
    if "bar" in columns and not {"onset", "bar_position", "beat"} & columns.keys():
        remarks.append(f"{columns['bar'].name} not used: no column says the beat")
    if {"onset", "bar_position"} & columns.keys() or {"bar", "beat"} <= columns.keys():
        events = [event for event in events if event.pitch is not None]
    tempo, meters = _tempo(table, options, remarks), _meters(table, options)
    source = Source([e.row for e in events], columns, meters or (Meter(0, 4, 4),), tempo, options.first_beat)
    key = _key(table, remarks) or _degree_key(events, columns, remarks)
    draft = _played(events, source, meters) if source.played else _written(events, source, meters, remarks)
    draft = replace(
        draft,
        key=key,
        tempo=tempo,
        title=table.said.get("title", "")[:TEXT_MAX],
        part=part,
        source=table.source,
        remarks=[*remarks, *draft.remarks],
    )
    return _with_chords(build(draft), table.said.get("chords", ""))


def _part(
    table: Table, columns: Mapping[Role, Column], options: ReadOptions, remarks: list[str]
) -> tuple[str, Sequence[Row]]:
    """Name and rows of the part to read: the one asked for, or the likeliest of those a column names."""
    column = columns.get("part")
    own: dict[str, list[Row]] = {}
    for row in table.rows:
        own.setdefault(table.said.get("part", "") if column is None else row.cell(column), []).append(row)
    numbers = {n: [p for row in rows if (p := parse_number(row.cell(columns["pitch"])))] for n, rows in own.items()}
    middles = {
        n: float(sorted(p.value for p in found)[len(found) // 2]) if found else 0.0 for n, found in numbers.items()
    }
    candidates = [Candidate(name[:TEXT_MAX], len(rows), middles[name]) for name, rows in own.items()]
    place, told = choose(candidates or [Candidate("", 0, 0.0)], options.part)
    remarks += told
    return (candidates[place].name, list(own.values())[place]) if candidates else ("", table.rows)


def _blank_pitches(events: Sequence[_Event], column: Column) -> list[str]:
    """A remark on rows that are taken for rests though they do not say so."""
    blank = [e.row for e in events if e.pitch is None and e.row.cell(column).lower() not in _SAID_RESTS]
    if not blank:
        return []
    return [f"{count_words(len(blank), 'row')} without a {column.name} taken for rests (first: {blank[0].where})"]


def _played(events: Sequence[_Event], source: Source, meters: tuple[Meter, ...]) -> Draft:
    """The draft of a table in seconds."""
    from stylemeter.reading.table.played import played_draft

    column = source.columns.get("technique")
    techniques = [_technique(e.row, column) for e in events]
    places = [_place(e.row, source.columns) for e in events]
    return played_draft(source, [e.pitch or 0.0 for e in events], techniques, places, meters)


def _written(events: Sequence[_Event], source: Source, meters: tuple[Meter, ...], remarks: list[str]) -> Draft:
    """The draft of a table in musical time; notes of no length are grace notes, left out and counted."""
    times = times_of(source)
    column = source.columns.get("technique")
    notes, graces = [], 0
    for event, onset, duration, seconds in zip(events, times.onset, times.duration, times.seconds, strict=True):
        graces += event.pitch is not None and duration == 0
        if event.pitch is not None and duration != 0:
            technique, (string, fret) = _technique(event.row, column), _place(event.row, source.columns)
            notes.append(RawNote(onset, duration, event.pitch, technique, seconds, string, fret))
    if graces:
        remarks.append(f"{count_words(graces, 'note')} of no length left out, as grace notes are")
    return Draft(notes, meters, times.spans, remarks=times.remarks)


def _tempo(table: Table, options: ReadOptions, remarks: list[str]) -> float | None:
    """Quarter notes a minute, from the user or the table."""
    if options.tempo is not None:
        return options.tempo
    text = table.said.get("tempo")
    said = number_or_none(text)
    if said is not None and TEMPO_MIN <= said <= TEMPO_MAX:
        return said
    if text:
        remarks.append(f"tempo {shown(text)} not understood; give it with --tempo")
    return None


def _meters(table: Table, options: ReadOptions) -> tuple[Meter, ...]:
    """Meters, from the user or the table; empty where neither tells."""
    if options.meter is not None:
        return (parse_meter(options.meter),)
    said = table.said.get("meter", "")
    return meters_of([list(row) for row in meter_rows(said)]) if said else ()


def _pitch(row: Row, column: Column) -> float | None:
    """Sounding pitch of a row: a MIDI number, a note name with its octave or a frequency; None for a rest."""
    cell = row.cell(column)
    if cell.lower() in _RESTS:
        return None
    printed = parse_number(cell)
    named = midi_number(cell) if printed is None else None
    if printed is None and named is None:
        mend = "write a MIDI number (60 is middle C) or a name with its octave (C4)"
        raise InputError(f"{column.name} {shown(cell)} is not a pitch", where=row.where, mend=mend)
    pitch = float(printed.value) if printed else float(named or 0)
    if column.unit == "hertz":
        if pitch <= 0:
            return None
        pitch = 69 + 12 * math.log2(pitch / 440)
    if not PITCH_MIN <= pitch <= PITCH_MAX:
        raise InputError(f"{column.name} {cell} is outside of MIDI's 0 to 127", where=row.where, mend="mend the row")
    return pitch


def _key(table: Table, remarks: list[str]) -> Key | None:
    """The key the table names."""
    said = table.said.get("key", "")
    if not said:
        return None
    try:
        return parse_key(said, "declared")
    except StylemeterError:
        remarks.append(f"key {shown(said)} not understood; give it with --key")
        return None


def _degree_key(events: Sequence[_Event], columns: dict[Role, Column], remarks: list[str]) -> Key | None:
    """The tonic that lies a row's degree (semitones, 0 to 11) below its pitch; the mode isn't told."""
    column = columns.get("degree")
    if column is None:
        return None
    tonics: list[tuple[int, Row]] = []
    for event in events:
        degree = parse_number(event.row.cell(column))
        if event.pitch is None or degree is None:
            continue
        if degree.value.denominator != 1 or not 0 <= degree.value <= 11:
            remarks.append(f"{column.name} is not in semitones above the tonic (0 to 11): not used")
            return None
        tonic = (math.floor(event.pitch + 0.5) - int(degree.value)) % 12
        if not tonics or tonics[-1][0] != tonic:
            tonics.append((tonic, event.row))
    if not tonics:
        return None
    if len(tonics) > 1:
        other, row = tonics[1]
        remarks.append(
            f"the tonic changes {count_words(len(tonics) - 1, 'time')} "
            f"(first to {root_name(other)} in {row.where}): {root_name(tonics[0][0])} kept throughout"
        )
    return Key(tonics[0][0], None, "declared")


def _technique(row: Row, column: Column | None) -> Technique | None:
    """Technique marks of a row."""
    if column is None:
        return None
    words = row.cell(column).replace(";", " ").replace(",", " ").split()
    try:
        return Technique.from_words(words)
    except InputError as error:
        raise error.at(row.where) from None


def _place(row: Row, columns: Mapping[Role, Column]) -> tuple[int, int]:
    """String and fret of a row, -1 where it says none."""
    found = []
    for role in ("string", "fret"):
        column = columns.get(role)
        cell = "" if column is None else row.cell(column)
        found.append(int(cell) if cell.isdecimal() and len(cell) < 3 else -1)
    return found[0], found[1]


def _with_chords(melody: Melody, text: str) -> Melody:
    """The melody over a line of chords ("Dm7 | G7"), where the table has one."""
    if not text.strip():
        return melody
    end = melody.onset[-1] + (1 if melody.duration is None else melody.duration[-1])
    try:
        chords = lay_chords(text, melody.meters, melody.bars, int(melody.onset[0]), int(end))
    except InputError as error:
        return melody.with_remarks(f"chords not understood ({error}); give them with --chords")
    return replace(melody, chords=chords)
