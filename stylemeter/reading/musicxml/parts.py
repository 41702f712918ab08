"""MusicXML parts: what each is, and which one holds the melody.

The choice is that of `draft.parts`; an accompaniment of chords is told from a line by the places where a single note
starts. A tab part that repeats a notation part is the same part.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cached_property
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError
from stylemeter.music.meter import Meter
from stylemeter.reading.draft.exact import Ticks, whole
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.musicxml.elements import said
from stylemeter.reading.musicxml.line import LineChoice, Place, choose_line, is_audible, places
from stylemeter.reading.musicxml.signs import meter_sign
from stylemeter.reading.musicxml.walk import Walk, walk

__all__ = ["Part", "choose_part", "read_parts"]

_DRUMS = re.compile(r"\b(drum|perc|perk|batter|schlagz|bater|cymbal|snare|hi-?hat)", re.IGNORECASE)
_GUITAR = re.compile(r"\b(\w*guitar\w*|guit\b|gtr|gt\b|\w*gitarr?e?|chitarra|guitare|violão|kytara)", re.IGNORECASE)
_BASS = re.compile(r"\b(e-?)?(bass|basse|basso|bajo|baixo)", re.IGNORECASE)
#: Programs of General MIDI, counted from 1 as MusicXML does, that are guitars; those after them are basses.
_GUITAR_PROGRAMS = range(25, 33)
_DRUM_CHANNEL = 10
#: Share of the notes two parts must have in common to be one part written twice.
_SAME = 0.8


@dataclass(eq=False)
class Part:
    """A part and what it is.

    Attributes
    ----------
    label : str
        The name the file gives it; empty where it gives none.
    guitar : bool
        A guitar, which sounds an octave below plain treble-clef notation (no bass).
    plucked : bool
        A part whose playing technique is written out where there is any: guitar, bass guitar, tablature.
    problem : InputError or None
        Why it can't be read.
    """

    number: int
    name: str
    walk: Walk
    choice: LineChoice
    drums: bool = False
    guitar: bool = False
    plucked: bool = False
    bass: bool = False
    label: str = ""
    problem: InputError | None = None
    remarks: list[str] = field(default_factory=list)

    @cached_property
    def places(self) -> set[Place]:
        """Where which pitch class starts."""
        return places(self.walk)

    @property
    def melodic(self) -> bool:
        """Whether there is a line of pitches in it."""
        return self.problem is None and not self.drums and self.choice.onsets > 0


def read_parts(root: Element) -> list[Part]:
    """Walk through every part of a score; one that can't be read says why.

    Raises
    ------
    InputError
        If there are no parts.
    """
    elements = root.findall("part")
    if not elements:
        raise InputError("no parts in the score", mend="export it again as MusicXML")
    listed = {e.get("id", ""): e for e in root.iterfind("part-list/score-part")}
    meter = _first_meter(root)
    return [_part(e, listed.get(e.get("id", "")), i + 1, meter) for i, e in enumerate(elements)]


def _first_meter(root: Element) -> Meter | None:
    """First meter of any part, for parts that name none."""
    for time in root.iterfind("part/measure/attributes/time"):
        try:
            return meter_sign(time)
        except InputError:
            return None
    return None


def _part(element: Element, about: Element | None, number: int, meter: Meter | None) -> Part:
    """Walk through one part."""
    label = said(about, "part-name") or said(about, "score-instrument/instrument-name")
    name = label or f"part {number}"
    try:
        walked, problem = walk(element, meter), None
    except InputError as error:
        walked, problem = Walk(), error
    part = Part(number, name, walked, choose_line(walked), problem=problem, label=label)
    if about is None:
        part.remarks.append(f"part {number} is not in the part list: read all the same")
    instruments = [] if about is None else about.findall("score-instrument")
    _classify(part, about, " ".join([name, *(said(i, "instrument-name") for i in instruments)]))
    return part


def _classify(part: Part, about: Element | None, words: str) -> None:
    """Tell drums and guitars by name, sound, program, channel and clef."""
    channels, programs, sounds = _midi(about)
    clefs = [said(s.element, "sign") for s in part.walk.signs if s.element.tag == "clef"]
    on_drums = bool(channels) and all(c == _DRUM_CHANNEL for c in channels)
    part.drums = on_drums or (bool(clefs) and all(c == "percussion" for c in clefs)) or bool(_DRUMS.search(words))
    bass = part.bass = bool(_BASS.search(words)) or any(s.startswith("pluck.bass") for s in sounds)
    named = bool(_GUITAR.search(words)) or any(s.startswith("pluck.guitar") for s in sounds)
    part.guitar = not bass and (named or any(p in _GUITAR_PROGRAMS for p in programs))
    part.plucked = part.guitar or named or bool(part.choice.tab_staves)


def _midi(about: Element | None) -> tuple[list[int], list[int], list[str]]:
    """MIDI channels and programs, and instrument sounds, of a part."""
    if about is None:
        return [], [], []
    channels = [whole(e.text) or 0 for e in about.iterfind("midi-instrument/midi-channel")]
    programs = [whole(e.text) or 0 for e in about.iterfind("midi-instrument/midi-program")]
    return channels, programs, [(e.text or "").strip() for e in about.iterfind("score-instrument/instrument-sound")]


def choose_part(parts: list[Part], wanted: str | None) -> tuple[Part, list[Part]]:
    """Choose the part to read.

    Parameters
    ----------
    parts : list of Part
    wanted : str or None
        Name or number (from 1); None for the part likeliest to be the melody.

    Returns
    -------
    part : Part
        With what the user must know added to its remarks.
    twins : list of Part
        Tab parts that repeat it.

    Raises
    ------
    UnknownNameError
        If no part has that name or number.
    InputError
        If none can be read.
    """
    if wanted is not None:
        chosen = _named(parts, wanted)
        if chosen.problem:
            raise chosen.problem.at(f"part {chosen.name!r}")
        return chosen, _twins(chosen, parts)
    melodic = [p for p in parts if p.melodic]
    if not melodic:
        raise _none_melodic(parts)
    repeated = {id(twin) for p in melodic for twin in _twins(p, melodic)}
    own = [p for p in melodic if id(p) not in repeated] or melodic
    among = [p for p in parts if id(p) not in repeated and (p in own or not p.melodic)]
    place, told = choose([_candidate(p) for p in among], None)
    chosen = among[place]
    chosen.remarks += told
    _tell(chosen, parts)
    return chosen, _twins(chosen, melodic)


def _candidate(part: Part) -> Candidate:
    """A part as the choice sees it; one that holds no line can't be chosen."""
    tops: dict[tuple[int, Ticks], float] = {}
    for stroke in part.walk.strokes:
        if is_audible(stroke) and stroke.staff == part.choice.staff:
            at = (stroke.bar, stroke.at)
            tops[at] = max(tops.get(at, 0.0), stroke.pitch or 0.0)
    middle = sorted(tops.values())[len(tops) // 2] if tops else 0.0
    onsets = part.choice.onsets if part.melodic else 0
    chordal = 2 * part.choice.singles < part.choice.onsets
    return Candidate(
        part.label,
        onsets,
        middle,
        chordal,
        guitar=part.guitar,
        bass=part.bass,
        percussion=part.drums,
        number=part.number,
    )


def _none_melodic(parts: list[Part]) -> InputError:
    """Why nothing can be read."""
    problems = [p for p in parts if p.problem]
    if problems and problems[0].problem:
        problem, name = problems[0].problem, f"part {problems[0].name!r}"
        found = problem.at(name) if len(parts) > 1 else problem
        return found if isinstance(found, InputError) else problem
    if any(p.walk.strokes for p in parts):
        return InputError("no notes with a pitch that are not drums", mend="name a part with --part")
    return InputError("no notes in it, only rests", mend="choose another file")


def _tell(chosen: Part, parts: list[Part]) -> None:
    """Say which parts can't be read."""
    broken = [p for p in parts if p.problem]
    if broken:
        chosen.remarks.append(f"part {broken[0].name!r} can't be read ({broken[0].problem}): left out of the choice")


def _named(parts: list[Part], wanted: str) -> Part:
    """Part of a name (in any case of letters) or number."""
    plain = " ".join(wanted.split()).casefold()
    found = [p for p in parts if p.name.casefold() == plain]
    if not found and plain.isascii() and plain.isdigit() and len(plain) < 6:
        found = [p for p in parts if p.number == int(plain)]
    if not found:
        return parts[choose([_candidate(p) for p in parts], wanted)[0]]
    chosen = max(found, key=lambda p: (p.melodic, p.choice.singles, p.choice.onsets, -p.number))
    if len(found) > 1:
        chosen.remarks.append(f"{len(found)} parts are named {chosen.name!r}: number {chosen.number} read")
    return chosen


def _twins(part: Part, parts: list[Part]) -> list[Part]:
    """Tab parts that repeat a notation part."""
    if part.choice.tab_only:
        return []
    return [p for p in parts if p is not part and p.melodic and p.choice.tab_only and _same(part, p)]


def _same(one: Part, other: Part) -> bool:
    """Whether two parts have nearly all their notes in common, octaves aside."""
    return len(one.places & other.places) >= _SAME * max(len(one.places), len(other.places), 1)
