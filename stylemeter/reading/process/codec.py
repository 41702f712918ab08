"""Melodies as plain JSON and back without loss: what crosses from a guarded child and lies in a fit's chunks.

Conventions: one document holds the melodies of one file; times are ticks, as in `Melody`; a column is the base64 text
of its little-endian 8-byte integers or floats (RFC 4648), which takes a tenth of the time of numbers in decimal. It is
no format for users (that is the note table of `stylemeter notes`): it may change with any version.
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from typing import Any

import numpy as np

from stylemeter.errors import InputError
from stylemeter.music.melody import Bools, Chord, Floats, Ints, Key, Melody
from stylemeter.music.meter import Bars, Meter
from stylemeter.reading.intake import limits
from stylemeter.support.printable import show

__all__ = ["REMARK_CHARACTERS", "pack", "unpack"]

#: Longest remark kept, in characters.
REMARK_CHARACTERS = 500


def pack(melodies: list[Melody]) -> str:
    """Melodies as one JSON document of ASCII characters.

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> melody = build(Draft([RawNote(0, 10080, 60.0), RawNote(10080, 10080, 62.0)]))
    >>> [same] = unpack(pack([melody]), path="take.mid")
    >>> same.pitch.tolist(), same.meters == melody.meters, same.remarks == melody.remarks, same.path
    ([60.0, 62.0], True, True, 'take.mid')
    """
    return json.dumps([_plain(melody) for melody in melodies], separators=(",", ":"))


def unpack(document: str | bytes, path: str = "") -> list[Melody]:
    """Melodies of a document, with the path they come from and their words made safe to print.

    Raises
    ------
    ValueError
        If it isn't one: damaged, or written by another version.
    """
    try:
        return [_melody(row, path) for row in json.loads(document)]
    except (InputError, LookupError, TypeError, AttributeError, OverflowError, RecursionError) as error:
        raise ValueError("not a document of melodies") from error


def _plain(melody: Melody) -> dict[str, Any]:
    """A melody as strings, numbers and lists."""
    key, chords, bars = melody.key, melody.chords, melody.bars
    return {
        "onset": _column(melody.onset, "<i8"),
        "duration": _column(melody.duration, "<i8"),
        "pitch": _column(melody.pitch, "<f8"),
        "bar": _column(melody.bar, "<i8"),
        "beat": _column(melody.beat, "<f8"),
        "weight": _column(melody.weight, "<i8"),
        "meters": [[m.onset, m.numerator, m.denominator] for m in melody.meters],
        "bars": [_column(values, "<i8") for values in (bars.line, bars.end, bars.number)],
        "technique": _column(melody.technique, "<i8"),
        "key": None if key is None else [key.tonic, key.mode, key.source, key.runner_up, key.margin],
        "chords": None if chords is None else [[c.onset, c.root, c.kind, list(c.pitch_classes)] for c in chords],
        "tempo": melody.tempo,
        "onset_seconds": _column(melody.onset_seconds, "<f8"),
        "strings": _column(melody.strings, "<i8"),
        "frets": _column(melody.frets, "<i8"),
        "tuning": melody.tuning,
        "phrase_ends": _column(melody.phrase_ends, "<i8"),
        "confidence": _column(melody.confidence, "<f8"),
        "title": melody.title,
        "part": melody.part,
        "source": melody.source,
        "remarks": list(melody.remarks),
        "rhythm_known": melody.rhythm_known,
        "guessed_share": melody.guessed_share,
    }


def _melody(row: dict[str, Any], path: str) -> Melody:
    """A melody from its plain form."""
    chords = row["chords"]
    return Melody(
        onset=_ints(row["onset"]),
        duration=None if row["duration"] is None else _ints(row["duration"]),
        pitch=_floats(row["pitch"]),
        bar=_ints(row["bar"]),
        beat=_floats(row["beat"]),
        weight=_ints(row["weight"]),
        meters=tuple(Meter(*values) for values in row["meters"]),
        bars=Bars(*(_ints(values) for values in row["bars"])),
        technique=None if row["technique"] is None else _ints(row["technique"]),
        key=Key(*row["key"]) if row["key"] else None,
        chords=None if chords is None else tuple(Chord(o, root, kind, tuple(pcs)) for o, root, kind, pcs in chords),
        tempo=row["tempo"],
        onset_seconds=None if row["onset_seconds"] is None else _floats(row["onset_seconds"]),
        strings=None if row["strings"] is None else _ints(row["strings"]),
        frets=None if row["frets"] is None else _ints(row["frets"]),
        tuning=None if row["tuning"] is None else tuple(int(pitch) for pitch in row["tuning"]),
        phrase_ends=None if row["phrase_ends"] is None else _ints(row["phrase_ends"]).astype(bool),
        confidence=None if row["confidence"] is None else _floats(row["confidence"]),
        title=show(str(row["title"])),
        part=show(str(row["part"])),
        path=path,
        source=str(row["source"]),
        remarks=tuple(show(str(remark), REMARK_CHARACTERS) for remark in row["remarks"][: limits.REMARKS_MAX]),
        rhythm_known=bool(row["rhythm_known"]),
        guessed_share=float(row["guessed_share"]),
    )


def _column(array: Ints | Floats | Bools | None, kind: str) -> str | None:
    """A column as text, or None where there is none."""
    return None if array is None else b64encode(array.astype(kind, copy=False).tobytes()).decode("ascii")


def _ints(text: str) -> Ints:
    """A column of ticks or counts."""
    return np.frombuffer(b64decode(text, validate=True), dtype="<i8").astype(np.int64, copy=False)


def _floats(text: str) -> Floats:
    """A column of numbers."""
    return np.frombuffer(b64decode(text, validate=True), dtype="<f8").astype(np.float64, copy=False)
