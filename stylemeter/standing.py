"""A solo's ranks: its excerpts ranked at each rung, interpolated between rungs, averaged over excerpts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.features import HABITS, Base, measure
from stylemeter.plan import Plan
from stylemeter.profile import Profile
from stylemeter.reference import FAMILIES_FOR_LIMITS, Rung

__all__ = ["Standings", "column_mean", "excerpt_values", "standings"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Standings:
    """The solo's numbers, averaged over its excerpts and interpolated between its rungs."""

    value: Floats
    share: Floats
    p: Floats
    habit: dict[str, tuple[float, float, float, float]]
    z: dict[int, Floats]


def excerpt_values(base: Base, plan: Plan) -> Floats:
    """Values of the solo's excerpts, of shape (n_excerpts, n_features)."""
    cuts = [measure(base, start, start + plan.length).values for start in plan.starts]
    return np.array([list(cut.values()) for cut in cuts])


def standings(profile: Profile, plan: Plan, block: Floats) -> Standings:
    """Rank the excerpts at each rung, interpolate, and average.

    Parameters
    ----------
    profile : Profile
    plan : Plan
    block : ndarray of shape (n_excerpts, n_features)
    """
    share, p = np.zeros(block.shape), np.zeros(block.shape)
    habit = {name: np.zeros((4, len(block))) for name in HABITS}
    scores = {}
    for notes, part in plan.rungs:
        rung = profile.rung(notes)
        stand = rung.standing(block)
        share += part * stand.share
        p += part * stand.p
        scores[notes] = stand.z
        for name in HABITS:
            habit[name] += part * np.stack(_habit_numbers(rung, stand.z, name))
    with np.errstate(all="ignore"):
        return Standings(
            value=column_median(block),
            share=column_mean(share),
            p=column_mean(p),
            habit={name: tuple(float(v) for v in column_mean(rows.T)) for name, rows in habit.items()},  # type: ignore[misc]
            z=scores,
        )


def _habit_numbers(rung: Rung, z: Floats, name: str) -> tuple[Floats, Floats, Floats, Floats]:
    """Statistic, p of showing, p of being free, and mid-rank of a habit."""
    statistic = rung.habit_statistic(z, name)
    if rung.ordered(f"habit:{name}").total < FAMILIES_FOR_LIMITS:
        statistic = np.full_like(statistic, np.nan)
    p, low = rung.habit_p(statistic, name)
    return statistic, p, low, (1 - p + low) / 2


def column_mean(block: Floats) -> Floats:
    """Mean of the measured entries of each column; NaN where none is."""
    there = np.isfinite(block)
    count = there.sum(axis=0)
    total = np.where(there, block, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def column_median(block: Floats) -> Floats:
    """Median of the measured entries of each column; NaN where none is."""
    if len(block) == 1:
        row: Floats = block[0]
        return row
    out = [np.median(c[np.isfinite(c)]) if np.isfinite(c).any() else np.nan for c in block.T]
    return np.array(out, dtype=float)
