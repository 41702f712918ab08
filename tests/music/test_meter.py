"""The metrical grid: published weights, and where bar lines lie."""

from __future__ import annotations

from fractions import Fraction

import pytest
from helpers.melodies import METERS
from hypothesis import given
from hypothesis import strategies as st
from oracle.weights import weight_of

from stylemeter.errors import InputError
from stylemeter.music.meter import (
    TICKS,
    Meter,
    bar_length,
    beat_length,
    divisions,
    is_compound,
    lay_bars,
    meter_at,
    position_weight,
    regular_spans,
)

Q = TICKS


def weight(x, meter):
    return position_weight(int(Fraction(x) * TICKS), *map(int, meter.split("/")))


#: H. C. Longuet-Higgins & C. S. Lee, Music Perception 1(4):424-441, 1984 (the rows as H. Honing's transcription of 2002
#: lists them): meter, grid in quarters, weights.
LHL = [
    ("4/4", "1/2", "0 -3 -2 -3 -1 -3 -2 -3"),
    ("4/4", "1/4", "0 -4 -3 -4 -2 -4 -3 -4 -1 -4 -3 -4 -2 -4 -3 -4"),
    ("3/4", "1/2", "0 -2 -1 -2 -1 -2"),
    ("6/8", "1/2", "0 -2 -2 -1 -2 -2"),
    ("9/8", "1/2", "0 -2 -2 -1 -2 -2 -1 -2 -2"),
    ("12/8", "1/2", "0 -3 -3 -2 -3 -3 -1 -3 -3 -2 -3 -3"),
    ("3/2", "1/2", "0 -3 -2 -3 -1 -3 -2 -3 -1 -3 -2 -3"),
]


@pytest.mark.parametrize(("meter", "grid", "weights"), LHL)
def test_published_weights(meter, grid, weights):
    wanted = [int(w) for w in weights.split()]
    assert [weight(i * Fraction(grid), meter) for i in range(len(wanted))] == wanted


@pytest.mark.parametrize(
    "meter", ["4/4", "2/4", "3/4", "6/8", "9/8", "12/8", "2/2", "3/8", "5/4", "7/8", "3/2", "6/4", "2/8", "5/8"]
)
def test_weights_as_in_music21(meter):
    """music21's beat strength is 2 to the weight at every sixteenth."""
    from music21 import meter as m21
    from music21 import note, stream

    bar = stream.Measure()
    bar.timeSignature = m21.TimeSignature(meter)
    for _ in range(int(bar.timeSignature.barDuration.quarterLength * 4)):
        bar.append(note.Note(quarterLength=0.25))
    assert [n.beatStrength for n in bar.notes] == [2.0 ** weight(n.offset, meter) for n in bar.notes]


#: The feature dictionary's own rule off the grid: quarters from the line, meter, weight.
OFF_GRID = [
    ("1/3", "4/4", -3),  # triplet eighths weigh as eighths
    ("8/3", "4/4", -3),
    ("1/6", "4/4", -4),  # sextuplet
    ("1/5", "4/4", -4),  # quintuplet sixteenths
    ("1/7", "4/4", -4),
    ("1/8", "4/4", -5),  # a 32nd, on the grid
    ("1/10", "4/4", -5),  # quintuplet of the half beat
    ("1/12", "4/4", -5),
    ("1/24", "4/4", -6),
    ("1/16", "4/4", -6),  # finer than the grid: the floor
    ("1/11", "4/4", -6),
    ("1/3", "3/4", -2),
    ("2/3", "3/2", -2),  # thirds of the half-note beat
    ("1/3", "3/2", -3),
    ("3/5", "6/8", -3),  # fifths of the dotted quarter
    ("1/3", "7/8", -2),  # thirds of the eighth-note beat
    ("1/12", "7/8", -3),
]


@pytest.mark.parametrize(("x", "meter", "wanted"), OFF_GRID)
def test_weights_off_the_grid(x, meter, wanted):
    assert weight(x, meter) == wanted


#: Any tick, and the common grids of 240 and 336 places to a quarter: 16ths with thirds and fifths, or with sevenths.
PLACES = st.one_of(
    st.integers(0, 12 * TICKS),
    st.integers(0, 12 * 240).map(lambda i: i * TICKS // 240),
    st.integers(0, 12 * 336).map(lambda i: i * TICKS // 336),
)


@given(PLACES, st.sampled_from(METERS))
def test_weights_as_the_oracle_has_them(x, meter):
    ours = (4, 4) if meter == (2, 2) else meter
    assert position_weight(x, *meter) == weight_of(Fraction(x, TICKS), ours)


def test_beats():
    beats = {
        ("4/4", "2/2", "2/4", "3/4", "5/4", "1/4", "6/4", "9/4"): 1,
        ("6/8", "9/8", "12/8", "3/8", "15/8"): Fraction(3, 2),
        ("3/2", "4/2"): 2,
        ("7/8", "5/8", "2/8", "4/8"): Fraction(1, 2),
        ("3/16", "6/16"): Fraction(3, 4),
        ("3/32",): Fraction(1, 8),
    }
    for meters, beat in beats.items():
        for meter in meters:
            assert Fraction(beat_length(*map(int, meter.split("/"))), TICKS) == beat, meter


def test_compound_meters():
    assert [n for n in range(1, 13) if is_compound(n, 8)] == [3, 6, 9, 12]
    assert not any(is_compound(n, 4) for n in range(1, 13))
    assert is_compound(3, 16)
    assert not is_compound(3, 2)
    assert Meter(0, 6, 8).compound


def test_divisions():
    assert divisions(4, 4) == (2, 2, 2, 2, 2)
    assert divisions(2, 2) == divisions(4, 4)
    assert divisions(12, 8) == (2, 2, 3, 2, 2)
    assert divisions(6, 4) == (2, 3, 2, 2, 2)
    assert divisions(9, 4) == (3, 3, 2, 2, 2)
    assert divisions(18, 8) == (2, 3, 3, 2, 2)  # six beats: 2s before 3s
    assert divisions(7, 8) == (7, 2, 2)
    assert divisions(10, 8) == (10, 2, 2)  # 2 x 5: one additive level
    assert divisions(7, 64) == (7,)


@given(st.sampled_from(METERS))
def test_divisions_make_up_the_bar(meter):
    unit = bar_length(*meter)
    for factor in divisions(*meter):
        assert unit % factor == 0
        unit //= factor
    assert unit <= TICKS // 8


@pytest.mark.parametrize("meter", [(0, 4), (65, 4), (4, 3), (4, 0), (4, 128), (-3, 4)])
def test_what_is_not_a_meter(meter):
    with pytest.raises(InputError, match="not a meter"):
        Meter(0, *meter)


def test_meter_in_force():
    meters = (Meter(2 * Q, 4, 4), Meter(10 * Q, 3, 4), Meter(16 * Q, 6, 8))
    wanted = {0: "4/4", 2 * Q: "4/4", 10 * Q - 1: "4/4", 10 * Q: "3/4", 15 * Q: "3/4", 16 * Q: "6/8", 99 * Q: "6/8"}
    assert {t: str(meter_at(meters, t)) for t in wanted} == wanted


# bar lines ------------------------------------------------------------------------------------------------------------

FOUR = (Meter(0, 4, 4),)


def laid(lengths, meters=FOUR, **options):
    """Bars as (line, end, number) in quarters, for printed bars of the given lengths one after the other."""
    spans, now = [], 0
    for length in lengths:
        spans.append((now, int(Fraction(length) * Q)))
        now += spans[-1][1]
    bars = lay_bars(spans, meters, **options)
    return [
        (Fraction(int(line), Q), Fraction(int(end), Q), int(number))
        for line, end, number in zip(bars.line, bars.end, bars.number, strict=True)
    ]


def test_full_bars():
    assert laid([4, 4]) == [(0, 4, 1), (4, 8, 2)]


def test_a_pickup_lies_at_the_end_of_a_full_bar():
    assert laid([1, 4]) == [(-3, 1, 0), (1, 5, 1)]
    assert laid(["1/2", 4]) == [(Fraction(-7, 2), Fraction(1, 2), 0), (Fraction(1, 2), Fraction(9, 2), 1)]
    # told that the first bar is none, it counts from its own line
    assert laid([1, 4], pickup=False) == [(0, 1, 1), (1, 5, 2)]


def test_a_pickup_is_not_merged_with_a_short_bar_after_it():
    assert laid([1, 3, 4]) == [(-3, 1, 0), (1, 4, 1), (4, 8, 2)]


def test_two_short_bars_that_make_one_are_one():
    assert laid([4, 3, 1, 4]) == [(0, 4, 1), (4, 8, 2), (8, 12, 3)]
    # with a pickup: the last bar of the first part and the pickup of the second
    assert laid([1, 4, 3, 1, 4]) == [(-3, 1, 0), (1, 5, 1), (5, 9, 2), (9, 13, 3)]
    # three that make one are not
    assert laid([4, 2, 1, 1, 4]) == [(0, 4, 1), (4, 6, 2), (6, 7, 3), (7, 8, 4), (8, 12, 5)]
    # the first pair that fits is taken
    assert laid([4, 2, 2, 2, 4]) == [(0, 4, 1), (4, 8, 2), (8, 10, 3), (10, 14, 4)]


def test_a_lone_short_bar_counts_from_its_own_line():
    assert laid([4, 3, 4]) == [(0, 4, 1), (4, 7, 2), (7, 11, 3)]
    assert laid([4, 4, 3]) == [(0, 4, 1), (4, 8, 2), (8, 11, 3)]
    assert laid([4, 3, 2, 4]) == [(0, 4, 1), (4, 7, 2), (7, 9, 3), (9, 13, 4)]


def test_an_overfull_bar_starts_anew():
    assert laid([4, 6, 4]) == [(0, 4, 1), (4, 8, 2), (8, 10, 2), (10, 14, 3)]
    assert laid([9, 4]) == [(0, 4, 1), (4, 8, 1), (8, 9, 1), (9, 13, 2)]


def test_short_bars_do_not_merge_across_a_change_of_meter():
    meters = (Meter(0, 4, 4), Meter(7 * Q, 3, 4))
    assert laid([4, 3, 1, 3], meters) == [(0, 4, 1), (4, 7, 2), (7, 8, 3), (8, 11, 4)]


def test_bars_follow_the_meter_in_force():
    meters = (Meter(0, 4, 4), Meter(4 * Q, 3, 4), Meter(10 * Q, 6, 8))
    assert laid([4, 3, 3, 3], meters) == [(0, 4, 1), (4, 7, 2), (7, 10, 3), (10, 13, 4)]
    # four quarters in 3/4 are overfull
    assert laid([4, 4, 2], (Meter(0, 4, 4), Meter(4 * Q, 3, 4))) == [(0, 4, 1), (4, 7, 2), (7, 8, 2), (8, 10, 3)]


def test_bars_without_length_are_passed_over():
    assert laid([0, 1, 0, 4]) == [(-3, 1, 0), (1, 5, 1)]


@given(st.lists(st.integers(1, 12), min_size=1, max_size=30), st.sampled_from(METERS))
def test_bars_tile_the_music(eighths, meter):
    bars = lay_bars([(sum(eighths[:i]) * Q // 2, n * Q // 2) for i, n in enumerate(eighths)], (Meter(0, *meter),))
    full = bar_length(*meter)
    assert bars.line[0] <= 0
    assert bars.end[-1] == sum(eighths) * Q // 2
    assert bars.line[1:].tolist() == bars.end[:-1].tolist()
    assert all(0 < length <= full for length in (bars.end - bars.line).tolist())
    assert all(step in (0, 1) for step in (bars.number[1:] - bars.number[:-1]).tolist())
    assert not bars.line.flags.writeable


def spans_in_quarters(*arguments):
    return [(Fraction(a, Q), Fraction(b, Q)) for a, b in regular_spans(*arguments)]


def test_regular_spans():
    assert spans_in_quarters(FOUR, 0, 8 * Q) == [(0, 4), (4, 4)]
    assert spans_in_quarters(FOUR, 0, 8 * Q + 1) == [(0, 4), (4, 4), (8, 4)]
    assert spans_in_quarters(FOUR, -4 * Q, 1) == [(-4, 4), (0, 4)]
    # at least one bar
    assert spans_in_quarters(FOUR, 0, 0) == [(0, 4)]


def test_a_change_of_meter_starts_a_new_bar():
    meters = (Meter(0, 4, 4), Meter(6 * Q, 3, 4))
    assert spans_in_quarters(meters, 0, 12 * Q) == [(0, 4), (4, 2), (6, 3), (9, 3)]
    # on a bar line nothing is cut
    assert spans_in_quarters((Meter(0, 4, 4), Meter(4 * Q, 3, 4)), 0, 7 * Q) == [(0, 4), (4, 3)]
    # two changes inside one bar
    meters = (Meter(0, 4, 4), Meter(Q, 3, 4), Meter(2 * Q, 2, 4))
    assert spans_in_quarters(meters, 0, 4 * Q) == [(0, 1), (1, 1), (2, 2)]
