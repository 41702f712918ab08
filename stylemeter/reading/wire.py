"""Melodies as plain JSON and back without loss: what crosses from the reading process and lies in the cache.

Conventions: one document holds the melodies of one file; times are ticks, as in `Melody`. It is no format for
users (that is the note table of `stylemeter notes`): it may change with any version.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from stylemeter.errors import InputError
from stylemeter.melody import Chord, Key, Melody
from stylemeter.meter import Bars, Meter

__all__ = ["pack", "unpack"]


def pack(melodies: list[Melody]) -> str:
    """Melodies as one JSON document of ASCII characters.

    Examples
    --------
    >>> from stylemeter.reading.build import Draft, RawNote, build
    >>> melody = build(Draft([RawNote(0, 10080, 60.0), RawNote(10080, 10080, 62.0)]))
    >>> [same] = unpack(pack([melody]))
    >>> same.pitch.tolist(), same.meters == melody.meters, same.remarks == melody.remarks
    ([60.0, 62.0], True, True)
    """
    return json.dumps([_plain(melody) for melody in melodies], separators=(",", ":"))


def unpack(text: str | bytes) -> list[Melody]:
    """Melodies of a document.

    Raises
    ------
    ValueError
        If it isn't one: damaged, or written by another version.
    """
    try:
        return [_melody(row) for row in json.loads(text)]
    except (InputError, LookupError, TypeError, AttributeError, OverflowError, RecursionError) as error:
        raise ValueError("not a document of melodies") from error


def _plain(melody: Melody) -> dict[str, Any]:
    """A melody as lists, numbers and strings."""
    return {
        "onset": melody.onset.tolist(),
        "duration": _list(melody.duration),
        "pitch": melody.pitch.tolist(),
        "bar": melody.bar.tolist(),
        "beat": melody.beat.tolist(),
        "weight": melody.weight.tolist(),
        "meters": [[m.onset, m.numerator, m.denominator] for m in melody.meters],
        "bars": [melody.bars.line.tolist(), melody.bars.end.tolist(), melody.bars.number.tolist()],
        "technique": _list(melody.technique),
        "key": melody.key
        and [melody.key.tonic, melody.key.mode, melody.key.source, melody.key.runner_up, melody.key.margin],
        "chords": None
        if melody.chords is None
        else [[c.onset, c.root, c.kind, list(c.pitch_classes)] for c in melody.chords],
        "tempo": melody.tempo,
        "onset_seconds": _list(melody.onset_seconds),
        "title": melody.title,
        "part": melody.part,
        "source": melody.source,
        "remarks": list(melody.remarks),
        "guessed_share": melody.guessed_share,
    }


def _melody(row: dict[str, Any]) -> Melody:
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
        title=str(row["title"]),
        part=str(row["part"]),
        source=str(row["source"]),
        remarks=tuple(str(remark) for remark in row["remarks"]),
        guessed_share=float(row["guessed_share"]),
    )


def _list(array: np.ndarray | None) -> list[Any] | None:
    """The values of a column, or None where there is none."""
    return None if array is None else list(array.tolist())


def _ints(values: list[int]) -> np.ndarray:
    """A column of ticks or counts."""
    return np.array(values, dtype=np.int64)


def _floats(values: list[float]) -> np.ndarray:
    """A column of numbers."""
    return np.array(values, dtype=np.float64)
