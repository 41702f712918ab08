"""Tablature as text: what is written reads back to the tick, and looks as a guitarist writes it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.pages import take
from helpers.written import written

from stylemeter.errors import UsageError
from stylemeter.reading import ReadOptions
from stylemeter.reading.tab.read import read
from stylemeter.writing import losses, write
from stylemeter.writing.tab import to_tab

TUNE = "A3:1/2 C4:1/2 D4:1 E4:3/2 r:1/2 G4:1/3 A4:1/3 C5:1/3 A4:3 G4:3/2 E4:1/2 D4:1 C4:4"


@pytest.mark.parametrize(
    "melody", [written(TUNE, key="A minor", chords="0:Am 4:Dm7"), take()], ids=["mixed", "eighths"]
)
def test_what_is_written_reads_back(melody):
    again = read(write(melody, "tab"), ReadOptions())[0]
    for name in ("onset", "duration", "pitch", "bar"):
        assert np.array_equal(getattr(again, name), getattr(melody, name)), name
    assert (again.key.tonic, again.key.mode) == (melody.key.tonic, melody.key.mode)
    assert again.remarks == ()


def test_it_looks_like_tablature():
    lines = to_tab(written(TUNE, key="A minor", chords="0:Am 4:Dm7")).splitlines()
    assert lines[:3] == ["Time: 4/4", "Key: A minor", "Fingering: ours, with the least movement of the hand."]
    assert lines[4].split() == ["Am", "Dm7"]
    assert [line[0] for line in lines[6:12]] == list("eBGDAE")
    assert all(len(line) <= 78 for line in lines)
    assert len({len(line) for line in lines[6:12]}) == 1
    # a held note stands in brackets, a rest is a letter over nothing
    assert "(5)" in "".join(lines)


def test_the_sources_own_strings_are_kept_and_not_called_ours():
    melody = written("A3:1 C4:1 D4:2", key="A minor")
    told = replace(melody, strings=np.array([5, 5, 5]), frets=np.array([12, 15, 17]), tuning=(40, 45, 50, 55, 59, 64))
    text = to_tab(told)
    assert "ours" not in text
    assert [line for line in text.splitlines() if line.startswith("A|")] == ["A|-12-15-17-|"]


def test_what_a_bass_plays_is_refused_and_losses_are_told():
    with pytest.raises(UsageError, match="outside the range of the guitar"):
        to_tab(written("E1:1 G1:1", key="E minor"))
    assert "the chords: their names stand over the bars" in losses(written(TUNE, chords="0:Am", key="A minor"), "tab")
