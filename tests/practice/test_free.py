"""Edits that free a habit: judged anew as the whole solo is, on no more than a quarter of the notes."""

import numpy as np
import pytest
from helpers.judged_solos import solos

from stylemeter.placement.place import place
from stylemeter.practice.amounts import changes
from stylemeter.practice.edits.free import CHANGED_MAX, free_habit
from stylemeter.style.profile import load_profile


@pytest.fixture(scope="module")
def profile():
    return load_profile("pop-songs")


@pytest.mark.parametrize("name", ["half a solo of runs", "root pedal", "zigzag", "wide stream"])
def test_after_the_edit_the_habit_is_gone_or_it_is_called_a_first_step(profile, name):
    solo = next(s for s in solos() if s.name == name)
    placed = place(solo.melody, profile)
    shown = [h for h in placed.habits if h.verdict == "shown"]
    assert shown
    told = changes(placed)
    freed = 0
    for habit in shown:
        change = told[habit.name]
        assert len(change.rows) <= CHANGED_MAX * len(solo.melody)
        again = next(h for h in place(change.edited, profile).habits if h.name == habit.name)
        assert change.frees == (again.verdict not in ("shown", "hinted")), habit.name
        assert change.frees or change.words.startswith("as a first step, ")
        assert again.p > habit.p
        freed += bool(change.frees)
    assert freed


def test_the_notes_named_are_those_changed(profile):
    solo = next(s for s in solos() if s.name == "zigzag")
    placed = place(solo.melody, profile)
    habit = next(h for h in placed.habits if h.name == "stepwise")
    found = free_habit(placed, habit)
    assert np.flatnonzero(found.melody.pitch != solo.melody.pitch).tolist() == list(found.rows)
