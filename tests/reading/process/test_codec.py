"""Melodies as plain JSON and back: nothing is lost, nothing damaged gets through."""

from dataclasses import replace

import numpy as np
import pytest

from stylemeter.music.melody import Chord, Key, Melody, Technique
from stylemeter.music.meter import Meter
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.reading.intake import limits
from stylemeter.reading.process.codec import pack, unpack


def full_melody():
    notes = [
        RawNote(0, 3360, 60.25, Technique.BEND, 0.125, string=3, fret=5),
        RawNote(6720, 10080, 71.0, Technique.SLIDE, 1 / 3),
    ]
    return replace(
        build(
            Draft(
                notes,
                meters=(Meter(0, 6, 8), Meter(30240, 4, 4)),
                key=Key(2, "dorian", "estimated", "A minor", 1 / 3),
                chords=(Chord(0, 2, "m7", (2, 5, 9, 0)), Chord(5, None, "N", ())),
                tuning=(40, 45, 50, 55, 59, 64),
                phrase_ends=[0],
                tempo=117.3,
                title="Tüne – 1",
                part="Lead",
                source="test",
                guessed_share=0.1,
                remarks=["one", "two"],
            )
        )
    )


def same(one, other):
    """Every field alike, arrays with their type."""
    for name in Melody.__dataclass_fields__:
        a, b = getattr(one, name), getattr(other, name)
        if name == "bars":
            assert all(np.array_equal(getattr(a, column), getattr(b, column)) for column in ("line", "end", "number"))
        elif isinstance(a, np.ndarray):
            assert a.dtype == b.dtype, name
            assert np.array_equal(a, b), name
        else:
            assert a == b, name
    return True


def test_the_plain_form_loses_nothing():
    melody = full_melody()
    bare = build(Draft([RawNote(0, None, 60.0)], source="test"))
    one, other = unpack(pack([melody, bare]))
    assert same(melody, one)
    assert same(bare, other)
    assert other.duration is None
    assert not one.onset.flags.writeable


def test_words_come_back_safe_to_print_and_in_bounds():
    melody = replace(full_melody(), title="a\x1b[2J", part="b\u202e" + "x" * 1000, remarks=("c\udcff",) * 1000)
    [shown] = unpack(pack([melody]), path="take.mid")
    assert shown.title == r"a\x1b[2J"
    assert shown.part.startswith(r"b\u202e")
    assert len(shown.part) == limits.TEXT_MAX
    assert shown.remarks == (r"c\xff",) * limits.REMARKS_MAX
    assert shown.path == "take.mid"


@pytest.mark.parametrize(
    "text",
    ["", "{", "[1]", "[{}]", "null", "[" * 100_000, '[{"onset":[1]}]', "1", '"x"', b"\xff\xfe", '[{"onset":[1e400]}]'],
)
def test_a_damaged_document_is_one_kind_of_error(text):
    with pytest.raises(ValueError, match=r"."):
        unpack(text)


def test_every_field_damaged_in_turn_is_refused_or_read():
    import json

    [row] = json.loads(pack([full_melody()]))
    for name in row:
        for value in ("x", {"a": 1}, [[1, 2]], [None], 10**30, True):
            try:
                unpack(json.dumps([row | {name: value}]))
            except ValueError:
                continue
