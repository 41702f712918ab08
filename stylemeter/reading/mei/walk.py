"""From an MEI score to its staves: what sounds when, measure by measure.

Conventions: places inside a measure are exact fractions of a tick, rounded once. A measure is as long as its longest
layer. A note sounds at its gestural accidental, else its written one, else that of an earlier note of the measure
on its line, else the signature's, the last only where the file has no gestural accidentals at all.

music21 10.5.1 does not read this kind of file: it stops at ``trans.semi="0"``, knows neither ``keySig`` nor
``meterSig`` inside a definition, nor the 5.0 name ``keysig``, and carries no accidentals.

References
----------
.. [1] Music Encoding Initiative, MEI Guidelines 5.0, chapter 4 (common music notation).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError, LimitError
from stylemeter.music.melody import Key
from stylemeter.music.meter import Meter, bar_length
from stylemeter.reading.draft.exact import number, to_tick, whole
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.intake import limits
from stylemeter.reading.mei.file import text_of
from stylemeter.reading.mei.layer import Layer, LayerReader
from stylemeter.reading.mei.signs import read_key, read_letters, read_meter, read_sharps, read_tempo
from stylemeter.support.printable import show

__all__ = ["Score", "Staff", "walk"]

#: Staves of one score.
STAVES_MAX = 200
#: Bar lines where a section begins or ends.
_SECTION_LINES = frozenset({"rptstart", "rptend", "rptboth", "dbl", "dbldashed", "dbldotted", "end", "dblheavy"})
#: What holds measures.
_CONTAINERS = frozenset({"section", "ending", "score", "part", "parts", "lem", "rdg", "corr", "reg", "supplied", "add"})
#: Of several readings the first of these, else the first one.
_CHOSEN = ("lem", "corr", "reg", "expan")


@dataclass(slots=True)
class Staff:
    """One staff: its definition in force, and its layers by their mark."""

    mark: str
    label: str = ""
    shift: int = 0
    drums: bool = False
    first_shift: int | None = None
    sharps: int | None = None
    letters: dict[str, int] = field(default_factory=dict)
    duration: str | None = None
    octave: str | None = None
    meters: list[Meter] = field(default_factory=list)
    keys: list[tuple[int, Key]] = field(default_factory=list)
    signatures: list[tuple[int, int]] = field(default_factory=list)
    layers: dict[str, Layer] = field(default_factory=dict)

    @property
    def fault(self) -> InputError | None:
        """Why it can't be read, if it can't."""
        return next((layer.fault for layer in self.layers.values() if layer.fault), None)

    @property
    def line(self) -> Layer | None:
        """Layer with most notes, the first of equals."""
        sounding = [layer for layer in self.layers.values() if len(layer.notes)]
        return max(sounding, key=lambda layer: len(layer.notes)) if sounding else None


@dataclass(slots=True)
class Score:
    """What was read of a score: staves in the order of their first mention, bars as (start, length)."""

    staves: dict[str, Staff] = field(default_factory=dict)
    bars: list[tuple[int, int]] = field(default_factory=list)
    sections: set[int] = field(default_factory=set)
    harmonies: list[tuple[int, str, str]] = field(default_factory=list)
    phrase_ends: list[tuple[Layer, int]] = field(default_factory=list)
    tempo: float | None = None
    found: Findings = field(default_factory=Findings)
    said: list[str] = field(default_factory=list)

    @property
    def end(self) -> int:
        """Tick at which the last bar ends."""
        return sum(self.bars[-1]) if self.bars else 0

    def say(self, text: str) -> None:
        """Say something once."""
        if text not in self.said:
            self.said.append(text)


class _Walk:
    """Goes through a score in document order."""

    def __init__(self, root: Element) -> None:
        self.score = Score()
        self.common = Staff("")
        gestural = any("accid.ges" in element.attrib for element in root.iter())
        self.reader = LayerReader(root, self.score.found, by_signature=not gestural)
        self.visit(root)
        self.score.phrase_ends = self.reader.phrase_ends

    def visit(self, parent: Element) -> None:
        """Go through what a section or score holds."""
        for element in _read(parent):
            tag = element.tag
            if tag == "measure":
                self.measure(element)
            elif tag == "scoreDef":
                self.define_all(element)
            elif tag == "staffDef":
                self.define(self.staff(element.get("n", "1")), element)
            elif tag == "expansion":
                self.score.say("expansion lists are not played out")
            elif tag in _CONTAINERS:
                if tag == "ending":
                    self.score.sections.add(self.score.end)
                self.visit(element)
                if tag == "ending":
                    self.score.sections.add(self.score.end)

    def staff(self, mark: str) -> Staff:
        """The staff of a mark, made with what holds for all."""
        staves = self.score.staves
        if mark not in staves:
            if len(staves) >= STAVES_MAX:
                raise LimitError(f"more than {STAVES_MAX} staves", mend="give the melody alone")
            common = self.common
            staves[mark] = replace(common, mark=mark, label="", meters=[], keys=[], signatures=[], layers={})
            staves[mark].meters += common.meters
            staves[mark].keys += common.keys
            staves[mark].signatures += common.signatures
        return staves[mark]

    def define_all(self, definition: Element) -> None:
        """A ``scoreDef``: for every staff, then what its ``staffDef`` elements say of each."""
        if self.score.tempo is None:
            self.score.tempo = read_tempo(definition)
        for staff in (self.common, *self.score.staves.values()):
            self.define(staff, definition)
        for group in definition.findall("staffGrp"):
            self.define_group(group)

    def define_group(self, group: Element) -> None:
        """Staves of a group and of the groups in it."""
        for element in group:
            if element.tag == "staffGrp":
                self.define_group(element)
            elif element.tag == "staffDef":
                staff = self.staff(element.get("n", "1"))
                staff.label = staff.label or element.get("label") or _label(element) or _label(group)
                self.define(staff, element)

    def define(self, staff: Staff, definition: Element, at: int | None = None) -> None:
        """Take over what a definition says of a staff, from a tick on (by default the end of the last measure)."""
        now = self.score.end if at is None else at
        staff.label = staff.label or definition.get("label") or ""
        staff.shift = whole(definition.get("trans.semi")) or (0 if definition.get("trans.semi") else staff.shift)
        clef = definition.find("clef")
        shape = definition.get("clef.shape") or ("" if clef is None else clef.get("shape") or "")
        staff.drums = shape == "perc" if shape else staff.drums
        staff.duration = definition.get("dur.default") or staff.duration
        staff.octave = definition.get("oct.default") or definition.get("octave.default") or staff.octave
        if said := read_meter(definition):
            text, pair = said
            if pair:
                staff.meters.append(Meter(now, *pair))
            else:
                self.score.say(f"meter {show(text, 40)} is no meter: passed over")
            if (group := definition.find("meterSigGrp")) is not None and group.get("func") != "mixed":
                self.score.say("meters that take turns: the first is taken throughout")
        sharps = read_sharps(definition)
        if sharps is not None:
            staff.sharps = sharps
            staff.signatures.append((now, sharps))
        letters = read_letters(definition)
        if letters is not None:
            staff.letters = letters
            if sharps is None:
                staff.sharps = None
                self.score.say("key signature of mixed signs: its key is not told")
        if key := read_key(definition, sharps if sharps is not None else staff.sharps):
            staff.keys.append((now, key))

    def measure(self, element: Element) -> None:
        """Read a measure of every staff, then lay its bar line."""
        score = self.score
        start = score.end
        if element.get("left") in _SECTION_LINES:
            score.sections.add(start)
        self.reader.begin(start)
        longest, empty = Fraction(0), 1
        for place, staff_element in enumerate(_staves(element), start=1):
            staff = self.staff(staff_element.get("n", str(place)))
            for definition in staff_element.iter("staffDef"):
                self.define(staff, definition)
            length, bars = self.layers(staff, staff_element)
            longest, empty = max(longest, length), max(empty, bars)
        self.signs(element, start)
        self.lay(start, to_tick(longest), empty)
        if element.get("right") in _SECTION_LINES:
            score.sections.add(score.end)

    def layers(self, staff: Staff, element: Element) -> tuple[Fraction, int]:
        """Read the layers of a staff: length of the longest, and bars of rest it stands for."""
        longest, empty = Fraction(0), 1
        changes: list[tuple[Fraction, Element]] = []
        for place, layer_element in enumerate(element.findall("layer"), start=1):
            mark = layer_element.get("n", str(place))
            if staff.first_shift is None:
                staff.first_shift = staff.shift
            layer = staff.layers.setdefault(mark, Layer())
            if len(staff.layers) > STAVES_MAX:
                raise LimitError("too many layers", mend="give the melody alone")
            defaults = (staff.duration, staff.octave)
            length, bars = self.reader.read(layer_element, layer, staff.shift, staff.letters, defaults)
            longest, empty = max(longest, length), max(empty, bars)
            if place == 1:
                changes = self.reader.changes
        for at, definition in changes:
            self.define(staff, definition, self.reader.start + to_tick(at))
        if staff.letters and self.reader.by_signature:
            self.score.say("no gestural accidentals in the file: read by the signature")
        return longest, empty

    def lay(self, start: int, length: int, empty: int) -> None:
        """Add the measure's bar, or its bars of rest."""
        meters = next((s.meters for s in self.score.staves.values() if s.meters), [])
        full = meters[-1].bar if meters else bar_length(4, 4)
        if length == 0 or empty > 1:
            self.score.bars += [(start + i * full, full) for i in range(min(empty, limits.BARS_MAX))]
        else:
            self.score.bars.append((start, length))
        if len(self.score.bars) > limits.BARS_MAX or self.score.end > limits.TICKS_MAX:
            raise LimitError(f"more than {limits.BARS_MAX} bars", mend="split the file")

    def signs(self, element: Element, start: int) -> None:
        """Chord symbols and tempo of a measure."""
        meters = next((s.meters for s in self.score.staves.values() if s.meters), [])
        unit = bar_length(1, meters[-1].denominator if meters else 4)
        for sign in element.iter("harm"):
            onset = self.reader.onset(sign.get("startid"))
            if onset is None:
                beat = number(sign.get("tstamp"))
                onset = start + to_tick(Fraction(max(0, (beat or 1) - 1)) * unit)
            self.score.harmonies.append((min(onset, limits.TICKS_MAX), sign.get("staff", ""), text_of(sign)))
        if len(self.score.harmonies) > limits.CHORDS_MAX:
            raise LimitError(f"more than {limits.CHORDS_MAX} chord symbols", mend="split the file")
        for sign in element.iter("tempo"):
            if self.score.tempo is None:
                self.score.tempo = read_tempo(sign)


def _read(parent: Element) -> Iterator[Element]:
    """Children of an element, one reading of each place where there are several."""
    for element in parent:
        if element.tag in ("app", "choice", "subst"):
            chosen = next((e for tag in _CHOSEN for e in element if e.tag == tag), None)
            readings = [e for e in element if e.tag not in ("del", "sic", "orig", "abbr")]
            if chosen is None and readings:
                chosen = readings[0]
            if chosen is not None:
                yield chosen
        else:
            yield element


def _staves(measure: Element) -> Iterator[Element]:
    """Staves of a measure; of an ossia the staff it is an alternative to."""
    for element in _read(measure):
        if element.tag == "staff":
            yield element
        elif element.tag in ("lem", "rdg", "ossia", "corr", "reg", "supplied", "add"):
            yield from element.findall("staff")


def _label(element: Element) -> str:
    """Name of a staff or of its group."""
    label = element.find("label")
    return "" if label is None else text_of(label)


def walk(root: Element) -> Score:
    """Read a ``score`` or ``part`` element.

    Raises
    ------
    LimitError
        If it is absurdly long. A note without a readable length or pitch is a fault of its `Layer`.
    """
    return _Walk(root).score
