"""What the network hears: three spectra every 10 ms on a log-frequency axis, from short, middle and long windows.

Conventions: sound is mono, `RATE` samples a second; a frame lies every `HOP` samples, centred on its time; bins lie
three to a semitone from `LOWEST`. Short windows tell when a string is struck, long ones which of two low notes sounds.

References
----------
.. [1] J. C. Brown, "Calculation of a constant Q spectral transform", JASA 89(1):425-434, 1991 (bins at a constant
   ratio; here triangles over Fourier bins, from windows of three lengths).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
import numpy.typing as npt

__all__ = [
    "BINS",
    "HOP",
    "LOUD",
    "LOWEST",
    "PITCHES",
    "PITCH_LOW",
    "RATE",
    "WINDOWS",
    "bank",
    "blocks",
    "hann",
    "loudness",
]

Floats = npt.NDArray[np.float32]

#: Samples a second; a guitar's highest note has six partials below half of it.
RATE = 16_000
#: Samples from frame to frame.
HOP = 160
#: Length of each window and of its Fourier transform, in samples: 32, 128 and 256 ms.
WINDOWS = ((512, 1024), (2048, 2048), (4096, 4096))
#: Lowest pitch that is told, and how many: a bass-tuned B1 and E6, with a semitone to spare on either side.
PITCH_LOW, PITCHES = 34, 56
#: Pitch of the first bin (a third of a semitone below A0), and the number of bins up to half the rate.
LOWEST, BINS = 21 - 1 / 3, 294
#: Level the loud parts of a take are brought to, and the time over which levels are taken, in samples.
LOUD, LEVEL_SPAN = 0.1, 800

#: Frames that are worked on at once: bounds the memory.
_AT_ONCE = 1000


@lru_cache(maxsize=8)
def bank(size: int, tuning: float = 0.0) -> Floats:
    """Weights from the bins of a Fourier transform to those of the log-frequency axis.

    Parameters
    ----------
    size : int
        Samples of the transform.
    tuning : float
        Cents by which the instrument lies above 440 Hz: the axis is moved with it.

    Returns
    -------
    ndarray of shape (size // 2 + 1, BINS)
        Columns sum to 1, or to 0 beyond half the rate.
    """
    frequency = np.arange(size // 2 + 1) * RATE / size
    centre = 440 * 2 ** ((LOWEST + (np.arange(BINS + 2) - 1) / 3 + tuning / 100 - 69) / 12)
    width = np.maximum(centre[2:] - centre[1:-1], RATE / size)
    weights = np.clip(1 - np.abs(frequency[:, None] - centre[None, 1:-1]) / width, 0, None)
    total = weights.sum(axis=0)
    return np.where(total > 1e-6, weights / np.maximum(total, 1e-9), 0).astype(np.float32)


@lru_cache(maxsize=4)
def hann(length: int) -> Floats:
    """Periodic Hann window."""
    return np.hanning(length + 1)[:-1].astype(np.float32)


def loudness(sound: Floats) -> float:
    """Level of the loud parts of a take: the 95 % quantile of the root mean squares of 50 ms."""
    spans = sound[: len(sound) // LEVEL_SPAN * LEVEL_SPAN].reshape(-1, LEVEL_SPAN)
    if not len(spans):
        return 0.0
    return float(np.quantile(np.sqrt(np.einsum("ij,ij->i", spans, spans) / LEVEL_SPAN + 1e-12), 0.95))


def blocks(sound: Floats, frames: int, beside: int, tuning: float = 0.0) -> Iterator[tuple[int, int, Floats]]:
    """Spectra of a take, a block at a time.

    Parameters
    ----------
    sound : ndarray of shape (n_samples,)
    frames : int
        Frames of a block.
    beside : int
        Frames given on either side of a block, for what needs its surroundings.
    tuning : float
        Cents.

    Yields
    ------
    first : int
        First frame of the block.
    skip : int
        Frames of the block's spectra that lie before `first`.
    spectra : ndarray of shape (3, n_frames, BINS)
        Log amplitudes, 0 at 80 dB under a full level, 1 at 20 dB over `LOUD`.
    """
    gain = np.float32(LOUD / max(loudness(sound), 1e-5))
    count = len(sound) // HOP
    for first in range(0, count, frames):
        low, high = max(0, first - beside), min(count, first + frames + beside)
        yield first, first - low, np.stack([_spectra(sound, low, high, gain, *w, tuning) for w in WINDOWS])


def _spectra(sound: Floats, low: int, high: int, gain: np.float32, length: int, size: int, tuning: float) -> Floats:
    """Spectra of some frames through one window."""
    from scipy.fft import rfft

    out = np.empty((high - low, BINS), np.float32)
    weights = bank(size, tuning) * np.float32(2 / hann(length).sum())
    for a in range(low, high, _AT_ONCE):
        b = min(high, a + _AT_ONCE)
        start, stop = a * HOP - length // 2, (b - 1) * HOP + length - length // 2
        piece = sound[max(start, 0) : min(stop, len(sound))] * gain
        piece = np.pad(piece, (max(-start, 0), max(stop - len(sound), 0)))
        frames = np.lib.stride_tricks.sliding_window_view(piece, length)[::HOP]
        amplitude = np.abs(rfft(frames * hann(length), size, axis=1)) @ weights
        out[a - low : b - low] = (np.log10(amplitude + 1e-5) + 5) / 3
    return out
