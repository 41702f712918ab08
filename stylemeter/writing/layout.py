"""From the note table to printed bars filled with notes and rests.

Conventions: times in ticks. Every printed bar is filled from its start to its end; a note that crosses a bar line is
parted there and tied (`values` does the same where a length has no value of its own).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from stylemeter.music.melody import Chord, Melody
from stylemeter.music.meter import Meter, meter_at, regular_spans
from stylemeter.writing.values import Element, part, write_values

__all__ = ["PrintedBar", "chords_by_bar", "note_ends", "printed_bars"]


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """A bar as printed.

    Attributes
    ----------
    number : int
        As in the note table.
    start, end : int
        Ticks of what is printed; `line` is the tick positions count from.
    elements : tuple of Element
        From `start` to `end` without gaps.
    """

    number: int
    start: int
    end: int
    line: int
    meter: Meter
    elements: tuple[Element, ...]

    @property
    def short(self) -> bool:
        """Whether it is shorter than its meter says."""
        return self.end - self.start < self.meter.bar


def note_ends(melody: Melody) -> list[int]:
    """Tick at which each note ends when one sounds at a time.

    Without durations a note lasts until the next one, the last until its beat is over.
    """
    onsets = melody.onset.tolist()
    following: list[int] = onsets[1:]
    if melody.duration is None:
        beat = melody.note_meters[-1].beat
        line = int(melody.bars.line[melody.bars.line <= onsets[-1]][-1])
        return [*following, onsets[-1] + beat - (onsets[-1] - line) % beat]
    ends = [onset + length for onset, length in zip(onsets, melody.duration.tolist(), strict=True)]
    return [min(end, after) for end, after in zip(ends, following, strict=False)] + ends[-1:]


def printed_bars(melody: Melody, cuts: Iterable[int] = (), numbers: Collection[int] | None = None) -> list[PrintedBar]:
    """Lay the melody out in printed bars.

    Parameters
    ----------
    melody : Melody
    cuts : iterable of int
        Ticks at which notes and rests are parted besides (chord changes, where a format hangs chords on notes).
    numbers : collection of int, optional
        Numbers of the bars wanted (as in `Melody.bar`); all by default.

    Returns
    -------
    list of PrintedBar

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> tune = build(Draft([RawNote(0, 15120, 60.0), RawNote(15120, 30240, 62.0)]))
    >>> for bar in printed_bars(tune):
    ...     print([(e.note, e.value.plain / 10080, e.value.dots) for e in bar.elements])
    [(0, 1.0, 1), (1, 0.5, 0), (1, 2.0, 0)]
    [(1, 0.5, 0), (None, 0.5, 0), (None, 1.0, 0), (None, 2.0, 0)]
    """
    sounding = list(zip(melody.onset.tolist(), note_ends(melody), strict=True))
    parted = sorted(set(cuts))
    bars = []
    first = 0
    for number, line, start, end in _spans(melody, sounding):
        if numbers is not None and number not in numbers:
            continue
        while first < len(sounding) and sounding[first][1] <= start:
            first += 1
        meter = meter_at(melody.meters, start)
        pieces = list(_pieces(sounding, first, start, end))
        pieces = [shorter for piece in pieces for shorter in _cut(piece, parted)]
        elements = write_values(pieces, line, meter)
        bars.append(PrintedBar(number, start, end, line, meter, tuple(elements)))
    return bars


def chords_by_bar(melody: Melody, printed: Sequence[PrintedBar]) -> list[list[Chord]]:
    """Chords that start in each printed bar; the one in force before the first is put at its start."""
    chords = melody.chords or ()
    onsets = [chord.onset for chord in chords]
    found = [list(chords[bisect_left(onsets, bar.start) : bisect_left(onsets, bar.end)]) for bar in printed]
    before = bisect_left(onsets, printed[0].start) if printed else 0
    if before and not (found[0] and found[0][0].onset == printed[0].start):
        found[0].insert(0, replace(chords[before - 1], onset=printed[0].start))
    return found


def _spans(melody: Melody, sounding: Sequence[tuple[int, int]]) -> list[tuple[int, int, int, int]]:
    """Number, line, start and end of each printed bar: the parts of an overfull one together, without gaps."""
    rows = list(zip(*(a.tolist() for a in (melody.bars.number, melody.bars.line, melody.bars.end)), strict=True))
    merged: list[tuple[int, int, int]] = []
    for number, line, end in rows:
        if merged and merged[-1][0] == number and merged[-1][2] == line:
            merged[-1] = (number, merged[-1][1], end)
        else:
            merged.append((number, line, end))
    last = max(end for _, end in sounding)
    if merged[-1][2] < last:
        more = regular_spans(melody.meters, merged[-1][2], last)
        merged += [(merged[-1][0] + i, start, start + length) for i, (start, length) in enumerate(more, 1)]
    starts = [line for _, line, _ in merged]
    if merged[0][0] == 0:
        starts[0] = _pickup_start(melody, merged[0][1], merged[0][2])
    ends = [*starts[1:], merged[-1][2]]
    spans = [(number, line, start, end) for (number, line, _), start, end in zip(merged, starts, ends, strict=True)]
    return [span for span in spans if span[2] < span[3]]


def _pickup_start(melody: Melody, line: int, end: int) -> int:
    """Where the print of a pickup starts: on the beat of its first note, if the bar stays short that way.

    One without notes is a rest of a beat, or half a bar.
    """
    beat = meter_at(melody.meters, line).beat
    first = int(melody.onset[0])
    if first >= end:
        return max(end - beat, (line + end) // 2)
    for unit in (beat, beat // 2, beat // 4):
        start = first - (first - line) % unit
        if start > line:
            return start
    return first


def _pieces(sounding: Sequence[tuple[int, int]], first: int, start: int, end: int) -> Iterator[Element]:
    """Notes and rests between two ticks, in order."""
    now, index = start, first
    while index < len(sounding) and sounding[index][0] < end:
        onset, stop = sounding[index]
        if onset > now:
            yield Element(now, onset - now, None)
        begin, until = max(onset, start), min(stop, end)
        yield Element(begin, until - begin, index, onset < start, stop > end)
        now, index = until, index + 1
    if now < end:
        yield Element(now, end - now, None)


def _cut(piece: Element, ticks: Sequence[int]) -> list[Element]:
    """A piece parted at ticks strictly inside of it."""
    end = piece.start + piece.length
    inside = ticks[bisect_right(ticks, piece.start) : bisect_left(ticks, end)]
    stops = [piece.start, *inside, end]
    return part(piece, [after - before for before, after in pairwise(stops)])
