"""What is marked on the music for each habit: brackets over stretches, wedges over single notes, shaded time.

Brackets stand over whole units a player can see (a run, a stretch of steps, a stream without a breath), never over
heads one by one; the stretches of a habit shown or hinted at are shaded, unless it goes through the whole take.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.features import Base, Line
from stylemeter.features.intervals import RUN_NOTES
from stylemeter.music.melody import Melody
from stylemeter.placement.records import HabitPlace
from stylemeter.report.draw.score import Mark, Shade

__all__ = ["Marked", "marked"]

#: Fewest notes under a bracket: of steps in a row, of one note value, without a breath (in beats).
STEPS, EVEN, STREAM = 6, 8, 16


@dataclass(frozen=True, slots=True)
class Marked:
    """What is drawn for the habits of a take."""

    marks: tuple[Mark, ...]
    shades: tuple[Shade, ...]


def marked(melody: Melody, habits: tuple[HabitPlace, ...]) -> Marked:
    """Marks and shades of every habit."""
    line = Line(Base(melody))
    marks: list[Mark] = []
    shades: list[Shade] = []
    for h in habits:
        units = _UNITS.get(h.name)
        if h.verdict == "unmeasured" or units is None:
            continue
        look = "" if h.verdict in ("shown", "hinted") else "calm"
        marks += [Mark(h.name, first, last, label, look) for first, last, label in units(line)]
        if h.name == "space":
            shades += [Shade(h.name, start, end, "air") for start, end in _empty(melody)]
        shades += _focus(melody, h)
    return Marked(tuple(marks), tuple(shades))


def _focus(melody: Melody, h: HabitPlace) -> Iterator[Shade]:
    """The stretches that show a habit, where it is not the whole take."""
    for stretch in h.evidence if h.where == "part" else ():
        first, last = stretch.notes[0] - 1, stretch.notes[-1] - 1
        if last - first + 1 < len(melody):
            end = int(melody.onset[last + 1]) if last + 1 < len(melody) else int(melody.bars.end[-1])
            yield Shade(h.name, int(melody.onset[first]), end, "focus")


_Unit = tuple[int, int, str]


def _runs(line: Line) -> Iterator[_Unit]:
    starts, lengths = line.degree_runs
    for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
        if length >= RUN_NOTES:
            yield start, start + length - 1, ""


def _stepwise(line: Line) -> Iterator[_Unit]:
    for first, last in _streaks(line.degree_step):
        if last + 1 - first >= STEPS - 1:
            yield first, last + 1, ""


def _root(line: Line) -> Iterator[_Unit]:
    """Roots on a beat or at a phrase's end."""
    if line.key is None:
        return
    place = line.on_beat.copy()
    place[line.phrase_last] = True
    for i in np.flatnonzero(place & (line.degree == 0)).tolist():
        yield i, i, ""


def _rhythm(line: Line) -> Iterator[_Unit]:
    for first, last in _streaks(line.ioi[1:] == line.ioi[:-1]):
        if last + 3 - first >= EVEN:
            yield first, last + 2, ""


def _space(line: Line) -> Iterator[_Unit]:
    """Streams of four bars of quarters and more in which no note is followed by a breath."""
    for first, last in _streaks(~line.breath_after[: line.m]):
        if line.beats_between(int(line.onset[first]), int(line.onset[last + 1])) >= STREAM:
            yield first, last + 1, ""


#: Notes of the longest and the shortest figure looked for, and how many different ones are told.
LONGEST, SHORTEST, FIGURES = 16, 4, 6


def _figures(line: Line) -> Iterator[_Unit]:
    """Figures that come again note for note, at any pitch: the longest first, a letter each, a stroke where moved."""
    intervals, times = line.k.tolist(), line.ioi.tolist()
    left = [True] * line.n
    told = 0
    for size in range(min(LONGEST, line.n // 2), SHORTEST - 1, -1):
        seen: dict[tuple[tuple[int, ...], tuple[int, ...]], list[int]] = {}
        for i in range(line.n - size + 1):
            if all(left[i : i + size]):
                key = tuple(intervals[i : i + size - 1]), tuple(times[i : i + size - 1])
                places = seen.setdefault(key, [])
                if not places or i - places[-1] >= size:
                    places.append(i)
        for places in sorted(seen.values(), key=lambda p: (-len(p), p[0])):
            free = [i for i in places if all(left[i : i + size])]
            if len(free) < 2 or told == FIGURES:
                continue
            for i in free:
                moved = line.q[i] != line.q[free[0]]
                yield i, i + size - 1, "ABCDEF"[told] + ("′" if moved else "")
                left[i : i + size] = [False] * size
            told += 1


def _streaks(where: npt.NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First and last index of each run of marked entries."""
    edges = np.diff(np.concatenate([[False], where, [False]]).astype(np.int8))
    yield from zip(np.flatnonzero(edges == 1).tolist(), (np.flatnonzero(edges == -1) - 1).tolist(), strict=True)


_UNITS: dict[str, Callable[[Line], Iterator[_Unit]]] = {
    "runs": _runs,
    "stepwise": _stepwise,
    "root": _root,
    "scale": lambda line: iter(()),
    "rhythm": _rhythm,
    "space": _space,
    "same_lick": _figures,
}


def _empty(melody: Melody) -> Iterator[tuple[int, int]]:
    """Rests of half a beat and more, in ticks."""
    if melody.duration is None:
        return
    ends = np.maximum.accumulate(melody.onset + melody.duration)
    beats = np.array([meter.beat for meter in melody.note_meters])
    for i in np.flatnonzero(2 * (melody.onset[1:] - ends[:-1]) >= beats[:-1]).tolist():
        yield int(ends[i]), int(melody.onset[i + 1])
