"""Editors of ideas: figures brought back, exactly or changed, and figures that come again altered."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from stylemeter.features import CATALOG
from stylemeter.features.motif import FIGURE_NOTES
from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import SHORTEST, Scene
from stylemeter.practice.edits.timing import Retiming

__all__ = ["bring_back", "bring_rhythm_back", "uneven_figures", "vary_notes"]

Editor = Callable[[Scene], list[Edit]]
Moves = tuple[int, int, int]

#: Rhythms whose places are counted.
RHYTHMS_TRIED = 12
#: Distances a figure may be shifted by to lie in the scale.
_SHIFTS = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5)
#: Distances by which a note of a figure is changed, in turn.
_CHANGES = (2, -2, 1, -1, 3, -3, 4, -4)


def bring_back(*, changed: bool = False) -> Editor:
    """Make an editor that brings one figure of four notes back, its rhythm too; one edit a place.

    Parameters
    ----------
    changed : bool
        Whether with the same outline but other intervals.
    """

    def editor(scene: Scene) -> list[Edit]:
        source, targets = _most_places(scene, CATALOG["motif_coverage"].where(scene.line).tolist(), _figure_like)
        if source is None:
            return []
        moves = _moves(scene, source)
        if scene.line.base.figure_keys[0][source] < 0:
            # no figure to bring back: a third up and two steps down, put into all the places
            moves, targets = (4, -2, -2), [source, *targets]
        variants = _variants(moves) if changed else _same(moves)
        return [_placed(scene, source, target, next(variants)) for target in targets]

    return editor


def bring_rhythm_back(scene: Scene) -> list[Edit]:
    """Bring the rhythm of four notes that isn't even back in other places; one edit a place."""
    source, targets = _most_places(scene, scene.evidence.tolist(), _uneven)
    if source is None or not _uneven(scene, source):
        return []
    return [_placed(scene, source, target, None) for target in targets]


def _figure_like(scene: Scene, start: int) -> bool:
    """Whether the four notes from one are a figure: neither a piece of scale nor one note repeated."""
    return scene.line.base.figure_keys[0][start] >= 0


def _uneven(scene: Scene, start: int) -> bool:
    """Whether the rhythm of the four notes from one isn't even."""
    return scene.line.base.figure_keys[2][start] >= 0


def _most_places(scene: Scene, done: list[bool], fit: Callable[[Scene, int], bool]) -> tuple[int | None, list[int]]:
    """Find the figure that can be brought back in most places, of each rhythm the first fitting one, and the places."""
    same = scene.line.same_phrase.tolist()
    first: dict[Moves, int] = {}
    for start in range(max(0, scene.n - 3)):
        rhythm = _rhythm(scene, start)
        if same[start] and (rhythm not in first or (fit(scene, start) and not fit(scene, first[rhythm]))):
            first[rhythm] = start
    best: tuple[tuple[bool, int], int | None, list[int]] = ((False, -1), None, [])
    # the shortest rhythms fit in most places; a few are enough
    for rhythm in sorted(first, key=lambda r: (not fit(scene, first[r]), sum(r), r))[:RHYTHMS_TRIED]:
        source = first[rhythm]
        places = _places(scene, source, done, same)
        rank = (fit(scene, source), len(places))
        if rank > best[0]:
            best = (rank, source, places)
    return best[1], best[2]


def _rhythm(scene: Scene, start: int) -> Moves:
    return (scene.ioi[start], scene.ioi[start + 1], scene.ioi[start + 2])


def _places(scene: Scene, source: int, done: list[bool], same: list[bool]) -> list[int]:
    """Where a figure fits in, none overlapping another or itself; places that have its rhythm already first."""
    rhythm = _rhythm(scene, source)
    equal, fitting = [], []
    for start in range(scene.n - FIGURE_NOTES + 1):
        if same[start] and abs(start - source) >= FIGURE_NOTES and not all(done[start : start + FIGURE_NOTES]):
            if _rhythm(scene, start) == rhythm:
                equal.append(start)
            elif _room(scene, start) >= sum(rhythm) + SHORTEST:
                fitting.append(start)
    kept: list[int] = []
    for start in equal + fitting:
        if all(abs(start - other) >= FIGURE_NOTES for other in kept):
            kept.append(start)
    return kept


def _room(scene: Scene, start: int) -> int:
    """Ticks from a note to the end of the fourth one's place."""
    after = start + FIGURE_NOTES
    return (scene.onset[after] if after < scene.n else scene.end[-1]) - scene.onset[start]


def _moves(scene: Scene, start: int) -> Moves:
    q = scene.q[start : start + FIGURE_NOTES]
    return (q[1] - q[0], q[2] - q[1], q[3] - q[2])


def _same(moves: Moves) -> Iterator[Moves]:
    while True:
        yield moves


def _variants(moves: Moves) -> Iterator[Moves]:
    """The same outline with other intervals: each in turn changed within its class (step, skip, leap)."""
    other = [_within_class(k) for k in moves]
    count = 0
    while True:
        count = count % 7 + 1
        yield tuple(o if count >> j & 1 else k for j, (k, o) in enumerate(zip(moves, other, strict=True)))  # type: ignore[misc]


def _within_class(k: int) -> int:
    size = abs(k)
    if size == 0:
        return 0
    new = {1: 2, 2: 1, 3: 4, 4: 3}.get(size, size + 2)
    return new if k > 0 else -new


def _placed(scene: Scene, source: int, start: int, moves: Moves | None) -> Edit:
    """A figure put at a place, its rhythm too; without moves the rhythm alone."""
    pitch: tuple[tuple[int, int], ...] = ()
    if moves is not None:
        notes = _shifted(scene, start, moves)
        pitch = tuple((start + j, min(127, max(0, p))) for j, p in enumerate(notes))
    claims = frozenset(range(start, start + FIGURE_NOTES))
    if _rhythm(scene, start) == _rhythm(scene, source):
        return Edit(pitch=pitch, claims=claims)
    onsets = [scene.onset[start] + int(t) for t in np.cumsum([0, *_rhythm(scene, source)])]
    ends = [*onsets[1:], scene.onset[start] + _room(scene, start)]
    last = start + FIGURE_NOTES - 1
    if not scene.tied[last] if last < scene.n - 1 else False:
        # a rest after the place stays one
        ends[-1] = max(onsets[-1] + SHORTEST, scene.stop[last])
    time = tuple((start + j, t, end - t) for j, (t, end) in enumerate(zip(onsets, ends, strict=True)))
    return Edit(pitch=pitch, time=time, claims=claims)


def _shifted(scene: Scene, start: int, moves: Moves) -> list[int]:
    """Pitches of a figure from a note, shifted a little where more of them then lie in the scale."""

    def notes(shift: int) -> list[int]:
        return [int(v) for v in scene.q[start] + shift + np.cumsum([0, *moves])]

    def rank(shift: int) -> tuple[bool, int, int]:
        there = notes(shift)
        outside = sum(not scene.inside[p % 12] for p in there)
        return (not all(0 <= p <= 127 for p in there), outside, abs(shift))

    return notes(min(_SHIFTS, key=rank))


def vary_notes(scene: Scene) -> list[Edit]:
    """Change a note in passages that come again, from the end back, one in every four and each another way."""
    marked = scene.evidence_rows or [int(i) for i in np.flatnonzero(CATALOG["motif_coverage"].where(scene.line))]
    edits: list[Edit] = []
    last = scene.n + FIGURE_NOTES
    for row in reversed(marked):
        if last - row < FIGURE_NOTES:
            continue
        turn = len(edits)
        distances = [_CHANGES[(turn + j) % len(_CHANGES)] for j in range(len(_CHANGES))]
        fitting = (d for d in distances if scene.inside[(scene.q[row] + d) % 12] and 0 <= scene.q[row] + d <= 127)
        by = next(fitting, distances[0])
        edits.append(Edit(pitch=((row, min(127, max(0, scene.q[row] + by))),), claims=frozenset({row})))
        last = row
    return edits


# -- rhythms -----------------------------------------------------------------------------------------------------


def uneven_figures(scene: Scene) -> Callable[[Retiming], float]:
    """Pairs inside rhythms that come again, divided anew."""
    shared = scene.evidence.tolist()
    return lambda change: 1.0 if shared[change.row] and shared[change.row + 1] else 0.0
