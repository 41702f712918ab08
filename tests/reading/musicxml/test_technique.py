"""MusicXML playing marks: bends (32 of the sixty), legato, slides, vibrato (33), harmonics, dead notes.

What an element means is from the MusicXML 4.0 reference, else common practice, no source. The pieces are invented.
"""

from __future__ import annotations

import pytest
from inputs.musicxml.guitar import TREBLE, between, guitar, marks, one, remarks, technical
from inputs.sixty.xml import note, notes

# 32: bends ------------------------------------------------------------------------------------------------------


def bend(alter: object, inner: str = "") -> str:
    """A ``<bend>``."""
    return f"<bend><bend-alter>{alter}</bend-alter>{inner}</bend>"


@pytest.mark.parametrize(
    ("bends", "pitch", "words"),
    [
        (bend(2), 62, "bend"),
        (bend(0.5), 60.5, "bend"),
        (bend(2) + bend(-2, "<release/>"), 62, "bend release"),
        (bend(2) + bend(-2), 62, "bend release"),
        (bend(2, "<pre-bend/>"), 62, "pre-bend"),
        (bend(-2, "<pre-bend/>"), 62, "pre-bend"),
        (bend(2, "<pre-bend/>") + bend(-2, "<release/>"), 60, "pre-bend release"),
        (bend(-2, "<release/>"), 60, "release"),
        (bend(-1, "<with-bar/>"), 60, "bend"),
        (bend("x"), 60, "bend"),
        (bend(99), 60, "bend"),
    ],
)
def test_bent_note_has_the_pitch_it_reaches(bends: str, pitch: float, words: str):
    melody = one(guitar(note("C4", after=technical(bends)) + notes("D4 E4 F4")))
    assert melody.pitch[0] == pitch
    assert marks(melody) == [words, "", "", ""]
    unknown = "1 bend without a size that can be meant left at the written pitch (in bar 1)"
    assert (unknown in melody.remarks) == (bends in (bend("x"), bend(99)))


def test_bend_on_either_end_of_a_tie_counts_once():
    start, stop = (
        "<notations><tied type='{}'/><technical>{}</technical></notations>".format(*x)
        for x in (("start", bend(2)), ("stop", bend(-2, "<release/>")))
    )
    melody = one(guitar(note("C4", after=start) + note("C4", after=stop) + notes("D4 E4")))
    assert melody.pitch.tolist() == [62, 62, 64]
    assert marks(melody)[0] == "bend release"


# 33: legato, vibrato and the other marks ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "word"),
    [("hammer-on", "hammer-on"), ("pull-off", "pull-off"), ("slide", "slide"), ("glissando", "slide")],
)
def test_mark_between_notes_belongs_to_the_note_reached(name: str, word: str):
    start, stop = between(name, "start"), between(name, "stop")
    assert marks(one(guitar(note("C4", after=start) + note("D4", after=stop) + notes("E4 F4")))) == ["", word, "", ""]
    both = note("C4", after=start) + note("D4", after=stop + start) + note("E4", after=stop) + note("F4")
    assert marks(one(guitar(both))) == ["", word, word, ""]
    # an end missing: the next note where it follows at once, the note itself before a rest or at the end
    assert marks(one(guitar(note("C4", after=start) + notes("D4 E4 F4")))) == ["", word, "", ""]
    assert marks(one(guitar(note("C4", after=start) + notes("R D4 E4")))) == [word, "", ""]
    assert marks(one(guitar(notes("C4 D4 E4") + note("F4", after=start)))) == ["", "", "", word]


def test_hammer_on_from_a_grace_note():
    grace = note("B3", None, before="<grace/>", after=between("hammer-on", "start"))
    melody = one(guitar(grace + notes("C4 D4 E4 F4")))
    assert marks(melody) == ["hammer-on grace", "", "", ""]
    assert remarks(melody) == ("1 grace note left out, marked on the note after it",)


def wavy(kind: str) -> str:
    """A wavy line's start or end."""
    return f"<ornaments><wavy-line type='{kind}'/></ornaments>"


def test_wavy_line_is_vibrato_to_its_end_but_not_after_a_trill():
    def on(inner: str) -> str:
        return f"<notations>{inner}</notations>"

    line = note("C4", after=on(wavy("start"))) + note("D4") + note("E4", after=on(wavy("stop"))) + note("F4")
    assert marks(one(guitar(line))) == ["vibrato", "vibrato", "vibrato", ""]
    alone = note("C4", after=on(wavy("start") + wavy("stop"))) + notes("D4 E4 F4")
    assert marks(one(guitar(alone))) == ["vibrato", "", "", ""]
    trill = note(
        "C4", after=on("<ornaments><trill-mark/><wavy-line type='start'/><wavy-line type='stop'/></ornaments>")
    )
    assert marks(one(guitar(trill + notes("D4 E4 F4")))) == ["trill", "", "", ""]


@pytest.mark.parametrize(
    ("after", "word"),
    [
        (technical("<tap/>"), "hammer-on"),
        (technical("<other-technical>palm mute</other-technical>"), "palm-mute"),
        (technical("<other-technical>P.M.</other-technical>"), "palm-mute"),
        (technical("<other-technical>vibrato</other-technical>"), "vibrato"),
        (technical("<other-technical>wide vibrato</other-technical>"), "vibrato"),
        (technical("<other-technical>let ring</other-technical>"), ""),
        (technical("<fingering>4</fingering>"), ""),
        ("<notations><articulations><staccato/></articulations></notations>", "staccato"),
        ("<notations><articulations><accent/></articulations></notations>", "accent"),
        ("<notations><articulations><strong-accent/></articulations></notations>", "accent"),
        ("<notations><articulations><falloff/></articulations></notations>", "slide"),
        ("<play><mute>palm</mute></play>", "palm-mute"),
        ("<play><mute>straight</mute></play>", ""),
    ],
)
def test_marks_on_a_note(after: str, word: str):
    assert marks(one(guitar(note("C4", after=after) + notes("D4 E4 F4")))) == [word, "", "", ""]


def direction(inner: str) -> str:
    """A direction."""
    return f"<direction>{inner}</direction>"


def test_palm_mute_by_words_lasts_to_the_end_of_its_dashes():
    words = "<direction-type><words>P.M.</words></direction-type>"
    start = direction(words + "<direction-type><dashes type='start'/></direction-type>")
    stop = direction("<direction-type><dashes type='stop'/></direction-type>")
    assert marks(one(guitar(note("C4") + start + note("D4") + note("E4") + stop + note("F4")))) == [
        "", "palm-mute", "palm-mute", "palm-mute",
    ]  # fmt: skip
    assert marks(one(guitar(note("C4") + direction(words) + notes("D4 E4 F4")))) == ["", "palm-mute", "", ""]


def test_dead_notes_and_slashes_have_no_pitch():
    body = (
        note("C4")
        + note("D4", after="<notehead>x</notehead>")
        + note("B4", after="<notehead>slash</notehead>")
        + note("F4")
    )
    melody = one(guitar(body))
    assert melody.pitch.tolist() == [60, 65]
    assert remarks(melody) == (
        "1 dead note left out for want of a pitch (in bar 1)",
        "1 rhythm slash left out for want of a pitch (in bar 1)",
    )


# harmonics: partials n = 2..6 of an ideal string lie 12 log2 n = 12, 19, 24, 28, 31 semitones up ---------------------


def harmonic(inner: str, before: str = "") -> str:
    """A harmonic."""
    return technical(f"{before}<harmonic>{inner}</harmonic>")


AS_WRITTEN = ("1 harmonic without a sounding pitch read as written (in bar 1)",)
BASE_ONLY = ("1 harmonic given by the base note only read an octave higher (in bar 1)",)


def on_first_string(fret: int, kind: str = "<natural/>") -> str:
    """A harmonic with its string and fret."""
    return harmonic(kind, f"<string>1</string><fret>{fret}</fret>")


@pytest.mark.parametrize(
    ("first", "pitch", "said"),
    [
        (note("C6", after=harmonic("<natural/><sounding-pitch/>")), 84, ()),
        (note("E4", after=on_first_string(7)), 83, ()),
        (note("B4", after=on_first_string(7)), 83, ()),
        (note("E5", after=on_first_string(12)), 76, ()),
        (note("A4", after=on_first_string(5)), 88, ()),
        (note("B3", after=on_first_string(7)), 59, AS_WRITTEN),
        (note("A4", after=on_first_string(5, "<artificial/>")), 69, AS_WRITTEN),
        (note("G4", after=harmonic("<artificial/><base-pitch/>")), 79, BASE_ONLY),
    ],
)
def test_harmonic_sounds(first: str, pitch: int, said: tuple[str, ...]):
    melody = one(guitar(first + notes("D4 E4 F4")))
    assert melody.pitch[0] == pitch
    assert marks(melody) == ["harmonic", "", "", ""]
    assert remarks(melody) == said


def test_notes_that_show_how_a_harmonic_is_played_are_left_out():
    base = note("G3", after=harmonic("<artificial/><base-pitch/>"))
    touched = note("C4", before="<chord/>", after=harmonic("<artificial/><touching-pitch/>"))
    sounding = note("G5", before="<chord/>", after=harmonic("<artificial/><sounding-pitch/>"))
    melody = one(guitar(base + touched + sounding + notes("D4 E4 F4")))
    assert melody.pitch.tolist() == [79, 62, 64, 65]
    assert remarks(melody) == ("2 helper notes of a harmonic left out (first in bar 1)",)
    # touched a fourth above the stopped note: two octaves up
    melody = one(guitar(base + touched + notes("D4 E4 F4")))
    assert melody.pitch.tolist() == [79, 62, 64, 65]
    assert remarks(melody) == ("1 helper note of a harmonic left out (in bar 1)",)


# what the source can say ---------------------------------------------------------------------------------------------


def test_technique_is_known_in_guitar_parts_and_where_playing_is_marked():
    plain = notes("C4 D4 E4 F4")
    accent = note("C4", after="<notations><articulations><accent/></articulations></notations>") + notes("D4 E4 F4")
    slide = note("C4", after=between("slide", "start")) + note("D4", after=between("slide", "stop")) + notes("E4 F4")
    assert marks(one(guitar(plain))) == ["", "", "", ""]
    assert one(guitar(plain, TREBLE, "Voice")).technique is None
    assert one(guitar(accent, TREBLE, "Voice")).technique is None
    assert marks(one(guitar(accent))) == ["accent", "", "", ""]
    assert marks(one(guitar(slide, TREBLE, "Voice"))) == ["", "slide", "", ""]
