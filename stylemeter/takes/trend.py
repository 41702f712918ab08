"""Whether a number moved from take to take: permutation of the takes' order, and intervals from their excerpts.

Conventions: pure array work. Takes are the unit: what is shuffled is their order, never the excerpts of one take,
which are not independent of each other. Unknown is NaN.

References
----------
.. [1] E. J. G. Pitman, "Significance tests which may be applied to samples from any populations. II. The correlation
   coefficient test", Supplement to the J. Royal Statistical Society 4:225-232, 1937.
.. [2] B. Phipson & G. K. Smyth, "Permutation P-values should never be zero", Statistical Applications in Genetics and
   Molecular Biology 9:39, 2010.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations

import numpy as np
import numpy.typing as npt

__all__ = ["FEWEST", "Within", "half_width", "joint_trend_p", "pooled", "third_means", "trend_p"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Takes from which a change can be told from chance: 6 can be ordered in 720 ways, so that the clearest trend has a
#: two-sided p of 2 / 720 and passes a correction over six habits; 5 can't (2 / 120).
FEWEST = 6
#: Takes up to which every order is gone through; more are drawn from.
EXACT = 8
#: Orders drawn, the one observed not counted.
DRAWS = 19_999
#: Share of an interval.
CONFIDENCE = 0.9


@lru_cache(maxsize=4)
def _orders(count: int, seed: int) -> Ints:
    """Every order of so many takes, or a draw of them, of shape (n_orders, count)."""
    if count <= EXACT:
        return np.array(list(permutations(range(count))), dtype=np.int64)
    rng = np.random.default_rng(seed)
    return np.argsort(rng.random((DRAWS, count)), axis=1)


def trend_p(values: Sequence[float] | Floats, seed: int = 0) -> tuple[float, float]:
    """Test whether values rise or fall with their order [1]_.

    Parameters
    ----------
    values : sequence of float
        One a take, in order; unmeasured takes (NaN) are left out.
    seed : int
        Of the draw, for more than 8 takes.

    Returns
    -------
    slope, p : float
        Least-squares slope a take, and the share of all orders with a slope as steep either way: exact up to 8 takes,
        of a seeded draw, the observed order counted in [2]_, above. NaN with fewer than `FEWEST` measured takes.

    Examples
    --------
    >>> slope, p = trend_p([6, 5, 4, 3, 2, 1])
    >>> round(slope, 9), round(p * 720)
    (-1.0, 2)
    >>> trend_p([3, 2, 1])
    (nan, nan)
    """
    given = np.asarray(values, dtype=float)
    there = np.flatnonzero(np.isfinite(given))
    if len(there) < FEWEST:
        return math.nan, math.nan
    place = there - there.mean()
    y = given[there]
    observed = float(place @ y)
    every = y[_orders(len(y), seed)] @ place
    # orders that differ by rounding alone count as equal
    as_steep = int(np.count_nonzero(np.abs(every) >= abs(observed) - 1e-9 * max(1.0, float(np.abs(y).max()))))
    drawn = len(y) > EXACT
    return observed / float(place @ place), (as_steep + drawn) / (len(every) + drawn)


def joint_trend_p(series: Sequence[Sequence[float] | Floats], seed: int = 0) -> tuple[int, float]:
    """Test whether any of several measures of the same takes rises or falls with their order.

    Parameters
    ----------
    series : sequence of sequences of float
        Each one value a take; a measure that is missing in any take, or the same in all, is left out.
    seed : int

    Returns
    -------
    direction, p : int, float
        Sign of the steepest measure's slope, each in units of its own spread, and the share of all orders in which
        the steepest is as steep either way: one p for all of them, whatever the dependence between them. 0 and NaN
        with fewer than `FEWEST` takes or no measure.

    Examples
    --------
    >>> direction, p = joint_trend_p([[6, 5, 4, 3, 2, 1], [3, 3, 3, 3, 3, 3]])
    >>> direction, round(p * 720)
    (-1, 2)
    """
    rows = [np.asarray(one, dtype=float) for one in series]
    rows = [row for row in rows if np.isfinite(row).all() and row.std() > 0]
    if not rows or len(rows[0]) < FEWEST:
        return 0, math.nan
    count = len(rows[0])
    place = np.arange(count) - (count - 1) / 2
    orders = _orders(count, seed)
    scaled = [(row - row.mean()) / row.std() for row in rows]
    slopes = [float(place @ row) for row in scaled]
    observed = max(slopes, key=abs)
    steepest = np.max([np.abs(row[orders] @ place) for row in scaled], axis=0)
    as_steep = int(np.count_nonzero(steepest >= abs(observed) - 1e-9 * count))
    drawn = count > EXACT
    return (1 if observed > 0 else -1), (as_steep + drawn) / (len(orders) + drawn)


def third_means(values: Sequence[float] | Floats) -> tuple[float, float]:
    """Mean of the first third of the measured values and of the last, of one value at the least.

    Examples
    --------
    >>> third_means([9, 8, 5, 5, 2, 1])
    (8.5, 1.5)
    """
    there = np.asarray(values, dtype=float)
    there = there[np.isfinite(there)]
    if not len(there):
        return math.nan, math.nan
    size = max(1, len(there) // 3)
    return float(there[:size].mean()), float(there[-size:].mean())


@dataclass(frozen=True, slots=True)
class Within:
    """How far excerpts of one take lie apart, pooled over the takes.

    Attributes
    ----------
    sd : float
        Standard deviation within takes; NaN where no take has two excerpts.
    freedom : int
        Degrees of freedom behind it.
    """

    sd: float
    freedom: int


def pooled(takes: Sequence[Floats]) -> Within:
    """Pool the spread within takes, as an analysis of variance does.

    Parameters
    ----------
    takes : sequence of ndarray
        Values of each take's excerpts that do not overlap; NaN where unmeasured.

    Examples
    --------
    >>> found = pooled([np.array([1.0, 3.0]), np.array([5.0, 7.0]), np.array([2.0])])
    >>> round(found.sd, 9), found.freedom
    (1.414213562, 2)
    """
    square, freedom = 0.0, 0
    for values in takes:
        there = values[np.isfinite(values)]
        if len(there) > 1:
            square += float(((there - there.mean()) ** 2).sum())
            freedom += len(there) - 1
    return Within(math.sqrt(square / freedom) if freedom else math.nan, freedom)


def half_width(spread: Within, excerpts: float, guessed: float = 0.0) -> float:
    """Half of the 90 % interval of a take's mean.

    Parameters
    ----------
    spread : Within
    excerpts : float
        How many separate excerpts the take has, as a number of lengths: 2.5 where it is two and a half times as long.
    guessed : float
        Standard deviation of the mean under notes that may be wrong.

    Returns
    -------
    float
        NaN where the spread is unknown.
    """
    if not spread.freedom:
        return math.nan
    from scipy.special import stdtrit

    t = float(stdtrit(spread.freedom, (1 + CONFIDENCE) / 2))
    return t * math.sqrt(spread.sd**2 / max(1.0, excerpts) + guessed**2)
