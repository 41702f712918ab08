"""Takes made in the test, on seeds no choice was made on: strings and lines of the simulator in `training/`."""

from __future__ import annotations

import io
from functools import lru_cache

import numpy as np
import soundfile

from training import sounds
from training.lines import Stroke
from training.render import render

RATE = 16_000
SCALE = (50, 52, 53, 55, 57, 59, 60, 62, 64, 65, 67, 69)


@lru_cache(maxsize=2)
def guitar(seed: int = 90_001):
    return sounds.strings(np.random.default_rng(seed))


@lru_cache(maxsize=16)
def take(
    seed: int = 1, tempo: float = 96.0, notes: int = 40, how: str = "pick", cents: float = 0.0, first: float = 0.5
):
    """A line of eighths and quarters; sound, onsets in seconds, pitches, places in quarter notes."""
    rng = np.random.default_rng(seed)
    lengths = rng.choice([0.5, 0.5, 0.5, 1.0], notes)
    places = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    pitches = [SCALE[i] for i in np.clip(np.cumsum(rng.choice([-2, -1, 1, 2, 3, -3], notes)) % 12, 0, 11)]
    quarter = 60 / tempo
    times = first + places * quarter + rng.normal(0, 0.006, notes)
    strokes = []
    for time, length, pitch in zip(times, lengths, pitches, strict=True):
        this = how if how in ("bend", "vibrato") and length == 1.0 else "pick"
        strokes.append(
            Stroke(
                float(time), float(length * quarter * 0.92), int(pitch), 0.8, this, 2.0 if this == "bend" else 0, "up"
            )
        )
    sound, _ = render(strokes, guitar(), rng, float(times[-1] + 2), None, cents / 100)
    sound = (sound / np.abs(sound).max() * 0.7).astype(np.float32)
    return sound, times, np.array(pitches), places, strokes


def as_file(sound: np.ndarray, rate: int = RATE, form: str = "WAV", subtype: str | None = None) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, sound, rate, format=form, subtype=subtype)
    return out.getvalue()


def clicks(sound: np.ndarray, beats: int, quarter: float, first: float) -> np.ndarray:
    """A count-in whose next click would lie at `first`."""
    y = sound.copy()
    t = np.arange(800) / RATE
    for k in range(beats):
        at = int((first - (beats - k) * quarter) * RATE)
        y[at : at + 800] += (0.5 * np.sin(2 * np.pi * (1000 if k else 1500) * t) * np.exp(-t / 0.01)).astype(np.float32)
    return y
