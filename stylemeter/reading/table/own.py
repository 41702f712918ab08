"""Our own note table, back into the melody it was written from.

Conventions: what the table says is taken as it stands, so the key, the remarks and the share of guesses come back
as they were. Bar, beat and weight are worked out from onsets, meters and bars; a table mended by hand whose columns
no longer agree gets a remark.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, cast

import numpy as np

from stylemeter.errors import InputError, UsageError
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Chord, Ints, Key, KeySource, Melody, Technique, grid_columns
from stylemeter.music.meter import Bars, Meter, plain_bars, regular_spans
from stylemeter.music.scales import MODE_SCALES
from stylemeter.reading.draft.build import count_words
from stylemeter.reading.draft.fields import (
    as_list,
    as_mapping,
    as_text,
    float_of,
    int_of,
    number_or_none,
    shown,
    ticks_of,
)
from stylemeter.reading.intake.limits import (
    BARS_MAX,
    CHORDS_MAX,
    NOTES_MAX,
    PITCH_MAX,
    PITCH_MIN,
    REMARKS_MAX,
    TEMPO_MAX,
    TEMPO_MIN,
)

__all__ = ["key_of", "melody_of", "meters_of"]

#: Changes of meter of one table.
METERS_MAX = 1000
#: Highest string or fret of a note.
PLACE_MAX = 64


@dataclass(frozen=True, slots=True)
class _Note:
    """One row, checked."""

    onset: int
    duration: int | None
    pitch: float
    technique: int | None
    seconds: float | None
    string: int
    fret: int
    ends_phrase: bool | None
    grid: tuple[float | None, float | None, float | None]


def melody_of(record: Mapping[str, Any], wheres: Sequence[str] | None = None) -> Melody:
    """Make the melody of a record in our layout.

    Parameters
    ----------
    record : mapping
        As `writing.table.to_record` makes it; times may be text or numbers.
    wheres : sequence of str, optional
        Where each note stands, for errors; "note 1", "note 2", ... by default.

    Returns
    -------
    Melody

    Raises
    ------
    InputError
        With the note or field that can't be understood.
    """
    solo = as_mapping(record.get("solo") or {}, "solo")
    remarks = [as_text(r) for r in as_list(record.get("remarks") or [], "remarks")][:REMARKS_MAX]
    notes = _single(_notes(as_list(record.get("notes"), "notes"), wheres), remarks)
    onset = np.array([n.onset for n in notes], dtype=np.int64)
    duration = _durations(notes, remarks)
    meters = meters_of(as_list(solo.get("meter"), "meter"))
    bars = _bars(record.get("bars"), onset, duration, meters, remarks)
    bar, beat, weight = grid_columns(onset, meters, bars)
    _compare(notes, (bar, beat, weight), remarks)
    technique = [n.technique for n in notes]
    seconds = [n.seconds for n in notes]
    placed = any(n.string >= 0 and n.fret >= 0 for n in notes)
    phrased = [n.ends_phrase for n in notes]
    tempo = solo.get("tempo")
    return Melody(
        onset=onset,
        duration=duration,
        pitch=np.array([n.pitch for n in notes], dtype=float),
        bar=bar,
        beat=beat,
        weight=weight,
        meters=meters,
        bars=bars,
        technique=None if all(t is None for t in technique) else np.array([t or 0 for t in technique], dtype=np.int64),
        key=key_of(solo.get("key")),
        chords=_chords(record.get("chords")),
        tempo=None if tempo is None else float_of(tempo, "tempo", "solo", TEMPO_MIN, TEMPO_MAX),
        onset_seconds=None if any(s is None for s in seconds) else np.array(seconds, dtype=float),
        strings=np.array([n.string for n in notes], dtype=np.int64) if placed else None,
        frets=np.array([n.fret for n in notes], dtype=np.int64) if placed else None,
        tuning=_tuning(solo.get("tuning")),
        phrase_ends=None if all(p is None for p in phrased) else np.array([*map(bool, phrased[:-1]), True]),
        title=as_text(solo.get("title")),
        part=as_text(solo.get("part")),
        source=as_text(solo.get("source")),
        remarks=tuple(remarks),
        rhythm_known=solo.get("rhythm_known") is not False,
        guessed_share=float_of(solo.get("guessed_share") or 0, "guessed_share", "solo", 0, 1),
    )


def _notes(rows: list[Any], wheres: Sequence[str] | None) -> list[_Note]:
    """Every row, checked."""
    if not rows:
        raise InputError("no notes in it")
    if len(rows) > NOTES_MAX:
        raise InputError(f"{len(rows)} notes; at most {NOTES_MAX} are read", mend="cut the file")
    wheres = wheres or [f"note {i}" for i in range(1, len(rows) + 1)]
    return [_note(as_mapping(row, where), where) for row, where in zip(rows, wheres, strict=True)]


def _note(row: Mapping[str, Any], where: str) -> _Note:
    """One row, checked."""
    duration = row.get("duration")
    length = None if duration in (None, "") else ticks_of(duration, "duration", where)
    if length is not None and length <= 0:
        raise InputError(f"duration {duration} is not over 0", where=where, mend="mend the row or take it out")
    seconds = row.get("onset_seconds")
    grid = [number_or_none(row.get(name)) for name in ("bar", "beat", "weight")]
    return _Note(
        ticks_of(row.get("onset"), "onset", where),
        length,
        float_of(row.get("pitch"), "pitch", where, PITCH_MIN, PITCH_MAX),
        _technique(row.get("technique"), where),
        None if seconds in (None, "") else float_of(seconds, "onset_seconds", where, -1e9, 1e9),
        _place(row.get("string"), "string", where),
        _place(row.get("fret"), "fret", where),
        _is_end(row.get("phrase_end"), where),
        (grid[0], grid[1], grid[2]),
    )


def _place(value: object, name: str, where: str) -> int:
    """A string or fret, -1 where none is given."""
    return -1 if value in (None, "") else int_of(value, name, where, 0, PLACE_MAX)


def _is_end(value: object, where: str) -> bool | None:
    """Whether a note ends a phrase; None where the row doesn't say."""
    return (
        None
        if value in (None, "")
        else bool(int_of(int(value) if isinstance(value, bool) else value, "phrase_end", where, 0, 1))
    )


def _tuning(value: object) -> tuple[int, ...] | None:
    """Open strings, the lowest line first."""
    if value is None:
        return None
    return tuple(int_of(pitch, "tuning", "solo", 0, 127) for pitch in as_list(value, "tuning")[:PLACE_MAX])


def _technique(value: object, where: str) -> int | None:
    """Technique bits of a list of words or of words in one text."""
    if value is None:
        return None
    words = re.split(r"[\s;,]+", value) if isinstance(value, str) else as_list(value, where)
    try:
        return int(Technique.from_words([str(w) for w in words if w]))
    except InputError as error:
        raise error.at(where) from None


def _single(notes: list[_Note], remarks: list[str]) -> list[_Note]:
    """Notes by onset, the top one of several at one onset."""
    top = {n.onset: n for n in sorted(notes, key=lambda n: (n.onset, n.pitch))}
    if len(top) < len(notes):
        lower = count_words(len(notes) - len(top), "lower note")
        remarks.append(f"{lower} of double stops or chords left out: the top note is kept")
    return list(top.values())


def _durations(notes: list[_Note], remarks: list[str]) -> Ints | None:
    """Durations, or None where some note has none."""
    missing = sum(n.duration is None for n in notes)
    if missing and missing < len(notes):
        remarks.append(f"{count_words(missing, 'note')} without a duration: durations are left out altogether")
    return None if missing else np.array([n.duration for n in notes], dtype=np.int64)


def meters_of(rows: list[Any]) -> tuple[Meter, ...]:
    """Meters from [[onset, numerator, denominator], ...].

    Raises
    ------
    InputError
        If a row is not that, or there are none.
    """
    if not 0 < len(rows) <= METERS_MAX:
        raise InputError(f"{len(rows)} meters", where="meter", mend=f"give at least one and at most {METERS_MAX}")
    meters: dict[int, Meter] = {}
    for row in rows:
        if not isinstance(row, list) or len(row) != 3:
            mend = "write [onset, numerator, denominator]"
            raise InputError(f"{shown(row)} is not a meter", where="meter", mend=mend)
        onset = ticks_of(row[0], "onset", "meter")
        meters[onset] = Meter(onset, *(int_of(v, "number", "meter", 0, 64) for v in row[1:]))
    return tuple(meters[onset] for onset in sorted(meters))


def _bars(value: object, onset: Ints, duration: Ints | None, meters: Sequence[Meter], remarks: list[str]) -> Bars:
    """Bars as listed, with full ones added for notes after the last; full bars where none are listed."""
    shortest = min(m.bar for m in meters)
    rows = [] if value is None else [_bar_row(row) for row in as_list(value, "bars")]
    start = rows[-1][1] if rows else min(0, int(onset[0]))
    if len(rows) + (int(onset[-1]) + 1 - start) // shortest > BARS_MAX:
        raise InputError(f"more than {BARS_MAX} bars", where="bars", mend="check the onsets or cut the file")
    if value is None:
        return plain_bars(onset, duration, meters)
    if not rows or any(before[0] >= after[0] for before, after in pairwise(rows)):
        raise InputError("bar lines do not rise, or there are none", where="bars", mend="mend or leave out the bars")
    if onset[-1] >= start:
        added = regular_spans(meters, start, int(onset[-1]) + 1)
        rows += [(line, line + length, rows[-1][2] + i) for i, (line, length) in enumerate(added, 1)]
        remarks.append(f"{count_words(len(added), 'bar')} added after the last for the notes there")
    table = np.array(rows, dtype=np.int64)
    return Bars(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy())


def _bar_row(row: object) -> tuple[int, int, int]:
    """Line, end and number of one bar."""
    if not isinstance(row, list) or len(row) != 3:
        raise InputError(f"{shown(row)} is not a bar", where="bars", mend="write [line, end, number]")
    line, end = ticks_of(row[0], "line", "bars"), ticks_of(row[1], "end", "bars")
    if line >= end:
        raise InputError(f"bar {shown(row)} ends before it starts", where="bars", mend="mend or leave out 'bars'")
    return line, end, int_of(row[2], "number", "bars", -BARS_MAX, BARS_MAX)


def _compare(notes: list[_Note], grid: tuple[Any, Any, Any], remarks: list[str]) -> None:
    """Remark on rows whose bar, beat or weight no longer follow from their onset."""
    columns = list(zip(*(c.tolist() for c in grid), strict=True))
    differ = sum(
        any(said is not None and abs(said - found) > 1e-9 for said, found in zip(note.grid, row, strict=True))
        for note, row in zip(notes, columns, strict=True)
    )
    if differ:
        notes_said = count_words(differ, "note")
        remarks.append(f"bar, beat or weight of {notes_said} did not follow from the onset: worked out anew")


def key_of(value: object) -> Key | None:
    """A key from its record or its name; none where there is none.

    Raises
    ------
    InputError
        If it is neither.
    """
    if value is None or isinstance(value, str):
        return _key_of_name(value) if value else None
    record = as_mapping(value, "key")
    mode, source, runner = record.get("mode"), record.get("source", "declared"), record.get("runner_up")
    if mode is not None and not (isinstance(mode, str) and mode in MODE_SCALES):
        raise InputError(f"mode {shown(mode)} is not known", where="key", mend="modes are: " + ", ".join(MODE_SCALES))
    if source not in ("declared", "given", "estimated"):
        raise InputError(f"source {shown(source)} is not known", where="key", mend="write declared, given or estimated")
    margin = record.get("margin")
    return Key(
        int_of(record.get("tonic"), "tonic", "key", 0, 11),
        mode,
        cast("KeySource", source),
        runner if isinstance(runner, str) else None,
        None if margin is None else float_of(margin, "margin", "key", -10, 10),
    )


def _key_of_name(text: str) -> Key:
    """A key as people write it."""
    try:
        return parse_key(text, "declared")
    except UsageError as error:
        raise InputError(error.what, where="key", mend=error.mend) from None


def _chords(value: object) -> tuple[Chord, ...] | None:
    """Chords from their records."""
    if value is None:
        return None
    rows = as_list(value, "chords")
    if len(rows) > CHORDS_MAX:
        raise InputError(f"{len(rows)} chords; at most {CHORDS_MAX} are read", mend="cut the file")
    chords = [_chord(as_mapping(row, f"chord {i}"), f"chord {i}") for i, row in enumerate(rows, 1)]
    return tuple(sorted(chords, key=lambda c: c.onset))


def _chord(record: Mapping[str, Any], where: str) -> Chord:
    """A chord from its record."""
    root = record.get("root")
    classes = as_list(record.get("pitch_classes") or [], where)
    return Chord(
        ticks_of(record.get("onset"), "onset", where),
        None if root is None else int_of(root, "root", where, 0, 11),
        as_text(record.get("kind")),
        tuple(int_of(c, "pitch class", where, 0, 11) for c in classes[:12]),
    )
