"""A solo's ranks: measured at its own length, ranked in the style's sample of that length.

Between two rungs the style's quantile functions are interpolated, so that ranks and limits agree and neither jumps
with a note more. A solo longer than the highest rung is cut into excerpts of it and ranked by their medians, as one
excerpt would be; its habits' best stretches are looked for in all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG, HABITS, Base, Line, scan_totals, values
from stylemeter.placement.lengths import Plan
from stylemeter.style.profile import Profile
from stylemeter.style.rung import HabitRanks, Rung, RungBetween

__all__ = [
    "Measures",
    "Ranks",
    "capped",
    "column_mean",
    "column_median",
    "excerpt_values",
    "joined",
    "measures",
    "norm_of",
    "rank",
    "rung_for",
]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Measures:
    """What is ranked of solos.

    Attributes
    ----------
    values : ndarray of shape (C, F)
    scans : ndarray of shape (C, n_scans)
        Best stretches, of all excerpts.
    usual : ndarray of shape (C, n_scans)
        Mean over the excerpts of their best stretches; the same where there is one.
    """

    values: Floats
    scans: Floats
    usual: Floats


@dataclass(frozen=True, slots=True)
class Ranks:
    """Cases ranked.

    Attributes
    ----------
    values, share, p, z : ndarray of shape (C, F)
        As measured, mid-rank, p and normal score.
    scans : ndarray of shape (C, n_scans)
    habits : dict of HabitRanks
    """

    values: Floats
    share: Floats
    p: Floats
    z: Floats
    scans: Floats
    habits: dict[str, HabitRanks]


def excerpt_values(base: Base, plan: Plan) -> Floats:
    """Values of the solo's excerpts, of shape (n_excerpts, n_features)."""
    return np.array([values(Line(base, start, start + plan.length)) for start in plan.starts])


def measures(base: Base, plan: Plan, block: Floats | None = None) -> Measures:
    """Measures of one solo: as it is, or of its excerpts the medians and the best stretches.

    Parameters
    ----------
    base : Base
    plan : Plan
    block : ndarray of shape (n_excerpts, n_features), optional
        The excerpts' values, where they were measured before.
    """
    lines = [Line(base, start, start + plan.length) for start in plan.starts]
    block = np.array([values(line) for line in lines]) if block is None else block
    totals = np.array([scan_totals(line) for line in lines])
    # a scan that needs something has it in every excerpt or in none
    return Measures(column_median(block)[None, :], totals.max(axis=0)[None, :], totals.mean(axis=0)[None, :])


def joined(parts: Sequence[Measures]) -> Measures:
    """Measures of several cases together."""
    return Measures(*(np.concatenate([getattr(m, name) for m in parts]) for name in ("values", "scans", "usual")))


def rung_for(rung_of: Callable[[int], Rung], rungs: Sequence[tuple[int, float]], notes: int) -> Rung:
    """The sample a solo of so many notes is ranked in: a rung, or what lies between two.

    Parameters
    ----------
    rung_of : callable
        Note count -> Rung.
    rungs : sequence of (notes, share)
        As a plan has them.
    """
    if len(rungs) == 1:
        return rung_of(rungs[0][0])
    (lower, _), (upper, share) = rungs
    return RungBetween(rung_of(lower), rung_of(upper), share, notes)


def norm_of(profile: Profile, plan: Plan) -> Rung:
    """The sample of a style at a solo's length."""
    return rung_for(profile.rung, plan.rungs, plan.length)


def rank(rung: Rung, measured: Measures, excerpts: int = 1) -> Ranks:
    """Rank cases.

    Parameters
    ----------
    rung : Rung
    measured : Measures
    excerpts : int
        Excerpts a case was cut into.
    """
    stand = rung.standing(capped(measured.values, rung.names, rung.notes))
    habits = {name: rung.habit_ranks(stand.z, measured.scans, measured.usual, name, excerpts) for name in HABITS}
    return Ranks(measured.values, stand.share, stand.p, stand.z, measured.scans, habits)


def capped(block: Floats, names: Sequence[str], notes: int) -> Floats:
    """Values as an excerpt of `notes` notes could have them: what counts notes is at most its length.

    Without it, a solo of 65 notes in one phrase would lie above every excerpt of 64.
    """
    out = block.copy()
    columns = [i for i, name in enumerate(names) if CATALOG[name].capped]
    out[:, columns] = np.minimum(out[:, columns], notes)
    return out


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
