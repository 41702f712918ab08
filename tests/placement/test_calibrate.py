"""Held-out checks: the norm flags its own style as often as it says, and only at matched length."""

import numpy as np
import pytest

from stylemeter.features import CATALOG, HABITS, SCANS
from stylemeter.placement.trust.calibrate import Settings, calibrate
from stylemeter.report.styles.calibration import csv_text, table_text, write_plot
from stylemeter.style.collections import find_collection, tune_sources
from stylemeter.style.fit import complete
from stylemeter.style.profile import load_profile
from stylemeter.style.ranks import weighted_quantile
from stylemeter.style.rung import Rung, RungBetween
from stylemeter.style.sampling import gather

CONTINUOUS = ("interval_entropy", "degree_entropy", "mean_interval", "bar_onset_entropy")


@pytest.fixture(scope="module")
def rungs():
    profile = load_profile("old-fiddle-tunes")
    return {notes: profile.full_rung(notes) for notes in (16, 32, 64)}


def outside(train, test_rows, name, coverage=0.9):
    """Share of held-out values beyond the central range of the training families."""
    sample = train.ordered(name)
    low, high = weighted_quantile(sample.values, sample.weight, [(1 - coverage) / 2, (1 + coverage) / 2])
    values = test_rows[:, list(CATALOG).index(name)]
    return np.mean((values < np.float32(low)) | (values > np.float32(high)))


def halves(rung, seed=0):
    """A rung of four fifths of the families, and one row of each family of the last fifth."""
    rng = np.random.default_rng(seed)
    fold = rng.integers(0, 5, rung.families)[rung.family]
    scans = {f"scan:{name}": rung.extra[f"scan:{name}"] for name in SCANS}
    there = {name: totals[fold > 0] for name, totals in scans.items()}
    train = Rung(rung.notes, rung.names, rung.family[fold > 0], rung.values[fold > 0], there)
    rows = np.flatnonzero(fold == 0)
    _, first = np.unique(rung.family[rows], return_index=True)
    held = rows[first]
    return train, rung.values[held], np.column_stack([totals[held] for totals in scans.values()])


@pytest.mark.parametrize("name", CONTINUOUS)
def test_matched_length_keeps_a_tenth_outside(rungs, name):
    shares = [outside(*halves(rungs[notes])[:2], name) for notes in (16, 32, 64)]
    assert all(0.06 <= share <= 0.14 for share in shares), shares


@pytest.mark.parametrize("name", ["interval_entropy", "degree_entropy", "lz_complexity"])
def test_unmatched_length_fails_visibly(rungs, name):
    # 16-note excerpts against the limits of 64-note ones: entropy is biased by length alone (check-values 2.2)
    train, _, _ = halves(rungs[64])
    _, short, _ = halves(rungs[16])
    assert outside(train, short, name) > 0.25


def test_clean_habits_are_shown_rarely_and_p_is_level(rungs):
    train, rows, totals = halves(rungs[64])
    complete(train, distance=False)
    z = train.standing(rows).z
    for habit in HABITS:
        p = train.habit_ranks(z, totals, totals, habit).p
        assert 0.03 <= np.mean(p <= 0.1) <= 0.17
        assert np.mean(p <= 0.05 / 6) <= 0.02


def test_a_tail_beyond_the_sample_holds_on_held_out_extremes(rungs):
    # of the values beyond nine in ten, few lie where the exponential tail says next to none do
    small = 0
    chances = []
    for name in ("step_share", "mean_interval", "interval_entropy", "npvi", "degree_entropy", "root_share"):
        train, rows, _ = halves(rungs[64])
        sample = train.ordered(name)
        values = rows[:, list(CATALOG).index(name)]
        values = values[np.isfinite(values)]
        chances += [sample.tail(values, 1), sample.tail(values, -1)]
    tails = np.concatenate(chances)
    small = np.mean(tails <= 0.005)
    assert 0.001 <= small <= 0.01
    assert np.mean(tails <= 0.0002) <= 0.001


def test_between_two_rungs_ranks_are_as_level_as_on_them(rungs):
    # 40 notes lie between the rungs of 32 and 64: held-out excerpts of neither length, ranked between them
    lower, upper = rungs[32], rungs[64]
    between = RungBetween(lower, upper, 0.5, 45)
    for name in CONTINUOUS:
        a, b = lower.ordered(name), upper.ordered(name)
        middle = between.ordered(name).quantiles([0.05, 0.5, 0.95])
        wanted = (a.quantiles([0.05, 0.5, 0.95]) + b.quantiles([0.05, 0.5, 0.95])) / 2
        assert middle == pytest.approx(wanted, rel=0.01)
        # the limit's rank is the share it is the limit of
        below, equal = between.ordered(name).around(middle)
        assert (below + equal / 2) / between.ordered(name).total == pytest.approx([0.05, 0.5, 0.95], abs=0.01)


@pytest.fixture(scope="module")
def small_sample(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STYLEMETER_CACHE", str(tmp_path_factory.mktemp("cache")))
        collection = find_collection("old-fiddle-tunes")
        sources, _ = tune_sources(collection)
        return gather([(sources[::16], collection.reading)])


def test_calibrate_end_to_end(small_sample, tmp_path, monkeypatch):
    # one note count on a rung and one between keep it short; the shipped profiles were checked at all of them
    monkeypatch.setattr("stylemeter.placement.trust.calibrate.COUNTS", (32, 40))
    settings = Settings(most=100, inject_counts=(32,), inject_most=30)
    result = calibrate(small_sample, settings)
    clean = result["clean"]["32"]
    assert 0.03 <= clean["outside_mean"] <= 0.12
    assert clean["clear_mean"] <= 1.0
    seen = {h: doses["whole"]["32"] for h, doses in result["injected"].items()}
    assert seen["runs"]["shown"] + seen["runs"]["hinted"] > 0.8
    assert seen["stepwise"]["shown"] + seen["stepwise"]["hinted"] > 0.8
    # a style that never rests can't show lack of rest
    assert seen["space"]["shown"] + seen["space"]["hinted"] < 0.5
    assert result["injected"]["runs"]["half"]["32"]["right_place"] > 0.8
    assert set(result["injected"]["runs"]) == {"whole", "half", "quarter", "diffuse"}
    spread = clean["outside_spread"]
    assert spread["mean"] <= spread["nine_in_ten"]
    again = calibrate(small_sample, settings, with_injections=False)
    assert again["clean"] == result["clean"]
    assert "Held-out check" in table_text(result, "old fiddle tunes")
    assert csv_text(result).startswith("check,dose,notes,name,measure,share,excerpts\n")
    write_plot(result, "old fiddle tunes", tmp_path / "plot.svg")
    first = (tmp_path / "plot.svg").read_bytes()
    assert b"<text" in first
    write_plot(result, "old fiddle tunes", tmp_path / "plot.svg")
    assert (tmp_path / "plot.svg").read_bytes() == first
