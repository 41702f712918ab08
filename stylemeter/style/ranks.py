"""Ranks, limits and p-values of one case against a weighted sample. Pure functions over arrays.

Conventions: every tune family weighs 1, shared between its rows; W is the summed weight, so W counts families.

References
----------
.. [1] V. Vovk, A. Gammerman & G. Shafer, Algorithmic Learning in a Random World, 2005 (conformal p).
.. [2] B. Phipson & G. K. Smyth, "Permutation p-values should never be zero", 2010.
.. [3] CLSI EP28-A3c; H. E. Solberg 1987 (nonparametric reference limits at ranks p(n + 1)).
.. [4] Y. Benjamini & Y. Hochberg, J. R. Stat. Soc. B 57:289-300, 1995.
.. [5] J. Pickands III, "Statistical inference using extreme order statistics", Annals of Statistics 3:119-131, 1975
   (what lies beyond a high threshold: the generalised Pareto law, of which the exponential is the middle case).
"""

from __future__ import annotations

from functools import cached_property
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

__all__ = [
    "Ordered",
    "benjamini_hochberg",
    "bootstrap_limits",
    "conformal_high",
    "conformal_low",
    "conformal_two_sided",
    "family_weights",
    "jensen_shannon",
    "midrank",
    "normal_quantile",
    "normal_score_rank",
    "weighted_quantile",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_NORMAL = NormalDist()
#: Families the outer tenth of a sample must hold for a tail beyond it.
TAIL_FEWEST = 8


def normal_quantile(r: float) -> float:
    """Quantile of the standard normal distribution."""
    return _NORMAL.inv_cdf(r)


def family_weights(family: Ints, measured: npt.NDArray[np.bool_]) -> Floats:
    """Weight of each row: 1 a family, shared between its measured rows, 0 for the rest.

    Examples
    --------
    >>> family_weights(np.array([0, 0, 1]), np.array([True, True, True])).tolist()
    [0.5, 0.5, 1.0]
    """
    count = np.bincount(family, weights=measured)
    return np.where(measured, 1.0 / np.maximum(count, 1.0)[family], 0.0)


class Ordered:
    """A sample sorted once, to be ranked against many times.

    Parameters
    ----------
    values : ndarray of shape (n_rows,)
        NaN where unmeasured.
    family : ndarray of shape (n_rows,)
        Family of each row, from 0.

    Attributes
    ----------
    total : float
        Summed weight: the number of families with a measured row.
    """

    def __init__(self, values: npt.NDArray[np.floating], family: Ints) -> None:
        measured = np.isfinite(values)
        weight = family_weights(family, measured)[measured]
        kept = values[measured]
        # equal values by weight: quantiles then don't depend on the order the rows came in
        self.order: Ints = np.lexsort((weight, kept))
        self.rows: Ints = np.flatnonzero(measured)[self.order]
        self.values = kept[self.order]
        self.cumulative: Floats = np.concatenate(([0.0], np.cumsum(weight[self.order])))
        # whole by construction; rounding keeps sums of thirds from drifting
        self.total = float(round(float(self.cumulative[-1])))

    @classmethod
    def of_sorted(cls, values: npt.NDArray[np.float32], cumulative: Floats) -> Ordered:
        """Make one of columns sorted before, to rank against only.

        Parameters
        ----------
        values : ndarray of shape (n,)
            Sorted, all measured.
        cumulative : ndarray of shape (n + 1,)
            Summed weights, from 0.
        """
        made = cls.__new__(cls)
        made.values = values
        made.cumulative = cumulative
        made.total = float(round(float(cumulative[-1])))
        return made

    @classmethod
    def between(cls, a: Ordered, b: Ordered, share: float, fewest: float = 0) -> Ordered:
        """Interpolate the quantile functions of two samples.

        Parameters
        ----------
        a, b : Ordered
        share : float
            How much `b` counts.
        fewest : float
            Families below which either is too small: then the result has that few.

        Examples
        --------
        >>> family = np.arange(3)
        >>> low, high = Ordered(np.array([0.0, 1.0, 2.0]), family), Ordered(np.array([0.0, 3.0, 6.0]), family)
        >>> Ordered.between(low, high, 0.5).values.tolist()
        [0.0, 2.0, 4.0]
        """
        if min(a.total, b.total) < max(fewest, 1):
            return a if a.total < b.total else b
        parts = [(s.values, s.cumulative[1:] / s.cumulative[-1]) for s in (a, b)]
        # rounded, so that shares that are the same number are one edge
        edges = np.unique(np.concatenate([edge for _, edge in parts]).round(12))
        low, high = (v[np.minimum(np.searchsorted(edge + 1e-11, edges), len(v) - 1)] for v, edge in parts)
        values = ((1 - share) * low.astype(float) + share * high).astype(a.values.dtype)
        total = (1 - share) * a.total + share * b.total
        return cls.of_sorted(values, np.concatenate(([0.0], edges * total)))

    @cached_property
    def weight(self) -> Floats:
        """Weight of each value."""
        return np.diff(self.cumulative)

    def quantiles(self, shares: npt.ArrayLike) -> Floats:
        """Quantiles; see `weighted_quantile`."""
        return weighted_quantile(self.values, self.weight, shares)

    @cached_property
    def middle(self) -> tuple[float, float]:
        """Median, and the width of the middle half; where half of the sample is one value, of what more of it spans.

        A wider part is brought to what it would be for the half of a normal distribution. 0 where all are alike.
        """
        shares = [0.5, 0.25, 0.75, 0.1, 0.9, 0.05, 0.95, 0.01, 0.99]
        median, *ends = self.quantiles(shares).tolist() if self.total >= 1 else [0.0] * len(shares)
        for i, scale in enumerate((1.0, 0.5263, 0.4101, 0.2899)):
            if ends[2 * i + 1] > ends[2 * i]:
                return median, scale * (ends[2 * i + 1] - ends[2 * i])
        return median, 0.0

    @cached_property
    def _tails(self) -> dict[int, tuple[float, float, float] | None]:
        """By side: where the outer tenth begins, its weight, and how far it lies beyond on average."""
        found: dict[int, tuple[float, float, float] | None] = {}
        for side in (1, -1):
            values, weights = self.values.astype(float), self.weight
            if side < 0:
                values, weights = -values[::-1], weights[::-1]
            edge = float(values[min(np.searchsorted(weights.cumsum(), 0.9 * self.total), len(values) - 1)])
            beyond = values > edge
            weight = float(weights[beyond].sum())
            found[side] = None
            if weight >= TAIL_FEWEST:
                mean = float((weights[beyond] * (values[beyond] - edge)).sum()) / weight
                found[side] = (edge, weight, mean)
        return found

    def tail(self, case: npt.ArrayLike, side: int) -> Floats:
        """Chance of a value as far out on one side, by an exponential tail [5]_ beyond the outer tenth.

        The mean excess is itself an estimate from as many families as lie there: with its own distribution integrated
        out (a gamma law), the exponential becomes (1 + y / (k m)) to the power of -k.

        Parameters
        ----------
        case : array_like
        side : {1, -1}
            High or low.

        Returns
        -------
        ndarray
            1 where the case does not lie beyond the outer tenth, or it holds too few families.
        """
        wanted = side * np.asarray(case, dtype=self.values.dtype).astype(float)
        found = self._tails[side]
        if found is None:
            return np.ones(wanted.shape)
        edge, weight, mean = found
        excess = np.maximum(0.0, wanted - edge)
        chance: Floats = (weight + 0.5) / (self.total + 1) * (1 + excess / (weight * mean)) ** -weight
        return np.where(wanted > edge, chance, 1.0)

    def p_high(self, case: npt.ArrayLike) -> Floats:
        """One-sided p of high cases: the conformal rank p; beyond all of the sample by the tail, where that is less."""
        given = np.asarray(case, dtype=self.values.dtype)
        below, _ = self.around(given)
        p = conformal_high(below, self.total)
        return np.where(given > self.values[-1], np.minimum(p, self.tail(given, 1)), p) if len(self.values) else p

    def p_far(self, case: npt.ArrayLike) -> Floats:
        """One-sided p of high cases, all of the outer tenth by the tail.

        For a statistic that is exponential there as it is made, such as the greatest of some surprises: then the tail
        tells apart what the ranks of a small sample can't.
        """
        given = np.asarray(case, dtype=self.values.dtype)
        below, _ = self.around(given)
        tail = self.tail(given, 1)
        return np.where(tail < 1, tail, conformal_high(below, self.total))

    def p_low(self, case: npt.ArrayLike) -> Floats:
        """One-sided p of low cases, likewise."""
        given = np.asarray(case, dtype=self.values.dtype)
        below, equal = self.around(given)
        p = conformal_low(below, equal, self.total)
        return np.where(given < self.values[0], np.minimum(p, self.tail(given, -1)), p) if len(self.values) else p

    def surprise(self, case: npt.ArrayLike) -> Floats:
        """How far out high cases lie, in one measure for all statistics: -ln of their chance.

        By the mid-rank, and beyond the outer tenth by the tail, which tells cases apart that ranks can't.
        """
        given = np.asarray(case, dtype=self.values.dtype)
        there = np.isfinite(given)
        below, equal = self.around(np.where(there, given, 0))
        rank = (np.maximum(0.0, self.total - below - equal / 2) + 0.5) / (self.total + 1)
        tail = self.tail(np.where(there, given, -np.inf), 1)
        return np.where(there, -np.log(np.where(tail < 1, tail, rank)), np.nan)

    def around(self, case: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Weight below and weight equal to each case.

        Returns
        -------
        below, equal : ndarrays
        """
        # the sample is kept in single precision: a case must be rounded alike to meet its equals
        wanted = np.asarray(case, dtype=self.values.dtype)
        low = np.searchsorted(self.values, wanted, side="left")
        high = np.searchsorted(self.values, wanted, side="right")
        return self.cumulative[low], self.cumulative[high] - self.cumulative[low]


def midrank(below: Floats, equal: Floats, total: Floats | float) -> Floats:
    """Weighted mid-rank as a share: below plus half of what is equal.

    Examples
    --------
    >>> float(midrank(np.array(2.0), np.array(2.0), 5.0))
    0.6
    """
    # the weights are sums of shares such as 1/3: what is above all of them may be a hair more than they are together
    rank: Floats = np.minimum(1.0, (below + equal / 2) / total)
    return rank


def normal_score_rank(below: Floats, equal: Floats, total: Floats | float) -> Floats:
    """Rank strictly between 0 and 1, fit for a normal quantile: (below + equal / 2 + 1 / 2) / (W + 1)."""
    rank: Floats = (below + equal / 2 + 0.5) / (total + 1)
    return rank


def conformal_high(below: Floats, total: Floats | float) -> Floats:
    """One-sided p of a high case: (weight at or above + 1) / (W + 1)."""
    p: Floats = (np.maximum(0.0, total - below) + 1) / (total + 1)
    return p


def conformal_low(below: Floats, equal: Floats, total: Floats | float) -> Floats:
    """One-sided p of a low case: (weight at or below + 1) / (W + 1)."""
    p: Floats = (below + equal + 1) / (total + 1)
    return p


def conformal_two_sided(below: Floats, equal: Floats, total: Floats | float) -> Floats:
    """Two-sided conformal rank p: twice the smaller one-sided p, at most 1.

    Examples
    --------
    >>> float(conformal_two_sided(np.array(39.0), np.array(0.0), 39.0))
    0.05
    """
    high = conformal_high(below, total)
    low = conformal_low(below, equal, total)
    p: Floats = np.minimum(1.0, 2 * np.minimum(high, low))
    return p


def weighted_quantile(values: npt.NDArray[np.floating], weight: Floats, shares: npt.ArrayLike) -> Floats:
    """Quantiles of a sorted sample at weighted ranks p(W + 1).

    Parameters
    ----------
    values : ndarray of shape (n,)
        Sorted.
    weight : ndarray of shape (..., n)
        Weights, one set a row.
    shares : array_like of shape (k,)

    Returns
    -------
    ndarray of shape (..., k)

    Notes
    -----
    A value's own rank is the middle of its weight: C - w / 2 + 1 / 2, which is 1, 2, ..., n for weights of 1, so that
    the limits are those of EP28 [3]_; beyond the first and last rank the extreme value is returned.

    Examples
    --------
    >>> weighted_quantile(np.arange(1.0, 121.0), np.ones(120), [0.025, 0.975]).round(9).tolist()
    [3.025, 117.975]
    """
    wanted = np.asarray(shares, dtype=float)
    rows = np.atleast_2d(weight)
    cumulative = np.cumsum(rows, axis=1)
    rank = cumulative - rows / 2 + 0.5
    targets = np.outer(cumulative[:, -1] + 1, wanted)
    out = np.array([np.interp(t, r, values) for t, r in zip(targets, rank, strict=True)])
    return out[0] if np.ndim(weight) == 1 else out


def bootstrap_limits(
    sample: Ordered, family: Ints, shares: npt.ArrayLike, *, draws: int = 200, seed: int = 0, confidence: float = 0.9
) -> Floats:
    """Confidence intervals of quantiles by drawing families with replacement.

    Parameters
    ----------
    sample : Ordered
    family : ndarray of shape (n_rows,)
        As given to `Ordered`.
    shares : array_like of shape (k,)
        The quantiles.

    Returns
    -------
    ndarray of shape (k, 2)
        Lower and upper end of each.
    """
    rng = np.random.default_rng(seed)
    _, number = np.unique(family[sample.rows], return_inverse=True)
    families = int(number.max()) + 1
    times = rng.multinomial(families, np.full(families, 1 / families), size=draws)
    drawn = weighted_quantile(sample.values, sample.weight * times[:, number], shares)
    tail = (1 - confidence) / 2
    interval: Floats = np.quantile(drawn, [tail, 1 - tail], axis=0).T
    return interval


def benjamini_hochberg(p: npt.ArrayLike) -> Floats:
    """Adjusted p-values (q) of Benjamini & Hochberg [4]_.

    Examples
    --------
    >>> benjamini_hochberg([0.01, 0.02, 0.5]).tolist()
    [0.03, 0.03, 0.5]
    """
    given = np.asarray(p, dtype=float)
    count = len(given)
    order = np.argsort(given, kind="stable")[::-1]
    scaled = given[order] * count / np.arange(count, 0, -1)
    q = np.empty(count)
    q[order] = np.minimum(1.0, np.minimum.accumulate(scaled))
    return q


def jensen_shannon(a: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
    """Jensen-Shannon distance, base 2, along the last axis: 0 the same, 1 nothing in common.

    Examples
    --------
    >>> float(jensen_shannon([1, 0, 0], [0, 1, 0]))
    1.0
    """
    p, q = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    middle = (p + q) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(p > 0, p * np.log2(p / middle), 0.0)
        right = np.where(q > 0, q * np.log2(q / middle), 0.0)
    distance: Floats = np.sqrt(np.maximum(0.0, (left + right).sum(axis=-1) / 2))
    return distance
