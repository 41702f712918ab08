"""What an editor sees: the notes, which way a feature should go, and handy views of both."""

from __future__ import annotations

from functools import cached_property

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG, Line
from stylemeter.music.meter import TICKS, meter_at, position_weight
from stylemeter.music.scales import MODE_SCALES

__all__ = ["SHORTEST", "Scene"]

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

#: No edit makes a note or a time between notes shorter than this: a 32nd.
SHORTEST = TICKS // 8
_SIXTEENTH = TICKS // 4


class Scene:
    """The notes an editor works on and what it is to bring about.

    Parameters
    ----------
    line : Line
        All notes of the melody.
    name : str
        The feature.
    up : bool
        Whether its value should rise.
    low, high : float
        The range it should come into.
    value : float
        Its value now.
    """

    def __init__(self, line: Line, name: str, up: bool, low: float, high: float, value: float) -> None:
        self.line = line
        self.name = name
        self.up = up
        self.low = low
        self.high = high
        self.value = value
        self.n = line.n
        self.sign = 1 if up else -1

    @cached_property
    def evidence(self) -> Bools:
        """Notes that are the feature's evidence."""
        return CATALOG[self.name].where(self.line)

    @cached_property
    def evidence_rows(self) -> list[int]:
        """Rows of the evidence."""
        return [int(i) for i in np.flatnonzero(self.evidence)]

    @cached_property
    def inside(self) -> Bools:
        """Of the twelve pitch classes, those of the key's mode; without one, those the line uses."""
        key = self.line.key
        inside = np.zeros(12, dtype=bool)
        if key is not None and key.mode in MODE_SCALES:
            inside[[(key.tonic + degree) % 12 for degree in MODE_SCALES[key.mode]]] = True
        else:
            inside[self.line.q % 12] = True
        return inside

    # -- plain lists, quick to loop over ----------------------------------------------------------------------

    @cached_property
    def q(self) -> list[int]:
        """Pitches in semitones."""
        return [int(v) for v in self.line.q]

    @cached_property
    def onset(self) -> list[int]:
        """Onsets in ticks."""
        return [int(v) for v in self.line.onset]

    @cached_property
    def ioi(self) -> list[int]:
        """Times from onset to onset."""
        return [int(v) for v in self.line.ioi]

    @cached_property
    def beat(self) -> list[int]:
        """Beat in force at each note."""
        return [int(v) for v in self.line.beat]

    @cached_property
    def weight(self) -> list[int]:
        """Metrical weight of each note."""
        return [int(v) for v in self.line.melody.weight]

    @cached_property
    def timed(self) -> bool:
        """Whether the notes have durations."""
        return self.line.melody.duration is not None

    @cached_property
    def end(self) -> list[int]:
        """Where each note stops: without durations at the next one."""
        if self.timed:
            return [int(v) for v in self.line.onset + self.line.duration]
        return [*self.onset[1:], self.line.last]

    @cached_property
    def stop(self) -> list[int]:
        """Where each note stops at the latest if it isn't to overlap: the next onset, or its own end if earlier."""
        return [min(end, after) for end, after in zip(self.end, [*self.onset[1:], self.end[-1]], strict=True)]

    @cached_property
    def tied(self) -> list[bool]:
        """Whether each note but the last sounds until the next."""
        return [end >= after for end, after in zip(self.end, self.onset[1:], strict=False)]

    @cached_property
    def bar_index(self) -> list[int]:
        """Which of the melody's bars each note lies in."""
        return [int(v) for v in self.line.base.bar_index]

    # -- helpers ----------------------------------------------------------------------------------------------

    def half_beat(self, row: int) -> int:
        """The usual part of a beat at a note: a half, or a third in compound meters."""
        compound = self.line.melody.note_meters[row].compound
        return self.beat[row] // (3 if compound else 2)

    def scale_note(self, start: int, way: int, count: int = 1) -> int:
        """The `count`-th note of the scale above (+1) or below (-1) a pitch."""
        note = start
        for _ in range(count):
            note += way
            while not self.inside[note % 12]:
                note += way
        return note

    def between(self, row: int) -> int:
        """Pitch for a note put in after a note: its neighbour in the scale, towards the next note where that fits."""
        here = self.q[row]
        there = self.q[row + 1] if row + 1 < self.n else here
        way = 1 if there >= here else -1
        note = self.scale_note(here, way)
        if note == there:
            note = self.scale_note(here, -way)
        return note if 0 <= note <= 127 else here

    def strongest_inside(self, start: int, stop: int) -> int | None:
        """Tick of the greatest weight strictly between two, on the sixteenths of the bars; the first of several."""
        bars = self.line.melody.bars
        best: tuple[int, int] | None = None
        index = int(np.searchsorted(bars.line, start, side="right")) - 1
        while index < len(bars.line) and int(bars.line[index]) < stop:
            line, end = int(bars.line[index]), int(bars.end[index])
            meter = meter_at(self.line.melody.meters, line)
            first = line + max(0, (start - line) // _SIXTEENTH + 1) * _SIXTEENTH
            for tick in range(first if start >= line else line, min(stop, end), _SIXTEENTH):
                weight = position_weight(tick - line, meter.numerator, meter.denominator)
                if best is None or weight > best[0]:
                    best = (weight, tick)
            index += 1
        return None if best is None else best[1]
