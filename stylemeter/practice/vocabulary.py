"""What a player leans on: the figures of a take, against a style and against the player's other takes.

Conventions: a *figure* is a pattern of three intervals or more that comes back within the take, told at its full
length; notes are numbered from 0; what can't be told is NaN with a reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stylemeter.features import Base
from stylemeter.music.melody import Melody
from stylemeter.style.effects import log_odds
from stylemeter.style.patterns import KINDS, Kind, Lines, Repeats, closed_repeats, line_bytes, possible
from stylemeter.style.ranks import benjamini_hochberg
from stylemeter.style.vocabulary import (
    LENGTHS,
    STOCK_LENGTH,
    UNDER_LEAST,
    Style,
    Vocabulary,
    cover,
    covered_notes,
    over_pool,
    over_score,
    under_score,
)

__all__ = [
    "LEANED",
    "Figure",
    "Missed",
    "Shared",
    "Stock",
    "TakeVocabulary",
    "shared_figures",
    "take_vocabulary",
    "vocabularies",
]

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

#: Share of the style's own tunes that may lean on a figure as strongly where it is said that the player leans on it.
LEANED = 0.05
#: Notes of the style that the prior stands for in the log-odds ratio.
PRIOR = 100.0
#: Share of a figure's notes that lie in figures told before it from which on it is part of them.
TOLD = 0.6


@dataclass(frozen=True)
class Figure:
    """A pattern that comes back.

    Attributes
    ----------
    kind : {"intervals", "rhythm", "degrees"}
    pattern : str
        In writing, see `Lines.text`.
    length : int
        Intervals: one less than its notes.
    places : tuple of int
        Note each occurrence starts at.
    rate : float
        Occurrences a hundred notes.
    style_count, style_families : int
        In the style; 0 where fewer than three families share it or it is longer than ten intervals.
    style_rate : float
        A hundred notes of the style; NaN where it is not known.
    expected : float
        Occurrences to be expected in so many notes.
    log_odds, z : float
        Against the style, see `effects.log_odds`.
    p : float
        Of the patterns that come back in the style's own tunes, the share that take up as much of their tune beyond
        what is to be expected of them.
    q : float
        Adjusted over the patterns tried (Benjamini-Hochberg).
    tunes : float
        Share of the style's tunes of this length whose strongest figure is as strong.
    ends, begins : int
        Phrases it ends and begins.
    same_rhythm, same_degree : int
        Most occurrences in one rhythm, and from one degree.
    inside : bool
        Whether most of it lies in figures told before it.
    """

    kind: Kind
    pattern: str
    length: int
    places: tuple[int, ...]
    rate: float
    style_count: int = 0
    style_families: int = 0
    style_rate: float = math.nan
    expected: float = math.nan
    log_odds: float = math.nan
    z: float = math.nan
    p: float = math.nan
    q: float = math.nan
    tunes: float = math.nan
    ends: int = 0
    begins: int = 0
    same_rhythm: int = 0
    same_degree: int = 0
    inside: bool = False

    @property
    def count(self) -> int:
        """How often it occurs."""
        return len(self.places)

    @property
    def leaned_on(self) -> bool:
        """Whether few of the style's own tunes lean on a figure as strongly."""
        return self.tunes <= LEANED


@dataclass(frozen=True)
class Missed:
    """A pattern common in the style, and how often the take has it; the numbers are as in `Figure`."""

    kind: Kind
    pattern: str
    length: int
    count: int
    expected: float
    style_count: int
    style_families: int
    style_rate: float
    log_odds: float
    z: float
    p: float
    q: float = math.nan
    tunes: float = math.nan

    @property
    def avoided(self) -> bool:
        """Whether few of the style's own tunes play a common pattern as rarely."""
        return self.tunes <= LEANED


@dataclass(frozen=True, slots=True)
class Stock:
    """What a take's figures of six notes are made of, as shares of its notes.

    Attributes
    ----------
    own : float
        In figures that earlier takes hold; NaN for the first.
    common : float
        In figures that three of the style's tune families share; NaN without a style.
    both : float
        In both.
    new : float
        In neither.
    usual : tuple of float
        Range of `common` that holds the middle nine tenths of the style's own tunes, and its middle.
    """

    own: float
    common: float
    both: float
    new: float
    usual: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class TakeVocabulary:
    """All that is said of a take's vocabulary.

    Attributes
    ----------
    melody : Melody
    phrases : int
    figures : tuple of Figure
        Those to be told first; those inside others behind them.
    missed : tuple of Missed
        The rarest first.
    stock : Stock
    tried : int
        Patterns q is adjusted over.
    reason : str
        Why the take can't be judged against the style; empty where it can.
    stretches : int
        In how many stretches of the take the counts are judged: a take longer than the style's tunes is parted.
    """

    melody: Melody
    phrases: int
    figures: tuple[Figure, ...]
    missed: tuple[Missed, ...]
    stock: Stock
    tried: int
    reason: str
    stretches: int

    @property
    def told(self) -> tuple[Figure, ...]:
        """Figures each told once."""
        return tuple(f for f in self.figures if not f.inside)


def vocabularies(melodies: Sequence[Melody], vocabulary: Vocabulary | None) -> list[TakeVocabulary]:
    """Vocabulary of takes in the order given; each after the first is compared with those before it."""
    found: list[TakeVocabulary] = []
    earlier: set[str] = set()
    for melody in melodies:
        take = _Take(melody)
        found.append(_take_vocabulary(take, vocabulary, earlier if found else None))
        earlier |= set(take.texts("intervals", STOCK_LENGTH).values())
    return found


def take_vocabulary(melody: Melody, vocabulary: Vocabulary | None) -> TakeVocabulary:
    """Vocabulary of one take.

    Parameters
    ----------
    melody : Melody
    vocabulary : Vocabulary or None
        Of the style to compare with.
    """
    return _take_vocabulary(_Take(melody), vocabulary, None)


class _Take:
    """A take's lines, and the patterns in it."""

    def __init__(self, melody: Melody) -> None:
        self.melody = melody
        self.lines = Lines.of([line_bytes(Base(melody))])
        self.reach = {kind: possible(self.lines, kind) for kind in KINDS}

    def texts(self, kind: Kind, length: int) -> dict[int, str]:
        """Every pattern of a length, by the note it starts at."""
        starts = np.flatnonzero(self.reach[kind] >= length).tolist()
        return {note: self.lines.text(kind, note, length) for note in starts}

    def places(self, kind: Kind, length: int) -> int:
        """How many patterns of a length there are."""
        return int((self.reach[kind] >= length).sum())


def _take_vocabulary(take: _Take, vocabulary: Vocabulary | None, earlier: set[str] | None) -> TakeVocabulary:
    notes = len(take.melody)
    figures = [f for kind in KINDS for f in _figures(take, kind)]
    missed: list[Missed] = []
    reason, stretches = "", 1
    if vocabulary is None:
        reason = "no style was named to compare with"
    elif not vocabulary.styles:
        reason = "the style has too few tune families to say what its own tunes do"
    elif notes < vocabulary.styles[0].notes:
        reason = f"{notes} notes are too few: {vocabulary.styles[0].notes} are the least"
    else:
        longest = vocabulary.styles[-1].notes
        stretches = 1 if notes <= 1.25 * longest else math.ceil(notes / longest)
        rungs = vocabulary.rungs(-(-notes // stretches))
        figures = [_judged(f, take, vocabulary, rungs, stretches) for f in figures]
        # how far a pattern falls short grows with the take, so that it can't be judged by shorter tunes
        missed = _missed(take, vocabulary, rungs) if notes <= longest else []
        # one adjustment over all that was tried, whichever way it differs
        q = benjamini_hochberg([*(f.p for f in figures), *(m.p for m in missed)])
        figures = [replace(f, q=float(v)) for f, v in zip(figures, q, strict=False)]
        missed = [replace(m, q=float(v)) for m, v in zip(missed, q[len(figures) :], strict=True)]
    return TakeVocabulary(
        melody=take.melody,
        phrases=int(take.lines.ends.sum()),
        figures=_told_once(figures, notes),
        missed=_missed_once(missed),
        stock=_stock(take, vocabulary, earlier),
        tried=len(figures) + len(missed),
        reason=reason,
        stretches=stretches,
    )


# -- figures -------------------------------------------------------------------------------------------------------


def _figures(take: _Take, kind: Kind) -> list[Figure]:
    found = closed_repeats(take.lines, kind)
    return [
        _figure(take, kind, length, places) for length, places in zip(found.length.tolist(), found.places, strict=True)
    ]


def _figure(take: _Take, kind: Kind, length: int, places: Ints) -> Figure:
    lines = take.lines
    last = places + length
    begins = np.concatenate(([True], lines.ends[:-1]))
    return Figure(
        kind=kind,
        pattern=lines.text(kind, int(places[0]), length),
        length=length,
        places=tuple(places.tolist()),
        rate=100 * len(places) / len(lines),
        ends=int(lines.ends[last].sum()),
        begins=int(begins[places].sum()),
        same_rhythm=_most_alike(lines.time, places, length),
        same_degree=_most_alike(lines.degree, places, 1) if lines.degree[places[0]] < 12 else 0,
    )


def _most_alike(symbols: npt.NDArray[np.uint8], places: Ints, length: int) -> int:
    """Occurrences that share their symbols, at most."""
    rows = symbols[places[:, None] + np.arange(length)[None, :]]
    return int(np.unique(rows, axis=0, return_counts=True)[1].max())


def _judged(
    figure: Figure, take: _Take, vocabulary: Vocabulary, rungs: Sequence[tuple[Style, float]], stretches: int
) -> Figure:
    """Compare a figure with the style."""
    row = vocabulary.index(figure.kind).get(figure.pattern) if figure.length in LENGTHS else None
    there = vocabulary.places_of(figure.kind, figure.length)
    own_places = take.places(figure.kind, figure.length)
    count, families = (0, 0) if row is None else vocabulary.counts(figure.kind, row)
    expected = math.nan if row is None else own_places * count / there
    # a figure fewer than three families share is taken to occur once in the style: that is the most that is known
    told = max(1, count)
    delta, z = log_odds(figure.count, own_places, told, max(there, own_places + 1), PRIOR * told / max(there, 1), PRIOR)
    score = _score(figure, len(take.lines), 0.0 if row is None else expected, stretches)
    pool = over_pool(figure.kind, figure.length)
    p = sum(w * s.p("over", pool, score) for s, w in rungs)
    # the best of several stretches: each bound is that of one of them, as often as there are stretches
    tunes = min(1.0, stretches * sum(w * s.tunes("over", p) for s, w in rungs))
    p = min(1.0, stretches * p)
    return replace(
        figure,
        style_count=count,
        style_families=families,
        style_rate=math.nan if row is None else vocabulary.per_hundred(figure.kind, figure.length, count),
        expected=expected,
        log_odds=float(delta),
        z=float(z),
        p=p,
        tunes=tunes,
    )


def _score(figure: Figure, notes: int, expected: float, stretches: int) -> float:
    """What a figure takes up beyond what is to be expected, in the stretch where that is most."""
    places = np.array(figure.places)
    of = np.minimum(places * stretches // notes, stretches - 1)
    covered = max(covered_notes(places[of == i], figure.length) for i in np.unique(of).tolist())
    return over_score(covered, expected / stretches, figure.length, -(-notes // stretches))


def _told_once(figures: list[Figure], notes: int) -> tuple[Figure, ...]:
    """Figures in the order they are told, those that lie in others told before marked and put behind."""

    def order(figure: Figure) -> tuple[object, ...]:
        # interval figures first: what they share in rhythm and degree is said with them
        return (not figure.leaned_on, -figure.length * figure.count, KINDS.index(figure.kind), figure.places)

    covered = np.zeros(notes, dtype=bool)
    told, inside = [], []
    for figure in sorted(figures, key=order):
        own = cover(np.array(figure.places), figure.length, notes)
        if (own & covered).sum() >= TOLD * own.sum():
            inside.append(replace(figure, inside=True))
        else:
            told.append(figure)
            covered |= own
    return (*told, *inside)


# -- what the style has and the take hasn't ------------------------------------------------------------------------


def _missed(take: _Take, vocabulary: Vocabulary, rungs: Sequence[tuple[Style, float]]) -> list[Missed]:
    """Patterns to be expected in the take, and how often it has them."""
    found = []
    for kind in KINDS:
        lengths, counts = vocabulary.column(kind, "length"), vocabulary.column(kind, "count")
        for length in LENGTHS:
            own_places, there = take.places(kind, length), vocabulary.places_of(kind, length)
            if not own_places or not there:
                continue
            rows = np.flatnonzero((lengths == length) & (counts * own_places >= UNDER_LEAST * there))
            if not len(rows):
                break
            played: dict[str, int] = {}
            for text in take.texts(kind, length).values():
                played[text] = played.get(text, 0) + 1
            for row in rows.tolist():
                one = _one_missed(kind, length, row, played, own_places, vocabulary, rungs)
                found.append(one)
    return found


def _one_missed(
    kind: Kind,
    length: int,
    row: int,
    played: dict[str, int],
    own_places: int,
    vocabulary: Vocabulary,
    rungs: Sequence[tuple[Style, float]],
) -> Missed:
    text = vocabulary.column(kind, "pattern")[row]
    there = vocabulary.places_of(kind, length)
    count, families = vocabulary.counts(kind, row)
    own, expected = played.get(text, 0), own_places * count / there
    delta, z = log_odds(own, own_places, count, there, PRIOR * count / there, PRIOR)
    p = sum(w * s.p("under", kind, under_score(own, expected)) for s, w in rungs)
    return Missed(
        kind=kind,
        pattern=text,
        length=length,
        count=own,
        expected=expected,
        style_count=count,
        style_families=families,
        style_rate=vocabulary.per_hundred(kind, length, count),
        log_odds=float(delta),
        z=float(z),
        p=p,
        tunes=min(1.0, sum(w * s.tunes("under", p) for s, w in rungs)),
    )


def _missed_once(missed: Sequence[Missed]) -> tuple[Missed, ...]:
    """The rarest first; a longer pattern that holds one told before it is left to that one."""
    told: list[Missed] = []
    for m in sorted(missed, key=lambda m: (m.p, m.length, KINDS.index(m.kind), -m.expected, m.pattern)):
        if not any(t.kind == m.kind and f" {t.pattern} " in f" {m.pattern} " for t in told):
            told.append(m)
    return tuple(told)


# -- stock ---------------------------------------------------------------------------------------------------------


def _stock(take: _Take, vocabulary: Vocabulary | None, earlier: set[str] | None) -> Stock:
    """Shares of the notes in figures of six notes the player or the style had before."""
    texts = take.texts("intervals", STOCK_LENGTH)
    notes = len(take.lines)

    def covered(known: object) -> Bools:
        starts = [note for note, text in texts.items() if text in known]  # type: ignore[operator]
        return cover(np.array(starts, dtype=np.int64), STOCK_LENGTH, notes)

    none = np.zeros(notes, dtype=bool)
    own = none if earlier is None else covered(earlier)
    common = none if vocabulary is None else covered(vocabulary.index("intervals"))
    usual = (math.nan, math.nan, math.nan)
    if vocabulary is not None and (rungs := vocabulary.rungs(notes)) and notes >= vocabulary.styles[0].notes:
        low, high, middle = np.average([s.stock for s, _ in rungs], axis=0, weights=[w for _, w in rungs]).tolist()
        usual = (low, high, middle)

    def share(mask: Bools) -> float:
        return float(mask.mean()) if notes else math.nan

    return Stock(
        math.nan if earlier is None else share(own),
        math.nan if vocabulary is None else share(common),
        math.nan if earlier is None or vocabulary is None else share(own & common),
        math.nan if earlier is None and vocabulary is None else share(~(own | common)),
        usual,
    )


# -- between takes -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shared:
    """A figure that several takes hold.

    Attributes
    ----------
    pattern : str
    length : int
    places : tuple of (int, int)
        Take and note each occurrence starts at.
    takes : int
        Takes that hold it.
    style_families : int
        Families of the style that share it; 0 where fewer than three do, or without a style.
    """

    pattern: str
    length: int
    places: tuple[tuple[int, int], ...]
    takes: int
    style_families: int


def shared_figures(
    melodies: Sequence[Melody], vocabulary: Vocabulary | None, *, shortest: int = STOCK_LENGTH
) -> tuple[Shared, ...]:
    """Figures of six notes or more that two takes or more hold, those in most takes first, each told once."""
    lines = Lines.of([line_bytes(Base(m)) for m in melodies])
    known = {} if vocabulary is None else vocabulary.index("intervals")
    repeats: Repeats = closed_repeats(lines, "intervals", shortest=shortest, together=True)
    rows = []
    for length, places in zip(repeats.length.tolist(), repeats.places, strict=True):
        takes = len(set(lines.melody[places].tolist()))
        if takes >= 2:
            rows.append((takes, length, places))
    rows.sort(key=lambda r: (-r[0], -r[1] * len(r[2]), int(r[2][0])))
    covered = np.zeros(len(lines), dtype=bool)
    found = []
    for takes, length, places in rows:
        own = cover(places, length, len(lines))
        if (own & covered).sum() >= TOLD * own.sum():
            continue
        covered |= own
        text = lines.text("intervals", int(places[0]), length)
        families = vocabulary.counts("intervals", known[text])[1] if vocabulary and text in known else 0
        where = tuple((int(lines.melody[p]), int(p - lines.start[lines.melody[p]])) for p in places.tolist())
        found.append(Shared(text, length, where, takes, families))
    return tuple(found)
