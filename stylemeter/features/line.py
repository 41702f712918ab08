"""A stretch of a melody as the features see it: slices of what the melody shares, and what depends on the cut.

Conventions: n notes; `k`, `ioi`, `gap`, `breath_after`, `ends_after` have n - 1 entries, one a pair of neighbours.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt

from stylemeter.features.base import Base
from stylemeter.melody import Key, Melody
from stylemeter.meter import Meter, meter_at

__all__ = ["Line", "run_lengths"]

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


def run_lengths(values: npt.NDArray[np.int64]) -> tuple[Ints, Ints]:
    """Starts and lengths of the runs of equal neighbours.

    Examples
    --------
    >>> [v.tolist() for v in run_lengths(np.array([1, 1, 0, 2, 2, 2]))]
    [[0, 2, 3], [2, 1, 3]]
    """
    if not len(values):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    edges = np.flatnonzero(values[1:] != values[:-1]) + 1
    starts = np.concatenate(([0], edges))
    return starts, np.diff(np.append(starts, len(values)))


class Line:
    """Notes `start` to `stop` of a melody.

    Parameters
    ----------
    base : Base or Melody
        What the excerpts of the melody share.
    start, stop : int
        The notes taken; all by default. The tune's bar lines, meters and chords stay.
    """

    def __init__(self, base: Base | Melody, start: int = 0, stop: int | None = None) -> None:
        self.base = base if isinstance(base, Base) else Base(base)
        self.start = start
        self.stop = self.base.n if stop is None else min(stop, self.base.n)
        self.n = max(0, self.stop - self.start)
        self.m = max(0, self.n - 1)
        self._notes = slice(self.start, self.stop)
        self._pairs = slice(self.start, self.start + self.m)

    def notes(self, values: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        """Cut an array of one entry a note."""
        return values[self._notes]

    def pairs(self, values: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        """Cut an array of one entry a pair of neighbours."""
        return values[self._pairs]

    @property
    def melody(self) -> Melody:
        """The melody the notes are of."""
        return self.base.melody

    @property
    def key(self) -> Key | None:
        """The key."""
        return self.base.melody.key

    # -- slices -----------------------------------------------------------------------------------------------

    @cached_property
    def onset(self) -> Ints:
        """Onsets."""
        return self.base.onset[self._notes]

    @cached_property
    def q(self) -> Ints:
        """Pitches rounded half up to a semitone."""
        return self.base.q[self._notes]

    @cached_property
    def k(self) -> Ints:
        """Intervals."""
        return self.base.k[self._pairs]

    @cached_property
    def ioi(self) -> Ints:
        """Times from onset to onset."""
        return self.base.ioi[self._pairs]

    @cached_property
    def step(self) -> Bools:
        """Whether each interval is a step."""
        return self.base.step[self._pairs]

    @cached_property
    def leap(self) -> Bools:
        """Whether each interval is a leap."""
        return self.base.leap[self._pairs]

    @cached_property
    def direction(self) -> Ints:
        """Sign of each interval."""
        return self.base.direction[self._pairs]

    @cached_property
    def beat(self) -> Ints:
        """Beat in force at each note."""
        return self.base.beat[self._notes]

    @cached_property
    def on_beat(self) -> Bools:
        """Whether each note lies on a beat."""
        return self.base.on_beat[self._notes]

    @cached_property
    def degree(self) -> Ints:
        """Semitones above the tonic; only with a key."""
        assert self.base.degree is not None
        return self.base.degree[self._notes]

    @cached_property
    def duration(self) -> Ints:
        """Durations; only where the source has them."""
        assert self.melody.duration is not None
        return self.melody.duration[self._notes]

    # -- what depends on the cut ------------------------------------------------------------------------------

    @property
    def first(self) -> int:
        """Tick of the first onset."""
        return int(self.base.onset[self.start])

    @cached_property
    def reach(self) -> Ints | None:
        """Latest end of the notes up to each one, or None without durations."""
        if self.base.end is None:
            return None
        reach: Ints = np.maximum.accumulate(self.base.end[self._notes])
        return reach

    @cached_property
    def last(self) -> int:
        """Latest end; without durations the next beat after the last onset."""
        if self.reach is not None:
            return int(self.reach[-1])
        return int(self.base.last_beat_end[self.stop - 1])

    @cached_property
    def span(self) -> int:
        """Ticks from the first onset to the latest end."""
        return self.last - self.first

    @cached_property
    def span_bars(self) -> float:
        """Span in bars, piece by piece where the meter changes."""
        return self._measured(self.first, self.last, "bar")

    @cached_property
    def span_beats(self) -> float:
        """Span in beats."""
        return self._measured(self.first, self.last, "beat")

    def beats_between(self, start: int, end: int) -> float:
        """Beats from one tick to another."""
        return self._measured(start, end, "beat")

    @cached_property
    def one_meter(self) -> bool:
        """Whether one meter holds from the first note to the last end."""
        return self.base.one_meter or not any(self.first < m.onset < self.last for m in self.base.meters[1:])

    @cached_property
    def meter(self) -> Meter:
        """Meter in force at the first note."""
        return meter_at(self.base.meters, self.first)

    def _measured(self, start: int, end: int, unit: str) -> float:
        meters = self.base.meters
        if self.one_meter:
            return float((end - start) / getattr(self.meter, unit))
        total, now = 0.0, start
        for change in [m.onset for m in meters[1:] if start < m.onset < end] + [end]:
            total += (change - now) / getattr(meter_at(meters, now), unit)
            now = change
        return total

    @cached_property
    def gap(self) -> Ints:
        """Rest after each note but the last."""
        if self.reach is None:
            return np.zeros(self.m, dtype=np.int64)
        gap: Ints = np.maximum(0, self.onset[1:] - self.reach[:-1])
        return gap

    @cached_property
    def breath_after(self) -> Bools:
        """Whether a breath follows each note but the last."""
        breath: Bools = 2 * self.gap >= self.beat[:-1]
        return breath

    @cached_property
    def ends_after(self) -> Bools:
        """Whether a phrase ends after each note but the last."""
        if not self.m:
            return np.zeros(0, dtype=bool)
        beat, ioi = self.beat[:-1], self.ioi
        middle = self.m // 2
        ordered = np.sort(ioi)
        twice_median = 2 * ordered[middle] if self.m % 2 else ordered[middle - 1] + ordered[middle]
        waits = (ioi >= 2 * beat) & (4 * ioi >= 5 * twice_median)
        ends: Bools = (self.gap >= beat) | waits
        return ends

    @cached_property
    def phrase_last(self) -> Ints:
        """Index of the last note of each phrase."""
        return np.append(np.flatnonzero(self.ends_after), self.n - 1)

    @cached_property
    def phrase_first(self) -> Ints:
        """Index of the first note of each phrase."""
        return np.concatenate(([0], self.phrase_last[:-1] + 1))

    @cached_property
    def phrase_notes(self) -> Ints:
        """Notes a phrase."""
        return self.phrase_last - self.phrase_first + 1

    @cached_property
    def scale_runs(self) -> tuple[Ints, Ints]:
        """First note and number of notes of each run of steps in one direction (2 notes at least)."""
        way = np.where(self.step & ~self.breath_after & ~self.ends_after, self.direction, 0)
        starts, lengths = run_lengths(way)
        real = way[starts] != 0 if len(starts) else np.zeros(0, dtype=bool)
        return starts[real], lengths[real] + 1

    @cached_property
    def full_bars(self) -> Ints:
        """Index, among the melody's bars, of the full bars wholly inside the stretch."""
        bars = self.melody.bars
        low = int(np.searchsorted(bars.line, self.first, side="left"))
        high = int(np.searchsorted(bars.end, self.last, side="right"))
        return np.flatnonzero(self.base.full_bar[low:high]) + low

    @cached_property
    def full_bar_counts(self) -> Ints:
        """Onsets in each full bar."""
        bars = self.melody.bars
        edges = np.searchsorted(self.onset, np.stack([bars.line[self.full_bars], bars.end[self.full_bars]]))
        counts: Ints = edges[1] - edges[0]
        return counts

    @cached_property
    def same_phrase(self) -> Bools:
        """Whether the four notes from each note lie in one phrase."""
        count = max(0, self.n - 3)
        ends = self.ends_after
        same: Bools = ~(ends[:count] | ends[1 : count + 1] | ends[2 : count + 2])
        return same

    def mark(self, starts: npt.NDArray[np.int64], lengths: npt.NDArray[np.int64] | int) -> Bools:
        """Notes covered by stretches that start at `starts` and are `lengths` notes long."""
        opened = np.bincount(starts, minlength=self.n + 1)
        closed = np.bincount(np.minimum(starts + lengths, self.n), minlength=self.n + 1)
        marked: Bools = (opened - closed)[:-1].cumsum() > 0
        return marked
