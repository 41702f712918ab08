"""Thirty invented solos of all kinds, and what a teacher would say of each, written down before the tool was asked.

Each is sixteen bars or so, made of a choice of pitches laid over a rhythm, so that one thing at a time is out of the
ordinary. `says` is the teacher's sentence; `work` the habits any of which may lead; `keep` whether the take may be kept
as it is; `style` whom it is compared with (a jig is no pop song, and pop songs are pentatonic themselves).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import cycle, islice

import numpy as np

from stylemeter.music.chords.symbols import parse_symbol
from stylemeter.music.keys import parse_key
from stylemeter.music.melody import Melody
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build

#: Rhythms: lengths in quarters, rests negative; repeated to the end.
VARIED = "1 1/2 1/2 3/2 1/2 | -1/2 1/2 1 1/2 1/2 -1 | 1/2 1/2 1/2 1/2 1 1 | 2 -2"
SONG = "1/2 1/2 1 1 -1 | 1/2 1/2 3/2 1/2 -1 | 1 1/2 1/2 1/2 1/2 -1 | 3 -1"
EIGHTHS = "1/2 1/2 1/2 1/2 1/2 1/2 1/2 1/2"
TRIPLETS = " ".join(["1/3"] * 12)
QUARTERS = "1 1 1 1"
LONG = "4 | 2 2 | 4 | 3 -1"
SHUFFLE = "2/3 1/3 2/3 1/3 2/3 1/3 1 | 2/3 1/3 1 -1 1 | 2/3 1/3 2/3 1/3 1 -1 | 2 -2"
BLUES = "1 1/2 1/2 1 -1 | -1 1/2 1/2 2 | 1/2 1/2 1 1 -1 | -4"
WALTZ = "1 1/2 1/2 1 | 2 -1 | 1/2 1/2 1 1 | 3"
JIG = "1/2 1/2 1/2 1 1/2 | 1/2 1/2 1/2 3/2 | 1 1/2 1/2 1/2 1/2 | 3/2 1 -1/2"
SIXTEENTHS = " ".join(["1/4"] * 16)
TWO_A_BAR = "2 2"

MAJOR = (0, 2, 4, 5, 7, 9, 11)
MINOR = (0, 2, 3, 5, 7, 8, 10)
HARMONIC = (0, 2, 3, 5, 7, 8, 11)
DORIAN = (0, 2, 3, 5, 7, 9, 10)
MINOR_FIVE = (0, 3, 5, 7, 10)
MAJOR_FIVE = (0, 2, 4, 7, 9)
BLUES_SIX = (0, 3, 5, 6, 7, 10)


@dataclass(frozen=True)
class Solo:
    """A solo and what is to be said of it."""

    name: str
    says: str
    work: frozenset[str]
    keep: bool
    style: str
    melody: Melody


def _on(scale: Sequence[int], tonic: int, steps: Sequence[int]) -> list[int]:
    """Scale steps as MIDI numbers, 0 the tonic."""
    size = len(scale)
    return [tonic + 12 * (s // size) + scale[s % size] for s in steps]


def _up_and_down(low: int, high: int) -> list[int]:
    return [*range(low, high), *range(high, low, -1)]


def _walk(seed: int, low: int, high: int, moves: Sequence[int], count: int = 300) -> list[int]:
    """A walk over scale steps with chosen moves, turned at the ends."""
    rng = np.random.default_rng(seed)
    at, found = (low + high) // 2, []
    for _ in range(count):
        found.append(at)
        move = int(rng.choice(moves))
        at = at + move if low <= at + move <= high else at - move
    return found


#: Moves of a singable line: steps, thirds, a repeat, now and then a fourth, a fifth, a sixth.
SUNG = (-1, -1, 1, 1, -2, 2, 0, 0, 3, -3, 4, -5)


def _play(
    pitches: Sequence[int], rhythm: str, *, key: str, meter: str = "4/4", bars: int = 16, chords: str = ""
) -> Melody:
    top, bottom = (int(n) for n in meter.split("/"))
    end = Fraction(4 * top, bottom) * bars
    lengths = [Fraction(t) for t in rhythm.replace("|", " ").split()]
    now, notes = Fraction(0), []
    source: Iterator[int] = cycle(pitches)
    for length in cycle(lengths):
        if now >= end:
            break
        if length > 0:
            notes.append(RawNote(int(now * TICKS), int(length * TICKS), float(next(source))))
        now += abs(length)
    symbols = [parse_symbol(s, int(i * Fraction(4 * top, bottom) * TICKS)) for i, s in enumerate(chords.split())]
    return build(Draft(notes, [Meter(0, top, bottom)], key=parse_key(key), chords=symbols or None))


def _lick(lick: str, times: int, between: Sequence[int], tonic: int) -> list[int]:
    """A lick over and over."""
    return [tonic + int(n) for n in lick.split()] * times + list(between)


def solos() -> list[Solo]:
    """The thirty."""
    c, a, d, e, g = 60, 57, 62, 64, 67

    def solo(
        name: str, says: str, work: str, pitches: Sequence[int], rhythm: str, style: str = "pop-songs", **more: object
    ) -> Solo:
        found = work.split()
        habits = frozenset(found) - {"keep"}
        melody = _play(pitches, rhythm, **more)  # type: ignore[arg-type]
        return Solo(name, says, habits, not habits or "keep" in found, style, melody)

    sung = _on(MAJOR, c, _walk(1, -1, 9, SUNG))
    sung_minor = _on(DORIAN, d, _walk(2, -1, 9, SUNG))
    runs = _on(MAJOR, c, _up_and_down(0, 9))
    roots = [c, e, c, g, c, d, c, 69]
    lick = [0, 2, 4, 7, 9, 7, 4, 2, 0, -3, 0, 4, 7, 0]
    return [
        solo("runs", "It runs up and down the scale.", "runs stepwise rhythm", runs, EIGHTHS, key="C major"),
        solo("runs in a song's rhythm", "It runs up and down the scale.", "runs stepwise", runs, VARIED, key="C major"),
        solo(
            "box runs",
            "Up and down the box.",
            "runs scale rhythm",
            _on(MINOR_FIVE, a, _up_and_down(0, 9)),
            EIGHTHS,
            key="A minor",
        ),
        solo(
            "harmonic runs",
            "Up and down harmonic minor.",
            "runs stepwise rhythm",
            _on(HARMONIC, a, _up_and_down(0, 9)),
            EIGHTHS,
            key="A minor",
        ),
        solo(
            "chromatic runs", "Fret after fret.", "runs stepwise rhythm", _up_and_down(57, 72), EIGHTHS, key="A minor"
        ),
        solo(
            "box noodling",
            "It never leaves the box.",
            "scale",
            _on(MINOR_FIVE, a, _walk(3, 0, 9, (-1, 1, -2, 2, 3, -1, 0))),
            VARIED,
            "old-fiddle-tunes",
            key="A minor",
        ),
        solo(
            "arpeggios only",
            "Broken chords from end to end.",
            "rhythm space",
            [60, 64, 67, 72, 67, 64, 57, 60, 64, 69, 64, 60, 65, 69, 72, 65, 69, 72, 67, 71, 74, 71, 67, 62],
            EIGHTHS,
            key="C major",
        ),
        solo(
            "blues with air",
            "A blues that breathes: keep it.",
            "",
            _on(BLUES_SIX, a, _walk(4, 0, 9, (-1, 1, -2, 2, 0, 1, -1, 3))),
            BLUES,
            key="A minor",
            chords="A7 D7 A7 A7 D7 D7 A7 A7 E7 D7 A7 E7 A7 D7 A7 E7",
        ),
        solo(
            "waltz",
            "A tune that sings: keep it.",
            "",
            _on(MAJOR, g, _walk(5, -3, 6, SUNG)),
            WALTZ,
            key="G major",
            meter="3/4",
            bars=24,
        ),
        solo(
            "jig",
            "A jig: keep it.",
            "",
            _on(MAJOR, d, _walk(6, -2, 8, SUNG)),
            JIG,
            "old-fiddle-tunes",
            key="D major",
            meter="6/8",
            bars=24,
        ),
        solo(
            "shuffle",
            "A shuffle that breathes: keep it.",
            "",
            _on(BLUES_SIX, e - 12, _walk(7, 2, 11, (-1, 1, -2, 2, 0, 3, -3))),
            SHUFFLE,
            key="E minor",
        ),
        solo(
            "bebop line",
            "A stream of eighths without a breath.",
            "rhythm space runs stepwise",
            [
                62,
                64,
                65,
                69,
                67,
                66,
                65,
                62,
                59,
                62,
                65,
                68,
                67,
                65,
                64,
                62,
                60,
                64,
                67,
                71,
                69,
                67,
                64,
                60,
                63,
                62,
                61,
                60,
                59,
                57,
                55,
                57,
            ],
            EIGHTHS,
            key="C major",
            chords="Dm7 G7 Cmaj7 A7",
        ),
        solo(
            "riff of one note",
            "One note, hammered.",
            "rhythm space root scale",
            [57] * 7 + [60] + [57] * 6 + [62, 60],
            EIGHTHS,
            key="A minor",
        ),
        solo(
            "two notes a bar",
            "Long notes, two a bar.",
            "rhythm",
            _on(MAJOR, c, _walk(8, 0, 8, SUNG)),
            TWO_A_BAR,
            key="C major",
            bars=24,
        ),
        solo(
            "one lick four times",
            "The same lick again and again.",
            "same_lick",
            [c + n for n in lick],
            "1/2 1/2 1/2 1 1/2 1 | 1/2 1/2 1/2 1/2 1 1 | 1 3 | -4",
            key="C major",
        ),
        solo("song", "It sings: keep it.", "", sung, SONG, key="C major"),
        solo("song in minor", "It sings: keep it.", "", sung_minor, SONG, key="D dorian"),
        solo(
            "varied line", "It speaks: keep it.", "", _on(MAJOR, g - 12, _walk(9, 0, 10, SUNG)), VARIED, key="G major"
        ),
        solo(
            "hung on the root",
            "It comes home on every beat.",
            "root",
            roots * 3 + [c, 65, c, 67, c, 64],
            VARIED,
            key="C major",
        ),
        solo(
            "root pedal",
            "Every second note is the root.",
            "root",
            [n for pair in zip([c] * 40, _on(MAJOR, c, _walk(10, 1, 8, (1, -1, 2, -2))), strict=False) for n in pair],
            VARIED,
            key="C major",
        ),
        solo(
            "triplets all the way",
            "Triplets from end to end.",
            "rhythm space",
            _on(MAJOR, c, _walk(11, -1, 9, SUNG)),
            TRIPLETS,
            key="C major",
            bars=12,
        ),
        solo(
            "sixteenths all the way",
            "It never stops.",
            "rhythm space",
            _on(MAJOR, c, _walk(12, -1, 9, SUNG)),
            SIXTEENTHS,
            key="C major",
            bars=10,
        ),
        solo(
            "quarters all the way",
            "Quarters from end to end.",
            "rhythm space",
            _on(MAJOR, c, _walk(13, -1, 9, SUNG)),
            QUARTERS,
            key="C major",
            bars=24,
        ),
        solo(
            "no air",
            "It never breathes.",
            "space",
            sung,
            "1 1/2 1/2 3/2 1/2 | 1/2 1/2 1 1/2 1/2 1 | 3/4 1/4 1/2 1/2 1 1 | 1/2 1/2 1/4 1/4 1/2 1/2 1/2 1",
            key="C major",
        ),
        solo(
            "everything stepwise",
            "Every note goes to its neighbour.",
            "stepwise runs",
            _on(MAJOR, c, _walk(14, 0, 9, (1, -1))),
            VARIED,
            key="C major",
        ),
        solo(
            "long notes",
            "Long notes with room: little to say.",
            "",
            _on(MAJOR, c, _walk(15, 0, 8, SUNG)),
            LONG,
            key="C major",
            bars=32,
        ),
        solo(
            "call and answer",
            "It asks and answers: keep it.",
            "",
            [60, 62, 64, 67, 69, 67, 64, 62, 64, 60, 65, 69, 67, 72, 71, 69, 64, 67, 62, 60],
            "1/2 1/2 1 1 -1 | 1/2 1/2 1 -2 | 1/2 1/2 1/2 1/2 1 -1 | 1 1/2 1/2 -2",
            key="C major",
        ),
        solo(
            "major pentatonic tune",
            "Five notes, and it sings: keep it or one colour more.",
            "keep scale",
            _on(MAJOR_FIVE, g, _walk(16, -1, 7, (-1, 1, 0, 2, -2, 1, -1))),
            SONG,
            key="G major",
        ),
        solo(
            "half a solo of runs",
            "The second half runs up and down.",
            "runs stepwise",
            [*islice(sung, 52), *(runs * 6)],
            VARIED,
            key="C major",
            bars=24,
        ),
        solo(
            "wide leaps",
            "It leaps about: told, not worked on.",
            "",
            _on(MAJOR, c, _walk(17, -2, 11, (4, -4, 5, -5, 7, -6, 3, -3))),
            VARIED,
            key="C major",
        ),
    ]
