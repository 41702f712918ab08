"""One MusicXML part -> its bars, notes and signs, each in its exact place.

The places come from our own walk and not from music21, which loses a ``<forward>`` at the end of a bar, takes
missing divisions for 10080, shortens bars that are a little too long, and accepts any number as a duration.

Conventions: a place is (bar index, exact ticks from the bar's start); pitches are as written.

References
----------
.. [1] W3C Music Notation Community Group, MusicXML 4.0 reference: elements note, backup, forward, divisions, chord.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError, LimitError
from stylemeter.music.keys import pitch_class
from stylemeter.music.meter import TICKS, Meter, bar_length
from stylemeter.reading.draft.exact import Ticks, number, to_tick, whole
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.intake import limits
from stylemeter.reading.musicxml.elements import said
from stylemeter.reading.musicxml.signs import NOTE_TYPES, meter_sign

__all__ = ["Bar", "Sign", "Stroke", "Walk", "lay", "tell_uneven", "walk"]

_SIGNS = frozenset({"harmony", "direction", "sound", "barline"})
_FULL = bar_length(4, 4)
_MEND = "mend it in a notation editor, or leave the bar out"


@dataclass(slots=True)
class Bar:
    """A printed bar: what it holds, what its meter asks for, and where it starts once the bars are laid."""

    label: str
    implicit: bool
    full: Ticks | None
    length: Ticks = 0
    start: Ticks = 0

    @property
    def partial(self) -> bool:
        """Whether the score itself says that this is part of a bar: not counted, or number 0."""
        return self.implicit or self.label == "0"


@dataclass(slots=True, eq=False)
class Stroke:
    """A note, grace note or unpitched stroke where it is written (rests are the gaps)."""

    element: Element
    bar: int
    at: Ticks
    length: Ticks
    voice: str
    staff: int
    pitch: float | None
    grace: bool


@dataclass(slots=True)
class Sign:
    """Anything else that matters, where it is written."""

    element: Element
    bar: int
    at: Ticks


@dataclass(slots=True)
class Walk:
    """What a part holds."""

    bars: list[Bar] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    meters: list[tuple[int, Ticks, Meter]] = field(default_factory=list)
    found: Findings = field(default_factory=Findings)

    def tick(self, bar: int, at: Ticks) -> int:
        """Absolute tick of a place, once the bars are laid."""
        return to_tick(self.bars[bar].start + at)

    @property
    def pickup(self) -> bool:
        """Whether the first bar is a pickup: shorter than its meter's, and not the only one."""
        if len(self.bars) < 2:
            return False
        first = self.bars[0]
        return first.full is not None and 0 < first.length < first.full

    def name(self, bar: int) -> str:
        """A bar as it is counted, 0 for a pickup, with what the score prints where that differs."""
        number_said = bar + (not self.pickup)
        label = self.bars[bar].label
        return f"bar {number_said}" if label in ("", str(number_said)) else f"bar {number_said} (numbered {label!r})"


def walk(part: Element, meter: Meter | None) -> Walk:
    """Walk through a part.

    Parameters
    ----------
    part : Element
        A ``<part>`` of a part-wise score.
    meter : Meter or None
        In force until the part names its own.

    Raises
    ------
    InputError
        With the bar, where a number can't be meant.
    """
    measures = part.findall("measure")
    if len(measures) > limits.BARS_MAX:
        raise LimitError(f"{len(measures)} bars", mend=f"the limit is {limits.BARS_MAX}")
    walker = _Walker(part, meter)
    for measure in measures:
        walker.bar(measure)
    return walker.walk


class _Walker:
    """Keeps the clock while walking: divisions, cursor, and how far the bar has got."""

    def __init__(self, part: Element, meter: Meter | None) -> None:
        self.walk = Walk()
        self._full: Ticks | None = meter.bar if meter else _FULL
        self._unit = _first_unit(part, self.walk.found)
        self._index = 0
        self._cursor: Ticks = 0
        self._furthest: Ticks = 0
        self._last: Ticks | None = None
        self._elapsed: Ticks = 0

    def bar(self, measure: Element) -> None:
        """Walk through one bar."""
        self._index = len(self.walk.bars)
        self._cursor = self._furthest = 0
        self._last = None
        bar = Bar(_label(measure), measure.get("implicit") == "yes", self._full)
        self.walk.bars.append(bar)
        try:
            for child in measure:
                self._step(child, bar)
            self._elapsed += self._furthest
            self._refuse_long(self._elapsed)
        except InputError as error:
            raise error.at(self.walk.name(self._index)) from None
        bar.length = self._furthest

    def _step(self, child: Element, bar: Bar) -> None:
        """Take one element of a bar."""
        tag = child.tag
        if tag == "note":
            self._note(child, bar)
        elif tag == "backup":
            self._back(child)
        elif tag == "forward":
            self._advance(self._duration(child))
        elif tag == "attributes":
            for sign in child:
                self._attribute(sign, bar)
        elif tag in _SIGNS:
            offset = number(child.findtext("offset")) or 0
            place = max(0, self._cursor + offset * self._unit)
            self._refuse_long(place)
            self.walk.signs.append(Sign(child, self._index, place))

    def _note(self, note: Element, bar: Bar) -> None:
        """Take a note or rest."""
        grace = note.find("grace") is not None
        length = 0 if grace else self._duration(note)
        chord = self._last is not None and note.find("chord") is not None
        at = self._last if chord and self._last is not None and not grace else self._cursor
        rest = note.find("rest")
        if rest is None:
            self._stroke(note, at, length, grace)
        before = max(self._furthest, at + length)
        if chord or grace:
            self._furthest = before
            return
        self._last = at
        if rest is not None and rest.get("measure") == "yes" and bar.full is not None:
            before = max(self._furthest, at + self._whole_bar(length, bar.full, bar.implicit))
        self._cursor, self._furthest = at + length, before

    def _whole_bar(self, length: Ticks, full: Ticks, implicit: bool) -> Ticks:
        """A whole-bar rest lasts as long as the meter says, but in a pickup as long as it says itself."""
        return min(length, full) if length and (implicit or self._index == 0) else full

    def _stroke(self, note: Element, at: Ticks, length: Ticks, grace: bool) -> None:
        """Keep a note in its place."""
        if length == 0 and not grace:
            self.walk.found.add("note", "without length left out", self._index)
            return
        pitch = note.find("pitch")
        voice, staff = (note.findtext("voice") or "").strip() or "1", whole(note.findtext("staff")) or 1
        height = None if pitch is None else written_pitch(pitch)
        self.walk.strokes.append(Stroke(note, self._index, at, length, voice, staff, height, grace))

    def _back(self, backup: Element) -> None:
        """Move the cursor back, not before the bar."""
        self._cursor -= self._duration(backup)
        if self._cursor < 0:
            self._cursor = 0
            self.walk.found.add("step back", "before its bar mended to the bar's start", self._index)

    def _advance(self, length: Ticks) -> None:
        """Move the cursor on."""
        self._cursor += length
        self._furthest = max(self._furthest, self._cursor)

    def _duration(self, element: Element) -> Ticks:
        """Length in ticks."""
        text = element.findtext("duration")
        if text is None:
            length = _length_by_type(element)
            if length is None and element.tag == "note" and element.find("rest[@measure='yes']") is None:
                raise InputError("a note without a duration", mend=_MEND)
            self._refuse_long(length or 0)
            return length or 0
        value = number(text)
        if value is None or value < 0:
            raise InputError(f"duration {text.strip()[:20]!r} is not a length", mend=_MEND)
        length = value * self._unit
        self._refuse_long(length)
        return length

    def _refuse_long(self, length: Ticks) -> None:
        """Refuse what no piece lasts."""
        if length > limits.TICKS_MAX:
            raise LimitError(
                f"{float(length / Fraction(TICKS)):.6g} quarter notes long",
                mend=f"the limit of a piece is {limits.TICKS_MAX // TICKS}",
            )

    def _attribute(self, sign: Element, bar: Bar) -> None:
        """Take divisions and meter as they change, keep the other attributes."""
        if sign.tag == "divisions":
            self._unit = _unit(sign) or self._unit
        elif sign.tag == "time":
            meter = meter_sign(sign)
            self._full = None if meter is None else meter.bar
            if meter is not None:
                self.walk.meters.append((self._index, self._cursor, meter))
            if self._cursor == 0:
                bar.full = self._full
            if meter is None:
                self.walk.found.add("", "without a meter (senza misura): bars are as long as their notes", self._index)
        else:
            self.walk.signs.append(Sign(sign, self._index, self._cursor))


def _label(measure: Element) -> str:
    """Number of a bar as the score prints it."""
    return (measure.get("number") or "").strip()[:12]


def written_pitch(pitch: Element) -> float:
    """MIDI note number of a ``<pitch>``, as written.

    Raises
    ------
    InputError
        If step, alteration or octave is none.
    """
    step, octave = (pitch.findtext("step") or "").strip(), whole(pitch.findtext("octave"))
    alter = number(pitch.findtext("alter") or "0")
    base = pitch_class(step) if len(step) == 1 else None
    if base is None or octave is None or not 0 <= octave <= 9 or alter is None or not -4 <= alter <= 4:
        words = f"step {step[:8]!r}, alter {said(pitch, 'alter')[:12] or '0'!r}, octave {said(pitch, 'octave')[:12]!r}"
        raise InputError(f"{words} is not a pitch", mend="octaves are 0 to 9; " + _MEND)
    return base + float(alter) + 12 * (octave + 1)


def _unit(divisions: Element) -> Ticks | None:
    """Ticks a division, None where the divisions are no number over 0."""
    value = number(divisions.text)
    if value is None or value <= 0:
        return None
    unit = Fraction(TICKS) / value
    return unit.numerator if unit.denominator == 1 else unit


def _first_unit(part: Element, found: Findings) -> Ticks:
    """Ticks a division at the start, worked out from the note types where the part doesn't say it.

    Raises
    ------
    InputError
        If there are notes whose length can't be known.
    """
    for index, measure in enumerate(part.findall("measure")):
        unit = next((u for d in measure.iterfind("attributes/divisions") if (u := _unit(d))), None)
        if unit is not None:
            if index:
                found.add("", "divisions are named only later: used from the start", index)
            return unit
    votes: Counter[Fraction] = Counter()
    for note in part.iterfind("measure/note"):
        value, length = number(note.findtext("duration")), _length_by_type(note)
        if value is not None and value > 0 and length:
            votes[Fraction(length) / value] += 1
    if votes:
        unit, agreed = votes.most_common(1)[0]
        if agreed >= _AGREE * sum(votes.values()):
            found.add("", "no divisions: note lengths worked out from the note types", 0)
            return unit.numerator if unit.denominator == 1 else unit
    if part.find("measure/note/duration") is None:
        return TICKS
    raise InputError(
        "the part has no divisions, so no length is known", where="bar 1", mend="export it again as MusicXML"
    )


#: Share of the notes that must agree on the divisions they imply.
_AGREE = 0.9


def _length_by_type(note: Element) -> Ticks | None:
    """Length in ticks by type, dots and tuplet, None where it isn't told."""
    quarters = NOTE_TYPES.get((note.findtext("type") or "").strip())
    if quarters is None:
        return None
    dots = min(4, len(note.findall("dot")))
    actual = max(1, whole(note.findtext("time-modification/actual-notes")) or 1)
    normal = max(1, whole(note.findtext("time-modification/normal-notes")) or 1)
    length = quarters * (2 - Fraction(1, 2**dots)) * Fraction(normal, actual) * TICKS
    return length.numerator if length.denominator == 1 else length


def lay(walked: Walk, others: list[Walk]) -> None:
    """Give every bar its length and start.

    An empty bar is a full one; a bar shorter than its meter's is as long as the longest of the same bar in the
    other parts, up to the meter's, unless it is marked as a part of a bar; what is longer stays so.
    """
    start: Ticks = 0
    for index, bar in enumerate(walked.bars):
        beside = max((w.bars[index].length for w in others if index < len(w.bars)), default=0)
        full = bar.full
        if full is None:
            bar.length = max(bar.length, beside)
        elif bar.length == 0:
            bar.length = min(beside, full) or full
        elif bar.length < min(beside, full) and not bar.partial:
            bar.length = min(beside, full)
            walked.found.add("bar", "shorter than in the other parts filled up with a rest", index)
        bar.start = start
        start += bar.length
    if start > limits.TICKS_MAX:
        raise LimitError("the piece is too long", mend=f"the limit is {limits.TICKS_MAX // TICKS} quarter notes")


def tell_uneven(walked: Walk) -> None:
    """Count the bars that are longer or shorter than their meter.

    A pickup isn't short, nor the last bar that makes it whole, nor two halves of one bar.
    """
    bars = walked.bars
    spare = {0} if walked.pickup else set()
    if walked.pickup and not bars[0].partial:
        walked.found.add("", "first bar shorter than the meter: read as a pickup", 0)
    for index, bar in enumerate(bars):
        if bar.full is None or bar.length == bar.full or index in spare:
            continue
        if bar.length > bar.full:
            walked.found.add("bar", "longer than the meter kept as written", index)
        elif index + 1 < len(bars) and bar.length + bars[index + 1].length == bar.full:
            spare.add(index + 1)
        elif not (index == len(bars) - 1 and walked.pickup and bars[0].length + bar.length == bar.full):
            walked.found.add("bar", "shorter than the meter kept as written", index)
