"""MusicXML chord symbols -> `Chord`.

They are taken from the element tree: music21's own reading of them costs more than all the notes, leaves chords
of a transposing part where they are written, and raises on kinds the standard doesn't list.

Conventions: degrees of the major scale with sharps and flats, as chord annotations write them ("b7" the minor
seventh); a chord whose root or kind can't be told is "no chord" from its place on, so that the one before it
doesn't run on.

References
----------
.. [1] W3C Music Notation Community Group, MusicXML 4.0: kind-value, degree ("if the degree-type is alter, the
   degree-alter value is relative to the degree already in the chord"; "if add, relative to a dominant chord").
.. [2] C. Harte et al., ISMIR 2005 (the syntax handed to `chords.parse_label`).
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element

from stylemeter.errors import InputError, LimitError
from stylemeter.music.chords.symbols import parse_label, parse_symbol
from stylemeter.music.melody import Chord
from stylemeter.reading.draft.chord_texts import move
from stylemeter.reading.draft.exact import Ticks, whole
from stylemeter.reading.intake import limits
from stylemeter.reading.musicxml.elements import said
from stylemeter.reading.musicxml.transposition import Transposition
from stylemeter.reading.musicxml.walk import Sign, Walk

__all__ = ["KINDS", "read_chord", "read_chords"]

#: MusicXML kind -> degrees. The last rows are kinds seen in files that the standard doesn't list.
KINDS: dict[str, str] = {
    "major": "3,5",
    "minor": "b3,5",
    "augmented": "3,#5",
    "diminished": "b3,b5",
    "dominant": "3,5,b7",
    "major-seventh": "3,5,7",
    "minor-seventh": "b3,5,b7",
    "diminished-seventh": "b3,b5,bb7",
    "augmented-seventh": "3,#5,b7",
    "half-diminished": "b3,b5,b7",
    "major-minor": "b3,5,7",
    "major-sixth": "3,5,6",
    "minor-sixth": "b3,5,6",
    "dominant-ninth": "3,5,b7,9",
    "major-ninth": "3,5,7,9",
    "minor-ninth": "b3,5,b7,9",
    "dominant-11th": "3,5,b7,9,11",
    "major-11th": "3,5,7,9,11",
    "minor-11th": "b3,5,b7,9,11",
    "dominant-13th": "3,5,b7,9,13",
    "major-13th": "3,5,7,9,13",
    "minor-13th": "b3,5,b7,9,11,13",
    "suspended-second": "2,5",
    "suspended-fourth": "4,5",
    "power": "5",
    "pedal": "",
    "minor-major": "b3,5,7",
    "augmented-ninth": "3,#5,b7,9",
    "maj69": "3,5,6,9",
    "min69": "b3,5,6,9",
}

_DEGREE = re.compile(r"([b#]*)(\d+)")
#: Degrees added where nothing else is said: those of a dominant chord.
_ADDED_FLAT = {7: "b"}
_ALTER_MAX = 2


def read_chords(walked: Walk, source: Walk, moved: Transposition) -> list[Chord]:
    """Chords at sounding pitch, in order, one at a place.

    Parameters
    ----------
    walked : Walk
        The part whose bars give the time.
    source : Walk
        The part that holds the chords; the same one, or one beside it.
    moved : Transposition
        Of `source`.

    Raises
    ------
    LimitError
        If there are more than the limit.
    """
    signs = [s for s in source.signs if s.element.tag == "harmony" and s.element.get("type") != "alternate"]
    if len(signs) > limits.CHORDS_MAX:
        raise LimitError(f"{len(signs)} chord symbols", mend=f"the limit is {limits.CHORDS_MAX}")
    chords: dict[int, Chord] = {}
    for sign, place in _spread([s for s in signs if s.bar < len(walked.bars)], walked, source):
        onset = walked.tick(sign.bar, place)
        try:
            chord = read_chord(sign.element, onset)
        except InputError:
            walked.found.add("chord symbol", "not understood: no chord there", sign.bar)
            chord = Chord(onset, None, "N", ())
        chords[onset] = move(chord, moved.at(sign.bar, sign.at))
    return [chords[onset] for onset in sorted(chords)]


def _spread(signs: Sequence[Sign], walked: Walk, source: Walk) -> Iterator[tuple[Sign, Ticks]]:
    """Place of every chord; several at one place share the time to the next note or chord, or the bar's end.

    Files write the chords over a long note one after the other in front of it.
    """
    places = {(s.bar, s.at) for s in signs} | {(s.bar, s.at) for s in source.strokes}
    by_bar: dict[int, list[Ticks]] = {}
    for bar, at in sorted(places):
        by_bar.setdefault(bar, []).append(at)
    grouped: dict[tuple[int, Ticks], list[Sign]] = {}
    for sign in signs:
        grouped.setdefault((sign.bar, sign.at), []).append(sign)
    for (bar, at), together in grouped.items():
        later = by_bar[bar][bisect_right(by_bar[bar], at) :]
        end = later[0] if later else max(walked.bars[bar].length, at)
        for index, sign in enumerate(together):
            yield sign, at + Fraction(end - at) * index / len(together)
        if len(together) > 1:
            walked.found.add("chord symbol", "written in one place shared out evenly", bar, len(together))


def read_chord(harmony: Element, onset: int) -> Chord:
    """Chord of a ``<harmony>``, as written.

    Raises
    ------
    InputError
        If root or kind can't be told.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> read_chord(fromstring('''<harmony><root><root-step>D</root-step></root><kind>minor-seventh</kind>
    ...   <degree><degree-value>5</degree-value><degree-alter>-1</degree-alter><degree-type>alter</degree-type>
    ...   </degree></harmony>'''), 0).kind
    'm7b5'
    """
    element = harmony.find("kind")
    kind, text = said(harmony, "kind"), (element.get("text") or "" if element is not None else "").strip()
    if kind == "none" or (kind == "other" and text.upper().replace(" ", "") in ("N.C.", "NC", "N.C")):
        return Chord(onset, None, "N", ())
    root = _note_name(harmony, "root")
    if kind not in KINDS:
        return parse_symbol(root + text, onset) if text or kind == "" else _unknown(kind)
    degrees = _degrees(KINDS[kind].split(",") if KINDS[kind] else [], harmony.findall("degree"))
    bass = _note_name(harmony, "bass") if harmony.find("bass/bass-step") is not None else ""
    return parse_label(f"{root}:({','.join(degrees)})" + (f"/{bass}" if bass else ""), onset)


def _unknown(kind: str) -> Chord:
    """Raise for a kind nobody knows."""
    raise InputError(f"chord kind {kind[:30]!r} is not known")


def _note_name(harmony: Element, which: str) -> str:
    """Root or bass as "Bb"."""
    step = said(harmony, f"{which}/{which}-step")
    alter = whole(harmony.findtext(f"{which}/{which}-alter") or "0")
    if len(step) != 1 or step not in "ABCDEFG" or alter is None or abs(alter) > _ALTER_MAX:
        raise InputError(f"no {which} of a chord")
    return step + _signs(alter)


def _signs(alter: int) -> str:
    """Sharps or flats."""
    return "#" * alter if alter > 0 else "b" * -alter


def _degrees(kept: list[str], changes: Sequence[Element]) -> list[str]:
    """Apply added, altered and omitted degrees to those of the kind."""
    for change in changes[:12]:
        value, alter = whole(change.findtext("degree-value")), whole(change.findtext("degree-alter") or "0")
        how = said(change, "degree-type") or "add"
        if value is None or not 1 <= value <= 13 or alter is None or abs(alter) > _ALTER_MAX:
            raise InputError("a degree that is none")
        present = next((d for d in kept if d.lstrip("*b#") == str(value)), None)
        if how in ("subtract", "alter") and present:
            kept.remove(present)
        if how == "subtract":
            kept += ["*1"] if value == 1 else []
        elif how == "alter" and present:
            kept.append(_altered(present, alter))
        else:
            kept.append(_altered(_ADDED_FLAT.get(value, "") + str(value), alter))
    return kept


def _altered(degree: str, alter: int) -> str:
    """A degree raised or lowered.

    Examples
    --------
    >>> _altered("b7", 1), _altered("9", -1)
    ('7', 'b9')
    """
    found = _DEGREE.fullmatch(degree)
    if found is None:
        raise InputError("a degree that is none")
    return _signs(found[1].count("#") - found[1].count("b") + alter) + found[2]
