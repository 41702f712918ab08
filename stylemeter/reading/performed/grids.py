"""Beats and the grids their onsets may lie on.

Conventions: a place on a grid is a fraction of its beat, 0 to under 1; places are written in `parts` of
the beat. On a swung grid they are played late and written even.
"""

from __future__ import annotations

import math
from bisect import bisect
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from stylemeter.music.meter import TICKS, Meter, meter_at, regular_spans

__all__ = ["Grid", "Units", "beat_units", "even_grid", "grids_of", "kind_of", "put"]

Ints = npt.NDArray[np.int64]

#: How often each grid is used before the take is known, by parts of the beat: quarter-note, dotted and short beats.
#: Common practice, no source; a take's own use soon outweighs it.
_USE: dict[str, dict[int, float]] = {
    "quarter": {1: 0.28, 2: 0.3, 4: 0.22, 3: 0.12, 6: 0.03, 8: 0.03, 12: 0.01, 24: 0.005, 48: 0.002},
    "dotted": {1: 0.25, 3: 0.4, 6: 0.22, 2: 0.04, 4: 0.02, 12: 0.04, 9: 0.02, 24: 0.005, 48: 0.002},
    "short": {1: 0.52, 2: 0.32, 4: 0.06, 3: 0.05, 6: 0.02, 8: 0.01, 12: 0.005, 24: 0.003, 48: 0.002},
}
_SWUNG_USE = {2: 0.25, 4: 0.06}


@dataclass(frozen=True, slots=True)
class Units:
    """The beats grids are chosen for.

    Attributes
    ----------
    start, length : ndarray of shape (n_units,)
        Ticks; each begins where the one before ends.
    """

    start: Ints
    length: Ints


@dataclass(frozen=True, slots=True)
class Grid:
    """Places in a beat.

    Attributes
    ----------
    parts : int
        What `written` counts in.
    written : tuple of int
        Where they are written, in parts of the beat.
    played : tuple of float
        Where they are played.
    between : tuple of float
        The middles between neighbouring places.
    swung : bool
    use : float
        How often the grid is used before the take is known.
    """

    parts: int
    written: tuple[int, ...]
    played: tuple[float, ...]
    between: tuple[float, ...]
    swung: bool
    use: float


def beat_units(meters: Sequence[Meter], start: int, end: int) -> Units:
    """Beats from a bar line until `end` and one beat more: quarters, dotted beats or shorter ones.

    Examples
    --------
    >>> units = beat_units((Meter(0, 6, 8),), 0, 2 * TICKS)
    >>> units.start.tolist(), units.length.tolist()
    ([0, 15120, 30240], [15120, 15120, 15120])
    """
    starts: list[int] = []
    lengths: list[int] = []
    for line, length in regular_spans(meters, start, end + 2 * TICKS):
        beat = meter_at(meters, line).beat
        beat = beat if 2 * beat <= 3 * TICKS else TICKS
        for at in range(line, line + length, beat):
            starts.append(at)
            lengths.append(min(beat, line + length - at))
    keep = sum(at <= end for at in starts) + 1
    return Units(np.array(starts[:keep], dtype=np.int64), np.array(lengths[:keep], dtype=np.int64))


def kind_of(length: int) -> str:
    """Kind of beat, by its length in ticks."""
    return "short" if length < TICKS * 3 // 4 else "quarter" if length <= TICKS else "dotted"


@lru_cache(maxsize=64)
def grids_of(kind: str, swing: float | None) -> tuple[Grid, ...]:
    """Grids of a kind of beat; with a swing, quarter-note beats have swung ones too.

    Examples
    --------
    >>> [(grid.parts, grid.swung) for grid in grids_of("quarter", 0.6)][-2:]
    [(2, True), (4, True)]
    >>> grids_of("quarter", 0.6)[-1].written, grids_of("quarter", 0.6)[-1].played
    ((0, 2, 3), (0.0, 0.6, 0.8))
    """
    grids = [even_grid(parts, use) for parts, use in _USE[kind].items()]
    if swing is not None and kind == "quarter":
        grids.append(_grid(2, (0, 1), [0.0, swing], True, _SWUNG_USE[2]))
        # Four sixteenths to a swung beat are played even; only the second half's pair follows the late off-beat.
        grids.append(_grid(4, (0, 2, 3), [0.0, swing, (1 + swing) / 2], True, _SWUNG_USE[4]))
    return tuple(grids)


def even_grid(parts: int, use: float = 0.0) -> Grid:
    """Equal parts of a beat."""
    return _grid(parts, tuple(range(parts)), [k / parts for k in range(parts)], False, use)


def _grid(parts: int, written: tuple[int, ...], played: list[float], swung: bool, use: float) -> Grid:
    """A grid of these places."""
    between = tuple((a + b) / 2 for a, b in pairwise(played))
    return Grid(parts, written, tuple(played), between, swung, use)


def put(fractions: Sequence[float], grid: Grid, limit: float = math.inf) -> tuple[float, tuple[int, ...]] | None:
    """Put the onsets of a beat on different places of a grid, in order, with the least squared error.

    Parameters
    ----------
    fractions : sequence of float
        Rising; under 0 or over 1 where an onset comes early for this beat or late.
    grid : Grid
    limit : float
        Squared error beyond which the grid is of no use.

    Returns
    -------
    (float, tuple of int) or None
        Squared error, and the index of each place; None where there are fewer places than onsets, or the error is over
        the limit.

    Examples
    --------
    >>> thirds = grids_of("quarter", None)[3]
    >>> put([0.0, 0.3, 0.7], thirds)[1], put([0.3, 0.36], thirds)[1], put([0.1, 0.2, 0.3, 0.4], thirds)
    ((0, 1, 2), (0, 1), None)
    """
    if len(fractions) > len(grid.played):
        return None
    places = [bisect(grid.between, fraction) for fraction in fractions]
    squares = sum([(f - grid.played[i]) ** 2 for f, i in zip(fractions, places, strict=True)])
    if squares > limit:
        return None
    if all(a < b for a, b in pairwise(places)):
        return squares, tuple(places)
    return _spread(fractions, grid.played)


def _spread(fractions: Sequence[float], played: Sequence[float]) -> tuple[float, tuple[int, ...]]:
    """Least squared error over all rising choices of places (dynamic programming over places)."""
    cost = [(fractions[0] - place) ** 2 for place in played]
    back: list[list[int]] = []
    for fraction in fractions[1:]:
        least, argument = math.inf, 0
        following: list[float] = []
        before: list[int] = []
        for index, place in enumerate(played):
            following.append(least + (fraction - place) ** 2)
            before.append(argument)
            if cost[index] < least:
                least, argument = cost[index], index
        cost = following
        back.append(before)
    last = min(range(len(cost)), key=cost.__getitem__)
    places = [last]
    for before in reversed(back):
        places.append(before[places[-1]])
    return cost[last], tuple(reversed(places))
