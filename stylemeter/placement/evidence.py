"""Where in the solo a feature or a habit shows: bars and notes, the clearest place first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG, HABITS, Line, clearest_stretch
from stylemeter.placement.records import FeaturePlace, HabitPlace, Stretch

__all__ = ["stretches", "with_evidence", "with_stretch"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def stretches(mask: npt.NDArray[np.bool_], bars: Ints, most: int = 8) -> tuple[Stretch, ...]:
    """Marked notes as places: neighbours in bars next to each other together, the fullest first."""
    index = np.flatnonzero(mask)
    groups: list[list[int]] = []
    for i in index.tolist():
        if groups and bars[i] - bars[groups[-1][-1]] <= 1:
            groups[-1].append(i)
        else:
            groups.append([i])
    groups.sort(key=lambda g: (-len(g), g[0]))
    return tuple(Stretch(int(bars[g[0]]), int(bars[g[-1]]), tuple(i + 1 for i in g)) for g in groups[:most])


def with_evidence(f: FeaturePlace, line: Line) -> FeaturePlace:
    """Add the notes of a feature that lies outside."""
    if not f.outside:
        return f
    return replace(f, evidence=stretches(CATALOG[f.name].where(line), line.melody.bar))


def with_stretch(h: HabitPlace, line: Line) -> HabitPlace:
    """Add the clearest stretch of a habit that is shown or hinted."""
    if h.verdict not in ("shown", "hinted"):
        return h
    # a solo that shows it everywhere alike has no clearest place: then the whole of it is
    start, stop = clearest_stretch(HABITS[h.name], line) or (0, line.n)
    bars = line.melody.bar
    stretch = Stretch(int(bars[start]), int(bars[stop - 1]), tuple(range(start + 1, stop + 1)))
    return replace(h, evidence=(stretch,))
