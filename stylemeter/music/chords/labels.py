"""Chord labels of open annotations: root:quality(degrees)/bass.

References
----------
.. [1] C. Harte, M. Sandler, S. Abdallah & E. Gómez, "Symbolic representation of musical chords: a proposed
   syntax for text annotations", ISMIR 2005.
"""

from __future__ import annotations

import re

from stylemeter.music.chords.kinds import KINDS, LENGTH_MAX, NATURAL, chord_on, name_chord, not_a_chord
from stylemeter.music.keys import pitch_class
from stylemeter.music.melody import Chord

__all__ = ["parse_label"]

#: Qualities of annotation labels -> kind.
_LABEL_KINDS: dict[str, str] = {
    **{q: q for q in ("1", "5", "7", "9", "11", "13", "dim", "aug", "sus2", "sus4", "maj7", "maj9", "dim7")},
    **{q: q for q in ("maj11", "maj13")},
    **{f"min{n}": f"m{n}" for n in ("", "6", "7", "9", "11", "13")},
    "": "",
    "maj": "",
    "6": "6",
    "maj6": "6",
    "hdim7": "m7b5",
    "hdim": "m7b5",
    "minmaj7": "mmaj7",
    "aug7": "7#5",
}
_LABEL = re.compile(
    r"(?P<root>[A-G][b#]{0,3})(?::(?P<quality>[a-z]*\d{0,2})(?:\((?P<degrees>[^()]*)\))?)?(?:/(?P<bass>[A-Gb#0-9]+))?"
)
_DEGREE = re.compile(r"(\*?)([b#]{0,3})(1[0-3]|[1-9])")


def parse_label(text: str, onset: int) -> Chord:
    """Read a chord label as open chord annotations write it: root:quality(degrees)/bass.

    Degrees are those of the major scale on the root ("7" is the major seventh, "b7" the minor); "*5" leaves one
    out. "N" is no chord, and so is "X" (a chord the annotator could not name). A root alone is a major triad.
    The bass is a degree or a note name.

    Raises
    ------
    InputError
        With the place in the label where it stops making sense.

    References
    ----------
    Harte et al. 2005; "sus2", the elevenths and thirteenths are later additions in common use, no source.

    Examples
    --------
    >>> parse_label("D#:min7(b9)/5", 0)
    Chord(onset=0, root=3, kind='m7(b9)', pitch_classes=(3, 6, 10, 1, 4))
    >>> parse_label("N", 0).root, parse_label("G", 0).pitch_classes
    (None, (7, 11, 2))
    """
    label = text.strip()
    if label in ("N", "X"):
        return Chord(onset, None, "N", ())
    if len(label) > LENGTH_MAX:
        raise not_a_chord(text[:LENGTH_MAX] + "...", 1, "chord label")
    found = _LABEL.match(label)
    if not found or found.end() != len(label):
        raise not_a_chord(text, found.end() + 1 if found else 1, "chord label")
    quality = found["quality"] or ""
    if quality not in _LABEL_KINDS:
        raise not_a_chord(text, found.start("quality") + 1, "chord label")
    base = _LABEL_KINDS[quality]
    only_degrees = not quality and found["degrees"] is not None
    kept = [0] if only_degrees else list(KINDS[base])
    for degree in (found["degrees"] or "").split(","):
        _apply_degree(kept, degree.strip(), text)
    kind, intervals = name_chord(base, kept)
    tonic = ((pitch_class(label[0]) or 0) + _shift(found["root"])) % 12
    return chord_on(onset, tonic, kind, intervals, _label_bass(found["bass"], tonic, text))


def _apply_degree(kept: list[int], degree: str, text: str) -> None:
    """Add or leave out one degree of a list, in place."""
    if not degree:
        return
    found = _DEGREE.fullmatch(degree)
    if not found:
        raise not_a_chord(text, text.find(degree) + 1, "chord label")
    interval = _interval(found[2], int(found[3]))
    if not found[1] and interval not in kept:
        kept.append(interval)
    if found[1] and interval in kept:
        kept.remove(interval)


def _interval(signs: str, number: int) -> int:
    """Semitones of a degree of the major scale with its signs."""
    return (NATURAL[number] + _shift(signs)) % 12


def _shift(signs: str) -> int:
    """Semitones by which sharps and flats raise a note."""
    return signs.count("#") - signs.count("b")


def _label_bass(bass: str | None, tonic: int, text: str) -> int | None:
    """Pitch class of a label's bass, a degree or a note name."""
    if not bass:
        return None
    degree = _DEGREE.fullmatch(bass)
    if degree:
        return (tonic + _interval(degree[2], int(degree[3]))) % 12
    low = pitch_class(bass)
    if low is None:
        raise not_a_chord(text, text.rfind("/") + 2, "chord label")
    return low
