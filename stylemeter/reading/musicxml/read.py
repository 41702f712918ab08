"""MusicXML scores, part-wise or time-wise, plain or compressed -> melodies.

The way of a file: unpack and parse (`file`), walk every part (`walk`), choose part
(`parts`) and line (`line`), lay it on ticks and join its ties (`ties`), then move it to
sounding pitch (`transposition`) with its marks (`technique`), chords (`chords`) and signs.

What is decided here, so that nobody has to guess:

- Repeats, endings and jumps are read once, as printed, with a remark.
- The first key holds; a later one is told in a remark. All meters are kept.
- Cue notes, dead notes (a cross for a head), rhythm slashes and unpitched notes are left out. Hidden notes
  sound and are kept. Each is counted in a remark.
- `Melody.technique` is known (0 where nothing is marked) in guitar and tab parts, and in any part that holds a
  playing mark (`technique.PLAYING`); elsewhere it is None: a song's accents say nothing of its technique.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError
from stylemeter.music.melody import Chord, Melody, Technique
from stylemeter.music.meter import Meter
from stylemeter.reading.draft.build import Draft, RawNote, build, count_words
from stylemeter.reading.intake import limits
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.musicxml.chords import read_chords
from stylemeter.reading.musicxml.elements import said
from stylemeter.reading.musicxml.file import open_score
from stylemeter.reading.musicxml.line import Line, LineNote, take_line
from stylemeter.reading.musicxml.parts import Part, choose_part, read_parts
from stylemeter.reading.musicxml.signs import KeySign, key_sign, repeats, swings, tempo_sign
from stylemeter.reading.musicxml.technique import PLAYING, bend_shift, mark_line
from stylemeter.reading.musicxml.ties import Heard, hear, join_ties
from stylemeter.reading.musicxml.transposition import (
    Strings,
    Transposition,
    harmonic_shift,
    octave_shift,
    without_helpers,
)
from stylemeter.reading.musicxml.walk import Walk, lay, tell_uneven

__all__ = ["read"]


def read(data: bytes, options: ReadOptions) -> list[Melody]:
    """Read the melody of a MusicXML file.

    Parameters
    ----------
    data : bytes
        XML or a compressed score.
    options : ReadOptions
        `part` and `tempo` apply.

    Returns
    -------
    list of Melody
        One.

    Raises
    ------
    InputError
        If it can't be read.
    UnknownNameError
        If no part has the name or number asked for.
    """
    remarks: list[str] = []
    root = open_score(data, remarks)
    parts = read_parts(root)
    part, twins = choose_part(parts, options.part)
    walked = part.walk
    part.remarks += [f"tab part {t.name!r} read together with the notation it repeats" for t in twins]
    lay(walked, [p.walk for p in parts if p is not part and p.problem is None])
    line = take_line(walked, part.choice, [t.walk for t in twins])
    moved = Transposition(walked, part.choice.staff)
    line.notes, shifts = without_helpers(walked, line.notes)
    strings = Strings.of([walked, *(t.walk for t in twins)])
    notes, known = _notes(part, line, moved, strings, shifts)
    keys = _keys(walked, part.choice.staff)
    draft = Draft(
        notes=notes if known else [_unmarked(n) for n in notes],
        meters=_meters(walked, parts),
        spans=[_span(walked, i) for i in range(len(walked.bars))],
        pickup=walked.pickup,
        key=keys[0].sounding(moved.at(0, 0)) if keys else None,
        signature=keys[0].signature(moved.at(0, 0)) if keys else None,
        chords=_chords(part, parts, moved),
        tuning=strings.tuning(notes),
        phrase_ends=_slur_ends(walked, line) if options.phrase_slurs else None,
        tempo=options.tempo or _tempo(parts),
        title=_title(root),
        part=part.label or (part.name if len(parts) > 1 else ""),
        source="musicxml",
    )
    tell_uneven(walked)
    _tell_repeated(walked)
    draft.remarks.extend([*remarks, *part.remarks, *_told(walked, line), *walked.found.lines(walked.name)])
    del draft.remarks[limits.REMARKS_MAX :]
    return [build(draft)]


def _notes(
    part: Part, line: Line, moved: Transposition, strings: Strings, shifts: dict[LineNote, float]
) -> tuple[list[RawNote], bool]:
    """Notes at sounding pitch with their marks, and whether the file can say how they are played."""
    walked = part.walk
    marks = mark_line(walked, line)
    heard = join_ties(hear(walked, line.notes), walked, line.notes)
    octave, why = octave_shift(part, line.notes, moved, strings)
    if why:
        part.remarks.append(why)
    raw: list[RawNote] = []
    for note in heard:
        first = line.notes[note.members[0]]
        pitch = note.pitch + moved.at(first.stroke.bar, first.stroke.at) + octave
        pitch += shifts[first] if first in shifts else harmonic_shift(walked, first, pitch, strings)
        pitch += max(bend_shift(line.notes[i]) for i in note.members)
        raw.append(_raw(note, pitch, marks, walked, first, strings.place(first)))
    playing = any(mark & PLAYING for mark in marks)
    return raw, part.plucked or playing


def _raw(
    note: Heard,
    pitch: float,
    marks: Sequence[Technique],
    walked: Walk,
    first: LineNote,
    place: tuple[int, int] | None,
) -> RawNote:
    """One note of the draft, its marks those of all the notes it was tied from."""
    if not limits.PITCH_MIN <= pitch <= limits.PITCH_MAX:
        raise InputError(
            f"a note of MIDI number {pitch:g}, beyond what can be heard",
            where=walked.name(first.stroke.bar),
            mend="mend its octave or the part's transposition",
        )
    technique = Technique(0)
    for index in note.members:
        technique |= marks[index]
    string, fret = place or (-1, -1)
    return RawNote(note.onset, note.duration, pitch, technique, string=string, fret=fret)


def _unmarked(note: RawNote) -> RawNote:
    """The same note from a source that can't say how it is played."""
    return replace(note, technique=None)


def _span(walked: Walk, index: int) -> tuple[int, int]:
    """Start and length of a printed bar in ticks."""
    start = walked.tick(index, 0)
    return start, walked.tick(index, walked.bars[index].length) - start


def _meters(walked: Walk, parts: Sequence[Part]) -> list[Meter]:
    """Meters of the part, or where it has none those of the first part that has."""
    signs = walked.meters or next((p.walk.meters for p in parts if p.walk.meters and p.problem is None), [])
    kept = [(bar, at, meter) for bar, at, meter in signs if bar < len(walked.bars)]
    return [Meter(walked.tick(bar, at), m.numerator, m.denominator) for bar, at, m in kept]


def _slur_ends(walked: Walk, line: Line) -> list[int]:
    """Ticks of the notes on which an outermost slur ends."""
    ends: list[int] = []
    open_still: set[str] = set()
    for note in line.notes:
        slurs = [s for e in note.elements[:1] for s in e.iterfind("notations/slur")]
        # a slur that starts where another stops is the next phrase's
        for slur in sorted(slurs, key=lambda s: s.get("type") != "stop"):
            if slur.get("type") == "start":
                open_still.add(slur.get("number", "1"))
            elif slur.get("type") == "stop" and slur.get("number", "1") in open_still:
                open_still.discard(slur.get("number", "1"))
                ends += [] if open_still else [walked.tick(note.stroke.bar, note.stroke.at)]
    return ends


def _keys(walked: Walk, staff: int) -> list[KeySign]:
    """Key signs of the part in order, repeated ones once."""
    keys: list[KeySign] = []
    for sign in walked.signs:
        if sign.element.tag != "key" or sign.element.get("number", str(staff)) != str(staff):
            continue
        key = key_sign(sign.element)
        if key is None:
            walked.found.add("key sign", "of no major or minor circle left out", sign.bar)
        elif not keys or key != keys[-1]:
            keys.append(key)
            if len(keys) > 1:
                walked.found.add("", "key changes: the first key is kept throughout", sign.bar)
    return keys


def _chords(part: Part, parts: Sequence[Part], moved: Transposition) -> list[Chord]:
    """Chords of the part, or where it has none those of the first part that has."""
    chords = read_chords(part.walk, part.walk, moved)
    for other in parts:
        if chords:
            break
        if other is not part and other.problem is None:
            chords = read_chords(part.walk, other.walk, Transposition(other.walk, other.choice.staff))
            if chords:
                part.remarks.append(f"chord symbols taken from part {other.name!r}")
    return chords


def _tempo(parts: Sequence[Part]) -> float | None:
    """First tempo of the piece in quarter notes a minute."""
    found = [
        (sign.bar, sign.at, value)
        for part in parts
        for sign in part.walk.signs
        if sign.element.tag in ("direction", "sound") and (value := tempo_sign(sign.element)) is not None
    ]
    return min(found, key=lambda f: f[:2])[2] if found else None


def _title(root: Element) -> str:
    """Title of the work, or of the movement."""
    return said(root, "work/work-title") or said(root, "movement-title")


def _tell_repeated(walked: Walk) -> None:
    """Count the bars written as a sign that repeats those before it and without notes of their own."""
    sounding = {stroke.bar for stroke in walked.strokes}
    styles = [(s.bar, s.element.find("measure-repeat")) for s in walked.signs if s.element.tag == "measure-style"]
    marks = [(bar, sign.get("type")) for bar, sign in styles if sign is not None]
    for place, (bar, kind) in enumerate(marks):
        stop = marks[place + 1][0] if place + 1 < len(marks) else len(walked.bars)
        if kind == "start":
            for silent in itertools.takewhile(lambda index: index not in sounding, range(bar, stop)):
                walked.found.add("bar", "given by a repeat sign alone read as a rest", silent)


def _told(walked: Walk, line: Line) -> list[str]:
    """What the user must know of the piece as a whole."""
    told = []
    if line.graces:
        told.append(f"{count_words(len(line.graces), 'grace note')} left out, marked on the note after it")
    if any(repeats(sign.element) for sign in walked.signs):
        told.append("repeats and jumps read once, as printed")
    if any(swings(sign.element) for sign in walked.signs):
        told.append("swing asked for: note lengths read as written")
    return told
