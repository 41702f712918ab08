"""Open strings of a tablature: from the labels of its lines, a "Tuning:" line, or the usual tuning.

Conventions: pitches of open strings as MIDI numbers, the top line first; a capo raises them all, and frets count from
it. The usual tunings are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from stylemeter.errors import InputError
from stylemeter.keys import pitch_class
from stylemeter.reading.numbers import midi_number

__all__ = ["Strings", "capo_of", "strings_of"]

#: Usual tunings by number of strings, the lowest line first, the likeliest tuning first.
USUAL: dict[int, tuple[tuple[str, tuple[int, ...]], ...]] = {
    4: (
        ("bass", (28, 33, 38, 43)),
        ("ukulele", (67, 60, 64, 69)),
        ("mandolin", (55, 62, 69, 76)),
        ("guitar without its lowest strings", (50, 55, 59, 64)),
    ),
    5: (
        ("five-string bass", (23, 28, 33, 38, 43)),
        ("banjo", (67, 50, 55, 59, 62)),
        ("five-string bass", (28, 33, 38, 43, 48)),
        ("guitar without its lowest string", (45, 50, 55, 59, 64)),
        ("guitar without its highest string", (40, 45, 50, 55, 59)),
    ),
    6: (("guitar", (40, 45, 50, 55, 59, 64)),),
    7: (("seven-string guitar", (35, 40, 45, 50, 55, 59, 64)),),
    8: (("eight-string guitar", (30, 35, 40, 45, 50, 55, 59, 64)),),
}
#: How far a string may be tuned from the usual: strings are let down further than they are drawn up.
_DOWN, _UP = -7, 4
#: The highest capo believed.
CAPO_MAX = 12

_NAMED = {
    "drop d": "D A D G B E",
    "double drop d": "D A D G B D",
    "open g": "D G D G B D",
    "open d": "D A D F# A D",
    "open e": "E B E G# B E",
    "open a": "E A E A C# E",
}
_LOWERED = {"half step down": -1, "1/2 step down": -1, "whole step down": -2, "full step down": -2}
_TOKEN = re.compile(r"[A-G][#b♯♭]?\d?|[a-g]#?\d?")
_TOKENS = re.compile(rf"(?:(?:{_TOKEN.pattern})[\s,/-]*){{4,8}}")
_TUNING = re.compile(r"\btuning\b\s*(?:is\b)?[\s:=-]*(.+)", re.IGNORECASE)
_CAPO = re.compile(r"\bcapo\b[\s:=-]*(?:on|at)?\s*(?:fret|the)?\s*(\d{1,3}|[IVX]{1,4}\b|none|no\b)?", re.IGNORECASE)
_NO_CAPO = re.compile(r"\b(?:no|without(?: a)?)\s+capo\b", re.IGNORECASE)
_ROMAN = {"I": 1, "V": 5, "X": 10}


@dataclass(frozen=True, slots=True)
class Strings:
    """Open strings, the top line first, and what had to be guessed."""

    open: tuple[float, ...]
    remarks: tuple[str, ...] = ()


def capo_of(texts: Iterable[str]) -> int:
    """Fret of the capo that a line of text names; 0 where none does.

    Raises
    ------
    InputError
        If it is beyond `CAPO_MAX`.

    Examples
    --------
    >>> capo_of(["Capo: 3rd fret"]), capo_of(["capo II"]), capo_of(["no capo"])
    (3, 2, 0)
    """
    for text in texts:
        found = _CAPO.search(text)
        if not found or _NO_CAPO.search(text) or not found[1]:
            continue
        word = found[1].upper()
        fret = int(word) if word.isdigit() else _roman(word)
        if fret > CAPO_MAX:
            raise InputError(f"capo {word}", mend=f"a capo on fret 1 to {CAPO_MAX} can be read")
        return fret
    return 0


def _roman(word: str) -> int:
    """A Roman number; 0 for "none" and the like."""
    values = [_ROMAN.get(letter, 0) for letter in word]
    if 0 in values:
        return 0
    return sum(-v if v < max(values[i:]) else v for i, v in enumerate(values))


def strings_of(labels: Sequence[str], texts: Iterable[str]) -> Strings:
    """Open strings of a tablature, without the capo.

    Parameters
    ----------
    labels : sequence of str
        Label of each line, the top one first; empty where a line has none.
    texts : iterable of str
        The other lines of the file: a "Tuning:" line goes before the labels.

    Returns
    -------
    Strings

    Examples
    --------
    >>> strings_of(["e", "B", "G", "D", "A", "D"], []).open
    (64.0, 59.0, 55.0, 50.0, 45.0, 38.0)
    >>> strings_of([""] * 6, ["Tuning: half step down"]).open[0]
    63.0
    """
    count = len(labels)
    for text in texts:
        found = _TUNING.search(text)
        said = None if not found else _said(found[1], count)
        if said is not None:
            return said
        if found and len(found[1].split()) < 8:
            fallback = _from_labels(labels)
            words = f"tuning {found[1].strip()[:40]!r} not understood"
            return Strings(fallback.open, (words, *fallback.remarks))
    return _from_labels(labels)


def _from_labels(labels: Sequence[str]) -> Strings:
    """Strings named at the lines, or the usual ones."""
    if all(_class_of(label) is not None for label in labels):
        return _match(labels)
    name, pitches = USUAL[len(labels)][0]
    return Strings(_downward(pitches), (f"strings not named: tuned as a {name} usually is",))


def _said(text: str, count: int) -> Strings | None:
    """Strings of a tuning said in letters or by its name; None where it isn't understood."""
    plain = re.sub(r"\(.*?\)", " ", text).strip(" .:")
    words = " ".join(plain.lower().replace("-", " ").split())
    usual = USUAL[count][0][1]
    if re.match(r"(?:e )?standard|standard|normal|usual", words):
        return Strings(_downward(usual))
    lowered = next((shift for name, shift in _LOWERED.items() if name in words), None)
    if lowered is not None:
        return Strings(_downward([pitch + lowered for pitch in usual]))
    named = max((name for name in _NAMED if words.startswith(name)), key=len, default=None)
    tokens = _TOKEN.findall(_NAMED[named] if named else plain) if named or _TOKENS.fullmatch(plain) else []
    return _match(list(reversed(tokens))) if len(tokens) == count else None


def _downward(pitches: Sequence[int]) -> tuple[float, ...]:
    """Pitches from the top line down."""
    return tuple(float(pitch) for pitch in reversed(pitches))


def _class_of(label: str) -> int | None:
    """Pitch class of a string's label."""
    name = label.rstrip("0123456789")
    return pitch_class("B" if name in ("H", "h") else name)


def _match(labels: Sequence[str]) -> Strings:
    """Pitches of named strings: the nearest to a usual tuning, the lowest string on the bottom or the top line."""
    exact = [midi_number(label) for label in labels]
    if all(pitch is not None for pitch in exact):
        return Strings(tuple(float(pitch or 0) for pitch in exact))
    classes = [_class_of(label) or 0 for label in labels]
    candidates = []
    for turned in (False, True):
        for name, usual in USUAL[len(labels)]:
            from_top = usual if turned else usual[::-1]
            shifts = [_shift(c, pitch) for c, pitch in zip(classes, from_top, strict=True)]
            candidates.append((sum(map(abs, shifts)), turned, name, from_top, shifts))
    _, turned, name, from_top, shifts = min(candidates, key=lambda c: c[:2])
    remarks = ["the lowest string on the top line"] if turned else []
    if len(labels) < 6:
        remarks.append(f"{len(labels)} strings read as a {name}")
    return Strings(tuple(float(p + s) for p, s in zip(from_top, shifts, strict=True)), tuple(remarks))


def _shift(wanted: int, pitch: int) -> int:
    """Semitones from a usual string to one of another pitch class."""
    up = (wanted - pitch) % 12
    return up if up <= _UP else up - 12 if up - 12 >= _DOWN else up
