"""When the columns of a tablature sound: by rhythm letters where there are any, else by how they are spaced.

Conventions: letters W H Q E S T stand for a whole note down to a 32nd, a dot after one for half as long again, a 3 for
a triplet's; a letter without a fret under it is a rest. Both are common practice, no source. Spacing is a guess: the
bar's columns are taken for even parts of it, and each struck column for the nearest sixteenth or triplet eighth.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from stylemeter.errors import InputError
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.tab.systems import System, TabBar

__all__ = ["Letter", "by_letters", "by_spacing", "letters_near"]

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
#: Struck columns above which a bar is no bar, but a system without bar lines.
BAR_COLUMNS = 32

#: What another grid or margin must be better by (share of a bar) than sixteenths between margins of one column.
_TRIPLET_PRICE, _MARGIN_PRICE = 0.006, 0.002


@dataclass(frozen=True, slots=True)
class Letter:
    """A rhythm letter: the column of the text it stands in, and its ticks."""

    column: int
    ticks: int


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
    above = [system.line - 1 - i for i in range(1, AWAY + 1)]
    below = [system.last_line - 1 + i for i in range(1, AWAY + 1)]
    for index in (*above, *below):
        if not 0 <= index < len(lines) or not lines[index].strip() or not _LETTER_LINE.fullmatch(lines[index]):
            continue
        found = [Letter(m.start(), _ticks(m)) for m in _LETTER.finditer(lines[index])]
        # E is the only letter that names a chord too.
        chords = not set(lines[index]) & set("WHQSTwhqest")
        if found and (len(found) >= ENOUGH * len(struck) or not chords):
            return _moved(found, struck)
    return []


def _moved(letters: Sequence[Letter], struck: Sequence[int]) -> list[Letter]:
    """Letters moved together to where most of them stand over struck columns."""
    places = set(struck)
    shifts = sorted(range(-SHIFT, SHIFT + 1), key=abs)
    shift = max(shifts, key=lambda by: sum(letter.column + by in places for letter in letters))
    return [Letter(letter.column + shift, letter.ticks) for letter in letters]


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


def by_spacing(columns: Sequence[int], width: int, meter: Meter) -> list[int]:
    """Onsets in ticks from the bar's start, guessed from the spacing.

    Parameters
    ----------
    columns : sequence of int
        Struck columns, rising.
    width : int
        Columns of the bar.
    meter : Meter

    Examples
    --------
    >>> by_spacing([1, 3, 5, 7], 9, Meter(0, 4, 4))
    [0, 10080, 20160, 30240]
    >>> by_spacing([0, 4, 8, 12, 14], 16, Meter(0, 4, 4))
    [0, 10080, 20160, 30240, 35280]
    """
    best: tuple[float, list[int], int] | None = None
    for unit, price in ((TICKS // 4, 0.0), (TICKS // 3, _TRIPLET_PRICE)):
        if meter.bar % unit:
            continue
        parts = meter.bar // unit
        for lead, span in _margins(columns, width):
            error, places = _fit(columns, lead, span, parts)
            cost = error + price + _MARGIN_PRICE * (abs(lead - 1) + abs(span - (width - lead)))
            if len(set(places)) == len(places) and places[-1] < parts and (best is None or cost < best[0]):
                best = (cost, places, unit)
    if best is None:
        return [meter.bar * i // len(columns) for i in range(len(columns))]
    return [place * best[2] for place in best[1]]


def _margins(columns: Sequence[int], width: int) -> Iterator[tuple[int, int]]:
    """Columns before beat 1, and columns of the whole bar's time."""
    for lead in range(min(3, columns[0]) + 1):
        for more in (0, 1, -1):
            if width - lead + more > columns[-1] - lead:
                yield lead, width - lead + more


def _fit(columns: Sequence[int], lead: int, span: int, parts: int) -> tuple[float, list[int]]:
    """Mean distance from the grid as a share of the bar, and each column's place on it."""
    exact = [(column - lead) / span * parts for column in columns]
    places = [int(x + 0.5) for x in exact]
    return sum(abs(x - place) for x, place in zip(exact, places, strict=True)) / parts / len(places), places
