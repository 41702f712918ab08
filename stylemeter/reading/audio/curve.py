"""What a note's pitch does while it sounds: bends, slides and vibrato, from the network's cents.

Conventions: a curve is in semitones (MIDI note numbers), one value a frame of `decoder.FRAME` seconds; depths in cents.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.music.melody import Technique
from stylemeter.reading.audio.decoder import FRAME, Note, odds
from stylemeter.reading.audio.network import Heard
from stylemeter.reading.audio.spectra import PITCH_LOW

__all__ = ["Gesture", "curve_of", "gestures", "joined"]

Floats = npt.NDArray[np.float64]

#: Semitones from which a note's rise or fall is a bend, and frames it takes at least to pass between.
BENT, BETWEEN = 0.65, 2
#: Frames a note bent before it is struck stays there at least.
HELD = 8
#: Frames that count: those where the note is at least this likely.
LIKELY = 0.3
#: Vibrato: rates (Hz), least depth (cents either way), shortest stretch (seconds), its share of the movement.
RATE_LOW, RATE_HIGH, SHAKEN, SHAKEN_LONG, SHAKEN_SHARE = 3.4, 8.5, 7.0, 0.25, 0.5
#: A note this surely struck is never the end of a bend; one less surely struck than this needs little more to be one.
STRUCK, UNSTRUCK = 0.8, 0.5
#: Semitones a bend spans at most, and frames between the two notes it was taken for.
SPAN, APART = 3, 3


@dataclass(frozen=True, slots=True)
class Gesture:
    """How a note is played.

    Attributes
    ----------
    technique : Technique
    depth : float
        Of a vibrato, cents either way; of a bend, cents from where it began; 0 where there is neither.
    cents : float
        Where the note stays, above its semitone.
    pitch : int
        What it is bent up to, where it is and stays so; else where it stays longest.
    """

    technique: Technique
    depth: float
    cents: float
    pitch: int


def curve_of(note: Note, heard: Heard) -> tuple[Floats, Floats]:
    """A note's curve, and how likely it sounds in each frame."""
    frames = np.arange(note.frame, note.frame + len(note.path))
    rows = note.path - PITCH_LOW
    curve = note.path + heard.cents[frames, rows].astype(np.float64) / 100
    return curve, odds(heard.line[frames, rows]).astype(np.float64)


def gestures(notes: list[Note], heard: Heard) -> list[Gesture]:
    """How each note is played."""
    out = []
    for before, note in zip([None, *notes], notes, strict=False):
        curve, likely = curve_of(note, heard)
        kept = curve[likely > LIKELY]
        technique, depth = _bend(kept)
        if not technique:
            shaken = _vibrato(kept)
            if shaken:
                technique, depth = Technique.VIBRATO, shaken
        if before is not None and _slid(before, note, heard):
            technique |= Technique.SLIDE
        stay = kept[np.abs(kept - note.pitch) < 0.6]
        bent = technique & Technique.BEND and not technique & Technique.RELEASE
        pitch = round(float(np.quantile(kept, 0.95))) if bent else note.pitch
        out.append(Gesture(technique, depth, 100 * float(np.median(stay) - note.pitch) if len(stay) else 0.0, pitch))
    return out


def _bend(curve: Floats) -> tuple[Technique, float]:
    """Bends of a curve and their span in cents."""
    if len(curve) < 8:
        return Technique(0), 0.0
    smooth = np.convolve(np.pad(curve, 1, "edge"), np.ones(3) / 3, "valid")
    begin, end = float(np.median(smooth[1:4])), float(np.median(smooth[-4:]))
    top = int(smooth.argmax())
    high = float(smooth[top])
    technique = Technique(0)
    if high - begin > BENT and _passes(smooth[: top + 1], begin, high):
        technique |= Technique.BEND
    if high - end > BENT and _passes(smooth[top:], end, high) and (technique or begin > end + BENT):
        if technique:
            technique |= Technique.RELEASE
        else:  # struck high: held there it was bent before, else only slid into
            held = int((smooth > high - 0.3).sum()) >= HELD
            technique = Technique.PRE_BEND | Technique.RELEASE if held else Technique.SLIDE
    return technique, 100 * (high - min(begin, end if not technique & Technique.BEND else begin)) if technique else 0.0


def _passes(curve: Floats, low: float, high: float) -> bool:
    """Whether a curve goes through the pitches between two, not past them at a leap."""
    margin = 0.2 * (high - low)
    return int(((curve > low + margin) & (curve < high - margin)).sum()) >= BETWEEN


def _vibrato(curve: Floats) -> float:
    """Depth of a vibrato in cents either way, 0 where there is none."""
    tail = curve[6:]
    if len(tail) * FRAME < SHAKEN_LONG:
        return 0.0
    t = np.arange(len(tail)) * FRAME
    moving = tail - np.polyval(np.polyfit(t, tail, min(3, len(tail) // 12)), t)
    size = 1024
    power = np.abs(np.fft.rfft(moving * np.hanning(len(moving)), size)) ** 2
    rate = np.fft.rfftfreq(size, FRAME)
    inside = (rate > RATE_LOW) & (rate < RATE_HIGH)
    if power.sum() <= 0 or power[inside].sum() < SHAKEN_SHARE * power.sum():
        return 0.0
    depth = 100 * float(np.sqrt(2 * np.mean(moving**2)))
    return depth if depth > SHAKEN else 0.0


def _slid(before: Note, note: Note, heard: Heard) -> bool:
    """Whether a note is slid into: the last frames of the one before move there through the pitches between."""
    far = note.first - before.pitch
    if abs(far) < 2 or note.frame - (before.frame + len(before.path)) > APART or note.onset > STRUCK:
        return False
    curve, likely = curve_of(before, heard)
    last = (curve[likely > LIKELY] - before.pitch)[-12:] / far
    return int(((last > 0.2) & (last < 1.2)).sum()) >= BETWEEN


def joined(notes: list[Note], heard: Heard) -> list[Note]:
    """The notes, bends that were taken for two notes made one."""
    out: list[Note] = []
    for note in notes:
        if out and _is_bend(out[-1], note, heard):
            out[-1] = _one(out[-1], note)
        else:
            out.append(note)
    return out


def _is_bend(a: Note, b: Note, heard: Heard) -> bool:
    """Whether two notes are one string bent: the second hardly struck, and reached through the pitches between."""
    gap = b.frame - (a.frame + len(a.path))
    if not 0 < b.first - a.path[-1] <= SPAN or gap > APART or b.onset > STRUCK:
        return False
    frames = np.arange(max(a.frame, b.frame - 8), min(len(heard.line), b.frame + 4))
    rows = np.arange(a.path[-1], b.first + 1) - PITCH_LOW
    line = odds(heard.line[frames][:, rows])
    best = line.argmax(axis=1)
    there = line.max(axis=1) > LIKELY
    curve = rows[best] + PITCH_LOW + heard.cents[frames, rows[best]] / 100
    part = (curve[there] - a.path[-1]) / (b.first - a.path[-1])
    between = int(((part > 0.15) & (part < 0.85)).sum())
    return between >= (1 if b.onset < UNSTRUCK else BETWEEN)


def _one(a: Note, b: Note) -> Note:
    """Two notes as one."""
    gap = max(0, b.frame - (a.frame + len(a.path)))
    path = np.concatenate([a.path, np.full(gap, a.path[-1]), b.path])
    pitch = int(np.bincount(path).argmax())
    steady = (a.steady * len(a.path) + b.steady * len(b.path)) / (len(a.path) + len(b.path))
    return Note(a.time, b.end, pitch, a.first, path, a.frame, a.onset, steady)
