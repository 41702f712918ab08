"""The melody as ABC text.

Conventions: the unit is an eighth note; an accidental is written wherever the key doesn't have it and again wherever
its letter was altered before in the bar, so every reading of how long accidentals hold gives the same notes. Where a
chord changes under a held note, the note is parted and tied, since ABC hangs chords on notes.

References
----------
.. [1] The ABC music standard 2.1 (December 2011).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from stylemeter.music.melody import Chord, Key, Melody
from stylemeter.music.meter import TICKS
from stylemeter.writing.beams import beams
from stylemeter.writing.harmony import chord_symbol
from stylemeter.writing.layout import PrintedBar, chords_by_bar, printed_bars
from stylemeter.writing.spelling import alterations, fifths_of, spell, spell_class
from stylemeter.writing.values import Element

__all__ = ["to_abc"]

#: The unit note length in ticks, and how it is said.
_UNIT, _UNIT_NAME = TICKS // 2, "1/8"
_BARS_A_LINE = 4
#: Parts of the unit that note values come in.
_PARTS = 64
_MODES = {"major": "", "minor": "m", "dorian": "dor", "phrygian": "phr", "lydian": "lyd", "mixolydian": "mix"}
_SIGNS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}


def to_abc(melody: Melody) -> str:
    """Write a melody as one ABC tune.

    Returns
    -------
    str

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> print(to_abc(build(Draft([RawNote(0, 10080, 60.0), RawNote(10080, 5040, 73.0)], title="Two notes"))))
    %abc-2.1
    X:1
    T:Two notes
    M:4/4
    L:1/8
    K:Fm
    C2 d z z4 |]
    <BLANKLINE>
    """
    chords = melody.chords or ()
    printed = printed_bars(melody, [chord.onset for chord in chords])
    lines = ["%abc-2.1", "X:1", f"T:{_line(melody.title)}"]
    if melody.part:
        lines.append(f"N:Part: {_line(melody.part)}")
    lines += [f"M:{printed[0].meter}", f"L:{_UNIT_NAME}"]
    if melody.tempo is not None:
        lines.append(f"Q:1/4={_decimal(melody.tempo)}")
    lines.append(f"K:{_key(melody.key)}")
    return "\n".join([*lines, *_body(melody, printed, chords_by_bar(melody, printed))]) + "\n"


def _line(text: str) -> str:
    """Text on one line, with what ABC would take for a comment or an escape escaped."""
    return re.sub(r"([\\%&])", r"\\\1", " ".join(text.split()))


def _decimal(number: float) -> str:
    """A number without an exponent."""
    return f"{number:.9f}".rstrip("0").rstrip(".")


def _key(key: Key | None) -> str:
    """A key as ABC names it; "none" where tonic or mode isn't known."""
    if key is None or key.mode in (None, "blues"):
        return "none"
    letter, alter = spell_class(key.tonic, key)
    return letter + {1: "#", -1: "b"}.get(alter, "") + _MODES.get(key.mode, key.mode[:3])


def _body(melody: Melody, printed: Sequence[PrintedBar], chords: Sequence[Sequence[Chord]]) -> list[str]:
    """Lines of music, four bars each, a new line where the meter changes."""
    lines: list[str] = []
    row: list[str] = []
    meter = printed[0].meter
    for bar, own in zip(printed, chords, strict=True):
        changes = (bar.meter.numerator, bar.meter.denominator) != (meter.numerator, meter.denominator)
        if row and (changes or len(row) == _BARS_A_LINE):
            lines.append(" ".join(row))
            row = []
        if changes:
            lines.append(f"M:{bar.meter}")
            meter = bar.meter
        row.append(f"{_bar(melody, bar, own)} {'|]' if bar is printed[-1] else '|'}")
    return [*lines, " ".join(row)]


def _bar(melody: Melody, bar: PrintedBar, chords: Sequence[Chord]) -> str:
    """One bar, notes beamed together without a space between."""
    signature = alterations(fifths_of(melody.key) if melody.key and melody.key.mode not in (None, "blues") else 0)
    altered: set[str] = set()
    at = {chord.onset: chord for chord in chords}
    text = ""
    for element, beamed in zip(bar.elements, beams(bar.elements, bar.line, bar.meter), strict=True):
        apart = not (beamed and beamed[0] in ("continue", "end"))
        symbol = f'"{chord_symbol(at[element.start], melody.key)}"' if element.start in at else ""
        text += (" " if text and apart else "") + symbol + _token(melody, element, signature, altered)
    return text


def _token(melody: Melody, element: Element, signature: dict[str, int], altered: set[str]) -> str:
    """A note or rest with its tuplet in front, its length and its tie."""
    length = Fraction(element.length, _UNIT)
    before = ""
    if element.tuplet is not None:
        length *= Fraction(element.tuplet.actual, element.tuplet.normal)
        if element.tuplet.place == 0:
            before = f"({element.tuplet.actual}:{element.tuplet.normal}:{element.tuplet.count}"
    lengths = _split(length)
    if element.note is None:
        return before + " ".join(f"z{_length(part)}" for part in lengths)
    pitch = float(melody.pitch[element.note])
    notes = [_note(pitch, melody.key, signature, altered) + _length(part) for part in lengths]
    return f"{before}{'-'.join(notes)}{'-' if element.tied_to else ''}"


def _split(length: Fraction) -> list[Fraction]:
    """A length no note value stands for as whole units and a rest, so that its numbers stay short."""
    whole = length.numerator // length.denominator
    if length.denominator <= _PARTS or not whole:
        return [length]
    return [Fraction(whole), length - whole]


def _length(length: Fraction) -> str:
    """A length in units: "" for 1, "3", "/2", "3/2"."""
    if length.denominator == 1:
        return "" if length == 1 else str(length)
    return f"{'' if length.numerator == 1 else length.numerator}/{length.denominator}"


def _note(pitch: float, key: Key | None, signature: dict[str, int], altered: set[str]) -> str:
    """Accidental, letter and octave."""
    spelled = spell(float(int(pitch + 0.5)), key)
    alter = round(spelled.alter)
    sign = ""
    if alter != signature.get(spelled.letter, 0) or spelled.letter in altered:
        sign = _SIGNS[alter]
        altered.add(spelled.letter)
    if spelled.octave >= 5:
        return sign + spelled.letter.lower() + "'" * (spelled.octave - 5)
    return sign + spelled.letter + "," * (4 - spelled.octave)
