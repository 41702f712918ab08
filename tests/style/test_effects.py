"""Effect sizes and log-odds: worked by hand, against slow definitions, and under shuffled labels."""

import math

import numpy as np
import pytest
from scipy import stats

from stylemeter.style.effects import (
    cliffs_delta,
    distance_interval,
    effect,
    hodges_lehmann,
    log_odds,
    paired_effect,
    robust_log_odds,
)


def test_log_odds_worked_by_hand():
    """Monroe, Colaresi & Quinn 2008, equations 15, 20 and 22: 6 of 100 against 10 of 1000, prior 1 of 100.

    odds 7 / 193 = 0.0362694 and 11 / 1089 = 0.0101010; their ratio 3.590674; its logarithm 1.278340; variance
    1/7 + 1/11 = 0.233766, root 0.483494; z 2.643963.
    """
    delta, z = log_odds(6, 100, 10, 1000, 1.0, 100)
    assert float(delta) == pytest.approx(1.278340, abs=1e-6)
    assert float(z) == pytest.approx(2.643963, abs=1e-6)


def test_log_odds_by_a_second_way():
    """With a vanishing prior the log odds ratio of a 2 x 2 table (scipy's sample odds ratio)."""
    delta, _ = log_odds(12, 200, 30, 900, 1e-9, 1e-7)
    table = [[12, 200 - 12], [30, 900 - 30]]
    assert float(delta) == pytest.approx(
        math.log(stats.contingency.odds_ratio(table, kind="sample").statistic), abs=1e-6
    )


def test_cliffs_delta_and_the_shift_are_those_of_all_pairs():
    rng = np.random.default_rng(1)
    for _ in range(20):
        a, b = rng.integers(0, 6, size=rng.integers(1, 30)), rng.integers(0, 6, size=rng.integers(1, 30))
        pairs = [(x, y) for x in a.tolist() for y in b.tolist()]
        assert cliffs_delta(a, b) == pytest.approx(np.mean([np.sign(x - y) for x, y in pairs]))
        assert hodges_lehmann(a, b) == np.median([x - y for x, y in pairs])
        u = stats.mannwhitneyu(a, b).statistic
        assert cliffs_delta(a, b) == pytest.approx(2 * u / (len(a) * len(b)) - 1)


def test_a_thinned_shift_stays_close():
    rng = np.random.default_rng(2)
    a, b = rng.normal(1, 1, 4000), rng.normal(0, 1, 3000)
    assert hodges_lehmann(a, b) == pytest.approx(1, abs=0.06)


def test_the_intervals_hold_what_is_true_at_the_rate_they_say():
    """Two normal samples half a standard deviation apart: delta = 2 Phi(0.5 / sqrt 2) - 1 = 0.2763."""
    truth = 2 * stats.norm.cdf(0.5 / math.sqrt(2)) - 1
    held = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        found = effect(rng.normal(0.5, 1, 60), rng.normal(0, 1, 50), seed=seed)
        held.append(
            (
                found.delta_interval[0] <= truth <= found.delta_interval[1],
                found.shift_interval[0] <= 0.5 <= found.shift_interval[1],
            )
        )
    assert np.all(np.mean(held, axis=0) > 0.85)


def test_pairs_are_compared_as_pairs():
    before, after = np.array([1.0, 5.0, 9.0, 2.0, 7.0, 3.0]), np.array([2.0, 6.5, 10.0, 3.0, 8.0, 4.5])
    found = paired_effect(before, after)
    assert found.delta == -1
    # differences -1 four times and -1.5 twice: of the 21 means of two, 10 are -1, 8 are -1.25, 3 are -1.5
    assert found.shift == -1.25
    assert found.p == pytest.approx(stats.wilcoxon(before - after).pvalue)
    assert effect(before, after).p > 0.5  # unpaired, nothing is seen


def test_no_difference_at_all_is_no_error():
    same = np.full(10, 0.5)
    assert (effect(same, same).p, effect(same, same).delta) == (1.0, 0.0)
    assert paired_effect(same, same).p == 1.0


def test_p_of_small_samples_with_ties_is_uniform_at_most():
    p = []
    for seed in range(120):
        values = np.random.default_rng(seed).integers(0, 4, 14).astype(float)
        p.append(effect(values[:6], values[6:]).p)
    assert np.mean(np.array(p) <= 0.05) <= 0.09


def test_shuffled_labels_give_uniform_p_of_patterns():
    """Families that say a thing say it again: with labels shuffled the robust p is uniform, the plain one is not."""
    rng = np.random.default_rng(3)
    families, patterns = 240, 150
    places = rng.integers(60, 200, families)
    # a family takes up a pattern or not, and then uses it more than once
    used = rng.random((families, patterns)) < 0.3
    counts = np.where(used, 1 + rng.poisson(2.5, (families, patterns)), 0).astype(float)
    robust, plain = [], []
    for _ in range(20):
        left = rng.permutation(families) < families // 2
        sides, totals = [], []
        for side in (left, ~left):
            c, n = counts[side], places[side].astype(float)
            sides.append((c.sum(0), (c**2).sum(0), (c * n[:, None]).sum(0), n.sum(), (n**2).sum()))
            totals.append((c.sum(0), n.sum()))
        (x, n_x), (y, n_y) = totals
        prior = 500 * (x + y) / (n_x + n_y)
        delta, z = log_odds(x, n_x, y, n_y, prior, 500)
        robust.append(2 * stats.norm.sf(np.abs(robust_log_odds(delta, prior, *sides))))
        plain.append(2 * stats.norm.sf(np.abs(z)))
    robust, plain = np.concatenate(robust), np.concatenate(plain)
    assert 0.035 < np.mean(robust <= 0.05) < 0.065
    assert 0.004 < np.mean(robust <= 0.01) < 0.018
    assert np.all(np.abs(np.histogram(robust, bins=10, range=(0, 1))[0] / len(robust) - 0.1) < 0.03)
    assert np.mean(plain <= 0.05) > 0.15


def test_a_distance_beyond_chance_is_told_from_one_within():
    rng = np.random.default_rng(4)
    one, other = rng.dirichlet([2, 3, 4, 5], 60), rng.dirichlet([5, 4, 3, 2], 60)
    distance, (low, high), chance = distance_interval(one, other, draws=199)
    assert low <= distance <= high
    assert distance > chance
    distance, _, chance = distance_interval(one[:30], one[30:], draws=199)
    assert distance < 2 * chance
