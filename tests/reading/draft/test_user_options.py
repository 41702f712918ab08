"""What the user says of a melody: key, meter, chords, tempo."""

import numpy as np
import pytest

from stylemeter.errors import InputError, UsageError
from stylemeter.music.melody import Chord, Key
from stylemeter.music.meter import TICKS as Q
from stylemeter.music.meter import Meter
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.reading.draft.user_options import apply, check
from stylemeter.reading.intake.options import ReadOptions


def melody(onsets, **more):
    """Quarter notes up the scale at these quarters."""
    notes = [RawNote(int(t * Q), Q, 60.0 + 2 * i) for i, t in enumerate(onsets)]
    return build(Draft(notes, source="test", **more))


def test_nothing_asked_nothing_changed():
    tune = melody(range(8))
    assert apply(tune, ReadOptions()) is tune


# ------------------------------------------------------------------------------------------------ key


def test_a_given_key_takes_the_place_of_a_guess_and_of_its_remark():
    tune = melody(range(8))
    assert any("--key" in remark for remark in tune.remarks)
    given = apply(tune, ReadOptions(key="Eb dorian"))
    assert given.key == Key(3, "dorian", "given")
    assert not any("key" in remark for remark in given.remarks)


def test_a_given_key_overrides_the_declared_one_with_a_remark():
    tune = melody(range(8), key=Key(2, "major", "declared"))
    given = apply(tune, ReadOptions(key="Bm"))
    assert given.key == Key(11, "minor", "given")
    assert given.remarks[-1] == "key B minor as given; the file declares D major"


def test_the_declared_key_given_again_is_no_news():
    tune = melody(range(8), key=Key(2, "major", "declared"))
    given = apply(tune, ReadOptions(key="D"))
    assert given.key == Key(2, "major", "given")
    assert not any("as given" in remark for remark in given.remarks)


# ------------------------------------------------------------------------------------------------ meter


def test_a_meter_for_a_source_without_one():
    tune = melody(range(8))
    assert "no meter given: 4/4 assumed; say it with --meter" in tune.remarks
    given = apply(tune, ReadOptions(meter="3/4"))
    assert given.meters == (Meter(0, 3, 4),)
    assert given.bar.tolist() == [1, 1, 1, 2, 2, 2, 3, 3]
    assert given.beat.tolist() == [1, 2, 3, 1, 2, 3, 1, 2]
    assert not any("meter" in remark for remark in given.remarks)
    assert {str(meter) for meter in given.note_meters} == {"3/4"}


def test_the_meter_assumed_given_is_no_longer_an_assumption():
    given = apply(melody(range(8)), ReadOptions(meter="4/4"))
    assert not any("meter" in remark for remark in given.remarks)


def test_a_pickup_stays_before_the_first_bar_line():
    # one quarter, then three bars of 4/4
    spans = [(0, Q), (Q, 4 * Q), (5 * Q, 4 * Q), (9 * Q, 4 * Q)]
    tune = melody(range(13), meters=[Meter(0, 4, 4)], spans=spans)
    assert tune.bar.tolist()[:2] == [0, 1]
    given = apply(tune, ReadOptions(meter="3/4"))
    assert given.bar.tolist() == [0, 1, 1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4]
    assert given.beat.tolist()[:4] == [3, 1, 2, 3]
    assert given.remarks[-1] == "meter 3/4 as given; the file has 4/4: bars laid anew from its first bar line"


def test_a_pickup_longer_than_a_new_bar_gets_bars_of_its_own():
    spans = [(0, 3 * Q), (3 * Q, 4 * Q), (7 * Q, 4 * Q)]
    tune = melody(range(11), meters=[Meter(0, 4, 4)], spans=spans)
    given = apply(tune, ReadOptions(meter="2/4"))
    # one quarter, one full bar, then the printed bar line
    assert given.beat.tolist() == [2, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2]
    assert given.bar.tolist() == [0, 1, 1, 2, 2, 3, 3, 4, 4, 5, 5]
    assert 3 * Q in given.bars.line.tolist()


def test_a_pickup_may_lie_before_tick_0():
    tune = melody([-1, *range(8)], meters=[Meter(0, 4, 4)])
    given = apply(tune, ReadOptions(meter="3/4"))
    assert int(tune.bars.line[0]) % Q == 0
    assert np.all(np.diff(given.bars.line) > 0)
    assert given.bars.line[0] <= given.onset[0]
    assert len(given) == 9


def test_changes_of_meter_are_replaced_as_a_whole():
    tune = melody(range(14), meters=[Meter(0, 4, 4), Meter(8 * Q, 3, 4)])
    given = apply(tune, ReadOptions(meter="2/4"))
    assert given.meters == (Meter(0, 2, 4),)
    assert given.bar.tolist() == [1 + i // 2 for i in range(14)]
    assert "changes of meter" in given.remarks[-1]


def test_empty_bars_at_the_end_stay():
    tune = melody(range(4), meters=[Meter(0, 4, 4)], spans=[(0, 4 * Q), (4 * Q, 4 * Q), (8 * Q, 4 * Q)])
    given = apply(tune, ReadOptions(meter="2/4"))
    assert int(given.bars.end[-1]) == 12 * Q


def test_too_many_bars_are_refused():
    tune = melody([0, 15_000], meters=[Meter(0, 4, 4)])
    with pytest.raises(InputError, match="more than 5000 bars of 1/64"):
        apply(tune, ReadOptions(meter="1/64"))


# ------------------------------------------------------------------------------------------------ chords, tempo


def test_chords_are_laid_over_the_melody_to_its_end():
    given = apply(melody(range(12)), ReadOptions(chords="Dm7 | G7"))
    assert [(c.onset // Q, c.root, c.kind) for c in given.chords] == [(0, 2, "m7"), (4, 7, "7"), (8, 2, "m7")]


def test_chords_follow_the_meter_given_with_them():
    given = apply(melody(range(12)), ReadOptions(chords="Dm7 | G7", meter="3/4"))
    assert [c.onset // Q for c in given.chords] == [0, 3, 6, 9]


def test_given_chords_replace_those_of_the_file_with_a_remark():
    tune = melody(range(8), chords=[Chord(0, 0, "", (0, 4, 7))])
    given = apply(tune, ReadOptions(chords="Am"))
    assert [c.root for c in given.chords] == [9]
    assert given.remarks[-1] == "chords as given; those of the file left out"


def test_a_tempo_is_for_sources_without_one():
    assert apply(melody(range(4)), ReadOptions(tempo=96)).tempo == 96.0
    assert apply(melody(range(4), tempo=120.0), ReadOptions(tempo=96)).tempo == 120.0


# ------------------------------------------------------------------------------------------------ check


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (ReadOptions(key="H moll"), "is not a key"),
        (ReadOptions(key=""), "is not a key"),
        (ReadOptions(meter="4"), "is not a meter"),
        (ReadOptions(meter="4/5"), "is not a meter"),
        (ReadOptions(meter="0/4"), "is not a meter"),
        (ReadOptions(meter="²/4"), "is not a meter"),
        (ReadOptions(chords="Dm7 | Zebra"), "chords, bar 2"),
        (ReadOptions(chords="|"), "chords"),
        (ReadOptions(tempo=0), "is no tempo"),
        (ReadOptions(tempo=float("nan")), "is no tempo"),
        (ReadOptions(first_beat=float("nan")), "first beat at nan is no place in a recording"),
        (ReadOptions(first_beat=float("-inf")), "first beat at -inf is no place in a recording"),
    ],
)
def test_options_that_make_no_sense_are_refused_before_any_file_is_read(options, words):
    with pytest.raises(UsageError, match=words):
        check(options)


def test_options_that_make_sense_pass():
    check(ReadOptions())
    check(ReadOptions(key="F# locrian", meter="7/8", chords="Dm7 G7 | % | N.C. |", tempo=60, part="2"))
