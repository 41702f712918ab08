"""Editors of air and density: rests put in or played through, notes left out, split, or put into waits."""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import SHORTEST, Scene

__all__ = [
    "fill_waits",
    "hold",
    "hold_across",
    "hold_through",
    "in_last_third",
    "in_quiet_bars",
    "join_phrases",
    "leave_out",
    "off_beat",
    "play_through",
    "put_breaths",
    "split_notes",
]

Editor = Callable[[Scene], list[Edit]]
Where = Callable[[Scene], list[bool]]

#: Beats of waiting a bridge between phrases may have.
BRIDGE_BEATS_MAX = 64


# -- rests -------------------------------------------------------------------------------------------------------


def put_breaths(beats: float) -> Editor:
    """Make an editor that puts rests of some beats in, halving the longest stretch without one each time."""

    def editor(scene: Scene) -> list[Edit]:
        breaths = _breaths(scene, beats)
        streams = _streams(scene, beats)
        edits: list[Edit] = []
        while streams and len(edits) < scene.n:
            streams.sort(key=lambda s: (scene.onset[s[0]] - scene.end[s[1]], s[0]))
            first, last = streams.pop(0)
            within = slice(bisect_left(breaths, first, key=_row), bisect_left(breaths, last, key=_row))
            inside = [b for b in breaths[within] if b.resumed <= last]
            if inside:
                best = min(inside, key=lambda b: _off_middle(scene, b, first, last))
                edits.append(best.edit)
                streams += [(first, best.row), (best.resumed, last)]
        return edits

    return editor


@dataclass(frozen=True, slots=True)
class Breath:
    """A rest that could be put in after a note, and the note the line takes up again with."""

    row: int
    resumed: int
    edit: Edit


def _row(breath: Breath) -> int:
    return breath.row


def _streams(scene: Scene, beats: float) -> list[tuple[int, int]]:
    """First and last note of each stretch without a rest of some beats."""
    ends = scene.line.gap >= beats * scene.line.beat[:-1]
    last = [*np.flatnonzero(ends).tolist(), scene.n - 1]
    return [(a + 1, b) for a, b in zip([-1, *last[:-1]], last, strict=True)]


def _off_middle(scene: Scene, breath: Breath, first: int, last: int) -> tuple[int, int, float, int]:
    """How far from the middle of a stretch the line resumes, near it on strong places first."""
    length = scene.end[last] - scene.onset[first]
    off = abs(scene.onset[breath.resumed] - (scene.onset[first] + length / 2))
    return (int(6 * off / max(1, length)), -scene.weight[breath.resumed], off, breath.row)


def _breaths(scene: Scene, beats: float) -> list[Breath]:
    """Put a rest after each note that has room for one: the note shortened, or the next one left out too."""
    found = []
    latest = 0
    for row in range(scene.n - 1):
        # no earlier note may sound into the rest
        latest = max(latest, scene.end[row])
        need, start = math.ceil(beats * scene.beat[row]), scene.onset[row]
        for resumed in range(row + 1, min(row + 3, scene.n)):
            until = scene.onset[resumed] - need
            if until - start >= SHORTEST and (latest == scene.end[row] or latest <= until):
                time = ((row, start, min(scene.end[row], until) - start),)
                claims = frozenset(range(row, resumed))
                found.append(Breath(row, resumed, Edit(time=time, drop=tuple(range(row + 1, resumed)), claims=claims)))
                break
    return found


def play_through(beats: float = 0.0) -> Editor:
    """Make an editor that holds notes through the rest after them, from rests of some beats up.

    The rests that join the longest stretches come first where the longest stretch is to grow, else the longest rests.
    """

    def editor(scene: Scene) -> list[Edit]:
        gap, beat = scene.line.gap.tolist(), scene.beat
        rows = [r for r in range(scene.n - 1) if gap[r] > 0 and gap[r] >= beats * beat[r]]
        joined = dict.fromkeys(rows, 0)
        if scene.name == "longest_stream":
            streams = _streams(scene, beats)
            for before, after in itertools.pairwise(streams):
                joined[before[1]] = scene.end[after[1]] - scene.onset[before[0]]
        rows.sort(key=lambda r: (-joined[r], -gap[r], r))
        # the note that sounds up to the rest may be an earlier one: all that matters is that this one fills it
        return [
            Edit(time=((r, scene.onset[r], scene.onset[r + 1] - scene.onset[r]),), claims=frozenset({r})) for r in rows
        ]

    return editor


def join_phrases(scene: Scene) -> list[Edit]:
    """Join phrases to the next: hold the last note through a rest, put a note on each beat of a long wait.

    The pairs of phrases with fewest notes come first; where lengths are to vary, those with most.
    """
    first, last = scene.line.phrase_first.tolist(), scene.line.phrase_last.tolist()
    sign = -1 if scene.name == "phrase_length_variation" else 1
    pairs = [(sign * (last[j + 1] - first[j]), last[j]) for j in range(len(last) - 1)]
    return [edit for _, row in sorted(pairs) if (edit := _bridge(scene, row)) is not None]


def _bridge(scene: Scene, row: int) -> Edit | None:
    """Fill the time from a note to the next."""
    start, after = scene.onset[row], scene.onset[row + 1]
    lines: list[int] = []
    if after - start >= 2 * scene.beat[row]:
        lines = [t for t in scene.line.base.beat_lines.tolist() if start + SHORTEST <= t <= after - SHORTEST]
    if len(lines) > BRIDGE_BEATS_MAX:
        return None
    pitches = (scene.between(row), scene.q[row])
    edges = [*lines, after]
    added = tuple((at, end - at, pitches[j % 2]) for j, (at, end) in enumerate(itertools.pairwise(edges)))
    return Edit(time=((row, start, edges[0] - start),), add=added, claims=frozenset({row}))


# -- notes left out and put in -----------------------------------------------------------------------------------


def everywhere(scene: Scene) -> list[bool]:
    """All notes."""
    return [True] * scene.n


def off_beat(scene: Scene) -> list[bool]:
    """Notes off the beat."""
    return [not on for on in scene.line.on_beat.tolist()]


def in_last_third(scene: Scene) -> list[bool]:
    """Notes in the last third of the time."""
    return [3 * (t - scene.line.first) >= 2 * scene.line.span for t in scene.onset]


def in_quiet_bars(scene: Scene) -> list[bool]:
    """Notes in the full bars that hold fewer than the average."""
    counts = dict(zip(scene.line.full_bars.tolist(), scene.line.full_bar_counts.tolist(), strict=True))
    mean = sum(counts.values()) / len(counts) if counts else 0.0
    return [bar in counts and counts[bar] <= mean for bar in scene.bar_index]


def leave_out(where: Where = everywhere) -> Editor:
    """Make an editor that leaves notes out, the note before held instead; the weakest places first."""

    def editor(scene: Scene) -> list[Edit]:
        allowed = where(scene)
        rows = [r for r in range(1, scene.n - 1) if allowed[r]]
        rows.sort(key=lambda r: (scene.weight[r], scene.ioi[r], r))
        return [hold(scene, r, r) for r in rows]

    return editor


def hold(scene: Scene, first: int, last: int) -> Edit:
    """Leave notes out and hold the one before them until where the last of them stopped."""
    before = first - 1
    end = max(scene.end[before], scene.stop[last])
    time = ((before, scene.onset[before], end - scene.onset[before]),)
    return Edit(time=time, drop=tuple(range(first, last + 1)), claims=frozenset(range(before, last + 1)))


def hold_across(scene: Scene) -> list[Edit]:
    """Let notes start ahead of a beat and hold across it, the strongest beats first; one edit a beat.

    The note on the beat comes half a beat early where there is room, else it gives way to the note before.
    """
    found = []
    on_beat = scene.line.on_beat.tolist()
    for row in range(1, scene.n - 1):
        if on_beat[row]:
            edit = _early(scene, row)
            if edit is None and scene.tied[row - 1] and not on_beat[row - 1]:
                edit = hold(scene, row, row)
            if edit is not None:
                found.append((-scene.weight[row], row, edit))
    return [edit for _, _, edit in sorted(found, key=lambda f: f[:2])]


def _early(scene: Scene, row: int) -> Edit | None:
    """Start a note half a beat early, its end kept."""
    by = scene.half_beat(row)
    if scene.ioi[row - 1] < by + SHORTEST:
        return None
    start, before = scene.onset[row] - by, scene.onset[row - 1]
    times = ((row - 1, before, min(scene.end[row - 1], start) - before), (row, start, scene.end[row] - start))
    return Edit(time=times, claims=frozenset({row - 1, row}))


def split_notes(where: Where = everywhere) -> Editor:
    """Make an editor that splits notes in two, the longest first, the second half on a neighbouring note."""

    def editor(scene: Scene) -> list[Edit]:
        allowed = where(scene)
        edits = []
        for row in range(scene.n):
            length = scene.stop[row] - scene.onset[row]
            if allowed[row] and length % 2 == 0 and length >= 2 * SHORTEST:
                half, start = length // 2, scene.onset[row]
                note = (start + half, half, scene.between(row))
                edits.append((-length, row, Edit(time=((row, start, half),), add=(note,), claims=frozenset({row}))))
        return [edit for _, _, edit in sorted(edits, key=lambda e: e[:2])]

    return editor


def fill_waits(scene: Scene) -> list[Edit]:
    """Start a note on the first beat line inside each long time between notes, the longest first."""
    lines, index = scene.line.base.beat_lines.tolist(), scene.line.base.beat_index.tolist()
    edits = []
    for row in range(scene.n - 1):
        start, after, beat = scene.onset[row], scene.onset[row + 1], index[row] + 1
        # a beat is empty only if the next note starts in a later one
        waits = index[row + 1] > beat if scene.name == "empty_beat_share" else after - start > scene.beat[row]
        if not waits or beat >= len(lines) or not start + SHORTEST <= lines[beat] <= after - SHORTEST:
            continue
        at = lines[beat]
        time = ((row, start, min(scene.end[row], at) - start),)
        note = (at, min(after, at + scene.beat[row]) - at, scene.between(row))
        edits.append((start - after, row, Edit(time=time, add=(note,), claims=frozenset({row}))))
    return [edit for _, _, edit in sorted(edits, key=lambda e: e[:2])]


def hold_through(scene: Scene) -> list[Edit]:
    """Leave out all notes that start in a beat and hold the one before, on weak beats with few notes first."""
    rows: dict[int, list[int]] = {}
    for row, index in enumerate(scene.line.base.beat_index.tolist()):
        rows.setdefault(index, []).append(row)
    found = []
    for _, inside in sorted(rows.items()):
        if inside[0] > 0 and inside[-1] < scene.n - 1:
            order = (scene.weight[inside[0]], len(inside), inside[0])
            found.append((order, hold(scene, inside[0], inside[-1])))
    return [edit for _, edit in sorted(found, key=lambda f: f[0])]
