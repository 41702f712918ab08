"""What pitch a note sounds with under the pitch wheel, and whether that is a bend.

Conventions: ticks are the file's own; bends are in semitones above the note's number.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.music.melody import Technique
from stylemeter.reading.midi.parts import Part

__all__ = ["sounding"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Semitones by which the wheel must move while a note sounds to be a bend: under it lie vibrato and mistuned strings.
BEND_MIN = 0.4


def sounding(part: Part) -> tuple[Floats, Ints | None]:
    """Sounding pitch and technique of each note.

    The pitch is the one the note holds longest: of a bend to a held target the target, of a bend up and back the note
    itself, of a vibrato its middle.

    Returns
    -------
    pitch : ndarray of shape (n_notes,)
    technique : ndarray of shape (n_notes,) or None
        `Technique` bits; None where the part never moves the wheel.
    """
    pitch = part.pitch.astype(float)
    if not part.bends:
        return pitch, None
    technique = np.zeros(len(pitch), dtype=np.int64)
    for channel, rows in part.bends.items():
        index = np.flatnonzero(part.channel == channel)
        if not len(index):
            continue
        onset = part.onset[index]
        # Not past the next note of the channel: the wheel is then that one's.
        later = np.searchsorted(onset, onset, side="right")
        following = np.append(onset, np.iinfo(np.int64).max)[later]
        end = np.maximum(np.minimum(part.end[index], following), onset + 1)
        first = np.searchsorted(rows[:, 0], onset, side="right") - 1
        last = np.searchsorted(rows[:, 0], end, side="left")
        for note, a, b, t0, t1 in zip(index, first, last, onset, end, strict=True):
            ticks = np.concatenate(([t0], rows[a + 1 : b, 0], [t1]))
            values = np.concatenate(([rows[a, 1] if a >= 0 else 0.0], rows[a + 1 : b, 1]))
            pitch[note] += _held(values, np.diff(ticks))
            technique[note] = _marks(values)
    return np.clip(pitch, 0.0, 127.0), technique


def _held(values: Floats, time: Floats) -> float:
    """Bend held longest: the mean over time of the bends within the least bend's width of each other."""
    order = np.argsort(values, kind="stable")
    value, until = values[order], np.append(0.0, np.cumsum(time[order]))
    beyond = np.searchsorted(value, value + BEND_MIN, side="left")
    first = int(np.argmax(until[beyond] - until[np.searchsorted(value, value, side="left")]))
    inside = slice(first, int(beyond[first]))
    return float(np.average(value[inside], weights=time[order][inside]))


def _marks(values: Floats) -> int:
    """Technique bits of a note's bends."""
    marks = Technique(0)
    if np.ptp(values) >= BEND_MIN:
        marks |= Technique.BEND
        if abs(values[0]) >= BEND_MIN:
            marks |= Technique.PRE_BEND
        if np.max(np.abs(values)) - abs(values[-1]) >= BEND_MIN:
            marks |= Technique.RELEASE
    return int(marks)
