"""The melody as tablature in text, a rhythm letter over each fret: to read in any editor, to paste anywhere.

Conventions: the source's own strings and frets, else our fingering, which the head tells. Letters are those the reader
of tablature knows (W H Q E S T, a dot, a 3 for a triplet's); one over no fret is a rest, a fret in round brackets holds
the note before. The thinnest string is on top; a line has at most 78 columns.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stylemeter.errors import UsageError
from stylemeter.music.fingering import STANDARD, Fingering, fingering
from stylemeter.music.melody import Chord, Melody
from stylemeter.music.meter import TICKS
from stylemeter.support.printable import show
from stylemeter.writing.harmony import chord_symbol
from stylemeter.writing.layout import PrintedBar, chords_by_bar, printed_bars
from stylemeter.writing.spelling import spell
from stylemeter.writing.values import Element

__all__ = ["to_tab"]

WIDTH = 78
_LETTERS = {TICKS * 4: "W", TICKS * 2: "H", TICKS: "Q", TICKS // 2: "E", TICKS // 4: "S", TICKS // 8: "T"}
#: Columns of an element at the least: a fret of two digits in brackets.
CELL = 3


def to_tab(melody: Melody) -> str:
    """Write a melody as tablature.

    Parameters
    ----------
    melody : Melody

    Returns
    -------
    str

    Raises
    ------
    UsageError
        If a note lies outside the range of the guitar.

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> tune = build(Draft([RawNote(0, 5040, 57.0), RawNote(5040, 5040, 60.0), RawNote(10080, 30240, 62.0)]))
    >>> print(to_tab(tune).partition("Fingering")[2].partition("hand.")[2].strip())
    E  E  H.
    e|----------|
    B|----------|
    G|----5--7--|
    D|-7--------|
    A|----------|
    E|----------|
    """
    hand = fingering(melody)
    if hand is None:
        raise UsageError("some notes lie outside the range of the guitar", mend="write another format")
    printed = printed_bars(melody)
    chords = chords_by_bar(melody, printed)
    blocks = [_bar(hand, bar, own, melody) for bar, own in zip(printed, chords, strict=True)]
    names = [_name(pitch, place == 0, melody) for place, pitch in enumerate(reversed(hand.tuning))]
    wide = max(len(name) for name in names)
    lines = list(_head(melody, hand))
    for system in _systems(blocks, WIDTH - wide - 1):
        lines.append("")
        for row in range(2):
            text = " " * (wide + 1) + " ".join(block[row] for block in system)
            if text.strip():
                lines.append(text.rstrip())
        for string, name in enumerate(names):
            lines.append(name.ljust(wide) + "|" + "|".join(block[string + 2] for block in system) + "|")
    return "\n".join(lines) + "\n"


def _head(melody: Melody, hand: Fingering) -> Iterator[str]:
    """What is known of the take."""
    if melody.title.strip():
        yield f"Title: {show(melody.title)}"
    if hand.tuning != STANDARD:
        yield "Tuning: " + " ".join(_name(pitch, False, melody) for pitch in hand.tuning)
    meter = melody.meters[0]
    yield f"Time: {meter.numerator}/{meter.denominator}"
    if melody.tempo is not None:
        yield f"Tempo: {melody.tempo:.4g}"
    if melody.key is not None and melody.key.mode:
        yield f"Key: {melody.key.name}"
    if hand.own:
        yield "Fingering: ours, with the least movement of the hand."


def _name(pitch: int, thin: bool, melody: Melody) -> str:
    """Name of an open string, the thinnest in small."""
    spelled = spell(float(pitch), None if pitch in STANDARD else melody.key)
    name = spelled.letter + {-1: "b", 1: "#"}.get(round(spelled.alter), "")
    return name.lower() if thin else name


def _systems(blocks: Sequence[list[str]], width: int) -> Iterator[list[list[str]]]:
    """As many bars a line as there is room for."""
    line: list[list[str]] = []
    used = 0
    for block in blocks:
        if line and used + len(block[2]) + 1 > width:
            yield line
            line, used = [], 0
        line.append(block)
        used += len(block[2]) + 1
    if line:
        yield line


def _bar(hand: Fingering, bar: PrintedBar, chords: Sequence[Chord], melody: Melody) -> list[str]:
    """A bar: chord names, rhythm letters, then a line a string, all of one length."""
    strings = len(hand.tuning)
    rows = ["-"] * strings
    letters, names = " ", " "
    left = list(chords)
    for element in bar.elements:
        said = []
        while left and left[0].onset < element.start + element.length:
            said.append(chord_symbol(left.pop(0), melody.key))
        fret = "" if element.note is None else str(hand.frets[element.note])
        if element.tied_from and fret:
            fret = f"({fret})"
        letter, name = _letter(element), " ".join(said)
        width = max(CELL, len(fret) + 1, len(letter) + 1, len(name) + 1)
        letters += letter.ljust(width)
        names += name.ljust(width)
        for string in range(strings):
            here = element.note is not None and int(hand.strings[element.note]) == string + 1
            rows[string] += (fret if here else "").ljust(width, "-")
    return [names, letters, *rows]


def _letter(element: Element) -> str:
    """Rhythm letter of a written value; a question mark where it has none."""
    if element.value is None or element.value.plain not in _LETTERS:
        return "?"
    tuplet = "3" if element.tuplet and (element.tuplet.actual, element.tuplet.normal) == (3, 2) else ""
    if element.tuplet and not tuplet:
        return "?"
    return _LETTERS[element.value.plain] + "." * element.value.dots + tuplet
