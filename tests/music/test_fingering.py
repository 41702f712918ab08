"""Fingerings: the source's own are kept, ours are the cheapest, and boxes a guitarist knows come out as such."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from helpers.written import written

from stylemeter.music.fingering import CROSS, LEAVE, STANDARD, WAY, _pauses, _places, fingering, for_guitar


def _eighths(names: str) -> str:
    return " ".join(f"{name}:1/2" for name in names.split())


def test_the_minor_pentatonic_box_at_the_fifth_fret():
    # common practice, no source: the first box every player learns
    box = fingering(written(_eighths("A2 C3 D3 E3 G3 A3 C4 D4 E4 G4 A4 C5"), key="A minor"))
    assert list(zip(box.strings.tolist(), box.frets.tolist(), strict=True)) == [
        *((6, 5), (6, 8), (5, 5), (5, 7), (4, 5), (4, 7)),
        *((3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8)),
    ]
    assert box.own


def test_every_note_sounds_where_it_is_fingered():
    rng = np.random.default_rng(5)
    melody = written(_eighths("E3 " * 200), key="E minor")
    melody = replace(melody, pitch=rng.integers(40, 86, 200).astype(float))
    got = fingering(melody)
    assert [STANDARD[-s] + f for s, f in zip(got.strings, got.frets, strict=True)] == melody.pitch.tolist()
    assert got.frets.max() <= 22


@pytest.mark.parametrize("seed", range(6))
def test_no_other_way_through_the_notes_is_cheaper(seed):
    rng = np.random.default_rng(seed)
    melody = replace(written(_eighths("E3 " * 4), key="E minor"), pitch=rng.integers(45, 76, 4).astype(float))
    choices = [
        _places([(s, int(p) - STANDARD[-s]) for s in range(1, 7) if 0 <= int(p) - STANDARD[-s] <= 22])
        for p in melody.pitch
    ]
    pauses = _pauses(melody)

    def cost(way) -> float:
        total = sum(c.cost[k] for c, k in zip(choices, way, strict=True))
        for i in range(1, len(way)):
            a, b = choices[i - 1], choices[i]
            moved = abs(int(a.hand[way[i - 1]]) - int(b.hand[way[i]]))
            total += pauses[i] * (LEAVE + WAY * moved if moved else 0)
            total += CROSS * max(0, abs(int(a.string[way[i - 1]]) - int(b.string[way[i]])) - 1)
        return total

    best = min(cost(way) for way in product(*(range(len(c.string)) for c in choices)))
    got = fingering(melody)
    told = [(c.string == s) & (c.fret == f) for c, s, f in zip(choices, got.strings, got.frets, strict=True)]
    ours = min(cost(way) for way in product(*(np.flatnonzero(t).tolist() for t in told)))
    assert ours == pytest.approx(best)


def test_the_source_keeps_its_own_and_what_it_leaves_open_is_ours():
    melody = written(_eighths("A3 C4 D4"), key="A minor")
    told = replace(melody, strings=np.array([4, -1, 4]), frets=np.array([7, -1, 12]), tuning=STANDARD)
    got = fingering(told)
    assert (int(got.strings[0]), int(got.frets[0])) == (4, 7)
    assert (int(got.strings[2]), int(got.frets[2])) == (4, 12)
    assert STANDARD[-int(got.strings[1])] + int(got.frets[1]) == 60
    assert got.own
    whole = replace(told, strings=np.array([4, 3, 4]), frets=np.array([7, 5, 12]))
    assert not fingering(whole).own


def test_outside_the_neck_there_is_none():
    assert fingering(written(_eighths("D2 E2"), key="E minor")) is None
    assert fingering(written(_eighths("E4 E6 E7"), key="E minor")) is None


def test_a_guitar_is_told_by_name_marks_or_range():
    high = written(_eighths("A4 C5 E5"), key="A minor")
    assert not for_guitar(high)
    assert for_guitar(replace(high, part="Lead guitar"))
    assert for_guitar(replace(high, technique=np.zeros(3, dtype=np.int64)))
    assert for_guitar(written(_eighths("A3 C4 E3"), key="A minor"))
