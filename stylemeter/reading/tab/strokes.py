r"""One bar of tablature -> its strokes: which fret on which string in which column, and how it is played.

Conventions: hammer-on, pull-off and slide belong to the note they lead to; a bent note has the pitch it reaches, and
what it is released to is a note of its own. The signs (h p b r / \ s ~ x t) are common practice, no source.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

from stylemeter.music.melody import Technique
from stylemeter.reading.tab.systems import TabBar

__all__ = ["Column", "Stroke", "columns_of"]

#: The highest fret: a number above it is two numbers written without a gap.
FRET_MAX = 36
#: A bend whose target isn't told: a whole step.
BEND = 2.0
#: The widest bend told by its target fret.
BEND_MAX = 5
#: Columns between a sign and the note it leads to.
NEAR = 2
#: Frets of natural harmonics -> semitones above the open string (partials 2 to 5, rounded).
NODES = {12: 12, 7: 19, 19: 19, 5: 24, 24: 24, 4: 28, 9: 28, 16: 28}

_TOKEN = re.compile(
    r"(?P<harmonic>[<\[](?P<node>\d{1,2})[>\]])"
    r"|(?P<held>\((?P<again>\d{1,2})\))"
    r"|(?P<fret>\d+)"
    r"|(?P<dead>[xX])"
    r"|(?P<trill>tr(?:\(\d{1,2}\))?)"
    r"|(?P<prebend>[pP][bB](?:(?<=\d[pP][bB])\(?(?P<reach>\d{1,2})\)?)?)"
    r"|(?P<bend>[bB^](?:(?P<part>1/2|1/4|½|¼|full|f)|\(?(?P<target>\d{1,2})\)?)?)"
    r"|(?P<release>[rR])"
    r"|(?P<legato>[hHpPtT])"
    r"|(?P<slide>[/\\sS])"
    r"|(?P<vibrato>[~vV]+)"
)
_NONE = Technique(0)
_PARTS = {"1/2": 1.0, "½": 1.0, "1/4": 0.5, "¼": 0.5, "full": 2.0, "f": 2.0}
_LEGATO = {"h": Technique.HAMMER_ON, "p": Technique.PULL_OFF, "t": Technique.HAMMER_ON}


@dataclass(frozen=True, slots=True)
class Stroke:
    """A note on a string.

    Attributes
    ----------
    column, width : int
        Where its fret stands in the bar.
    string : int
        0 for the top line.
    rise : float or None
        Semitones above the open string; None for a dead note.
    fret : int
        Fret it is stopped at, -1 where only what it sounds is said.
    held : bool
        Whether it is the note before, sounding on.
    """

    column: int
    width: int
    string: int
    rise: float | None
    fret: int = -1
    technique: Technique = _NONE
    held: bool = False


@dataclass(slots=True)
class Column:
    """What is struck together."""

    column: int
    end: int
    strokes: list[Stroke] = field(default_factory=list)


def columns_of(bar: TabBar, found: Counter[str], sounded: dict[int, float] | None = None) -> list[Column]:
    """What is struck in a bar, from left to right.

    Parameters
    ----------
    bar : TabBar
    found : Counter
        What had to be mended or guessed is counted in it, by what it is called.
    sounded : dict, optional
        String -> what it sounded last in the bars before; kept up to date.

    Examples
    --------
    >>> bar = TabBar(("-----", "-5h7-", "-----", "-5---"), 0)
    >>> [(c.column, [s.rise for s in c.strokes]) for c in columns_of(bar, Counter())]
    [(1, [5.0, 5.0]), (3, [7.0])]
    """
    before: dict[int, float] = {} if sounded is None else sounded
    strokes = [stroke for string, text in enumerate(bar.strings) for stroke in _strokes(text, string, found, before)]
    columns: list[Column] = []
    for stroke in sorted(strokes, key=lambda s: (s.column, s.string)):
        last = columns[-1] if columns else None
        # A two-digit fret reaches into the next column, where a one-digit fret of the same chord may stand.
        if last and stroke.column <= last.end and all(s.string != stroke.string for s in last.strokes):
            last.strokes.append(stroke)
            last.end = max(last.end, stroke.column + stroke.width - 1)
        else:
            columns.append(Column(stroke.column, stroke.column + stroke.width - 1, [stroke]))
    return columns


def _strokes(text: str, string: int, found: Counter[str], last: dict[int, float]) -> list[Stroke]:
    """Strokes of one string."""
    reader = _String(string, found, last.get(string))
    for token in _TOKEN.finditer(text):
        reader.take(token)
    if reader.before is not None:
        last[string] = reader.before
    return reader.strokes


class _String:
    """Reads one string from left to right; a sign waits for the note it leads to."""

    def __init__(self, string: int, found: Counter[str], before: float | None) -> None:
        self.string = string
        self.found = found
        #: What the string sounded last.
        self.before = before
        self.strokes: list[Stroke] = []
        self.waiting = _NONE
        self.waits_at = -NEAR - 1

    def take(self, token: re.Match[str]) -> None:
        """Take one token."""
        next(taker for name, taker in _TAKERS.items() if token[name])(self, token)

    def _add(
        self, column: int, width: int, rise: float | None, technique: Technique = _NONE, fret: int | None = None
    ) -> None:
        """A stroke with the signs that led to it."""
        own = fret if fret is not None else -1 if rise is None else int(rise)
        if column - self.waits_at <= NEAR:
            technique |= self.waiting
            if Technique.PRE_BEND in self.waiting and rise is not None:
                self.found["bend"] += 1
                rise += BEND
        self.waiting = _NONE
        self.before = rise
        self.strokes.append(Stroke(column, width, self.string, rise, own, technique))

    def _wait(self, technique: Technique, token: re.Match[str]) -> None:
        """Keep a sign for the note after it."""
        self.waiting = technique | (self.waiting if token.start() - self.waits_at <= 1 else _NONE)
        self.waits_at = token.end() - 1

    def _mark(self, technique: Technique, rise: float = 0.0) -> None:
        """Add to the note before."""
        if self.strokes and self.strokes[-1].rise is not None and not self.strokes[-1].held:
            last = self.strokes[-1]
            self.before = (last.rise or 0.0) + rise
            self.strokes[-1] = replace(last, technique=last.technique | technique, rise=self.before)

    def _harmonic(self, token: re.Match[str]) -> None:
        fret = int(token["node"])
        if fret not in NODES:
            self.found["harmonic"] += 1
        self._add(token.start(), len(token[0]), float(NODES.get(fret, fret)), Technique.HARMONIC, fret)

    def _held(self, token: re.Match[str]) -> None:
        fret, column = float(token["again"]), token.start() + 1
        if self.before == fret and not self.waiting:
            self.strokes.append(Stroke(column, len(token["again"]), self.string, fret, int(fret), held=True))
        else:
            self._add(column, len(token["again"]), fret)

    def _fret(self, token: re.Match[str]) -> None:
        column = token.start()
        numbers = list(_numbers(token[0]))
        self.found["digits"] += len(numbers) > 1
        for number in numbers:
            self._add(column, len(number), float(number))
            column += len(number)

    def _dead(self, token: re.Match[str]) -> None:
        self.found["dead"] += 1
        self._add(token.start(), 1, None)

    def _trill(self, _token: re.Match[str]) -> None:
        self._mark(Technique.TRILL)

    def _prebend(self, token: re.Match[str]) -> None:
        before = self.strokes[-1].rise if self.strokes else None
        if not token["reach"]:
            self._wait(Technique.PRE_BEND, token)
        elif before is not None and 0 < int(token["reach"]) - before <= BEND_MAX:
            self._mark(Technique.PRE_BEND, int(token["reach"]) - before)
        else:
            self._add(token.start("reach"), len(token["reach"]), float(token["reach"]), Technique.PRE_BEND, -1)

    def _bend(self, token: re.Match[str]) -> None:
        before = self.strokes[-1].rise if self.strokes else None
        if before is None:
            return
        if token["part"]:
            self._mark(Technique.BEND, _PARTS[token["part"]])
            return
        reach = float(token["target"]) - before if token["target"] else 0.0
        if not 0 < reach <= BEND_MAX:
            self.found["bend"] += 1
            reach = BEND
        self._mark(Technique.BEND, reach)

    def _release(self, token: re.Match[str]) -> None:
        follows = token.string[token.end() : token.end() + 2].lstrip("(")[:1].isdigit()
        if follows:
            self._wait(Technique.RELEASE, token)
        else:
            self._mark(Technique.RELEASE)

    def _legato(self, token: re.Match[str]) -> None:
        self._wait(_LEGATO[token[0].lower()], token)

    def _slide(self, token: re.Match[str]) -> None:
        if token.string[token.end() : token.end() + NEAR].strip("-(")[:1].isdigit():
            self._wait(Technique.SLIDE, token)
        else:
            self._mark(Technique.SLIDE)

    def _vibrato(self, _token: re.Match[str]) -> None:
        self._mark(Technique.VIBRATO)


#: Name of a token's group -> what takes it.
_TAKERS: dict[str, Callable[[_String, re.Match[str]], None]] = {
    "harmonic": _String._harmonic,
    "held": _String._held,
    "fret": _String._fret,
    "dead": _String._dead,
    "trill": _String._trill,
    "prebend": _String._prebend,
    "bend": _String._bend,
    "release": _String._release,
    "legato": _String._legato,
    "slide": _String._slide,
    "vibrato": _String._vibrato,
}


def _numbers(digits: str) -> Iterator[str]:
    """Frets of a run of digits: one of two digits, where that can be, else several.

    Examples
    --------
    >>> [list(_numbers(digits)) for digits in ("12", "57", "05", "1214", "123")]
    [['12'], ['5', '7'], ['0', '5'], ['12', '14'], ['12', '3']]
    """
    while digits:
        long = digits[0] != "0" and len(digits) > 1 and int(digits[:2]) <= FRET_MAX
        yield digits[: 2 if long else 1]
        digits = digits[2 if long else 1 :]
