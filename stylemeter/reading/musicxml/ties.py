"""The cleaned line through music21: pitches, lengths and ties as it reads them, ties joined.

What music21 gets is written anew and holds only what was checked: one part, one staff, one voice, bars numbered
from 1, lengths in ticks, pitches spelled out, ties. Nothing of the file's text reaches it, so neither its
caches, its guesses from instrument names, nor anything absurd in the file can matter. What it reads must lie
where our own walk put it; were it ever to differ, that is an error and not a melody.

Taken from the element tree instead, with the reason: bar lengths (music21 shortens bars that are a little too
long), transposition and chords (see `transposition`, `chords`), techniques (music21 keeps one mark of
a kind a chord, and no palm mute), key, meter and tempo (it accepts 4/0 and a signature of any size). Ties are
joined here, since its own way of joining them goes across different pitches.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from operator import attrgetter
from typing import Any

from stylemeter.errors import InputError, LimitError
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake import limits
from stylemeter.reading.musicxml.line import LineNote
from stylemeter.reading.musicxml.walk import Walk

__all__ = ["Heard", "hear", "join_ties"]

_NAMES = ("C", "C", "D", "D", "E", "F", "F", "G", "G", "A", "A", "B")
_ALTERS = (0, 1, 0, 1, 0, 0, 1, 0, 1, 0, 1, 0)


@dataclass(slots=True)
class Heard:
    """A note as music21 reads it: ticks, written pitch, the line's notes it is made of, ties to its neighbours."""

    onset: int
    duration: int
    pitch: float
    members: list[int]
    starts: bool
    stops: bool

    @property
    def end(self) -> int:
        """Tick at which it ends."""
        return self.onset + self.duration


@dataclass(slots=True)
class _Group:
    """Notes of the line that start together, in one bar, ticks from its start."""

    bar: int
    at: int
    length: int
    members: list[int]


def hear(walked: Walk, notes: Sequence[LineNote]) -> list[Heard]:
    """Read the line through music21.

    Parameters
    ----------
    walked : Walk
        With its bars laid.
    notes : sequence of LineNote
        In order.

    Returns
    -------
    list of Heard
        In order, ties not yet joined.

    Raises
    ------
    LimitError
        If there are too many notes.
    """
    if len(notes) > limits.NOTES_MAX:
        raise LimitError(f"{len(notes)} notes", mend=f"the limit is {limits.NOTES_MAX}")
    groups = _groups(walked, notes)
    if not groups:
        return []
    bars = [list(together) for _, together in groupby(groups, key=attrgetter("bar"))]
    measures = _parse(_write(bars, notes))
    if len(measures) != len(bars):
        raise _differs(walked, groups[-1].bar)
    heard: list[Heard] = []
    for together, measure in zip(bars, measures, strict=True):
        elements = list(measure.notes)
        if len(elements) != len(together):
            raise _differs(walked, together[0].bar)
        start = walked.tick(together[0].bar, 0)
        for group, element in zip(together, elements, strict=True):
            heard += _heard(element, start, group, notes, walked)
    return heard


def _groups(walked: Walk, notes: Sequence[LineNote]) -> list[_Group]:
    """Group notes by onset; a note that runs into the next one of its voice ends there."""
    groups: list[_Group] = []
    for index, note in enumerate(notes):
        stroke = note.stroke
        start = walked.tick(stroke.bar, 0)
        at = walked.tick(stroke.bar, stroke.at) - start
        if Fraction(walked.bars[stroke.bar].start + stroke.at).denominator > 1:
            walked.found.add("onset", f"off the grid of {TICKS} ticks a quarter rounded to it", stroke.bar)
        end = walked.tick(stroke.bar, stroke.at + stroke.length) - start
        last = groups[-1] if groups else None
        if last and (last.bar, last.at) == (stroke.bar, at):
            if any(notes[i].pitch == note.pitch for i in last.members):
                walked.found.add("note", "doubled at its own pitch counted once", stroke.bar)
                continue
            last.members.append(index)
            continue
        if last and last.bar == stroke.bar and last.at + last.length > at:
            last.length = at - last.at
            walked.found.add("note", "running into the next one cut short", stroke.bar)
        groups.append(_Group(stroke.bar, at, max(1, end - at), [index]))
    return groups


def _write(bars: Sequence[Sequence[_Group]], notes: Sequence[LineNote]) -> bytes:
    """Write the line as a minimal score; bars without notes are left out.

    It is dealt out to parts of a hundred bars, since the time music21 takes grows with the square of the bars.
    """
    parts = [bars[i : i + _PART_BARS] for i in range(0, len(bars), _PART_BARS)]
    listed = "".join(f"<score-part id='P{n}'><part-name>Line</part-name></score-part>" for n in range(len(parts)))
    pieces = [f"<score-partwise><part-list>{listed}</part-list>"]
    for number, part in enumerate(parts):
        pieces.append(f"<part id='P{number}'>")
        pieces += (_write_bar(bar, notes, i + 1) for i, bar in enumerate(part))
        pieces.append("</part>")
    return "".join([*pieces, "</score-partwise>"]).encode()


def _write_bar(groups: Sequence[_Group], notes: Sequence[LineNote], number: int) -> str:
    """Write a bar.

    A short one is filled up to the four quarters music21 expects where no meter is given: for any other length
    it searches for a meter that fits, which takes longer than reading the notes.
    """
    pieces = [f"<measure number='{number}'>"]
    pieces.append(f"<attributes><divisions>{TICKS}</divisions></attributes>" if number == 1 else "")
    at = 0
    for group in groups:
        pieces.append(_write_rest(group.at - at))
        pieces += (_write_note(notes[i], group.length, chord=n > 0) for n, i in enumerate(group.members))
        at = group.at + group.length
    return "".join([*pieces, _write_rest(_EXPECTED - at), "</measure>"])


_PART_BARS = 100
#: Ticks of a bar music21 is content with.
_EXPECTED = 4 * TICKS


def _write_rest(length: int) -> str:
    """A rest; nothing where there is no time for one."""
    return f"<note><rest/><duration>{length}</duration></note>" if length > 0 else ""


def _write_note(note: LineNote, length: int, *, chord: bool) -> str:
    """One note, spelled with sharps."""
    pitch = _semitone(note)
    ties = "".join(f"<tie type='{kind}'/>" for kind in ("stop", "start") if _tied(note, kind))
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{_NAMES[pitch % 12]}</step><alter>{_ALTERS[pitch % 12]}"
        f"</alter><octave>{pitch // 12 - 1}</octave></pitch><duration>{length}</duration>{ties}</note>"
    )


def _semitone(note: LineNote) -> int:
    """The nearest semitone: of what lies between, music21 knows quarter tones only."""
    return math.floor(note.pitch + 0.5)


def _tied(note: LineNote, kind: str) -> bool:
    """Whether a note's own element has a tie of a kind, sounding or only drawn."""
    element = note.stroke.element
    return any(t.get("type") == kind for path in ("tie", "notations/tied") for t in element.iterfind(path))


def _parse(data: bytes) -> list[Any]:
    """Measures as music21 reads them from our own bytes; it looks at no file, and keeps no cache of bytes."""
    from music21 import converter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score: Any = converter.parse(data, format="musicxml", forceSource=True)
    return [measure for part in score.parts for measure in part.getElementsByClass("Measure")]


def _heard(element: Any, start: int, group: _Group, notes: Sequence[LineNote], walked: Walk) -> Iterator[Heard]:
    """Notes of one music21 note or chord, checked against where the walk put them."""
    at, length = _ticks(element.offset), _ticks(element.quarterLength)
    single = element.notes if element.isChord else (element,)
    pitches = sorted((int(n.pitch.ps), n.tie.type if n.tie else "") for n in single)
    members = sorted(group.members, key=lambda i: notes[i].pitch)
    if (at, length, len(pitches)) != (group.at, group.length, len(members)):
        raise _differs(walked, group.bar)
    for (pitch, tie), index in zip(pitches, members, strict=True):
        if pitch != _semitone(notes[index]):
            raise _differs(walked, group.bar)
        starts, stops = tie in ("start", "continue"), tie in ("stop", "continue")
        yield Heard(start + at, length, notes[index].pitch, [index], starts, stops)


_LOOSE = "joining no two notes of one pitch left out"


def _ticks(quarters: Any) -> int:
    """Ticks of music21's quarters, which are fractions or floats rounded to one."""
    return round(Fraction(quarters) * TICKS)


def _differs(walked: Walk, bar: int) -> InputError:
    """Error for two readings that don't agree."""
    return InputError(
        "two ways of reading this bar don't agree", where=walked.name(bar), mend="export the file again as MusicXML"
    )


def join_ties(heard: Sequence[Heard], walked: Walk, notes: Sequence[LineNote]) -> list[Heard]:
    """Join tied notes: same pitch, one starting where the other ends, one end of a tie at the least.

    A tie to another pitch, or to nothing, joins nothing and is counted.
    """
    joined: list[Heard] = []
    sounding: dict[float, Heard] = {}
    for note in heard:
        bar = notes[note.members[0]].stroke.bar
        before = sounding.get(note.pitch)
        meets = before is not None and before.end == note.onset and (before.starts or note.stops)
        if before is not None and meets:
            if not (before.starts and note.stops):
                walked.found.add("tie", "with one end missing joined all the same", bar)
            before.duration += note.duration
            before.members += note.members
            before.starts = note.starts
            continue
        leads_here = bool(joined) and joined[-1].starts and joined[-1].end == note.onset
        if (note.stops and not leads_here) or (before is not None and before.starts):
            walked.found.add("tie", _LOOSE, bar)
        sounding[note.pitch] = note
        joined.append(note)
    for note in sounding.values():
        if note.starts:
            last = notes[note.members[-1]].stroke.bar
            walked.found.add("tie", _LOOSE, last)
    return joined
