"""Takes to measure on: lines of their own kind, played by held-out sound fonts and samples, put through rooms and noise.

Nothing here is shared with the simulator that trains, but for the samples' resampling: lines are made on a grid with
rests, phrases and human timing; fonts are played by fluidsynth, bends and vibrato by its pitch wheel; rooms are image
sources of a shoebox; the band is a sound font's.
"""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

import mido
import numpy as np
import soundfile
from scipy import signal

from stylemeter.reading.audio.spectra import RATE

FONTS = {
    "fluid": "/usr/share/sounds/sf2/FluidR3_GM.sf2",
    "general": "/usr/share/sounds/sf3/MuseScore_General_Full.sf3",
    "tim": "/usr/share/sounds/sf2/TimGM6mb.sf2",
}
GUITARS = {"nylon": 24, "steel": 25, "jazz": 26, "clean": 27, "muted": 28, "overdriven": 29, "distorted": 30}
#: Pitch wheel range set on every channel (semitones).
WHEEL = 12


@dataclass
class Played:
    """A note of a take: seconds, MIDI pitch, strength from 0 to 1; `bend` in semitones, `vibrato` in cents."""

    time: float
    length: float
    pitch: int
    strength: float = 0.75
    bend: float = 0.0
    vibrato: float = 0.0
    lower: bool = False


@dataclass
class Take:
    """A sound, its notes, where its first beat lies and how fast it is (quarter notes a minute)."""

    name: str
    sound: np.ndarray
    notes: list[Played]
    tempo: float
    first_beat: float = 0.5
    beats: list[float] = field(default_factory=list)


RHYTHMS = {
    "plain": ((0.5, 0.5), (1,), (0.5, 0.5), (1, -1), (0.25, 0.25, 0.5), (0.5, -0.5), (1.5, 0.5), (2,)),
    "dense": ((0.25,) * 4, (0.25,) * 4, (0.5, 0.25, 0.25), (1 / 3,) * 3, (0.5, 0.5)),
    "triplet": ((1 / 3,) * 3, (1 / 3,) * 3, (0.5, 0.5), (1,), (2 / 3, 1 / 3)),
    "mixed": ((0.5, 0.5), (0.25,) * 4, (1 / 3,) * 3, (1,), (0.75, 0.25), (-0.5, 0.5), (1, -1), (0.25, 0.5, 0.25)),
}


def line(
    rng: np.random.Generator, tempo: float, beats: int = 48, kind: str = "mixed", low: int = 45, high: int = 79,
    jitter: float = 0.012, repeats: float = 0.06,
) -> tuple[list[Played], list[float]]:  # fmt: skip
    """A line on a grid, played with human timing; and where each note is written (quarter notes)."""
    quarter = 60 / tempo
    scale = [(0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 9, 10), (0, 3, 5, 6, 7, 10), (0, 2, 4, 7, 9)][rng.integers(4)]
    root = int(rng.integers(12))
    pool = [p for p in range(low, high + 1) if (p - root) % 12 in scale]
    at, drift = len(pool) // 2, int(rng.choice([-1, 1]))
    notes: list[Played] = []
    places: list[float] = []
    beat = 0.0
    while beat < beats:
        cells = RHYTHMS[kind]
        for part in cells[rng.integers(len(cells))]:
            if part > 0:
                if rng.random() > repeats or not notes:
                    step = drift if rng.random() < 0.6 else int(rng.integers(-5, 6)) or 1
                    at += step
                    if not 0 <= at < len(pool) or rng.random() < 0.15:
                        drift = -drift
                    at = min(max(at, 0), len(pool) - 1)
                time = 0.5 + beat * quarter + rng.normal(0, jitter)
                if notes:
                    time = max(time, notes[-1].time + 0.05)
                hold = quarter * part * float(np.clip(rng.normal(0.9, 0.1), 0.5, 1.02))
                notes.append(Played(time, max(hold, 0.05), pool[at], float(np.clip(rng.normal(0.75, 0.12), 0.35, 1))))
                places.append(beat)
            beat += abs(part)
    for a, b in zip(notes, notes[1:], strict=False):
        a.length = min(a.length, b.time - a.time - 0.002) if b.pitch == a.pitch else a.length
        a.length = min(a.length, b.time - a.time + 0.01)
    return notes, places


def expressive(notes: list[Played], rng: np.random.Generator, bends: float = 0.0, vibrato: float = 0.0) -> list[Played]:
    """Bend or shake some of the longer notes."""
    out = []
    for note in notes:
        if note.length > 0.3 and rng.random() < bends:
            note = replace(note, bend=float(rng.choice([1, 2, 2, 3])))
        elif note.length > 0.4 and rng.random() < vibrato:
            note = replace(note, vibrato=float(rng.uniform(18, 50)))
        out.append(note)
    return out


def stopped(notes: list[Played], rng: np.random.Generator, share: float = 0.4, chords: bool = False) -> list[Played]:
    """Put lower voices under some notes."""
    out = []
    for note in notes:
        if note.length > 0.12 and rng.random() < share:
            below = (
                rng.choice([3, 4, 5, 7, 8, 9, 12], size=1)
                if not chords
                else [(4, 7), (3, 8), (5, 9), (5, 8, 12)][rng.integers(4)]
            )
            for k, interval in enumerate(below):
                if note.pitch - interval >= 38:
                    early = (k + 1) * rng.uniform(0, 0.008)
                    out.append(
                        Played(
                            note.time - early, note.length, note.pitch - int(interval), note.strength * 0.9, lower=True
                        )
                    )
        out.append(note)
    return sorted(out, key=lambda n: n.time)


def fluid(takes: list[tuple[int, list[Played]]], font: str, gap: float = 1.5) -> list[np.ndarray]:
    """Play lines on programs of a font: one run for all of them."""
    events: list[tuple[float, int, mido.Message]] = []
    begin, cuts = 0.5, []
    for program, notes in takes:
        events.append((begin - 0.1, 0, mido.Message("program_change", program=program)))
        for control, value in ((101, 0), (100, 0), (6, WHEEL), (38, 0)):
            events.append((begin - 0.09, 0, mido.Message("control_change", control=control, value=value)))
        for i, note in enumerate(notes):
            end = note.time + note.length
            again = [n.time for n in notes[i + 1 : i + 10] if n.pitch == note.pitch]
            end = min([end, *(t - 0.004 for t in again)])
            a, b = begin + note.time, begin + max(end, note.time + 0.03)
            events.append((a, 3, mido.Message("note_on", note=note.pitch, velocity=max(1, int(note.strength * 115)))))
            events.append((b, 1, mido.Message("note_off", note=note.pitch)))
            if note.bend or note.vibrato:
                for t in np.arange(0, note.length, 0.005):
                    events.append((a + t, 2, mido.Message("pitchwheel", pitch=_wheel(note, t))))
                events.append((b + 0.001, 2, mido.Message("pitchwheel", pitch=0)))
        length = max(n.time + n.length for n in notes) + 1.0
        cuts.append((begin, length))
        begin += length + gap
    file = mido.MidiFile(ticks_per_beat=2000)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    now = 0
    for time, _, message in sorted(events, key=lambda e: (round(e[0] * 2000), e[1])):
        tick = round(time * 2000)
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.Message("note_on", note=1, velocity=0, time=4000))
    with tempfile.TemporaryDirectory() as folder:
        midi, wave = Path(folder, "a.mid"), Path(folder, "a.wav")
        file.save(midi)
        command = [
            "fluidsynth",
            "-ni",
            "-R",
            "0",
            "-C",
            "0",
            "-g",
            "0.5",
            "-F",
            str(wave),
            "-r",
            "48000",
            FONTS[font],
            str(midi),
        ]
        subprocess.run(command, check=True, capture_output=True)
        sound, rate = soundfile.read(wave, dtype="float32")
    mono = signal.resample_poly(sound.mean(axis=1), RATE, rate).astype(np.float32)
    pieces = [mono[int(a * RATE) : int((a + b) * RATE)] for a, b in cuts]
    return [p / (np.abs(p).max() + 1e-9) * np.float32(0.7) for p in pieces]


def _wheel(note: Played, t: float) -> int:
    """Position of the pitch wheel in a bent or shaken note."""
    semitones = 0.0
    if note.bend:
        part = float(np.clip((t - 0.05) / 0.14, 0, 1))
        semitones = note.bend * part * part * (3 - 2 * part)
    if note.vibrato and t > 0.12:
        semitones = note.vibrato / 100 * np.sin(2 * np.pi * 5.5 * (t - 0.12)) * min(1, (t - 0.12) / 0.1)
    return int(np.clip(semitones / WHEEL * 8192, -8192, 8191))


def level(x: np.ndarray) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(x**2)) + 1e-9)


def shoebox(rng: np.random.Generator, size: tuple[float, float, float], decay: float, far: float) -> np.ndarray:
    """Answer of a room by image sources [1]_, its walls equal; the direct sound at sample 0.

    .. [1] J. B. Allen & D. A. Berkley, "Image method for efficiently simulating small-room acoustics", JASA 65(4), 1979.
    """
    room = np.array(size)
    volume, area = room.prod(), 2 * (room[0] * room[1] + room[1] * room[2] + room[0] * room[2])
    absorbed = min(0.9, 0.161 * volume / (decay * area))
    source = room * rng.uniform(0.3, 0.6, 3)
    turn = rng.normal(size=3)
    ear = np.clip(source + far * turn / np.linalg.norm(turn), 0.2, room - 0.2)
    order = int(min(28, np.ceil(343 * decay / room.min() / 2)))
    n = np.arange(-order, order + 1)
    grid = np.array(np.meshgrid(n, n, n, indexing="ij")).reshape(3, -1).T
    answer = np.zeros(int((decay * 1.1 + 0.1) * RATE))
    direct = np.linalg.norm(source - ear)
    for side in np.ndindex(2, 2, 2):
        image = (1 - 2 * np.array(side)) * source + 2 * grid * room
        distance = np.linalg.norm(image - ear, axis=1)
        bounces = np.abs(2 * grid - np.array(side)).sum(axis=1) / 1.0
        gain = (1 - absorbed) ** (bounces / 2) / np.maximum(distance, 0.1)
        when = ((distance - direct) / 343 * RATE).astype(int)
        good = (when >= 0) & (when < len(answer))
        np.add.at(answer, when[good], gain[good] * np.where(rng.random(good.sum()) < 0.5, 1, 1))
    # walls take more of the treble with every bounce: the tail through a low-pass
    tail = answer.copy()
    tail[:8] = 0
    b, a = signal.butter(1, 4500 / (RATE / 2))
    return (answer - tail + signal.lfilter(b, a, tail)) / answer[:8].max()


def in_room(x: np.ndarray, answer: np.ndarray) -> np.ndarray:
    """A sound in a room."""
    y = signal.fftconvolve(x, answer)[: len(x)].astype(np.float32)
    return y / np.abs(y).max() * np.float32(0.7)


def amped(x: np.ndarray, drive: float) -> np.ndarray:
    """Drive at four times the rate and a cabinet."""
    up = signal.resample_poly(x / level(x), 4, 1)
    y = signal.resample_poly(np.tanh(up * drive), 1, 4)
    b, a = signal.butter(2, [90 / (RATE / 2), 4800 / (RATE / 2)], "band")
    y = signal.lfilter(b, a, y)
    return (y / np.abs(y).max() * 0.7).astype(np.float32)


def with_noise(x: np.ndarray, rng: np.random.Generator, decibels: float) -> np.ndarray:
    """White noise this far under the sound."""
    return (x + rng.standard_normal(len(x)) * level(x) * 10 ** (-decibels / 20)).astype(np.float32)


def hummed(x: np.ndarray, rng: np.random.Generator, decibels: float) -> np.ndarray:
    """Mains hum."""
    t = np.arange(len(x)) / RATE
    h = sum(np.sin(2 * np.pi * 50 * k * t + rng.uniform(0, 6)) / k for k in (1, 2, 3, 5, 7))
    return (x + h / level(h) * level(x) * 10 ** (-decibels / 20)).astype(np.float32)


def clicked(x: np.ndarray, tempo: float, decibels: float, first: float = 0.5, pitch: float = 1500.0) -> np.ndarray:
    """A metronome, its peak against the sound's."""
    y = x.copy()
    t = np.arange(int(0.05 * RATE)) / RATE
    k, time = 0, first
    peak = np.abs(x).max() * 10 ** (decibels / 20)
    while time < len(x) / RATE - 0.1:
        s = int(time * RATE)
        click = np.sin(2 * np.pi * pitch * (1.5 if k % 4 == 0 else 1) * t) * np.exp(-t / 0.01)
        y[s : s + len(t)] += (peak * click).astype(np.float32)
        time += 60 / tempo
        k += 1
    return y


def band(rng: np.random.Generator, seconds: float, tempo: float, font: str = "general") -> np.ndarray:
    """Bass, piano and drums of a sound font."""
    quarter = 60 / tempo
    file = mido.MidiFile(ticks_per_beat=1000)
    events: list[tuple[float, int, mido.Message]] = [
        (0, 0, mido.Message("program_change", program=33, channel=0)),
        (0, 0, mido.Message("program_change", program=int(rng.choice([0, 4, 16, 48])), channel=1)),
    ]
    root = int(rng.integers(29, 41))
    for b in range(int(seconds / quarter)):
        t = 0.5 + b * quarter
        chord = root + [0, 0, 5, 7][(b // 4) % 4]
        for pitch, channel, length in [(chord, 0, 0.9)] + [(chord + k, 1, 1.8) for k in (19, 24, 28) if b % 2 == 0]:
            events += [(t, 2, mido.Message("note_on", note=pitch, velocity=85, channel=channel)),
                       (t + length * quarter, 1, mido.Message("note_off", note=pitch, channel=channel))]  # fmt: skip
        for drum, when in ((36 if b % 2 == 0 else 38, 0), (42, 0), (42, 0.5)):
            events += [(t + when * quarter, 2, mido.Message("note_on", note=drum, velocity=80, channel=9)),
                       (t + when * quarter + 0.1, 1, mido.Message("note_off", note=drum, channel=9))]  # fmt: skip
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    now = 0
    for time, _, message in sorted(events, key=lambda e: (round(e[0] * 1000), e[1])):
        track.append(message.copy(time=round(time * 1000) - now))
        now = round(time * 1000)
    with tempfile.TemporaryDirectory() as folder:
        midi, wave = Path(folder, "a.mid"), Path(folder, "a.wav")
        file.save(midi)
        subprocess.run(["fluidsynth", "-ni", "-R", "0", "-C", "0", "-g", "0.5", "-F", str(wave), "-r", "48000", FONTS[font], str(midi)],
                       check=True, capture_output=True)  # fmt: skip
        sound, rate = soundfile.read(wave, dtype="float32")
    mono = signal.resample_poly(sound.mean(axis=1), RATE, rate).astype(np.float32)
    return np.pad(mono, (0, max(0, int(seconds * RATE) - len(mono))))[: int(seconds * RATE)]


def phoned(x: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A phone's microphone: narrow, with automatic gain, noise and a low bit rate codec."""
    b, a = signal.butter(2, [200 / (RATE / 2), 5500 / (RATE / 2)], "band")
    y = signal.lfilter(b, a, x)
    envelope = np.sqrt(signal.lfilter(*signal.butter(1, 2 / (RATE / 2)), y**2).clip(1e-8)) + 0.02
    y = y / envelope**0.5
    y = with_noise(y.astype(np.float32), rng, 28)
    return (y / np.abs(y).max() * 0.7).astype(np.float32)


def coded(x: np.ndarray, kind: str) -> np.ndarray:
    """Through a lossy codec and back, no shift left in."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "a." + kind.lower())
        form, sub = ("MP3", "MPEG_LAYER_III") if kind == "MP3" else ("OGG", "VORBIS")
        with soundfile.SoundFile(path, "w", RATE, 1, format=form, subtype=sub, compression_level=0.85) as file:
            for k in range(0, len(x), RATE * 10):
                file.write(x[k : k + RATE * 10])
        y, _ = soundfile.read(path, dtype="float32")
    lag = int(np.argmax(signal.correlate(y[: RATE * 6], x[: RATE * 6], "full", "fft"))) - min(len(x), RATE * 6) + 1
    y = y[max(lag, 0) :] if lag >= 0 else np.pad(y, (-lag, 0))
    return np.pad(y, (0, max(0, len(x) - len(y))))[: len(x)]


def detuned(x: np.ndarray, cents: float) -> np.ndarray:
    """Faster or slower by some cents; times change by as much (under 3 %): scale them by `2 ** (-cents / 1200)`."""
    n = len(x)
    place = np.arange(int(n * 2 ** (-cents / 1200))) * 2 ** (cents / 1200)
    return np.interp(place, np.arange(n), x).astype(np.float32)


def echoed(x: np.ndarray, delay: float, gain: float) -> np.ndarray:
    """An echo pedal with feedback."""
    y, d = x.copy(), int(delay * RATE)
    for k in range(1, 5):
        if k * d < len(x):
            y[k * d :] += gain * 0.5 ** (k - 1) * x[: len(x) - k * d]
    return y / np.abs(y).max() * np.float32(0.7)
