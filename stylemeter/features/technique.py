"""How the notes are played, where the source can say."""

from __future__ import annotations

import numpy as np

from stylemeter.features.catalog import Mask, feature
from stylemeter.features.line import Line
from stylemeter.music.melody import Technique

__all__: list[str] = []


def _marked(line: Line, marks: Technique) -> Mask:
    """Notes with any of the marks."""
    assert line.melody.technique is not None
    return Mask(line.melody.technique[line.start : line.stop] & np.int64(int(marks)) != 0)


@feature("technique", "share of notes", "notes with any playing mark", needs=["technique"], sliceable=True)
def ornamented_share(line: Line) -> Mask:
    """Share of marked notes."""
    return _marked(line, ~Technique(0))


@feature("technique", "share of notes", "notes that are bent", needs=["technique"], sliceable=True)
def bend_share(line: Line) -> Mask:
    """Share of bent notes."""
    return _marked(line, Technique.BEND | Technique.PRE_BEND | Technique.RELEASE)


@feature(
    "technique", "share of notes", "notes joined by hammer-on, pull-off or slide", needs=["technique"], sliceable=True
)
def legato_share(line: Line) -> Mask:
    """Share of notes joined without picking."""
    return _marked(line, Technique.HAMMER_ON | Technique.PULL_OFF | Technique.SLIDE)


@feature("technique", "share of notes", "notes with vibrato", needs=["technique"], sliceable=True)
def vibrato_share(line: Line) -> Mask:
    """Share of notes with vibrato."""
    return _marked(line, Technique.VIBRATO)
