"""Seventeen invented solos, each written to be judged, and what a teacher should be told of it: written first.

`leads` is what may come first (a habit, or "" for none shown), `never` what must not be said. Common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from stylemeter.music.chords.symbols import parse_symbol
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build

MAJOR, MINOR_PENTATONIC, HARMONIC_MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 3, 5, 7, 10), (0, 2, 3, 5, 7, 8, 11)
EIGHTH = Fraction(1, 2)


@dataclass(frozen=True)
class Judged:
    """A solo, the style it is compared with, and the sentence expected."""

    name: str
    melody: Melody
    expected: str
    leads: tuple[str, ...]
    never: tuple[str, ...] = ()
    style: str = "pop-songs"
    where: str = ""


def melody(notes: Sequence[tuple[int | None, Fraction]], key: str, chords: str = "") -> Melody:
    """Notes one after the other, (pitch or None for a rest, quarters); chords as "Dm7 G7 Cmaj7", one a bar, again."""
    now, found = Fraction(0), []
    for pitch, length in notes:
        if pitch is not None:
            found.append(RawNote(int(now * TICKS), int(length * TICKS), float(pitch)))
        now += length
    names = chords.split()
    symbols = [parse_symbol(names[i % len(names)], 4 * i * TICKS) for i in range(-(-int(now) // 4))] if names else []
    return build(Draft(found, [Meter(0, 4, 4)], key=parse_key(key), chords=symbols))


def even(pitches: Sequence[int], length: Fraction = EIGHTH) -> list[tuple[int | None, Fraction]]:
    return [(pitch, length) for pitch in pitches]


def ladder(scale: Sequence[int], tonic: int, octaves: int) -> list[int]:
    return [tonic + 12 * o + d for o in range(octaves) for d in scale] + [tonic + 12 * octaves]


def up_and_down(steps: Sequence[int], notes: int) -> list[int]:
    once = [*steps, *steps[-2:0:-1]]
    return [once[i % len(once)] for i in range(notes)]


def varied(seed: int, bars: int, scale: Sequence[int] = MAJOR, tonic: int = 60, reach: int = 4) -> list:
    """A line of mixed moves and rhythms in phrases of two bars, each ending in a held note or a rest."""
    rng = np.random.default_rng(seed)
    steps = [tonic - 12 + d + 12 * o for o in range(4) for d in scale]
    figures = [(1, EIGHTH, EIGHTH, 1, 1), (Fraction(3, 2), EIGHTH, 1, EIGHTH, EIGHTH), (EIGHTH, 1, EIGHTH, 2),
               (1, 1, EIGHTH, EIGHTH, 1), (2, EIGHTH, EIGHTH, 1)]  # fmt: skip
    ends = [(1, EIGHTH, Fraction(-5, 2)), (EIGHTH, EIGHTH, 1, -2), (Fraction(3, 2), EIGHTH, -2)]
    at, notes = len(scale) + 2, []
    for bar in range(bars):
        for length in (ends if bar % 2 else figures)[int(rng.integers(3 if bar % 2 else 5))]:
            if length < 0:
                notes.append((None, -Fraction(length)))
                continue
            at = int(np.clip(at + rng.choice([-reach, -3, -2, -1, 1, 2, 3, reach]), 3, len(steps) - 4))
            notes.append((steps[at], Fraction(length)))
    return notes


def _root_pedal() -> list:
    rng = np.random.default_rng(4)
    notes = []
    for bar in range(20):
        for _ in range(4 if bar % 4 < 3 else 2):
            notes += [(60, EIGHTH), (int(rng.choice([64, 67, 69, 65, 72, 57])), EIGHTH)]
        if bar % 4 == 3:
            notes += [(60, Fraction(1)), (None, Fraction(1))]
    return notes


def _chord_roots() -> list:
    rng = np.random.default_rng(5)
    notes = []
    for bar in range(24):
        root = (50, 55, 48, 57)[bar % 4]
        other = [int(root + x) for x in rng.choice([3, 5, 7, 10, 14, 16], 4)]
        notes += [(root, Fraction(1)), (other[0], EIGHTH), (other[1], EIGHTH), (root + 12, EIGHTH)]
        notes += [(other[2], EIGHTH), (other[3] if bar % 2 else None, Fraction(1))]
    return notes


def _bebop() -> list:
    """Eighths over ii-V-I: chord tones, enclosures, approach notes, a rest at each phrase end."""
    phrase = [
        [62, 65, 69, 72, 71, 68, 70, 69], [67, 71, 74, 77, 76, 73, 75, 74], [72, 71, 67, 64, 66, 65, 63, 64],
        [None, 67, 69, 72, 76, 74, None, None],
    ]  # fmt: skip
    moved = [0, 2, -3, 5, 1, -2]
    notes = []
    for i, up in enumerate(moved):
        for j, bar in enumerate(phrase):
            row = bar if (i + j) % 3 else bar[::-1]
            notes += [(None if p is None else p + up, EIGHTH) for p in row]
    return notes


def _call_and_response() -> list:
    calls = ([67, 69, 72], [67, 69, 74], [67, 72, 76], [64, 67, 72])
    answers = ([76, 72, 69, 67], [74, 72, 67, 64], [72, 76, 79, 76], [69, 67, 64, 60])
    notes = []
    for i in range(12):
        a, b, c = calls[i % 4]
        notes += [(a, EIGHTH), (b, EIGHTH), (c, Fraction(3, 2)), (None, Fraction(3, 2))]
        w, x, y, z = answers[(i + i // 4) % 4]
        notes += [(None, EIGHTH), (w, EIGHTH), (x, EIGHTH), (y, EIGHTH), (z, Fraction(1)), (None, Fraction(1))]
    return notes


def _blues() -> list:
    """A figure of the blues scale, brought back with other ends, a rest after each."""
    figure = [(69, EIGHTH), (72, EIGHTH), (74, EIGHTH), (75, Fraction(1, 4)), (74, Fraction(1, 4)), (72, Fraction(1))]
    ends = [[(69, Fraction(1))], [(67, EIGHTH), (69, EIGHTH)], [(76, Fraction(1))], [(72, EIGHTH), (67, EIGHTH)]]
    notes = []
    for i in range(16):
        notes += figure + ends[i % 4] + [(None, Fraction(4))][: i % 2]
    return notes


def _zigzag() -> list:
    rng = np.random.default_rng(7)
    steps, at, notes = ladder(MAJOR, 60, 2), 6, []
    lengths = [1, EIGHTH, EIGHTH, Fraction(3, 2), EIGHTH, 2, EIGHTH, EIGHTH, 1]
    for i in range(108):
        at += int(rng.choice([-1, 1])) if 1 < at < 13 else (1 if at <= 1 else -1)
        notes.append((steps[at], Fraction(lengths[i % 9])))
        if i % 18 == 17:
            notes.append((None, Fraction(1)))
    return notes


def _wide_stream() -> list[int]:
    rng = np.random.default_rng(8)
    steps = ladder(MAJOR, 52, 3)
    at, pitches = 10, []
    for _ in range(144):
        move = int(rng.choice([-5, -4, -3, 3, 4, 5, 2, -2]))
        at = at + move if 0 <= at + move < len(steps) else at - move
        pitches.append(steps[at])
    return pitches


def _riff() -> list:
    """One note, a fifth of the key, in a rhythm with rests; its octave at times."""
    bar = [(76, Fraction(3, 4)), (76, Fraction(1, 4)), (76, EIGHTH), (None, EIGHTH), (76, Fraction(3, 4))]
    bar += [(76, Fraction(1, 4)), (76, EIGHTH), (None, EIGHTH)]
    other = [(76, EIGHTH), (76, EIGHTH), (None, EIGHTH), (76, Fraction(3, 4)), (76, Fraction(1, 4)), (76, Fraction(1))]
    other += [(None, EIGHTH)]
    return (bar + other) * 12


def _long_notes() -> list:
    rng = np.random.default_rng(9)
    line = varied(10, 1)
    steps, at, line = ladder(MAJOR, 60, 2), 5, []
    for i in range(64):
        move = int(rng.choice([-3, -2, -1, 1, 2, 4]))
        at = at + move if 0 <= at + move < len(steps) else at - move
        line.append((steps[at], Fraction(int(rng.choice([2, 3, 4, 1])))))
        if i % 6 == 5:
            line.append((None, Fraction(2)))
    return line


def solos() -> list[Judged]:
    """The seventeen, in the order they are listed to the reader."""
    c_major = ladder(MAJOR, 60, 2)
    chromatic = list(range(60, 80))
    arpeggios = [[60, 64, 67, 71], [57, 60, 64, 67], [62, 65, 69, 72], [55, 59, 62, 65]]
    broken = [p + 12 * (i // 4 % 2) for i in range(20) for p in (arpeggios[i % 4] + arpeggios[i % 4][::-1])]
    triplets = [steps for steps, _ in varied(11, 60) if steps is not None][:144]
    half = varied(12, 16) + even(up_and_down(c_major, 96))
    c_only = varied(13, 40, reach=5)
    stream = "the eighths never stop"
    return [
        Judged("scale runs", melody(even(up_and_down(c_major, 192)), "C major"), "It runs up and down the scale.",
               ("runs",), ("root",), where="throughout"),
        Judged("pentatonic box", melody(even(up_and_down(ladder(MINOR_PENTATONIC, 57, 2), 192)), "A minor"),
               "It runs up and down the pentatonic box.", ("runs",), where="throughout"),
        Judged("harmonic minor runs", melody(even(up_and_down(ladder(HARMONIC_MINOR, 57, 2), 192)), "A minor"),
               "It runs up and down the harmonic minor scale.", ("runs",), where="throughout"),
        Judged("chromatic runs", melody(even(up_and_down(chromatic, 192)), "C major"), "It runs up and down by frets.",
               ("runs", "stepwise"), ("scale", "root"), where="throughout"),
        Judged("arpeggios", melody(even(broken), "C major", "Cmaj7 Am7 Dm7 G7"), f"One note value: {stream}.",
               ("rhythm", "space"), ("runs", "stepwise")),
        Judged("root pedal", melody(_root_pedal(), "C major"), "It hangs on the root.", ("root",), ("runs",)),
        Judged("chord roots", melody(_chord_roots(), "C major", "Dm7 G7 Cmaj7 Am7"),
               "It hangs on the root of each chord.", ("root",), ("runs", "stepwise")),
        Judged("repeated-note riff", melody(_riff(), "A minor"), "One note is nearly all it plays.",
               ("scale", ""), ("runs", "stepwise", "space")),
        Judged("bebop line", melody(_bebop(), "C major", "Dm7 G7 Cmaj7 Cmaj7"), "None of the habits.",
               ("",), ("runs", "stepwise", "root", "scale", "space"), style="jazz-solos"),
        Judged("triplets only", melody(even(triplets, Fraction(1, 3)), "C major"), "One note value: triplets.",
               ("rhythm", "space"), ("runs", "root")),
        Judged("long notes", melody(_long_notes(), "C major"), "None of the habits.", ("",),
               ("runs", "rhythm", "space")),
        Judged("call and response", melody(_call_and_response(), "C major"), "None of the habits.", ("",),
               ("runs", "stepwise", "space", "rhythm")),
        Judged("blues with a motif", melody(_blues(), "A minor"), "One scale at most: the blues scale.",
               ("", "scale"), ("runs", "space", "rhythm")),
        Judged("half a solo of runs", melody(half, "C major"), "It runs in its second half.", ("runs",), where="part"),
        Judged("wide stream", melody(even(_wide_stream()), "C major"), f"One note value: {stream}.",
               ("rhythm", "space"), ("runs", "stepwise", "root")),
        Judged("zigzag", melody(_zigzag(), "C major"), "It moves by steps only.", ("stepwise",), ("runs", "rhythm")),
        Judged("C major only", melody(c_only, "C major", "Cmaj7 A7 Dm7 G7"), "It stays in C major.",
               ("scale",), ("runs", "stepwise"), style="jazz-solos"),
    ]  # fmt: skip
