"""The metrical grid: beats, bar lengths, weights, and where the bar lines lie.

Conventions: times are integer ticks, `TICKS` to a quarter note; a position `x` counts from its bar line;
weights are 0 on the bar line and fall by one a level (Longuet-Higgins & Lee 1984). 2/2 counts as 4/4
throughout (cut or common time is an editor's habit).

References
----------
.. [1] H. C. Longuet-Higgins & C. S. Lee, "The rhythmic interpretation of monophonic music",
   Music Perception 1(4):424-441, 1984.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, UsageError

__all__ = [
    "TICKS",
    "Bars",
    "Meter",
    "bar_length",
    "beat_length",
    "divisions",
    "is_compound",
    "lay_bars",
    "meter_at",
    "parse_meter",
    "plain_bars",
    "position_weight",
    "regular_spans",
]

#: Ticks to a quarter note: exact for 128th notes, triplets, quintuplets and septuplets.
TICKS = 10080

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter and the tick from which it is in force.

    Raises
    ------
    InputError
        If the numerator is not in 1..64 or the denominator not a power of two up to 64.
    """

    onset: int
    numerator: int
    denominator: int

    def __post_init__(self) -> None:
        if not 1 <= self.numerator <= 64 or self.denominator not in (1, 2, 4, 8, 16, 32, 64):
            raise InputError(
                f"meter {self.numerator}/{self.denominator} is not a meter",
                mend="the upper number is 1 to 64, the lower 1, 2, 4, 8, 16, 32 or 64",
            )

    def __str__(self) -> str:
        return f"{self.numerator}/{self.denominator}"

    @property
    def beat(self) -> int:
        """Length of the felt beat in ticks."""
        return beat_length(self.numerator, self.denominator)

    @property
    def bar(self) -> int:
        """Length of a full bar in ticks."""
        return bar_length(self.numerator, self.denominator)

    @property
    def compound(self) -> bool:
        """Whether a beat is made of three units."""
        return is_compound(self.numerator, self.denominator)


def parse_meter(text: str, onset: int = 0) -> Meter:
    """Read a meter as people write it.

    Raises
    ------
    UsageError
        If it isn't one.

    Examples
    --------
    >>> str(parse_meter("6/8")), str(parse_meter(" 4 / 4 "))
    ('6/8', '4/4')
    """
    found = re.fullmatch(r"\s*(\d{1,2})\s*/\s*(\d{1,2})\s*", text, re.ASCII)
    try:
        if found:
            return Meter(onset, int(found[1]), int(found[2]))
    except InputError as error:
        raise UsageError(error.what, where="meter", mend=error.mend) from None
    raise UsageError(f"{text!r} is not a meter", mend='write it like "4/4" or "6/8"')


def bar_length(numerator: int, denominator: int) -> int:
    """Length of a full bar in ticks.

    Examples
    --------
    >>> bar_length(6, 8) / TICKS
    3.0
    """
    return numerator * 4 * TICKS // denominator


def is_compound(numerator: int, denominator: int) -> bool:
    """Whether a beat is made of three units: 6/8, 9/8, 12/8, 3/8, 6/16, ...; players count 6/4 and 9/4 in quarters."""
    return numerator % 3 == 0 and denominator >= 8 and (numerator > 3 or denominator <= 16)


def beat_length(numerator: int, denominator: int) -> int:
    """Length of the felt beat in ticks: 4/4 a quarter, 6/8 a dotted quarter, 3/8 its whole bar, 2/2 a quarter.

    Examples
    --------
    >>> [beat_length(*m) / TICKS for m in ((4, 4), (6, 8), (3, 8), (3, 2), (7, 8), (2, 2))]
    [1.0, 1.5, 1.5, 2.0, 0.5, 1.0]
    """
    if (numerator, denominator) == (2, 2):
        return TICKS
    unit = 4 * TICKS // denominator
    return 3 * unit if is_compound(numerator, denominator) else unit


@lru_cache(maxsize=256)
def divisions(numerator: int, denominator: int) -> tuple[int, ...]:
    """Division list of a meter, the bar's first, down to the 32nd note.

    Examples
    --------
    >>> divisions(4, 4), divisions(6, 8), divisions(5, 4)
    ((2, 2, 2, 2, 2), (2, 3, 2, 2), (5, 2, 2, 2))
    """
    beat = beat_length(numerator, denominator)
    count = bar_length(numerator, denominator) // beat
    factors = _beat_factors(count)
    unit = beat
    if is_compound(numerator, denominator):
        factors.append(3)
        unit //= 3
    while unit > TICKS // 8:
        factors.append(2)
        unit //= 2
    return tuple(factors)


def _beat_factors(count: int) -> list[int]:
    """Factors of a beat count, 2s before 3s; a count with any other factor is one additive level."""
    twos, rest = 0, count
    while rest % 2 == 0:
        twos, rest = twos + 1, rest // 2
    threes = 0
    while rest % 3 == 0:
        threes, rest = threes + 1, rest // 3
    if rest != 1:
        return [count]
    return [2] * twos + [3] * threes


@lru_cache(maxsize=65536)
def position_weight(x: int, numerator: int, denominator: int) -> int:
    """Metrical weight of a position.

    Parameters
    ----------
    x : int
        Ticks from the bar line.
    numerator, denominator : int
        The meter in force.

    Returns
    -------
    int
        0 on the bar line, -L where level L of the division list first has the position. Off the grid: the
        weight of the plain notes it stands for, -(L+1) on the thirds of a unit of level L (the beat's or
        finer, the coarsest that fits), -(L+2) on its fifths or sevenths, else the lowest weight - 1.

    References
    ----------
    Longuet-Higgins & Lee 1984; the rule off the grid is the feature dictionary's own.

    Examples
    --------
    >>> [position_weight(i * TICKS // 2, 4, 4) for i in range(8)]
    [0, -3, -2, -3, -1, -3, -2, -3]
    >>> position_weight(TICKS // 3, 4, 4)
    -3
    """
    full = bar_length(numerator, denominator)
    x %= full
    if x == 0:
        return 0
    units = [full]
    for factor in divisions(numerator, denominator):
        units.append(units[-1] // factor)
    for level, unit in enumerate(units):
        if x % unit == 0:
            return -level
    floor = -len(units)
    first = units.index(beat_length(numerator, denominator))
    for extra, parts in ((1, (3,)), (2, (5, 7))):
        for level in range(first, len(units)):
            if any(x * part % units[level] == 0 for part in parts):
                return max(floor, -(level + extra))
    return floor


def meter_at(meters: Sequence[Meter], onset: int) -> Meter:
    """Meter in force at a tick; the first one also before its own onset."""
    found = meters[0]
    for meter in meters[1:]:
        if meter.onset > onset:
            break
        found = meter
    return found


@dataclass(frozen=True, slots=True)
class Bars:
    """Where the bars lie: one entry a bar, in order.

    Attributes
    ----------
    line : ndarray of shape (n_bars,)
        Tick of the bar line positions count from. A pickup's lies before its first note.
    end : ndarray of shape (n_bars,)
        Tick at which the bar ends.
    number : ndarray of shape (n_bars,)
        Place in the printed order: 1 for the first bar, 0 for a pickup. The parts of an overfull bar share one.
    """

    line: Ints
    end: Ints
    number: Ints

    def __post_init__(self) -> None:
        for array in (self.line, self.end, self.number):
            array.setflags(write=False)


def regular_spans(meters: Sequence[Meter], start: int, end: int) -> list[tuple[int, int]]:
    """Spans (start, length) of full bars from `start` until `end` is covered, a change of meter starting a new bar.

    Examples
    --------
    >>> regular_spans((Meter(0, 4, 4),), 0, 5 * TICKS)
    [(0, 40320), (40320, 40320)]
    """
    spans: list[tuple[int, int]] = []
    now = start
    changes = [m.onset for m in meters[1:] if m.onset > start]
    while now < end or not spans:
        length = meter_at(meters, now).bar
        upcoming = [c for c in changes if now < c < now + length]
        if upcoming:
            length = upcoming[0] - now
        spans.append((now, length))
        now += length
    return spans


def lay_bars(
    spans: Sequence[tuple[int, int]], meters: Sequence[Meter], *, pickup: bool = True, join: bool = True
) -> Bars:
    """Lay bar lines over printed bars.

    A first bar shorter than the meter's is a pickup at the END of a full bar; two neighbouring short bars that
    make one full bar are one; an overfull bar starts anew at its meter's length; any other short bar counts
    from its own line.

    Parameters
    ----------
    spans : sequence of (start, length)
        The printed bars in ticks, in order; bars without length are passed over.
    meters : sequence of Meter
        The meters in force.
    pickup : bool
        Whether a short first bar is a pickup.
    join : bool
        Whether two short bars may make one.

    Returns
    -------
    Bars

    Examples
    --------
    >>> q = TICKS
    >>> bars = lay_bars([(0, q), (q, 4 * q), (5 * q, 3 * q), (8 * q, q)], (Meter(0, 4, 4),))
    >>> [int(v) // q for v in bars.line], [int(v) for v in bars.number]
    ([-3, 1, 5], [0, 1, 2])
    """
    rows: list[tuple[int, int, int]] = []
    number = 0
    kept = [(start, length) for start, length in spans if length > 0]
    index = 0
    while index < len(kept):
        start, length = kept[index]
        full = meter_at(meters, start).bar
        if index == 0 and pickup and length < full:
            rows.append((start + length - full, start + length, 0))
            index += 1
            continue
        number += 1
        if join and length < full and _completes(kept, index, full, meters):
            length += kept[index + 1][1]
            index += 1
        line = start
        while line < start + length:
            end = min(line + full, start + length)
            rows.append((line, end, number))
            line = end
        index += 1
    table = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return Bars(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy())


def plain_bars(onset: Ints, duration: Ints | None, meters: Sequence[Meter]) -> Bars:
    """The full bars that hold these notes where a table names no bars: from tick 0, or from before the first note.

    Parameters
    ----------
    onset, duration : ndarray of shape (n_notes,)
        Ticks; `duration` may be None.
    meters : sequence of Meter

    Returns
    -------
    Bars
    """
    first, last = (int(onset[0]), int(onset[-1])) if len(onset) else (0, 0)
    end = last + (1 if duration is None else int(duration[-1]))
    full = meter_at(meters, 0).bar
    start = min(0, first // full * full)
    return lay_bars(regular_spans(meters, start, max(end, last + 1)), meters)


def _completes(spans: Sequence[tuple[int, int]], index: int, full: int, meters: Sequence[Meter]) -> bool:
    """Whether the short bar at `index` and the one after it make one full bar of one meter."""
    if index + 1 >= len(spans):
        return False
    start, length = spans[index]
    following, more = spans[index + 1]
    same = meter_at(meters, following)
    return start + length == following and length + more == full and same.onset <= start
