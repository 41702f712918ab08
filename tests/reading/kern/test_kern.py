"""Kern files read by hand, one trap each. Reference: D. Huron, The Humdrum Toolkit: Reference Manual (1994)."""

from __future__ import annotations

import time
from fractions import Fraction

import pytest
from helpers.heard import beats, heard, survives
from helpers.places import INPUTS

from stylemeter.errors import InputError, LimitError, UnknownNameError
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kern.cells import read_cell
from stylemeter.reading.kern.read import read

FILES = INPUTS / "kern"


def load(name, **options):
    return read((FILES / name).read_bytes(), ReadOptions(**options))


def piece(*rows, head=("*M4/4",)):
    text = "\n".join(["**kern", *head, *rows, "*-"]) + "\n"
    (melody,) = read(text.encode(), ReadOptions())
    return melody


#: (what, rows, heard) in 4/4.
CASES = [
    ("octaves", ["4CC", "4C", "4c", "4cc", "=", "2ccc", "2CCC"], "C2:1 C3:1 C4:1 C5:1 | C6:2 C1:2"),
    ("accidentals are absolute", ["4f#", "4f", "4b-", "4bn", "=", "2f##", "2e--"], "F#4:1 F4:1 A#4:1 B4:1 | G4:2 D4:2"),
    ("lengths", ["4c", "8d", "8e", "4.f", "8g", "=", "0cc", "=", "00d"],
     "C4:1 D4:1/2 E4:1/2 F4:3/2 G4:1/2 | C5:8 | D4:16"),
    ("triplets and others", ["12c", "12d", "12e", "6f", "12g", "20a", "20a", "20a", "20a", "20a", "2r"],
     "C4:1/3 D4:1/3 E4:1/3 F4:2/3 G4:1/3 A4:1/5 A4:1/5 A4:1/5 A4:1/5 A4:1/5"),
    ("rational length", ["3%2c", "3d"], "C4:8/3 D4:4/3"),
    ("double dots", ["4..c", "16d", "2r"], "C4:7/4 D4:1/4"),
    ("rests", ["4c", "4r", "4ryy", "4ggr", "=", "1d"], "C4:1 r:3 | D4:4"),
    ("ties", ["2c", "[2d", "=", "2d_", "2d]", "=", "[2.e", "4f]"], "C4:2 D4:6 | E4:3 F4:1"),
    ("grace notes", ["8qd", "4c", "qee", "4d", "2e"], "C4:1 D4:1 E4:2"),
    ("chords give their top note", ["2c 2e 2g", "2c; 2g'", "=", "1C 1c"], "G4:2 G4:2 | C4:4"),
    ("signs that do not matter", ["{(8.c/L", "16dJk)}", "4ee;^", "4ff~X", "4gT"], "C4:3/4 D4:1/4 E5:1 F5:1 G4:1"),
    ("null cells and comments", ["4c", ".", "!a comment", "4d", "", "!!another", "2e"], "C4:1 D4:1 E4:2"),
]  # fmt: skip


@pytest.mark.parametrize(("rows", "expected"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_read_by_hand(rows, expected):
    assert heard(piece("=1", *rows)) == expected


@pytest.mark.parametrize(
    "cell", ["2.5c", "c", "4", "4h", "4cd", "04c", "4c#-", "99999c", "4%0c", "1025c", "4cccccccc", "xyz"]
)
def test_what_is_no_note_is_refused_with_its_line(cell):
    """music21 reads "2.5c" as a note of three quarters."""
    with pytest.raises(InputError, match=r"line 4: .*(is not a kern note|has no length)"):
        piece("=1", cell)


LENGTHS = ("0", "00", "000", *map(str, range(1, 130)), "160", "192", "256", "512", "1000", "1024")
PITCHES = [letter * count + sign for letter in "abcdefgABCDEFG" for count in (1, 2, 4) for sign in ("", "#", "--", "n")]


def by_music21(cell):
    from music21.humdrum.spineParser import hdStringToNote

    note = hdStringToNote(cell.replace("n", ""))
    return note.pitch.ps, Fraction(note.duration.quarterLength) * TICKS


@pytest.mark.parametrize("dots", ["", ".", ".."])
def test_every_length_is_as_music21_reads_it(dots):
    for length in LENGTHS:
        ours, (_, ticks) = read_cell(f"{length}{dots}c"), by_music21(f"{length}{dots}c")
        assert ours.ticks == max(1, round(ticks)), length
        assert ours.exact == (ticks.denominator == 1), length


def test_every_pitch_is_as_music21_reads_it():
    for pitch in PITCHES:
        assert read_cell(f"4{pitch}").pitches == (by_music21(f"4{pitch}")[0],), pitch


@pytest.mark.parametrize("length", [f"{lower}%{upper}" for lower in range(2, 17) for upper in (1, 2, 3, 5, 7)])
def test_rational_lengths_are_as_music21_reads_them_but_for_their_dots(length):
    """A dot adds half; music21 10.5.1 puts the dot on the note's printed shape and forgets the ratio."""
    ticks = by_music21(f"{length}c")[1]
    assert read_cell(f"{length}c").ticks == round(ticks)
    assert read_cell(f"{length}.c").ticks == round(ticks * Fraction(3, 2))


@pytest.mark.parametrize(
    ("said", "name", "source"),
    [("*G:", "G major", "declared"), ("*g:", "G minor", "declared"), ("*f#:", "F# minor", "declared"),
     ("*B-:", "Bb major", "declared"), ("*d:dor", "D dorian", "declared"), ("*G:mix", "G mixolydian", "declared"),
     ("*k[f#]", "G major", "estimated"), ("*k[b-e-a-]", "C minor", "estimated")],
)  # fmt: skip
def test_keys(said, name, source):
    tune = ["4g", "4b", "4dd", "4g"] if "f#" in said or name[0] == "G" else ["4c", "4e-", "4g", "4cc"]
    key = piece("=1", *tune, head=("*M4/4", said)).key
    assert (key.name, key.source) == (name, source)


@pytest.mark.parametrize("said", ["*M4/0", "*M0/4", "*M4/3", "*MX", "*M999/4"])
def test_a_meter_that_is_none_is_passed_over(said):
    """music21 accepts *M4/0."""
    melody = piece("=1", "4c", "4d", "4e", "4f", head=(said,))
    assert f"{said} is not a meter: passed over" in melody.remarks
    assert str(melody.meters[0]) == "4/4"


def test_meter_change_tempo_and_pickup():
    melody = piece("4g", "=1", "1c", "=2", "*M3/4", "2.d", "=3", "2.e", head=("*M4/4", "*MM120"))
    assert [(m.onset // TICKS, str(m)) for m in melody.meters] == [(0, "4/4"), (5, "3/4")]
    assert beats(melody) == ["0.4", "1.1", "2.1", "3.1"]
    assert melody.tempo == 120


def test_repeats_and_odd_bars():
    melody = piece("=1", "1c", "=2", "2d", "=3", "1e", "4f", "=:|!|:", "1g")
    assert "repeats and endings are read as written, once each" in melody.remarks
    assert "2 bars longer or shorter than the meter says (first in bar 2)" in melody.remarks


class TestSplits:
    """Case 58: a spine that splits and joins; the left one of its columns is the line."""

    def test_the_spine_with_most_notes(self):
        (melody,) = load("splits.krn")
        assert heard(melody) == "G4:1 A4:1 B4:1 | D5:1 C5:2 | B4:3"
        assert (melody.title, melody.part, melody.tempo) == ("The Ferry Bell", "Pipe", 96)
        assert (melody.key.name, str(melody.meters[0])) == ("G major", "3/4")
        assert "several parts: read 2 Pipe (6 notes), not 1 bass; choose with --part" in melody.remarks
        assert "1 note of a second voice left out (in bar 2)" in melody.remarks
        assert "1 grace note left out (in bar 3)" in melody.remarks

    @pytest.mark.parametrize("part", ["1", "bass", " Bass "])
    def test_another_part(self, part):
        (melody,) = load("splits.krn", part=part)
        assert heard(melody) == "G3:3 | D3:3 | G2:3"

    def test_no_such_part(self):
        with pytest.raises(UnknownNameError, match="no part 'oboe'; there is: 1 bass, 2 Pipe"):
            load("splits.krn", part="oboe")

    def test_sixteen_splits(self):
        """They hang music21."""
        start = time.process_time()
        rows = ["\t".join(["*^"] * 2**i) for i in range(6)] + ["\t".join(["1c"] * 64)]
        assert heard(piece("=1", *rows)) == "C4:4"
        with pytest.raises(LimitError, match="more than 128 columns"):
            piece("=1", *["\t".join(["*^"] * 2**i) for i in range(16)])
        assert time.process_time() - start < 30

    def test_exchange_add_and_end(self):
        rows = ("**kern\t**dynam", "*M4/4\t*", "=1\t=1", "*x\t*x", "p\t4c", "*\t*+", "*\t*\t**kern", ".\t4d\t4C")
        text = "\n".join([*rows, "*-\t*\t*", "2e\t4E", ".\t4F", "*-\t*-", ""])
        (melody,) = read(text.encode(), ReadOptions(part="1"))
        assert heard(melody) == "C4:1 D4:1 E4:2"
        (added,) = read(text.encode(), ReadOptions(part="2"))
        assert heard(added) == "r:1 C3:1 E3:1 F3:1"

    def test_exchange_without_a_partner(self):
        with pytest.raises(InputError, match="line 4: an exchange of spines"):
            piece("=1", "*x", "4c")


def test_spaces_for_tabs():
    """Case 57: music21 finds no part in it."""
    (melody,) = load("spaces.krn")
    assert heard(melody) == "E4:1 D4:1 F4:2 | G4:4"
    assert "columns are parted by spaces in place of tabs" in melody.remarks


def test_ragged_rows_are_refused():
    """Case 57: one cell may belong to either column."""
    with pytest.raises(InputError, match="line 5: 1 cells where there are 2 columns; part the cells with tabs"):
        load("ragged.krn")


def test_a_lone_bar_line_holds_for_all():
    text = "**kern\t**kern\n*M2/4\t*M2/4\n=1\n4c\t4e\n4d\t4f\n=2\n2g\t2a\n*-\n"
    (melody,) = read(text.encode(), ReadOptions(part="1"))
    assert heard(melody) == "C4:1 D4:1 | G4:2"


def test_no_terminator():
    (melody,) = load("no_end.krn")
    assert heard(melody) == "C4:1 D4:1 E4:1 F4:1 | G4:2 A4:2"
    assert "no *- at the end: the file may be cut short" in melody.remarks


def test_chord_spine():
    (melody,) = load("chords.krn")
    assert [(c.onset // TICKS, c.root, c.kind, c.pitch_classes) for c in melody.chords] == [
        (0, 5, "", (5, 9, 0)), (2, 0, "7", (0, 4, 7, 10)), (4, 10, "m7", (10, 1, 5, 8)),
    ]  # fmt: skip
    assert "1 chord symbol not understood and left out (in bar 2)" in melody.remarks


def test_chords_where_no_note_starts():
    text = "**kern\t**harte\n*M4/4\t*\n=1\t=1\n2c\tC:maj\n.\tA:min7\n2d\tG:7\n*-\t*-\n"
    (melody,) = read(text.encode(), ReadOptions())
    assert [(c.onset // TICKS, c.kind) for c in melody.chords] == [(0, ""), (2, "7")]
    assert "1 chord where no note starts left out" in melody.remarks


def test_several_pieces():
    melodies = load("two_pieces.krn")
    assert [m.title for m in melodies] == ["First Stone", "Third Stone"]
    assert 'left out: piece at line 8: line 13: \'2.5c\' is not a kern note; write it like "4c", "8.dd#" or "4r"' in (
        melodies[0].remarks
    )


def test_palestrina_and_bach_as_music21_reads_them(music21_corpus):
    """Every spine of some scores without splits; music21 names the right one first."""
    from music21 import converter

    names = ("palestrina/Agnus_II_47", "palestrina/Agnus_03", "palestrina/Credo_30_d", "bach/bwv277")
    paths = [music21_corpus / f"{name}.krn" for name in names]
    for path in paths:
        data = path.read_bytes()
        parts = list(converter.parseData(data.decode("latin-1"), format="humdrum").parts)[::-1]
        for number, part in enumerate(parts, start=1):
            (melody,) = read(data, ReadOptions(part=str(number)))
            notes = part.stripTies().flatten().notes
            assert [(int(n.offset * TICKS), n.pitch.ps, int(n.quarterLength * TICKS)) for n in notes] == list(
                zip(melody.onset.tolist(), melody.pitch.tolist(), melody.duration.tolist(), strict=True)
            ), (path.stem, number)


HEAD = b"**kern\n*M4/4\n"
REFUSED = {
    "empty": (b"", r"no \*\*kern spine"),
    "zeros": (b"\x00" * 10**6, r"no \*\*kern spine"),
    "XML in a .krn": (b"<?xml version='1.0'?><score-partwise/>", r"no \*\*kern spine"),
    "only text": (b"**text\nla\n*-\n", r"no \*\*kern spine"),
    "no notes": (HEAD + b"4r\n*-\n", "no notes"),
    "many notes": (HEAD + b"4c\n" * 30_000, "longer than 20000 notes"),
    "many bars": (HEAD + b"=\n4c\n" * 20_000, "more than 5000 bars"),
    "many lines": (b"\n" * 2**20 + HEAD, "more than 200000 lines"),
    "many columns": (b"\t".join([b"**kern"] * 10**5) + b"\n", "more than 128 columns"),
    "a long chord": (HEAD + b"4c " * 10**6 + b"\n", "not a kern note"),
    "a long note": (HEAD + b"4" + b"c" * 10**6 + b"\n", "not a kern note"),
    "many pieces": (b"**kern\n*-\n" * 20_000, "more than 10000 pieces"),
    "notes after the end": (HEAD + b"4c\n*-\n4d\n", "notes after the end of every spine"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name):
    data, words = REFUSED[name]
    start = time.process_time()
    with pytest.raises(InputError, match=words) as caught:
        read(data, ReadOptions())
    assert time.process_time() - start < 30
    assert len(str(caught.value)) < 300


WORDS = [bytes([sign]) for sign in b"*^vx+-=!.\t\n 0123456789abcgr#-[]_q%LJ:M/"] + [
    b"*^", b"*v\t*v", b"*x", b"*+", b"*-", b"4c", b"\t.", b"=", b"*M4/0", b"2.5c", b"**kern", b"\xff",
]  # fmt: skip


def seeds():
    return [path.read_bytes() for path in sorted(FILES.glob("*.krn"))]


def test_damaged_files():
    good, bad = survives(lambda data: read(data, ReadOptions()), seeds(), WORDS, 60, seed=1)
    assert good > 5
    assert bad > 5


@pytest.mark.slow
def test_many_damaged_files():
    assert sum(survives(lambda data: read(data, ReadOptions()), seeds(), WORDS, 2000, seed=2)) == 2000


def test_a_transposing_instrument_is_no_name():
    # Humdrum: *ITrd1c2 says how the instrument transposes; the pitches of a kern spine are those that sound.
    melody = piece("1d", head=("*ITrd1c2", '*I"Clarinet', "*M4/4"))
    assert (melody.part, heard(melody)) == ("Clarinet", "D4:4")
    assert piece("1d", head=("*ITrd1c2", "*M4/4")).part == "1"


def test_phrases_end_where_the_braces_say():
    """Humdrum Toolkit Reference Manual, **kern: { and } mark the beginning and the end of a phrase."""
    rows = [
        "**kern",
        "*M4/4",
        "=1",
        "{4c",
        "4d",
        "4e}",
        "4r",
        "=2",
        "{4f",
        "[4g",
        "=3",
        "4g]",
        "{2a",
        "4r}",
        "==",
        "*-",
    ]
    (melody,) = read("\n".join(rows).encode(), ReadOptions())
    assert melody.pitch.tolist() == [60, 62, 64, 65, 67, 69]
    assert melody.phrase_ends.tolist() == [False, False, True, False, True, True]
    (melody,) = read("\n".join(row.strip("{}") for row in rows).encode(), ReadOptions())
    assert melody.phrase_ends is None


def test_one_long_bar_is_told_as_it_is():
    rows = ["**kern", "*M2/4", "=1", *["4c"] * 8, "==", "*-"]
    (melody,) = read("\n".join(rows).encode(), ReadOptions())
    assert "no bar lines within it: bars are counted from the beginning" in melody.remarks
