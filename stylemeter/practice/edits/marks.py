"""Editors of playing marks: notes shaped, or played plain."""

from __future__ import annotations

from collections.abc import Callable

from stylemeter.music.melody import Technique
from stylemeter.practice.edits.edit import Edit
from stylemeter.practice.edits.scene import Scene

__all__ = ["mark_notes", "play_plain"]

Editor = Callable[[Scene], list[Edit]]


def mark_notes(mark: Technique) -> Editor:
    """Make an editor that gives notes a mark: to legato notes reached by a step, to others the longest first."""

    def editor(scene: Scene) -> list[Edit]:
        marked = scene.evidence.tolist()
        rows = [r for r in range(scene.n) if not marked[r]]
        if mark & Technique.HAMMER_ON:
            rows = [r for r in rows if r and 1 <= abs(scene.q[r] - scene.q[r - 1]) <= 4]
            rows.sort(key=lambda r: (scene.weight[r], r))
        else:
            rows.sort(key=lambda r: (scene.onset[r] - scene.end[r], r))
        return [_marked(r, _bits(scene, r) | _fitting(scene, r, mark)) for r in rows]

    return editor


def play_plain(marks: Technique) -> Editor:
    """Make an editor that takes marks off, from the shortest notes first."""

    def editor(scene: Scene) -> list[Edit]:
        rows = sorted(scene.evidence_rows, key=lambda r: (scene.end[r] - scene.onset[r], r))
        return [_marked(r, _bits(scene, r) & ~marks) for r in rows]

    return editor


def _fitting(scene: Scene, row: int, mark: Technique) -> Technique:
    """A hammer-on rises; a note reached from above is pulled off."""
    down = row > 0 and scene.q[row] < scene.q[row - 1]
    return Technique.PULL_OFF if mark & Technique.HAMMER_ON and down else mark


def _bits(scene: Scene, row: int) -> Technique:
    assert scene.line.melody.technique is not None
    return Technique(int(scene.line.melody.technique[row]))


def _marked(row: int, bits: Technique) -> Edit:
    return Edit(marks=((row, int(bits)),), claims=frozenset({row}))
