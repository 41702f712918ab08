"""How surely each note was played as it is written: a logistic curve over what the network says of it.

The weights are fitted on development takes (`training/tune.py`), one row a note: whether a note of this pitch was
played within 50 ms.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.reading.audio.decoder import Note, odds
from stylemeter.reading.audio.network import Heard
from stylemeter.reading.audio.spectra import PITCH_LOW, PITCHES

__all__ = ["WEIGHTS", "confidence_of", "evidence_of"]

#: Weight of each column of `evidence_of`, then the constant.
WEIGHTS = (1.766, 0.689, 0.814, -4.193, -0.011, -2.738)


def evidence_of(notes: list[Note], heard: Heard) -> npt.NDArray[np.float64]:
    """What speaks for each note.

    Returns
    -------
    ndarray of shape (n_notes, 5)
        Log odds of its onset and of its being the upper voice, log of its length in tenths of a second, probability of
        another voice at an octave or beside it, log odds of a band.
    """
    rows = []
    for note in notes:
        stop = note.frame + len(note.path)
        row = note.pitch - PITCH_LOW
        others = [r for r in (row - 12, row + 12, row - 1, row + 1) if 0 <= r < PITCHES]
        rival = float(odds(heard.sounding[note.frame : stop, others]).mean(axis=0).max(initial=0.0))
        band = float(np.clip(heard.band[note.frame : stop].mean(), -6, 6))
        length = np.log(max(note.end - note.time, 0.02) / 0.1)
        rows.append((_log_odds(note.onset), _log_odds(note.steady), min(length, 1.5), rival, band))
    return np.array(rows).reshape(-1, 5)


def _log_odds(p: float) -> float:
    """Log odds, bounded."""
    p = min(max(p, 0.01), 0.99)
    return float(np.log(p / (1 - p)))


def confidence_of(notes: list[Note], heard: Heard) -> npt.NDArray[np.float64]:
    """Probability of each note, from 0 to 1."""
    *weights, constant = WEIGHTS
    return np.asarray(1 / (1 + np.exp(-(evidence_of(notes, heard) @ np.array(weights) + constant))))
