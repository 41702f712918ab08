"""Invented solos, and what the tests of edits and amounts share."""

import math

import numpy as np
from helpers.placements import solo

from stylemeter.features import CATALOG, Line, measure
from stylemeter.music.melody import Chord, Key, Technique, grid_columns
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build

Q, E, S = TICKS, TICKS // 2, TICKS // 4
MAJOR = (0, 2, 4, 5, 7, 9, 11)
C = Key(0, "major", "given")


def walk(seed, notes=64):
    """An invented solo: wandering, with runs, rests, chords, marks; another rhythm and meter a seed."""
    rng = np.random.default_rng(seed)
    values = ([E], [E, S, Q], [E, 3 * S, S, Q], [Q, E, E])[seed % 4]
    degree, way, now, found = 14, 1, 0, []
    for _ in range(notes):
        way = -way if rng.random() < 0.25 or not 3 < degree < 25 else way
        degree = min(max(degree + way * int(rng.choice([1, 1, 1, 2, 3, 0])), 0), 28)
        pitch = 40 + 12 * (degree // 7) + MAJOR[degree % 7] + int(rng.random() < 0.06)
        marks = Technique(int(rng.choice([0, 0, 0, 1, 16, 64])))
        length = int(rng.choice(values))
        found.append(RawNote(now, length, float(pitch), marks))
        now += length + int(rng.choice([0] * 8 + [Q, E]))
    roots = (4, 9, 11, 4)
    chords = [Chord(4 * Q * i, r, "7", tuple((r + t) % 12 for t in (0, 4, 7, 10))) for i, r in enumerate(roots * 20)]
    meter = ((4, 4), (3, 4), (6, 8))[seed % 3]
    return build(Draft(found, [Meter(0, *meter)], key=Key(4, "major", "given"), chords=chords))


def value(melody, name):
    found = CATALOG[name].value(Line(melody))
    return found if isinstance(found, float) else math.nan


def valid(edited, before):
    """Every note has its place on the grid, in order, and no note was made to overlap another."""
    assert np.all(np.diff(edited.onset) > 0)
    index = np.searchsorted(edited.bars.line, edited.onset, side="right") - 1
    assert index.min() >= 0
    assert np.all(edited.onset < edited.bars.end[index])
    for column, there in zip(
        grid_columns(edited.onset, edited.meters, edited.bars), ("bar", "beat", "weight"), strict=True
    ):
        assert np.array_equal(column, getattr(edited, there))
    assert edited.pitch.min() > -0.5
    assert edited.pitch.max() < 127.5
    assert (edited.bars, edited.meters, edited.key, edited.chords) == (
        before.bars,
        before.meters,
        before.key,
        before.chords,
    )
    if before.duration is not None:
        assert edited.duration.min() > 0
        assert overlaps(edited) <= overlaps(before)


def overlaps(melody):
    return int(np.count_nonzero((melody.onset + melody.duration)[:-1] > melody.onset[1:]))


def target(name, start, up):
    """A range that starts a fair way off and is as wide as norms are."""
    low, high = CATALOG[name].bounds
    far = 0.25 * max(abs(start), 0.2)
    room = (high - start if up else start - low) * 0.6
    near = min(far, room) if math.isfinite(room) else far
    wide = 1.5 * max(abs(start), 0.2)
    return (start + near, start + near + wide) if up else (start - near - wide, start - near)


def targets(melody):
    """A range above and one below the value of every feature measured, where there is room."""
    for name, start in measure(melody).values.items():
        if math.isfinite(start):
            for up in (True, False):
                low, high = target(name, start, up)
                if (start < low) if up else (high < start):
                    yield name, up, low, high


def scales(runs):
    """Scale runs of five quarter-note-long eighths up from C, each ended by a leap down."""
    return solo([60, 62, 64, 65, 67] * runs, [E] * 5 * runs, key=C)
