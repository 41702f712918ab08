"""Editors that move single notes to another pitch: each tries every note at every distance and proposes the best.

Conventions: a `Gain` is worked out for all moves at once, of shape (n_offsets, n_notes): how far a move takes the
feature towards its range, in its own counting units, other moves left aside.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import Scene

__all__ = [
    "by_class",
    "by_interval",
    "by_interval_entropy",
    "by_pair",
    "degrees",
    "leap",
    "move_notes",
    "of_chord",
    "repeats",
    "semitone",
    "size",
    "skip",
    "step",
]

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Gain = Callable[[Scene, Ints], Floats]
Editor = Callable[[Scene], list[Edit]]

#: Distances tried, the nearest first.
OFFSETS = np.array([way * distance for distance in range(1, 13) for way in (1, -1)], dtype=np.int64)
#: Gain of a move, as a share of the best one's, below which it isn't proposed yet.
LEAST_GAIN = 0.4
#: Semitones a move may go beyond the line's range: any, and one to a certain note of the key or chord.
BEYOND, BEYOND_FOR_CLASS = 2, 5
#: What a move costs for making a repeated note, and for each semitone, against a gain of one count.
REPEAT_COST, DISTANCE_COST = 0.05, 0.005


def move_notes(
    gain: Gain,
    *,
    reach: int,
    where: Callable[[Scene], Bools] | None = None,
    allow: Callable[[Scene], Floats] | None = None,
) -> Editor:
    """Make an editor that moves notes.

    Parameters
    ----------
    gain : callable
    reach : int
        How many places further on the gain of a move depends on: 0 for the note alone, 1 for its intervals, 2 for
        pairs of intervals.
    where : callable, optional
        `Scene -> ndarray of bool`: notes that may move; all by default.
    allow : callable, optional
        `Scene -> ndarray of shape (12,) or (n_notes, 12)`: the classes there should be more of, which may lie outside
        the key where a note has none of them inside; else notes stay in the key.
    """

    def editor(scene: Scene) -> list[Edit]:
        q = scene.line.q
        new = q + OFFSETS[:, None]
        beyond = BEYOND if allow is None else BEYOND_FOR_CLASS
        allowed = (new >= max(0, int(q.min()) - beyond)) & (new <= min(127, int(q.max()) + beyond))
        allowed &= _classes(scene, allow)[np.arange(scene.n), new % 12]
        if where is not None:
            allowed &= where(scene)
        gained = gain(scene, new)
        cost = REPEAT_COST * _repeats(q, new) + DISTANCE_COST * np.abs(OFFSETS)[:, None]
        score = np.where(allowed & (gained > 1e-9), gained - cost, -np.inf)
        best = score.argmax(axis=0)
        top = score[best, np.arange(scene.n)]
        # what gains far less than the best is left for a later round, when it may gain nothing or more
        top[top < LEAST_GAIN * top.max(initial=0.0)] = -np.inf
        order = np.lexsort((np.arange(scene.n), -np.round(top, 6)))
        return [
            Edit(pitch=((row, int(new[best[row], row])),), claims=frozenset(range(row, row + reach + 1)))
            for row in order.tolist()
            if np.isfinite(top[row])
        ]

    return editor


def _classes(scene: Scene, allow: Callable[[Scene], Floats] | None) -> Bools:
    """Pitch classes each note may move to."""
    inside = np.broadcast_to(scene.inside, (scene.n, 12))
    if allow is None or not scene.up:
        return inside
    wanted = np.broadcast_to(allow(scene) > 0, (scene.n, 12))
    none_inside = ~np.any(wanted & inside, axis=1)
    classes: Bools = inside | (wanted & none_inside[:, None])
    return classes


def _repeats(q: Ints, new: Ints) -> Ints:
    """Notes beside it that a moved note repeats."""
    left, right = _sides(q, new)
    count = np.zeros(new.shape, dtype=np.int64)
    count[:, 1:] += left[:, 1:] == 0
    count[:, :-1] += right[:, :-1] == 0
    return count


def _sides(q: Ints, new: Ints) -> tuple[Ints, Ints]:
    """Intervals to and from each moved note; 0 where there is no neighbour."""
    left, right = np.zeros(new.shape, dtype=np.int64), np.zeros(new.shape, dtype=np.int64)
    left[:, 1:] = new[:, 1:] - q[:-1]
    right[:, :-1] = q[1:] - new[:, :-1]
    return left, right


# -- intervals ---------------------------------------------------------------------------------------------------


def step(k: Ints) -> Bools:
    """Whether an interval is a step."""
    found: Bools = (np.abs(k) >= 1) & (np.abs(k) <= 2)
    return found


def skip(k: Ints) -> Bools:
    """Whether an interval is a skip."""
    found: Bools = (np.abs(k) == 3) | (np.abs(k) == 4)
    return found


def leap(k: Ints) -> Bools:
    """Whether an interval is a leap."""
    found: Bools = np.abs(k) >= 5
    return found


def semitone(k: Ints) -> Bools:
    """Whether an interval is a semitone."""
    found: Bools = np.abs(k) == 1
    return found


def repeats(k: Ints) -> Bools:
    """Whether an interval repeats the note."""
    found: Bools = k == 0
    return found


def size(k: Ints) -> Ints:
    """Size of an interval."""
    return np.abs(k)


def by_interval(count: Callable[[Ints], npt.NDArray[np.generic]]) -> Gain:
    """Gain of a feature that adds something up over the intervals."""

    def gain(scene: Scene, new: Ints) -> Floats:
        q = scene.line.q
        left, right = _sides(q, new)
        there = np.zeros(new.shape)
        there[:, 1:] += count(left[:, 1:]).astype(float)
        there[:, :-1] += count(right[:, :-1]).astype(float)
        own = count(scene.line.k).astype(float)
        there[:, 1:] -= own
        there[:, :-1] -= own
        return scene.sign * there

    return gain


def by_interval_entropy(scene: Scene, new: Ints) -> Floats:
    """Gain in bits (times the number of intervals) from commoner to rarer ones, each counted on its own."""
    counts = np.bincount(scene.line.k + 127, minlength=255).astype(float)
    arriving = -np.log2(counts + 1)
    leaving = -np.log2(np.maximum(counts, 1))
    left, right = _sides(scene.line.q, new)
    own = leaving[scene.line.k + 127]
    bits = np.zeros(new.shape)
    bits[:, 1:] += arriving[np.clip(left[:, 1:] + 127, 0, 254)] - own
    bits[:, :-1] += arriving[np.clip(right[:, :-1] + 127, 0, 254)] - own
    return scene.sign * bits


Pair = Callable[[Ints, Ints], Bools]


def by_pair(counted: Pair, of: Pair, *, steady: bool = False, moving: bool = False) -> Gain:
    """Gain of a share over pairs of neighbouring intervals.

    Parameters
    ----------
    counted, of : callable
        Pairs counted, of those the share is taken of.
    steady : bool
        Whether the pairs it is taken of must stay as many.
    moving : bool
        Whether a moved note may not repeat its neighbour: for a share that passes repeats over.
    """

    def both(a: Ints, b: Ints) -> tuple[Ints, Ints]:
        base = of(a, b)
        return (base & counted(a, b)).astype(np.int64), base.astype(np.int64)

    def gain(scene: Scene, new: Ints) -> Floats:
        k = np.concatenate(([0, 0], scene.line.k, [0, 0]))
        two_before, before, after, two_after = (k[j : j + scene.n] for j in range(4))
        left, right = _sides(scene.line.q, new)
        count, base = np.zeros(new.shape), np.zeros(new.shape)
        windows = (((two_before, before), (two_before, left)), ((before, after), (left, right)))
        for old, moved in (*windows, ((after, two_after), (right, two_after))):
            was, now = both(*old), both(*moved)
            count += now[0] - was[0]
            base += now[1] - was[1]
        gained: Floats = scene.sign * (count - scene.value * base)
        unfit = (base != 0) & steady | ((left == 0) | (right == 0)) & moving
        return np.where(unfit, 0.0, gained)

    return gain


# -- notes of the key and of the chord ---------------------------------------------------------------------------


def degrees(*wanted: int) -> Callable[[Scene], Floats]:
    """Of the twelve pitch classes, those on the wanted degrees above the tonic."""

    def classes(scene: Scene) -> Floats:
        found = np.zeros(12)
        if scene.line.key is not None:
            found[[(scene.line.key.tonic + degree) % 12 for degree in wanted]] = 1.0
        return found

    return classes


def by_class(classes: Callable[[Scene], Floats], *, long_first: bool = False) -> Gain:
    """Gain of a share of notes in some pitch classes.

    Parameters
    ----------
    classes : callable
        `Scene -> ndarray of shape (12,) or (n_notes, 12)`.
    long_first : bool
        Whether a note counts by its duration.
    """

    def gain(scene: Scene, new: Ints) -> Floats:
        table = np.broadcast_to(classes(scene), (scene.n, 12))
        rows = np.arange(scene.n)
        change = table[rows, new % 12] - table[rows, scene.line.q % 12]
        weight = scene.line.duration / scene.line.duration.max() if long_first else 1.0
        return scene.sign * change * weight

    return gain


def of_chord(kind: str) -> Callable[[Scene], Floats]:
    """Of the twelve pitch classes, at each note, those that are a "tone", the "root", an "extension" or a "guide"."""

    def classes(scene: Scene) -> Floats:
        chords = scene.line.melody.chords or ()
        index = np.searchsorted([c.onset for c in chords], scene.line.onset, side="right") - 1
        tables = np.stack([np.zeros(12), *(_chord_classes(c.root, c.pitch_classes, kind) for c in chords)])
        return tables[index + 1]

    return classes


def _chord_classes(root: int | None, tones: tuple[int, ...], kind: str) -> Floats:
    found = np.zeros(12)
    if root is None:
        return found
    above = {(p - root) % 12 for p in tones}
    guides = {3, 4, 10, 11} | ({9} if above == {0, 3, 6, 9} else set())
    wanted = {
        "tone": above,
        "root": {0},
        "extension": {1, 2, 5, 6, 8, 9} - above,
        "guide": above & guides,
    }[kind]
    found[[(root + degree) % 12 for degree in sorted(wanted)]] = 1.0
    return found
