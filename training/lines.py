"""Guitar lines at random: what is played when, and how. All ranges of the simulator that are about playing stand here."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

__all__ = ["Stroke", "line"]

SCALES = (
    (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10), (0, 2, 3, 5, 7, 9, 10), (0, 3, 5, 7, 10), (0, 2, 4, 7, 9),
    (0, 3, 5, 6, 7, 10), tuple(range(12)), (0, 1, 4, 5, 7, 8, 10), (0, 4, 7), (0, 3, 7, 10),
)  # fmt: skip
#: Rhythms of a beat or more (quarter notes).
CELLS = (
    (0.5,), (0.25, 0.25), (1,), (1 / 3,) * 3, (0.25,) * 4, (0.5, 0.5), (0.75, 0.25), (1.5,), (2,), (1 / 6,) * 3,
    (0.125,) * 4, (0.5, 1, 0.5), (2 / 3, 1 / 3), (3,),
)  # fmt: skip
LOWEST, HIGHEST = 35, 88
#: Shortest time between onsets (seconds): fast tapping.
SHORTEST = 0.05


@dataclass
class Stroke:
    """One note as played; times in seconds, `bend` in semitones."""

    time: float
    length: float
    pitch: int
    strength: float
    how: str = "pick"
    bend: float = 0.0
    shape: str = ""
    #: Lower voices of a double stop or chord.
    below: list[int] = field(default_factory=list)


def line(rng: np.random.Generator, seconds: float) -> tuple[list[Stroke], float]:
    """A line and its tempo."""
    tempo = rng.uniform(55, 210)
    quarter = 60 / tempo
    weights = rng.dirichlet(np.ones(len(CELLS)) * 0.5)
    scale, root = SCALES[rng.integers(len(SCALES))], int(rng.integers(0, 12))
    pool = [p for p in range(LOWEST, HIGHEST + 1) if (p - root) % 12 in scale]
    low = int(rng.integers(0, max(1, len(pool) - 7)))
    high = min(len(pool) - 1, low + int(rng.integers(5, 18)))
    at, t0 = int(rng.integers(low, high + 1)), rng.uniform(0.05, 0.8)
    repeats, rests, leaps = rng.choice([0.04, 0.15, 0.45]), rng.choice([0, 0.08, 0.2]), rng.choice([0.1, 0.3, 0.6])
    jitter, swing = rng.uniform(0, 0.025), rng.choice([0, 0, rng.uniform(0, 0.33)])
    hold, beat = rng.uniform(0.4, 1.05), 0.0
    # some players hardly accent, others let notes drop by 18 dB
    softest = float(rng.choice([0.0, 0.5, 0.9]))
    out: list[Stroke] = []
    while True:
        for part in CELLS[rng.choice(len(CELLS), p=weights)]:
            part = max(part, (SHORTEST + 0.005) / quarter)
            time = t0 + beat * quarter + rng.normal(0, jitter)
            if abs(beat % 1 - 0.5) < 0.01:
                time += swing * 0.5 * quarter
            if time > seconds:
                return _played(out, rng), tempo
            if rng.random() >= rests and time > 0.02:
                if rng.random() >= repeats:
                    step = int(rng.integers(-8, 9)) if rng.random() < leaps else int(rng.choice([-2, -1, 1, 2]))
                    at = min(max(at + step, low), high)
                if out:
                    time = max(time, out[-1].time + SHORTEST)
                held = min(1.1, max(0.25, rng.normal(hold, 0.15)))
                even = float(np.clip(rng.normal(0.75, 0.15), 0.2, 1))
                strength = even if not softest or rng.random() < 0.4 else 10 ** -rng.uniform(0, softest)
                out.append(Stroke(time, max(0.045, part * quarter * held), pool[at], strength))
            beat += part


def _played(strokes: list[Stroke], rng: np.random.Generator) -> list[Stroke]:
    """Say how each note of a line is played."""
    hows = ("pick", "hammer", "slide", "bend", "vibrato", "mute", "dead")
    chances = rng.dirichlet([8, 1.2, 0.7, 1.6, 1.0, 0.9, 0.4]) if rng.random() < 0.7 else np.eye(7)[0]
    for before, stroke in zip([None, *strokes], strokes, strict=False):
        stroke.how = hows[rng.choice(7, p=chances)]
        if stroke.how in ("hammer", "slide") and not _joins(before, stroke):
            stroke.how = "pick"
        elif stroke.how in ("hammer", "slide") and before is not None:
            before.length = stroke.time - before.time
        if stroke.how in ("bend", "vibrato") and stroke.length < 0.25:
            stroke.how = "pick"
        if stroke.how == "bend":
            stroke.bend = float(rng.choice([0.5, 1, 2, 2, 2, 3])) + rng.normal(0, 0.08)
            stroke.shape = str(rng.choice(["up", "up", "up", "release", "pre"]))
    return strokes


def _joins(before: Stroke | None, stroke: Stroke) -> bool:
    """Whether a note can be slurred from the one before it."""
    if before is None or before.how in ("dead", "mute", "bend"):
        return False
    reach = 12 if stroke.how == "hammer" else 9
    return 1 <= abs(before.pitch - stroke.pitch) <= reach and stroke.time - before.time <= 0.8
