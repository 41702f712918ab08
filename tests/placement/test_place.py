"""Placing a long solo: what is said of one trait agrees with itself."""

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


def test_what_lies_inside_lies_inside_by_its_rank_too(placed):
    features = [f for p in placed for f in p.features if f.verdict == "within"]
    assert [f for f in features if not 4 <= f.percentile <= 96] == []
