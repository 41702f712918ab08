"""Chord symbols among the texts written over a line of notes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from stylemeter.errors import InputError, LimitError
from stylemeter.music.chords.symbols import parse_symbol
from stylemeter.music.melody import Chord
from stylemeter.reading.draft.repairs import Findings
from stylemeter.reading.intake import limits

__all__ = ["move", "read_symbols"]

#: Bare letters fewer than one to so many bars are taken for the names of sections.
SECTION_BARS = 4
#: What looks like a chord symbol even where it can't be read as one.
_CHORD_LIKE = re.compile(r"[A-G][#b]?(?:m|maj|min|dim|aug|sus|add)?\d")


def move(chord: Chord, semitones: int) -> Chord:
    """A chord transposed."""
    if chord.root is None or semitones % 12 == 0:
        return chord
    classes = tuple((c + semitones) % 12 for c in chord.pitch_classes)
    return replace(chord, root=(chord.root + semitones) % 12, pitch_classes=classes)


def read_symbols(
    texts: Sequence[tuple[int, int, str]], bars: int, found: Findings, remarks: list[str]
) -> list[Chord] | None:
    """Chords among texts; fingerings, dynamics and directions are none.

    Parameters
    ----------
    texts : sequence of (onset, place, text)
        `place` is what `found` counts in.
    bars : int
        Printed bars of the line.
    found : Findings
        Symbols that can't be read are counted in it.
    remarks : list of str
        Added to.

    Returns
    -------
    list of Chord or None
        None where there are none.

    Raises
    ------
    LimitError
        If there are too many.

    Examples
    --------
    >>> [c.kind for c in read_symbols([(0, 0, "4"), (0, 0, "Am7"), (9, 1, "(D7)")], 1, Findings(), [])]
    ['m7', '7']
    >>> said = []
    >>> read_symbols([(0, 0, "A"), (99, 9, "B")], 16, Findings(), said), said
    (None, ['single letters over few bars are taken for names of sections, not chords'])
    """
    chords: list[Chord] = []
    bare = True
    for onset, place, text in texts:
        symbol = text.strip(" ()")
        try:
            chords.append(parse_symbol(symbol, onset))
        except InputError:
            if _CHORD_LIKE.match(symbol):
                found.add("chord symbol", "not understood and left out", place)
            continue
        bare = bare and len(symbol) == 1
    if len(chords) > limits.CHORDS_MAX:
        raise LimitError(f"more than {limits.CHORDS_MAX} chord symbols", mend="split the file")
    if chords and bare and len(chords) * SECTION_BARS < bars:
        remarks.append("single letters over few bars are taken for names of sections, not chords")
        return None
    return chords or None
