"""Editors of rhythm: pairs of notes divided anew, notes started early or on the beat, triplets, whole bars' rhythms."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from stylemeter.music.meter import TICKS
from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import SHORTEST, Scene

__all__ = [
    "change_bars",
    "dotted",
    "push_to_beat",
    "repeat_bars",
    "retime",
    "straighten",
    "to_triplets",
    "unevenness",
]

Editor = Callable[[Scene], list[Edit]]

#: How a pair of notes may divide its time: dotted, dotted the other way round, even; else one takes a common value.
DIVISIONS = ((3, 1), (1, 3), (1, 1))

#: What lies on it belongs to no tuplet.
GRID = TICKS // 32


@dataclass(frozen=True, slots=True)
class Retiming:
    """A pair of notes whose time is divided anew: `row` and the note after it, before and after the change.

    Attributes
    ----------
    row : int
    ioi, new_ioi : tuple of int
        From the first note to the second, and from the second to the next.
    duration, new_duration : tuple of int
        Of the two notes; without durations the times above.
    """

    row: int
    ioi: tuple[int, int]
    new_ioi: tuple[int, int]
    duration: tuple[int, int]
    new_duration: tuple[int, int]

    def edit(self, scene: Scene) -> Edit:
        """The change itself."""
        row, start = self.row, scene.onset[self.row]
        first = (row, start, self.new_duration[0])
        second = (row + 1, start + self.new_ioi[0], self.new_duration[1])
        return Edit(time=(first, second), claims=frozenset({row, row + 1}))


Score = Callable[[Scene], Callable[[Retiming], float]]


def retime(score: Score) -> Editor:
    """Make an editor that divides the time of pairs of notes anew, the most telling pairs first.

    Parameters
    ----------
    score : callable
        `Scene -> (Retiming -> float)`: how far a change takes the feature towards its range; 0 or less: not at all.
    """

    def editor(scene: Scene) -> list[Edit]:
        gain = score(scene)
        found = []
        for row in range(scene.n - 2):
            tries = retimings(scene, row)
            best = max(((gain(r), -j, r) for j, r in enumerate(tries)), default=None, key=_first_two)
            if best is not None and best[0] > 1e-9:
                found.append((-round(best[0], 6), -scene.weight[row], row, best[2]))
        found.sort(key=lambda f: f[:3])
        return [retiming.edit(scene) for *_, retiming in found]

    return editor


def _first_two(entry: tuple[float, int, Retiming]) -> tuple[float, int]:
    return entry[:2]


def retimings(scene: Scene, row: int, common: Sequence[int] = ()) -> list[Retiming]:
    """Ways to divide the time of a note and the next one anew, the two joined without a rest.

    Parameters
    ----------
    scene : Scene
    row : int
        The first note.
    common : sequence of int
        Values in ticks that either note may take.
    """
    if not scene.tied[row]:
        return []
    a, b = scene.ioi[row], scene.ioi[row + 1]
    start, end = scene.onset[row], scene.end[row + 1]
    old = (scene.end[row] - start, end - scene.onset[row + 1])
    firsts = [(a + b) * p // (p + q) for p, q in DIVISIONS if (a + b) * p % (p + q) == 0]
    firsts += [first for value in common for first in (value, a + b - value)]
    found = []
    for first in dict.fromkeys(firsts):
        second = a + b - first
        if first != a and min(first, second, end - start - first) >= SHORTEST:
            found.append(Retiming(row, (a, b), (first, second), old, (first, end - start - first)))
    return found


# -- what a division is good for ---------------------------------------------------------------------------------


def dotted(scene: Scene) -> Callable[[Retiming], float]:
    """Count of dotted notes."""
    values = {3 * TICKS * 2**j // 32 for j in range(7)}
    meters = scene.line.melody.note_meters

    def count(row: int, durations: tuple[int, int]) -> int:
        meter = meters[row]
        plain = [d == meter.bar or (meter.compound and d % meter.beat == 0) for d in durations]
        return sum(d in values and not p for d, p in zip(durations, plain, strict=True))

    return lambda c: float(scene.sign * (count(c.row, c.new_duration) - count(c.row, c.duration)))


def unevenness(scene: Scene) -> Callable[[Retiming], float]:
    """Sum of the differences of neighbouring times, each over their sum."""

    def total(iois: list[int]) -> float:
        return sum(abs(a - b) / (a + b) for a, b in itertools.pairwise(iois))

    def gain(change: Retiming) -> float:
        row = change.row
        before, after = scene.ioi[max(0, row - 1) : row], scene.ioi[row + 2 : row + 3]
        return scene.sign * (total([*before, *change.new_ioi, *after]) - total([*before, *change.ioi, *after]))

    return gain


# -- early and late ----------------------------------------------------------------------------------------------


def push_to_beat(scene: Scene) -> list[Edit]:
    """Start syncopated notes on the stronger place they hold through, those that skip most first."""
    found = []
    for row in scene.evidence_rows:
        if row == scene.n - 1:
            continue
        start = scene.strongest_inside(scene.onset[row], scene.onset[row + 1])
        if start is None or scene.onset[row + 1] - start < SHORTEST:
            continue
        # one that stops before the stronger place keeps its length as far as there is room
        kept = min(scene.onset[row + 1], max(scene.end[row], start + scene.stop[row] - scene.onset[row]))
        times = [(row, start, max(kept, scene.stop[row]) - start)]
        if row and scene.tied[row - 1]:
            times.insert(0, (row - 1, scene.onset[row - 1], start - scene.onset[row - 1]))
        edit = Edit(time=tuple(times), claims=frozenset({max(0, row - 1), row}))
        found.append((start - scene.onset[row], row, edit))
    return [edit for _, _, edit in sorted(found, key=lambda f: f[:2])]


# -- triplets ----------------------------------------------------------------------------------------------------


def to_triplets(scene: Scene) -> list[Edit]:
    """Turn two even notes that fill a beat or half of one into a triplet, by one note more."""
    found = []
    for row in range(scene.n - 1):
        total = scene.end[row + 1] - scene.onset[row]
        after = scene.onset[row + 2] if row + 2 < scene.n else scene.end[row + 1]
        even = scene.ioi[row] * 2 == total and scene.tied[row] and scene.end[row + 1] <= after
        if not even or total % 3 or total // 3 % GRID == 0 or total > 2 * scene.beat[row] or total // 3 < SHORTEST // 2:
            continue
        third, start = total // 3, scene.onset[row]
        times = ((row, start, third), (row + 1, start + 2 * third, third))
        edit = Edit(time=times, add=((start + third, third, scene.between(row)),), claims=frozenset({row, row + 1}))
        found.append((-scene.weight[row], row, edit))
    return [edit for _, _, edit in sorted(found, key=lambda f: f[:2])]


def straighten(scene: Scene) -> list[Edit]:
    """Turn three equal notes in the time of two into one of twice the length of the other two."""
    edits = []
    tuplet = scene.evidence.tolist()
    row = 0
    while row < scene.n - 2:
        last = scene.onset[row + 3] if row + 3 < scene.n else scene.end[row + 2]
        a, b, c = scene.ioi[row], scene.ioi[row + 1], last - scene.onset[row + 2]
        total = a + b + c
        if not (tuplet[row] and a == b == c and total % 4 == 0 and total // 4 >= SHORTEST // 2):
            row += 1
            continue
        start, quarter = scene.onset[row], total // 4
        end = min(scene.end[row + 2], last)
        times = [(row, start, 2 * quarter), (row + 1, start + 2 * quarter, quarter)]
        times.append((row + 2, start + 3 * quarter, max(quarter // 2, end - start - 3 * quarter)))
        edits.append(Edit(time=tuple(times), claims=frozenset({row, row + 1, row + 2})))
        row += 3
    return edits


# -- rhythms of bars ---------------------------------------------------------------------------------------------

Pattern = tuple[int, ...]


def _bars(scene: Scene) -> list[tuple[int, list[int], Pattern]]:
    """Index, rows and positions of each full bar with a note, in order."""
    base = scene.line.base
    x = base.x.tolist()
    rows: dict[int, list[int]] = {}
    for row, bar in enumerate(scene.bar_index):
        rows.setdefault(bar, []).append(row)
    return [(b, rows[b], tuple(x[r] for r in rows[b])) for b in scene.line.full_bars.tolist() if b in rows]


def repeat_bars(scene: Scene) -> list[Edit]:
    """Give bars the rhythm of an earlier one with as many notes, the least changes first; one edit a bar."""
    found = []
    seen: list[tuple[int, Pattern]] = []
    for bar, rows, pattern in _bars(scene):
        length = scene.line.base.bar_meters[bar].bar
        if (length, pattern) in seen:
            continue
        same = [p for size, p in seen if size == length and len(p) == len(pattern)]
        if same:
            near = min(same, key=lambda p: sum(abs(a - b) for a, b in zip(p, pattern, strict=True)))
            edit = _rhythm(scene, bar, rows, near)
            if edit is not None:
                found.append((sum(a != b for a, b in zip(near, pattern, strict=True)), bar, edit))
        seen.append((length, pattern))
    return [edit for _, _, edit in sorted(found, key=lambda f: f[:2])]


def _rhythm(scene: Scene, bar: int, rows: list[int], pattern: Pattern) -> Edit | None:
    """Start the notes of a bar at other positions, each held until the next where it was."""
    line = int(scene.line.melody.bars.line[bar])
    starts = [line + x for x in pattern]
    after = scene.onset[rows[-1] + 1] if rows[-1] + 1 < scene.n else scene.end[rows[-1]]
    times = []
    before = rows[0] - 1
    if before >= 0:
        end = starts[0] if scene.tied[before] else min(scene.end[before], starts[0])
        times.append((before, scene.onset[before], end - scene.onset[before]))
    for row, start, following in zip(rows, starts, [*starts[1:], after], strict=True):
        held = row == rows[-1] or scene.tied[row]
        old = scene.stop[row]
        end = (
            (min(old, after) if row == rows[-1] else following)
            if held
            else min(following, start + old - scene.onset[row])
        )
        times.append((row, start, end - start))
    if any(length < SHORTEST // 4 for _, _, length in times):
        return None
    return Edit(time=tuple(times), claims=frozenset(range(max(0, before), rows[-1] + 1)))


def change_bars(scene: Scene) -> list[Edit]:
    """Divide one pair of notes anew in bars that repeat an earlier rhythm, the last bars first; one edit a bar."""
    bars = _bars(scene)
    heard = {pattern for _, _, pattern in bars}
    seen: set[Pattern] = set()
    edits = []
    for _, rows, pattern in bars:
        if pattern in seen:
            edit = _new_rhythm(scene, rows, pattern, heard)
            if edit is not None:
                edits.append(edit)
        seen.add(pattern)
    return edits[::-1]


def _new_rhythm(scene: Scene, rows: list[int], pattern: Pattern, heard: set[Pattern]) -> Edit | None:
    """A pair of a bar divided so that its rhythm is one not heard yet, which is added to `heard`."""
    for position in range(len(rows) - 1):
        if rows[position] >= scene.n - 2:
            break
        for change in retimings(scene, rows[position]):
            moved = pattern[position] + change.new_ioi[0]
            limit = pattern[position + 2] if position + 2 < len(pattern) else math.inf
            length = scene.line.base.bar_meters[scene.bar_index[rows[0]]].bar
            new = (*pattern[: position + 1], moved, *pattern[position + 2 :])
            if moved < min(limit, length) and new not in heard:
                heard.add(new)
                return change.edit(scene)
    return None
