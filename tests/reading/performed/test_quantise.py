"""Played scores written back: how many onsets come out right, with what noise, tempo and swing.

The scores are made here from rhythms of one beat; the noise is normal and seeded. Timing noise of 10 to 30 ms for
skilled players is common practice, no source.
"""

import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.performed.draft import Take, close_gaps, lay, settle
from stylemeter.reading.performed.grids import even_grid, grids_of, put
from stylemeter.reading.performed.quantise import beat_units, quantise

FOUR = (Meter(0, 4, 4),)
#: Rhythms of a beat and how often they come: eighths and quarters, sixteenths, off-beats, dotted pairs, triplets.
SIMPLE = [
    ((0,), 25),
    ((0, 1 / 2), 30),
    ((1 / 2,), 8),
    ((0, 1 / 4, 1 / 2, 3 / 4), 10),
    ((0, 1 / 2, 3 / 4), 5),
    ((0, 3 / 4), 5),
    ((0, 1 / 4, 1 / 2), 4),
    ((0, 1 / 3, 2 / 3), 8),
    ((), 5),
]
#: Of a dotted beat: eighths, sixteenths, quarter and eighth.
COMPOUND = [((0,), 25), ((0, 1 / 3, 2 / 3), 40), ((0, 2 / 3), 20), ((0, 1 / 3, 1 / 2, 2 / 3), 10), ((1 / 3, 2 / 3), 5)]


def score(seed, beats, cells=SIMPLE, beat=1.0):
    """Written onsets in quarter notes."""
    dice = random.Random(seed)
    chosen = dice.choices([cell for cell, _ in cells], [weight for _, weight in cells], k=beats)
    return np.array([beat * (index + place) for index, cell in enumerate(chosen) for place in cell])


def swung(written, at):
    """Off-beats played late; beats with a second sixteenth and triplets as written."""
    beat, place = np.divmod(written, 1)
    even = set(beat[np.isclose(place, 1 / 4)].tolist())
    halved = set(beat[np.isclose(place, 1 / 2)].tolist())
    played = written.copy()
    for i, (b, x) in enumerate(zip(beat.tolist(), place.tolist(), strict=True)):
        if b in even or b not in halved:
            continue
        if math.isclose(x, 1 / 2):
            played[i] = b + at
        elif math.isclose(x, 3 / 4):
            played[i] = b + (1 + at) / 2
    return played


def right_share(bpm, noise, swing=None, seeds=range(3), meters=FOUR, cells=SIMPLE, late=0.0):
    """Share of onsets written right, share guessed wrong, and the swings found."""
    beat = meters[0].beat / TICKS
    right, guessed, swings = [], [], []
    for seed in seeds:
        written = score(seed, 96, cells, beat)
        played = written if swing is None else swung(written, swing)
        seconds = played * 60 / bpm + np.random.default_rng(seed).normal(late, noise, len(played))
        kept = np.concatenate(([True], np.diff(seconds) > 0.03))
        position = seconds[kept] * bpm / 60
        start = -meters[0].bar
        units = beat_units(meters, start, int(position[-1] * TICKS) + 1)
        found = quantise(position, np.full(len(position), 60 / bpm), units)
        right.append(float(np.mean(found.onset == np.round(written[kept] * TICKS))))
        guessed.append(found.guessed_share)
        swings.append(found.swing)
    return np.mean(right), np.mean(guessed), swings


def test_without_noise_all_is_right():
    right, guessed, swings = right_share(120, 0.0)
    assert right == 1.0
    assert guessed < 0.02
    assert swings == [None] * 3


@pytest.mark.parametrize(("bpm", "least"), [(60, 0.99), (90, 0.99), (120, 0.97), (160, 0.95), (200, 0.90)])
def test_noise_of_15_ms(bpm, least):
    right, _, swings = right_share(bpm, 0.015)
    assert right >= least
    assert swings == [None] * 3


@pytest.mark.parametrize(("bpm", "least"), [(60, 0.99), (90, 0.97), (120, 0.95), (160, 0.92)])
def test_swing_of_two_to_one(bpm, least):
    right, _, swings = right_share(bpm, 0.015, swing=2 / 3)
    assert right >= least
    assert all(s is not None and abs(s - 2 / 3) < 0.02 for s in swings)


@pytest.mark.parametrize("bpm", [90, 120, 160, 200])
def test_light_swing(bpm):
    right, _, swings = right_share(bpm, 0.012, swing=0.6)
    assert right >= 0.95
    assert all(s is not None and abs(s - 0.6) < 0.02 for s in swings)


def test_lateness_is_found_and_taken_out():
    right, _, _ = right_share(120, 0.012, late=0.03)
    assert right >= 0.97
    written = score(1, 96)
    found = quantise(written + 0.06, np.full(len(written), 0.5), beat_units(FOUR, 0, int(written[-1] * TICKS) + TICKS))
    assert found.lateness == pytest.approx(0.03, abs=0.003)


def test_compound_meter():
    right, _, _ = right_share(100, 0.012, meters=(Meter(0, 6, 8),), cells=COMPOUND)
    assert right >= 0.97


@pytest.mark.parametrize(("bpm", "noise"), [(120, 0.015), (120, 0.025), (160, 0.015), (160, 0.025), (200, 0.02)])
def test_what_is_guessed_wrong_is_wrong(bpm, noise):
    """The share told beforehand agrees with the share that is wrong within a factor of two and two points."""
    right, guessed, _ = right_share(bpm, noise, seeds=range(4))
    assert guessed <= 2 * (1 - right) + 0.02
    assert guessed >= (1 - right) / 2 - 0.02


def test_what_fits_no_beat_is_doubted():
    dice = np.random.default_rng(2)
    position = np.cumsum(dice.uniform(0.2, 1.3, 200))
    found = quantise(position, np.full(200, 0.5), beat_units(FOUR, 0, int(position[-1] * TICKS) + 1))
    assert found.guessed_share > 0.1


def test_same_take_same_answer():
    assert right_share(120, 0.015) == right_share(120, 0.015)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(0.02, 3.0), min_size=1, max_size=60),
    st.sampled_from([(4, 4), (3, 4), (6, 8), (7, 8), (3, 2), (5, 16)]),
    st.sampled_from([20.0, 60.0, 120.0, 300.0]),
)
def test_onsets_always_rise_and_stay_near(gaps, meter, bpm):
    """No two onsets ever share a tick, whatever was played; a lone onset moves by no more than half a beat."""
    meters = (Meter(0, *meter),)
    position = np.cumsum(gaps)
    units = beat_units(meters, 0, int(position[-1] * TICKS) + 1)
    found = quantise(position, np.full(len(gaps), 60 / bpm), units)
    assert np.all(np.diff(found.onset) > 0)
    assert found.onset.min() >= 0
    assert len(found.onset) == len(gaps)
    assert np.all(np.abs(found.onset / TICKS - position) < 1.5)
    assert 0 < found.guessed_share <= 1


def test_crowded_beat():
    """A hundred onsets in a beat have no grid, and still a place each."""
    position = np.linspace(0, 0.98, 100)
    found = quantise(position, np.full(100, 6.0), beat_units(FOUR, 0, TICKS))
    assert np.all(np.diff(found.onset) > 0)
    assert np.all(np.abs(found.onset / TICKS - position) < 0.05)


def slow_put(fractions, grid):
    """Least squared error over all rising choices of places, by looking at every one."""
    from itertools import combinations

    choices = combinations(range(len(grid.played)), len(fractions))
    return min(
        (sum((f - grid.played[i]) ** 2 for f, i in zip(fractions, places, strict=True)), places) for places in choices
    )


def test_places_agree_with_trying_all():
    dice = random.Random(4)
    grids = [even_grid(parts) for parts in (3, 4, 6, 8)] + list(grids_of("quarter", 0.62)[-2:])
    for _ in range(300):
        grid = dice.choice(grids)
        fractions = sorted(dice.uniform(-0.2, 1.1) for _ in range(dice.randint(1, min(5, len(grid.played)))))
        found = put(fractions, grid)
        assert found is not None
        assert found[0] == pytest.approx(slow_put(fractions, grid)[0])


def take(rows, bpm=120):
    """A take of rows (onset seconds, duration seconds, pitch)."""
    seconds = np.array([row[0] for row in rows])
    end = seconds + np.array([row[1] for row in rows])
    pace = np.full(len(rows), 60 / bpm)
    return Take(seconds / pace, end / pace, seconds, pace, np.array([float(row[2]) for row in rows]))


def laid(rows, bpm=120):
    found = lay(take(rows, bpm), FOUR)
    notes = [(n.onset / TICKS, None if n.duration is None else n.duration / TICKS, n.pitch) for n in found.notes]
    return notes, settle(found, FOUR)[0].remarks


def test_same_pitch_within_30_ms_is_one_note():
    notes, remarks = laid([(0.0, 0.1, 60), (0.02, 0.45, 60.2), (0.5, 0.5, 62)])
    assert notes == [(0.0, 1.0, 60.2), (1.0, 1.0, 62.0)]
    assert any("1 doubled note (same pitch within 30 ms) merged" in r for r in remarks)


def test_other_pitches_within_30_ms_are_a_double_stop():
    notes, _ = laid([(0.5, 0.4, 55), (0.52, 0.4, 64), (0.545, 0.4, 67), (1.0, 0.4, 62)])
    assert [(o, p) for o, _, p in notes] == [(1.0, 55.0), (1.0, 64.0), (1.0, 67.0), (2.0, 62.0)]


def test_same_pitch_after_30_ms_is_two_notes():
    notes, _ = laid([(0.0, 0.03, 60), (0.035, 0.4, 60), (0.5, 0.4, 62)])
    assert len(notes) == 3
    assert notes[0][0] < notes[1][0]


def test_gaps_shorter_than_an_eighth_are_closed():
    notes, remarks = laid([(0.0, 0.3, 60), (0.5, 0.2, 62), (1.0, 0.7, 64), (1.5, 0.4, 65)])
    assert [(o, d) for o, d, _ in notes] == [(0, 1), (1, 0.5), (2, 1), (3, 0.75)]
    told = " / ".join(remarks)
    assert "1 gap shorter than an eighth taken as articulation and closed (in bar 1)" in told
    assert "1 note cut where the next one begins (in bar 1)" in told


def test_durations_never_pass_the_next_onset():
    dice = np.random.default_rng(0)
    onset = np.cumsum(dice.integers(1, 9, 400)) * (TICKS // 4)
    played = onset / TICKS + dice.normal(0, 0.03, 400)
    duration, _, _ = close_gaps(onset, np.sort(played), np.sort(played) + dice.uniform(0.01, 3, 400))
    assert duration.min() > 0
    assert np.all(onset[:-1] + duration[:-1] <= onset[1:])


def test_notes_before_the_first_bar_line_are_a_pickup():
    found = lay(take([(-0.26, 0.2, 60), (0.01, 0.4, 62), (0.5, 0.4, 64)]), FOUR)
    draft, shift = settle(found, FOUR)
    assert shift == 4 * TICKS
    assert [n.onset / TICKS for n in draft.notes] == [3.5, 4.0, 5.0]
    assert draft.spans is not None
    assert draft.spans[0] == (3.5 * TICKS, TICKS // 2)
    assert settle(lay(take([(-0.01, 0.2, 60), (0.5, 0.4, 64)]), FOUR), FOUR)[1] == 0
