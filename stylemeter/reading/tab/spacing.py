"""When the columns of a tablature sound where nothing says so: guessed from how they are spaced.

Conventions: the columns of a bar are taken for even parts of it, each struck column for the nearest sixteenth or
triplet eighth. Columns before beat 1 are a typist's habit, the same in most bars of a file. A guess is only made where
the bar lines make sense: a whole line of tablature is no bar, and what falls between the parts of the beat all along
was spaced for the eye. All of this is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from math import gcd

from stylemeter.music.meter import TICKS, Meter

__all__ = ["Spaced", "by_spacing", "make_sense"]

#: Most columns before beat 1.
LEAD_MAX = 4
#: What another reading must be better by (share of a bar): triplets than sixteenths, a margin of a column more, notes
#: a level further from the beat, another lead than most bars have.
_TRIPLET_PRICE, _MARGIN_PRICE, _PHASE_PRICE, _HABIT_PRICE = 0.006, 0.002, 0.01, 0.02
#: Parts of the beat that an even spacing may stand for.
_PARTS = (1, 2, 3, 4)
#: Values that notes evenly spaced over a bar may have: halves of halves, and thirds.
_PLAIN = frozenset(TICKS * 2 // part for part in (1, 2, 4, 8, 3, 6))
#: Notes and columns above which a line's only bar is taken for a whole line.
NOTES_A_BAR, COLUMNS_A_BAR = 8, 48
#: Distance from the grid (in its own parts) beyond which a bar is spaced for the eye, and share of such notes from
#: which a file is.
_OFF, _OFF_SHARE = 0.15, 1 / 4


@dataclass(frozen=True, slots=True)
class Spaced:
    """A bar to be guessed: its struck columns, rising, and how many columns it has."""

    columns: tuple[int, ...]
    width: int


@dataclass(frozen=True, slots=True)
class _Fit:
    """One way to read a bar."""

    cost: float
    off: float
    onsets: tuple[int, ...]


def by_spacing(bars: Sequence[Spaced], meter: Meter) -> tuple[list[tuple[int, ...]], float]:
    """Onsets of every bar, in ticks from its start, and the share of the notes that are off any grid.

    Parameters
    ----------
    bars : sequence of Spaced
        In order; those with no columns get no onsets.
    meter : Meter

    Examples
    --------
    >>> by_spacing([Spaced((1, 3, 5, 7), 9)], Meter(0, 4, 4))
    ([(0, 10080, 20160, 30240)], 0.0)
    >>> by_spacing([Spaced((2, 6, 10, 14), 17), Spaced((6, 10, 14), 17)], Meter(0, 4, 4))[0]
    [(0, 10080, 20160, 30240), (10080, 20160, 30240)]
    """
    fits = [_fits(bar, meter) for bar in bars]
    dearest = max((min(f.cost for f in by_lead.values()) for by_lead in fits if by_lead), default=0.0) + _HABIT_PRICE
    leads = range(LEAD_MAX + 1)
    total = {lead: sum(f[lead].cost if lead in f else dearest for f in fits if f) for lead in leads}
    usual = min(leads, key=lambda lead: (total[lead], abs(lead - 1)))
    onsets: list[tuple[int, ...]] = []
    off = 0
    for bar, by_lead in zip(bars, fits, strict=True):
        if not by_lead:
            onsets.append(tuple(meter.bar * i // len(bar.columns) for i in range(len(bar.columns))))
            off += len(bar.columns)
            continue
        best = min(by_lead, key=lambda lead: (by_lead[lead].cost + _HABIT_PRICE * (lead != usual), abs(lead - usual)))
        onsets.append(by_lead[best].onsets)
        off += len(bar.columns) * (by_lead[best].off > _OFF or _for_the_eye(bar, by_lead[best].onsets, meter))
    return onsets, off / max(1, sum(len(bar.columns) for bar in bars))


def make_sense(bars: Sequence[Spaced], alone: Sequence[bool], off: float) -> bool:
    """Whether the bar lines of these bars make sense.

    Parameters
    ----------
    bars : sequence of Spaced
    alone : sequence of bool
        Which of them are the only one of their line.
    off : float
        As `by_spacing` gives it.
    """
    crowded = [len(b.columns) > NOTES_A_BAR or b.width > COLUMNS_A_BAR for b in bars]
    lines = sum(len(bar.columns) for bar, c, a in zip(bars, crowded, alone, strict=True) if c and a)
    return off <= _OFF_SHARE and lines <= _OFF_SHARE * sum(len(bar.columns) for bar in bars)


def _fits(bar: Spaced, meter: Meter) -> dict[int, _Fit]:
    """The cheapest way to read a bar with each number of columns before beat 1."""
    best: dict[int, _Fit] = {}
    if not bar.columns:
        return {0: _Fit(0.0, 0.0, ())}
    for unit, price in ((TICKS // 4, 0.0), (TICKS // 3, _TRIPLET_PRICE)):
        if meter.bar % unit:
            continue
        parts = meter.bar // unit
        for lead, span, margin in _margins(bar, meter):
            exact = [(column - lead) / span * parts for column in bar.columns]
            places = [int(x + 0.5) for x in exact]
            if len(set(places)) < len(places) or places[-1] >= parts:
                continue
            off = sum(abs(x - place) for x, place in zip(exact, places, strict=True)) / len(places)
            onsets = tuple(place * unit for place in places)
            cost = off / parts + price + _MARGIN_PRICE * margin + _PHASE_PRICE * _phase(onsets, meter)
            if lead not in best or cost < best[lead].cost:
                best[lead] = _Fit(cost, off, onsets)
    return best


def _for_the_eye(bar: Spaced, onsets: Sequence[int], meter: Meter) -> bool:
    """Whether a bar is evenly spaced and yet no plain value goes into it so many times, as of five or seven notes."""
    gaps = {b - a for a, b in pairwise(bar.columns)}
    values = {b - a for a, b in pairwise(onsets)}
    if len(bar.columns) <= 3 or len(gaps) > 1:
        return False
    filled = bar.width - bar.columns[-1] <= min(gaps) + 1
    return not (len(values) == 1 and values <= _PLAIN and (not filled or onsets[-1] + min(values) >= meter.bar))


def _phase(onsets: Sequence[int], meter: Meter) -> float:
    """How far from the beat onsets lie on average: 0 on it, 1 on its halves, 2 elsewhere (1 on thirds)."""
    levels = {0: 0, meter.beat // 2: 1, meter.beat // 3: 1, 2 * meter.beat // 3: 1}
    return sum(levels.get(onset % meter.beat, 2) for onset in onsets) / len(onsets)


def _margins(bar: Spaced, meter: Meter) -> Iterator[tuple[int, int, float]]:
    """Columns before beat 1, columns of the whole bar's time, and how unusual these margins are in columns."""
    last = bar.columns[-1]
    # a bar whose gaps are all multiples of one is a number of them long, wherever its line stands
    step = reduce(gcd, (b - a for a, b in pairwise(bar.columns)), 0)
    even = [step * part * meter.bar // meter.beat for part in _PARTS] if step > 1 else []
    for lead in range(min(LEAD_MAX, bar.columns[0]) + 1):
        rest = bar.width - lead
        for span in dict.fromkeys([rest, rest + 1, rest - 1, *(s for s in even if abs(s - rest) <= step)]):
            if span > last - lead:
                yield lead, span, abs(lead - 1) + min(abs(span - rest), 2)
