"""Tempo of takes nobody told it of, and drift."""

from __future__ import annotations

import numpy as np
import pytest

from stylemeter.reading.performed.tempo import follow, guess, phase_of


def played(tempo: float, seed: int, notes: int = 60) -> np.ndarray:
    """Eighths, quarters and sixteenths as people play them (spread of 10 ms: common practice, no source)."""
    rng = np.random.default_rng(seed)
    cells = [(0.5, 0.5), (1.0,), (0.25, 0.25, 0.5), (0.5, 0.5), (2.0,), (1.0,)]
    lengths: list[float] = []
    while len(lengths) < notes:
        lengths += cells[rng.integers(len(cells))]
    places = np.concatenate([[0.0], np.cumsum(lengths)])[:notes]
    return np.sort(0.7 + places * 60 / tempo + rng.normal(0, 0.01, notes))


@pytest.mark.parametrize("tempo", [76, 96, 112, 132])
def test_tempo_of_plain_lines(tempo):
    onset = played(tempo, tempo)
    found = guess(onset, onset + 0.2)
    assert abs(found.tempo / tempo - 1) < 0.02


def test_too_few_notes_have_no_tempo():
    assert guess(np.arange(5) / 2, np.arange(5) / 2 + 0.2) is None


def test_the_beat_of_the_first_note():
    onset = played(96, 1)
    assert abs(phase_of(onset, None, 96) - 0.7) < 0.03


def test_a_steady_take_is_left_alone():
    onset = played(96, 2)
    beats = follow(onset, 96, 0.7)
    assert beats.drift == 0
    assert np.allclose(beats.position, (onset - 0.7) * 96 / 60)


def test_a_slow_drift_is_followed():
    onset = played(100, 3, 90)
    places = np.round((onset - 0.7) * 100 / 60 * 4) / 4
    warped = 0.7 + (onset - 0.7) * (1 + 0.02 * np.linspace(0, 1, len(onset)))
    beats = follow(warped, 100, 0.7)
    assert np.abs((warped - 0.7) * 100 / 60 - places).max() > 0.5
    assert np.median(np.abs(beats.position - places)) < 0.1
