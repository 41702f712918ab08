"""Ranks, limits and p-values against published numbers and scipy."""

import math

import numpy as np
import pytest
from scipy import stats as sps
from scipy.spatial.distance import jensenshannon

from stylemeter.style.ranks import (
    Ordered,
    benjamini_hochberg,
    bootstrap_limits,
    conformal_high,
    conformal_two_sided,
    family_weights,
    jensen_shannon,
    midrank,
    normal_quantile,
    weighted_quantile,
)


def ones(n):
    return np.arange(n)  # every row a family of its own


# Reference limits: CLSI EP28-A3c / Solberg 1987, ranks p(n + 1).
@pytest.mark.parametrize(("n", "low", "high"), [(120, 3.025, 117.975), (240, 6.025, 234.975)])
def test_limits_lie_at_the_ranks_of_ep28(n, low, high):
    found = weighted_quantile(np.arange(1.0, n + 1), np.ones(n), [0.025, 0.975])
    assert found == pytest.approx([low, high], abs=1e-9)


def test_exact_coverage_of_the_rank_interval_at_120():
    # EP28: the 90 % interval of the lower limit is ranks 1 to 7; coverage recomputed from the binomial
    coverage = sps.binom.cdf(6, 120, 0.025) - sps.binom.cdf(0, 120, 0.025)
    assert coverage == pytest.approx(0.920466554592726, abs=1e-12)


def test_the_bootstrap_interval_at_120_agrees_with_the_rank_interval():
    sample = Ordered(np.arange(1.0, 121.0), ones(120))
    (low, high), _ = bootstrap_limits(sample, ones(120), [0.025, 0.975], draws=4000)
    # the bootstrap's 5 % and 95 % points of the rank-3.025 quantile lie in EP28's ranks 1-7
    assert 1 <= low < 3.025 < high <= 7


def test_weighted_quantile_is_numpy_weibull_for_equal_weights():
    rng = np.random.default_rng(5)
    values = np.sort(rng.normal(size=57))
    shares = [0.05, 0.1, 0.25, 0.5, 0.9, 0.95]
    expected = np.quantile(values, shares, method="weibull")
    assert weighted_quantile(values, np.ones(57), shares) == pytest.approx(expected, abs=1e-12)


def test_percentile_is_scipy_mean_percentile():
    # scipy.stats.percentileofscore docs: ([1, 2, 3, 3, 4], 3) gives 60 with kind "mean"
    sample = Ordered(np.array([1.0, 2.0, 3.0, 3.0, 4.0]), ones(5))
    below, equal = sample.around(3.0)
    assert 100 * float(midrank(below, equal, sample.total)) == 60
    rng = np.random.default_rng(1)
    values = rng.integers(0, 9, 200).astype(float)
    sample = Ordered(values, ones(200))
    for case in (-1.0, 0.0, 4.0, 4.5, 8.0, 12.0):
        below, equal = sample.around(case)
        expected = sps.percentileofscore(values, case, kind="mean")
        assert 100 * float(midrank(below, equal, sample.total)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("n", "smallest"), [(19, 0.05), (39, 0.025), (99, 0.01)])
def test_smallest_conformal_p(n, smallest):
    # Vovk, Gammerman & Shafer 2005; Phipson & Smyth 2010: 1 / (n + 1), never 0
    assert float(conformal_high(np.array(float(n)), n)) == pytest.approx(smallest)


def test_two_sided_p_is_twice_the_smaller_side_and_at_most_one():
    sample = Ordered(np.arange(1.0, 40.0), ones(39))
    p = [float(conformal_two_sided(*sample.around(x), sample.total)) for x in (0.0, 1.0, 20.0, 100.0)]
    assert p == pytest.approx([2 / 40, 4 / 40, 1.0, 2 / 40])


def test_conformal_p_is_uniform_on_exchangeable_cases():
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(2000):
        values = rng.normal(size=60)
        sample = Ordered(values[1:], ones(59))
        hits += float(conformal_two_sided(*sample.around(values[0]), sample.total)) <= 0.1
    assert 0.08 < hits / 2000 < 0.12


def test_a_family_weighs_one_however_many_rows_it_has():
    family = np.array([0, 0, 0, 1, 2])
    measured = np.array([True, True, False, True, True])
    assert family_weights(family, measured).tolist() == [0.5, 0.5, 0.0, 1.0, 1.0]
    sample = Ordered(np.array([1.0, 2.0, np.nan, 3.0, 4.0]), family)
    assert sample.total == 3
    assert [float(v) for v in sample.around(2.0)] == [0.5, 0.5]


def test_benjamini_hochberg_1995():
    # JRSS B 57:289-300, the 15 p-values of the paper's example: 4 rejected at .05, 9 at .10
    p = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.324,
        0.4262,
        0.5719,
        0.6528,
        0.759,
        1.0,
    ]
    q = benjamini_hochberg(p)
    assert int((q <= 0.05).sum()) == 4
    assert int((q <= 0.10).sum()) == 9
    assert q[:5] == pytest.approx([0.0015, 0.003, 0.0095, 0.035625, 0.0603])
    assert q == pytest.approx(sps.false_discovery_control(p, method="bh"))


def test_jensen_shannon_is_scipys_distance():
    # scipy docs: base 2 gives 1.0 for disjoint vectors; the nats value of the second example is forced by the formula
    assert float(jensen_shannon([1, 0, 0], [0, 1, 0])) == 1.0
    assert float(jensen_shannon([1.0, 0.0], [0.5, 0.5])) == pytest.approx(0.46450140402245893 / math.sqrt(math.log(2)))
    rng = np.random.default_rng(3)
    a, b = rng.dirichlet(np.ones(12), size=2)
    assert float(jensen_shannon(a, b)) == pytest.approx(jensenshannon(a, b, base=2), abs=1e-12)


def test_normal_quantile_is_scipys():
    for r in (0.001, 0.05, 0.5, 0.975):
        assert normal_quantile(r) == pytest.approx(sps.norm.ppf(r), abs=1e-12)
