"""Editors of whole stretches of pitches: scale runs, the highest note, the range, the register, arched phrases."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from stylemeter.features.intervals import RUN_NOTES
from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import Scene

__all__ = [
    "arch_phrases",
    "arched",
    "break_runs",
    "change_classes",
    "long_runs",
    "make_runs",
    "place_climax",
    "pull_range",
    "shift_end",
]

Editor = Callable[[Scene], list[Edit]]

#: Distances tried for a note that breaks a run: a repeat of the note before, thirds, then wider.
_BREAKS = (0, 3, 4, 5, 7, 8, 9, 12)


def _longest(scene: Scene) -> int:
    """Notes a run may have: below a scale run's, or within the range of the longest one."""
    return RUN_NOTES - 1 if scene.name.endswith("_run_share") else max(1, math.floor(scene.high))


def _runs(scene: Scene) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """The runs the feature counts: by semitones and whole tones, or along the scale in use."""
    return scene.line.degree_runs if "degree" in scene.name else scene.line.scale_runs


def long_runs(scene: Scene) -> int:
    """Count the runs that are longer than they may be."""
    return int(np.count_nonzero(_runs(scene)[1] > _longest(scene)))


def break_runs(scene: Scene) -> list[Edit]:
    """Break each run so that no piece is too long, the longest runs first; one edit a run."""
    most = _longest(scene)
    starts, lengths = _runs(scene)
    runs = sorted(
        ((int(a), int(n)) for a, n in zip(starts, lengths, strict=True) if n > most), key=lambda r: (-r[1], r[0])
    )
    return [edit for start, notes in runs if (edit := _break(scene, start, notes, most))]


def _break(scene: Scene, start: int, notes: int, most: int) -> Edit | None:
    breaks = math.ceil((notes - most) / (most + 1))
    piece = (notes - breaks) / (breaks + 1)
    rows = [start + round(piece * (j + 1)) + j for j in range(breaks)]
    way = 1 if scene.q[start + 1] > scene.q[start] else -1
    pitch = []
    for row in rows:
        new = _off_run(scene, row, way)
        if new is not None:
            pitch.append((row, new))
    # neighbouring runs share their turning note, which is not moved
    return Edit(pitch=tuple(pitch), claims=frozenset(range(rows[0], rows[-1] + 2))) if pitch else None


def _off_run(scene: Scene, row: int, way: int) -> int | None:
    """A pitch of the scale near the note before that is no step of the run, on either side."""
    before = scene.q[row - 1]
    after = scene.q[row + 1] if row + 1 < scene.n else None
    # along a pentatonic scale three semitones may be a step
    step = 3 if "degree" in scene.name else 2
    for distance in _BREAKS:
        for sign in (-way, way) if distance else (1,):
            new = before + sign * distance
            leads_in = 1 <= way * (new - before) <= step
            leads_on = after is not None and 1 <= way * (after - new) <= step
            if not leads_in and not leads_on and scene.inside[new % 12] and 0 <= new <= 127 and new != scene.q[row]:
                return new
    return None


def make_runs(scene: Scene) -> list[Edit]:
    """Turn stretches into scale runs, those that need least change first; one edit a stretch."""
    notes = RUN_NOTES if scene.name.endswith("_run_share") else max(2, math.ceil(scene.low))
    if notes > scene.n or not _walkable(scene):
        return []
    cut = scene.line.ends_after | scene.line.breath_after
    found = []
    for start in range(scene.n - notes + 1):
        if cut[start : start + notes - 1].any():
            continue
        edit = min(
            (_run(scene, start, notes, way) for way in (1, -1)), key=lambda e: (_distance(scene, e), len(e.pitch))
        )
        if edit.pitch and all(0 <= new <= 127 for _, new in edit.pitch):
            found.append((_distance(scene, edit), start, edit))
    return [edit for _, _, edit in sorted(found, key=lambda f: f[:2])]


def _walkable(scene: Scene) -> bool:
    """Whether neighbours in the scale are never more than a step apart."""
    classes = np.flatnonzero(scene.inside)
    return bool(np.all(np.diff(np.append(classes, classes[0] + 12)) <= 2))


def _run(scene: Scene, start: int, notes: int, way: int) -> Edit:
    run = [scene.q[start]]
    while len(run) < notes:
        run.append(scene.scale_note(run[-1], way))
    rows = range(start, start + notes)
    changed = tuple((row, new) for row, new in zip(rows, run, strict=True) if new != scene.q[row])
    return Edit(pitch=changed, claims=frozenset(range(start, start + notes + 1)))


def _distance(scene: Scene, edit: Edit) -> int:
    return sum(abs(new - scene.q[row]) for row, new in edit.pitch)


def change_classes(scene: Scene) -> list[Edit]:
    """Leave out the least used notes, or bring in unused ones; one edit a pitch class."""
    counts = np.bincount(scene.line.q % 12, minlength=12)
    return _bring_in(scene, counts.tolist()) if scene.up else _leave_out(scene, counts.tolist())


def _leave_out(scene: Scene, counts: list[int]) -> list[Edit]:
    """Each edit leaves out one class more, its notes going to the nearest class that stays."""
    order = sorted((c for c in range(12) if counts[c]), key=lambda c: (counts[c], c))
    edits = []
    for left in range(1, len(order)):
        stays = set(order[left:])
        rows = [row for row in range(scene.n) if scene.q[row] % 12 not in stays]
        moved = tuple((row, _nearest(scene.q[row], stays)) for row in rows)
        edits.append(Edit(pitch=moved, claims=frozenset({order[left - 1]})))
    return edits


def _nearest(q: int, classes: set[int]) -> int:
    """Nearest pitch of some classes."""
    return next(p for d in range(12) for p in (q + d, q - d) if p % 12 in classes and 0 <= p <= 127)


def _bring_in(scene: Scene, counts: list[int]) -> list[Edit]:
    unused = sorted((c for c in range(12) if not counts[c]), key=lambda c: (not scene.inside[c], c))
    edits: list[Edit] = []
    taken: set[int] = set()
    for wanted in unused:
        rows = sorted(
            (r for r in range(scene.n) if r not in taken and counts[scene.q[r] % 12] > 1),
            key=lambda r: (_apart(scene.q[r], wanted), -counts[scene.q[r] % 12], scene.weight[r], r),
        )
        if not rows:
            break
        row = rows[0]
        up = (wanted - scene.q[row]) % 12
        new = scene.q[row] + (up if up <= 6 else up - 12)
        if 0 <= new <= 127:
            counts[scene.q[row] % 12] -= 1
            taken.add(row)
            edits.append(Edit(pitch=((row, new),), claims=frozenset({row})))
    return edits


def _apart(q: int, wanted: int) -> int:
    """Semitones from a pitch to the nearest note of a class."""
    up = (wanted - q) % 12
    return min(up, 12 - up)


def pull_range(scene: Scene) -> list[Edit]:
    """Bring the outermost notes in, or take one further out; one edit a note."""
    return _reach_out(scene) if scene.up else _pull_in(scene)


def _reach_out(scene: Scene) -> list[Edit]:
    """Take the highest note up, or the lowest down where there is no room; into the scale where that fits."""
    lowest, highest = min(scene.q), max(scene.q)
    need, room = math.ceil(scene.low) - (highest - lowest), math.floor(scene.high) - (highest - lowest)
    for outermost, way in ((highest, 1), (lowest, -1)):
        reached = [outermost + way * by for by in range(need, max(need, min(room, need + 3)) + 1)]
        there = [new for new in reached if 0 <= new <= 127]
        if there:
            new = next((p for p in there if scene.inside[p % 12]), there[0])
            row = scene.q.index(outermost)
            return [Edit(pitch=((row, new),), claims=frozenset({row}))]
    return []


def _pull_in(scene: Scene) -> list[Edit]:
    """Bring in what lies outside the window that leaves fewest notes out, by octaves where that fits."""
    middle, most = sorted(scene.q)[scene.n // 2], math.floor(scene.high)
    bottoms = range(min(scene.q), max(scene.q) - most + 1)
    bottom = min(bottoms, key=lambda b: (_outside(scene, b, most), abs(2 * b + most - 2 * middle)))
    window = range(bottom, bottom + most + 1)
    rows = sorted((r for r in range(scene.n) if scene.q[r] not in window), key=lambda r: (-abs(scene.q[r] - middle), r))
    edits = []
    for row in rows:
        q = scene.q[row]
        new = min(window, key=lambda p: ((p - q) % 12 != 0, not scene.inside[p % 12], abs(p - q)))
        edits.append(Edit(pitch=((row, new),), claims=frozenset({row})))
    return edits


def _outside(scene: Scene, bottom: int, most: int) -> int:
    return sum(not bottom <= q <= bottom + most for q in scene.q)


def shift_end(scene: Scene) -> list[Edit]:
    """Set the last third of the notes higher or lower, a semitone an edit, each in place of the one before."""
    rows = range(scene.n - scene.n // 3, scene.n)
    edits = []
    for by in range(1, 25):
        moved = tuple((row, scene.q[row] + scene.sign * by) for row in rows)
        if not all(0 <= new <= 127 for _, new in moved):
            break
        edits.append(Edit(pitch=moved))
    return edits


def place_climax(scene: Scene) -> list[Edit]:
    """Reach a new highest note where it should be: the place nearest to the range's middle; one edit."""
    line = scene.line
    low, high = max(scene.low, 0.0), min(scene.high, 1.0)
    at = [(t - line.first) / line.span for t in scene.onset]
    rows = [r for r in range(scene.n) if low <= at[r] <= high]
    if not rows:
        return []
    aim = low if scene.up else high
    row = min(rows, key=lambda r: (-scene.q[r] // 3, abs(at[r] - aim), r))
    new = scene.scale_note(max(scene.q), 1)
    return [Edit(pitch=((row, new),), claims=frozenset({row}))] if new <= 127 else []


def arch_phrases(scene: Scene) -> list[Edit]:
    """Let the middle of phrases rise above both ends, or sink to them; one edit a phrase."""
    edits = []
    for first, last in zip(scene.line.phrase_first.tolist(), scene.line.phrase_last.tolist(), strict=True):
        inner = scene.q[first + 1 : last]
        if not inner:
            continue
        ends = max(scene.q[first], scene.q[last])
        arched = sum(inner) > ends * len(inner)
        if arched == scene.up:
            continue
        # the least shift that brings the mean above the higher end, or down to it
        lift = (ends * len(inner) - sum(inner)) // len(inner)
        lift = lift + 1 if scene.up else lift
        moved = tuple((row, scene.q[row] + lift) for row in range(first + 1, last))
        if all(0 <= new <= 127 for _, new in moved):
            edits.append((abs(lift) * len(inner), first, Edit(pitch=moved, claims=frozenset({first}))))
    return [edit for _, _, edit in sorted(edits, key=lambda e: e[:2])]


def arched(scene: Scene) -> int:
    """Count the phrases of three notes or more whose middle lies above both ends."""
    count = 0
    for first, last in zip(scene.line.phrase_first.tolist(), scene.line.phrase_last.tolist(), strict=True):
        inner = scene.q[first + 1 : last]
        count += bool(inner) and sum(inner) > max(scene.q[first], scene.q[last]) * len(inner)
    return count
