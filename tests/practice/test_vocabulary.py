"""What a player leans on: at the rate the style's own tunes say, a planted lick, favourites between takes."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.solos import E, walk

from stylemeter.features import Base
from stylemeter.practice.vocabulary import LEANED, shared_figures, take_vocabulary, vocabularies
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.style.patterns import Lines, line_bytes
from stylemeter.style.vocabulary import fit_vocabulary, load_vocabulary

LICK = (3, -1, 4, -5, 2)


@pytest.fixture(scope="module")
def style(tmp_path_factory):
    """An invented style of 150 tunes, and what it says of itself."""
    path = tmp_path_factory.mktemp("style") / "vocabulary.parquet"
    lines = Lines.of([line_bytes(Base(walk(seed, 128))) for seed in range(150)])
    path.write_bytes(fit_vocabulary(lines, np.arange(150)))
    return load_vocabulary(path)


def planted(seed, times, notes=128):
    """A take of the style with a figure of six notes put in, at other notes each time."""
    rng = np.random.default_rng(seed)
    melody = walk(1000 + seed, notes)
    pitch = melody.pitch.copy()
    starts = np.sort(rng.permutation(notes // 8 - 1)[:times]) * 8
    onset = np.arange(notes) * E
    for start in starts.tolist():
        pitch[start : start + 6] = pitch[start] + np.concatenate(([0], np.cumsum(LICK)))
    pitch += max(0.0, 30 - pitch.min())
    return build(Draft([RawNote(int(t), E, float(p)) for t, p in zip(onset, pitch, strict=True)])), starts


def test_held_out_tunes_of_the_style_show_a_figure_at_the_nominal_rate(style):
    leaned, avoided, p = [], [], []
    for seed in range(500, 620):
        found = take_vocabulary(walk(seed, 128), style)
        leaned.append(any(f.leaned_on for f in found.figures))
        avoided.append(any(m.avoided for m in found.missed))
        p += [f.p for f in found.figures]
    # .05 is nominal; 120 takes give .05 +- .04
    assert np.mean(leaned) <= 0.11
    assert np.mean(avoided) <= 0.11
    assert 0.01 < np.mean(np.array(p) <= 0.05) < 0.1


def test_counts_taken_as_independent_would_flag_most_of_them(style):
    """Why z alone is not what a figure is judged by."""
    z = [f.z for seed in range(500, 520) for f in take_vocabulary(walk(seed, 128), style).figures]
    assert np.mean(np.array(z) > 1.96) > 0.5


def test_a_planted_lick_is_found(style):
    found = []
    for seed in range(12):
        melody, starts = planted(seed, 10)
        figures = [f for f in take_vocabulary(melody, style).told if f.leaned_on]
        found.append(any(set(starts.tolist()) & set(f.places) for f in figures))
    assert np.mean(found) >= 0.9


def test_a_figure_is_told_once_at_its_full_length(style):
    melody, starts = planted(3, 8)
    told = [f for f in take_vocabulary(melody, style).told if f.kind == "intervals" and f.length >= 5]
    holding = [f for f in told if " ".join(map(str, LICK)) in f.pattern]
    assert holding
    assert {tuple(f.places) for f in holding} >= {tuple(starts.tolist())} or len(holding) == 1


def test_a_phrase_end_is_counted():
    """Four phrases, each ending with one figure of five notes, parted by two beats of rest."""
    notes, now = [], 0
    rng = np.random.default_rng(1)
    for start in (60, 64, 62, 67):
        for step in [*rng.integers(-4, 5, 3).tolist(), *(2, 2, -5, 1)]:
            notes.append(RawNote(now, E, float(start)))
            start += int(step)
            now += E
        notes.append(RawNote(now, E, float(start)))
        now += 5 * E
    found = take_vocabulary(build(Draft(notes)), None)
    [figure] = [f for f in found.told if f.pattern == "2 2 -5 1"]
    assert (found.phrases, figure.count, figure.ends, figure.begins) == (4, 4, 4, 0)
    assert figure.same_rhythm == 4
    assert found.reason


def test_what_is_too_short_or_too_long_is_said(style):
    assert "are the least" in take_vocabulary(walk(1, 12), style).reason
    long = take_vocabulary(walk(1, 600), style)
    assert long.stretches > 1
    assert long.missed == ()
    empty = take_vocabulary(build(Draft([RawNote(0, E, 60.0)])), None)
    assert empty.figures == ()


def test_stock_is_worked_out_of_the_takes_before(style):
    take = walk(7, 80)
    first, second, third = vocabularies([take, walk(8, 80), take], style)
    assert np.isnan(first.stock.own)
    assert third.stock.own > 0.8  # all but the notes of phrases shorter than six
    assert second.stock.own < third.stock.own
    for found in (second, third):
        s = found.stock
        assert s.own + s.common - s.both + s.new == pytest.approx(1)
    assert first.stock.common + first.stock.new == pytest.approx(1)


def test_takes_share_what_both_hold(style):
    (one, _), (other, _) = planted(1, 5), planted(2, 4)
    text = " ".join(map(str, LICK))
    shared = shared_figures([one, other, walk(3, 60)], style)
    assert any(text in s.pattern for s in shared)
    for s in shared:
        assert s.takes == len({t for t, _ in s.places}) >= 2
        for take, note in s.places:
            melody = (one, other, walk(3, 60))[take]
            steps = np.diff(melody.pitch[note : note + s.length + 1])
            assert " ".join(str(int(k)) for k in steps) == s.pattern
    assert shared_figures([walk(3, 60)], style) == ()


def test_a_transposed_take_says_the_same(style):
    melody = walk(11, 100)
    higher = replace(melody, pitch=melody.pitch + 3)
    a, b = (take_vocabulary(m, style) for m in (melody, higher))
    rows = [[(f.pattern, f.places, f.p, f.tunes) for f in v.figures if f.kind != "degrees"] for v in (a, b)]
    assert sorted(rows[0]) == sorted(rows[1])


def test_q_is_over_everything_tried(style):
    found = take_vocabulary(walk(5, 128), style)
    assert found.tried == len([*found.figures, *found.missed]) or found.tried > len(found.figures)
    assert all(f.q >= f.p - 1e-12 for f in found.figures)
    assert all(f.leaned_on == (f.tunes <= LEANED) for f in found.figures)
