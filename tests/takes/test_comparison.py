"""Two samples side by side: what differs is told, two halves of one style show nothing, players are paired."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.solos import walk

from stylemeter.errors import InputError, UsageError
from stylemeter.features import CATALOG
from stylemeter.music.excerpts import LADDER
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.style.patterns import line_bytes
from stylemeter.style.sampling import DISTRIBUTIONS, Sample, sample_melody
from stylemeter.takes.comparison import Side, compare, joined_families, united
from stylemeter.takes.pairs import pair_names


def side(name, melodies, labels=None):
    """A side of melodies, measured without the cache."""
    rows = [sample_melody(m) for m in melodies]
    from stylemeter.features import Base

    return Side(
        name,
        sample=Sample(
            labels=labels or [f"{name}-{i}.mid" for i in range(len(melodies))],
            intervals=[np.diff(np.floor(m.pitch + 0.5)).astype(np.int8) for m in melodies],
            lines=[line_bytes(Base(m)) for m in melodies],
            packed=[""] * len(melodies),
            tune=np.repeat(np.arange(len(melodies)), [len(r.rung) for r in rows]),
            rung=np.concatenate([r.rung for r in rows]),
            scans=np.concatenate([r.scans for r in rows]),
            values=np.concatenate([r.values for r in rows]),
            shapes={n: [c for r in rows for c in r.shapes[n]] for n in DISTRIBUTIONS},
            meter=[label for r in rows for label in r.meter],
            failures=[],
            digest="",
        ),
    )


def wider(melody):
    """The same with every interval half as large again, and no repeats of rhythm."""
    return replace(melody, pitch=60 + np.round((melody.pitch - melody.pitch[0]) * 1.5))


@pytest.fixture(scope="module")
def three():
    tunes = [walk(4 * seed, 70) for seed in range(72)]
    return joined_families([side("a", tunes[:24]), side("b", [wider(m) for m in tunes[24:48]]), side("c", tunes[48:])])


def test_what_was_changed_is_told(three):
    found = compare(three[0], three[1])
    assert found.notes in LADDER
    assert found.families == (24, 24)
    differ = {t.name: t.effect.delta for t in found.traits if t.differs}
    assert differ["mean_interval"] < -0.9
    assert differ["step_share"] > 0.9
    assert [t.name for t in found.traits].index("mean_interval") < 25
    assert len(found.traits) == len(CATALOG)
    assert {t.name for t in found.heard} <= set(differ)
    told = {s.name: s for s in found.shapes}
    assert told["intervals"].distance > told["intervals"].chance
    assert told["intervals"].interval[0] <= told["intervals"].distance <= told["intervals"].interval[1]
    assert all(p.q <= 0.05 for p in found.patterns)


def test_a_figure_only_one_side_has_is_told_whole(three):
    """A figure of five notes in every tune of one side."""
    figure = (5, -1, 4, -7)

    def planted(melody, at):
        pitch = melody.pitch.copy()
        pitch[at : at + 5] = pitch[at] + np.concatenate(([0], np.cumsum(figure)))
        onset = np.arange(len(melody)) * 5040
        return build(Draft([RawNote(int(t), 5040, float(p)) for t, p in zip(onset, pitch, strict=True)]))

    tunes = [walk(4 * seed, 70) for seed in range(60)]
    one = side("one", [planted(m, 10 + i) for i, m in enumerate(tunes[:30])])
    found = compare(*joined_families([one, side("other", tunes[30:])]))
    told = [p for p in found.patterns if p.kind == "intervals"]
    assert told[0].pattern == "5 -1 4 -7"
    assert told[0].log_odds > 0
    assert told[0].families[0] == 30


def test_swapped_sides_say_the_same_the_other_way(three):
    one, other = compare(three[0], three[1]), compare(three[1], three[0])
    there = {t.name: t for t in other.traits}
    for t in one.traits:
        if t.effect is not None:
            assert t.effect.delta == pytest.approx(-there[t.name].effect.delta)
            assert t.effect.shift == pytest.approx(-there[t.name].effect.shift)
            assert t.effect.p == pytest.approx(there[t.name].effect.p, abs=0.03)
    assert {p.pattern for p in one.patterns} == {p.pattern for p in other.patterns}


def test_two_halves_of_one_style_show_nothing(three):
    found = compare(three[0], three[2])
    p = np.array([t.effect.p for t in found.traits if t.effect is not None])
    assert np.mean(p <= 0.05) < 0.15
    assert sum(t.differs for t in found.traits) <= 1
    assert len(found.patterns) <= 1


def test_the_same_call_gives_the_same_numbers(three):
    a, b = compare(three[0], three[1]), compare(three[0], three[1])
    assert (a.traits, a.shapes, a.patterns) == (b.traits, b.shapes, b.patterns)


def test_a_pattern_is_told_once(three):
    found = compare(three[0], three[1])
    for i, p in enumerate(found.patterns):
        for other in found.patterns[:i]:
            same_way = p.kind == other.kind and (p.log_odds > 0) == (other.log_odds > 0)
            assert not (same_way and f" {p.pattern} " in f" {other.pattern} ")


def test_variants_on_both_sides_are_one_family(three):
    again = joined_families([replace(three[0], family=None), replace(three[0], family=None)])
    assert np.array_equal(again[0].family, again[1].family)
    both = united("both", again)
    assert both.tunes == 48
    assert both.families[16] == 24


def test_the_length_is_checked(three):
    with pytest.raises(UsageError, match="not a length"):
        compare(three[0], three[1], notes=50)
    with pytest.raises(UsageError, match="shorter excerpts"):
        compare(three[0], three[1], notes=384)
    few = joined_families([side("few", [walk(1, 40), walk(2, 40)]), side("a", [walk(i, 40) for i in range(9)])])
    with pytest.raises(InputError, match="too few to compare"):
        compare(*few)


def test_players_are_paired_where_names_say_so():
    names = [f"player{chr(97 + i)}" for i in range(8)]
    first = side("term-1", [walk(i, 60) for i in range(8)], [f"{n}-1.mid" for n in names])
    second = side("term-2", [wider(walk(i, 60)) for i in range(8)], [f"{n}-2.mid" for n in names])
    sides = joined_families([first, second])
    found = compare(*sides)
    assert found.players == tuple(names)
    mean = next(t for t in found.traits if t.name == "mean_interval")
    assert mean.families == (8, 8)
    assert mean.effect.delta == -1
    assert compare(*sides, paired=False).players == ()


@pytest.mark.parametrize(
    ("a", "b", "players"),
    [
        (["anna-1.mid", "ben-1.mid", "eve-1.mid"], ["ben-2.mid", "eve-2.mid", "anna-2.mid"], ["anna", "ben", "eve"]),
        (["x.mid", "y.mid", "z.mid"], ["X.mid", "y.mid", "z.mid"], ["x.mid", "y.mid", "z.mid"]),
        (["1.mid", "2.mid", "3.mid", "4.mid"], ["11.mid", "12.mid", "13.mid"], []),
        (["anna.mid", "ben.mid", "eve.mid", "u.mid", "v.mid"], ["anna 2.mid", "ben 2.mid", "eve 2.mid", "w.mid"], []),
    ],
)
def test_names_pair_takes_or_don_t(a, b, players):
    assert list(pair_names(a, b)) == players
