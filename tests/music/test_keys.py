"""Keys: estimation against worked examples, and how people write them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stylemeter.errors import UsageError
from stylemeter.music.keys import PROFILES, estimate, parse_key, pitch_class, rank_keys
from stylemeter.music.melody import Key

KK = "krumhansl-kessler"


def correlations(weights, profile=KK):
    return {(f.tonic, f.mode): f.correlation for f in rank_keys(weights, profile)}


def test_worked_example():
    """R. Hart, "Key-finding algorithm", rnhart.net/articles/key-finding: durations C..B."""
    fits = rank_keys([432, 231, 0, 405, 12, 316, 4, 126, 612, 0, 191, 1], KK)
    assert [f.name for f in fits[:4]] == ["Ab major", "F minor", "C minor", "Eb major"]
    # the winners' values are recomputed from the formula
    assert [f.correlation for f in fits[:4]] == pytest.approx([0.96971, 0.77453, 0.62234, 0.57883], abs=5e-6)
    by_key = {(f.tonic, f.mode): f.correlation for f in fits}
    assert by_key[0, "major"] == pytest.approx(-0.00009, abs=5e-6)


def test_key_to_key_correlations():
    """C. L. Krumhansl, Cognitive Foundations of Musical Pitch, 1990: .591 .651 .511 .536 -.683 (from memory).

    From the rounded profile they come out to within .0015.
    """
    found = correlations(PROFILES[KK][0])
    assert found[0, "major"] == pytest.approx(1)
    wanted = {
        (7, "major"): 0.591,
        (5, "major"): 0.591,
        (9, "minor"): 0.651,
        (0, "minor"): 0.511,
        (4, "minor"): 0.536,
        (6, "major"): -0.683,
    }
    for key, r in wanted.items():
        assert found[key] == pytest.approx(r, abs=0.0015), key
    # the whole row, recomputed
    majors = [1, -0.501, 0.041, -0.104, -0.186, 0.591, -0.683, 0.591, -0.186, -0.104, 0.041, -0.501]
    minors = [0.512, -0.300, 0.237, -0.653, 0.536, 0.214, -0.371, 0.243, -0.510, 0.650, -0.402, -0.156]
    for tonic in range(12):
        assert found[tonic, "major"] == pytest.approx(majors[tonic], abs=6e-4)
        assert found[tonic, "minor"] == pytest.approx(minors[tonic], abs=6e-4)


def test_profiles_are_the_published_ones():
    """Krumhansl & Kessler as music21 carries them; sums of Albrecht & Shanahan and of Temperley's Essen profile."""
    from music21.analysis.discrete import KrumhanslKessler

    theirs = KrumhanslKessler()
    for mode, profile in zip(("major", "minor"), PROFILES[KK], strict=True):
        assert list(profile) == pytest.approx(list(theirs.getWeights(mode)))
    sums = {name: [round(sum(p), 3) for p in pair] for name, pair in PROFILES.items() if name != KK}
    assert sums == {"albrecht-shanahan": [1.000, 0.998], "temperley-essen": [1.000, 0.999]}


def test_chorale_as_in_music21():
    """music21 finds F# minor for bwv66.6, r = .8155 with these profiles."""
    from music21 import corpus

    score = corpus.parse("bwv66.6", forceSource=True)
    weights = np.zeros(12)
    for note in score.flatten().notes:
        for pitch in note.pitches:
            weights[pitch.pitchClass] += float(note.quarterLength)
    best = rank_keys(weights, KK)[0]
    assert best.name == "F# minor"
    assert best.correlation == pytest.approx(0.8155, abs=5e-5)


@pytest.mark.parametrize("profile", PROFILES)
@given(weights=st.lists(st.integers(0, 50), min_size=12, max_size=12), by=st.integers(0, 11))
def test_ranking_follows_transposition(profile, weights, by):
    here = correlations(weights, profile)
    there = correlations(np.roll(weights, by), profile)
    assert len(here) in (0, 24)
    for (tonic, mode), r in here.items():
        assert there[(tonic + by) % 12, mode] == pytest.approx(r, abs=1e-9)


def test_correlations_are_pearson():
    weights = np.random.default_rng(3).integers(0, 40, 12)
    for (tonic, mode), r in correlations(weights, "albrecht-shanahan").items():
        profile = PROFILES["albrecht-shanahan"][mode == "minor"]
        assert r == pytest.approx(np.corrcoef(weights, np.roll(profile, tonic))[0, 1], abs=1e-12)


@pytest.mark.parametrize("weights", [[0] * 12, [5] * 12, [0.1] * 12])
def test_nothing_to_tell_from_equal_weights(weights):
    assert rank_keys(weights) == []
    assert estimate(weights) is None


def test_estimate_tells_runner_up_and_margin():
    weights = [10, 0, 5, 0, 7, 4, 0, 9, 0, 4, 0, 2]
    fits = rank_keys(weights)
    key = estimate(weights)
    assert (key.tonic, key.mode, key.source) == (0, "major", "estimated")
    assert key.runner_up == fits[1].name
    assert key.margin == pytest.approx(fits[0].correlation - fits[1].correlation, abs=1e-4)


def test_estimate_among_candidates():
    weights = [10, 0, 5, 0, 7, 4, 0, 9, 0, 4, 0, 2]
    key = estimate(weights, among=[(7, "major"), (4, "minor")])
    assert (key.tonic, key.mode) in {(7, "major"), (4, "minor")}
    assert key.runner_up in {"G major", "E minor"}
    assert key.runner_up != key.name
    only = estimate(weights, among=[(2, "minor")])
    assert (only.tonic, only.mode, only.runner_up, only.margin) == (2, "minor", None, None)


@pytest.mark.parametrize(
    ("text", "tonic", "mode"),
    [
        ("C", 0, "major"),
        ("Bb", 10, "major"),
        ("bb", 10, "major"),
        ("b", 11, "major"),
        ("F#m", 6, "minor"),
        ("Bm", 11, "minor"),
        ("Bbm", 10, "minor"),
        ("A minor", 9, "minor"),
        ("a MINOR", 9, "minor"),
        ("DM", 2, "major"),
        ("Dm", 2, "minor"),
        ("D dorian", 2, "dorian"),
        ("Ddor", 2, "dorian"),
        ("D:dor", 2, "dorian"),
        ("E Phrygian", 4, "phrygian"),
        ("F♯ lydian", 6, "lydian"),
        ("G Mix", 7, "mixolydian"),
        ("E♭ ionian", 3, "major"),
        ("C aeolian", 0, "minor"),
        ("B locrian", 11, "locrian"),
        ("Cb major", 11, "major"),
        ("  G  ", 7, "major"),
    ],
)
def test_keys_as_people_write_them(text, tonic, mode):
    key = parse_key(text)
    assert (key.tonic, key.mode, key.source) == (tonic, mode, "given")


@pytest.mark.parametrize("text", ["", "H", "X minor", "C foo", "12", "C major minor", "C4", "#", "minor", "C\x00"])
def test_what_is_not_a_key(text):
    with pytest.raises(UsageError, match="is not a key"):
        parse_key(text)


@given(st.text(max_size=12))
def test_any_text_is_a_key_or_a_usage_error(text):
    try:
        key = parse_key(text)
    except UsageError:
        return
    assert 0 <= key.tonic <= 11
    assert key.mode


@given(st.integers(0, 11), st.sampled_from(["major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian"]))
def test_a_key_reads_back_from_its_name(tonic, mode):
    key = parse_key(Key(tonic, mode, "given").name)
    assert (key.tonic, key.mode) == (tonic, mode)


def test_pitch_classes():
    wanted = {"C": 0, "E#": 5, "Fb": 4, "B#": 0, "Gx": 9, "Abb": 7, "h": None, "": None}
    assert {name: pitch_class(name) for name in wanted} == wanted
