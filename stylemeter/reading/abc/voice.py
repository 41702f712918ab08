"""One voice of an ABC tune while it is read: what sounds, how long, and where the bar lines stand.

Conventions: lengths are ticks; the place of a bar line, meter, chord symbol or remark is the number of events
(notes, chords, rests) before it, since broken rhythm still changes lengths after they were written down.

References
----------
.. [1] The ABC music standard 2.1, section 4 (the tune body): accidentals 4.2 and 11.3, note lengths 4.3, broken
   rhythm 4.4, rests 4.5, ties 4.11, tuplets 4.13, chords 4.17.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

from stylemeter.errors import LimitError
from stylemeter.music.meter import TICKS
from stylemeter.reading.abc.fields import AbcKey, AbcMeter
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.intake import limits

__all__ = ["BarSign", "Event", "Voice", "read_length"]

_STEPS = {"C": 60, "D": 62, "E": 64, "F": 65, "G": 67, "A": 69, "B": 71}
_SIGNS = {"": None, "^": 1.0, "^^": 2.0, "_": -1.0, "__": -2.0, "=": 0.0, "^/": 0.5, "_/": -0.5}
#: One written note: sign, letter, octave marks, length.
NOTE = re.compile(r"(\^\^|__|\^/|_/|[\^_=])?([A-Ga-g])([,']*)(\d*/*\d*)(-?)")
#: Notes a tuplet (p takes the time of; None: three in compound meters, else two.
_TUPLETS: dict[int, int | None] = {1: 1, 2: 3, 3: 2, 4: 3, 5: None, 6: 2, 7: None, 8: 3, 9: None}
#: What transcribers mean by some of them all the same: the plain notes next in number.
_PLAIN_TUPLETS = {5: 4, 6: 4, 7: 4, 9: 8}
#: Marks of broken rhythm in a row, digits of a length, octave marks of a note.
_BROKEN_MAX, _DIGITS_MAX, _OCTAVE_MARKS_MAX = 4, 4, 6


@dataclass(slots=True)
class Event:
    """A note, a chord or (without pitches) a rest: sounding MIDI numbers, and which of them are tied to the next."""

    ticks: int
    pitches: tuple[float, ...] = ()
    tied: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class BarSign:
    """A bar line: its place, and whether a section or an ending starts or ends there."""

    place: int
    section: bool


@lru_cache(maxsize=1024)
def read_length(text: str) -> tuple[int, int] | None:
    """A note's length in unit lengths, as a fraction; None where its upper or lower number is 0.

    Raises
    ------
    LimitError
        If a number is absurdly long.

    Examples
    --------
    >>> [read_length(t) for t in ("", "3/2", "/", "//", "/4", "3/", "/0")]
    [(1, 1), (3, 2), (1, 2), (1, 4), (1, 4), (3, 2), None]
    """
    upper, slashes, lower = re.fullmatch(r"(\d*)(/*)(\d*)", text).groups()  # type: ignore[union-attr]
    if max(len(upper), len(slashes), len(lower)) > _DIGITS_MAX:
        raise LimitError("a note's length is absurdly long", mend="mend the tune in a text editor")
    above = int(upper or 1)
    below = int(lower) * 2 ** (len(slashes) - 1) if lower and slashes else 2 ** len(slashes)
    return (above, below) if above and below else None


@dataclass(slots=True)
class Voice:
    """What was read of one voice so far.

    Attributes
    ----------
    mark, name : str
        As the ``V:`` field has them.
    key, meter, unit
        In force; the unit note length in ticks.
    propagate : {"pitch", "octave", "not"}
        How far an accidental holds: to the bar's end in every octave (the standard's default), in its own
        octave, or for its note only.
    tempo : float or None
        The first one.
    signs, meters, symbols, keys : list
        Bar lines; meter changes; quoted texts; key changes, each with its place.
    phrase_ends, slur_ends : list of int
        Places of the events that end a phrase by its marks, or an outermost slur.
    drums : bool
    programs : frozenset of int
        Of General MIDI, from 0, where the text names any.
    plain_tuplets, doubtful_tuplets : bool
        Whether tuplets of 5, 6, 7 and 9 take the time of 4, 4, 4 and 8; whether there were such without a time.
    """

    mark: str
    name: str
    key: AbcKey
    meter: AbcMeter
    unit: int
    propagate: str = "pitch"
    tempo: float | None = None
    events: list[Event] = field(default_factory=list)
    signs: list[BarSign] = field(default_factory=list)
    meters: list[tuple[int, AbcMeter]] = field(default_factory=list)
    symbols: list[tuple[int, str]] = field(default_factory=list)
    keys: list[tuple[int, AbcKey]] = field(default_factory=list)
    phrase_ends: list[int] = field(default_factory=list)
    slur_ends: list[int] = field(default_factory=list)
    drums: bool = False
    programs: frozenset[int] = frozenset()
    found: Findings = field(default_factory=Findings)
    said: list[str] = field(default_factory=list)
    total: int = 0
    overlaid: bool = False
    plain_tuplets: bool = False
    doubtful_tuplets: bool = False
    _carried: dict[str, float] = field(default_factory=dict)
    _held: dict[tuple[str, str], float] = field(default_factory=dict)
    _last: dict[tuple[str, str], float] = field(default_factory=dict)
    _slurs: int = 0
    _ratio: tuple[int, int] = (1, 1)
    _left: int = 0
    _after_grace: bool = False
    _next_broken: tuple[int, int] | None = None

    @property
    def shift(self) -> int:
        """Semitones from written to sounding pitch."""
        return self.key.shift

    @property
    def place(self) -> int:
        """Events so far."""
        return len(self.events)

    @property
    def notes(self) -> int:
        """Sounding events so far."""
        return sum(bool(event.pitches) for event in self.events)

    def slur(self, *, opens: bool) -> None:
        """A slur opens or closes; the outermost one's last note is kept."""
        if opens:
            self._slurs += 1
        elif self._slurs:
            self._slurs -= 1
            if not self._slurs and self.events:
                self.slur_ends.append(self.place - 1)

    def set_key(self, key: AbcKey) -> None:
        """Another key, or the same one at another sounding pitch, from here on."""
        self.key = key
        self.keys.append((self.place, key))

    def note(self, written: re.Match[str]) -> None:
        """A single note."""
        self._sound([written], (written[4],), tied_all=False)

    def chord(self, inside: str, length: str, tie: str) -> None:
        """Notes in square brackets; the first one's length holds for all, times the one behind the bracket."""
        written = list(NOTE.finditer(inside))
        if written:
            self._sound(written, (written[0][4], length), tied_all=bool(tie))

    def _sound(self, written: list[re.Match[str]], lengths: tuple[str, ...], *, tied_all: bool) -> None:
        """Add a note or chord. A tied note keeps its accidental over the bar line."""
        pitches, tied, held = [], [], {}
        self._last = {}
        for note in written:
            spelled = (note[2], note[3])
            sign = self._last[spelled] = self._sign(note, spelled)
            pitches.append(self._pitch(spelled, sign))
            if tied_all or note[5]:
                tied.append(pitches[-1])
                held[spelled] = sign
        self._held = held
        self._add(Event(self._ticks(*lengths), tuple(pitches), tuple(tied)))

    def _sign(self, note: re.Match[str], spelled: tuple[str, str]) -> float:
        """Semitones of a note's accidental: its own, the tie's, the bar's or the signature's."""
        own = _SIGNS[note[1] or ""]
        letter = spelled[0].upper()
        carry = letter if self.propagate == "pitch" else "".join(spelled)
        if own is not None:
            if self.propagate != "not":
                self._carried[carry] = own
            return own
        if spelled in self._held:
            return self._held[spelled]
        if carry in self._carried:
            return self._carried[carry]
        return float(self.key.signature.get(letter, 0))

    def _pitch(self, spelled: tuple[str, str], sign: float) -> float:
        """Sounding MIDI number."""
        letter, marks = spelled
        if len(marks) > _OCTAVE_MARKS_MAX:
            raise LimitError("a note lies absurdly high or low", mend="mend the tune in a text editor")
        octave = marks.count("'") - marks.count(",") + letter.islower()
        pitch = _STEPS[letter.upper()] + 12 * octave + sign + self.shift
        if not limits.PITCH_MIN <= pitch <= limits.PITCH_MAX:
            raise LimitError("a note lies outside MIDI's range", mend="check its octave marks")
        return pitch

    def grace(self, inside: str) -> None:
        """Grace notes are left out; their accidentals hold to the bar's end like any other.

        A slur or tie from them to the next note is none of the note before.
        """
        self._after_grace = True
        written = list(NOTE.finditer(inside))
        for note in written:
            self._sign(note, (note[2], note[3]))
        if written:
            self.found.add("grace note", "left out", self.place, len(written))

    def rest(self, length: str) -> None:
        """A rest within the bar."""
        self._held = {}
        self._add(Event(self._ticks(length)))

    def full_rest(self, count: str) -> None:
        """Whole bars of rest, each with its own bar line; among notes of a bar it is a plain rest mistyped."""
        if self.place > (self.signs[-1].place if self.signs else 0):
            self.rest(count)
            return
        if len(count) > _DIGITS_MAX:
            raise LimitError("absurdly many bars of rest", mend="mend the tune in a text editor")
        bars = max(1, int(count or 1))
        full = (self.meter.at(0) or AbcMeter(4, 4).at(0)).bar  # type: ignore[union-attr]
        for i in range(min(bars, limits.BARS_MAX)):
            if i:
                self.bar(section=False)
            self._held = {}
            self._append(Event(full))

    def tie(self) -> None:
        """A tie that stands apart from its note."""
        if self.events and self.events[-1].pitches and not self._after_grace:
            self.events[-1].tied = self.events[-1].pitches
            self._held = self._last

    def bar(self, *, section: bool) -> None:
        """A bar line: accidentals end, and so does a voice overlay."""
        self._carried = {}
        self.overlaid = False
        if len(self.signs) > 2 * limits.BARS_MAX:
            raise LimitError(f"more than {limits.BARS_MAX} bars", mend="split the tune")
        self.signs.append(BarSign(self.place, section))

    def broken(self, marks: str) -> None:
        """``>`` lengthens the note before and shortens the one after, ``<`` the other way round."""
        if not self.events or len(marks) > _BROKEN_MAX:
            self.found.add("broken-rhythm sign", "without a note before it left out", self.place)
            return
        part = 2 ** len(marks)
        longer, shorter = (2 * part - 1, part), (1, part)
        before, after = (longer, shorter) if marks[0] == ">" else (shorter, longer)
        event = self.events[-1]
        self.total -= event.ticks
        event.ticks = self._scaled(event.ticks, *before)
        self.total += event.ticks
        self._next_broken = after

    def tuplet(self, p: str, q: str, r: str) -> None:
        """The next r notes take the time q of them would take p."""
        if max(len(p), len(q), len(r)) > _DIGITS_MAX - 2:
            raise LimitError("an absurd tuplet", mend="mend the tune in a text editor")
        upper, lower = int(p), int(q) if q else self._implied(int(p))
        if not upper or not lower:
            self.found.add("tuplet", "not understood, read as plain notes", self.place)
            return
        self._ratio, self._left = (lower, upper), int(r) if r and int(r) else upper

    def _implied(self, upper: int) -> int:
        """Time of a tuplet that does not say it; 0 where the standard knows none."""
        self.doubtful_tuplets |= upper in _PLAIN_TUPLETS
        if self.plain_tuplets and upper in _PLAIN_TUPLETS:
            return _PLAIN_TUPLETS[upper]
        lower = _TUPLETS.get(upper, 0)
        return (3 if self.meter.compound else 2) if lower is None else lower

    def _ticks(self, *lengths: str) -> int:
        """Length in ticks of a note, chord or rest, with tuplet and broken rhythm."""
        ticks = self.unit
        for text in lengths:
            found = read_length(text)
            if found is None:
                self.found.add("zero length", "read as 1", self.place)
                continue
            ticks = self._scaled(ticks, *found)
        if self._left:
            self._left -= 1
            ticks = self._scaled(ticks, *self._ratio)
        if self._next_broken:
            ticks = self._scaled(ticks, *self._next_broken)
            self._next_broken = None
        return ticks

    def _scaled(self, ticks: int, upper: int, lower: int) -> int:
        """Ticks times a fraction; what does not come out is rounded and counted."""
        ticks, rest = divmod(ticks * upper, lower)
        if rest:
            self.found.add("length", "rounded to the nearest tick", self.place)
            ticks += 2 * rest >= lower
        return max(1, ticks)

    def _add(self, event: Event) -> None:
        """Add what stands in the leading layer; an overlay is only counted."""
        self._after_grace = False
        if self.overlaid:
            self.found.add("note or rest", "of a second layer (&) left out", self.place, plural="notes and rests")
            return
        self._append(event)

    def _append(self, event: Event) -> None:
        """Add an event within the limits."""
        self.total += event.ticks
        if len(self.events) >= limits.NOTES_MAX or self.total > limits.TICKS_MAX:
            raise LimitError(
                f"longer than {limits.NOTES_MAX} notes or {limits.TICKS_MAX // TICKS} quarters", mend="split the tune"
            )
        self.events.append(event)
