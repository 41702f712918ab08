"""Takes over time: the order of names, one common length, and a change told from chance. Against scipy and slow counts.

Clean tunes come out of music21's wheel; habits are put into them at falling doses, or at one and the same.
"""

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from helpers.class_files import PROFILE
from helpers.placements import invented_style

from stylemeter.errors import InputError
from stylemeter.features import HABITS
from stylemeter.placement.trust.injection import cut, inject
from stylemeter.report.progress.document import answer, chosen, ends, sentence, verdict
from stylemeter.report.progress.terminal import spark
from stylemeter.style.profile import load_profile
from stylemeter.takes.progress import Trajectory, common_length, follow, natural_order
from stylemeter.takes.trend import half_width, joint_trend_p, pooled, third_means, trend_p

#: Habits old fiddle tunes can show; they hardly rest, so they can't show lack of air.
SHOWN = ("runs", "stepwise", "root", "scale", "rhythm")
NOTES = 96


@pytest.fixture(scope="module")
def profile():
    return load_profile(PROFILE)


@cache
def clean(corpus):
    """Tunes long enough, with a key."""
    from stylemeter.reading import Session

    with Session() as session:
        names = ("0501-0550.abc", "0550-0625.abc", "0626-0700.abc")
        tunes = [t for n in names for t in session.read(corpus / "oneills1850" / n)]
    return [cut(t, 0, NOTES) for t in tunes if len(t) >= NOTES and t.key and t.key.mode]


def takes(corpus, habit, doses, seed):
    """Takes with a habit in the given shares of their notes."""
    rng = np.random.default_rng(seed)
    tunes = clean(corpus)
    chosen_ = rng.choice(len(tunes), len(doses), replace=False)
    return [inject(habit, tunes[t], dose, rng)[0] if dose else tunes[t] for t, dose in zip(chosen_, doses, strict=True)]


def found_share(corpus, profile, runs, count=8):
    """Share of runs in which a habit that falls from all notes to none is called less."""
    found = 0
    for seed in range(runs):
        habit = SHOWN[seed % len(SHOWN)]
        progress = follow(takes(corpus, habit, np.linspace(1, 0, count), 100 + seed), profile)
        found += next(h for h in progress.habits if h.name == habit).moved == "less"
    return found / runs


def false_share(corpus, profile, runs, count=8):
    """Share of runs in which anything is called changed in takes with one and the same habit."""
    called = 0
    for seed in range(runs):
        habit = list(HABITS)[seed % len(HABITS)]
        progress = follow(takes(corpus, habit, [0.5] * count, 500 + seed), profile)
        called += any(h.moved in ("less", "more") for h in progress.habits)
    return called / runs


def test_a_real_decline_is_found(music21_corpus, profile):
    assert found_share(music21_corpus, profile, 10) >= 0.7


def test_takes_of_one_habit_are_seldom_called_changed(music21_corpus, profile):
    assert false_share(music21_corpus, profile, 12, count=7) <= 0.1


@pytest.mark.slow
def test_a_real_decline_is_found_over_many_runs(music21_corpus, profile):
    assert found_share(music21_corpus, profile, 60) >= 0.7
    assert found_share(music21_corpus, profile, 30, count=12) >= 0.9


@pytest.mark.slow
@pytest.mark.parametrize("count", [6, 8, 10])
def test_takes_of_one_habit_are_seldom_called_changed_over_many_runs(music21_corpus, profile, count):
    assert false_share(music21_corpus, profile, 100, count) <= 0.1


def test_few_takes_never_move_and_say_how_many_more(music21_corpus, profile):
    progress = follow(takes(music21_corpus, "runs", [1, 1, 0, 0, 0], 3), profile)
    assert {t.moved for t in (*progress.habits, *progress.features)} <= {"few", "unmeasured"}
    assert progress.missing == 1
    assert answer(progress)[0] == "5 takes can't tell practice from chance: 1 more would."
    assert chosen(progress, ["step_share"])[0].name == "step_share"
    assert len(chosen(progress, ["step_share"])) == 1


@pytest.mark.parametrize(
    ("first", "last", "moved", "said"),
    [
        (97.2, 41.0, "less", ("97", "41")),
        (99.4, 98.7, "less", ("99.4", "98.7")),
        (0.04, 0.9, "more", ("0.1", "0.9")),
        (99.4, 98.7, "steady", ("99", "99")),
    ],
)
def test_what_moved_within_a_whole_number_is_told_in_tenths(first, last, moved, said):
    assert ends(Trajectory("runs", (), -0.1, 0.01, 0.02, moved, None, first, last, 1.0, "")) == said


@pytest.mark.parametrize(
    ("first", "last", "moved", "home"),
    [
        (4.0, 45.0, "more", "rose from low to usual"),
        (97.0, 60.0, "less", "fell from high to usual"),
        (50.0, 97.0, "more", "more of it"),
        (97.0, 95.0, "less", "less of it"),
        (4.0, 45.0, "steady", "no more than chance"),
    ],
)
def test_what_ends_in_the_style_s_middle_is_told_as_that(first, last, moved, home):
    assert verdict(Trajectory("root", (), 0.1, 0.01, 0.02, moved, None, first, last, 1.0)) == home


def test_one_p_for_several_measures_of_the_same_takes():
    falling, level = [6.0, 5, 4, 3, 2, 1], [1.0, 5, 2, 4, 3, 2]
    alone = joint_trend_p([falling])
    assert alone == (-1, 2 / 720)
    # the same two orders are the steepest in either measure; the second only adds orders that are as steep
    direction, p = joint_trend_p([falling, level, [1.0] * 6])
    assert direction == -1
    assert 2 / 720 <= p <= 4 / 720
    assert math.isnan(joint_trend_p([[1.0, 2, 3]])[1])


def test_the_same_takes_do_not_move_and_length_makes_no_difference(music21_corpus, profile):
    tune = next(t for t in clean(music21_corpus))
    progress = follow([tune] * 6, profile)
    assert {t.moved for t in progress.habits} == {"steady"}
    assert all(t.p == 1 for t in progress.habits)
    assert all(t.neighbours == 0 and t.apart is False for t in progress.habits)
    assert "no proof that nothing changed" in answer(progress)[0]
    # what is compared is one length, whatever the takes' own: the shortest holds two excerpts of 24
    assert follow([cut(tune, 0, 50), tune], profile).length == 24


def test_reversing_the_takes_reverses_the_change(music21_corpus, profile):
    found = takes(music21_corpus, "stepwise", np.linspace(1, 0, 7), 9)
    way, back = follow(found, profile), follow(found[::-1], profile)
    for a, b in zip(way.habits, back.habits, strict=True):
        assert a.p == pytest.approx(b.p)
        assert a.slope == pytest.approx(-b.slope)
        assert (a.first, a.last) == pytest.approx((b.last, b.first))


def test_guessed_notes_widen_the_intervals(music21_corpus, profile):
    plain = takes(music21_corpus, "runs", [0.5, 0.5], 4)
    guessed = [replace(t, guessed_share=0.2) for t in plain]
    sure, unsure = (
        [p.upper - p.lower for p in follow(found, profile).features[0].points] for found in (plain, guessed)
    )
    assert all(a < b for a, b in zip(sure, unsure, strict=True))
    again = follow(guessed, profile)
    assert again.features[0].points == follow(guessed, profile).features[0].points


def test_a_missing_measure_is_unmeasured_with_a_reason(music21_corpus, profile):
    found = follow(takes(music21_corpus, "runs", [0.5] * 6, 4), profile)
    chords = next(t for t in found.features if t.name == "chord_tone_share")
    assert chords.moved == "unmeasured"
    assert all(math.isnan(p.percentile) and p.reason for p in chords.points)
    assert "chord" in sentence(chords)


# -- the statistics, against others' -----------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [6, 7])
def test_the_exact_p_is_scipys(count):
    from scipy.stats import PermutationMethod, pearsonr

    y = np.random.default_rng(count).normal(size=count) + 0.5 * np.arange(count)
    exact = pearsonr(np.arange(count), y, method=PermutationMethod(n_resamples=np.inf)).pvalue
    assert trend_p(y)[1] == pytest.approx(float(exact), abs=1e-12)


def test_the_slope_is_least_squares_and_gaps_keep_their_place():
    from scipy.stats import linregress

    y = np.array([3.0, np.nan, 1.0, 4.0, 1.0, 5.0, np.nan, 9.0])
    there = np.isfinite(y)
    assert trend_p(y)[0] == pytest.approx(linregress(np.flatnonzero(there), y[there]).slope)
    assert math.isnan(trend_p([1.0, np.nan, 2.0, 3.0, 4.0, 5.0])[1])


def test_the_drawn_p_is_near_the_exact_one_and_never_0():
    rng = np.random.default_rng(1)
    y = rng.normal(size=9) + 0.3 * np.arange(9)
    from scipy.stats import PermutationMethod, pearsonr

    many = pearsonr(np.arange(9), y, method=PermutationMethod(n_resamples=50_000, rng=rng)).pvalue
    assert trend_p(y)[1] == pytest.approx(float(many), abs=0.015)
    assert trend_p(y) == trend_p(y)
    assert 0 < trend_p(np.arange(30.0))[1] <= 1 / 20_000 + 1e-12


def test_the_permutation_test_holds_its_level():
    # of a thousand shuffled series about one in twenty has p <= .05 (Pitman 1937: exact under exchangeability)
    rng = np.random.default_rng(7)
    p = np.array([trend_p(rng.standard_t(2, size=6))[1] for _ in range(1000)])
    assert 0.03 <= np.mean(p <= 0.05) <= 0.065


def test_the_pooled_spread_is_that_of_scipys_t_test():
    from scipy.stats import ttest_ind

    a, b = np.array([1.0, 4.0, 2.5]), np.array([7.0, 6.0, 9.0, 8.5])
    found = pooled([a, b, np.array([5.0])])
    t = (a.mean() - b.mean()) / (found.sd * math.sqrt(1 / 3 + 1 / 4))
    assert t == pytest.approx(float(ttest_ind(a, b).statistic))
    assert found.freedom == 5


def test_the_interval_is_scipys():
    from scipy.stats import t

    found = pooled([np.array([1.0, 4.0, 2.5, 3.0])])
    low, high = t.interval(0.9, found.freedom, loc=0, scale=found.sd / math.sqrt(4))
    assert half_width(found, 4) == pytest.approx((high - low) / 2)
    assert math.isnan(half_width(pooled([np.array([1.0])]), 4))


def test_thirds():
    assert third_means([1, 2, 3, 4, 5, 6, 7]) == (1.5, 6.5)
    assert third_means([1, math.nan, 3]) == (1, 3)
    assert all(math.isnan(v) for v in third_means([math.nan]))


# -- order and length --------------------------------------------------------------------------------------------------


def test_names_come_in_the_order_people_count():
    names = ["take-10.mid", "take-2.mid", "Take-1.mid", "take-02b.mid", "a/9.mid", "a/10.mid", "week ² 3"]
    ordered = sorted(map(Path, names), key=natural_order)
    assert [str(p) for p in ordered][:5] == ["a/9.mid", "a/10.mid", "Take-1.mid", "take-2.mid", "take-02b.mid"]


def small(families):
    return invented_style("invented", families)


def test_the_common_length_holds_two_excerpts_where_it_can():
    style = small({16: 500, 24: 400, 32: 300, 48: 200, 64: 130, 96: 50})
    assert common_length(style, [100, 300]) == 48
    assert common_length(style, [128, 300]) == 64
    assert common_length(style, [31, 300]) == 24
    assert common_length(style, [9, 40]) == 16
    assert common_length(small({16: 60, 24: 50}), [48, 48]) == 24
    with pytest.raises(InputError, match="16 notes"):
        common_length(style, [9, 10])


def test_a_style_too_small_is_told():
    from stylemeter.errors import ProfileError

    with pytest.raises(ProfileError, match="too few"):
        common_length(small({16: 12}), [100])


def test_many_takes_share_the_cells_of_a_line():
    assert len(spark(list(range(100)))) == 16
    assert spark([math.nan, 50.0]) == "·▅"
