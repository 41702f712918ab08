"""How much air there is: rests, breaths, density and phrases."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import Lack, feature, variation
from stylemeter.features.line import Line

__all__: list[str] = []

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]


def _before_rests(line: Line) -> Bools:
    """Notes a rest follows."""
    return np.append(line.gap > 0, False)


def _before_breaths(line: Line) -> Bools:
    """Notes a breath follows."""
    return np.append(line.breath_after, False)


@feature(
    "space", "share of time", "silence between the first and the last note", needs=["durations"], evidence=_before_rests
)
def rest_fraction(line: Line) -> float:
    """Share of the span no note covers."""
    return int(line.gap.sum()) / line.span


@feature(
    "space",
    "per bar",
    "rests of half a beat or more",
    needs=["durations"],
    evidence=_before_breaths,
    bounds=(0.0, np.inf),
)
def breaths_per_bar(line: Line) -> float:
    """Breaths a bar."""
    return int(np.count_nonzero(line.breath_after)) / line.span_bars


def _streams(line: Line) -> tuple[Ints, Ints]:
    """First and last note of each stretch without a breath."""
    last = np.append(np.flatnonzero(line.breath_after), line.n - 1)
    return np.concatenate(([0], last[:-1] + 1)), last


def _stream_beats(line: Line) -> list[float]:
    """Beats of each stretch, from its first onset to the latest end before the next breath."""
    assert line.reach is not None
    first, last = _streams(line)
    starts, ends = line.onset[first].tolist(), line.reach[last].tolist()
    return [line.beats_between(a, b) for a, b in zip(starts, ends, strict=True)]


def _longest_stream_notes(line: Line) -> Bools:
    beats = _stream_beats(line)
    best = beats.index(max(beats))
    first, last = _streams(line)
    return line.mark(first[best : best + 1], last[best : best + 1] - first[best : best + 1] + 1)


@feature(
    "space",
    "pulses",
    "the longest stretch without a rest of half a beat",
    needs=["durations"],
    evidence=_longest_stream_notes,
    bounds=(0.0, np.inf),
    version=2,
)
def longest_stream(line: Line) -> float:
    """Pulses of the longest stretch without a breath."""
    if line.one_meter:
        assert line.reach is not None
        first, last = _streams(line)
        return line.pulses * int((line.reach[last] - line.onset[first]).max()) / line.meter.beat
    return line.pulses * max(_stream_beats(line))


@feature("space", "per pulse", "notes a pulse", bounds=(0.0, np.inf), version=2)
def notes_per_beat(line: Line) -> float:
    """Notes a pulse: a beat, or a part of it where the line is written in small values."""
    return line.n / line.span_beats / line.pulses


@feature("space", "ratio", "how unevenly the notes are spread over the bars", bounds=(0.0, np.inf))
def density_variation(line: Line) -> float | Lack:
    """Standard deviation of the notes a full bar over their mean."""
    counts = line.full_bar_counts
    if len(counts) < 4:
        return Lack("fewer than 4 full bars")
    return variation(counts) if counts.any() else Lack("no note starts in a full bar")


@feature("space", "share of beats", "beats in which no note starts")
def empty_beat_share(line: Line) -> float | Lack:
    """Share of the beats without an onset, from the beat of the first note to the last end."""
    index = line.base.beat_index[line.start : line.stop]
    first = int(index[0])
    beats = int(np.searchsorted(line.base.beat_lines, line.last, side="left")) - first
    filled = 1 + int(np.count_nonzero(index[1:] != index[:-1]))
    return 1.0 - filled / beats


def _waits(line: Line) -> Ints:
    """Time beyond a beat after each onset but the last."""
    waits: Ints = np.maximum(0, line.ioi - line.beat[:-1])
    return waits


@feature(
    "space",
    "share of time",
    "time spent more than a beat after the latest note began, held or silent",
    evidence=lambda line: np.append(_waits(line) > 0, False),
)
def waiting_share(line: Line) -> float:
    """Share of the span spent waiting."""
    return int(_waits(line).sum()) / line.span


@feature("space", "notes", "the middle length of a phrase", bounds=(1.0, np.inf), discrete=True, capped=True)
def phrase_length(line: Line) -> float:
    """Median notes a phrase."""
    notes = np.sort(line.phrase_notes)
    middle = len(notes) // 2
    return float(notes[middle]) if len(notes) % 2 else float(notes[middle - 1] + notes[middle]) / 2


@feature("space", "ratio", "how unequal the phrases are in length", bounds=(0.0, np.inf))
def phrase_length_variation(line: Line) -> float | Lack:
    """Standard deviation of the notes a phrase over their mean."""
    notes = line.phrase_notes
    if len(notes) < 3:
        return Lack("fewer than 3 phrases")
    return variation(notes)
