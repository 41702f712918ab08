"""Which part of several is read: the same choice in every format, and the same error for a part that isn't there.

What a melody's part is called and where it stands is common practice, no source. General MIDI level 1 gives programs.
"""

import pytest
from inputs.sixty.xml import attributes, measure, note, notes, part, whole

from stylemeter.errors import UnknownNameError
from stylemeter.reading import abc, jams, kern, mei, midi, musicxml, tab, table  # noqa: F401 - the readers' rooms
from stylemeter.reading.draft.parts import Candidate, choose
from stylemeter.reading.intake.options import ReadOptions


def chosen(*parts, wanted=None):
    return parts[choose(parts, wanted)[0]].name


ARPEGGIO = Candidate("Keyboard", 240, 60.0)


@pytest.mark.parametrize(
    "melody",
    ["Lead Guitar", "Solo", "Melody", "Gtr 1 (lead)", "Vocals", "Right hand", "LEAD", "Guitar"],
)
def test_names_count_before_the_number_of_notes(melody):
    assert chosen(ARPEGGIO, Candidate(melody, 64, 64.0)) == melody
    assert chosen(Candidate(melody, 64, 64.0), ARPEGGIO) == melody


@pytest.mark.parametrize(
    "behind",
    ["Rhythm guitar", "Bass", "Strings", "Organ pad", "Piano left hand", "Backing vocals", "Bass solo", "Click"],
)
def test_what_goes_under_a_melody_is_not_taken_for_it(behind):
    assert chosen(Candidate(behind, 300, 55.0), Candidate("Anna", 64, 64.0)) == "Anna"


def test_guitar_programs_count_where_names_say_nothing():
    plain, guitar = Candidate("Track 1", 300, 70.0), Candidate("Track 2", 64, 64.0, programs=frozenset({27}))
    assert chosen(plain, guitar) == "Track 2"
    assert (
        chosen(Candidate("Track 1", 300, 70.0, programs=frozenset({33})), Candidate("Track 2", 64, 50.0)) == "Track 2"
    )


@pytest.mark.parametrize(
    "drums",
    [
        Candidate("drum", 900, 60.0),
        Candidate("Kit", 900, 60.0, percussion=True),
        Candidate("Track 1", 900, 60.0, programs=frozenset({115})),
        Candidate("Lead drums", 900, 60.0),
    ],
)
def test_percussion_is_never_read_unasked(drums):
    assert chosen(drums, Candidate("Bass", 20, 40.0)) == "Bass"
    assert chosen(drums, Candidate("Bass", 20, 40.0), wanted=drums.name) == drums.name


def test_the_right_hand_is_read_and_not_the_left():
    left, right = Candidate("", 200, 48.0), Candidate("", 120, 67.0)
    assert choose([left, right], None)[0] == 1
    assert choose([right, left], None)[0] == 0


def test_of_parts_as_high_the_first_is_read_whatever_their_notes():
    assert chosen(Candidate("Violin I", 100, 72.0), Candidate("Violin II", 130, 70.0)) == "Violin I"


def test_a_few_notes_are_no_melody():
    assert chosen(Candidate("Lead", 3, 72.0), Candidate("Fiddle", 130, 70.0)) == "Fiddle"


def test_chords_are_no_line():
    assert chosen(Candidate("A", 100, 72.0, chordal=True), Candidate("B", 100, 60.0)) == "B"


@pytest.mark.parametrize("wanted", ["Kazoo", "0", "3", "-1", "9" * 30])
def test_a_part_that_is_not_there_lists_those_that_are(wanted):
    with pytest.raises(UnknownNameError, match="there is: 1 Lead, 2 Bass"):
        choose([Candidate("Lead", 9, 70.0), Candidate("Bass", 9, 40.0)], wanted)


def score(first, second, names):
    return whole(part(measure(attributes() + first)), part(measure(attributes() + second), "P2"), names=names)


def test_musicxml():
    from stylemeter.reading.musicxml.read import read

    arpeggio, tune = notes("C4 E4 G4 C5 C4 E4 G4 C5", 2), notes("C4 D4 E4 F4")
    for names in (("Keyboard", "Lead Guitar"), ("Drum set", "Bass"), ("Piano", "Guitar")):
        [melody] = read(score(arpeggio, tune, names), ReadOptions())
        assert melody.part == names[1]
    [melody] = read(score(notes("C3 E3 G3 C4", 4), notes("C5 D5 E5 F5"), ("", "")), ReadOptions())
    assert melody.part == "part 2"


def test_a_part_s_id_is_not_its_name():
    data = score(note("C4"), note("C5"), ("", "")).replace(b'"P2"', b'"P8e0a578b1234"')
    from stylemeter.reading.musicxml.read import read

    [melody] = read(data, ReadOptions())
    assert "P8e0a578b" not in " ".join([melody.part, *melody.remarks])


DRUM_FIRST = "X:1\nM:4/4\nL:1/8\nK:C\n{}\nV:1\nc4 d4|e8|\n"


@pytest.mark.parametrize(
    "drum", ["V: drum\n%%MIDI channel 10\nCCCCCCCC|CCCCCCCC|", "V:2 clef=perc\nCCCCCCCC|CCCCCCCC|"]
)
def test_abc(drum):
    from stylemeter.reading.abc.read import read

    [melody] = read(DRUM_FIRST.format(drum).encode(), ReadOptions())
    assert melody.part == "X:1 V:1"
    assert melody.pitch.tolist() == [72, 74, 76]


def test_abc_channel_in_the_header():
    from stylemeter.reading.abc.read import read

    text = "X:1\nM:4/4\nL:1/8\nV:beat\n%%MIDI channel 10\nV:one\nK:C\n[V:beat]CCCCCCCC|\n[V:one]c4 d4|\n"
    [melody] = read(text.encode(), ReadOptions())
    assert melody.part == "X:1 V:one"


def test_kern_reads_the_right_hand():
    from stylemeter.reading.kern.read import read

    rows = [
        "**kern\t**kern",
        "*M4/4\t*M4/4",
        "=1\t=1",
        "8CC\t4cc",
        "8E\t.",
        "8G\t4dd",
        "8E\t.",
        "2C\t2ee",
        "==\t==",
        "*-\t*-",
    ]
    [melody] = read("\n".join(rows).encode(), ReadOptions())
    assert melody.pitch.tolist() == [72, 74, 76]
