"""MusicXML guitar parts: one line in two staves (26 of the sixty) and the octave it sounds in (27).

What an element means is from the MusicXML 4.0 reference, else common practice, no source. The pieces are invented.
"""

from __future__ import annotations

import pytest
from inputs.musicxml.case import BACK
from inputs.musicxml.guitar import DOWN, TAB, TREBLE, TREBLE_8, fret, guitar, marks, one, remarks
from inputs.sixty.xml import attributes, measure, note, notes, part, whole

from stylemeter.music.meter import TICKS

OCTAVE = "guitar part in plain treble clef, no transposition given: read an octave lower, as a guitar sounds"


# 26: one line in two staves -----------------------------------------------------------------------------------


BEND = "<bend><bend-alter>2</bend-alter></bend>"
#: C4 D4 E4 F4 on a guitar, the third note bent by a tone (only the tab says so).
TAB_LINE = (
    note("C4", after=fret(3, 5), voice=5, staff=2)
    + note("D4", after=fret(3, 7), voice=5, staff=2)
    + note("E4", after=fret(2, 5, BEND), voice=5, staff=2)
    + note("F4", after=fret(2, 6), voice=5, staff=2)
)


def two_staves() -> bytes:
    clefs = (
        "<staves>2</staves>"
        + TREBLE_8.replace("<clef>", "<clef number='1'>")
        + TAB.replace("<clef>", "<clef number='2'>")
    )
    return guitar(notes("C4 D4 E4 F4", staff=1) + BACK.format(16) + TAB_LINE, clefs)


def two_parts() -> bytes:
    tab = part(measure(attributes(TAB) + TAB_LINE.replace("<staff>2</staff>", "")), "P2")
    return whole(part(measure(attributes(TREBLE_8) + notes("C4 D4 E4 F4"))), tab, names=("Guitar", "Guitar (tab)"))


def tab_alone() -> bytes:
    return guitar(TAB_LINE.replace("<staff>2</staff>", ""), TAB)


@pytest.mark.parametrize(
    ("data", "remark"),
    [
        (two_staves(), "tab staff read together with the notation it repeats (in bar 1)"),
        (two_parts(), "tab part 'Guitar (tab)' read together with the notation it repeats"),
        (tab_alone(), ""),
    ],
    ids=["two staves", "two parts", "tab alone"],
)
def test_notation_and_tab_are_one_line_with_the_marks_of_both(data: bytes, remark: str):
    melody = one(data)
    assert melody.onset.tolist() == [0, TICKS, 2 * TICKS, 3 * TICKS]
    assert melody.pitch.tolist() == [60, 62, 66, 65]
    assert marks(melody) == ["", "", "bend", ""]
    assert remarks(melody) == ((remark,) if remark else ())


@pytest.mark.parametrize("data", [two_staves(), two_parts(), tab_alone()], ids=["two staves", "two parts", "tab alone"])
def test_strings_and_frets_are_kept(data: bytes):
    melody = one(data)
    assert melody.strings.tolist() == [3, 3, 2, 2]
    assert melody.frets.tolist() == [5, 7, 5, 6]
    assert melody.tuning == (40, 45, 50, 55, 59, 64)


def test_tab_note_without_notation_is_told():
    melody = one(two_staves().replace(b"<pitch><step>C</step>", b"<rest/><pitch><step>C</step>", 1))
    assert melody.pitch.tolist() == [62, 66, 65]
    assert "1 note of the tab staff that the notation lacks left out (in bar 1)" in melody.remarks


def test_tab_part_asked_for_by_name_is_read():
    assert one(two_parts(), part="Guitar (tab)").part == "Guitar (tab)"
    assert one(two_parts(), part="2").pitch.tolist() == [60, 62, 66, 65]


def test_tab_of_another_line_is_a_part_of_its_own():
    other = (
        two_parts().replace(b"<step>F</step>", b"<step>G</step>", 1).replace(b"<step>D</step>", b"<step>A</step>", 1)
    )
    assert len(one(other)) == 4
    assert any(r.startswith("several parts: read 1 Guitar (4 notes), not 2") for r in one(other).remarks)


# 27: octaves ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inner", "name", "first", "said"),
    [
        (TREBLE, "Guitar", 48, (OCTAVE,)),
        (TREBLE, "Lead Gtr.", 48, (OCTAVE,)),
        (TREBLE_8, "Guitar", 60, ()),
        (TREBLE + DOWN, "Guitar", 48, ()),
        (TREBLE_8 + DOWN, "Guitar", 48, ()),
        (TAB, "Guitar", 60, ()),
        ("", "Guitar", 60, ()),
        (TREBLE, "Flute", 60, ()),
        (TREBLE, "Bass Guitar", 60, ()),
    ],
)
def test_guitar_is_moved_once_or_not_at_all(inner: str, name: str, first: int, said: tuple[str, ...]):
    melody = one(guitar(notes("C4 D4 E4 F4"), inner, name))
    assert melody.pitch[0] == first
    assert remarks(melody) == said


def test_guitar_by_sound_and_by_program():
    sound = "<score-instrument id='I1'><instrument-sound>pluck.guitar.electric</instrument-sound></score-instrument>"
    program = "<midi-instrument id='I1'><midi-program>27</midi-program></midi-instrument>"
    for about in (sound, program):
        data = guitar(notes("C4 D4 E4 F4"), TREBLE, "Solo").replace(b"</part-name>", b"</part-name>" + about.encode())
        assert one(data).pitch[0] == 48


def test_what_lies_too_low_is_written_as_it_sounds():
    # E2, the lowest string: an octave lower no guitar sounds
    assert one(guitar(notes("E2 G2 A2 B2"), TREBLE)).pitch[0] == 40


def test_string_and_fret_decide_on_the_octave():
    body = (
        note("C5", after=fret(3, 5))
        + note("D5", after=fret(3, 7))
        + note("E5", after=fret(2, 5))
        + note("F5", after=fret(2, 6))
    )
    for inner, remark in (
        (TREBLE_8, ("read an octave lower than written, as strings and frets say",)),
        (TREBLE, ("read an octave lower than written, as strings and frets say",)),
        (TREBLE + DOWN, ()),
    ):
        melody = one(guitar(body, inner))
        assert melody.pitch.tolist() == [60, 62, 64, 65]
        assert remarks(melody) == remark


def test_transposition_said_twice_over_is_taken_back():
    body = note("C4", after=fret(3, 5)) + note("D4", after=fret(3, 7)) + notes("E4 F4")
    melody = one(guitar(body, TREBLE + DOWN))
    assert melody.pitch.tolist() == [60, 62, 64, 65]
    assert remarks(melody) == ("read an octave higher than written, as strings and frets say",)


def test_tuning_and_capo_of_the_file_count():
    strings = ((1, "D", 2), (2, "A", 2), (3, "D", 3), (4, "G", 3), (5, "B", 3), (6, "E", 4))
    pitch = "<tuning-step>{1}</tuning-step><tuning-octave>{2}</tuning-octave>"
    tuned = "".join(f"<staff-tuning line='{s[0]}'>{pitch.format(*s)}</staff-tuning>" for s in strings)
    details = f"<staff-details>{tuned}<capo>2</capo></staff-details>"
    # the sixth string down to D2 with a capo at 2 sounds E2 when open
    melody = one(
        guitar(note("E3", after=fret(6, 0)) + note("F3", after=fret(6, 1)) + notes("G3 A3"), TREBLE_8 + details)
    )
    assert melody.pitch.tolist() == [40, 41, 43, 45]


def test_transposing_instrument_moves_key_and_chords_too():
    bass = "<bass><bass-step>G</bass-step></bass>"
    chord = f"<harmony><root><root-step>A</root-step></root><kind>dominant</kind>{bass}</harmony>"
    clarinet = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    melody = one(guitar(chord + notes("D4 E4 F#4 G4"), clarinet, "Clarinet in Bb").replace(b"<fifths>0", b"<fifths>2"))
    assert melody.pitch.tolist() == [60, 62, 64, 65]
    assert melody.key is not None
    assert melody.key.name == "C major"
    assert melody.chords is not None
    assert [(c.root, c.kind, c.pitch_classes) for c in melody.chords] == [(7, "7", (7, 11, 2, 5))]


def test_signature_without_mode_moves_with_the_transposition():
    alto = "<transpose><diatonic>-5</diatonic><chromatic>-9</chromatic></transpose>"
    data = guitar(notes("A4 B4 C#5 D5"), alto, "Alto saxophone").replace(
        b"<fifths>0</fifths><mode>major</mode>", b"<fifths>3</fifths>"
    )
    key = one(data).key
    assert key is not None
    assert {key.name, key.runner_up} == {"C major", "A minor"}


def test_change_of_transposition_holds_from_its_place():
    change = "<attributes><transpose><chromatic>-3</chromatic></transpose></attributes>"
    body = notes("C4 D4") + change + notes("E4 F4")
    assert one(guitar(body, "<transpose><chromatic>-2</chromatic></transpose>", "Clarinet")).pitch.tolist() == [
        58,
        60,
        61,
        62,
    ]
