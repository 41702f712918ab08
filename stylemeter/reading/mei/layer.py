"""One layer of one measure of an MEI score: notes, chords and rests, with beams, tuplets, ties and accidentals.

Conventions: as in `walk`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.draft.exact import to_tick, whole
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.draft.ties import TiedLine
from stylemeter.reading.intake import limits
from stylemeter.reading.mei.signs import ALTERS, length_of, read_letters, step_of
from stylemeter.support.printable import show

__all__ = ["Layer", "LayerReader"]

#: What only groups notes.
_GROUPS = frozenset({"beam", "ligature", "bTrem", "supplied", "corr", "reg", "add", "lem", "rdg", "restore", "unclear"})
_REPEATS = frozenset({"beatRpt", "halfmRpt", "mRpt", "mRpt2", "multiRpt"})
#: Numbers of a tuplet, and tuplet spans over one note.
_PARTS_MAX, _SPANS_MAX = 1000, 4

Spelled = tuple[str, str]


@dataclass(slots=True)
class Layer:
    """Notes of a layer, the accidentals of those tied on, and the first fault that its time can't be told past."""

    notes: TiedLine = field(default_factory=TiedLine)
    held: dict[Spelled, float] = field(default_factory=dict)
    fault: InputError | None = None


@dataclass(slots=True)
class _State:
    """Where the reading of a layer stands."""

    layer: Layer
    shift: int
    letters: dict[str, int]
    defaults: tuple[str | None, str | None]
    at: Fraction = Fraction(0)
    empty: int = 1
    carried: dict[Spelled, float] = field(default_factory=dict)
    spans: list[tuple[str, Fraction]] = field(default_factory=list)


class LayerReader:
    """Reads layers; holds what the whole score says of notes by their id: ties and tuplets."""

    def __init__(self, root: Element, found: Findings, *, by_signature: bool) -> None:
        self.by_signature = by_signature
        self.found = found
        self.start = 0
        self.changes: list[tuple[Fraction, Element]] = []
        self._tied = {_id(e.get("startid")) for e in root.iter("tie") if e.get("startid")}
        self._tuplets = {_id(e.get("startid")): (_id(e.get("endid")), _ratio(e)) for e in root.iter("tupletSpan")}
        self._onsets: dict[str, int] = {}
        #: Notes that end a phrase, by their id, and where those met so far start.
        self._phrase_ends = {_id(e.get("endid")) for e in root.iter("phrase") if e.get("endid")}
        self.phrase_ends: list[tuple[Layer, int]] = []

    def begin(self, start: int) -> None:
        """Begin a measure at a tick."""
        self.start = start
        self._onsets = {}

    def onset(self, reference: str | None) -> int | None:
        """Tick of a note of this measure by its id."""
        return self._onsets.get(_id(reference)) if reference else None

    def read(
        self,
        element: Element,
        layer: Layer,
        shift: int,
        letters: dict[str, int],
        defaults: tuple[str | None, str | None],
    ) -> tuple[Fraction, int]:
        """Read a layer.

        Parameters
        ----------
        element : Element
        layer : Layer
            Added to.
        shift : int
            Semitones from written to sounding.
        letters : dict of str to int
            What the signature changes; taken only where the file has no gestural accidentals.
        defaults : (duration, octave)
            Of notes that say none.

        Returns
        -------
        length : Fraction
            In ticks; 0 where only a bar's rest stands in it.
        bars : int
            Bars of rest it stands for.

        Notes
        -----
        Keys and meters that stand in the layer are left in `changes`, each with its place.
        """
        self.changes = []
        state = _State(layer, shift, letters if self.by_signature else {}, defaults)
        self._group(element, state, Fraction(1), grace=False)
        return state.at, state.empty

    def _group(self, parent: Element, state: _State, ratio: Fraction, *, grace: bool) -> None:
        """Read what a layer, beam or tuplet holds."""
        for element in parent:
            tag = element.tag
            if tag in ("note", "chord"):
                self._note(element, state, self._spanned(element, state, ratio), grace=grace)
            elif tag in ("rest", "space"):
                self._rest(element, state, self._spanned(element, state, ratio), grace=grace)
            elif tag == "tuplet":
                self._group(element, state, ratio * _ratio(element), grace=grace)
            elif tag == "fTrem":
                self._group(element, state, ratio / 2, grace=grace)
            elif tag == "graceGrp":
                self._group(element, state, ratio, grace=True)
            elif tag in _GROUPS:
                self._group(element, state, ratio, grace=grace)
            elif tag in ("app", "choice", "subst"):
                self._group(_first_reading(element), state, ratio, grace=grace)
            elif tag in ("keySig", "meterSig", "meterSigGrp"):
                self._change(element, state)
            else:
                self._whole_bar(element, state)

    def _change(self, element: Element, state: _State) -> None:
        """Another key or meter from here on."""
        definition = Element("staffDef")
        definition.append(element)
        self.changes.append((state.at, definition))
        letters = read_letters(definition)
        if letters is not None and self.by_signature:
            state.letters = letters

    def _whole_bar(self, element: Element, state: _State) -> None:
        """Rests of a bar or more, and signs that repeat what went before."""
        if element.tag == "multiRest":
            count = whole(element.get("num")) or 1
            state.empty = max(1, min(count, limits.BARS_MAX))
        elif element.tag in _REPEATS:
            self.found.add("sign", "that repeats a beat or a bar read as a rest", self.start)
        if element.tag in ("multiRest", "mRest", "mSpace"):
            self._silence(state.layer)

    def _spanned(self, element: Element, state: _State, ratio: Fraction) -> Fraction:
        """Ratio with the tuplet spans that begin, go on or end at a note."""
        mark = element.get("id", "")
        if mark in self._tuplets and len(state.spans) < _SPANS_MAX:
            state.spans.append(self._tuplets[mark])
        for _, factor in state.spans:
            ratio *= factor
        state.spans = [span for span in state.spans if span[0] != mark]
        return ratio

    def _length(self, element: Element, state: _State, ratio: Fraction) -> Fraction:
        """Length of a note, chord or rest in ticks; none of its own counts as 0, a fault but for rests."""
        teller = element
        if element.get("dur") is None and element.tag == "chord":
            teller = next((note for note in element.iter("note") if note.get("dur")), element)
        duration = teller.get("dur")
        length = length_of(duration or state.defaults[0], _dots(teller))
        if length is not None:
            return length * ratio
        if element.tag in ("rest", "space") and not duration:
            self.found.add(element.tag, "without a length passed over", self.start)
        else:
            self._fault(state, f"a {element.tag} of length {show(duration or 'none', 20)!r}", element)
        return Fraction(0)

    def _fault(self, state: _State, what: str, element: Element) -> None:
        """Keep the first fault of a layer: only whoever asks for the layer has to hear of it."""
        where = f"note {show(element.get('id', '?'), 40)}"
        state.layer.fault = state.layer.fault or InputError(what, where=where, mend="export it again as MEI")

    def _rest(self, element: Element, state: _State, ratio: Fraction, *, grace: bool) -> None:
        """A rest, seen or not."""
        if grace:
            return
        self._mark(element, state)
        state.at += self._length(element, state, ratio)
        self._silence(state.layer)

    def _note(self, element: Element, state: _State, ratio: Fraction, *, grace: bool) -> None:
        """A note or chord."""
        written = list(element.iter("note"))
        small = grace or element.get("grace") is not None or any(n.get("grace") is not None for n in written)
        if small or element.get("cue") == "true":
            for note in written:
                self._alter(note, state)
            what = "grace note" if small else "cue note"
            self.found.add(what, "left out", self.start, max(1, len(written)))
            if not small:
                state.at += self._length(element, state, ratio)
            return
        self._mark(element, state)
        length = self._length(element, state, ratio)
        at, end = self.start + to_tick(state.at), self.start + to_tick(state.at + length)
        if length.denominator != 1:
            self.found.add("length", "rounded to the nearest tick", self.start)
        state.at += length
        self._sound(element, written, state, at, max(1, end - at))

    def _sound(self, element: Element, written: list[Element], state: _State, at: int, ticks: int) -> None:
        """Add the pitches of a note or chord."""
        layer = state.layer
        held: dict[Spelled, float] = {}
        pitches: list[float] = []
        tied: list[float] = []
        for note in written:
            alter = self._alter(note, state)
            pitch = self._pitch(note, state, alter)
            if pitch is None:
                continue
            pitches.append(pitch)
            if self._ties_on(note) or (note is not element and self._ties_on(element)):
                tied.append(pitches[-1])
                held[_spelled(note)] = alter
        if not pitches:
            self._silence(layer)
            return
        layer.held = held
        lost, hidden = layer.notes.sound(at, ticks, pitches, tied)
        self._lost(lost)
        if hidden:
            self.found.add("note", "under a held one left out", self.start, hidden)
        if len(layer.notes) > limits.NOTES_MAX:
            raise LimitError(f"more than {limits.NOTES_MAX} notes", mend="split the file")

    def _silence(self, layer: Layer) -> None:
        """A rest."""
        self._lost(layer.notes.silence())
        layer.held = {}

    def _lost(self, count: int) -> None:
        """Ties that met no equal pitch."""
        if count:
            self.found.add("tie", "to another pitch or a rest left out", self.start, count)

    def _ties_on(self, element: Element) -> bool:
        """Whether a tie starts at a note or chord."""
        return any(sign in (element.get("tie") or "") for sign in "im") or element.get("id", "") in self._tied

    def _alter(self, note: Element, state: _State) -> float:
        """Semitones of a note's accidental as it sounds."""
        spelled = _spelled(note)
        child = note.find("accid")
        written = note.get("accid") or (child.get("accid") if child is not None else None)
        gestural = note.get("accid.ges") or (child.get("accid.ges") if child is not None else None)
        for sign in filter(None, (written, gestural)):
            if sign not in ALTERS:
                self.found.add("accidental", "not known left out", self.start)
        if written in ALTERS:
            state.carried[spelled] = ALTERS[written]
        if gestural in ALTERS:
            return ALTERS[gestural]
        if written in ALTERS:
            return ALTERS[written]
        if spelled in state.layer.held:
            return state.layer.held[spelled]
        return state.carried.get(spelled, float(state.letters.get(spelled[0].upper(), 0)))

    def _pitch(self, note: Element, state: _State, alter: float) -> float | None:
        """Sounding MIDI number; None where it has none, which is a fault but for notes that are only a place."""
        if note.get("pname") is None and note.get("loc") is not None:
            self.found.add("note", "without a pitch left out", self.start)
            return None
        octave = note.get("oct.ges") or note.get("oct") or state.defaults[1]
        step = step_of(note.get("pname"), octave)
        pitch = -1.0 if step is None else step + alter + state.shift
        if step is None or not limits.PITCH_MIN <= pitch <= limits.PITCH_MAX:
            said = f"{note.get('pname', '?')}{octave or '?'}"
            self._fault(state, f"a note of pitch {show(said, 20)!r}", note)
            return None
        return pitch

    def _mark(self, element: Element, state: _State) -> None:
        """Remember where a note or chord stands, by its id."""
        if mark := element.get("id"):
            self._onsets[mark] = self.start + to_tick(state.at)
        for note in element.iter():
            if note.get("id", "") in self._phrase_ends:
                self.phrase_ends.append((state.layer, self.start + to_tick(state.at)))


def _dots(element: Element) -> str | None:
    """Dots that lengthen a note, by its attribute or its ``dot`` elements (one that divides lengthens nothing)."""
    signs = sum(dot.get("form") != "div" for dot in element.findall("dot"))
    return element.get("dots") or (str(signs) if signs else None)


def _id(reference: str | None) -> str:
    """The id a reference means."""
    return (reference or "").strip().lstrip("#")


def _spelled(note: Element) -> Spelled:
    """Letter and octave a note is written with."""
    return (note.get("pname") or "").strip().lower(), (note.get("oct") or "").strip()


def _ratio(tuplet: Element) -> Fraction:
    """What a tuplet multiplies lengths by; 1 where it can't be told."""
    upper, lower = whole(tuplet.get("numbase")), whole(tuplet.get("num"))
    if upper is None or lower is None or not (0 < upper <= _PARTS_MAX and 0 < lower <= _PARTS_MAX):
        return Fraction(1)
    return Fraction(upper, lower)


def _first_reading(element: Element) -> Element:
    """Of several readings the first that isn't crossed out or mistaken."""
    kept = [e for e in element if e.tag not in ("del", "sic", "orig", "abbr")]
    return next(iter(kept), element)
