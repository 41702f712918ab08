"""The melody as a Standard MIDI File (format 1): a track of signs, a track of notes.

Conventions: `meter.TICKS` to a quarter note, so nothing is rounded; tick 0 is the first bar line, so a pickup follows
a rest. Chords are text events "chord D:min7". A mode other than major and minor has no key signature in MIDI: none
is written then, rather than a wrong one.

References
----------
.. [1] MIDI Manufacturers Association, Standard MIDI Files 1.0 (RP-001).
.. [2] C. Harte et al., ISMIR 2005 (the syntax of the chord labels).
"""

from __future__ import annotations

import io
from typing import Any

from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS
from stylemeter.writing.harmony import chord_label
from stylemeter.writing.layout import note_ends
from stylemeter.writing.spelling import fifths_of

__all__ = ["CHORD_PREFIX", "to_midi"]

#: What the text events of chords begin with: read them back with `chord_text` set to it.
CHORD_PREFIX = "chord "

_VELOCITY = 80
#: Program (from 0) of a melody whose playing technique is known: a clean electric guitar.
_GUITAR = 27
_SLOWEST = 0xFFFFFF
_MAJOR = ["Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"]
_MINOR = ["Abm", "Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m", "G#m", "D#m", "A#m"]

#: Tick, order within the tick, message.
_Event = tuple[int, int, Any]


def to_midi(melody: Melody) -> bytes:
    """Write a melody as MIDI.

    Returns
    -------
    bytes

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> to_midi(build(Draft([RawNote(0, 10080, 60.0)])))[:14].hex(" ")
    '4d 54 68 64 00 00 00 06 00 01 00 02 27 60'
    """
    import mido

    origin = int(melody.bars.line[0])
    end = max(int(melody.bars.end[-1]), *note_ends(melody)) - origin
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    file.tracks += [_track(_signs(melody, origin), end), _track(_notes(melody, origin), end)]
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _track(events: list[_Event], end: int) -> Any:
    """A track of events at absolute ticks."""
    import mido

    track = mido.MidiTrack()
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, end - now)))
    return track


def _signs(melody: Melody, origin: int) -> list[_Event]:
    """Title, tempo, meters, key and chords."""
    from mido import MetaMessage

    events: list[_Event] = [(0, 0, MetaMessage("track_name", name=melody.title))]
    if melody.tempo is not None:
        events.append((0, 1, MetaMessage("set_tempo", tempo=min(_SLOWEST, max(1, round(6e7 / melody.tempo))))))
    for place, meter in enumerate(melody.meters):
        sign = MetaMessage("time_signature", numerator=meter.numerator, denominator=meter.denominator)
        # The first meter is in force before its own onset too.
        events.append((max(0, meter.onset - origin) if place else 0, 2, sign))
    key = melody.key
    if key is not None and key.mode in ("major", "minor"):
        names = _MAJOR if key.mode == "major" else _MINOR
        events.append((0, 3, MetaMessage("key_signature", key=names[fifths_of(key) + 7])))
    for chord in melody.chords or ():
        label = MetaMessage("text", text=CHORD_PREFIX + chord_label(chord))
        events.append((max(0, chord.onset - origin), 4, label))
    return events


def _notes(melody: Melody, origin: int) -> list[_Event]:
    """The notes, ends before onsets within a tick."""
    from mido import Message, MetaMessage

    events: list[_Event] = [(0, 0, MetaMessage("track_name", name=melody.part or melody.title))]
    if melody.technique is not None:
        events.append((0, 1, Message("program_change", program=_GUITAR)))
    for onset, end, pitch in zip(melody.onset.tolist(), note_ends(melody), melody.pitch.tolist(), strict=True):
        note = min(127, int(pitch + 0.5))
        events.append((onset - origin, 3, Message("note_on", note=note, velocity=_VELOCITY)))
        events.append((end - origin, 2, Message("note_off", note=note, velocity=0)))
    return events
