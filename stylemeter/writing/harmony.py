"""Chords as other formats write them: lead-sheet symbols, annotation labels, MusicXML kinds and degrees.

References
----------
.. [1] C. Harte et al., ISMIR 2005 (labels, root:quality(degrees)/bass).
.. [2] W3C Music Notation Community Group, MusicXML 4.0: kind-value; degree ("if add, relative to a dominant chord").
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from stylemeter.errors import InputError
from stylemeter.music.chords.symbols import KINDS, parse_symbol
from stylemeter.music.melody import Chord, Key
from stylemeter.writing.spelling import spell_class
from stylemeter.writing.table import root_name

__all__ = ["XmlChord", "bass_of", "chord_label", "chord_symbol", "xml_chord"]

#: Kind of a chord in MusicXML, how it is printed, and the changes to it: (kind, text, [(degree, alter, type)]).
XmlChord = tuple[str, str, tuple[tuple[int, int, str], ...]]

_XML_KINDS = {
    "": "major",
    "m": "minor",
    "aug": "augmented",
    "dim": "diminished",
    "7": "dominant",
    "maj7": "major-seventh",
    "m7": "minor-seventh",
    "dim7": "diminished-seventh",
    "7#5": "augmented-seventh",
    "m7b5": "half-diminished",
    "mmaj7": "major-minor",
    "6": "major-sixth",
    "m6": "minor-sixth",
    "9": "dominant-ninth",
    "maj9": "major-ninth",
    "m9": "minor-ninth",
    "11": "dominant-11th",
    "maj11": "major-11th",
    "m11": "minor-11th",
    "13": "dominant-13th",
    "maj13": "major-13th",
    "m13": "minor-13th",
    "sus2": "suspended-second",
    "sus4": "suspended-fourth",
    "5": "power",
    "1": "pedal",
}
#: Kinds that others are told by: those without an eleventh, which programs differ on.
_PLAIN = tuple(kind for kind in _XML_KINDS if 5 not in KINDS[kind][3:] and "13" not in kind)
_LABELS = {
    "": "maj",
    "m": "min",
    **{kind: kind for kind in ("5", "7", "9", "11", "13", "dim", "aug", "sus2", "sus4", "maj7", "maj9", "dim7")},
    **{f"m{n}": f"min{n}" for n in ("6", "7", "9", "11", "13")},
    "6": "maj6",
    "m7b5": "hdim7",
    "mmaj7": "minmaj7",
}
#: Interval above the root -> degree of the major scale with its sign.
_DEGREES = ("1", "b9", "9", "b3", "3", "11", "b5", "5", "#5", "13", "b7", "7")
#: Interval above the root -> (degree, alter) to add in MusicXML, where 7 alone is the minor seventh.
_ADDED = ((1, 0), (9, -1), (9, 0), (9, 1), (3, 0), (11, 0), (11, 1), (5, 0), (13, -1), (13, 0), (7, 0), (7, 1))
#: Interval above the root -> degree to take out.
_DEGREE_OF = (1, 9, 9, 3, 3, 11, 5, 5, 5, 13, 7, 7)


@lru_cache(maxsize=4096)
def _named(root: int, kind: str) -> tuple[int, ...] | None:
    """Pitch classes that root and kind stand for, None where the kind isn't one."""
    try:
        return parse_symbol(root_name(root) + kind, 0).pitch_classes
    except InputError:
        return None


def bass_of(chord: Chord) -> int | None:
    """Pitch class of a slash bass that the chord's kind doesn't hold, None where there is none.

    Examples
    --------
    >>> bass_of(parse_symbol("C/D", 0)), bass_of(parse_symbol("C/E", 0))
    (2, None)
    """
    named = None if chord.root is None else _named(chord.root, chord.kind)
    return chord.pitch_classes[-1] if named is not None and chord.pitch_classes[:-1] == named else None


def _intervals(chord: Chord) -> tuple[int, ...]:
    """Intervals above the root, the slash bass left out."""
    classes = chord.pitch_classes if bass_of(chord) is None else chord.pitch_classes[:-1]
    return tuple((c - (chord.root or 0)) % 12 for c in classes)


def _spelled(pitch_class: int, key: Key | None) -> str:
    """Name of a pitch class in a key."""
    letter, alter = spell_class(pitch_class, key)
    return letter + ("#" * alter if alter > 0 else "b" * -alter)


def chord_symbol(chord: Chord, key: Key | None = None) -> str:
    """A chord as in a lead sheet: "Dm7", "F#7(b9)/C", "N.C.".

    Examples
    --------
    >>> chord_symbol(parse_symbol("D#m7", 0)), chord_symbol(parse_symbol("C/D", 0))
    ('Ebm7', 'C/D')
    """
    if chord.root is None:
        return "N.C."
    bass = bass_of(chord)
    return _spelled(chord.root, key) + chord.kind + ("" if bass is None else f"/{_spelled(bass, key)}")


def chord_label(chord: Chord) -> str:
    """A chord as annotations write it: "D:min7", "G:7(b9)" spelled out as degrees, "N".

    Examples
    --------
    >>> chord_label(parse_symbol("Ebm7", 0)), chord_label(parse_symbol("G7b9/C", 0))
    ('Eb:min7', 'G:(1,3,5,b7,b9)/C')
    """
    if chord.root is None:
        return "N"
    quality = _LABELS.get(chord.kind) if _named(chord.root, chord.kind) else None
    if quality is None:
        quality = f"({','.join(_DEGREES[i] for i in _intervals(chord))})"
    bass = bass_of(chord)
    return f"{root_name(chord.root)}:{quality}" + ("" if bass is None else f"/{root_name(bass)}")


def xml_chord(chord: Chord) -> XmlChord:
    """Kind and degrees of a chord in MusicXML: the nearest kind there is, and what is added and taken out.

    Examples
    --------
    >>> xml_chord(parse_symbol("G7b9", 0)), xml_chord(parse_symbol("N.C.", 0))
    (('dominant', '7', ((9, -1, 'add'),)), ('none', 'N.C.', ()))
    """
    if chord.root is None:
        return "none", "N.C.", ()
    intervals = _intervals(chord)
    own = _XML_KINDS.get(chord.kind)
    if own is not None and set(KINDS[chord.kind]) == set(intervals):
        return own, chord.kind, ()
    near = min(_PLAIN, key=lambda kind: _distance(KINDS[kind], intervals))
    taken = tuple((_DEGREE_OF[i], 0, "subtract") for i in KINDS[near] if i not in intervals)
    added = tuple((*_addition(i, intervals), "add") for i in intervals if i not in KINDS[near])
    return _XML_KINDS[near], near, taken + added


def _distance(kind: Sequence[int], intervals: Sequence[int]) -> tuple[bool, int, int]:
    """How far a kind is from a chord: its seventh first, since programs differ in what an added seventh is."""
    sevenths = {10, 11}
    return set(kind) & sevenths != set(intervals) & sevenths, len(set(kind) ^ set(intervals)), len(kind)


def _addition(interval: int, intervals: tuple[int, ...]) -> tuple[int, int]:
    """Degree and alteration of an added interval; a minor third is a raised ninth only beside a major one."""
    if interval == 3 and 4 not in intervals:
        return 3, -1
    if interval in (6, 8) and 7 not in intervals:
        return 5, -1 if interval == 6 else 1
    return _ADDED[interval]
