"""A solo's ranks: its excerpts ranked at each rung, interpolated between rungs, averaged over excerpts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG, HABITS, Base, Line, values
from stylemeter.placement.lengths import Plan
from stylemeter.style.profile import Profile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, Rung

__all__ = [
    "HabitRanks",
    "Ranks",
    "Standings",
    "column_mean",
    "column_median",
    "excerpt_values",
    "rank_excerpts",
    "standings",
]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HabitRanks:
    """A habit's numbers for many excerpts, each of shape (C,).

    Attributes
    ----------
    statistic, p, p_free, share : ndarray
        Mean normal score; p of showing it; p of standing out as free of it; mid-rank in the sample's own.
    """

    statistic: Floats
    p: Floats
    p_free: Floats
    share: Floats


@dataclass(frozen=True, slots=True)
class Ranks:
    """Excerpts ranked, interpolated between the rungs.

    Attributes
    ----------
    share, p : ndarray of shape (C, F)
    z : dict of ndarray of shape (C, F)
        Normal scores at each rung.
    habits : dict of HabitRanks
    """

    share: Floats
    p: Floats
    z: dict[int, Floats]
    habits: dict[str, HabitRanks]


@dataclass(frozen=True, slots=True)
class Standings:
    """A solo's numbers, over all its excerpts.

    Attributes
    ----------
    value, share, p : ndarray of shape (F,)
        Median value, mean mid-rank, mean p.
    z : dict of ndarray of shape (F,)
        Mean normal scores at each rung.
    habits : dict of tuple of float
        statistic, p, p_free, share.
    """

    value: Floats
    share: Floats
    p: Floats
    z: dict[int, Floats]
    habits: dict[str, tuple[float, float, float, float]]


def excerpt_values(base: Base, plan: Plan) -> Floats:
    """Values of the solo's excerpts, of shape (n_excerpts, n_features)."""
    return np.array([values(Line(base, start, start + plan.length)) for start in plan.starts])


def rank_excerpts(rung_of: Callable[[int], Rung], rungs: Sequence[tuple[int, float]], block: Floats) -> Ranks:
    """Rank excerpts at each rung and interpolate.

    Parameters
    ----------
    rung_of : callable
        Note count -> Rung.
    rungs : sequence of (notes, share)
        The rungs compared with and how much each counts.
    block : ndarray of shape (C, F)
        Values, in the order of the rungs' features.
    """
    share, p, z = np.zeros(block.shape), np.zeros(block.shape), {}
    habit = {name: np.zeros((4, len(block))) for name in HABITS}
    for notes, part in rungs:
        rung = rung_of(notes)
        stand = rung.standing(capped(block, rung.names, notes))
        share += part * stand.share
        p += part * stand.p
        z[notes] = stand.z
        for name in HABITS:
            habit[name] += part * _habit_numbers(rung, stand.z, name)
    return Ranks(share, p, z, {name: HabitRanks(*rows) for name, rows in habit.items()})


def standings(profile: Profile, plan: Plan, block: Floats) -> Standings:
    """Rank a solo's excerpts and put them together: p and percentile averaged, values as medians."""
    ranks = rank_excerpts(profile.rung, plan.rungs, block)
    habits = {}
    for name, h in ranks.habits.items():
        statistic, p, free, share = column_mean(np.column_stack([h.statistic, h.p, h.p_free, h.share])).tolist()
        habits[name] = (statistic, p, free, share)
    return Standings(
        value=column_median(block),
        share=column_mean(ranks.share),
        p=column_mean(ranks.p),
        z={notes: column_mean(z) for notes, z in ranks.z.items()},
        habits=habits,
    )


def capped(block: Floats, names: Sequence[str], notes: int) -> Floats:
    """Values as an excerpt of `notes` notes could have them: what counts notes is at most its length.

    Without it, a solo of 65 notes in one phrase would lie above every excerpt of 64.
    """
    out = block.copy()
    columns = [i for i, name in enumerate(names) if CATALOG[name].capped]
    out[:, columns] = np.minimum(out[:, columns], notes)
    return out


def _habit_numbers(rung: Rung, z: Floats, name: str) -> Floats:
    """Statistic, p of showing, p of being free, and mid-rank of a habit, of shape (4, C)."""
    statistic = rung.habit_statistic(z, name)
    if rung.ordered(f"habit:{name}").total < FAMILIES_FOR_LIMITS:
        statistic = np.full_like(statistic, np.nan)
    p, low = rung.habit_p(statistic, name)
    return np.stack([statistic, p, low, (1 - p + low) / 2])


def column_mean(block: Floats) -> Floats:
    """Mean of the measured entries of each column; NaN where none is."""
    there = np.isfinite(block)
    count = there.sum(axis=0)
    total = np.where(there, block, 0.0).sum(axis=0)
    mean: Floats = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return mean


def column_median(block: Floats) -> Floats:
    """Median of the measured entries of each column; NaN where none is."""
    if len(block) == 1:
        row: Floats = block[0]
        return row
    out = [np.median(c[np.isfinite(c)]) if np.isfinite(c).any() else np.nan for c in block.T]
    return np.array(out, dtype=float)
