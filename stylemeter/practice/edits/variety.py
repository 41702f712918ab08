"""Editors of variety: note values, times between notes, places in the bar and pitch classes made more even or less.

Conventions: what is varied is a list of values with their counts. A candidate takes some values away and brings some
in; candidates are taken one by one, the most telling first, each weighed against the counts the earlier ones left.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from typing import Literal

from stylemeter.features.line import CELL
from stylemeter.music.meter import TICKS
from stylemeter.practice.edits.air import hold
from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import SHORTEST, Scene
from stylemeter.practice.edits.timing import retimings

__all__ = ["shift_places", "spread_classes", "vary_values"]

Editor = Callable[[Scene], list[Edit]]
Field = Literal["duration", "ioi"]
Kind = Literal["entropy", "commonest"]
Values = tuple[int, ...]

#: How many of the commonest values a note of a pair may take.
COMMON_VALUES = 3
#: Gain below which a candidate is passed over.
LEAST = 1e-6


@dataclass(frozen=True, slots=True)
class Candidate:
    """The values an edit takes away, those it brings in, and how the edit is made, for most never are."""

    old: Values
    new: Values
    make: Callable[[], Edit]


class Spread:
    """Counts of values, and what is measured on them: their entropy, or the share of the commonest one."""

    def __init__(self, values: Iterable[int], kind: Kind) -> None:
        self.counts = Counter(values)
        self.kind = kind
        self.total = sum(self.counts.values())
        self.sum = sum(_term(c) for c in self.counts.values())
        self.most = max(self.counts.values())

    def gain(self, old: Values, new: Values) -> float:
        """How much the measure would rise."""
        self.take(old, new)
        total, terms, most = self.total, self.sum, max(self.counts.values())
        self.take(new, old)
        bits = math.log2(total / self.total) - terms / total + self.sum / self.total
        if self.kind == "entropy":
            return bits
        # of two equally common values one has to go first: the entropy decides
        return most / total - self.most / self.total - bits / 1000

    def take(self, old: Values, new: Values) -> None:
        """Make the change."""
        counts = self.counts
        for value in old:
            self.sum += _term(counts[value] - 1) - _term(counts[value])
            counts[value] -= 1
        for value in new:
            self.sum += _term(counts[value] + 1) - _term(counts[value])
            counts[value] += 1
        self.total += len(new) - len(old)

    def settle(self, old: Values, new: Values) -> None:
        """Make the change for good."""
        self.take(old, new)
        self.most = max(self.counts.values())


_TERMS = [c * math.log2(c) if c else 0.0 for c in range(4096)]


def _term(count: int) -> float:
    return _TERMS[count] if count < len(_TERMS) else count * math.log2(count)


def _taken(scene: Scene, spread: Spread, candidates: Iterable[Candidate]) -> list[Edit]:
    """Candidates that still help when their turn comes."""
    # many candidates do the same to the counts
    gains: dict[tuple[Values, Values], float] = {}
    ranked = []
    for j, candidate in enumerate(candidates):
        key = (candidate.old, candidate.new)
        if key not in gains:
            gains[key] = scene.sign * spread.gain(*key)
        ranked.append((gains[key], j, candidate))
    ranked.sort(key=lambda r: (-round(r[0], 9), r[1]))
    claimed: set[int] = set()
    edits = []
    for first, _, candidate in ranked:
        if first < LEAST:
            break
        if scene.sign * spread.gain(candidate.old, candidate.new) <= LEAST:
            continue
        edit = candidate.make()
        if claimed.isdisjoint(edit.claims):
            spread.settle(candidate.old, candidate.new)
            claimed |= edit.claims
            edits.append(edit)
    return edits


# -- note values -------------------------------------------------------------------------------------------------


def vary_values(field: Field, kind: Kind) -> Editor:
    """Make an editor that divides pairs of notes anew, splits notes in two and ties two into one."""

    def editor(scene: Scene) -> list[Edit]:
        durations = [end - start for start, end in zip(scene.onset, scene.end, strict=True)]
        values = scene.ioi if field == "ioi" else durations
        spread = Spread(values, kind)
        common = [value for value, _ in Counter(sorted(values)).most_common(COMMON_VALUES)]
        order = sorted(range(scene.n - 2), key=lambda r: (-scene.weight[r], r))
        return _taken(scene, spread, (c for row in order for c in _rhythms(scene, row, field, common)))

    return editor


def _rhythms(scene: Scene, row: int, field: Field, common: list[int]) -> list[Candidate]:
    """What can be done with a note and the next one."""
    found = [
        Candidate(getattr(r, field), getattr(r, f"new_{field}"), partial(r.edit, scene))
        for r in retimings(scene, row, common)
    ]
    if not scene.tied[row]:
        return found
    ioi = scene.ioi[row]
    old = (ioi if field == "ioi" else scene.end[row] - scene.onset[row],)
    if ioi % 2 == 0 and ioi >= 2 * SHORTEST:
        half = ioi // 2
        found.append(Candidate(old, (half, half), partial(_split, scene, row, half)))
    tied = hold(scene, row + 1, row + 1)
    second = scene.ioi[row + 1] if field == "ioi" else scene.end[row + 1] - scene.onset[row + 1]
    whole = ioi + scene.ioi[row + 1] if field == "ioi" else tied.time[0][2]
    found.append(Candidate((*old, second), (whole,), lambda: tied))
    return found


def _split(scene: Scene, row: int, half: int) -> Edit:
    """Two notes in the time of one."""
    start = scene.onset[row]
    note = (start + half, half, scene.between(row))
    return Edit(time=((row, start, half),), add=(note,), claims=frozenset({row}))


# -- places in the bar -------------------------------------------------------------------------------------------


def shift_places(scene: Scene) -> list[Edit]:
    """Shift notes to seldom used places in the bar, or to the common ones; one edit a note."""
    cells = [int(v) for v in scene.line.base.cell]
    candidates = [
        Candidate((cells[row],), (cell,), partial(_shifted, scene, row, tick))
        for row in range(1, scene.n - 1)
        for tick, cell in _places(scene, row)
    ]
    return _taken(scene, Spread(cells, "entropy"), candidates)


def _places(scene: Scene, row: int) -> list[tuple[int, int]]:
    """Ticks and cells of the sixteenths and thirds of quarters between a note's neighbours, inside its own bar."""
    here = scene.onset[row]
    line = here - int(scene.line.base.x[row])
    end = int(scene.line.melody.bars.end[scene.bar_index[row]])
    low, high = max(line, scene.onset[row - 1] + SHORTEST), min(end, scene.onset[row + 1]) - SHORTEST
    ticks = {line + x for part in (4, 3) for x in range(0, end - line, TICKS // part)}
    return [(t, (t - line) // CELL) for t in sorted(ticks) if low <= t <= high and t != here]


def _shifted(scene: Scene, row: int, start: int) -> Edit:
    """Start a note elsewhere between its neighbours; what was joined stays joined."""
    before = scene.onset[row - 1]
    until = start if scene.tied[row - 1] else min(scene.end[row - 1], start)
    length = scene.stop[row] - scene.onset[row]
    end = scene.onset[row + 1] if scene.tied[row] else min(scene.onset[row + 1], start + length)
    times = ((row - 1, before, until - before), (row, start, end - start))
    return Edit(time=times, claims=frozenset({row - 1, row}))


# -- pitch classes -----------------------------------------------------------------------------------------------


def spread_classes(scene: Scene) -> list[Edit]:
    """Move notes to seldom used notes of the key, or to the commonest, by small distances first; one edit a note."""
    classes = [q % 12 for q in scene.q]
    candidates = [
        Candidate((classes[row],), (new % 12,), partial(_moved, row, new))
        for distance in range(1, 7)
        for way in (1, -1)
        for row in range(scene.n)
        if scene.inside[(new := scene.q[row] + way * distance) % 12] and 0 <= new <= 127
    ]
    return _taken(scene, Spread(classes, "entropy"), candidates)


def _moved(row: int, new: int) -> Edit:
    """A note on another pitch."""
    return Edit(pitch=((row, new),), claims=frozenset({row}))
