"""A melody and its stretches as the features see them.

`Base` is what all excerpts of one melody share: per-note arrays, worked out once. `Line` is a stretch of it: slices of
those, and what depends on the cut.

Conventions: times in ticks; n notes; arrays of shape (n_notes,) unless said; `k`, `ioi`, `gap`, `breath_after` and
`ends_after` have n - 1 entries, one a pair of neighbours. 2/2 is counted as 4/4 throughout.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt

from stylemeter.features.scale_use import degree_steps
from stylemeter.music.melody import Key, Melody
from stylemeter.music.meter import TICKS, Meter, meter_at, position_weight
from stylemeter.music.scales import MODE_SCALES

__all__ = ["FIGURE_NOTES", "Base", "Line", "codes", "run_lengths"]

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

_SIXTEENTH = TICKS // 4
#: Notes of a figure, and the least distance at which it counts as coming again.
FIGURE_NOTES = 4
_NOWHERE = 2**40
#: Rounding of positions in the bar for `bar_onset_entropy` and the `onsets` distribution.
CELL = TICKS // 24


def codes(values: npt.NDArray[np.int64]) -> tuple[Ints, Ints]:
    """Number the distinct values upwards.

    Returns
    -------
    distinct, code : ndarrays
        The sorted distinct values, and for each value its index among them.
    """
    distinct, code = np.unique(values, return_inverse=True)
    return distinct, code.astype(np.int64)


class Base:
    """Everything about a whole melody that its excerpts share.

    Parameters
    ----------
    melody : Melody
    """

    def __init__(self, melody: Melody) -> None:
        self.melody = melody
        self.onset = melody.onset
        self.n = len(melody.onset)
        self.meters = melody.meters
        self.one_meter = len({(m.bar, m.beat) for m in melody.meters}) == 1
        self.q: Ints = np.floor(melody.pitch + 0.5).astype(np.int64)
        self.k: Ints = np.diff(self.q)
        self.ioi: Ints = np.diff(self.onset)
        self.abs_k: Ints = np.abs(self.k)
        self.step: Bools = (self.abs_k >= 1) & (self.abs_k <= 2)
        self.leap: Bools = self.abs_k >= 5
        self.skip: Bools = (self.abs_k == 3) | (self.abs_k == 4)
        self.direction: Ints = np.sign(self.k)
        self.k_cell: Ints = np.clip(self.k, -12, 12) + 12
        self.pitch_class: Ints = self.q % 12
        self.ioi_values, self.ioi_code = codes(self.ioi)

    @cached_property
    def degree_step(self) -> Bools:
        """Whether each interval goes to the next note of the scale in use."""
        return degree_steps(self.q, self.k)

    # -- the bar grid -----------------------------------------------------------------------------------------

    @cached_property
    def beat(self) -> Ints:
        """Length of the beat in force at each note."""
        return self._of_meters("beat")

    def _of_meters(self, what: str) -> Ints:
        """Something of the meter in force at each note."""
        if len(self.meters) == 1:
            return np.full(self.n, getattr(self.meters[0], what), dtype=np.int64)
        return np.array([getattr(m, what) for m in self.melody.note_meters], dtype=np.int64)

    @cached_property
    def bar_index(self) -> Ints:
        """Which entry of the melody's bars each note lies in."""
        return np.searchsorted(self.melody.bars.line, self.onset, side="right") - 1

    @cached_property
    def x(self) -> Ints:
        """Position of each note from its bar line."""
        return self.onset - self.melody.bars.line[self.bar_index]

    @cached_property
    def on_beat(self) -> Bools:
        """Whether each note lies on a beat."""
        on_beat: Bools = self.x % self.beat == 0
        return on_beat

    @cached_property
    def bar_meters(self) -> list[Meter]:
        """Meter of each bar, at its bar line."""
        return [meter_at(self.meters, int(line)) for line in self.melody.bars.line]

    @cached_property
    def full_bar(self) -> Bools:
        """Whether each bar has its meter's full length."""
        length = np.array([m.bar for m in self.bar_meters], dtype=np.int64)
        full: Bools = self.melody.bars.end - self.melody.bars.line == length
        return full

    @cached_property
    def bar_pattern(self) -> Ints:
        """Number of each bar's onset pattern, the meter included; equal numbers, equal rhythm."""
        seen: dict[tuple[int, ...], int] = {}
        edges = np.searchsorted(self.onset, np.append(self.melody.bars.line, self.melody.bars.end[-1:]))
        pattern = []
        x = self.x.tolist()
        for i, meter in enumerate(self.bar_meters):
            key = (meter.bar, meter.beat, *x[edges[i] : edges[i + 1]])
            pattern.append(seen.setdefault(key, len(seen)))
        return np.array(pattern, dtype=np.int64)

    @cached_property
    def beat_lines(self) -> Ints:
        """Start of every beat, bar by bar."""
        bars = self.melody.bars
        lines = [
            np.arange(line, end, meter.beat)
            for line, end, meter in zip(bars.line.tolist(), bars.end.tolist(), self.bar_meters, strict=True)
        ]
        return np.concatenate(lines).astype(np.int64)

    @cached_property
    def beat_index(self) -> Ints:
        """Which of `beat_lines` each note lies in."""
        return np.searchsorted(self.beat_lines, self.onset, side="right") - 1

    @cached_property
    def cell(self) -> Ints:
        """Position rounded half up to a 24th of a quarter; what rounds to the bar's end is 0."""
        cell = (2 * self.x + CELL) // (2 * CELL)
        bars = self.melody.bars
        # the bar's own end: a short bar's is the next line, where the note would be a downbeat
        length = (bars.end - bars.line)[self.bar_index]
        return np.where(cell * CELL >= length, 0, cell)

    # -- syncopation ------------------------------------------------------------------------------------------

    @cached_property
    def _sixteenths(self) -> tuple[Ints, Ints]:
        """Onsets and weights of the sixteenth positions of every bar."""
        at: list[int] = []
        weight: list[int] = []
        bars = self.melody.bars
        for line, end, meter in zip(bars.line.tolist(), bars.end.tolist(), self.bar_meters, strict=True):
            positions = range(0, end - line, _SIXTEENTH)
            at.extend(line + x for x in positions)
            weight.extend(position_weight(x, meter.numerator, meter.denominator) for x in positions)
        return np.array(at, dtype=np.int64), np.array(weight, dtype=np.int64)

    @cached_property
    def syncopation(self) -> tuple[Ints, Ints]:
        """Strength each note adds when the next one follows, and when it is the last (up to its bar's end)."""
        end = self.melody.bars.end[self.bar_index]
        to_next = np.append(self.onset[1:], end[-1:])
        return self._strength(to_next), self._strength(end)

    def _strength(self, until: Ints) -> Ints:
        """Greatest weight strictly inside (onset, until), less the note's own, where that is positive."""
        at, weight = self._sixteenths
        first = np.searchsorted(at, self.onset, side="right")
        stop = np.searchsorted(at, until, side="left")
        strength = np.zeros(self.n, dtype=np.int64)
        own = self.melody.weight
        inside = np.flatnonzero(stop > first)
        if len(inside):
            # reduceat over pairs (first, stop): the odd segments in between are thrown away
            edges = np.column_stack([first[inside], np.minimum(stop[inside], len(at) - 1)]).ravel()
            greatest = np.maximum.reduceat(weight, edges)[::2]
            # a segment that ends at the array's end lost its last position to the clipping above
            clipped = stop[inside] == len(at)
            greatest = np.where(clipped, np.maximum(greatest, weight[-1]), greatest)
            strength[inside] = np.maximum(0, greatest - own[inside])
        return strength

    # -- durations --------------------------------------------------------------------------------------------

    @cached_property
    def end(self) -> Ints | None:
        """End of each note, or None."""
        return None if self.melody.duration is None else self.onset + self.melody.duration

    @cached_property
    def value_code(self) -> tuple[Ints, Ints]:
        """Distinct durations and the code of each note's."""
        assert self.melody.duration is not None
        return codes(self.melody.duration)

    @cached_property
    def dotted(self) -> Bools:
        """Whether each note has a dotted value that is neither its bar nor, in compound meters, whole beats."""
        assert self.melody.duration is not None
        d = self.melody.duration
        dotted: Bools = np.isin(d, [3 * TICKS * 2**j // 32 for j in range(7)])
        bar, compound = self._of_meters("bar"), self._of_meters("compound") > 0
        plain: Bools = (d == bar) | (compound & (d % self.beat == 0))
        return dotted & ~plain

    @cached_property
    def tuplet(self) -> Bools:
        """Whether position or duration is off the grid of 1/32 quarter."""
        assert self.melody.duration is not None
        grid = TICKS // 32
        off: Bools = (self.x % grid != 0) | (self.melody.duration % grid != 0)
        return off

    @cached_property
    def last_beat_end(self) -> Ints:
        """Next beat after each note: where it ends as a last note without a duration."""
        # a bar line is a beat too, and a short bar's may come before its beat is full
        return np.minimum(self.onset + self.beat - self.x % self.beat, self.melody.bars.end[self.bar_index])

    # -- tonality ---------------------------------------------------------------------------------------------

    @cached_property
    def degree(self) -> Ints | None:
        """Semitones above the tonic, 0..11, or None."""
        return None if self.melody.key is None else (self.q - self.melody.key.tonic) % 12

    @cached_property
    def outside_mode(self) -> Bools | None:
        """Whether each note lies outside the key's mode and the chord that sounds, or None.

        A chord from another key brings its own notes along: they are no chromatic notes while it sounds.
        """
        key = self.melody.key
        if key is None or key.mode not in MODE_SCALES or self.degree is None:
            return None
        inside = np.zeros(12, dtype=bool)
        inside[list(MODE_SCALES[key.mode])] = True
        outside: Bools = ~inside[self.degree]
        return outside if self.chord_relation is None else outside & ~self.chord_relation[1]

    @cached_property
    def chord_relation(self) -> tuple[Bools, Bools, Ints, Bools] | None:
        """Of each note: has a chord, is a chord tone, semitones above the root, chord is 0 3 6 9; or None."""
        chords = self.melody.chords
        if not chords:
            return None
        index = np.searchsorted([c.onset for c in chords], self.onset, side="right") - 1
        has, tone, above, diminished = [], [], [], []
        for i, pc in zip(index.tolist(), self.pitch_class.tolist(), strict=True):
            chord = chords[i] if i >= 0 else None
            sounding = chord is not None and chord.root is not None
            has.append(sounding)
            root = chord.root if chord is not None and chord.root is not None else 0
            tones = chord.pitch_classes if chord is not None else ()
            tone.append(sounding and pc in tones)
            above.append((pc - root) % 12)
            diminished.append(sounding and {(p - root) % 12 for p in tones} == {0, 3, 6, 9})
        return np.array(has), np.array(tone), np.array(above, dtype=np.int64), np.array(diminished)

    # -- figures ----------------------------------------------------------------------------------------------

    @cached_property
    def figure_keys(self) -> tuple[list[int], list[int], list[int]]:
        """Number, from each note, of the figure, of its outline and of its rhythm; -1 where it doesn't count.

        Whether all four notes lie in one phrase is for the excerpt to say.
        """
        count = max(0, self.n - 3)
        size = len(self.ioi_values) or 1
        outline_step = np.select([self.abs_k == 0, self.abs_k <= 2, self.abs_k <= 4], [0, 1, 2], 3) * self.direction
        _, pair = codes((self.k + 200) * size + self.ioi_code)
        _, outline = codes((outline_step + 3) * size + self.ioi_code)
        plain = self._plain(count)
        even = self._even(count)
        return (
            _triples(pair, count, plain),
            _triples(outline, count, plain),
            _triples(self.ioi_code, count, even),
        )

    def _even(self, count: int) -> Bools:
        """Whether the three IOIs from each note are equal."""
        a, b, c = (self.ioi[j : j + count] for j in range(3))
        even: Bools = (a == b) & (b == c)
        return even

    def _plain(self, count: int) -> Bools:
        """Whether the figure from each note is plain: three steps one way with one IOI, or one pitch repeated."""
        way = np.where(self.step, self.direction, 0)
        a, b, c = (way[j : j + count] for j in range(3))
        scale = (a != 0) & (a == b) & (b == c) & self._even(count)
        still: Bools = np.ones(count, dtype=bool)
        for j in range(3):
            still &= self.k[j : j + count] == 0
        plain: Bools = scale | still
        return plain

    @cached_property
    def whole_line(self) -> Line:
        """The whole melody as a line."""
        return Line(self)

    @cached_property
    def figure_partners(self) -> list[tuple[Ints, Ints]]:
        """For each list of `figure_keys`: the nearest equal figure at least four notes before and after, in phrases.

        -1 and a number beyond every note where there is none.
        """
        same = self.whole_line.same_phrase.tolist()
        return [(_partners(keys, same, 1), _partners(keys, same, -1)) for keys in self.figure_keys]

    @cached_property
    def lz_text(self) -> str:
        """The sequence (interval, IOI) as a string, one character a pair."""
        size = len(self.ioi_values) or 1
        _, pair = codes((self.k + 200) * size + self.ioi_code)
        # private planes hold more characters than a melody may have notes
        return "".join(chr(0xF0000 + code) for code in pair.tolist())


def _partners(keys: list[int], valid: list[bool], way: int) -> Ints:
    """Nearest equal key at least `FIGURE_NOTES` away, looking back (way 1) or ahead (way -1)."""
    count = len(keys)
    none = -1 if way == 1 else _NOWHERE
    partner = np.full(count, none, dtype=np.int64)
    latest: dict[int, int] = {}
    places = range(count) if way == 1 else range(count - 1, -1, -1)
    for i in places:
        j = i - way * FIGURE_NOTES
        if 0 <= j < count and keys[j] >= 0 and valid[j]:
            latest[keys[j]] = j
        if keys[i] >= 0 and valid[i]:
            partner[i] = latest.get(keys[i], none)
    return partner


def _triples(code: Ints, count: int, leave_out: Bools) -> list[int]:
    """Number of each run of three codes; -1 where left out."""
    base = int(code.max(initial=0)) + 1
    key = (code[:count] * base + code[1 : count + 1]) * base + code[2 : count + 2]
    return [int(v) for v in np.where(leave_out, -1, key)]


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
    def degree_step(self) -> Bools:
        """Whether each interval goes to the next note of the scale in use."""
        return self.base.degree_step[self._pairs]

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
    def pulses(self) -> int:
        """Pulses a beat: 1; 2, 4 or 8 where the commonest time from note to note is a quarter of a beat or shorter.

        How small the note values are written is an editor's habit: a reel in sixteenths of 2/4 is one in eighths of
        4/4. Of equally common times the longest counts.
        """
        if not self.m:
            return 1
        share = self.ioi / self.beat[:-1]
        values, counts = np.unique(share.round(9), return_counts=True)
        commonest = float(values[counts == counts.max()][-1])
        parts = 1
        while commonest * parts <= 0.25 and parts < 8:
            parts *= 2
        return parts

    @cached_property
    def on_pulse(self) -> Bools:
        """Whether each note lies on a pulse."""
        on_pulse: Bools = self.base.x[self._notes] * self.pulses % self.beat == 0
        return on_pulse

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
        """First note and number of notes of each run of 1-2 semitones in one direction (2 notes at least)."""
        return self._runs(self.step)

    @cached_property
    def degree_runs(self) -> tuple[Ints, Ints]:
        """The same of runs along the scale in use."""
        return self._runs(self.degree_step)

    def _runs(self, step: Bools) -> tuple[Ints, Ints]:
        way = np.where(step & ~self.breath_after & ~self.ends_after, self.direction, 0)
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
