"""A melody as one line to read: ``"C4:1 r:1/2 F#4:1/2 | G4:2"``, lengths in quarter notes, gaps as rests."""

from __future__ import annotations

import random
from fractions import Fraction

import numpy as np

from stylemeter.errors import InputError
from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS

NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def heard(melody: Melody) -> str:
    """Notes and gaps in order, bar lines where the printed bar's number changes."""
    words: list[str] = []
    end, bar = 0, None
    rows = zip(melody.onset.tolist(), melody.duration.tolist(), melody.pitch.tolist(), melody.bar.tolist(), strict=True)
    for onset, ticks, pitch, number in rows:
        if onset > end:
            words.append(f"r:{Fraction(onset - end, TICKS)}")
        if bar is not None and number != bar:
            words.append("|")
        name = f"{NAMES[int(pitch) % 12]}{int(pitch) // 12 - 1}" + ("" if pitch == int(pitch) else "+")
        words.append(f"{name}:{Fraction(ticks, TICKS)}")
        end, bar = onset + ticks, number
    return " ".join(words)


def beats(melody: Melody) -> list[str]:
    """Bar and beat of every note, as "2.1" or "0.4 1/2"."""
    out = []
    for bar, beat in zip(melody.bar.tolist(), melody.beat.tolist(), strict=True):
        part = Fraction(beat - 1).limit_denominator(1000)
        whole = int(part) + 1
        out.append(f"{bar}.{whole}" + (f" {part - int(part)}" if part != int(part) else ""))
    return out


def holds_together(melodies: list[Melody]) -> None:
    """What must be true of anything a reader returns."""
    assert melodies
    for melody in melodies:
        assert len(melody) > 0
        assert melody.duration is not None
        assert (melody.duration > 0).all()
        assert (melody.onset >= 0).all()
        assert ((melody.pitch >= 0) & (melody.pitch <= 127)).all()
        assert np.isfinite(melody.beat).all()
        assert (melody.beat >= 1).all()
        assert (melody.bar >= 0).all()
        assert (melody.weight <= 0).all()
        assert len(melody.remarks) <= 100


def damaged(data: bytes, rng: random.Random, words: list[bytes]) -> bytes:
    """A file with some bytes changed, left out, doubled, or odd words of its format put in."""
    found = bytearray(data)
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        at = rng.randrange(len(found)) if found else 0
        kind = rng.randrange(4)
        if kind == 0 and found:
            found[at] = rng.randrange(256)
        elif kind == 1:
            found[at:at] = rng.choice(words) * rng.choice((1, 1, 1, 4))
        elif kind == 2:
            del found[at : at + rng.choice((1, 5, 50))]
        else:
            start = rng.randrange(len(found)) if found else 0
            found[at:at] = found[start : start + rng.choice((3, 30))]
    return bytes(found)


def survives(read, seeds: list[bytes], words: list[bytes], count: int, seed: int) -> tuple[int, int]:
    """Read damaged files: melodies that hold together or an `InputError`; returns how many of each."""
    rng = random.Random(seed)
    good = bad = 0
    for _ in range(count):
        data = damaged(rng.choice(seeds), rng, words)
        problem = None
        try:
            holds_together(read(data))
            good += 1
        except InputError as error:
            problem = str(error)
        if problem is not None:
            assert problem
            assert "\n" not in problem
            bad += 1
    return good, bad
