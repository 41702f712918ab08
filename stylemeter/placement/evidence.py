"""Where in the solo a feature or a habit shows: bars and notes, the clearest place first."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG, Line, stretches_of
from stylemeter.features.scale_use import scale_in_use
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


#: Share of the notes its stretches must hold for a habit to be said of the whole solo.
THROUGHOUT = 0.75


def with_stretch(h: HabitPlace, line: Line) -> HabitPlace:
    """Add where a habit that is shown or hinted lies: its stretches, their share of the notes, the scale of a scale."""
    if h.verdict not in ("shown", "hinted"):
        return h
    found = stretches_of(line, h.scan) if h.scan else []
    # a solo that shows it everywhere alike has no clearest place: then the whole of it is
    places = found or [(0, line.n)]
    bars = line.melody.bar
    evidence = tuple(Stretch(int(bars[a]), int(bars[b - 1]), tuple(range(a + 1, b + 1))) for a, b in places)
    dose = sum(b - a for a, b in places) / line.n
    start, stop = places[0]
    scale = ""
    if h.name == "scale":
        used = scale_in_use(line.base.pitch_class[line.start + start : line.start + stop], _tonic(line))
        scale = used.title(line.key) if used is not None else ""
    where: Literal["throughout", "part"] = "throughout" if h.over_all or dose >= THROUGHOUT else "part"
    return replace(h, evidence=evidence, dose=dose, where=where, scale=scale)


def _tonic(line: Line) -> int | None:
    return None if line.key is None else line.key.tonic
