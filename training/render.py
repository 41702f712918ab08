"""From a line to its sound and exact labels: strings with slurs, slides, bends, vibrato, ringing and double stops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stylemeter.reading.audio.spectra import HOP, PITCH_LOW, PITCHES, RATE
from training.lines import Stroke, line
from training.sounds import Guitar

__all__ = ["Labels", "Truth", "render", "segment"]


@dataclass
class Truth:
    """One note that sounds; times in seconds, glide and sway in cents from `pitch`, a value a sample from `begin`."""

    time: float
    end: float
    pitch: int
    how: str
    begin: float
    #: What moves the note from place to place (bends, slides), and what only sways about it (vibrato, tuning).
    glide: np.ndarray
    sway: np.ndarray
    upper: bool = True
    bend: float = 0.0


@dataclass
class Labels:
    """What the network is to say: arrays of shape (n_frames, PITCHES), bytes; `cents` from -127 to 127."""

    onset: np.ndarray
    sounding: np.ndarray
    line: np.ndarray
    cents: np.ndarray


def _string(guitar: Guitar, pitch: float, cents: np.ndarray, rng: np.random.Generator, skip: int) -> np.ndarray:
    """A note of a sample near the pitch, resampled along a curve of cents."""
    far = np.array([abs(q - pitch) for q, _ in guitar])
    own, sound = guitar[int(rng.choice(np.flatnonzero(far <= far.min() + rng.choice([0.5, 1.5, 4]))))]
    speed = 2 ** ((pitch - own) / 12 + cents[:-1] / 1200)
    place = skip + np.concatenate([[0], np.cumsum(speed)])
    m = int(np.searchsorted(place, len(sound) - 2))
    whole = place[:m].astype(np.int64)
    part = (place[:m] - whole).astype(np.float32)
    out = np.zeros(len(cents), np.float32)
    out[:m] = sound[whole] * (1 - part) + sound[whole + 1] * part
    return out


def _bend(stroke: Stroke, t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Cents of a bend."""
    wait, rise = rng.uniform(0, 0.15), rng.uniform(0.08, 0.35)
    up = np.clip((t - wait) / rise, 0, 1)
    up = up * up * (3 - 2 * up)
    down = 1 - np.clip((t - max(wait + rise, stroke.length - rng.uniform(0.15, 0.35))) / 0.12, 0, 1)
    if stroke.shape == "pre":
        up = np.ones_like(up)
    if stroke.shape in ("pre", "release"):
        up = up * down
    return 100 * stroke.bend * up


def _slide(a: Stroke, b: Stroke, t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Cents of a slide, reached when the second note begins."""
    far = b.pitch - a.pitch
    # a short slide is quicker than any bend: that is how they are told apart
    longest = 0.05 if abs(far) <= 3 else 0.35
    lasts = max(0.01, min(rng.uniform(0.015, longest), b.time - a.time - 0.03))
    part = np.clip((t - (b.time - a.time - lasts * 0.85)) / lasts, 0, 1)
    if rng.random() < 0.6:  # over frets
        part = np.round(part * abs(far)) / abs(far)
    return 100 * far * part


def _vibrato(t: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Cents of a vibrato: about the note, or above it as fretted strings are bent."""
    depth, rate, start = rng.uniform(8, 60), rng.uniform(3.8, 7.5), rng.uniform(0.03, 0.3)
    sway = np.sin(2 * np.pi * rate * (t - start))
    if rng.random() < 0.5:
        sway = 0.5 * (1 + np.sin(2 * np.pi * rate * (t - start) - np.pi / 2)) * 1.3
    return depth * sway * np.clip((t - start) / 0.15, 0, 1)


def render(
    strokes: list[Stroke], guitar: Guitar, rng: np.random.Generator, seconds: float, ring: float | None, detuned: float
) -> tuple[np.ndarray, list[Truth]]:
    """Play a line: its sound, and its notes as they sound."""
    total = int(seconds * RATE)
    y = np.zeros(total + RATE, np.float32)
    truth: list[Truth] = []
    release = float(rng.choice([0.01, 0.03, 0.06, 0.15])) if ring is None else ring
    i = 0
    while i < len(strokes):
        stroke, j = strokes[i], i + 1
        if stroke.how == "dead":
            _knock(y, stroke, rng)
        else:
            while j < len(strokes) and strokes[j].how == "slide":
                j += 1
            chain = strokes[i:j]
            following = strokes[j] if j < len(strokes) else None
            truth += _pluck(y, chain, following, guitar, rng, release, detuned)
        i = j
    return y[:total], sorted(truth, key=lambda n: n.time)


def _knock(y: np.ndarray, stroke: Stroke, rng: np.random.Generator) -> None:
    """A dead note: a knock without pitch."""
    start, m = int(stroke.time * RATE), int(rng.uniform(0.02, 0.06) * RATE)
    z = rng.standard_normal(m) * np.exp(-np.arange(m) / (m / 5))
    z = np.convolve(z, np.ones(6) / 6, "same").astype(np.float32)
    if start + m < len(y):
        y[start : start + m] += z * stroke.strength * 0.5


def _pluck(
    y: np.ndarray,
    chain: list[Stroke],
    following: Stroke | None,
    guitar: Guitar,
    rng: np.random.Generator,
    release: float,
    detuned: float,
) -> list[Truth]:
    """One excitation of a string, sliding through a chain of notes, with the voices below it."""
    first, last = chain[0], chain[-1]
    end = last.time + last.length
    stop = end + 3 * release
    if following is not None:
        same = abs(following.pitch - last.pitch) <= (2 if release > 0.2 else 4)
        if same or release <= 0.2:
            stop = min(stop, following.time + rng.uniform(0, 0.02 if rng.random() < 0.7 else 0.08))
    stop = max(stop, first.time + 0.04)
    start = int(first.time * RATE)
    m = min(int((stop - first.time + 0.02) * RATE), len(y) - start - 1)
    if m < 300:
        return []
    t = np.arange(m) / RATE
    glide, sway = np.zeros(m), np.full(m, 100.0 * detuned)
    for a, b in zip(chain, chain[1:], strict=False):
        glide += _slide(a, b, t - (a.time - first.time), rng)
    if first.how == "bend" and len(chain) == 1:
        glide += _bend(first, t, rng)
    elif first.how == "pick" and len(chain) == 1 and first.length > 0.2 and rng.random() < 0.03:  # slid into
        glide += 100 * rng.choice([-4, -3, -2, -1, 1, 2]) * (1 - np.clip(t / rng.uniform(0.04, 0.12), 0, 1))
    if last.how == "vibrato" or (first.how == "bend" and rng.random() < 0.4):
        sway += _vibrato(t - (last.time - first.time), rng)
    out: list[Truth] = []
    spread = rng.uniform(0, 0.012) if len(first.below) < 2 else rng.uniform(0.002, 0.02)
    for voice, pitch in enumerate([first.pitch, *first.below]):
        # strummed downwards: the lowest string first
        shift = -int(voice * spread * RATE) if voice else 0
        a = max(0, start + shift)
        x = _string(guitar, pitch, glide + sway, rng, int(0.02 * RATE) if first.how == "hammer" else 0)
        x = _shaped(x, first, t, end, release, rng) * (
            first.strength if not voice else first.strength * rng.uniform(0.5, 0.95)
        )
        y[a : a + m] += x
        out += _notes(chain, x, pitch - first.pitch, a / RATE - first.time, glide, sway, upper=not voice)
    return out


def _shaped(
    x: np.ndarray, first: Stroke, t: np.ndarray, end: float, release: float, rng: np.random.Generator
) -> np.ndarray:
    """The envelope of a note as it is played."""
    m = len(x)
    if first.strength < 0.5 and rng.random() < 0.5:  # struck softly, a string is duller
        width = int(rng.integers(2, 9))
        x = np.convolve(x, np.ones(width, np.float32) / width, "same").astype(np.float32)
    if first.how == "hammer":
        fade = min(m, int(rng.uniform(0.004, 0.015) * RATE))
        x[:fade] *= np.linspace(0, 1, fade, dtype=np.float32)
        x *= np.float32(rng.uniform(0.5, 0.95))
    if first.how == "mute":
        x *= np.exp(-t / rng.uniform(0.02, 0.14)).astype(np.float32)
        x = np.convolve(x, np.ones(4, np.float32) / 4, "same").astype(np.float32)
    off = int((end - first.time) * RATE)
    if off < m:
        x[off:] *= np.exp(-np.arange(m - off) / (release * RATE + 1)).astype(np.float32)
    fade = min(m, int(0.008 * RATE))
    x[-fade:] *= np.linspace(1, 0, fade, dtype=np.float32)
    return x


def _notes(
    chain: list[Stroke], x: np.ndarray, interval: int, shift: float, glide: np.ndarray, sway: np.ndarray, *, upper: bool
) -> list[Truth]:
    """The notes of a chain, each until it ends or can't be heard any more."""
    level = np.sqrt(np.maximum.reduceat(x**2, np.arange(0, len(x), HOP)))
    heard = np.flatnonzero(level > 0.02 * level.max())
    begin = chain[0].time + shift
    silent = begin + ((heard[-1] + 1) * HOP / RATE if len(heard) else 0.05)
    out = []
    for a, b in zip(chain, [*chain[1:], None], strict=True):
        end = min(b.time if b else a.time + a.length, max(silent, a.time + 0.04))
        time = a.time + shift if a is chain[0] else a.time
        # frames are labelled along the glide, counted from the chain's first note
        out.append(
            Truth(
                time,
                end,
                a.pitch + interval,
                a.how,
                begin,
                glide - 100 * (a.pitch - chain[0].pitch),
                sway,
                upper,
                a.bend,
            )
        )
    return out


def labels(truth: list[Truth], seconds: float) -> Labels:
    """Labels of a sound."""
    count = int(seconds * RATE / HOP)
    shape = (count, PITCHES)
    onset, sounding, top, cents = (np.zeros(shape, np.float32) for _ in range(4))
    frame = np.arange(count)
    for note in sorted(truth, key=lambda n: n.upper):
        at = note.time * RATE / HOP
        a, b = int(round(at)), max(int(round(at)) + 2, int(round(note.end * RATE / HOP)))
        q = np.arange(max(a, 0), min(b, count))
        if not len(q):
            continue
        sample = np.clip((q * HOP - note.begin * RATE).astype(int), 0, len(note.glide) - 1)
        place = note.pitch + note.glide[sample] / 100
        row = np.floor(place + 0.5).astype(int)
        inside = (row >= PITCH_LOW) & (row < PITCH_LOW + PITCHES)
        if not inside.all():
            q, sample, place, row = q[inside], sample[inside], place[inside], row[inside]
        if not len(q):
            continue
        # struck where the note begins to sound, which is not its own place when it is slid into or bent
        struck = row[0] - PITCH_LOW if note.how != "slide" else note.pitch - PITCH_LOW
        low, high = max(0, int(at) - 3), min(count, int(at) + 5)
        if 0 <= struck < PITCHES:
            onset[low:high, struck] = np.maximum(
                onset[low:high, struck], np.clip(1 - np.abs(frame[low:high] - at) / 3, 0, 1)
            )
        sounding[q, row - PITCH_LOW] = 1
        cents[q, row - PITCH_LOW] = (place - row) * 100 + note.sway[sample]
        if note.upper:
            top[q, row - PITCH_LOW] = 1
    as_bytes = lambda a: (a * 255).astype(np.uint8)  # noqa: E731
    return Labels(
        as_bytes(onset), as_bytes(sounding), as_bytes(top), np.clip(np.round(cents), -127, 127).astype(np.int8)
    )


def clicks(rng: np.random.Generator, seconds: float, tempo: float, first: float) -> np.ndarray:
    """A metronome."""
    y = np.zeros(int(seconds * RATE), np.float32)
    pitch, lasts, kind = rng.uniform(600, 3500), rng.uniform(0.004, 0.03), rng.integers(4)
    accent = rng.choice([1, 1.5, 2])
    time, k = first, 0
    while time < seconds:
        m, start = int(lasts * 6 * RATE), int(time * RATE)
        t = np.arange(m) / RATE
        f = pitch * (accent if k % 4 == 0 else 1)
        z = rng.standard_normal(m) if kind == 1 else np.sin(2 * np.pi * f * t)
        if kind == 2:
            z = np.sign(z)
        if kind == 3:  # wood block: two inharmonic modes
            z = z + 0.6 * np.sin(2 * np.pi * f * 2.57 * t)
        if start >= 0 and start + m < len(y):
            y[start : start + m] += (z * np.exp(-t / lasts)).astype(np.float32)
        time += 60 / tempo
        k += 1
    return y


def backing(rng: np.random.Generator, seconds: float, tempo: float) -> np.ndarray:
    """A band in outline: bass, held or struck chords of one of several tone colours, drums."""
    total, quarter = int(seconds * RATE), 60 / tempo
    y = np.zeros(total, np.float32)
    t = np.arange(total) / RATE
    root, chord = int(rng.integers(28, 45)), 0
    partials = int(rng.integers(1, 9))
    colour = rng.uniform(0.3, 1.6)
    decay = float(rng.choice([0.2, 2, 5]))
    drums, chords, bass = rng.choice([0, 1, 1]), rng.choice([0.05, 0.15, 0.25]), rng.choice([0, 0.4, 0.7])
    lift = int(rng.choice([0, 12]))
    for b in range(int(seconds / quarter) + 1):
        s = int(b * quarter * RATE)
        m = min(int(quarter * RATE), total - s)
        if m < 100:
            break
        tt = t[:m]
        if b % 4 == 0:
            chord = int(rng.choice([0, 5, 7, 9]))
        f = 440 * 2 ** ((root + chord - 69) / 12)
        y[s : s + m] += (bass * np.sin(2 * np.pi * f * tt) * np.exp(-tt * 3)).astype(np.float32)
        for interval in (12, 12 + int(rng.choice([3, 4])), 19, 24):
            g = f * 2 ** ((interval + lift) / 12)
            tone = sum(np.sin(2 * np.pi * g * h * tt + h) / h**colour for h in range(1, partials + 1) if g * h < 7800)
            y[s : s + m] += (chords * tone * np.exp(-tt * decay)).astype(np.float32)
        if drums:
            k = min(m, int(0.08 * RATE))
            z = rng.standard_normal(k) * np.exp(-np.arange(k) / (RATE * 0.02))
            kick = 1.6 * np.sin(2 * np.pi * 60 * t[:k]) * np.exp(-t[:k] * 30)
            y[s : s + k] += (0.9 * z if b % 2 else kick).astype(np.float32)
            for half in (0, 0.5):
                h = s + int(half * quarter * RATE)
                k = min(total - h, int(0.03 * RATE))
                if k > 10:
                    hat = np.diff(rng.standard_normal(k + 1)) * 0.2 * np.exp(-np.arange(k) / (RATE * 0.008))
                    y[h : h + k] += hat.astype(np.float32)
    return y / (np.abs(y).max() + 1e-9)


def segment(
    rng: np.random.Generator, guitars: list[Guitar], seconds: float = 6.0
) -> tuple[np.ndarray, np.ndarray, float, Labels]:
    """One example: the guitar and what else sounds (16-bit samples), the band's level in it, the labels."""
    guitar = guitars[int(rng.integers(len(guitars)))]
    strokes, tempo = line(rng, seconds)
    ring = rng.uniform(0.2, 1.0) if rng.random() < 0.22 else None
    if rng.random() < 0.16:
        strokes = _stopped(strokes, rng)
    detuned = rng.uniform(-0.22, 0.22) if rng.random() < 0.4 else rng.normal(0, 0.03)
    y, truth = render(strokes, guitar, rng, seconds, ring, detuned)
    if rng.random() < 0.02:
        y, truth = 0 * y, []
    beside = np.zeros_like(y)
    band = 0.0
    u = rng.random()
    if u < 0.3 or 0.5 <= u < 0.58:
        beside += clicks(rng, seconds, tempo, rng.uniform(-1, 1)) * (1 if u < 0.3 else 0.5)
    if 0.3 <= u < 0.58:
        band = 10 ** rng.uniform(-1.5, 0.0)
        beside += backing(rng, seconds, tempo) * band
    scale = 30000 / (np.abs(y).max() + 1e-6)
    out = labels(truth, seconds)
    return (y * scale).astype(np.int16), (np.clip(beside, -1, 1) * 30000).astype(np.int16), band, out


def _stopped(strokes: list[Stroke], rng: np.random.Generator) -> list[Stroke]:
    """Put double stops, or chords, under some notes."""
    share, chords = rng.uniform(0.15, 0.8), rng.random() < 0.3
    for stroke in strokes:
        if stroke.how in ("pick", "vibrato") and rng.random() < share:
            if chords and stroke.length > 0.15:
                shape = rng.choice([(3, 7), (4, 7), (5, 9), (3, 8), (5, 8), (4, 9)])
                below = [int(stroke.pitch - k) for k in (*shape, 12)[: int(rng.integers(2, 4))]]
            else:
                below = [stroke.pitch - int(rng.choice([3, 4, 5, 7, 8, 9, 12]))]
            stroke.below = [p for p in below if p >= 36]
    return strokes
