"""Features on the Essen folk songs in music21's wheel against published figures of the same collection.

The files are read with `folk_abc` (accidentals carried through the bar, repeated notes counted, one line a phrase).
D. Temperley, "Probabilistic models of melodic interval", Music Perception 2014: interval entropy 3.35 bits a note.
C. Chiu & D. Temperley, Music & Science 2024, doi 10.1177/20592043231225731: step inertia 71 %, mean interval 2.8
semitones without repeats. D. Huron, Computing in Musicology 10:3-23, 1996: phrase arches (his shares from memory; the
recomputation on this copy is 38.7 % convex of 41 885 phrases). N. Condit-Schultz, Music Perception 36(3):300-313, 2019:
equal neighbours explain nearly all of nPVI.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.folk_abc import read_folder
from helpers.melodies import corpus_folder, folk_melody
from helpers.written import in_rhythm

from stylemeter.features import CATALOG, Lack, Line, distributions
from stylemeter.music.meter import TICKS

pytestmark = pytest.mark.slow

#: Degree profiles of the collection, major: D. Temperley 2007, and B. Aarden's dissertation (Ohio State, 2003).
TEMPERLEY_MAJOR = (0.184, 0.001, 0.155, 0.003, 0.191, 0.109, 0.005, 0.214, 0.001, 0.078, 0.004, 0.055)
AARDEN_MAJOR = (
    *(17.7661, 0.145624, 14.9265, 0.160186, 19.8049, 11.3587),
    *(0.291248, 22.062, 0.145624, 8.15494, 0.232998, 4.95122),
)


@cache
def songs():
    """The mostly European songs: every file but the Chinese ones."""
    folder = corpus_folder()
    if folder is None:
        pytest.skip("music21's corpus folder is not installed")
    files = [f for f in (folder / "essenFolksong").glob("*.abc") if not f.name.startswith("han")]
    found = read_folder(files)
    assert len(found) == 7290
    return found


@cache
def lines():
    """Every song of 12 notes and more in a meter that is written."""
    return [Line(folk_melody(s)) for s in songs() if s.meter and len(s.notes) >= 12]


def value(name, line):
    found = CATALOG[name].value(line)
    return np.nan if isinstance(found, Lack) else found


def pooled(name, weights):
    """Mean of a share over songs, each by its denominator."""
    values = np.array([value(name, line) for line in lines()])
    there = ~np.isnan(values)
    return float(np.average(values[there], weights=np.array(weights)[there]))


def test_interval_entropy():
    total = np.zeros(25)
    for line in lines():
        total += distributions(line)["intervals"] * (line.n - 1)
    p = total[total > 0] / total.sum()
    assert -(p * np.log2(p)).sum() == pytest.approx(3.35, abs=0.05)


def test_mean_interval_and_steps():
    intervals = [line.n - 1 for line in lines()]
    moves = 1 - pooled("repeated_note_share", intervals)
    assert pooled("mean_interval", intervals) / moves == pytest.approx(2.8, abs=0.05)
    # Temperley 2014: whole steps are more than twice as common as half steps
    half = pooled("semitone_share", intervals)
    assert (pooled("step_share", intervals) - half) / half > 2


def test_step_inertia():
    pairs = []
    for line in lines():
        steps = [abs(k) in (1, 2) for k in np.diff(line.melody.pitch)]
        pairs.append(sum(a and b for a, b in itertools.pairwise(steps)))
    assert 0.69 <= pooled("step_inertia", pairs) <= 0.72


def test_convex_phrases():
    """Each printed phrase is set apart by a rest, so that the phrases measured are the printed ones."""
    total = convex = 0
    for song in songs():
        printed = [[n[2] for n in notes] for _, notes in itertools.groupby(song.notes, key=lambda n: n[3])]
        phrases = [phrase for phrase in printed if len(phrase) >= 3]
        if len(phrases) < 3 or sum(map(len, phrases)) < 12:
            continue
        total += len(phrases)
        convex += round(value("convex_phrase_share", Line(set_apart(phrases))) * len(phrases))
    assert total > 40_000
    assert 100 * convex / total == pytest.approx(38.7, abs=0.5)


def set_apart(phrases):
    """Quarters, a rest of three after each phrase."""
    lengths = [4 if i == len(phrase) - 1 else 1 for phrase in phrases for i in range(len(phrase))]
    melody = in_rhythm(lengths, [pitch for phrase in phrases for pitch in phrase])
    return replace(melody, duration=np.minimum(melody.duration, TICKS))


def test_degree_profile():
    total = np.zeros(12)
    for line in lines():
        shares = distributions(line)["degrees"]
        if shares[4] > shares[3]:  # major: more major thirds than minor ones
            total += shares * line.n
    assert np.corrcoef(total, TEMPERLEY_MAJOR)[0, 1] > 0.998
    assert np.corrcoef(total, AARDEN_MAJOR)[0, 1] > 0.998


def test_npvi_and_equal_neighbours():
    values = [value("npvi", line) for line in lines()]
    equal = [np.mean(line.ioi[1:] == line.ioi[:-1]) for line in lines()]
    assert np.corrcoef(values, equal)[0, 1] ** 2 > 0.9
