"""The note table as text: one melody as JSON or CSV, from which the same melody can be read again.

Conventions: JSON holds times in quarter notes as exact fractions ("3/2"). CSV holds them as the shortest decimal
that names the tick (a spreadsheet turns 3/2 into a date), and what is not a column stands in comment lines in
front ("# key: D dorian (declared)"). Bar, beat and weight are written for the reader's eye: they follow from the
onsets, meters and bars, and are worked out again when a table is read.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from urllib.parse import quote, unquote

from stylemeter.errors import InputError
from stylemeter.music.chords.symbols import parse_symbol
from stylemeter.music.melody import Chord, Key, Melody, Technique
from stylemeter.music.meter import TICKS, Bars, Meter, plain_bars

__all__ = [
    "SCHEMA",
    "decimal_text",
    "escape",
    "quarters_text",
    "root_name",
    "to_csv",
    "to_json",
    "to_record",
    "unescape",
]

#: Name and version of the layout, in every table.
SCHEMA = "stylemeter/notes/1"

#: Digits of a beat: it is for the reader's eye, the onset is what counts.
BEAT_DIGITS = 5

_ROOTS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")

#: What a spreadsheet would run as a formula at the start of a cell, or of a cell it makes at a comma.
_FORMULA = re.compile(r"(^|[,;\t])(\s*)([=+\-@])")
_UNSAFE = re.compile(r'[%"\x00-\x1f\x7f\x85\u2028\u2029\ud800-\udfff]|^\s|[\s,;]$')


def root_name(pitch_class: int) -> str:
    """Name of a pitch class as chord roots are written here: flats but for F#.

    Examples
    --------
    >>> root_name(3), root_name(6)
    ('Eb', 'F#')
    """
    return _ROOTS[pitch_class]


def quarters_text(ticks: int) -> str:
    """Ticks as an exact fraction of quarter notes.

    Examples
    --------
    >>> quarters_text(15120), quarters_text(-3360), quarters_text(20160)
    ('3/2', '-1/3', '2')
    """
    return str(Fraction(int(ticks), TICKS))


def decimal_text(ticks: int) -> str:
    """Ticks as the shortest decimal number of quarter notes that names this tick and no other.

    Examples
    --------
    >>> decimal_text(15120), decimal_text(3360), decimal_text(-10080)
    ('1.5', '0.33333', '-1')
    """
    for digits in range(6):
        value = round(ticks / TICKS, digits)
        # Below five digits only an exact value will do: the reader takes 0.33 for the third it is printed for.
        if Fraction(repr(value)) * TICKS == ticks or digits == 5:
            return _number_text(value)
    raise AssertionError("five digits always name a tick")


def _number_text(value: float) -> str:
    """Shortest text that reads back as the same number, whole numbers without a point."""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value))


def _number(value: float) -> int | float:
    """The same for JSON."""
    return int(value) if value == int(value) and abs(value) < 1e15 else float(value)


def escape(text: str) -> str:
    """Text for a comment line: one line, no quotes, nothing a spreadsheet would take for a formula.

    Examples
    --------
    >>> escape("=1+1"), escape("100 %, -3"), unescape(escape("=1+1"))
    ('%3D1+1', '100 %25, %2D3', '=1+1')
    """
    safe = _UNSAFE.sub(lambda m: quote(m[0], safe="", errors="surrogatepass"), text)
    return _FORMULA.sub(lambda m: f"{m[1]}{m[2]}%{ord(m[3]):02X}", safe)


def unescape(text: str) -> str:
    """Text of a comment line as it was before `escape`."""
    try:
        return unquote(text, errors="surrogatepass")
    except UnicodeDecodeError:
        # a percent sign of somebody's own words: our escapes are always whole characters
        return text


def to_record(melody: Melody) -> dict[str, object]:
    """The note table as a mapping, ready for `json`.

    Returns
    -------
    dict
        "schema", "solo", "notes", "bars", "chords", "remarks", as the module says.
    """
    return {
        "schema": SCHEMA,
        "solo": {
            "title": melody.title,
            "part": melody.part,
            "source": melody.source,
            "key": _key_record(melody.key),
            "meter": [[quarters_text(m.onset), m.numerator, m.denominator] for m in melody.meters],
            "tempo": None if melody.tempo is None else _number(melody.tempo),
            **({} if melody.tuning is None else {"tuning": list(melody.tuning)}),
            "guessed_share": _number(melody.guessed_share),
            **({} if melody.rhythm_known else {"rhythm_known": False}),
        },
        "notes": list(_note_records(melody)),
        "bars": [[quarters_text(a), quarters_text(b), n] for a, b, n in _bar_rows(melody.bars)],
        "chords": None if melody.chords is None else [_chord_record(c) for c in melody.chords],
        "remarks": list(melody.remarks),
    }


def _key_record(key: Key | None) -> dict[str, object] | None:
    """A key as a mapping."""
    if key is None:
        return None
    return {
        "tonic": key.tonic,
        "mode": key.mode,
        "name": key.name,
        "source": key.source,
        "runner_up": key.runner_up,
        "margin": None if key.margin is None else float(key.margin),
    }


def _note_records(melody: Melody) -> Iterator[dict[str, object]]:
    """Each note as a mapping."""
    for i in range(len(melody)):
        note: dict[str, object] = {
            "onset": quarters_text(melody.onset[i]),
            "duration": None if melody.duration is None else quarters_text(melody.duration[i]),
            "pitch": _number(melody.pitch[i]),
            "bar": int(melody.bar[i]),
            "beat": _number(round(float(melody.beat[i]), BEAT_DIGITS)),
            "weight": int(melody.weight[i]),
            "technique": None if melody.technique is None else Technique(int(melody.technique[i])).words,
        }
        if melody.onset_seconds is not None:
            note["onset_seconds"] = _number(melody.onset_seconds[i])
        for name, column in (("string", melody.strings), ("fret", melody.frets)):
            if column is not None:
                note[name] = None if column[i] < 0 else int(column[i])
        if melody.phrase_ends is not None:
            note["phrase_end"] = bool(melody.phrase_ends[i])
        if melody.confidence is not None:
            note["confidence"] = _number(melody.confidence[i])
        yield note


def _chord_record(chord: Chord) -> dict[str, object]:
    """A chord as a mapping."""
    return {
        "onset": quarters_text(chord.onset),
        "root": chord.root,
        "kind": chord.kind,
        "pitch_classes": list(chord.pitch_classes),
    }


def _bar_rows(bars: Bars) -> list[tuple[int, int, int]]:
    """Line, end and number of each bar."""
    return list(zip(bars.line.tolist(), bars.end.tolist(), bars.number.tolist(), strict=True))


def to_json(melody: Melody) -> str:
    """The note table as JSON, a note a line.

    Returns
    -------
    str
        Ends with a newline; several may stand one after the other in a file.
    """
    record = to_record(melody)
    parts = [f'"{name}": {_json_value(value, spread=name in ("notes", "chords"))}' for name, value in record.items()]
    return "{\n " + ",\n ".join(parts) + "\n}\n"


def _json_value(value: object, *, spread: bool) -> str:
    """A value on one line, or a list with an entry a line."""
    if spread and isinstance(value, list) and value:
        return "[\n  " + ",\n  ".join(_dump(entry) for entry in value) + "\n ]"
    return _dump(value)


def _dump(value: object) -> str:
    """JSON on one line; letters as they are, but for halves of surrogate pairs, which no file can hold."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    return re.sub(r"[\ud800-\udfff]", lambda m: f"\\u{ord(m[0]):04x}", text)


def to_csv(melody: Melody) -> str:
    """The note table as CSV with comment lines in front.

    Returns
    -------
    str
        Columns onset, duration, pitch, bar, beat, weight, technique, onset_seconds, string, fret, phrase_end,
        confidence; those the source can't fill are left out. Ends with a newline.
    """
    out = io.StringIO()
    out.writelines(f"# {line}\n" for line in _comments(melody))
    columns = _columns(melody)
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return out.getvalue()


def _columns(melody: Melody) -> dict[str, list[str]]:
    """Columns of the table as text."""
    columns = {"onset": [decimal_text(t) for t in melody.onset.tolist()]}
    if melody.duration is not None:
        columns["duration"] = [decimal_text(t) for t in melody.duration.tolist()]
    columns["pitch"] = [_number_text(p) for p in melody.pitch.tolist()]
    columns["bar"] = [str(b) for b in melody.bar.tolist()]
    columns["beat"] = [_number_text(round(b, BEAT_DIGITS)) for b in melody.beat.tolist()]
    columns["weight"] = [str(w) for w in melody.weight.tolist()]
    if melody.technique is not None:
        columns["technique"] = [" ".join(Technique(t).words) for t in melody.technique.tolist()]
    if melody.onset_seconds is not None:
        columns["onset_seconds"] = [_number_text(s) for s in melody.onset_seconds.tolist()]
    for name, column in (("string", melody.strings), ("fret", melody.frets)):
        if column is not None:
            columns[name] = ["" if value < 0 else str(value) for value in column.tolist()]
    if melody.phrase_ends is not None:
        columns["phrase_end"] = [str(int(end)) for end in melody.phrase_ends.tolist()]
    if melody.confidence is not None:
        columns["confidence"] = [_number_text(c) for c in melody.confidence.tolist()]
    return columns


def _comments(melody: Melody) -> Iterator[str]:
    """What stands in the comment lines."""
    yield SCHEMA
    own_bars = _bar_rows(melody.bars)
    plain = own_bars == _bar_rows(plain_bars(melody.onset, melody.duration, melody.meters))
    chords = None if melody.chords is None else " | ".join(_chord_text(c) for c in melody.chords)
    said = {
        "title": escape(melody.title),
        "part": escape(melody.part),
        "source": escape(melody.source),
        "key": "" if melody.key is None else _key_text(melody.key),
        "meter": _meter_text(melody.meters),
        "tempo": "" if melody.tempo is None else _number_text(melody.tempo),
        "tuning": " ".join(map(str, melody.tuning or ())),
        "bars": "" if plain else " | ".join(_bar_runs(own_bars)),
    }
    yield from (f"{name}: {text}" for name, text in said.items() if text)
    if chords is not None:
        yield f"chords: {chords}".rstrip()
    if not melody.rhythm_known:
        yield "rhythm_known: no"
    if melody.guessed_share:
        yield f"guessed_share: {_number_text(melody.guessed_share)}"
    yield from (f"remark: {escape(remark)}" for remark in melody.remarks)


def _key_text(key: Key) -> str:
    """A key in words, with all that is known of it."""
    known: list[str] = [key.source]
    if key.runner_up is not None:
        known.append(f"next best {escape(key.runner_up)}")
    if key.margin is not None:
        known.append(f"margin {key.margin!r}")
    return f"{key.name} ({' | '.join(known)})"


def _meter_text(meters: Sequence[Meter]) -> str:
    """One meter as such, several with their onsets."""
    if len(meters) == 1 and meters[0].onset == 0:
        return str(meters[0])
    return " | ".join(f"{decimal_text(m.onset)} {m}" for m in meters)


def _bar_runs(rows: Iterable[tuple[int, int, int]]) -> list[str]:
    """Bars as "line end number", those that go on in the same way counted: "0 4 1 x8"."""
    runs: list[tuple[tuple[int, int, int], int]] = []
    for line, end, number in rows:
        if runs:
            (first, stop, start), count = runs[-1]
            length = stop - first
            if (line, end - line, number) == (first + count * length, length, start + count):
                runs[-1] = (runs[-1][0], count + 1)
                continue
        runs.append(((line, end, number), 1))
    return [
        f"{decimal_text(line)} {decimal_text(end)} {number}" + (f" x{count}" if count > 1 else "")
        for (line, end, number), count in runs
    ]


def _chord_text(chord: Chord) -> str:
    """A chord as a symbol where that says it all, else with its pitch classes: "0 D:m7 2.5.9.0"."""
    onset = decimal_text(chord.onset)
    symbol = "N" if chord.root is None else root_name(chord.root) + chord.kind
    try:
        if parse_symbol(symbol, chord.onset) == chord and " " not in symbol and "|" not in symbol:
            return f"{onset} {symbol}"
    except InputError:
        pass
    root = "N" if chord.root is None else root_name(chord.root)
    classes = ".".join(str(c) for c in chord.pitch_classes)
    return f"{onset} {root}:{quote(chord.kind, safe='#()+/', errors='surrogatepass')} {classes}".rstrip()
