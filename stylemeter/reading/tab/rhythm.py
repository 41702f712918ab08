"""When the columns of a tablature sound, where a line over or under the strings says so: letters, or counts.

Conventions: letters W H Q E S T stand for a whole note down to a 32nd, a dot after one for half as long again, a 3 for
a triplet's; a letter without a fret under it is a rest. Counts are the beat's number, "&" (or "+") its half, "e" and
"a" the sixteenths between; where "&" and "a" stand evenly between two numbers, they are a triplet's. Counts say when
notes start and not how long they last. All of this is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from stylemeter.errors import InputError
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.tab.systems import System, TabBar

__all__ = ["Count", "Letter", "by_counts", "by_letters", "counted_meter", "counts_near", "letters_near"]

_LETTERS = {"w": 4 * TICKS, "h": 2 * TICKS, "q": TICKS, "e": TICKS // 2, "s": TICKS // 4, "t": TICKS // 8}
_LETTER = re.compile(r"(?<![A-Za-z0-9#])([WHQESTwhqest])(\.{0,2})(3?)(?![A-Za-z0-9#])")
_LETTER_LINE = re.compile(r"[\sWHQESTwhqest.3|]*")
#: Columns a letter may stand beside its fret.
BESIDE = 1
#: Columns a whole line of letters may be off.
SHIFT = 3
#: Lines above or below a system that are looked at for letters.
AWAY = 2
#: Share of the struck columns a line of Es must have, else it names chords.
ENOUGH = 0.9
_COUNT = re.compile(r"\d{1,2}|&|\+|(?<![a-z])(?:and|ee|an|ah|e|a|n)(?![a-z])")
_COUNT_LINE = re.compile(r"(?:\d{1,2}|&|\+|and|ee|an|ah|e|a|n|[\s|.,:;()-])+")
_PARTS = {"e": 1, "ee": 1, "&": 2, "+": 2, "and": 2, "an": 2, "n": 2, "a": 3, "ah": 3}
#: Share of the struck columns that must have a count.
COUNTED = 0.75
#: Greatest number counted.
COUNTS_MAX = 16


@dataclass(frozen=True, slots=True)
class Letter:
    """A rhythm letter: the column of the text it stands in, and its ticks."""

    column: int
    ticks: int


@dataclass(frozen=True, slots=True)
class Count:
    """A count: the column of the text it stands in, the beat it belongs to (from 1), and how far into it."""

    column: int
    beat: int
    part: Fraction


def letters_near(lines: Sequence[str], system: System, struck: Sequence[int]) -> list[Letter]:
    """The rhythm letters over or under a system; none where there is no such line.

    Parameters
    ----------
    lines : sequence of str
        Of the file.
    system : System
    struck : sequence of int
        Columns of the text struck in it. A line of far fewer Es names chords; letters that all stand some columns
        beside them are moved there.
    """
    for line in lines_near(lines, system):
        if not _LETTER_LINE.fullmatch(line):
            continue
        found = [Letter(m.start(), _ticks(m)) for m in _LETTER.finditer(line)]
        # E is the only letter that names a chord too.
        chords = not set(line) & set("WHQSTwhqest")
        if found and (len(found) >= ENOUGH * len(struck) or not chords):
            by = _shift([letter.column for letter in found], struck)
            return [Letter(letter.column + by, letter.ticks) for letter in found]
    return []


def lines_near(lines: Sequence[str], system: System) -> list[str]:
    """Lines over and under a system that say something, the nearest first, those above first."""
    above = [system.line - 1 - i for i in range(1, AWAY + 1)]
    below = [system.last_line - 1 + i for i in range(1, AWAY + 1)]
    return [lines[index] for index in (*above, *below) if 0 <= index < len(lines) and lines[index].strip()]


def _shift(columns: Sequence[int], struck: Sequence[int]) -> int:
    """By how many columns a line must be moved to stand over the most struck columns."""
    places = set(struck)
    return max(sorted(range(-SHIFT, SHIFT + 1), key=abs), key=lambda by: sum(c + by in places for c in columns))


def counts_near(lines: Sequence[str], system: System, struck: Sequence[int]) -> list[Count]:
    """The counts over or under a system; none where there is no such line. As `letters_near`."""
    for line in lines_near(lines, system):
        found = list(_COUNT.finditer(line))
        if not _COUNT_LINE.fullmatch(line) or not found or len(found) < 2:
            continue
        by = _shift([m.start() for m in found], struck)
        places = {m.start() + by for m in found}
        met = sum(any(c + d in places for d in range(-BESIDE, BESIDE + 1)) for c in struck)
        if struck and met >= COUNTED * len(struck) and any(m[0].isdigit() for m in found):
            return _counts([(m.start() + by, m[0]) for m in found])
    return []


def _counts(words: Sequence[tuple[int, str]]) -> list[Count]:
    """Counts of the words of a line; those of a beat's parts belong to the number before them."""
    counts: list[Count] = []
    beat, own = 1, 0
    for place, (column, word) in enumerate(words):
        if word.isdigit():
            beat, own = min(max(int(word), 1), COUNTS_MAX), place
            counts.append(Count(column, beat, Fraction(0)))
        else:
            thirds = _in_thirds(words, own)
            parts = _PARTS[word]
            counts.append(Count(column, beat, Fraction(parts - 1, 3) if thirds and parts > 1 else Fraction(parts, 4)))
    return counts


def _in_thirds(words: Sequence[tuple[int, str]], own: int) -> bool:
    """Whether the "&" and "a" of a number stand evenly between it and the next."""
    beat = [words[own], *words[own + 1 : own + 4]]
    parts = [_PARTS.get(word, 0) for _, word in beat[1:3]]
    if parts != [2, 3]:
        return False
    gaps = [b[0] - a[0] for a, b in pairwise(beat)]
    return max(gaps) - min(gaps) <= 1 and min(gaps) > 1


def counted_meter(counts: Sequence[Sequence[Count]]) -> str | None:
    """The meter that counted bars have where nobody says it: 3/4 counted to three, 6/8 to six, 12/8 to twelve."""
    most = max((count.beat for bar in counts for count in bar), default=4)
    return {2: "2/4", 3: "3/4", 5: "5/4", 6: "6/8", 7: "7/8", 9: "9/8", 12: "12/8"}.get(most)


def by_counts(columns: Sequence[int], bar: TabBar, counts: Sequence[Count], meter: Meter) -> list[int] | None:
    """Onsets in ticks from the bar's start by the counts over it; None where they don't rise with the columns.

    A column between two counts lies between their times, on the nearest sixteenth.
    """
    unit = meter.bar // meter.numerator
    if not columns:
        return []
    known = [(count.column - bar.column, int((count.beat - 1 + count.part) * unit)) for count in counts]
    if any(a[1] >= b[1] for a, b in pairwise(known)) or not known or known[-1][1] >= meter.bar:
        return None
    times = dict(known)
    onsets = []
    for column in columns:
        near = sorted(range(column - BESIDE, column + BESIDE + 1), key=lambda at: abs(at - column))
        exact = next((times[at] for at in near if at in times), None)
        onsets.append(_between(column, [*known, (bar.width, meter.bar)]) if exact is None else exact)
    return onsets if all(a < b for a, b in pairwise(onsets)) and onsets[-1] < meter.bar else None


def _between(column: int, known: Sequence[tuple[int, int]]) -> int:
    """Time of a column between those whose time is known, on the nearest sixteenth."""
    before = max((k for k in known if k[0] <= column), default=(0, 0))
    after = min((k for k in known if k[0] > column), default=before)
    share = (column - before[0]) / max(1, after[0] - before[0])
    sixteenth = TICKS // 4
    return round((before[1] + share * (after[1] - before[1])) / sixteenth) * sixteenth


def _ticks(letter: re.Match[str]) -> int:
    """Length of a letter with its dots and triplet sign."""
    plain = _LETTERS[letter[1].lower()]
    dots = len(letter[2])
    length = plain * ((2 << dots) - 1) >> dots
    return length * 2 // 3 if letter[3] else length


def by_letters(
    columns: Sequence[int], bar: TabBar, letters: Sequence[Letter], where: str
) -> list[tuple[int, int, bool]]:
    """Onsets and lengths in ticks from the bar's start, each letter's, and whether a column is struck under it.

    Parameters
    ----------
    columns : sequence of int
        Struck columns, from the bar's first.
    bar : TabBar
    letters : sequence of Letter
        Those of the bar.
    where : str
        Line and bar, for the error.

    Raises
    ------
    InputError
        If a column has no letter.
    """
    if len(letters) == len(columns):
        struck = [True] * len(letters)
    else:
        struck = [False] * len(letters)
        place_of = {letter.column - bar.column: place for place, letter in enumerate(letters)}
        for column in columns:
            near = sorted(range(column - BESIDE, column + BESIDE + 1), key=lambda at: abs(at - column))
            place = next((place_of[at] for at in near if at in place_of), None)
            if place is None or struck[place]:
                what = f"{len(columns)} notes and {len(letters)} rhythm letters that don't stand over them"
                raise InputError(what, where=where, mend="put one letter over each note and rest")
            struck[place] = True
    timed, now = [], 0
    for letter, sounds in zip(letters, struck, strict=True):
        timed.append((now, letter.ticks, sounds))
        now += letter.ticks
    return timed
