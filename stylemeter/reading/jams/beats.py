"""Beats of a take in seconds: annotated one by one, or even from a tempo.

Conventions: quarter notes count from the first bar line (0); what lies before it is negative.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.music.meter import TICKS, Meter, regular_spans
from stylemeter.reading.jams.file import Observation

__all__ = ["Beats", "annotated_beats", "even_beats"]

Floats = npt.NDArray[np.float64]

#: Beats closer than this are one (seconds): 6000 a minute.
APART = 0.01


@dataclass(frozen=True, slots=True)
class Beats:
    """Beats and bars of a take.

    Attributes
    ----------
    second, quarter : ndarray of shape (n_beats,)
        Where the beats lie, in seconds and in quarter notes; both rise.
    meters : tuple of Meter
        Empty where nobody says.
    spans : tuple of (start, length)
        The annotated bars in ticks where they are not simply full ones; else empty.
    """

    second: Floats
    quarter: Floats
    meters: tuple[Meter, ...] = ()
    spans: tuple[tuple[int, int], ...] = ()

    def quarters(self, seconds: Floats) -> Floats:
        """Quarter notes from the first bar line; past the ends the first and last beats go on."""
        index = self._beat(seconds)
        return np.asarray(self.quarter[index] + (seconds - self.second[index]) / self._pace()[index])

    def pace(self, seconds: Floats) -> Floats:
        """Seconds a quarter note lasts."""
        return np.asarray(self._pace()[self._beat(seconds)])

    def _beat(self, seconds: Floats) -> npt.NDArray[np.int64]:
        index = np.searchsorted(self.second, seconds, side="right") - 1
        return np.clip(index, 0, len(self.second) - 2).astype(np.int64)

    def _pace(self) -> Floats:
        return np.asarray(np.diff(self.second) / np.diff(self.quarter))

    @property
    def tempo(self) -> float:
        """Quarter notes a minute: the median over the beats."""
        return float(60 / np.median(self._pace()))


def even_beats(tempo: float, first_beat: float) -> Beats:
    """Beats at one tempo.

    Examples
    --------
    >>> even_beats(120, 0.5).quarters(np.array([0.0, 0.5, 1.25])).tolist()
    [-1.0, 0.0, 1.5]
    """
    return Beats(np.array([first_beat, first_beat + 60 / tempo]), np.array([0.0, 1.0]))


@dataclass(frozen=True, slots=True)
class _Beat:
    """One annotated beat."""

    second: float
    place: int
    count: int
    unit: int

    def until(self, following: _Beat) -> float:
        """Quarter notes from this beat to the next one annotated."""
        steps = (following.place - self.place) % self.count or self.count
        return steps * 4 / self.unit

    @property
    def into_bar(self) -> float:
        """Quarter notes from the bar line."""
        return (self.place - 1) * 4 / self.unit


def annotated_beats(observed: Sequence[Observation]) -> Beats | None:
    """Beats annotated as places in bars, or None where there are fewer than two.

    Parameters
    ----------
    observed : sequence of Observation
        In order of time; values with `position`, `num_beats` and `beat_units`. A unit that is not said is a quarter, a
        count that is not said the greatest place there is.
    """
    most = max((_whole(o.value, "position", 1) for o in observed), default=1)
    beats: list[_Beat] = []
    for one in observed:
        beat = _beat_of(one, most)
        if beat and (not beats or beat.second - beats[-1].second >= APART):
            beats.append(beat)
    if len(beats) < 2:
        return None
    first = beats[0]
    start = first.into_bar - (first.count * 4 / first.unit if first.place > 1 else 0.0)
    steps = [before.until(after) for before, after in itertools.pairwise(beats)]
    quarter = np.concatenate(([start], start + np.cumsum(steps)))
    lines = [(round(q * TICKS), beat) for q, beat in zip(quarter.tolist(), beats, strict=True) if beat.place == 1]
    meters = _meters(lines or [(0, first)])
    return Beats(np.array([beat.second for beat in beats]), quarter, meters, _irregular(lines, meters))


def _whole(value: object, name: str, otherwise: int) -> int:
    """A whole number in a record, up to 64."""
    number = value.get(name) if isinstance(value, dict) else None
    if isinstance(number, bool) or not isinstance(number, (int, float)) or not 1 <= number <= 64:
        return otherwise
    return int(number)


def _beat_of(one: Observation, most: int) -> _Beat | None:
    """A beat, or None where its place is not one of its bar's."""
    place = _whole(one.value, "position", 0)
    count, unit = _whole(one.value, "num_beats", most), _whole(one.value, "beat_units", 4)
    if not 1 <= place <= count or unit not in (1, 2, 4, 8, 16, 32, 64):
        return None
    return _Beat(one.time, place, count, unit)


def _meters(lines: Sequence[tuple[int, _Beat]]) -> tuple[Meter, ...]:
    """Meters at the bar lines where they change."""
    meters: list[Meter] = []
    for onset, beat in lines:
        if not meters or (meters[-1].numerator, meters[-1].denominator) != (beat.count, beat.unit):
            meters.append(Meter(onset, beat.count, beat.unit))
    return tuple(meters)


def _irregular(lines: Sequence[tuple[int, _Beat]], meters: Sequence[Meter]) -> tuple[tuple[int, int], ...]:
    """The annotated bars, unless they are full bars all along."""
    starts = [onset for onset, _ in lines]
    if len(starts) < 2:
        return ()
    spans = tuple((a, b - a) for a, b in itertools.pairwise(starts))
    return () if list(spans) == regular_spans(meters, starts[0], starts[-1]) else spans
