"""How far a guitar is tuned from 440 Hz: where its partials lie between the semitones.

Conventions: cents from -50 to 50; a guitar tuned exactly between two semitones is taken to be flat.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.reading.audio.spectra import RATE, hann

__all__ = ["tuning_of"]

#: Window and transform in samples, and frames looked at, spread over the take.
LENGTH, SIZE, FRAMES = 4096, 16_384, 1500
#: Partials looked at (Hz): below, they are too wide, above, stiff strings sound sharp.
LOW, HIGH = 120.0, 1400.0
#: Partials this far under the strongest of their frame count (amplitude), and frames this far under the loudest.
WEAK, QUIET = 0.1, 0.05
#: Least agreement (length of the mean direction) that a tuning is believed from.
AGREED = 0.25


def tuning_of(sound: npt.NDArray[np.float32]) -> float:
    """Cents by which the notes lie above 440 Hz's semitones, 0 where they agree on none.

    Examples
    --------
    >>> t = np.arange(RATE * 2) / RATE
    >>> tone = sum(np.sin(2 * np.pi * 220 * 2 ** (30 / 1200) * k * t) / k for k in range(1, 6))
    >>> abs(tuning_of(tone.astype(np.float32)) - 30) < 2
    True
    """
    from scipy.fft import rfft

    starts = np.arange(0, max(1, len(sound) - LENGTH), 1024)
    if len(starts) > FRAMES:
        starts = starts[np.linspace(0, len(starts) - 1, FRAMES).astype(int)]
    direction, total = 0j, 0.0
    low, high = int(LOW * SIZE / RATE), int(HIGH * SIZE / RATE)
    loud = np.array([float(np.abs(sound[s : s + LENGTH]).max(initial=0.0)) for s in starts])
    for start in starts[loud > QUIET * loud.max(initial=1e-9)].tolist():
        piece = sound[start : start + LENGTH]
        if len(piece) < LENGTH:
            break
        amplitude = np.abs(rfft(piece * hann(LENGTH), SIZE))[low - 1 : high + 2]
        inner = amplitude[1:-1]
        peaks = np.flatnonzero((inner >= amplitude[:-2]) & (inner > amplitude[2:]) & (inner > WEAK * inner.max()))
        if not len(peaks):
            continue
        a, b, c = (np.log(amplitude[peaks + k] + 1e-12) for k in (0, 1, 2))
        place = low + peaks + 0.5 * (a - c) / np.minimum(a - 2 * b + c, -1e-9)
        semitones = 12 * np.log2(place * RATE / SIZE / 440)
        weight = np.sqrt(inner[peaks])
        direction += complex((weight * np.exp(2j * np.pi * semitones)).sum())
        total += float(weight.sum())
    if total == 0 or abs(direction) < AGREED * total:
        return 0.0
    return float(np.angle(direction) / (2 * np.pi) * 100)
