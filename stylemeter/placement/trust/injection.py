"""Putting a habit into a clean excerpt, to measure whether it would be seen.

Every function takes an excerpt (a melody of its own), the notes to change and a seeded generator, and returns a new
melody with as many notes, on valid bars. The habit is put in as a player would have it, not as the features count it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from stylemeter.features import Line
from stylemeter.music.melody import Melody, grid_columns
from stylemeter.music.meter import TICKS, Bars, lay_bars, meter_at, regular_spans
from stylemeter.music.scales import MODE_SCALES

__all__ = ["DOSES", "INJECTIONS", "Dose", "cut", "inject", "relay"]

Ints = npt.NDArray[np.int64]
Injection = Callable[[Melody, int, int, np.random.Generator], Melody]


def cut(melody: Melody, start: int, stop: int) -> Melody:
    """Take notes `start` to `stop` as a melody of their own; meters, chords and key stay, and the bars it lies in."""
    part = melody.only(slice(start, stop))
    if not len(part):
        return part
    ends = part.onset if part.duration is None else part.onset + part.duration
    first = int(np.searchsorted(part.bars.line, part.onset[0], side="right")) - 1
    # the bar after the last end too: a note held to its line is not the last thing in it
    last = int(np.searchsorted(part.bars.line, int(ends.max()), side="right")) + 1
    bars = part.bars
    return replace(part, bars=Bars(bars.line[first:last], bars.end[first:last], bars.number[first:last]))


def relay(melody: Melody, onset: Ints, duration: Ints | None) -> Melody:
    """Give a melody new times on regular bars of the meter at its first note, from that note's bar line."""
    first = meter_at(melody.meters, int(melody.onset[0]))
    line = _bar_line(melody)
    meter = replace(first, onset=line)
    end = int((onset if duration is None else onset + duration).max()) + 1
    bars = lay_bars(regular_spans([meter], line, end), [meter])
    bar, beat, weight = grid_columns(onset, [meter], bars)
    return replace(
        melody,
        onset=onset,
        duration=duration,
        bar=bar,
        beat=beat,
        weight=weight,
        meters=(meter,),
        bars=bars,
        onset_seconds=None,
    )


def _bar_line(melody: Melody) -> int:
    """Bar line before the first note."""
    lines = melody.bars.line
    return int(lines[np.searchsorted(lines, melody.onset[0], side="right") - 1])


def _scale_of(melody: Melody) -> Ints:
    """Pitches of the key's scale over the whole range, sorted; of a key without a mode, by its commoner third."""
    key = melody.key
    assert key is not None
    mode = key.mode
    if mode not in MODE_SCALES:
        degree = (np.floor(melody.pitch + 0.5).astype(np.int64) - key.tonic) % 12
        mode = "minor" if np.count_nonzero(degree == 3) > np.count_nonzero(degree == 4) else "major"
    classes = (0, 2, 3, 5, 7, 8, 10) if mode == "minor" else MODE_SCALES[mode]
    inside = np.isin((np.arange(128) - key.tonic) % 12, classes)
    return np.flatnonzero(inside)


def _with_pitch(melody: Melody, pitch: npt.NDArray[np.float64]) -> Melody:
    return replace(melody, pitch=pitch)


def scale_runs(melody: Melody, start: int, stop: int, rng: np.random.Generator) -> Melody:
    """Run up and down the scale, turning every 6 to 9 notes."""
    scale = _scale_of(melody)
    pitch = melody.pitch.copy()
    low, high = np.searchsorted(scale, [pitch.min() - 2, pitch.max() + 2])
    at = int(np.searchsorted(scale, pitch[start]))
    direction, left = int(rng.choice([-1, 1])), int(rng.integers(6, 10))
    for i in range(start, stop):
        pitch[i] = scale[int(np.clip(at, 0, len(scale) - 1))]
        left -= 1
        if left <= 0 or not low <= at + direction <= high:
            direction, left = -direction, int(rng.integers(6, 10))
        at += direction
    return _with_pitch(melody, pitch)


def all_steps(melody: Melody, start: int, stop: int, _: np.random.Generator) -> Melody:
    """Make every skip and leap a step the same way, turning where the line would drift off."""
    scale = _scale_of(melody)
    pitch = melody.pitch.copy()
    at = int(np.searchsorted(scale, pitch[start]))
    for i in range(start + 1, stop):
        move = int(np.sign(melody.pitch[i] - melody.pitch[i - 1]))
        if abs(scale[int(np.clip(at + move, 0, len(scale) - 1))] - melody.pitch[i]) > 9:
            move = int(np.sign(melody.pitch[i] - scale[at]))
        at = int(np.clip(at + move, 0, len(scale) - 1))
        pitch[i] = scale[at]
    return _with_pitch(melody, pitch)


def on_root(melody: Melody, start: int, stop: int, rng: np.random.Generator) -> Melody:
    """Put most notes on a beat, and every phrase end, on the nearest root."""
    line = Line(melody)
    place = line.on_beat & (rng.random(len(melody)) < 0.75)
    place[line.phrase_last] = True
    assert melody.key is not None
    pitch = melody.pitch.copy()
    for i in np.flatnonzero(place[start:stop]) + start:
        above = (pitch[i] - melody.key.tonic) % 12
        pitch[i] += -above if above <= 6 else 12 - above
    return _with_pitch(melody, pitch)


def one_scale(melody: Melody, start: int, stop: int, _: np.random.Generator) -> Melody:
    """Snap every note to the nearest one of the key's pentatonic scale."""
    assert melody.key is not None
    classes = (
        (0, 3, 5, 7, 10) if melody.key.mode in ("minor", "dorian", "phrygian", "locrian", "blues") else (0, 2, 4, 7, 9)
    )
    scale = np.flatnonzero(np.isin((np.arange(128) - melody.key.tonic) % 12, classes))
    pitch = melody.pitch.copy()
    for i in range(start, stop):
        pitch[i] = scale[int(np.abs(scale - pitch[i]).argmin())]
    return _with_pitch(melody, pitch)


def all_eighths(melody: Melody, start: int, stop: int, _: np.random.Generator) -> Melody:
    """Play the notes as even eighths from where they begin; what follows keeps its place in the beat."""
    eighth = TICKS // 2
    onset = melody.onset.copy()
    duration = None if melody.duration is None else melody.duration.copy()
    # a first note off the eighths moves back onto them, but not before its bar
    begin = max(int(onset[0]) // eighth * eighth, _bar_line(melody)) if start == 0 else int(onset[start])
    onset[start:stop] = begin + eighth * np.arange(stop - start)
    if duration is not None:
        duration[start:stop] = eighth
    if stop < len(onset):
        beat = meter_at(melody.meters, int(melody.onset[start])).beat
        end = begin + eighth * (stop - start)
        shift = end - int(melody.onset[stop])
        # whole beats, so that the rest of the line stays on its grid
        shift = -(-shift // beat) * beat
        onset[stop:] = melody.onset[stop:] + shift
        if duration is not None:
            duration[stop - 1] = onset[stop] - onset[stop - 1]
    return relay(melody, onset, duration)


def no_pauses(melody: Melody, start: int, stop: int, _: np.random.Generator) -> Melody:
    """Take whole beats of waiting out, and hold every note to the next."""
    onset = melody.onset.copy()
    duration = None if melody.duration is None else melody.duration.copy()
    beat = meter_at(melody.meters, int(onset[0])).beat
    removed = 0
    for i in range(len(onset) - 1):
        wait = int(melody.onset[i + 1] - melody.onset[i])
        if start <= i < stop:
            removed += (wait - 1) // beat * beat
            wait -= (wait - 1) // beat * beat
            if duration is not None:
                duration[i] = wait
        onset[i + 1] = melody.onset[i + 1] - removed
    return relay(melody, onset, duration)


def same_lick(melody: Melody, start: int, stop: int, rng: np.random.Generator) -> Melody:
    """Play a lick of 7 to 12 of the notes over and over, note for note, each time from the same place in the bar."""
    notes = min(int(rng.integers(7, 13)), max(1, stop - start))
    place = np.arange(stop - start)
    pitch = melody.pitch.copy()
    pitch[start:stop] = melody.pitch[start + place % notes]
    onset = melody.onset.copy()
    duration = None if melody.duration is None else melody.duration.copy()
    meter = meter_at(melody.meters, int(onset[start]))
    # the lick with the wait behind it, up to a whole number of bars
    after = int(onset[start + notes]) if start + notes < len(onset) else int(onset[start + notes - 1]) + meter.beat
    period = -(-(after - int(onset[start])) // meter.bar) * meter.bar
    onset[start:stop] = onset[start] + place // notes * period + (melody.onset[start + place % notes] - onset[start])
    if duration is not None:
        duration[start:stop] = melody.duration[start + place % notes]  # type: ignore[index]
    if stop < len(onset):
        shift = int(onset[stop - 1]) + (int(melody.onset[stop] - melody.onset[stop - 1])) - int(melody.onset[stop])
        onset[stop:] = melody.onset[stop:] + -(-shift // meter.beat) * meter.beat
    if duration is not None:
        # notes of the lick that were held into what followed them end where the next one begins
        duration[:-1] = np.minimum(duration[:-1], np.diff(onset))
    return replace(relay(melody, onset, duration), pitch=pitch)


#: Habit -> how it is put in.
INJECTIONS: dict[str, Injection] = {
    "runs": scale_runs,
    "stepwise": all_steps,
    "root": on_root,
    "scale": one_scale,
    "rhythm": all_eighths,
    "space": no_pauses,
    "same_lick": same_lick,
}


Dose = Literal["whole", "half", "quarter", "diffuse"]
#: Share of the notes a habit is put into: in one stretch, but for "diffuse", which is every third bar.
DOSES: dict[Dose, float] = {"whole": 1.0, "half": 0.5, "quarter": 0.25, "diffuse": 1 / 3}


def inject(habit: str, melody: Melody, dose: Dose | float, rng: np.random.Generator) -> tuple[Melody, int, int]:
    """Put a habit into part of an excerpt.

    Parameters
    ----------
    habit : str
        A name of `INJECTIONS`.
    melody : Melody
        The excerpt.
    dose : Dose or float
        A share of the notes, where it is a number.
    rng : Generator
        Says where the stretch begins, or which bars it is.

    Returns
    -------
    melody, start, stop
        The changed excerpt and the notes that were given the habit; all of them where it is diffuse.
    """
    count = len(melody)
    if dose == "diffuse":
        return _every_third_bar(habit, melody, rng), 0, count
    some = round((DOSES[dose] if isinstance(dose, str) else dose) * count)
    start = 0 if some >= count else int(rng.integers(0, count - some + 1))
    return INJECTIONS[habit](melody, start, start + some, rng), start, start + some


def _every_third_bar(habit: str, melody: Melody, rng: np.random.Generator) -> Melody:
    """Put a habit into the notes of every third bar; bars with one note stay."""
    chosen = np.flatnonzero((melody.bar - melody.bar[0]) % 3 == int(rng.integers(3)))
    bars = np.split(chosen, np.flatnonzero(np.diff(melody.bar[chosen]) > 0) + 1)
    # the last first: what moves the notes after it does not move those still to change
    for rows in bars[::-1]:
        if len(rows) > 1:
            melody = INJECTIONS[habit](melody, int(rows[0]), int(rows[-1]) + 1, rng)
    return melody
