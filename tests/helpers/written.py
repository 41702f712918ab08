"""Short melodies written out in a test: ``"C4:1 r:1/2 F#4:1/2"`` is a quarter, an eighth rest, an eighth."""

from __future__ import annotations

from fractions import Fraction

from stylemeter.music.chords.symbols import parse_symbol
from stylemeter.music.keys import parse_key, pitch_class
from stylemeter.music.melody import Melody, Technique
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build


def ticks(quarters: str | Fraction | float) -> int:
    return int(Fraction(quarters) * TICKS)


def midi(name: str) -> int:
    """MIDI number of "C4" (60), "F#4", "Bb3"."""
    return 12 * (int(name[-1]) + 1) + pitch_class(name[:-1])


def written(
    text: str,
    *,
    meter: str = "4/4",
    key: str | None = "C major",
    chords: str = "",
    bars: str = "",
    start: str = "0",
    timed: bool = True,
) -> Melody:
    """Build a melody of notes that follow each other.

    `chords` is "0:C 4:Dm7 8:N.C.", onset and symbol; `bars` the lengths of the printed bars, where they aren't all
    full; a mark after a note ("C4:1!bend,vibrato") makes the source one that can say; `timed=False` drops durations.
    """
    now, notes = Fraction(start), []
    marked = "!" in text
    for token in text.split():
        played, _, marks = token.partition("!")
        name, _, length = played.partition(":")
        if name != "r":
            technique = Technique.from_words(marks.split(",") if marks else []) if marked else None
            notes.append(RawNote(ticks(now), ticks(length) if timed else None, float(midi(name)), technique))
        now += Fraction(length)
    draft = Draft(
        notes,
        [Meter(0, *map(int, meter.split("/")))],
        spans=_spans(bars),
        key=parse_key(key) if key else None,
        chords=[parse_symbol(symbol, ticks(onset)) for onset, _, symbol in (c.partition(":") for c in chords.split())],
    )
    return build(draft) if key else build(draft).with_key(None)


def _spans(bars: str) -> list[tuple[int, int]] | None:
    found, now = [], 0
    for length in bars.split():
        found.append((now, ticks(length)))
        now += ticks(length)
    return found or None


def in_rhythm(lengths, pitches=None, **more) -> Melody:
    """A melody of the given lengths in quarters, legato; on C4 and D4 by turns where no MIDI numbers are given."""
    now, notes = Fraction(0), []
    for i, length in enumerate(lengths):
        pitch = pitches[i] if pitches is not None else 60 + 2 * (i % 2)
        notes.append(RawNote(ticks(now), ticks(length), float(pitch)))
        now += Fraction(length)
    meter = more.pop("meter", "4/4")
    return build(Draft(notes, [Meter(0, *map(int, meter.split("/")))], key=parse_key("C major"), **more))


def in_pitches(pitches, length="1/2", **more) -> Melody:
    """A melody of MIDI numbers in equal notes."""
    return in_rhythm([Fraction(length)] * len(pitches), pitches, **more)
