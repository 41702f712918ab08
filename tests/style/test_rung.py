"""One rung: ranks with the own family left out, habit statistics, against slow loops."""

import numpy as np
import pytest

from stylemeter.features import CATALOG, HABITS
from stylemeter.style.ranks import normal_quantile
from stylemeter.style.rung import Rung


@pytest.fixture(scope="module")
def rung():
    rng = np.random.default_rng(8)
    family = np.repeat(np.arange(90), rng.integers(1, 4, 90))
    values = rng.integers(0, 12, size=(len(family), len(CATALOG))).astype(np.float32)
    values[rng.random(values.shape) < 0.1] = np.nan
    return Rung(64, list(CATALOG), family, values)


def slow_score(rung, row, name):
    column = rung.values[:, rung.column[name]]
    x, own = column[row], rung.family[row]
    if not np.isfinite(x):
        return np.nan
    below = equal = total = 0.0
    for f in range(rung.families):
        if f == own:
            continue
        theirs = column[(rung.family == f) & np.isfinite(column)]
        if len(theirs):
            below += np.mean(theirs < x)
            equal += np.mean(theirs == x)
            total += 1
    return normal_quantile((below + equal / 2 + 0.5) / (total + 1))


def test_own_scores_leave_the_family_out(rung):
    scores = rung.own_scores()
    for row in range(0, len(rung.family), 17):
        for name in ("step_share", "rest_fraction"):
            assert scores[row, rung.column[name]] == pytest.approx(slow_score(rung, row, name), abs=1e-9, nan_ok=True)


def test_habit_statistic_is_the_weighted_mean_of_turned_scores(rung):
    z = np.full((2, len(CATALOG)), np.nan)
    z[0, rung.column["strong_beat_root_share"]] = 2.0
    z[0, rung.column["root_share"]] = 1.0
    z[0, rung.column["rest_fraction"]] = -1.0
    # root: strong beats count twice, the unmeasured phrase ends 0: (2 * 2 + 1 + 0) / 4
    assert rung.habit_statistic(z, "root").tolist() == pytest.approx([5 / 4, np.nan], nan_ok=True)
    # space: rest_fraction shows it where it is low, five members
    assert rung.habit_statistic(z, "space")[0] == pytest.approx(1 / 5)


def test_standing_against_a_slow_count(rung):
    names = list(CATALOG)
    case = np.full((1, len(names)), 5.0)
    stand = rung.standing(case)
    for i in (0, 7, 30):
        column = rung.values[:, i]
        weight = np.zeros(len(column))
        for f in range(rung.families):
            mine = (rung.family == f) & np.isfinite(column)
            weight[mine] = 1 / max(1, mine.sum())
        total = weight.sum()
        below, equal = weight[column < 5].sum(), weight[column == 5].sum()
        assert stand.share[0, i] == pytest.approx((below + equal / 2) / total)
        above = total - below
        assert stand.p[0, i] == pytest.approx(
            min(1, 2 * min((above + 1) / (total + 1), (below + equal + 1) / (total + 1)))
        )


def test_habits_name_features_of_the_catalogue():
    for habit in HABITS.values():
        assert all(m.name in CATALOG and m.side in (1, -1) for m in habit.members)
