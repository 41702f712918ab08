"""What every feature promises, checked over the whole catalogue at once: invariances, bounds, NaN rules, slices."""

import math
from dataclasses import replace

import numpy as np
import pytest

from stylemeter.features import CATALOG, HABITS, Base, Line, evidence, measure
from stylemeter.features.bulk import excerpt_block
from stylemeter.music.melody import Chord, Key, Technique
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build


def solo(seed, *, notes=90, meter=(4, 4), shift=0, up=0, tempo=120.0, stretch=1):
    """A seeded melody with rests, tuplets, chords, marks; `shift` in bars, `up` in semitones."""
    rng = np.random.default_rng(seed)
    bar = 4 * TICKS * meter[0] // meter[1]
    now, pitch, drafts = 0, 64, []
    for _ in range(notes):
        value = int(rng.choice([TICKS // 4, TICKS // 2, TICKS // 2, TICKS // 3, TICKS, 3 * TICKS // 4, 2 * TICKS]))
        rest = int(rng.choice([0, 0, 0, 0, TICKS // 2, TICKS]))
        drafts.append(
            RawNote(
                shift * bar * stretch + now * stretch, value * stretch, pitch + up, Technique(int(rng.integers(0, 4)))
            )
        )
        now += value + rest
        pitch = int(np.clip(pitch + rng.choice([-7, -4, -3, -2, -2, -1, 0, 1, 2, 2, 3, 5, 12]), 48, 84))
    # chords lie below the first note too, so that a shift moves them along
    roots = [2, 7, 4, None]
    chords = [
        Chord((shift * bar + i * bar) * stretch, None if r is None else (r + up) % 12, "m7" if r is not None else "N",
              () if r is None else tuple((r + up + x) % 12 for x in (0, 3, 7, 10)))
        for i, r in enumerate(roots * (1 + now // bar // 4))
    ]  # fmt: skip
    key = Key((2 + up) % 12, "dorian", "given")
    meters = [Meter(0, meter[0], meter[1] // stretch)]
    return build(Draft(drafts, meters=meters, key=key, chords=chords, tempo=tempo))


SEEDS = (1, 2, 3)
METERS = ((4, 4), (3, 4), (6, 8), (12, 8))


def same(a, b, names=CATALOG):
    for name in names:
        x, y = a.values[name], b.values[name]
        assert (math.isnan(x) and math.isnan(y)) or x == pytest.approx(y, abs=1e-9), name
        assert a.reasons.get(name) == b.reasons.get(name), name


@pytest.mark.parametrize("meter", METERS)
@pytest.mark.parametrize(
    ("promise", "change"),
    [
        ("transposition", {"up": 5}),
        ("octave", {"up": 12}),
        ("tempo", {"tempo": 61.0}),
        ("shift", {"shift": 7}),
    ],
)
def test_invariances(promise, change, meter):
    names = [n for n, f in CATALOG.items() if promise in f.invariances]
    assert len(names) >= 60
    for seed in SEEDS:
        same(measure(solo(seed, meter=meter)), measure(solo(seed, meter=meter, **change)), names)


def test_a_planted_feature_that_is_not_invariant_is_caught():
    # the check itself can fail: the mean pitch moves with transposition
    a, b = solo(1), solo(1, up=5)
    assert a.pitch.mean() != pytest.approx(b.pitch.mean(), abs=1e-9)


@pytest.mark.parametrize("meter", METERS)
def test_bounds_and_reasons(meter):
    for seed in range(8):
        found = measure(solo(seed, notes=12 + 11 * seed, meter=meter))
        for name, feature in CATALOG.items():
            value = found.values[name]
            assert math.isnan(value) == (name in found.reasons), name
            if not math.isnan(value):
                low, high = feature.bounds
                assert low - 1e-9 <= value <= high + 1e-9, name


def test_too_few_notes_leave_everything_unmeasured():
    melody = solo(1)
    for count in (0, 1, 2, 11):
        found = measure(melody, 0, count)
        assert set(found.reasons) == set(CATALOG)
        assert all(
            reason == f"fewer than {CATALOG[name].minimum_notes} notes" for name, reason in found.reasons.items()
        )
    assert sum(math.isfinite(v) for v in measure(melody, 0, 12).values.values()) > 35


@pytest.mark.parametrize(
    ("need", "without"),
    [
        ("key", {"key": None}),
        ("mode", {"key": Key(2, None, "given")}),
        ("durations", {"duration": None}),
        ("chords", {"chords": None}),
        ("technique", {"technique": None}),
    ],
)
def test_a_missing_need_is_the_reason(need, without):
    full, found = measure(solo(1)), measure(replace(solo(1), **without))
    wanting = {n for n, f in CATALOG.items() if need in f.needs}
    assert wanting
    for name in wanting:
        assert math.isnan(found.values[name])
        assert found.reasons[name].startswith("needs")
    if need != "durations":  # without durations the span ends elsewhere and rests are not seen
        rest = [n for n in CATALOG if n not in wanting and not (need == "key" and "mode" in CATALOG[n].needs)]
        if need == "chords":  # without them, what is outside the key can't be of a chord
            rest.remove("chromatic_share")
        same(full, found, rest)


@pytest.mark.parametrize("meter", METERS)
def test_many_excerpts_at_once_give_what_one_by_one_gives(meter):
    rng = np.random.default_rng(9)
    for seed in SEEDS:
        base = Base(solo(seed, meter=meter, notes=140))
        cuts = [(s, s + n) for n in (5, 12, 16, 33, 64, 140) for s in rng.integers(0, 141 - n, 4).tolist()]
        block = excerpt_block(base, cuts)
        slow = np.array([list(measure(base, a, b).values.values()) for a, b in cuts])
        assert np.allclose(block, slow, atol=1e-12, equal_nan=True)


def test_evidence_of_a_share_of_notes_is_its_value():
    for seed in SEEDS:
        melody = solo(seed)
        found = measure(melody)
        for name, feature in CATALOG.items():
            marked = evidence(melody, name)
            assert marked.shape == (len(melody),)
            if name in found.reasons:
                assert not marked.any(), name
            elif feature.unit == "share of notes" and name != "density_build":
                assert marked.mean() == pytest.approx(found.values[name]), name


def test_a_lines_slices_are_the_melodys():
    melody = solo(4)
    line = Line(melody, 20, 70)
    assert line.onset.tolist() == melody.onset[20:70].tolist()
    assert line.n == 50
    assert line.m == 49


def test_every_habit_has_members_and_a_place():
    line = Line(solo(5))
    for habit in HABITS.values():
        for scan in habit.scans:
            scores = np.atleast_2d(scan.score(line))
            assert scores.shape[1] == line.n
            assert np.isfinite(scores).all()
