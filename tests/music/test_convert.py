"""A melody from arrays, frames and music21's streams, and back."""

import numpy as np
import pandas as pd
import pytest
from helpers.solos import walk

from stylemeter.errors import InputError, UsageError, WrongTypeError
from stylemeter.music.melody import Melody, Technique
from stylemeter.music.meter import TICKS


def same(one, other, but=()):
    for name in one.__dataclass_fields__:
        if name in but:
            continue
        a, b = getattr(one, name), getattr(other, name)
        if isinstance(a, np.ndarray):
            assert np.array_equal(a, b), name
        elif name == "bars":
            assert all(np.array_equal(getattr(a, n), getattr(b, n)) for n in ("line", "end", "number"))
        else:
            assert a == b, name


def test_arrays_are_laid_on_the_grid():
    melody = Melody.from_arrays([0, 1, 2.5, 4], [60, 62, 64, 65], [1, 1.5, 1.5, 2], key="F lydian", meter="4/4")
    assert melody.onset.tolist() == [0, TICKS, 5 * TICKS // 2, 4 * TICKS]
    assert melody.bar.tolist() == [1, 1, 1, 2]
    assert melody.beat.tolist() == [1, 2, 3.5, 1]
    assert melody.weight.tolist() == [0, -2, -3, 0]
    assert melody.key.name == "F lydian"
    assert melody.remarks == ()


def test_a_pickup_counts_towards_the_first_bar_line():
    melody = Melody.from_arrays([0, 1, 5], [67, 60, 64], [1, 4, 4], pickup=1, key="C major")
    assert melody.bar.tolist() == [0, 1, 2]
    assert melody.beat.tolist() == [4, 1, 1]


def test_meters_and_chords_may_change_at_onsets():
    melody = Melody.from_arrays(
        [0, 4, 7], [60, 62, 64], key="C major", meter=[(0, "4/4"), (4, "3/4")], chords=[(0, "Dm7"), (4, "G7")]
    )
    assert [str(m) for m in melody.note_meters] == ["4/4", "3/4", "3/4"]
    assert melody.bar.tolist() == [1, 2, 3]
    assert [(c.onset // TICKS, c.root, c.kind) for c in melody.chords] == [(0, 2, "m7"), (4, 7, "7")]


def test_notes_in_any_order_and_chords_become_one_line():
    melody = Melody.from_arrays([2, 0, 0], [65, 60, 64], [1, 1, 2], key="C major")
    assert melody.pitch.tolist() == [64, 65]
    assert melody.duration.tolist() == [2 * TICKS, TICKS]
    assert melody.remarks == ("1 lower note that begins with another left out",)


def test_a_key_nobody_names_is_estimated_and_told():
    scale = [60, 62, 64, 65, 67, 69, 71, 72] * 2
    melody = Melody.from_arrays(range(16), scale, [1] * 16)
    assert melody.key.name == "C major"
    assert melody.key.source == "estimated"
    assert melody.remarks == ("no key given: C major estimated from the notes",)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (([], []), "no notes in it"),
        (([0, 1], [60]), "2 onsets and 1 of pitch"),
        (([0, 1], [60, float("nan")]), "no number"),
        (([0, 10080 * 32], [60, 62]), "in quarter notes, not in ticks"),
        (([0], [440]), "MIDI note numbers"),
        (([0], [60], [0]), "durations must be greater than 0"),
        (([[0]], [60]), "2 dimensions"),
    ],
)
def test_what_cannot_be_meant_is_told(given, words):
    with pytest.raises(InputError, match=words):
        Melody.from_arrays(*given)


@pytest.mark.parametrize(
    ("options", "error"),
    [
        ({"meter": "four"}, UsageError),
        ({"meter": 4}, WrongTypeError),
        ({"meter": []}, UsageError),
        ({"key": "H major"}, UsageError),
        ({"pickup": -1}, UsageError),
        ({"chords": [1]}, WrongTypeError),
    ],
)
def test_an_option_that_cannot_be_understood_is_told(options, error):
    with pytest.raises(error):
        Melody.from_arrays([0, 1], [60, 62], **options)


def test_words_are_no_pitches():
    with pytest.raises(TypeError, match="pitch can't be read as numbers"):
        Melody.from_arrays([0], ["C4"])


@pytest.mark.parametrize("seed", range(8))
def test_a_frame_gives_the_same_melody_again(seed):
    melody = walk(seed, 40)
    frame = melody.to_frame()
    same(melody, Melody.from_frame(frame))
    # what travels beside the columns is plain data
    assert pd.io.json.ujson_dumps(frame.attrs)


def test_a_frame_cut_by_hand_keeps_its_bars():
    melody = walk(3, 40)
    part = Melody.from_frame(melody.to_frame().iloc[10:20])
    assert part.bar.tolist() == melody.bar[10:20].tolist()
    assert part.beat.tolist() == melody.beat[10:20].tolist()


def test_options_take_the_place_of_what_a_frame_carries():
    melody = Melody.from_arrays(range(12), range(60, 72), key="C major")
    assert (
        Melody.from_frame(melody.to_frame(), meter="3/4", key="A minor").bar.tolist()
        == [1] * 3 + [2] * 3 + [3] * 3 + [4] * 3
    )


def test_a_frame_without_pitches_is_told():
    with pytest.raises(InputError, match="no column 'pitch'"):
        Melody.from_frame(pd.DataFrame({"onset": [0.0]}))
    with pytest.raises(TypeError, match="a data frame with the columns"):
        Melody.from_frame([0, 1])


def test_marks_come_with_the_frame():
    melody = Melody.from_arrays(
        [0, 1],
        [64, 69],
        tuning=(40, 45, 50, 55, 59, 64),
        technique=[int(Technique.BEND), 0],
        strings=[1, 1],
        frets=[0, 5],
        phrase_ends=[False, True],
    )
    frame = melody.to_frame()
    assert list(frame.columns[-4:]) == ["technique", "string", "fret", "phrase_end"]
    same(melody, Melody.from_frame(frame))


@pytest.mark.parametrize("seed", range(8))
def test_music21_gives_back_what_it_was_given(seed):
    melody = walk(seed, 48)
    again = Melody.from_music21(melody.to_music21())
    shift = int(again.onset[0] - melody.onset[0])
    stop = np.minimum(melody.onset + melody.duration, np.append(melody.onset[1:], np.iinfo(np.int64).max))
    assert (again.onset - shift).tolist() == melody.onset.tolist()
    assert again.duration.tolist() == (stop - melody.onset).tolist()
    assert again.pitch.tolist() == melody.pitch.tolist()
    assert again.bar.tolist() == melody.bar.tolist()
    assert again.beat.tolist() == melody.beat.tolist()
    assert again.weight.tolist() == melody.weight.tolist()
    if melody.chords:
        spelled = [(c.root, c.kind) for c in again.chords]
        assert spelled == [(c.root, c.kind) for c in melody.chords if c.onset < melody.bars.end[-1]]


@pytest.mark.parametrize("name", ["bwv66.6", "bwv1.6", "bwv10.7", "bwv101.7", "bwv103.6"])
def test_music21_reads_as_we_do(name):
    """The same file through music21's parser and our reader: an outside witness for both."""
    import music21
    from helpers.melodies import corpus_folder

    from stylemeter.reading import ReadOptions, read

    path = corpus_folder() / "bach" / f"{name}.mxl"
    ours = read(path, ReadOptions(part="1"))[0]
    theirs = Melody.from_music21(music21.converter.parse(path), 1)
    for column in ("onset", "duration", "pitch", "bar", "beat", "weight"):
        assert getattr(theirs, column).tolist() == getattr(ours, column).tolist(), column
    assert [str(m) for m in theirs.meters] == [str(m) for m in ours.meters]


def test_a_stream_is_asked_for_by_name():
    with pytest.raises(TypeError, match="a score, part or stream of music21"):
        Melody.from_music21("score.xml")


def test_a_part_is_chosen_by_name_or_number():
    import music21

    score = music21.stream.Score()
    for name, pitch, count in (("Guitar", 60, 3), ("Bass", 40, 5)):
        part = music21.stream.Part()
        part.partName = name
        part.append([music21.note.Note(pitch + i) for i in range(count)])
        score.insert(0, part)
    assert len(Melody.from_music21(score)) == 5
    assert len(Melody.from_music21(score, "Guitar")) == len(Melody.from_music21(score, 1)) == 3
    with pytest.raises(UsageError, match="there is: Guitar, Bass"):
        Melody.from_music21(score, "Flute")


def test_a_repr_is_one_line_and_a_notebook_sees_the_notes():
    melody = walk(1, 300)
    assert len(repr(melody).splitlines()) == 1
    assert len(repr(melody)) < 200
    html = Melody.from_arrays(range(40), range(40, 80), title="<b>Air</b>")._repr_html_()
    assert "<b>Air" not in html
    assert "and 28 more" in html
