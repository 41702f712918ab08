"""The melody as MusicXML: one part, one voice, readable in any notation program.

Conventions: pitches as they sound (a guitar's melody gets the guitarist's clef, an octave down); every note has an
``id`` ("n17" for the note of index 17, "n17-2", "n17-3" for what is tied to it); a bent note is written at the pitch it
reaches, with a bend of no told size. No dates and no program versions: the same melody gives the same bytes.

References
----------
.. [1] W3C Music Notation Community Group, MusicXML 4.0 reference.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from math import gcd
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from stylemeter.music.fingering import for_guitar
from stylemeter.music.melody import Chord, Ints, Key, Melody, Technique
from stylemeter.music.meter import TICKS, Meter
from stylemeter.writing.beams import beams
from stylemeter.writing.harmony import bass_of, xml_chord
from stylemeter.writing.layout import PrintedBar, chords_by_bar, printed_bars
from stylemeter.writing.marks import notations
from stylemeter.writing.spelling import Spelled, alterations, fifths_of, spell, spell_class
from stylemeter.writing.values import Element as Piece

__all__ = ["COLOUR", "score_of", "to_musicxml"]

#: Colour of marked notes, dark enough to be told apart in grey.
COLOUR = "#B00020"

_TYPES = {TICKS * 8 >> n: name for n, name in enumerate(("breve", "whole", "half", "quarter", "eighth"))}
_TYPES |= {TICKS >> n: name for n, name in ((2, "16th"), (3, "32nd"), (4, "64th"), (5, "128th"))}
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
#: Characters XML can't hold.
_ILLEGAL = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def to_musicxml(
    melody: Melody,
    *,
    marks: Collection[int] = (),
    bars: Collection[int] | None = None,
    colour: str = COLOUR,
) -> bytes:
    """Write a melody as MusicXML.

    Parameters
    ----------
    melody : Melody
    marks : collection of int
        Indices of notes to print in `colour`.
    bars : collection of int, optional
        Numbers of the bars to print (as in `Melody.bar`); all by default.
    colour : str
        "#RRGGBB".

    Returns
    -------
    bytes
        UTF-8.

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> score = to_musicxml(build(Draft([RawNote(0, 10080, 60.0)], title="One note")))
    >>> score.count(b"<note id="), b"<work-title>One note</work-title>" in score
    (1, True)
    """
    return score_of(melody, printed_bars(melody, numbers=bars), marks=marks, colour=colour)


def score_of(
    melody: Melody,
    printed: Sequence[PrintedBar],
    *,
    marks: Collection[int] = (),
    colour: str = COLOUR,
    named: bool = True,
) -> bytes:
    """Write bars of a melody that are laid out already; as `to_musicxml`, without title and part where not `named`."""
    score = Element("score-partwise", version="4.0")
    if melody.title and named:
        SubElement(SubElement(score, "work"), "work-title").text = _legal(melody.title)
    listed = SubElement(SubElement(score, "part-list"), "score-part", id="P1")
    SubElement(listed, "part-name").text = _legal(melody.part) if named else ""
    if melody.technique is not None and named:
        # How a string is played is only told of plucked instruments: say that this is one.
        instrument = SubElement(listed, "score-instrument", id="P1-I1")
        SubElement(instrument, "instrument-name").text = _legal(melody.part) or "Guitar"
        SubElement(instrument, "instrument-sound").text = "pluck.guitar"
    part = SubElement(score, "part", id="P1")
    _Writer(melody, printed, frozenset(marks), colour).fill(part)
    indent(score, " ")
    text: str = tostring(score, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


def _legal(text: str) -> str:
    """Text without what XML can't hold."""
    return _ILLEGAL.sub("", text)


def _text(parent: Element, tag: str, text: object) -> Element:
    """A child with a text."""
    child = SubElement(parent, tag)
    child.text = str(text)
    return child


class _Accidentals:
    """The accidentals in force in a bar."""

    def __init__(self, signature: dict[str, int]) -> None:
        self.signature = signature
        self.said: dict[tuple[str, int], float] = {}

    def sign(self, spelled: Spelled, *, tied: bool) -> str | None:
        """The accidental to print, None where it is in force already."""
        place = (spelled.letter, spelled.octave)
        before = self.said.get(place, self.signature.get(spelled.letter, 0))
        self.said[place] = spelled.alter
        return None if tied or before == spelled.alter else _ACCIDENTALS.get(round(spelled.alter))


class _Writer:
    """Fills the part, keeping what was said before: meter, accidentals, how often a note was tied."""

    def __init__(self, melody: Melody, printed: Sequence[PrintedBar], marks: frozenset[int], colour: str) -> None:
        self.melody = melody
        self.printed = printed
        self.marks = marks
        self.colour = colour
        self.chords = chords_by_bar(melody, printed)
        lengths = [piece.length for bar in printed for piece in bar.elements]
        offsets = [
            chord.onset - piece.start
            for bar, chords in zip(printed, self.chords, strict=True)
            for piece in bar.elements
            for chord in _inside(piece, chords)
        ]
        #: Ticks a division, so that every length is whole.
        self.unit = gcd(TICKS, *lengths, *offsets)
        self.tied: dict[int, int] = {}
        self.meter: tuple[int, int] | None = None

    def fill(self, part: Element) -> None:
        """Write every bar."""
        for place, (bar, chords) in enumerate(zip(self.printed, self.chords, strict=True)):
            measure = SubElement(part, "measure", number=str(bar.number))
            if bar.short:
                measure.set("implicit", "yes")
            self._attributes(measure, bar, first=place == 0)
            if place == 0 and self.melody.tempo is not None:
                _tempo(measure, self.melody.tempo)
            heard = _Accidentals(alterations(fifths_of(self.melody.key)))
            beamed = beams(bar.elements, bar.line, bar.meter)
            for piece, own_beams in zip(bar.elements, beamed, strict=True):
                for chord in _inside(piece, chords):
                    self._harmony(measure, chord, chord.onset - piece.start)
                note = self._note(measure, piece, bar.meter, heard)
                for level, beam in enumerate(own_beams, 1):
                    _text(note, "beam", beam).set("number", str(level))
                self._notations(note, piece)

    def _attributes(self, measure: Element, bar: PrintedBar, *, first: bool) -> None:
        """Divisions, key, meter and clef, where they are new."""
        meter = (bar.meter.numerator, bar.meter.denominator)
        if not first and meter == self.meter:
            return
        attributes = SubElement(measure, "attributes")
        if first:
            _text(attributes, "divisions", TICKS // self.unit)
            if self.melody.key is not None:
                _key(attributes, self.melody.key)
        self.meter = meter
        time = SubElement(attributes, "time")
        _text(time, "beats", meter[0])
        _text(time, "beat-type", meter[1])
        if first:
            _clef(attributes, for_guitar(self.melody))

    def _harmony(self, measure: Element, chord: Chord, offset: int) -> None:
        """A chord symbol, `offset` ticks after the note it stands at."""
        harmony = SubElement(measure, "harmony")
        kind, said, degrees = xml_chord(chord)
        if chord.root is None:
            # The standard asks for a root even here, and for its letter not to be printed.
            _text(SubElement(harmony, "root"), "root-step", "C").set("text", "")
        else:
            _root(harmony, "root", chord.root, self.melody.key)
        _text(harmony, "kind", kind).set("text", said)
        bass = bass_of(chord)
        if bass is not None:
            _root(harmony, "bass", bass, self.melody.key)
        for value, alter, how in degrees:
            degree = SubElement(harmony, "degree")
            _text(degree, "degree-value", value)
            _text(degree, "degree-alter", alter)
            _text(degree, "degree-type", how)
        if offset:
            _text(harmony, "offset", offset // self.unit)

    def _note(self, measure: Element, piece: Piece, meter: Meter, heard: _Accidentals) -> Element:
        """A note or rest up to its beams, its children in the order the standard asks for."""
        note = SubElement(measure, "note")
        if piece.hidden:
            note.set("print-object", "no")
        sign = None
        if piece.note is None:
            rest = SubElement(note, "rest")
            if piece.length == meter.bar and measure.findall("note") == [note]:
                rest.set("measure", "yes")
        else:
            sign = self._pitch(note, piece, heard)
        _text(note, "duration", piece.length // self.unit)
        if piece.note is not None:
            for tied, kind in ((piece.tied_from, "stop"), (piece.tied_to, "start")):
                if tied:
                    SubElement(note, "tie", type=kind)
        _text(note, "voice", 1)
        _value(note, piece, sign)
        return note

    def _pitch(self, note: Element, piece: Piece, heard: _Accidentals) -> str | None:
        """Id, colour and pitch of a note; the accidental it needs."""
        index = piece.note or 0
        count = self.tied[index] = self.tied.get(index, 0) + 1
        note.set("id", f"n{index}" if count == 1 else f"n{index}-{count}")
        if index in self.marks:
            note.set("color", self.colour)
        spelled = spell(float(self.melody.pitch[index]), self.melody.key)
        pitch = SubElement(note, "pitch")
        _text(pitch, "step", spelled.letter)
        if spelled.alter:
            _text(pitch, "alter", f"{spelled.alter:.12f}".rstrip("0").rstrip("."))
        _text(pitch, "octave", spelled.octave)
        return heard.sign(spelled, tied=piece.tied_from)

    def _notations(self, note: Element, piece: Piece) -> None:
        """Ties, tuplet brackets and playing marks as they are printed."""
        found = Element("notations")
        if piece.note is not None:
            for tied, kind in ((piece.tied_from, "stop"), (piece.tied_to, "start")):
                if tied:
                    SubElement(found, "tied", type=kind)
        tuplet = piece.tuplet
        if tuplet and tuplet.place == 0:
            SubElement(found, "tuplet", type="start", bracket="yes")
        if tuplet and tuplet.place == tuplet.count - 1:
            SubElement(found, "tuplet", type="stop")
        own = following = Technique(0)
        if piece.note is not None:
            if self.melody.technique is not None:
                own, following = self._technique(piece, piece.note, self.melody.technique)
            found.extend(notations(own, following, None if piece.tied_from else self._place(piece.note)))
        if len(found):
            note.append(found)
        if Technique.PALM_MUTE in own:
            _text(SubElement(note, "play"), "mute", "palm")

    def _place(self, note: int) -> tuple[int, int] | None:
        """String and fret of a note, where both are known."""
        if self.melody.strings is None or self.melody.frets is None:
            return None
        string, fret = int(self.melody.strings[note]), int(self.melody.frets[note])
        return (string, fret) if string > 0 and fret >= 0 else None

    def _technique(self, piece: Piece, note: int, bits: Ints) -> tuple[Technique, Technique]:
        """Marks of a note (on what it starts with), and of the note after it (on what it ends with)."""
        own = Technique(0) if piece.tied_from else Technique(int(bits[note]))
        leads = not piece.tied_to and note + 1 < len(bits)
        return own, Technique(int(bits[note + 1])) if leads else Technique(0)


def _inside(piece: Piece, chords: Sequence[Chord]) -> Iterator[Chord]:
    """Chords that start while a piece lasts."""
    return (c for c in chords if piece.start <= c.onset < piece.start + piece.length)


def _key(attributes: Element, key: Key) -> None:
    """Signature and mode."""
    element = SubElement(attributes, "key")
    _text(element, "fifths", fifths_of(key))
    _text(element, "mode", key.mode if key.mode and key.mode != "blues" else "none")


def _clef(attributes: Element, octave_down: bool) -> None:
    """A treble clef, an octave down for the guitar; pitches stay as they sound, which is said outright."""
    clef = SubElement(attributes, "clef")
    _text(clef, "sign", "G")
    _text(clef, "line", 2)
    if octave_down:
        _text(clef, "clef-octave-change", -1)
    transpose = SubElement(attributes, "transpose")
    _text(transpose, "diatonic", 0)
    _text(transpose, "chromatic", 0)


def _tempo(measure: Element, tempo: float) -> None:
    """Quarter notes a minute, printed and played."""
    said = f"{tempo:.12f}".rstrip("0").rstrip(".")
    direction = SubElement(measure, "direction", placement="above")
    metronome = SubElement(SubElement(direction, "direction-type"), "metronome")
    _text(metronome, "beat-unit", "quarter")
    _text(metronome, "per-minute", said)
    SubElement(direction, "sound", tempo=said)


def _root(harmony: Element, which: str, pitch_class: int, key: Key | None) -> None:
    """Root or bass of a chord."""
    letter, alter = spell_class(pitch_class, key)
    element = SubElement(harmony, which)
    _text(element, f"{which}-step", letter)
    if alter:
        _text(element, f"{which}-alter", alter)


def _value(note: Element, piece: Piece, sign: str | None) -> None:
    """Type, dots, accidental and tuplet of a note or rest; none for a length that can't be written."""
    whole_bar = note.find("rest[@measure='yes']") is not None
    if piece.value is not None and not whole_bar:
        _text(note, "type", _TYPES[piece.value.plain])
        for _ in range(piece.value.dots):
            SubElement(note, "dot")
    if sign:
        _text(note, "accidental", sign)
    if piece.tuplet is not None and piece.value is not None:
        change = SubElement(note, "time-modification")
        _text(change, "actual-notes", piece.tuplet.actual)
        _text(change, "normal-notes", piece.tuplet.normal)
