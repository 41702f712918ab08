"""From our `Melody` to the oracle's table, and excerpts of a table."""

from __future__ import annotations

from fractions import Fraction

from stylemeter.music.melody import Technique
from stylemeter.music.meter import TICKS


def quarters(ticks):
    return Fraction(int(ticks), TICKS)


def _notes(melody):
    return [
        {
            "onset": quarters(melody.onset[i]),
            "duration": None if melody.duration is None else quarters(melody.duration[i]),
            "pitch": float(melody.pitch[i]),
            "technique": None if melody.technique is None else Technique(int(melody.technique[i])).words,
        }
        for i in range(len(melody.onset))
    ]


def _chords(melody):
    if melody.chords is None:
        return None
    return [
        {"onset": quarters(c.onset), "root": c.root, "kind": c.kind, "pitch_classes": list(c.pitch_classes)}
        for c in melody.chords
    ]


def from_melody(melody):
    """The table of a melody."""
    key = melody.key
    bars = melody.bars
    return {
        "solo": {
            "key": None if key is None else {"tonic": key.tonic, "mode": key.mode},
            "meter": [[quarters(m.onset), m.numerator, m.denominator] for m in melody.meters],
            "rhythm_known": melody.rhythm_known,
        },
        "notes": _notes(melody),
        "chords": _chords(melody),
        "bars": [
            [quarters(line), quarters(end), int(number)]
            for line, end, number in zip(bars.line, bars.end, bars.number, strict=True)
        ],
    }


def cut(table, start, stop):
    """Notes start..stop-1 with the tune's own bar lines, meters, key and chords, and which of the tune's they are."""
    kept = {name: table[name] for name in ("solo", "chords", "bars")}
    return kept | {"notes": table["notes"][start:stop], "tune": table["notes"], "first": start}
