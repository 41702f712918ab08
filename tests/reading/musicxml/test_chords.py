"""MusicXML chord symbols: kinds and degrees of the standard, and where they stand.

The intervals of each kind are those the MusicXML 4.0 reference describes under kind-value ("dominant: major triad,
minor seventh", ...), written down here by hand; 13ths without the eleventh are common practice, no source.
"""

from __future__ import annotations

from xml.etree.ElementTree import fromstring

import pytest
from inputs.musicxml.case import chord
from inputs.musicxml.guitar import one
from inputs.sixty.xml import bars, note, notes

from stylemeter.errors import InputError, LimitError
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake import limits
from stylemeter.reading.musicxml.chords import read_chord

KINDS = {
    "major": {0, 4, 7},
    "minor": {0, 3, 7},
    "augmented": {0, 4, 8},
    "diminished": {0, 3, 6},
    "dominant": {0, 4, 7, 10},
    "major-seventh": {0, 4, 7, 11},
    "minor-seventh": {0, 3, 7, 10},
    "diminished-seventh": {0, 3, 6, 9},
    "augmented-seventh": {0, 4, 8, 10},
    "half-diminished": {0, 3, 6, 10},
    "major-minor": {0, 3, 7, 11},
    "major-sixth": {0, 4, 7, 9},
    "minor-sixth": {0, 3, 7, 9},
    "dominant-ninth": {0, 4, 7, 10, 2},
    "major-ninth": {0, 4, 7, 11, 2},
    "minor-ninth": {0, 3, 7, 10, 2},
    "dominant-11th": {0, 4, 7, 10, 2, 5},
    "major-11th": {0, 4, 7, 11, 2, 5},
    "minor-11th": {0, 3, 7, 10, 2, 5},
    "dominant-13th": {0, 4, 7, 10, 2, 9},
    "major-13th": {0, 4, 7, 11, 2, 9},
    "minor-13th": {0, 3, 7, 10, 2, 5, 9},
    "suspended-second": {0, 2, 7},
    "suspended-fourth": {0, 5, 7},
    "power": {0, 7},
    "pedal": {0},
}


def degree(value: int, alter: int, how: str) -> str:
    """A ``<degree>``."""
    return (
        f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter>"
        f"<degree-type>{how}</degree-type></degree>"
    )


@pytest.mark.parametrize("kind", KINDS)
def test_kind_holds_its_intervals(kind: str):
    found = read_chord(fromstring(chord("E", kind)), 0)
    assert found.root == 4
    assert {(c - 4) % 12 for c in found.pitch_classes} == KINDS[kind]


@pytest.mark.parametrize(
    ("kind", "degrees", "name", "classes"),
    [
        ("dominant", degree(9, -1, "add"), "7b9", {0, 4, 7, 10, 1}),
        ("dominant", degree(5, -1, "alter"), "7b5", {0, 4, 6, 10}),
        ("dominant", degree(5, 1, "alter") + degree(9, 1, "add"), "7#5#9", {0, 4, 8, 10, 3}),
        ("dominant", degree(13, -1, "add"), "7b13", {0, 4, 7, 10, 8}),
        ("dominant-ninth", degree(7, 0, "subtract"), "add9", {0, 4, 7, 2}),
        ("dominant-ninth", degree(9, -1, "alter"), "7b9", {0, 4, 7, 10, 1}),
        ("half-diminished", degree(5, 1, "alter"), "m7", {0, 3, 7, 10}),
        # "add" is relative to a dominant chord: a bare 7 is the minor seventh
        ("major", degree(7, 0, "add"), "7", {0, 4, 7, 10}),
        ("major", degree(7, 1, "add"), "maj7", {0, 4, 7, 11}),
        ("suspended-fourth", degree(7, 0, "add"), "7sus4", {0, 5, 7, 10}),
        ("major", degree(3, 0, "subtract"), "5", {0, 7}),
        ("major", degree(1, 0, "subtract"), "(no1)", {4, 7}),
        ("major", degree(1, 0, "subtract") + degree(9, 0, "add"), "add9(no1)", {4, 7, 2}),
    ],
)
def test_degrees_change_a_kind(kind: str, degrees: str, name: str, classes: set[int]):
    found = read_chord(fromstring(chord("C", kind, degrees)), 0)
    assert (found.kind, set(found.pitch_classes)) == (name, classes)


def test_root_and_bass_with_accidentals():
    root = "<harmony><root><root-step>B</root-step><root-alter>-1</root-alter></root><kind>major</kind>{}</harmony>"
    plain = read_chord(fromstring(root.format("")), 0)
    held = read_chord(fromstring(root.format("<bass><bass-step>D</bass-step></bass>")), 0)
    added = read_chord(fromstring(root.format("<bass><bass-step>C</bass-step></bass>")), 0)
    assert plain.pitch_classes == held.pitch_classes == (10, 2, 5)
    assert added.pitch_classes == (10, 2, 5, 0)


def test_no_chord_and_words_for_a_kind():
    assert read_chord(fromstring("<harmony><kind>none</kind></harmony>"), 7).root is None
    assert read_chord(fromstring("<harmony><kind text='N.C.'>other</kind></harmony>"), 7).root is None
    words = "<harmony><root><root-step>D</root-step></root><kind text='m7b5'>other</kind></harmony>"
    assert read_chord(fromstring(words), 0).kind == "m7b5"


@pytest.mark.parametrize(
    "harmony",
    [
        "<harmony/>",
        chord("H", "major"),
        chord("C", "unheard-of"),
        chord("C", "major", degree(99, 0, "add")),
        chord("C", "major", degree(9, 50, "add")),
        "<harmony><function>IV</function><kind>major</kind></harmony>",
    ],
)
def test_what_is_no_chord_is_refused(harmony: str):
    with pytest.raises(InputError):
        read_chord(fromstring(harmony), 0)


def placed(*bodies: str) -> list[tuple[float, int | None, str]]:
    """Onset in quarters, root and kind of every chord."""
    return [(c.onset / TICKS, c.root, c.kind) for c in one(bars(*bodies)).chords or ()]


def test_unknown_chord_ends_the_one_before_it():
    body = chord("C", "major") + notes("C4 D4") + chord("D", "unheard-of") + notes("E4 F4")
    assert placed(body) == [(0, 0, ""), (2, None, "N")]
    assert "1 chord symbol not understood: no chord there (in bar 1)" in one(bars(body)).remarks


def test_offset_moves_a_chord():
    later = chord("G", "dominant").replace("</harmony>", "<offset>8</offset></harmony>")
    assert placed(chord("C", "major") + later + note("C4", 16)) == [(0, 0, ""), (2, 7, "7")]


def test_chords_written_before_one_long_note_share_its_time():
    body = chord("C", "major") + chord("A", "minor") + note("C4", 8) + chord("G", "dominant") + note("D4", 8)
    assert placed(body) == [(0, 0, ""), (1, 9, "m"), (2, 7, "7")]
    assert "2 chord symbols written in one place shared out evenly (first in bar 1)" in one(bars(body)).remarks


def test_alternate_chords_are_passed_over():
    other = chord("A", "minor").replace("<harmony>", "<harmony type='alternate'>")
    assert placed(chord("C", "major") + other + notes("C4 D4 E4 F4")) == [(0, 0, "")]


def test_too_many_chords(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(limits, "CHORDS_MAX", 1)
    with pytest.raises(LimitError, match="2 chord symbols; the limit is 1"):
        placed(chord("C", "major") + notes("C4 D4") + chord("G", "major") + notes("E4 F4"))
