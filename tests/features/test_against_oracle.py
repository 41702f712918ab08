"""The fast features against the dictionary written out once more, slowly (`oracle`), on random and on real melodies."""

from __future__ import annotations

import math
import random

import numpy as np
import oracle
import pytest
from helpers.melodies import melodies, real_melodies, stretches
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from stylemeter.features import (
    CATALOG,
    SCANS,
    Base,
    Line,
    distributions,
    evidence,
    measure,
    scale_fits,
    scan,
)
from stylemeter.features.bulk import excerpt_block
from stylemeter.reading import Session

TOLERANCE = 1e-9
#: How a reason begins -> the oracle's categories it may stand for.
REASONS = {
    "fewer than 12 notes with a chord": {"too few of what is counted", "nothing to count"},
    "fewer than 12 notes": {"too few notes"},
    "fewer than 32 notes": {"too few notes"},
    "needs durations": {"needs durations"},
    "needs a key with a mode": {"needs a mode"},
    "needs a key": {"needs a key"},
    "needs chords": {"needs chords"},
    "needs playing marks": {"needs technique"},
    "fewer than": {"too few of what is counted", "nothing to count"},
    "nothing": {"nothing to count"},
    "no note": {"nothing to count"},
}

thorough = settings(max_examples=80, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])


def same(a, b):
    return (math.isnan(a) and math.isnan(b)) or abs(a - b) <= TOLERANCE * max(1.0, abs(a))


def categories(reason):
    return next(said for start, said in REASONS.items() if reason.startswith(start))


def compare_values(melody, start, stop):
    table = oracle.cut(oracle.from_melody(melody), start, stop)
    found = measure(melody, start, stop)
    # among other cuts, the way a whole collection is measured
    in_bulk = excerpt_block(Base(melody), [(0, len(melody)), (start, stop), (0, min(14, len(melody)))])[1]
    for column, name in enumerate(CATALOG):
        wanted, why = oracle.value(table, name)
        value = found.values[name]
        assert same(value, wanted), f"{name} of notes {start}..{stop}: {value}, the oracle says {wanted} ({why})"
        assert same(in_bulk[column], wanted), f"{name} of {start}..{stop} in bulk: {in_bulk[column]}, not {wanted}"
        assert math.isnan(value) == (name in found.reasons), name
        if why is not None:
            assert why in categories(found.reasons[name]), f"{name}: {found.reasons[name]!r} for {why!r}"


def compare_evidence(melody, start, stop):
    table = oracle.cut(oracle.from_melody(melody), start, stop)
    for name in oracle.EVIDENCE:
        marked = evidence(melody, name, start, stop)
        assert marked.tolist() == oracle.evidence_of(table, name), name


def compare_distributions(melody, start, stop):
    table = oracle.cut(oracle.from_melody(melody), start, stop)
    found = distributions(Line(melody, start, stop))
    for name, wanted in oracle.distributions(table).items():
        if wanted is None:
            assert name not in found, name
        else:
            np.testing.assert_allclose(found[name], wanted, atol=TOLERANCE, rtol=0, err_msg=name)


def compare_scales(melody, start, stop):
    fits = scale_fits(Line(melody, start, stop))
    if melody.key is None or stop - start < 12:
        assert fits == []
        return
    wanted = oracle.scales(oracle.cut(oracle.from_melody(melody), start, stop))
    assert {fit.name for fit in fits} == set(wanted)
    assert [fit.rank for fit in fits] == sorted(fit.rank for fit in fits)
    for fit in fits:
        by_note, by_time, rank = wanted[fit.name]
        assert fit.rank == rank, fit.name
        assert same(fit.notes, by_note), fit.name
        assert same(fit.time, math.nan if by_time is None else by_time), fit.name


def compare_places(melody, start, stop):
    table = oracle.cut(oracle.from_melody(melody), start, stop)
    key, line = melody.key, Line(melody, start, stop)
    lacking = {
        "root": not key,
        "pentatonic": not (key and key.mode),
        "chord_root": not melody.chords,
    }
    assert set(oracle.SCANS) == set(SCANS)
    for name in SCANS:
        found = scan(line, name)
        if stop - start < 12 or lacking.get(name):
            assert found is None, name
            continue
        total, first, last = found
        assert same(total, float(oracle.greatest_sum(table, name))), name
        # several stretches may share the greatest sum
        assert same(total, float(oracle.sum_of(table, name, first, last))), name


def test_the_oracle_has_every_feature():
    assert set(oracle.FEATURES) == set(CATALOG)
    assert {n: f.family for n, f in CATALOG.items()} == {n: o.family for n, o in oracle.FEATURES.items()}
    assert {n: f.minimum_notes for n, f in CATALOG.items()} == {n: o.minimum for n, o in oracle.FEATURES.items()}
    assert {n: set(f.needs) for n, f in CATALOG.items()} == {n: set(o.needs) for n, o in oracle.FEATURES.items()}


@thorough
@given(melodies(), st.data())
def test_values_and_reasons_on_random_melodies(melody, data):
    compare_values(melody, *data.draw(stretches(melody)))


@thorough
@given(melodies(), st.data())
def test_evidence_on_random_melodies(melody, data):
    compare_evidence(melody, *data.draw(stretches(melody)))


@thorough
@given(melodies(), st.data())
def test_distributions_scales_and_places_on_random_melodies(melody, data):
    start, stop = data.draw(stretches(melody))
    compare_distributions(melody, start, stop)
    compare_scales(melody, start, stop)
    compare_places(melody, start, stop)


@thorough
@given(melodies())
def test_weight_and_beat_columns(melody):
    table = oracle.from_melody(melody)
    assert melody.weight.tolist() == oracle.weights(table)
    assert [(b - 1) * m.beat for b, m in zip(melody.beat, melody.note_meters, strict=True)] == pytest.approx(
        [float(x) * 10080 for x in oracle.positions(table)]
    )


def tunes():
    found = real_melodies()
    if not found:
        pytest.skip("music21's corpus folder is not installed")
    return found


def test_there_are_real_tunes_of_many_kinds():
    meters = {(m.numerator, m.denominator) for melody in tunes() for m in melody.meters}
    assert len(tunes()) == 60
    assert {(4, 4), (3, 4), (2, 4), (6, 8), (9, 8), (2, 2), (3, 2)} <= meters
    assert sum(melody.bars.number[0] == 0 for melody in tunes()) >= 20  # with a pickup
    assert sum(melody.chords is not None for melody in tunes()) == 30


def test_real_tunes_whole():
    for melody in tunes()[::2] + tunes()[1::6]:
        compare_values(melody, 0, len(melody))
        compare_distributions(melody, 0, len(melody))
        compare_scales(melody, 0, len(melody))


def test_excerpts_of_real_tunes():
    chance = random.Random(20)
    for number, melody in enumerate(tunes()):
        count = min(len(melody), chance.randint(16, 96))
        start = chance.randint(0, len(melody) - count)
        compare_values(melody, start, start + count)
        if number % 3 == 0:
            compare_evidence(melody, start, start + count)
            compare_places(melody, start, start + count)


def compare_read(files):
    """Read files as a user would; compare a few melodies of each. Returns the melodies."""
    found = []
    with Session() as session:
        for file in files:
            found += session.read(file)[:4]
    for melody in found:
        stop = min(len(melody), 120)
        compare_values(melody, 0, stop)
        compare_values(melody, stop // 5, stop)
        compare_distributions(melody, 0, stop)
    return found


def test_tunes_through_the_readers(music21_corpus):
    folders = ["leadSheet/*.mxl", "essenFolksong/irl.abc", "essenFolksong/kinder0.abc", "oneills1850/1136-1175.abc"]
    melodies = compare_read(sorted(file for pattern in folders for file in music21_corpus.glob(pattern)))
    assert len(melodies) == 14
    assert sum(melody.chords is not None for melody in melodies) == 2


@pytest.mark.data
def test_open_collections_through_the_readers(open_data):
    songs = sorted(open_data.glob("jazz-age-songs/*.mxl"))[:6]
    takes = sorted(open_data.glob("guitar-jams/*.jams"))
    assert songs
    melodies = compare_read([*songs, *takes])
    assert all(melody.chords is not None for melody in melodies[: len(songs)])


@pytest.mark.slow
@settings(thorough, max_examples=250)
@given(melodies(most=110), st.data())
def test_many_more_random_melodies(melody, data):
    start, stop = data.draw(stretches(melody))
    compare_values(melody, start, stop)
    compare_evidence(melody, start, stop)
    compare_distributions(melody, start, stop)
    compare_scales(melody, start, stop)
    compare_places(melody, start, stop)
