"""From written to sounding pitch: transposition, the guitar's octave, harmonics.

music21 is not asked for the transposition: it takes some from the instrument's name even where the file has
none, and moves neither signature nor chords.

Conventions: semitones added to the written pitch. A guitar sounds an octave below plain treble-clef notation
(common practice, no source). It is moved only where neither a transposition nor an octave clef nor a tab clef
says otherwise; where string and fret are given they decide, so nothing is moved twice.

References
----------
.. [1] W3C Music Notation Community Group, MusicXML 4.0 reference: elements transpose, clef-octave-change
   (changes the staff, not the pitch), staff-tuning, capo, harmonic (base-, touching-, sounding-pitch).
.. [2] Harmonics of an ideal string: touched at 1/n of its length it sounds the n-th partial, 12 log2(n)
   semitones up, rounded.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError
from stylemeter.music.keys import pitch_class
from stylemeter.music.melody import Technique
from stylemeter.reading.draft.build import RawNote
from stylemeter.reading.draft.exact import Ticks, whole
from stylemeter.reading.musicxml.elements import said
from stylemeter.reading.musicxml.line import LineNote
from stylemeter.reading.musicxml.parts import Part
from stylemeter.reading.musicxml.signs import transpose_sign
from stylemeter.reading.musicxml.walk import Walk

__all__ = ["Strings", "Transposition", "harmonic_shift", "octave_shift", "without_helpers"]

#: Open strings of a guitar, the first string first (common practice, no source).
_STANDARD = (64.0, 59.0, 55.0, 50.0, 45.0, 40.0)
#: Fret at which a string is touched -> semitones the harmonic sounds above the stopped (or open) string.
_NODES = {12: 12, 7: 19, 19: 19, 5: 24, 24: 24, 4: 28, 9: 28, 16: 28, 3: 31}
#: Written pitch under which a guitar part can't be written an octave up: it would sound below a seventh string.
_LOWEST_WRITTEN = 47.0
#: Share of the stopped notes that must agree on an octave, and how far it may lie.
_AGREE, _OCTAVES_MAX = 0.8, 24
_FRET_MAX = 36


class Transposition:
    """Semitones from written to sounding pitch on one staff, as they change."""

    def __init__(self, walked: Walk, staff: int) -> None:
        self._places: list[tuple[int, Ticks]] = []
        self._semitones: list[int] = []
        for sign in walked.signs:
            if sign.element.tag != "transpose" or whole(sign.element.get("number") or str(staff)) != staff:
                continue
            try:
                self._semitones.append(transpose_sign(sign.element))
            except InputError as error:
                raise error.at(walked.name(sign.bar)) from None
            self._places.append((sign.bar, sign.at))

    @property
    def declared(self) -> bool:
        """Whether the file says any."""
        return bool(self._places)

    def at(self, bar: int, place: Ticks) -> int:
        """Semitones in force; those of the first sign also before it."""
        if not self._places:
            return 0
        return self._semitones[max(0, bisect_right(self._places, (bar, place)) - 1)]


@dataclass(frozen=True, slots=True)
class Strings:
    """Sounding pitches of the open strings, the first string first, capo included."""

    open: tuple[float, ...]

    @classmethod
    def of(cls, walks: Sequence[Walk]) -> Strings:
        """Tuning and capo as the part (or its tab twin) gives them, else a guitar's."""
        details = [s.element for w in walks for s in w.signs if s.element.tag == "staff-details"]
        tuned = next((t for t in map(_tuning, details) if t), _STANDARD)
        capo = next((c for d in details if (c := whole(d.findtext("capo"))) is not None and 0 <= c <= _FRET_MAX), 0)
        return cls(tuple(pitch + capo for pitch in tuned))

    def place(self, note: LineNote) -> tuple[int, int] | None:
        """String and fret of a note, where the file says both."""
        for technical in (t for e in note.elements for t in e.iterfind("notations/technical")):
            string, fret = whole(technical.findtext("string")), whole(technical.findtext("fret"))
            if string and fret is not None and 1 <= string <= len(self.open) and 0 <= fret <= _FRET_MAX:
                return string, fret
        return None

    def stopped(self, note: LineNote) -> tuple[float, int] | None:
        """Pitch of a note's open string and the fret it is stopped at, where the file says both."""
        place = self.place(note)
        return None if place is None else (self.open[place[0] - 1], place[1])

    def tuning(self, notes: Iterable[RawNote]) -> tuple[int, ...] | None:
        """The open strings, the lowest first, where the unbent notes sound as they say; None where they don't."""
        plain = [n for n in notes if n.string > 0 and n.technique in (None, Technique(0))]
        fits = [n.pitch == self.open[n.string - 1] + n.fret for n in plain]
        if not fits or sum(fits) < _AGREE * len(fits):
            return None
        return tuple(round(pitch) for pitch in reversed(self.open))


def _tuning(details: Element) -> tuple[float, ...]:
    """Open strings of a ``<staff-details>``, the first string (the staff's top line) first; empty if none."""
    lines: dict[int, float] = {}
    for line in details.iterfind("staff-tuning"):
        step, octave = pitch_class(line.findtext("tuning-step") or ""), whole(line.findtext("tuning-octave"))
        place, alter = whole(line.get("line")), whole(line.findtext("tuning-alter") or "0")
        if step is None or octave is None or place is None or alter is None or not 0 <= octave <= 9:
            return ()
        lines[place] = float(step + 12 * (octave + 1) + alter)
    return tuple(lines[place] for place in sorted(lines, reverse=True))


def octave_shift(part: Part, notes: Sequence[LineNote], moved: Transposition, strings: Strings) -> tuple[int, str]:
    """Octaves, in semitones, to add to a part beyond its transposition.

    Returns
    -------
    shift : int
        A multiple of 12.
    remark : str
        Why; empty where nothing is moved.
    """
    shift, sure = _stopped_octave(notes, moved, strings)
    if sure:
        words = "an octave" if abs(shift) == 12 else "two octaves"
        way = f"read {words} {'lower' if shift < 0 else 'higher'} than written"
        return shift, f"{way}, as strings and frets say" if shift else ""
    if not part.guitar or moved.declared or _octave_told(part) or not notes:
        return 0, ""
    if min(note.pitch for note in notes) < _LOWEST_WRITTEN:
        return 0, ""
    return -12, "guitar part in plain treble clef, no transposition given: read an octave lower, as a guitar sounds"


def _stopped_octave(notes: Sequence[LineNote], moved: Transposition, strings: Strings) -> tuple[int, bool]:
    """Octaves from transposed to stopped pitch, and whether strings and frets agree well enough on them.

    Nothing is moved where as many of them say that the octave is right.
    """
    votes: Counter[int] = Counter()
    counted = 0
    for note in notes:
        stopped = strings.stopped(note)
        if stopped and not _harmonics(note):
            counted += 1
            apart = stopped[0] + stopped[1] - note.pitch - moved.at(note.stroke.bar, note.stroke.at)
            if apart % 12 == 0 and abs(apart) <= _OCTAVES_MAX:
                votes[int(apart)] += 1
    if not votes:
        return 0, False
    shift = max(votes, key=lambda v: (votes[v], -abs(v)))
    return shift, shift == 0 or votes[shift] >= _AGREE * counted


def _octave_told(part: Part) -> bool:
    """Whether the first clef of the line's staff is anything but a plain treble clef."""
    staff = part.choice.staff
    clefs = [s.element for s in part.walk.signs if s.element.tag == "clef"]
    own = [c for c in clefs if (whole(c.get("number")) or 1) == staff]
    return not own or said(own[0], "sign") != "G" or bool(whole(own[0].findtext("clef-octave-change")))


def _harmonics(note: LineNote) -> list[Element]:
    """Every ``<harmonic>`` of a note."""
    return [h for e in note.elements for h in e.iterfind("notations/technical/harmonic")]


def without_helpers(walked: Walk, notes: Sequence[LineNote]) -> tuple[list[LineNote], dict[LineNote, float]]:
    """Leave out the notes that only show how a harmonic is played.

    Returns
    -------
    kept : list of LineNote
    shifts : dict
        Semitones from base to harmonic, for base notes that came with a touched note.
    """
    by_place: dict[tuple[int, Ticks], list[LineNote]] = {}
    for note in notes:
        if _harmonics(note):
            by_place.setdefault((note.stroke.bar, note.stroke.at), []).append(note)
    dropped: set[LineNote] = set()
    shifts: dict[LineNote, float] = {}
    for group in by_place.values():
        said_by = {kind: n for n in group for kind in ("base", "touching", "sounding") if _is(n, kind)}
        if "sounding" in said_by:
            dropped |= {n for n in group if not _is(n, "sounding") and (_is(n, "base") or _is(n, "touching"))}
        elif "base" in said_by and "touching" in said_by:
            base, touched = said_by["base"], said_by["touching"]
            up = _NODES.get(int(touched.pitch - base.pitch))
            if up is not None and base is not touched:
                shifts[base] = up
                dropped.add(touched)
    for note in dropped:
        walked.found.add("helper note", "of a harmonic left out", note.stroke.bar)
    return [n for n in notes if n not in dropped], shifts


def _is(note: LineNote, kind: str) -> bool:
    """Whether a note is marked as the base, touching or sounding pitch of a harmonic."""
    return any(h.find(f"{kind}-pitch") is not None for h in _harmonics(note))


def harmonic_shift(walked: Walk, note: LineNote, sounding: float, strings: Strings) -> float:
    """Semitones from a note's written (transposed) pitch to the harmonic it sounds.

    Where the file tells neither which pitch it writes nor string and fret, the written pitch stays, with a remark.
    """
    if not _harmonics(note) or _is(note, "sounding"):
        return 0.0
    artificial = any(h.find("artificial") is not None for h in _harmonics(note))
    stopped = None if artificial else strings.stopped(note)
    if stopped is not None and stopped[1] in _NODES and sounding in (stopped[0], sum(stopped)):
        return stopped[0] + _NODES[stopped[1]] - sounding
    if _is(note, "base"):
        walked.found.add("harmonic", "given by the base note only read an octave higher", note.stroke.bar)
        return 12.0
    walked.found.add("harmonic", "without a sounding pitch read as written", note.stroke.bar)
    return 0.0
