"""From what sounds in every frame to one line of notes: the likeliest path through notes and silence.

A path holds a pitch, glides by a semitone (bends and slides), begins a note where an onset is heard, or is silent.
Every frame pays or earns the log odds that its pitch is the upper voice; a note costs what speaks against its onset.

Conventions: frames are `spectra.HOP` samples apart; times are seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.reading.audio.network import Heard
from stylemeter.reading.audio.spectra import HOP, PITCH_LOW, PITCHES, RATE

__all__ = ["FRAME", "Note", "Price", "decode", "odds"]

Floats = npt.NDArray[np.float64]

#: Seconds from frame to frame.
FRAME = HOP / RATE


@dataclass(frozen=True, slots=True)
class Price:
    """What a path pays; chosen on development takes."""

    #: Weight of a frame's log odds, and their bound.
    frame: float = 0.3
    bound: float = 4.0
    #: Added to the log odds of an onset, and what a note without one costs at most.
    onset: float = 0.0
    jump: float = 9.0
    #: A semitone's glide, and the end of a note in silence.
    glide: float = 1.5
    end: float = 0.5
    #: Least probability of an onset that counts, and least length of a note (seconds).
    candidate: float = 0.2
    shortest: float = 0.04
    #: Frames from an onset on in which silence is not held against the note: slow attacks.
    attack: int = 2


@dataclass(frozen=True, slots=True)
class Note:
    """A note of the line.

    Attributes
    ----------
    time, end : float
    pitch : int
        Where it stays longest; `first` where it begins.
    first : int
    path : ndarray of shape (n_frames,)
        Its pitch in each frame from `frame` on.
    frame : int
    onset, steady : float
        Probabilities: that a note begins there; mean over its frames that its pitch is the upper voice.
    voices : int
        How many begin with it, itself included.
    """

    time: float
    end: float
    pitch: int
    first: int
    path: npt.NDArray[np.int64]
    frame: int
    onset: float
    steady: float
    voices: int = 1


def odds(logit: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Probability of a logit."""
    return (1 / (1 + np.exp(-np.clip(logit, -30, 30)))).astype(np.float32)


def decode(heard: Heard, price: Price | None = None) -> list[Note]:
    """Find the line.

    Parameters
    ----------
    heard : Heard
    price : Price, optional

    Returns
    -------
    list of Note
        In order; none overlap.
    """
    price = price or Price()
    onset = odds(heard.onset)
    path, begins = _path(heard, onset, price)
    line = odds(heard.line)
    notes = []
    for start, stop in _spans(path, begins):
        if (stop - start) * FRAME < price.shortest:
            continue
        rows = path[start:stop].astype(np.int64)
        near = slice(max(0, start - 2), start + 3)
        weight = onset[near, rows[0]]
        time = float(np.arange(len(onset))[near] @ weight / weight.sum()) if weight.sum() > 0.05 else float(start)
        pitch = int(np.bincount(rows).argmax())
        steady = float(line[np.arange(start, stop), rows].mean())
        notes.append(
            Note(time * FRAME, stop * FRAME, pitch + PITCH_LOW, int(rows[0]) + PITCH_LOW, rows + PITCH_LOW, start,
                 float(weight.max()), steady)
        )  # fmt: skip
    return notes


def _path(
    heard: Heard, onset: npt.NDArray[np.float32], price: Price
) -> tuple[npt.NDArray[np.int16], npt.NDArray[np.bool_]]:
    """Pitch of every frame (`PITCHES` is silence), and where a note begins."""
    count = len(onset)
    padded = np.pad(onset, ((2, 2), (0, 0)))
    highest = padded[:count].copy()
    for i in range(1, 5):
        np.maximum(highest, padded[i : i + count], out=highest)
    begins = (onset >= highest) & (onset > price.candidate)
    earned = price.frame * np.clip(heard.line, -price.bound, price.bound)
    owed = np.minimum(np.pad(earned, ((0, price.attack), (0, 0))), 0)
    forgiven = sum(owed[k : k + count] for k in range(price.attack))
    gain = np.where(begins, np.clip(heard.onset, -6, 6) + price.onset - forgiven, -price.jump)
    best = np.full(PITCHES + 1, -1e9)
    best[PITCHES] = 0.0
    back = np.empty((count, PITCHES + 1), np.int16)
    started = np.zeros((count, PITCHES), bool)
    rows = np.arange(PITCHES, dtype=np.int16)
    for t in range(count):
        at = int(best.argmax())
        top, hold = best[at], best[:PITCHES]
        value, source = hold.copy(), rows.copy()
        for shift in (1, -1):
            glided = np.full(PITCHES, -1e9)
            if shift == 1:
                glided[1:] = hold[:-1] - price.glide
            else:
                glided[:-1] = hold[1:] - price.glide
            better = glided > value
            value[better], source[better] = glided[better], rows[better] - shift
        struck = top + gain[t]
        better = struck > value
        value[better], source[better] = struck[better], at
        started[t] = better
        back[t, :PITCHES] = source
        silent = top - price.end if at != PITCHES else top
        back[t, PITCHES] = PITCHES if best[PITCHES] >= silent else at
        best[PITCHES] = max(best[PITCHES], silent)
        best[:PITCHES] = value + earned[t]
    path, begun = np.empty(count, np.int16), np.zeros(count, bool)
    state = int(best.argmax())
    for t in range(count - 1, -1, -1):
        path[t] = state
        begun[t] = state < PITCHES and started[t, state]
        state = int(back[t, state])
    return path, begun


def _spans(path: npt.NDArray[np.int16], begins: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First frame of every note and the one after its last."""
    spans: list[tuple[int, int]] = []
    start = -1
    for t, row in enumerate(path.tolist()):
        if start >= 0 and (row == PITCHES or begins[t]):
            spans.append((start, t))
            start = -1
        if row < PITCHES and start < 0:
            start = t
    if start >= 0:
        spans.append((start, len(path)))
    return spans
