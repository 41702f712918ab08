"""Clicks counted in before a take: found in the signal, they say the tempo and where the first beat lies.

A click is a short burst above 500 Hz that no note begins with. Of the bursts before the first note, so many evenly
spaced ones of like loudness are taken whose next one would lie at or just before that note.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from stylemeter.reading.audio.spectra import RATE

__all__ = ["CountIn", "count_in", "strokes"]

Floats = npt.NDArray[np.float64]

#: Seconds of a step of the envelope, and the shortest time between two clicks.
STEP, APART = 0.002, 0.15
#: Beats a count-in can have, by their time (seconds).
FASTEST, SLOWEST = 0.2, 1.6
#: How uneven clicks may be (share of a beat), and how far apart in loudness (factor).
UNEVEN, UNLIKE = 0.03, 8.0
#: A burst counts from this share of the loudest before the first note.
FAINT = 0.08
CountIn = tuple[float, float]


def strokes(sound: npt.NDArray[np.float32]) -> tuple[Floats, Floats]:
    """Seconds of all short bursts above 500 Hz, and their levels."""
    from scipy.signal import butter, sosfilt

    high = sosfilt(butter(2, 500 / (RATE / 2), "high", output="sos"), sound)
    step = int(STEP * RATE)
    level = np.abs(high[: len(high) // step * step]).reshape(-1, step).max(axis=1)
    if not len(level):
        return np.zeros(0), np.zeros(0)
    # a rise against the loudest of the 20 ms before, from 4 ms before it on
    before = np.array([level[max(0, i - 12) : max(0, i - 2)].max(initial=0.0) for i in range(len(level))])
    rise = level - 1.6 * before
    times, levels = [], []
    last = -1.0
    for i in np.flatnonzero(rise > max(1e-4, FAINT * float(level.max()) / 4)).tolist():
        time = i * STEP
        if time - last < APART:
            continue
        times.append(time)
        levels.append(float(level[i : i + 10].max()))
        last = time
    return np.array(times), np.array(levels)


def count_in(sound: npt.NDArray[np.float32], clicks: int, first_note: float) -> CountIn | None:
    """The beat and the first beat after a count-in.

    Parameters
    ----------
    sound : ndarray of shape (n_samples,)
    clicks : int
        How many were counted, 2 to 16.
    first_note : float
        Second at which the first note begins.

    Returns
    -------
    (tempo, first_beat) or None
        Quarter notes a minute, where a click is a quarter, and the second of the beat after the last click.
    """
    times, levels = strokes(sound[: int((first_note + 0.1) * RATE)])
    loud = levels > FAINT * levels.max(initial=0.0)
    times, levels = times[loud], levels[loud]
    best: tuple[float, float, float] | None = None
    for i in range(len(times)):
        for j in range(i + 1, len(times)):
            beat = times[j] - times[i]
            if not FASTEST <= beat <= SLOWEST:
                continue
            chain = _chain(times, i, beat, clicks)
            if chain is None:
                continue
            found = times[chain]
            spread = levels[chain].max() / max(levels[chain].min(), 1e-9)
            uneven = max(abs(b - a - beat) for a, b in pairwise(found.tolist())) / beat if clicks > 1 else 0.0
            if spread > UNLIKE or uneven > UNEVEN:
                continue
            fitted = float(np.polyfit(np.arange(clicks), found, 1)[0])
            first = float(np.mean(found + fitted * (clicks - np.arange(clicks))))
            # notes may begin a little early, or after a rest
            late = (first_note - first) / fitted
            if late < -0.35:
                continue
            cost = uneven + 0.05 * abs(late) + 0.02 * np.log(spread)
            if best is None or cost < best[0]:
                best = (cost, 60 / fitted, first)
    return None if best is None else (best[1], best[2])


def _chain(times: Floats, start: int, beat: float, clicks: int) -> list[int] | None:
    """Indices of evenly spaced bursts from one on."""
    chain = [start]
    for _ in range(clicks - 1):
        nearest = int(np.abs(times - (times[chain[-1]] + beat)).argmin())
        if nearest <= chain[-1] or abs(times[nearest] - times[chain[-1]] - beat) > UNEVEN * beat:
            return None
        chain.append(nearest)
    return chain
