"""Placing a long solo: what is said of one trait agrees with itself."""

import numpy as np
import pytest
from helpers.solos import walk

from stylemeter.placement.place import place
from stylemeter.style.profile import load_profile


@pytest.fixture(scope="module")
def placed():
    # the highest good rung of jazz-age songs is 64 notes: 230 notes are placed in several excerpts
    profile = load_profile("jazz-age-songs")
    return [place(walk(seed, 230), profile, evidence=False) for seed in range(6)]


def test_what_lies_outside_lies_outside_by_its_rank_too(placed):
    features = [f for p in placed for f in p.features if f.outside]
    assert len(features) > 20
    assert all(len(p.plan.starts) > 2 for p in placed)
    assert [f for f in features if 5 < f.percentile < 95] == []


def test_a_value_outside_whose_excerpts_are_not_is_inside_and_says_so(placed):
    told = [(p, f) for p in placed for f in p.features if f.note]
    assert told
    for p, f in told:
        assert f.verdict == "within"
        assert not f.clear
        assert not f.limits.lower <= np.float32(f.value) <= f.limits.upper
        assert 5 <= f.percentile <= 95
        assert f.note.endswith(f" of its {len(p.plan.starts)} excerpts, inside on average")
    silent = [f for p in placed for f in p.features if f.verdict == "within" and not f.note]
    assert all(np.float32(f.limits.lower) <= np.float32(f.value) <= np.float32(f.limits.upper) for f in silent)


def test_a_solo_of_one_excerpt_has_no_such_notes():
    placed = place(walk(1, 64), load_profile("jazz-age-songs"), evidence=False)
    assert {f.note for f in placed.features} == {""}
