"""Patterns: the runs of intervals a melody is made of, as symbols, and how often each occurs. Pure array work.

Conventions: many melodies lie end to end in one set of arrays, an entry a note. A *pattern* of L intervals starts at a
note and takes L + 1 of them. It is transposition-free. There are three kinds:

- ``intervals``: the semitones from note to note;
- ``rhythm``: the same with the time from onset to onset each takes, in quarters;
- ``degrees``: the L + 1 degrees above the tonic, octaves aside; only where the key is known.

Patterns are counted wherever they start, so occurrences may overlap (as n-grams are).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from stylemeter.features import Base
from stylemeter.music.meter import TICKS

__all__ = [
    "DEGREE_NAMES",
    "KINDS",
    "Counted",
    "Kind",
    "Lines",
    "Repeats",
    "closed_repeats",
    "count_patterns",
    "line_bytes",
    "pattern_counts",
    "possible",
]

Kind = Literal["intervals", "rhythm", "degrees"]
KINDS: tuple[Kind, ...] = get_args(Kind)

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]
Bools = npt.NDArray[np.bool_]

#: Degrees as said, in semitones above the tonic.
DEGREE_NAMES = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
#: Times from onset to onset that have a code, in quarters: what is commonly written. Others end a pattern with rhythm.
_TIMES = sorted(
    {Fraction(n, 12) for n in range(1, 49)}
    | {Fraction(n, 8) for n in range(1, 33)}
    | {Fraction(n, 5) for n in range(1, 6)}
    | {Fraction(1, 16), Fraction(3, 16), Fraction(1, 24), Fraction(1, 7), Fraction(2, 7), Fraction(4, 7)}
    | {Fraction(n) for n in (5, 6, 7, 8)}
)
_TIME_TICKS = np.array([int(t * TICKS) for t in _TIMES], dtype=np.int64)
#: Degree of a note without a key.
_NO_DEGREE = 12
#: Intervals are kept in a byte: none is wider than that of the lowest and the highest MIDI note.
_WIDEST = 127
_LARGEST = 2**62
#: Symbols a kind may have.
_ALPHABET = {"intervals": 256, "rhythm": 256 * 256, "degrees": 16}


def line_bytes(base: Base) -> bytes:
    """A melody as symbols: of each note the interval to the next, the time to it, its degree and where phrases end.

    Parameters
    ----------
    base : Base

    Returns
    -------
    bytes
        Four rows of n bytes, as `Lines.of` takes them.
    """
    n = base.n
    rows = np.zeros((4, n), dtype=np.uint8)
    if n:
        rows[0, :-1] = np.clip(base.k, -_WIDEST, _WIDEST).astype(np.int8).view(np.uint8)
        place = np.minimum(np.searchsorted(_TIME_TICKS, base.ioi), len(_TIME_TICKS) - 1)
        rows[1, :-1] = np.where(_TIME_TICKS[place] == base.ioi, place + 1, 0)
        rows[2] = _NO_DEGREE if base.degree is None else base.degree
        rows[3, :-1] = base.whole_line.ends_after
        rows[3, -1] = 1
    return rows.tobytes()


@dataclass(frozen=True, eq=False)
class Lines:
    """Melodies end to end, as symbols.

    Attributes
    ----------
    interval : ndarray of int8, shape (N,)
        To the next note; 0 at a melody's last.
    time : ndarray of uint8, shape (N,)
        Code of the time to the next onset, 0 for one without a code.
    degree : ndarray of uint8, shape (N,)
        0..11; 12 where the key is not known.
    ends : ndarray of bool, shape (N,)
        Whether a phrase ends with the note; a melody's last note always ends one.
    start : ndarray of shape (n_melodies + 1,)
        First note of each melody, and N.
    """

    interval: npt.NDArray[np.int8]
    time: Bytes
    degree: Bytes
    ends: Bools
    start: Ints

    @classmethod
    def of(cls, lines: Sequence[bytes]) -> Lines:
        """Put melodies end to end.

        Parameters
        ----------
        lines : sequence of bytes
            As `line_bytes` makes them.
        """
        sizes = [len(line) // 4 for line in lines]
        start = np.concatenate(([0], np.cumsum(sizes, dtype=np.int64)))
        table = np.empty((4, int(start[-1])), dtype=np.uint8)
        for line, a, b in zip(lines, start[:-1].tolist(), start[1:].tolist(), strict=True):
            table[:, a:b] = np.frombuffer(line, dtype=np.uint8).reshape(4, -1)
        return cls(table[0].view(np.int8), table[1], table[2], table[3].astype(bool), start)

    def __len__(self) -> int:
        return len(self.interval)

    @property
    def melodies(self) -> int:
        """How many melodies there are."""
        return len(self.start) - 1

    @cached_property
    def melody(self) -> npt.NDArray[np.int32]:
        """Melody each note belongs to."""
        return np.repeat(np.arange(self.melodies, dtype=np.int32), np.diff(self.start))

    def part(self, pieces: Sequence[tuple[int, int]]) -> Lines:
        """Stretches of notes as melodies of their own.

        Parameters
        ----------
        pieces : sequence of (start, stop)
            Notes, as numbered here.
        """
        index = np.concatenate([np.arange(a, b) for a, b in pieces]) if pieces else np.zeros(0, dtype=np.int64)
        start = np.concatenate(([0], np.cumsum([b - a for a, b in pieces], dtype=np.int64)))
        ends = self.ends[index].copy()
        ends[start[1:][np.diff(start) > 0] - 1] = True
        return Lines(self.interval[index], self.time[index], self.degree[index], ends, start)

    def symbols(self, kind: Kind) -> npt.NDArray[np.int32]:
        """Symbol of each note for a kind; -1 where it can't be part of a pattern."""
        if kind == "degrees":
            degree = self.degree.astype(np.int32)
            degree[degree == _NO_DEGREE] = -1
            return degree
        interval = self.interval.view(np.uint8).astype(np.int32)
        if kind == "intervals":
            return interval
        both = interval * 256 + self.time
        both[self.time == 0] = -1
        return both

    def reach(self, *, across: bool) -> npt.NDArray[np.int32]:
        """How many intervals follow each note before its phrase (or, across phrases, its melody) ends."""
        stops = np.zeros(len(self), dtype=bool)
        stops[self.start[1:][np.diff(self.start) > 0] - 1] = True
        if not across:
            stops |= self.ends
        last = np.flatnonzero(stops).astype(np.int32)
        # each note's own stretch ends with the next stop
        size = np.diff(np.concatenate(([-1], last)))
        ahead = np.repeat(last, size) - np.arange(len(self), dtype=np.int32)
        return ahead.astype(np.int32)

    def text(self, kind: Kind, note: int, length: int) -> str:
        """A pattern in writing: "-1 -1 2", "-1:1/2 2:1" (quarters) or "5 4 3 1".

        Parameters
        ----------
        kind : Kind
        note : int
            Where it starts.
        length : int
            Intervals.
        """
        if kind == "degrees":
            return " ".join(DEGREE_NAMES[d] for d in self.degree[note : note + length + 1].tolist())
        steps = self.interval[note : note + length].tolist()
        if kind == "intervals":
            return " ".join(map(str, steps))
        times = (_TIMES[code - 1] for code in self.time[note : note + length].tolist())
        return " ".join(f"{k}:{t}" for k, t in zip(steps, times, strict=True))


# -- counting ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Counted:
    """Patterns of one kind and length, counted.

    Attributes
    ----------
    kind : Kind
    length : int
        Intervals.
    places : ndarray of shape (n_places,)
        Every note a pattern of this kind and length starts at.
    first : ndarray of shape (n_patterns,)
        A note each pattern starts at, from which it can be read.
    count, families : ndarray of shape (n_patterns,)
        Occurrences, and tune families that have one.
    squares, products : ndarray of shape (n_patterns,)
        Sums over families: of a family's squared count, and of its count times its `places`.
    group : ndarray of shape (N,)
        Which of the patterns starts at a note; -1 where none that was kept.
    own : ndarray of shape (N,)
        Count of that pattern in the note's own family.
    family_places : ndarray of shape (n_families,)
        Places of each family.
    """

    kind: Kind
    length: int
    places: npt.NDArray[np.int32]
    first: npt.NDArray[np.int32]
    count: Ints
    families: Ints
    squares: Ints
    products: Ints
    group: npt.NDArray[np.int32]
    own: npt.NDArray[np.int32]
    family_places: Ints


def count_patterns(
    lines: Lines,
    kind: Kind,
    lengths: Sequence[int],
    *,
    family: Ints | None = None,
    across: bool = False,
    least_families: int = 1,
) -> Iterator[Counted]:
    """Count the patterns of a kind, length by length.

    Parameters
    ----------
    lines : Lines
    kind : Kind
    lengths : sequence of int
        Intervals, rising.
    family : ndarray of shape (n_melodies,), optional
        Tune family of each melody, numbers from 0; else each is one of its own.
    across : bool
        Whether a pattern may run on from one phrase into the next.
    least_families : int
        Families that must share a pattern for it to be kept.

    Yields
    ------
    Counted
        Patterns in the order of their first symbols.

    Notes
    -----
    A pattern shared by f families holds only patterns shared by f families or more, so that each length looks only
    where the one before was kept at both its ends: exact, and long patterns cost little.
    """
    symbol = lines.symbols(kind)
    own_family = np.arange(lines.melodies, dtype=np.int64) if family is None else family
    # numbers of notes and families in four bytes: of a large collection these arrays are most of the memory
    of_note = own_family.astype(np.int32)[lines.melody]
    number = int(own_family.max(initial=-1)) + 1
    extra = kind == "degrees"
    reach = possible(lines, kind, across=across)
    rank: npt.NDArray[np.int32] | None = None
    for length in range(1, max(lengths) + 1):
        places = np.flatnonzero(reach >= length).astype(np.int32)
        if rank is None:
            at = places
            key = symbol[at].astype(np.int64)
            if extra:
                key = key * _ALPHABET[kind] + symbol[at + 1]
        else:
            at = places[(rank[places] >= 0) & (rank[np.minimum(places + 1, len(lines) - 1)] >= 0)]
            key = rank[at].astype(np.int64) * _ALPHABET[kind] + symbol[at + length - 1 + extra]
        found = _group(kind, length, at, key, of_note, number, places, least_families, len(lines))
        rank = found.group
        if length in lengths:
            yield found


def possible(lines: Lines, kind: Kind, *, across: bool = False) -> npt.NDArray[np.int32]:
    """Most intervals a pattern from each note may have: up to its phrase's end and the first note without a symbol.

    Returns
    -------
    ndarray of shape (N,)
    """
    symbol, reach = lines.symbols(kind), lines.reach(across=across)
    bad = np.flatnonzero(symbol < 0).astype(np.int32)
    size = np.diff(np.concatenate(([-1], bad, [len(symbol) + len(reach)])))
    nearest = np.repeat(np.append(bad, np.int32(2**31 - 1 - len(symbol))), size)[: len(symbol)]
    ahead = nearest - np.arange(len(symbol), dtype=np.int32)
    return np.minimum(reach, ahead - (kind == "degrees"))


def _group(
    kind: Kind,
    length: int,
    at: npt.NDArray[np.int32],
    key: Ints,
    of_note: npt.NDArray[np.int32],
    number: int,
    places: npt.NDArray[np.int32],
    least: int,
    size: int,
) -> Counted:
    """Sort places by pattern and family and count them."""
    if int(key.max(initial=0)) < _LARGEST // max(1, number):
        # both in one number, which sorts in half the time
        key *= number
        key += of_note[at]
        order = np.argsort(key)
        key = key[order]
        new_run = np.ones(len(key), dtype=bool)
        new_run[1:] = key[1:] != key[:-1]
        key //= number
    else:
        order = np.lexsort((of_note[at], key))
        key = key[order]
        new_run = np.ones(len(key), dtype=bool)
        family = of_note[at[order]]
        new_run[1:] = (key[1:] != key[:-1]) | (family[1:] != family[:-1])
    at = at[order]
    del order
    run_start = np.flatnonzero(new_run)
    run_key = key[run_start]
    new_key = np.ones(len(run_key), dtype=bool)
    new_key[1:] = run_key[1:] != run_key[:-1]
    del key, new_run, run_key
    run = np.diff(np.append(run_start, len(at)))
    first_run = np.flatnonzero(new_key)
    families = np.diff(np.append(first_run, len(run)))
    family_places = np.bincount(of_note[places], minlength=number)
    keep = families >= least
    start = run_start[first_run]
    count = np.diff(np.append(start, len(at)))

    def summed(numbers: Ints) -> Ints:
        return np.add.reduceat(numbers, first_run)[keep] if len(first_run) else np.zeros(0, dtype=np.int64)

    squares = summed(run * run)
    products = summed(run * family_places[of_note[at[run_start]]])
    group = np.full(size, -1, dtype=np.int32)
    group[at] = np.repeat(np.where(keep, np.cumsum(keep) - 1, -1).astype(np.int32), count)
    own = np.zeros(size, dtype=np.int32)
    own[at] = np.repeat(run.astype(np.int32), run)
    # where it is told: the earliest place, whatever family that is
    first = np.minimum.reduceat(at, start)[keep] if len(start) else np.zeros(0, dtype=np.int32)
    return Counted(
        kind, length, places, first, count[keep], families[keep], squares, products, group, own, family_places
    )


def pattern_counts(
    lines: Lines, kind: Kind, length: int, *, across: bool = True, apart: bool = False, least: int = 1
) -> Iterator[tuple[str, int, int]]:
    """Count the patterns of one kind and length.

    Parameters
    ----------
    lines : Lines
    kind : Kind
    length : int
        Intervals.
    across : bool
        Whether a pattern may run on from one phrase into the next.
    apart : bool
        Whether an occurrence that begins inside the one before is left out.
    least : int
        Least count told.

    Yields
    ------
    pattern, count, melodies
        The commonest first, patterns of one count in the order of their symbols.
    """
    for found in count_patterns(lines, kind, [length], across=across):
        count = _count_apart(found) if apart else found.count
        order = np.argsort(-count, kind="stable")
        for i in order[: int((count >= least).sum())].tolist():
            yield lines.text(kind, int(found.first[i]), length), int(count[i]), int(found.families[i])


def _count_apart(found: Counted) -> Ints:
    """Occurrences of each pattern, taken from left to right, that don't begin inside the one taken before."""
    at = np.flatnonzero(found.group >= 0)
    order = np.argsort(found.group[at], kind="stable")
    at, group = at[order], found.group[at][order]
    near = (np.diff(at) < found.length) & (group[1:] == group[:-1])
    count = found.count.copy()
    start = np.concatenate(([0], np.cumsum(count)))
    for i in np.unique(group[1:][near]).tolist():
        taken, last = 0, -found.length
        for note in at[start[i] : start[i + 1]].tolist():
            if note >= last + found.length:
                taken, last = taken + 1, note
        count[i] = taken
    return count


# -- what comes back within a melody -------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Repeats:
    """Patterns that come back within their melody, each told at its full length.

    Attributes
    ----------
    melody, first, length, count : ndarray of shape (n_repeats,)
        Which melody, a note each starts at, its intervals, how often it occurs.
    places : list of ndarray
        Notes each starts at.
    """

    melody: Ints
    first: Ints
    length: Ints
    count: Ints
    places: list[Ints]


def closed_repeats(
    lines: Lines, kind: Kind, *, shortest: int = 3, across: bool = False, together: bool = False
) -> Repeats:
    """Find the patterns that come back, where no longer one comes back as often.

    Parameters
    ----------
    lines : Lines
    kind : Kind
    shortest : int
        Intervals of the shortest.
    across : bool
        Whether a pattern may run on from one phrase into the next.
    together : bool
        Whether a pattern counts as coming back in another melody too.

    Returns
    -------
    Repeats
        By melody, then length, then first place. A pattern all of whose occurrences go on (or are come to) with the
        same interval is part of the longer one and is not told.
    """
    symbol = lines.symbols(kind).astype(np.int64)
    extra = kind == "degrees"
    reach = possible(lines, kind, across=across)
    at = np.arange(len(lines), dtype=np.int64)
    melody = np.zeros_like(lines.melody) if together else lines.melody
    rank = np.zeros(len(lines), dtype=np.int64)
    rows: list[tuple[int, Ints]] = []
    length = 0
    while len(at):
        length += 1
        at = at[reach[at] >= length]
        # melodies apart from the start: each later length goes on from groups within one melody
        key = melody[at].astype(np.int64) if length == 1 else rank[at]
        if length == 1 and extra:
            key = key * _ALPHABET[kind] + symbol[at]
        key = key * _ALPHABET[kind] + symbol[at + length - 1 + extra]
        order = np.argsort(key, kind="stable")
        at, key = at[order], key[order]
        start = (
            np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1]))) if len(key) else np.zeros(0, dtype=np.int64)
        )
        count = np.diff(np.append(start, len(key)))
        rank[at] = np.repeat(np.arange(len(start)), count)
        again = np.repeat(count >= 2, count)
        if length >= shortest and len(start):
            rows += _closed(symbol, reach, at, start, count, length, extra)
        at = np.sort(at[again])
    rows.sort(key=lambda row: (int(melody[row[1][0]]), row[0], int(row[1][0])))
    first = np.array([places[0] for _, places in rows], dtype=np.int64)
    return Repeats(
        melody[first].astype(np.int64),
        first,
        np.array([size for size, _ in rows], dtype=np.int64),
        np.array([len(places) for _, places in rows], dtype=np.int64),
        [places for _, places in rows],
    )


def _closed(
    symbol: Ints, reach: npt.NDArray[np.int32], at: Ints, start: Ints, count: Ints, length: int, extra: bool
) -> list[tuple[int, Ints]]:
    """Groups that come back and whose neighbours differ on both sides: their length and where they start."""
    size = len(symbol)
    after = np.where(reach[at] > length, symbol[np.minimum(at + length + extra, size - 1)], -1)
    before = np.where((at > 0) & (reach[at - 1] > length), symbol[at - 1], -1)
    told = count >= 2
    for side in (after, before):
        low, high = np.minimum.reduceat(side, start), np.maximum.reduceat(side, start)
        told &= ~((low == high) & (low >= 0))
    return [(length, np.sort(at[s : s + c])) for s, c in zip(start[told].tolist(), count[told].tolist(), strict=True)]
