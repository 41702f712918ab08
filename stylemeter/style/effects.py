"""How much two samples differ: effect sizes with family-bootstrap intervals, and log-odds of counts. Pure array work.

References
----------
.. [1] B. L. Monroe, M. P. Colaresi & K. M. Quinn, "Fightin' Words: lexical feature selection and evaluation for
   identifying the content of political conflict", Political Analysis 16(4):372-403, 2008 (equations 15, 20, 22).
.. [2] N. Cliff, "Dominance statistics: ordinal analyses to answer ordinal questions", Psychological Bulletin
   114(3):494-509, 1993.
.. [3] J. L. Hodges & E. L. Lehmann, "Estimates of location based on rank tests", Annals of Mathematical Statistics
   34(2):598-611, 1963.
.. [4] B. Efron & R. J. Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13 (percentile intervals).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.style.ranks import jensen_shannon

__all__ = [
    "Effect",
    "cliffs_delta",
    "distance_interval",
    "drawn_times",
    "effect",
    "hodges_lehmann",
    "log_odds",
    "paired_effect",
    "robust_log_odds",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Draws of the bootstrap, and share its intervals hold.
DRAWS = 999
CONFIDENCE = 0.95
#: Draws of the shift's interval, and order statistics a sample stands for in them.
SHIFT_DRAWS, SHIFT_ORDERS = 299, 60
#: Values a side from which on the shift is worked out of quantiles: the number of pairs goes with the square.
PAIRS_MAX = 1500
#: Values a side up to which p comes from permutations, where ties make the normal approximation poor.
SMALL = 25
PERMUTATIONS = 9999


# -- counts --------------------------------------------------------------------------------------------------------


def log_odds(
    count_a: npt.ArrayLike,
    places_a: npt.ArrayLike,
    count_b: npt.ArrayLike,
    places_b: npt.ArrayLike,
    prior: npt.ArrayLike,
    prior_places: float,
) -> tuple[Floats, Floats]:
    """Log-odds ratio of counts with an informative Dirichlet prior, and its z [1]_.

    Parameters
    ----------
    count_a, count_b : array_like
        How often each pattern occurs.
    places_a, places_b : array_like
        How often any pattern of its kind and length does.
    prior : array_like
        Pseudo-count of each pattern, positive.
    prior_places : float
        Sum of all pseudo-counts.

    Returns
    -------
    delta, z : ndarrays
        Positive where `a` has more; z is delta over the root of 1 / (count_a + prior) + 1 / (count_b + prior).

    Examples
    --------
    6 of 100 against 10 of 1000, the prior as if one more in 100 had been seen:

    >>> delta, z = log_odds(6, 100, 10, 1000, 1.0, 100)
    >>> round(float(delta), 4), round(float(z), 4)
    (1.2783, 2.644)
    """
    a, b, alpha = (np.asarray(x, dtype=float) for x in (count_a, count_b, prior))
    n_a, n_b = np.asarray(places_a, dtype=float), np.asarray(places_b, dtype=float)
    odds_a = (a + alpha) / (n_a + prior_places - a - alpha)
    odds_b = (b + alpha) / (n_b + prior_places - b - alpha)
    delta = np.log(odds_a) - np.log(odds_b)
    return delta, delta / np.sqrt(1 / (a + alpha) + 1 / (b + alpha))


def robust_log_odds(delta: Floats, prior: Floats, *sides: tuple[Floats, Floats, Floats, float, float]) -> Floats:
    """Z of a log-odds ratio whose counts come in families: a tune that says a thing says it again.

    Parameters
    ----------
    delta : ndarray of shape (n_patterns,)
    prior : ndarray of shape (n_patterns,)
    sides : tuple
        Of each side: `count`, sum of squared family counts, sum of family count times family places (n_patterns,
        each), all places, and the sum of squared family places.

    Returns
    -------
    ndarray of shape (n_patterns,)

    Notes
    -----
    The variance of a side's log count is that of a ratio of family totals, sum over families of (count - rate x
    places)^2 over the squared count, and never less than [1]_ takes for independent counts, 1 / (count + prior).
    """
    variance = np.zeros_like(delta)
    for count, squares, products, places, squared_places in sides:
        rate = count / places
        spread = squares - 2 * rate * products + rate * rate * squared_places
        variance += np.maximum(1 / (count + prior), spread / (count + prior) ** 2)
    z: Floats = delta / np.sqrt(variance)
    return z


# -- values --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Effect:
    """How two samples of a trait differ.

    Attributes
    ----------
    delta : float
        Cliff's delta [2]_: the chance that one of `a` lies above one of `b`, less the chance that it lies below. For
        pairs, the share of pairs that rose less the share that fell.
    delta_interval : tuple of float
        By drawing families with replacement.
    shift : float
        Hodges-Lehmann [3]_: the median of all differences, in the trait's unit.
    shift_interval : tuple of float
    p : float
        Mann-Whitney, two-sided; Wilcoxon's signed ranks for pairs.
    """

    delta: float
    delta_interval: tuple[float, float]
    shift: float
    shift_interval: tuple[float, float]
    p: float


def cliffs_delta(a: npt.ArrayLike, b: npt.ArrayLike) -> float:
    """Chance that a value of `a` lies above one of `b`, less that it lies below [2]_.

    Examples
    --------
    >>> cliffs_delta([3, 4, 5], [1, 2, 3]), cliffs_delta([1], [1])
    (0.8888888888888888, 0.0)
    """
    left, right = np.asarray(a, dtype=float), np.sort(np.asarray(b, dtype=float))
    below = np.searchsorted(right, left, side="left")
    upto = np.searchsorted(right, left, side="right")
    return float((below.sum() - (len(right) - upto).sum()) / (len(left) * len(right)))


def hodges_lehmann(a: npt.ArrayLike, b: npt.ArrayLike) -> float:
    """Median of all differences between a value of `a` and one of `b` [3]_.

    Notes
    -----
    Beyond `PAIRS_MAX` values a side, each is first thinned to that many evenly spaced order statistics.

    Examples
    --------
    >>> hodges_lehmann([3, 4, 5], [1, 2, 3])
    2.0
    """
    left, right = (_thinned(np.sort(np.asarray(x, dtype=float))) for x in (a, b))
    return float(np.median(left[:, None] - right[None, :]))


def _thinned(values: Floats) -> Floats:
    """At most `PAIRS_MAX` evenly spaced order statistics of a sorted sample."""
    if len(values) <= PAIRS_MAX:
        return values
    return values[np.linspace(0, len(values) - 1, PAIRS_MAX).round().astype(np.int64)]


def drawn_times(count: int, *, seed: int = 0, draws: int = DRAWS) -> Ints:
    """How often each of `count` families is drawn in each draw with replacement, of shape (draws, count)."""
    rng = np.random.default_rng(seed)
    return rng.multinomial(count, np.full(count, 1 / count), size=draws)


def effect(a: Floats, b: Floats, times_a: Ints | None = None, times_b: Ints | None = None, *, seed: int = 0) -> Effect:
    """Compare a trait of two samples, a value a family.

    Parameters
    ----------
    a, b : ndarray of shape (n_a,), (n_b,)
        Measured values.
    times_a, times_b : ndarray of shape (draws, n_a), (draws, n_b), optional
        How often each is drawn, where several traits are to be compared in the same draws.
    seed : int

    Notes
    -----
    The intervals are percentile intervals [4]_. That of the shift is of fewer draws, in each of which a sample stands
    for `SHIFT_ORDERS` of its order statistics at most; its own value is exact.
    """
    times_a = drawn_times(len(a), seed=seed) if times_a is None else times_a
    times_b = drawn_times(len(b), seed=seed + 1) if times_b is None else times_b
    order_a, order_b = np.argsort(a, kind="stable"), np.argsort(b, kind="stable")
    sorted_a, sorted_b = a[order_a], b[order_b]
    times_a, times_b = times_a[:, order_a], times_b[:, order_b]
    whole = (times_a.sum(axis=1) > 0) & (times_b.sum(axis=1) > 0)
    times_a, times_b = times_a[whole], times_b[whole]
    # of each value of a, the drawn weight of b below it less that above it
    cumulative = np.concatenate([np.zeros((len(times_b), 1)), np.cumsum(times_b, axis=1)], axis=1)
    below = cumulative[:, np.searchsorted(sorted_b, sorted_a, side="left")]
    above = cumulative[:, -1:] - cumulative[:, np.searchsorted(sorted_b, sorted_a, side="right")]
    pairs = times_a.sum(axis=1) * cumulative[:, -1]
    delta = ((below - above) * times_a).sum(axis=1) / pairs
    shifts = [
        np.median(np.subtract.outer(_orders(np.repeat(sorted_a, x)), _orders(np.repeat(sorted_b, y))))
        for x, y in zip(times_a[:SHIFT_DRAWS], times_b[:SHIFT_DRAWS], strict=True)
    ]
    return Effect(
        cliffs_delta(a, b), _interval(delta), hodges_lehmann(a, b), _interval(np.array(shifts)), _p(a, b, seed)
    )


def _p(a: Floats, b: Floats, seed: int) -> float:
    """Mann-Whitney's p: of the normal approximation, or of permutations where a side is small."""
    from scipy.stats import mannwhitneyu, rankdata

    both = np.concatenate([a, b])
    if np.ptp(both) == 0:
        return 1.0
    if min(len(a), len(b)) > SMALL:
        return float(mannwhitneyu(a, b, method="asymptotic").pvalue)
    rank = rankdata(both)
    middle = len(a) * (len(both) + 1) / 2
    order = np.argsort(np.random.default_rng(seed).random((PERMUTATIONS, len(both))), axis=1)[:, : len(a)]
    apart = np.abs(rank[order].sum(axis=1) - middle)
    as_far = int((apart >= abs(rank[: len(a)].sum() - middle) - 1e-9).sum())
    return (as_far + 1) / (PERMUTATIONS + 1)


def _orders(values: Floats) -> Floats:
    """At most `SHIFT_ORDERS` evenly spaced order statistics of a sorted sample."""
    if len(values) <= SHIFT_ORDERS:
        return values
    return values[np.linspace(0, len(values) - 1, SHIFT_ORDERS).round().astype(np.int64)]


def paired_effect(before: Floats, after: Floats, *, seed: int = 0, draws: int = DRAWS) -> Effect:
    """Compare a trait of pairs: the same player twice.

    Parameters
    ----------
    before, after : ndarray of shape (n_pairs,)
        `delta` and `shift` are positive where `before` is greater, as in `effect`.
    """
    from scipy.stats import wilcoxon

    difference = before - after
    rng = np.random.default_rng(seed)
    drawn = difference[rng.integers(len(difference), size=(draws, len(difference)))]
    p = float(wilcoxon(difference).pvalue) if np.any(difference != 0) else 1.0
    return Effect(
        float(np.sign(difference).mean()),
        _interval(np.sign(drawn).mean(axis=1)),
        _walsh(difference),
        _interval(np.array([_walsh(d) for d in drawn[:SHIFT_DRAWS]])),
        p,
    )


def _walsh(difference: Floats) -> float:
    """Median of the means of all pairs of differences, each with itself too."""
    i, j = np.triu_indices(len(difference))
    return float(np.median((difference[i] + difference[j]) / 2))


def _interval(drawn: Floats) -> tuple[float, float]:
    tail = (1 - CONFIDENCE) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail])
    return float(low), float(high)


# -- distributions -------------------------------------------------------------------------------------------------


def distance_interval(
    a: Floats, b: Floats, *, seed: int = 0, draws: int = DRAWS
) -> tuple[float, tuple[float, float], float]:
    """Jensen-Shannon distance of two mean distributions, a row a family.

    Returns
    -------
    distance : float
    interval : tuple of float
        By drawing families with replacement.
    chance : float
        The distance that one in twenty shuffles of the families between the sides goes beyond: distances are never
        below 0, so that two halves of one style lie apart too.
    """
    rng = np.random.default_rng(seed)
    distance = float(jensen_shannon(a.mean(axis=0), b.mean(axis=0)))

    def means(block: Floats) -> Floats:
        times = rng.multinomial(len(block), np.full(len(block), 1 / len(block)), size=draws)
        drawn: Floats = times @ block / len(block)
        return drawn

    interval = _interval(jensen_shannon(means(a), means(b)))
    both = np.concatenate([a, b])
    shuffled = []
    for _ in range(draws):
        order = rng.permutation(len(both))
        left = both[order[: len(a)]].sum(axis=0)
        shuffled.append(jensen_shannon(left / len(a), (both.sum(axis=0) - left) / len(b)))
    return distance, interval, float(np.quantile(shuffled, 0.95))
