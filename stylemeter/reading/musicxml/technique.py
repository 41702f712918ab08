"""Playing technique of MusicXML notes: which marks a note carries, and the pitch a bend reaches.

Conventions:

- Hammer-on, pull-off and slide belong to the note they lead to. A start without an end leads to the next note
  where that follows at once, else the note slides out and carries the mark itself. Scoops, plops, doits and
  falls are slides; a tap is a hammer-on by the picking hand.
- A wavy line is vibrato from its start to its end, but after a trill sign part of the trill.
- A bent note has the pitch it reaches: the written pitch plus `bend-alter`, also where it is released again.
  A pre-bend sounds bent from the start. Pre-bend and release together end on the written pitch, and so does a
  release alone; the bar (tremolo arm) leaves the pitch as written. All three are common practice, no source.

References
----------
.. [1] W3C Music Notation Community Group, MusicXML 4.0 reference: elements bend, bend-alter ("negative values
   indicate pre-bends or releases"), hammer-on, pull-off, slide, glissando, wavy-line, mute.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from xml.etree.ElementTree import Element

from stylemeter.music.melody import Technique
from stylemeter.reading.draft.exact import Ticks, number
from stylemeter.reading.musicxml.elements import said
from stylemeter.reading.musicxml.line import Line, LineNote
from stylemeter.reading.musicxml.walk import Sign, Walk

__all__ = ["PLAYING", "bend_shift", "mark_line"]

#: The marks that tell how a string is played; the others (accent, staccato, trill, grace) any part may carry.
PLAYING = (
    Technique.BEND
    | Technique.PRE_BEND
    | Technique.RELEASE
    | Technique.SLIDE
    | Technique.HAMMER_ON
    | Technique.PULL_OFF
    | Technique.VIBRATO
    | Technique.HARMONIC
    | Technique.PALM_MUTE
)

#: Marks on the note itself, by element.
_OWN = {
    "technical/harmonic": Technique.HARMONIC,
    "technical/tap": Technique.HAMMER_ON,
    "articulations/staccato": Technique.STACCATO,
    "articulations/staccatissimo": Technique.STACCATO,
    "articulations/spiccato": Technique.STACCATO,
    "articulations/accent": Technique.ACCENT,
    "articulations/strong-accent": Technique.ACCENT,
    "articulations/scoop": Technique.SLIDE,
    "articulations/plop": Technique.SLIDE,
    "articulations/doit": Technique.SLIDE,
    "articulations/falloff": Technique.SLIDE,
    "ornaments/trill-mark": Technique.TRILL,
}
#: Marks between two notes, by element.
_BETWEEN = {
    "technical/hammer-on": Technique.HAMMER_ON,
    "technical/pull-off": Technique.PULL_OFF,
    "slide": Technique.SLIDE,
    "glissando": Technique.SLIDE,
}
_PALM_MUTE = r"palm[\s-]*mut\w*|p\.?\s?m\.?"
#: Marks by word, where a file has no element for them.
_WORDS = (
    (re.compile(rf"\s*(?:{_PALM_MUTE})\s*", re.IGNORECASE), Technique.PALM_MUTE),
    (re.compile(r".*\bvib(?:rato|r?\.?)\b.*", re.IGNORECASE), Technique.VIBRATO),
    (re.compile(r".*\bslide\b.*", re.IGNORECASE), Technique.SLIDE),
)
_OTHERS = ("technical/other-technical", "ornaments/other-ornament", "articulations/other-articulation")
#: Where something starts: bar and place in it.
_Start = tuple[int, Ticks]
#: Semitones of the widest bend believed.
_BEND_MAX = 7


def mark_line(walked: Walk, line: Line) -> list[Technique]:
    """Marks of every note of the line, in order."""
    marks = [_own(note) for note in line.notes]
    for path, mark in _BETWEEN.items():
        for index in _reached(line, path):
            marks[index] |= mark
    for index in _under_wavy_lines(line.notes, marks):
        marks[index] |= Technique.VIBRATO
    for index in _palm_muted(walked.signs, line.notes):
        marks[index] |= Technique.PALM_MUTE
    for index in _after_graces(line):
        marks[index] |= Technique.GRACE
    for note in line.notes:
        if any(_bend_size(bend) is None for bend in _bends(note)):
            walked.found.add("bend", "without a size that can be meant left at the written pitch", note.stroke.bar)
    return marks


def _notations(note: LineNote) -> Iterator[Element]:
    """Every ``<notations>`` that tells of a note."""
    for element in note.elements:
        yield from element.iterfind("notations")


def _own(note: LineNote) -> Technique:
    """Marks a note carries by itself."""
    found = Technique(0)
    for notations in _notations(note):
        for path, mark in _OWN.items():
            if notations.find(path) is not None:
                found |= mark
        for path in _OTHERS:
            for element in notations.iterfind(path):
                found |= _by_word(said(element, "."))
        for bend in notations.iterfind("technical/bend"):
            found |= _bend_mark(bend)
    muted = any(m.text == "palm" for e in note.elements for m in e.iterfind("play/mute"))
    return found | Technique.PALM_MUTE if muted else found


def _by_word(text: str) -> Technique:
    """Mark a word stands for, 0 where none."""
    found = Technique(0)
    for pattern, mark in _WORDS:
        if pattern.fullmatch(text):
            found |= mark
    return found


def _bend_mark(bend: Element) -> Technique:
    """Whether a ``<bend>`` is a pre-bend, a release or a bend."""
    if bend.find("pre-bend") is not None:
        return Technique.PRE_BEND | (Technique.RELEASE if bend.find("release") is not None else Technique(0))
    alter = number(bend.findtext("bend-alter"))
    with_bar = bend.find("with-bar") is not None
    released = bend.find("release") is not None or (alter is not None and alter < 0 and not with_bar)
    return Technique.RELEASE if released else Technique.BEND


def bend_shift(note: LineNote) -> float:
    """Semitones from the written pitch to the one that counts.

    Examples
    --------
    A bend by a whole tone that is let down again counts as bent:

    >>> from xml.etree.ElementTree import fromstring
    >>> from stylemeter.reading.musicxml.walk import Stroke
    >>> up = "<bend><bend-alter>2</bend-alter></bend>"
    >>> down = "<bend><bend-alter>-2</bend-alter><release/></bend>"
    >>> xml = fromstring(f"<note><notations><technical>{up}{down}</technical></notations></note>")
    >>> bend_shift(LineNote(Stroke(xml, 0, 0, 1, "1", 1, 64, False), 64, (xml,)))
    2.0
    """
    kinds = Technique(0)
    reached = 0.0
    for bend in _bends(note):
        kind, alter = _bend_mark(bend), _bend_size(bend)
        kinds |= kind
        if alter is None or bend.find("with-bar") is not None:
            continue
        if Technique.PRE_BEND in kind:
            reached = max(reached, abs(alter))
        elif kind is Technique.BEND:
            reached = max(reached, alter)
    let_down = Technique.PRE_BEND in kinds and Technique.RELEASE in kinds and Technique.BEND not in kinds
    return 0.0 if let_down else reached


def _bends(note: LineNote) -> list[Element]:
    """Every ``<bend>`` of a note."""
    return [b for e in note.elements for b in e.iterfind("notations/technical/bend")]


def _bend_size(bend: Element) -> float | None:
    """Semitones of a bend; None where it tells none that a string can be bent by."""
    alter = number(bend.findtext("bend-alter"))
    return None if alter is None or not -_BEND_MAX <= alter <= _BEND_MAX else float(alter)


def _reached(line: Line, path: str) -> Iterator[int]:
    """Indices of the notes that a mark between two notes leads to."""
    notes = line.notes
    types = [_types(note.elements, path) for note in notes]
    from_graces = {(g.bar, g.at) for g in line.graces if "start" in _types((g.element,), path)}
    for index, (note, own) in enumerate(zip(notes, types, strict=True)):
        if own - {"start"} or (note.stroke.bar, note.stroke.at) in from_graces:
            yield index
        if "start" in own and "stop" not in (types[index + 1] if index + 1 < len(notes) else ()):
            leads_on = index + 1 < len(notes) and _follows(note, notes[index + 1])
            yield index + 1 if leads_on else index


def _types(elements: Iterable[Element], path: str) -> set[str | None]:
    """Types ("start", "stop") of a kind of mark on a note."""
    return {e.get("type") for element in elements for e in element.iterfind(f"notations/{path}")}


def _follows(note: LineNote, following: LineNote) -> bool:
    """Whether a note starts where another ends."""
    one, other = note.stroke, following.stroke
    if one.bar == other.bar:
        return one.at + one.length >= other.at
    return other.bar == one.bar + 1 and other.at == 0


def _under_wavy_lines(notes: Sequence[LineNote], marks: Sequence[Technique]) -> Iterator[int]:
    """Indices of the notes from the start of a wavy line to its end."""
    inside = False
    for index, note in enumerate(notes):
        types = _types(note.elements, "ornaments/wavy-line")
        if types and Technique.TRILL in marks[index]:
            continue
        if inside or "start" in types:
            yield index
        inside = (inside or "start" in types) and "stop" not in types


def _palm_muted(signs: Sequence[Sign], notes: Sequence[LineNote]) -> Iterator[int]:
    """Indices of the notes under "P.M.": to the end of its dashes or bracket, the next one where it has none."""
    places = [(note.stroke.bar, note.stroke.at) for note in notes]
    for start, end in _palm_mutes(signs):
        first = bisect_left(places, start)
        yield from range(first, min(first + 1, len(places)) if end is None else bisect_right(places, end))


def _palm_mutes(signs: Sequence[Sign]) -> list[tuple[_Start, _Start | None]]:
    """Start and end of every "P.M."."""
    words = re.compile(rf"\s*(?:{_PALM_MUTE})[\s.-]*", re.IGNORECASE)
    ranges: list[tuple[_Start, _Start | None]] = []
    lined = False
    for sign in signs:
        if sign.element.tag != "direction":
            continue
        lines = [e for t in ("dashes", "bracket") for e in sign.element.iterfind(f"direction-type/{t}")]
        if any(words.fullmatch(e.text or "") for e in sign.element.iterfind("direction-type/words")):
            ranges.append(((sign.bar, sign.at), None))
            lined = any(e.get("type") == "start" for e in lines)
        elif lined and any(e.get("type") == "stop" for e in lines):
            ranges[-1] = (ranges[-1][0], (sign.bar, sign.at))
            lined = False
    return ranges


def _after_graces(line: Line) -> Iterator[int]:
    """Indices of the notes that grace notes lead to."""
    waiting = {(g.bar, g.at) for g in line.graces}
    for index, note in enumerate(line.notes):
        if (note.stroke.bar, note.stroke.at) in waiting:
            yield index
