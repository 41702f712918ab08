"""Texts of a vocabulary and of a comparison: access to ``vocabulary.toml``, and figures said as notes."""

from __future__ import annotations

import math
from collections.abc import Sequence

from stylemeter.music.melody import Melody
from stylemeter.support.texts import Texts, texts_of
from stylemeter.writing.spelling import spell

__all__ = ["bars_text", "example", "note_names", "of_hundred", "percent", "say", "texts"]

_SIGNS = {-2: "♭♭", -1: "♭", 0: "", 1: "♯", 2: "♯♯"}
#: Names of a long figure that are said.
NAMES_MAX = 12
#: Bars that are said.
BARS_MAX = 8


def texts() -> Texts:
    """The texts by "section.name".

    Raises
    ------
    StylemeterError
        If an entry is not a text.
    """
    return texts_of("vocabulary")


def say(name: str, number: float = 0, /, **parts: object) -> str:
    """Fill in a text.

    Parameters
    ----------
    name : str
        "section.name".
    number : float
        Chooses between one and many.
    parts : object
        What is filled in, by name.

    Examples
    --------
    >>> say("vocabulary.notes", 1), say("vocabulary.notes", 12, count=12)
    ('1 note', '12 notes')
    """
    return texts().say(name, number, **parts)


def note_names(melody: Melody, start: int, length: int) -> str:
    """Names of the notes of a figure, without octaves: "D C B♭ A"."""
    pitches = melody.pitch[start : start + length + 1].tolist()
    names = []
    for pitch in pitches[:NAMES_MAX]:
        spelled = spell(float(math.floor(pitch + 0.5)), melody.key)
        names.append(spelled.letter + _SIGNS.get(round(spelled.alter), ""))
    return " ".join(names) + (" …" if len(pitches) > NAMES_MAX else "")


def example(kind: str, pattern: str) -> str:
    """A pattern as a musician would play it: from C, or by its degrees.

    Examples
    --------
    >>> example("intervals", "-2 -1 -2"), example("degrees", "5 4 b3 1"), example("rhythm", "2:1/2 -2:1")
    ('C B♭ A G (from C)', 'degrees 5 4 ♭3 1', 'C 1/2 D 1 C (from C)')
    """
    if kind == "degrees":
        return say("vocabulary.degrees", notes=pattern.replace("b", "♭").replace("#", "♯"))
    pitch, names = 72, [_name(72)]
    for step in pattern.split(" "):
        interval, colon, time = step.partition(":")
        pitch += int(interval)
        names += [time, _name(pitch)] if colon else [_name(pitch)]
    return say("vocabulary.from_c", notes=" ".join(names))


def _name(pitch: int) -> str:
    spelled = spell(float(pitch % 12 + 60), None)
    return spelled.letter + _SIGNS.get(round(spelled.alter), "")


def bars_text(melody: Melody, notes: Sequence[int]) -> str:
    """Bars of some notes: "bars 1, 5 and so on"."""
    bars = list(dict.fromkeys(int(b) for b in melody.bar[list(notes)]))
    said = ", ".join(map(str, bars[:BARS_MAX])) + (", …" if len(bars) > BARS_MAX else "")
    return say("vocabulary.bars", len(bars), bars=said)


def of_hundred(share: float) -> int:
    """A share as a whole number out of 100, rounded half up.

    Examples
    --------
    >>> of_hundred(0.034), of_hundred(0.002)
    (3, 0)
    """
    return math.floor(100 * share + 0.5)


def percent(share: float) -> str:
    """A share in percent."""
    return f"{of_hundred(share)}%"
