"""ABC files of several tunes and voices: which are read, what selects them, how they are encoded."""

from __future__ import annotations

import pytest
from helpers.heard import heard
from helpers.places import INPUTS

from stylemeter.errors import InputError, UnknownNameError
from stylemeter.reading.abc.read import decode, read, split_tunes
from stylemeter.reading.intake.options import ReadOptions

FILES = INPUTS / "abc"
PLAIN = "X:1\nM:4/4\nL:1/4\nK:C\n"


def tune(body: str, head: str = PLAIN):
    (melody,) = read(f"{head}{body}\n".encode(), ReadOptions())
    return melody


def test_voices():
    text = (FILES / "two_voices.abc").read_bytes()
    (melody,) = read(text, ReadOptions())
    assert melody.part == "X:4 V:tune"
    assert heard(melody) == "D5:1 E5:1 F#5:1 G5:1 | A5:2 F#5:2 | D5:4"
    assert any(r.startswith("several parts: read 1 V:tune") and "not 2 V:low" in r for r in melody.remarks)
    (lower,) = read(text, ReadOptions(part="V:low"))
    assert heard(lower) == "D3:2 A2:2 | D3:4 | D3:4"
    (named,) = read(text, ReadOptions(part="Upper line"))
    assert heard(named) == heard(melody)
    (both,) = read(text, ReadOptions(part="X:4 V:low"))
    assert heard(both) == heard(lower)
    with pytest.raises(
        UnknownNameError, match="no tune or voice 'alto'; choose a tune by its X: number or a voice, there is: 1 V:tune"
    ):
        read(text, ReadOptions(part="alto"))


def test_inline_voices():
    melody = tune("[V:1]CDEF|[V:2]C,4|[V:1]GABc|[V:2]D,4|")
    assert heard(melody) == "C4:1 D4:1 E4:1 F4:1 | G4:1 A4:1 B4:1 C5:1"


def test_one_voice_defined_moves_its_notes():
    header = PLAIN.replace("K:C", "V:1 clef=treble-8\nK:C")
    assert heard(tune("CDEF|", header)) == "C3:1 D3:1 E3:1 F3:1"


class TestCollection:
    """Case 54: many tunes in one file, text between them, one of them broken."""

    data = (FILES / "collection.abc").read_bytes()

    def test_every_tune_is_a_melody(self):
        melodies = read(self.data, ReadOptions())
        assert [(m.part, m.title) for m in melodies] == [
            ("X:1", "Morning at the Kiln"), ("X:2", "The Tin Stair"), ("X:5", "Two Lanterns"), ("X:17", "Oat Loft"),
        ]  # fmt: skip
        assert heard(melodies[0]) == "G4:1/2 A4:1/2 B4:1/2 G4:1/2 | A4:1 D4:1"

    def test_the_broken_one_is_told_on_the_first(self):
        first = read(self.data, ReadOptions())[0]
        assert 'tune X:9 left out: K:Hb is not a key; write it like "K:G", "K:Am", "K:D dorian" or "K:none"' in (
            first.remarks
        )

    def test_the_file_header_holds_for_all(self):
        melodies = {m.part: m for m in read(self.data, ReadOptions())}
        assert str(melodies["X:2"].meters[0]) == "2/4"
        assert str(melodies["X:5"].meters[0]) == "3/4"

    @pytest.mark.parametrize(
        ("part", "title"),
        [("17", "Oat Loft"), ("X:17", "Oat Loft"), ("x:2", "The Tin Stair"), ("two lanterns", "Two Lanterns"),
         ("3", "Two Lanterns"), ("1", "Morning at the Kiln")],
    )  # fmt: skip
    def test_selection(self, part, title):
        (melody,) = read(self.data, ReadOptions(part=part))
        assert melody.title == title

    def test_a_broken_tune_asked_for_is_an_error(self):
        with pytest.raises(InputError, match="tune X:9: K:Hb is not a key"):
            read(self.data, ReadOptions(part="X:9"))

    def test_none_such(self):
        with pytest.raises(UnknownNameError, match=r"no tune or voice 'X:99'; choose a tune by its X: number$"):
            read(self.data, ReadOptions(part="X:99"))

    def test_tunes_with_their_lines(self):
        tunes = split_tunes(decode(self.data))
        assert [(t.number, t.position, t.line) for t in tunes] == [
            ("1", 1, 7), ("2", 2, 14), ("5", 3, 22), ("9", 4, 31), ("17", 5, 38),
        ]  # fmt: skip
        assert tunes[0].preamble == ("%abc-2.1", "%%copyright free to copy, CC0", "M:2/4", "L:1/8")
        assert tunes[2].header == (
            "X: 5",
            "T:Two Lanterns",
            "T:Both of them",
            "M:3/4",
            "Z:made up for tests, CC0",
            "K:D",
        )
        assert tunes[2].body == ("d2 e2 f2|g2 f2 e2|", "d6|]")
        assert tunes[2].text == "\n".join((*tunes[2].header, *tunes[2].body)) + "\n"
        assert tunes[2].label == "X:5"


def test_a_lone_tune_needs_no_number():
    melody = tune("CDEF|", "T:Alone\nM:4/4\nL:1/4\nK:C\n")
    assert (melody.title, melody.part) == ("Alone", "1")


def test_no_key_line():
    """Case 55: neither K: nor L:."""
    melody = tune("CDEF GABc|", "X:1\nM:4/4\n")
    assert heard(melody).startswith("C4:1/2 D4:1/2")
    assert "no K: line: read without a signature" in melody.remarks
    assert melody.key.source == "estimated"


@pytest.mark.parametrize(
    ("name", "title"),
    [("latin1.abc", "Café près du canal"), ("utf16.abc", "Café près du canal"), ("mac.abc", "Old line ends")],
)
def test_encodings(name, title):
    (melody,) = read((FILES / name).read_bytes(), ReadOptions())
    assert melody.title == title
    assert heard(melody) == "C4:1 D4:1 E4:1 F4:1"


@pytest.mark.parametrize(
    ("after", "told"),
    [
        ("DEF GAB|ABc d3|", True),
        ('"G"d3/2e/2 (3fed c2- | c4 z4 :|', True),
        ("%%text Notes of the collector:\n\nDEF GAB|", True),
        ("Played at the hall | every Friday, as a round.", False),
        ("no bar line here: abc", False),
        ("T:a field, later | than it should", False),
        ("", False),
    ],
)
def test_music_after_an_empty_line_is_told(after, told):
    # ABC 2.1, section 2.2: a tune is terminated by an empty line or the end of the file
    melody = tune(f"DEFG ABcd|\n\n{after}", "X:1\nM:4/4\nL:1/8\nK:D\n")
    assert len(melody) == 8
    assert ("music after an empty line is left out: an empty line ends a tune of ABC" in melody.remarks) is told


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("D octave=9", "octave=9 is further than is followed: 5 taken"),
        ("D transpose=-999", "transpose=-999 is further than is followed: -60 taken"),
        ("D transpose=down", "transpose=down is no whole number: passed over"),
    ],
)
def test_moves_that_are_not_followed_are_told_once(key, told):
    head = PLAIN.replace("K:C", f"K:{key}")
    assert tune("DEFG|", head).remarks.count(told) == 1
    voices = tune("[V:1]DEFG|\n[V:1]DEFG|", PLAIN.replace("K:C\n", f"V:1 {key.partition(' ')[2]}\nK:D\n"))
    assert voices.remarks.count(told) == 1
    assert told not in tune("DEFG|").remarks


def test_phrase_marks_part_phrases_and_slurs_where_they_are_said_to():
    """ABC standard 2.1, 4.14: !shortphrase! and its like are phrase marks; that they stand on the last note is from
    memory."""
    text = b"X:1\nL:1/4\nM:4/4\nK:C\n(CD) !shortphrase!EF|(GABc)|\n"
    (melody,) = read(text, ReadOptions())
    assert melody.phrase_ends.tolist() == [False, False, True, False, False, False, False, True]
    (melody,) = read(text.replace(b"!shortphrase!", b""), ReadOptions(phrase_slurs=True))
    assert melody.phrase_ends.tolist() == [False, True, False, False, False, False, False, True]
    (melody,) = read(text.replace(b"!shortphrase!", b""), ReadOptions())
    assert melody.phrase_ends is None
