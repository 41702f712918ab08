"""What is heard in takes made here; scored by mir_eval (onset 50 ms, pitch 50 cents, no lag taken out)."""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest
from reading.audio.takes import RATE, take

from stylemeter.music.melody import Technique
from stylemeter.reading.audio.confidence import confidence_of
from stylemeter.reading.audio.listen import listen
from stylemeter.reading.audio.tuning import tuning_of


def hertz(pitch):
    return 440 * 2 ** ((np.asarray(pitch, float) - 69) / 12)


def f1(times, pitches, notes, onset=0.05):
    one = np.stack([times, times + 0.2], axis=1)
    other = np.array([[n.time, max(n.end, n.time + 0.02)] for n in notes])
    return mir_eval.transcription.precision_recall_f1_overlap(
        one, hertz(pitches), other, hertz([n.pitch for n in notes]), onset_tolerance=onset, offset_ratio=None
    )[2]


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_lines_on_made_strings(seed):
    sound, times, pitches, *_ = take(seed)
    notes = listen(sound).notes
    assert f1(times, pitches, notes) >= 0.97
    assert f1(times, pitches, notes, 0.03) >= 0.95


def test_noise_and_hum():
    sound, times, pitches, *_ = take(14)
    rng = np.random.default_rng(0)
    level = float(np.sqrt(np.mean(sound**2)))
    t = np.arange(len(sound)) / RATE
    noisy = (
        sound + rng.standard_normal(len(sound)) * level * 10 ** (-15 / 20) + 0.1 * level * np.sin(2 * np.pi * 50 * t)
    )
    assert f1(times, pitches, listen(noisy.astype(np.float32)).notes) >= 0.95


@pytest.mark.parametrize("cents", [-45.0, 30.0, 45.0])
def test_guitars_tuned_elsewhere(cents):
    sound, times, pitches, *_ = take(15, cents=cents)
    assert abs(tuning_of(sound) - cents) < 6
    assert f1(times, pitches, listen(sound).notes) >= 0.95


def test_vibrato_is_told_and_not_invented():
    sound, times, _, _, strokes = take(16, how="vibrato")
    found = listen(sound)
    shaken = {n.time: bool(g.technique & Technique.VIBRATO) for n, g in zip(found.notes, found.gestures, strict=True)}
    near = lambda t: shaken[min(shaken, key=lambda s: abs(s - t))]  # noqa: E731
    told = [near(t) for t, s in zip(times, strokes, strict=True) if s.how == "vibrato"]
    plain = [near(t) for t, s in zip(times, strokes, strict=True) if s.how == "pick"]
    assert np.mean(told) >= 0.75
    assert not any(plain)


def test_bends_are_told_and_end_where_they_are_bent_to():
    sound, times, pitches, _, strokes = take(17, how="bend", tempo=72.0)
    found = listen(sound)
    bent = [(t, p) for t, p, s in zip(times, pitches, strokes, strict=True) if s.how == "bend"]
    hits = 0
    for time, pitch in bent:
        n, g = min(zip(found.notes, found.gestures, strict=True), key=lambda pair: abs(pair[0].time - time))
        hits += bool(g.technique & Technique.BEND) and n.pitch == pitch + 2
    assert hits >= 0.7 * len(bent)


@pytest.mark.parametrize("kind", ["noise", "metronome", "hum"])
def test_nothing_is_heard_where_nothing_is_played(kind):
    rng = np.random.default_rng(5)
    t = np.arange(RATE * 12) / RATE
    sound = {"noise": 0.1 * rng.standard_normal(len(t)), "hum": 0.2 * np.sin(2 * np.pi * 50 * t)}.get(kind, 0 * t)
    if kind == "metronome":
        for k in range(20):
            s = int(0.3 * RATE + k * 0.5 * RATE)
            click = np.sin(2 * np.pi * 1600 * t[:600]) * np.exp(-t[:600] / 0.008)
            sound[s : s + 600] += 0.6 * click
    assert listen(sound.astype(np.float32)).notes == []


def test_confidence_is_between_0_and_1_and_high_on_a_clean_take():
    found = listen(take(11)[0])
    confidence = confidence_of(found.notes, found.heard)
    assert ((confidence > 0) & (confidence < 1)).all()
    assert np.mean(confidence) > 0.9
