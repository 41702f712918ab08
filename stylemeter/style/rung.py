"""One rung of a style's sample, and how cases rank in it. Pure array work: the same for one solo and for thousands.

Conventions: C cases, R rows of the rung, F features in the order of `Rung.names`; NaN where unmeasured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from stylemeter.features import HABITS
from stylemeter.style.ranks import (
    Ordered,
    conformal_high,
    conformal_low,
    conformal_two_sided,
    midrank,
    normal_quantile,
    normal_score_rank,
)

__all__ = [
    "FAMILIES_FOR_LIMITS",
    "FAMILIES_FOR_RUNG",
    "Rung",
    "Standing",
    "habit_columns",
    "normal_quantiles",
    "own_family_weights",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Families a rung (and a feature in it) must have to count as a norm (EP28: so that limits have a 90 % interval).
FAMILIES_FOR_RUNG = 120
#: Families below which no limits are given (no 95 % two-sided rank limit exists below 39).
FAMILIES_FOR_LIMITS = 39


def normal_quantiles(r: Floats) -> Floats:
    """Standard normal quantiles of many ranks; NaN stays NaN. Few are worked out without loading scipy."""
    if r.size <= 2000:
        flat = [normal_quantile(v) if v == v else float("nan") for v in r.ravel().tolist()]
        return np.array(flat).reshape(r.shape)
    from scipy.special import ndtri

    z: Floats = ndtri(r)
    return z


def habit_columns() -> list[str]:
    """Columns of a sample that hold the habits' statistics."""
    return [f"habit:{name}" for name in HABITS]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where cases stand in one rung, feature by feature.

    Attributes
    ----------
    share : ndarray of shape (C, F)
        Weighted mid-rank, 0..1.
    p : ndarray of shape (C, F)
        Two-sided conformal rank p.
    z : ndarray of shape (C, F)
        Normal score of the rank.
    """

    share: Floats
    p: Floats
    z: Floats


class Rung:
    """The sample of one note count.

    Parameters
    ----------
    notes : int
        Notes an excerpt.
    names : sequence of str
        Features, in the order of the columns.
    family : ndarray of shape (R,)
        Family of each row, any numbers.
    values : ndarray of shape (R, F)
        Single precision, NaN where unmeasured.
    extra : mapping of str to ndarray of shape (R,)
        Columns worked out when fitting: ``habit:NAME`` statistics, ``distance``, ``js:NAME``.
    """

    def __init__(
        self,
        notes: int,
        names: Sequence[str],
        family: Ints,
        values: npt.NDArray[np.float32],
        extra: Mapping[str, npt.NDArray[np.float32]] | None = None,
    ) -> None:
        self.notes = notes
        self.names = list(names)
        self.column = {name: i for i, name in enumerate(self.names)}
        self.family: Ints = np.unique(family, return_inverse=True)[1].astype(np.int64)
        self.values = values
        self.extra = dict(extra or {})
        self._ordered: dict[str, Ordered] = {}

    @property
    def families(self) -> int:
        """Number of families with a row here."""
        return int(self.family.max()) + 1 if len(self.family) else 0

    def ordered(self, name: str) -> Ordered:
        """Sorted sample of a feature or an extra column, kept."""
        if name not in self._ordered:
            values = self.values[:, self.column[name]] if name in self.column else self.extra[name]
            self._ordered[name] = Ordered(values, self.family)
        return self._ordered[name]

    @cached_property
    def counts(self) -> dict[str, int]:
        """Families each feature is measured in."""
        return {name: int(self.ordered(name).total) for name in self.names}

    def standing(self, cases: npt.ArrayLike, names: Sequence[str] | None = None) -> Standing:
        """Rank cases feature by feature.

        Parameters
        ----------
        cases : array_like of shape (C, F)
            In the order of `names` (all features by default).

        Returns
        -------
        Standing
            NaN where the case is unmeasured or too few families are.
        """
        wanted = self.names if names is None else list(names)
        given = np.atleast_2d(np.asarray(cases, dtype=float))
        below, equal = np.empty(given.shape), np.empty(given.shape)
        total = np.empty(len(wanted))
        for i, name in enumerate(wanted):
            sample = self.ordered(name)
            below[:, i], equal[:, i] = sample.around(given[:, i])
            total[i] = sample.total
        told = np.isfinite(given) & (total >= FAMILIES_FOR_LIMITS)
        total = np.maximum(total, 1.0)

        def where_told(numbers: Floats) -> Floats:
            return np.where(told, numbers, np.nan)

        return Standing(
            where_told(midrank(below, equal, total)),
            where_told(conformal_two_sided(below, equal, total)),
            normal_quantiles(where_told(np.clip(normal_score_rank(below, equal, total), 1e-12, 1 - 1e-12))),
        )

    def habit_statistic(self, z: Floats, habit: str, names: Sequence[str] | None = None) -> Floats:
        """Return the statistic of a habit: the weighted mean of its members' normal scores, turned to the side named.

        Parameters
        ----------
        z : ndarray of shape (C, F)
            Normal scores; an unmeasured member counts 0, all unmeasured gives NaN.
        """
        column = self.column if names is None else {name: i for i, name in enumerate(names)}
        members = HABITS[habit].members
        scores = z[:, [column[m.name] for m in members]]
        weight = np.array([m.weight * m.side for m in members])
        statistic: Floats = np.nan_to_num(scores) @ weight / np.abs(weight).sum()
        statistic[np.isnan(scores).all(axis=1)] = np.nan
        return statistic

    def habit_p(self, statistic: Floats, habit: str) -> tuple[Floats, Floats]:
        """Rank statistics of a habit in the sample's own.

        Returns
        -------
        p, p_low : ndarrays of shape (C,)
            p of showing the habit, and of standing out as free of it.
        """
        sample = self.ordered(f"habit:{habit}")
        below, equal = sample.around(np.nan_to_num(statistic))
        p = conformal_high(below, sample.total)
        low = conformal_low(below, equal, sample.total)
        unmeasured = np.isnan(statistic)
        p[unmeasured] = low[unmeasured] = np.nan
        return p, low

    def add_unknown_habits(self) -> None:
        """Work out the habits a profile was fitted without, from its rows."""
        unknown = [name for name in HABITS if f"habit:{name}" not in self.extra]
        scores = self.own_scores() if unknown else None
        for name in unknown:
            assert scores is not None
            self.extra[f"habit:{name}"] = self.habit_statistic(scores, name).astype(np.float32)

    def own_scores(self) -> Floats:
        """Return the normal score of every row of the sample, its own family left out.

        Returns
        -------
        ndarray of shape (R, F)
        """
        r = np.full(self.values.shape, np.nan)
        for i, name in enumerate(self.names):
            sample = self.ordered(name)
            if sample.total < 2:
                continue
            column = self.values[:, i]
            rows = np.flatnonzero(np.isfinite(column))
            below, equal = sample.around(column[rows])
            own_below, own_equal = own_family_weights(column[rows], self.family[rows])
            r[rows, i] = normal_score_rank(below - own_below, equal - own_equal, sample.total - 1)
        return normal_quantiles(np.clip(r, 1e-12, 1 - 1e-12))


def own_family_weights(values: npt.NDArray[np.floating], family: Ints) -> tuple[Floats, Floats]:
    """Weight of each row's own family below it and equal to it (itself included); a family weighs 1.

    Parameters
    ----------
    values, family : ndarrays of shape (n,)
        Measured rows only.

    Returns
    -------
    below, equal : ndarrays of shape (n,)

    Examples
    --------
    >>> below, equal = own_family_weights(np.array([3.0, 1.0, 3.0]), np.array([7, 7, 9]))
    >>> below.tolist(), equal.tolist()
    ([0.5, 0.0, 0.0], [0.5, 0.5, 1.0])
    """
    order = np.lexsort((values, family))
    v, f = values[order], family[order]
    first = np.concatenate(([True], f[1:] != f[:-1]))
    start = np.flatnonzero(first)
    size = np.diff(np.append(start, len(f)))
    begin = np.repeat(start, size)
    tie = np.concatenate(([True], (v[1:] != v[:-1]) | first[1:]))
    tie_start = np.flatnonzero(tie)
    tie_size = np.diff(np.append(tie_start, len(f)))
    weight = 1.0 / np.repeat(size, size)
    below, equal = np.empty(len(f)), np.empty(len(f))
    below[order] = (np.repeat(tie_start, tie_size) - begin) * weight
    equal[order] = np.repeat(tie_size, tie_size) * weight
    return below, equal
