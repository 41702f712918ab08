"""ABC tunes read by hand, one trap each.

Reference: the ABC music standard 2.1 (December 2011), its sections named beside.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from helpers.heard import beats, heard
from helpers.places import INPUTS

from stylemeter.errors import InputError
from stylemeter.music.meter import TICKS
from stylemeter.reading.abc.fields import read_key, signature
from stylemeter.reading.abc.read import read, read_tune, split_tunes
from stylemeter.reading.intake.options import ReadOptions

FILES = INPUTS / "abc"
PLAIN = "X:1\nT:Case\nM:4/4\nL:1/4\nK:C\n"


def tune(body: str, head: str = PLAIN):
    (melody,) = read(f"{head}{body}\n".encode(), ReadOptions())
    return melody


def bars(body: str, head: str = PLAIN) -> str:
    return heard(tune(body, head))


#: (what, body, heard): in 4/4, unit a quarter, C major.
CASES = [
    ("octaves", "C,, C, C c c' c''|", "C2:1 C3:1 C4:1 C5:1 | C6:1 C7:1"),
    ("lengths 4.3", "C2 C/ C// C/4 C3/2 C3/4 C3/|", "C4:2 C4:1/2 C4:1/4 C4:1/4 C4:3/2 | C4:3/4 C4:3/2"),
    ("length of nothing", "C/0 D0 E2|", "C4:1 D4:1 E4:2"),
    ("accidental to the bar's end 4.2", "^F F =F F|F2 _B, B,|", "F#4:1 F#4:1 F4:1 F4:1 | F4:2 A#3:1 A#3:1"),
    ("in every octave 11.3", "^F f F, F|", "F#4:1 F#5:1 F#3:1 F#4:1"),
    ("double accidentals carry", "^^F F __B B|", "G4:1 G4:1 A4:1 A4:1"),
    ("into a chord and out of it", "^F [FA] [_BD] B|", "F#4:1 A4:1 A#4:1 A#4:1"),
    ("of a grace note", "{^f}g2 f2|f4|", "G5:2 F#5:2 | F5:4"),
    ("broken rhythm 4.4", "C>D E<F|C>>D E<<<F|", "C4:3/2 D4:1/2 E4:1/2 F4:3/2 | C4:7/4 D4:1/4 E4:1/8 F4:15/8"),
    (
        "broken with spaces, grace notes, slurs",
        "C > D E>{f}F|(C>)D (E<(F))|",
        "C4:3/2 D4:1/2 E4:3/2 F4:1/2 | C4:3/2 D4:1/2 E4:1/2 F4:3/2",
    ),
    ("broken over a tie", "C->C E2|", "C4:2 E4:2"),
    ("broken in a chord and a rest", "[CE]>z G>[GB]|", "E4:3/2 r:1/2 G4:3/2 B4:1/2"),
    ("rests 4.5", "C z D x|z2 z/ x/ C|", "C4:1 r:1 D4:1 r:4 | C4:1"),
    ("bars of rest", "C4|Z2|D4|Z|E4|", "C4:4 r:8 | D4:4 r:4 | E4:4"),
    ("Z among notes is a plain rest", "C2 Z D|E3 Z|Z E3|F4|", "C4:2 r:1 D4:1 | E4:3 r:2 | E4:3 | F4:4"),
    ("ties 4.11", "C2-C2|D4-|D2-D2|", "C4:4 | D4:8"),
    ("tie keeps its accidental over the bar", "^F4-|F2 F2|", "F#4:6 | F4:2"),
    ("tie apart from its note", "C2 -C2|(D2)-D2|", "C4:4 | D4:4"),
    ("a slur from grace notes is no tie", "C2{d}-C2|C2-{d}C2|", "C4:2 C4:2 | C4:4"),
    ("tie between unlike pitches is none", "C2-D2|E2-z2|", "C4:2 D4:2 | E4:2"),
    ("triplet 4.13", "(3CDE (3:2:3FGA|(3C2D2E2|", "C4:2/3 D4:2/3 E4:2/3 F4:2/3 G4:2/3 A4:2/3 | C4:4/3 D4:4/3 E4:4/3"),
    ("grace notes do not count in a tuplet", "(3C{d}DE C2|", "C4:2/3 D4:2/3 E4:2/3 C4:2"),
    ("rests and chords do", "(3Cz[EG] C2|", "C4:2/3 r:2/3 G4:2/3 C4:2"),
    ("quadruplet, duplet", "(4CDEF z|(2CD z|", "C4:3/4 D4:3/4 E4:3/4 F4:3/4 r:1 | C4:3/2 D4:3/2"),
    ("tuplet p::r and in a slur", "((3::2CD) E4/3 z|", "C4:2/3 D4:2/3 E4:4/3"),
    ("tuplet of ten", "(10:8:10C/D/C/D/C/D/C/D/C/D/|", " ".join(["C4:2/5 D4:2/5"] * 5)),
    ("chords 4.17", "[CEG]2 [c2e2]|[CE]/ [C/E/] [C/G/]2 z2|", "G4:2 E5:2 | E4:1/2 E4:1/2 G4:1"),
    ("ties in a chord", "[CE]2-[CE]2|[CE-]2 [CE]2|", "E4:4 | E4:4"),
    ("decorations 4.14", "!f!C !fermata!D !crescendo(! E !crescendo)!F|", "C4:1 D4:1 E4:1 F4:1"),
    ("old decorations", "+fermata+C +trill+D +f+E +segno+ F|", "C4:1 D4:1 E4:1 F4:1"),
    ("old chords", "+CEG+ +ceg+ z2|", "G4:1 G5:1"),
    ("letters as decorations", "~C HD .E Tu F|vC LD kE SF|", "C4:1 D4:1 E4:1 F4:1 | C4:1 D4:1 E4:1 F4:1"),
    ("annotations and fingerings 4.19", '"^slow"C "4"D "_p"E "<("F|"D.C."C4|', "C4:1 D4:1 E4:1 F4:1 | C4:4"),
    ("old line breaks", "C D!E F!|", "C4:1 D4:1 E4:1 F4:1"),
    ("spacers, beam breaks, line ends", "C y D `E\\\nF|", "C4:1 D4:1 E4:1 F4:1"),
    ("comments", "C D % C D\nE F|%|G G\n%%newpage\nG4|", "C4:1 D4:1 E4:1 F4:1 | G4:4"),
    ("lyrics and notes are no music", "C4|\nw:Abc def\nW:Gab\nN:cdef\nD4|", "C4:4 | D4:4"),
    ("second layer", "C2 D2 & E4|F4|", "C4:2 D4:2 | F4:4"),
    ("quarter tones", "^/C _/D C D|", "C4+:1 C#4+:1 C4+:1 C#4+:1"),
    ("inline length", "C2 [L:1/8] C2 C2|[L:1/4]D4|", "C4:2 C4:1 C4:1 | D4:4"),
    ("inline meter", "C4|[M:3/4]C3|D3|", "C4:4 | C4:3 | D4:3"),
    ("inline key", "F4|[K:D]F2 C2|[K:Bb]B2 E2|", "F4:4 | F#4:2 C#4:2 | A#4:2 D#4:2"),
    ("key on its own line", "F4|\nK:G\nF4|", "F4:4 | F#4:4"),
    ("bar signs 4.8", "|:C4:|:D4::E4|]F4||G4[|A4|1B4:|2c4|]", "C4:4 | D4:4 | E4:4 | F4:4 | G4:4 | A4:4 | B4:4 | C5:4"),
    ("endings 4.9", "C4|[1D4:|[2E4|]F4|1,3 G4:|2 A4||", "C4:4 | D4:4 | E4:4 | F4:4 | G4:4 | A4:4"),
    ("chord after a bar line", "C4|[DF]4|[1 [EG]4:|", "C4:4 | F4:4 | G4:4"),
    ("note before a repeat", "C3 G:|D3 G::E3 A:|2 F4|", "C4:3 G4:1 | D4:3 G4:1 | E4:3 A4:1 | F4:4"),
]


@pytest.mark.parametrize(("body", "expected"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_read_by_hand(body, expected):
    assert bars(body) == expected


def head(key="C", meter="4/4", unit="1/4", more=""):
    lines = ["X:1", f"M:{meter}" if meter else "", f"L:{unit}" if unit else "", more, f"K:{key}"]
    return "\n".join(line for line in lines if line) + "\n"


#: (field, tonic and mode, what F G A B c sounds like): standard 2.1, section 3.1.14.
KEYS = [
    ("C", "C major", "F4 G4 A4 B4 C5"),
    ("Am", "A minor", "F4 G4 A4 B4 C5"),
    ("A minor", "A minor", "F4 G4 A4 B4 C5"),
    ("AM", "A minor", "F4 G4 A4 B4 C5"),  # capitals don't matter
    ("Gmaj", "G major", "F#4 G4 A4 B4 C5"),
    ("D", "D major", "F#4 G4 A4 B4 C#5"),
    ("Ddor", "D dorian", "F4 G4 A4 B4 C5"),
    ("A Dorian % comment", "A dorian", "F#4 G4 A4 B4 C5"),
    ("DMix", "D mixolydian", "F#4 G4 A4 B4 C5"),
    ("F#MIXOLYDIAN", "F# mixolydian", "F#4 G#4 A#4 B4 C#5"),
    ("Eb Lydian", "Eb lydian", "F4 G4 A4 A#4 C5"),
    ("Bphr", "B phrygian", "F#4 G4 A4 B4 C5"),
    ("Bloc", "B locrian", "F4 G4 A4 B4 C5"),
    ("Gion", "G major", "F#4 G4 A4 B4 C5"),
    ("Eaeo", "E minor", "F#4 G4 A4 B4 C5"),
    ("D exp _b", "D (mode not known)", "F4 G4 A4 A#4 C5"),
    ("D =c", "D major", "F#4 G4 A4 B4 C5"),
    ("Dphr ^f", "D phrygian", "F#4 G4 A4 A#4 C5"),
    ("C clef=bass", "C major", "F4 G4 A4 B4 C5"),  # a clef does not move the pitch
    ("Em bass", "E minor", "F#4 G4 A4 B4 C5"),
    ("G octave=-1", "G major", "F#3 G3 A3 B3 C4"),
    ("C treble-8", "C major", "F3 G3 A3 B3 C4"),
    ("C clef=treble+8", "C major", "F5 G5 A5 B5 C6"),
    ("C transpose=-2", "Bb major", "D#4 F4 G4 A4 A#4"),
]


@pytest.mark.parametrize(("field", "name", "pitches"), KEYS, ids=[k[0] for k in KEYS])
def test_keys(field, name, pitches):
    melody = tune("F G A B|c4|", head(field))
    assert melody.key.name == name
    assert melody.key.source == "declared"
    assert " ".join(word.partition(":")[0] for word in heard(melody).replace("| ", "").split()) == pitches


@pytest.mark.parametrize(
    ("field", "pitches"),
    [("none", "F4 G4 A4 B4 C5"), ("", "F4 G4 A4 B4 C5"), ("HP", "F#4 G4 A4 B4 C#5"), ("Hp", "F#4 G4 A4 B4 C#5"),
     ("clef=alto", "F4 G4 A4 B4 C5")],
)  # fmt: skip
def test_keys_without_a_tonic_are_estimated(field, pitches):
    melody = tune("F G A B|c4|", head(field))
    assert melody.key.source == "estimated"
    assert [word.partition(":")[0] for word in heard(melody).replace("| ", "").split()] == pitches.split()


def test_pipe_key_is_one_of_its_signature():
    assert tune("A c e c|d f a f|A4|", head("HP")).key.name in ("D major", "B minor")


def test_signatures_agree_with_music21():
    """Every tonic and mode against music21's key objects (the library's own theory, not its ABC reader)."""
    from music21.key import Key

    modes = {"": "major", "m": "minor", "dor": "dorian", "phr": "phrygian", "lyd": "lydian", "mix": "mixolydian"}
    for letter in "CDEFGAB":
        for sign in ("", "#", "b"):
            for short, mode in modes.items():
                theirs = Key(letter + sign.replace("b", "-"), mode)
                ours = read_key(letter + sign + short)
                assert ours.signature == signature(theirs.sharps), (letter, sign, mode)
                assert ours.tonic == theirs.tonic.pitchClass


@pytest.mark.parametrize("field", ["H", "Es", "Bn", "X", "Cmoll2", "4"])
def test_a_key_that_is_none_is_refused(field):
    with pytest.raises(InputError, match=r"tune X:1: K:.* is not a key; write it like"):
        tune("CDEF|", head(field))


def test_meters_and_unit_lengths():
    """3.1.6, 3.1.7: without L: an eighth from 3/4 on, else a sixteenth."""
    assert bars("CDE|", head(meter="3/4", unit="")) == "C4:1/2 D4:1/2 E4:1/2"
    assert bars("CD|", head(meter="2/4", unit="")) == "C4:1/4 D4:1/4"
    assert bars("CD|", head(meter="", unit="")) == "C4:1/2 D4:1/2"
    for said, meter in (("C", "4/4"), ("C|", "2/2"), ("(2+3)/8", "5/8"), ("2+3/8", "5/8"), ("FREI6/8", "6/8")):
        melody = tune("C4|", head(meter=said))
        assert str(melody.meters[0]) == meter
        assert any("read as" in remark for remark in melody.remarks) == said.startswith("FREI")


@pytest.mark.parametrize("said", ["4/0", "0/4", "4/3", "4", "xyz", "999/4", "4/128"])
def test_a_meter_that_is_none_is_passed_over(said):
    melody = tune("CDEF|", head(meter=said))
    assert f"M:{said} is not a meter: passed over" in melody.remarks
    assert "no meter given: 4/4 assumed; say it with --meter" in melody.remarks


def test_no_meter():
    for said in ("none", ""):
        melody = tune("CDEF|", head(meter=said))
        assert any(remark.startswith("no meter given") for remark in melody.remarks)
        assert not any("longer or shorter" in remark for remark in melody.remarks)


@pytest.mark.parametrize(
    ("said", "quarters"),
    [("1/4=120", 120), ("3/8=60", 90), ('"Allegro" 1/4=100', 100), ("1/8=100", 50), ("1/4 3/8=40", 100), ("C3=40", 120),
     ("C=90", 90), ("120", 120), ("1/4=0", None), ('"Slow"', None), ("1/0=10", 40), ("999999", None)],
)  # fmt: skip
def test_tempo_in_quarters(said, quarters):
    """3.1.8 and, for the old forms (unit lengths a minute), the standard 1.6. Here the unit is a quarter."""
    assert tune("CDEF|", head(more=f"Q:{said}")).tempo == quarters


def test_pickup_lies_at_the_end_of_its_bar():
    melody = tune("G|CDEF|GABc|d3:|")
    assert beats(melody)[:3] == ["0.4", "1.1", "1.2"]
    assert not any("longer or shorter" in remark for remark in melody.remarks)


def test_short_bars_round_a_repeat_sign_are_one():
    """The second part's pickup is the fourth beat of the bar it completes."""
    melody = tune("G|CDEF|G3:||:A|B4|c3:|")
    assert beats(melody) == ["0.4", "1.1", "1.2", "1.3", "1.4", "2.1", "2.4", "3.1", "4.1"]
    assert melody.remarks == (
        "repeats and endings are read as written, once each",
        *[remark for remark in melody.remarks if "key" in remark],
    )


def test_overfull_bars_keep_the_tunes_own_meter():
    """music21 splits such a bar and writes meters of its own into it."""
    melody = tune("CDEFG|CDEF|CDEFGABc|")
    assert [str(meter) for meter in melody.meters] == ["4/4"]
    assert beats(melody)[3:6] == ["1.4", "1.1", "2.1"]
    assert "2 bars longer or shorter than the meter says (first in bar 1)" in melody.remarks


def test_meter_change_is_the_tunes_own():
    melody = tune("C4|\nM:3/4\nC3|D3|[M:6/8]C3|")
    assert [(meter.onset // TICKS, str(meter)) for meter in melody.meters] == [(0, "4/4"), (4, "3/4"), (10, "6/8")]


def test_no_bar_lines_at_all():
    melody = tune("CDEFGABc")
    assert beats(melody)[4] == "2.1"
    assert "no bar lines within it: bars are counted from the beginning" in melody.remarks


def test_bars_of_rest_keep_their_numbers():
    melody = tune("C4|Z3|D4|")
    assert melody.bar.tolist() == [1, 5]
    assert len(melody.bars.line) == 5


def test_quintuplet_takes_three_in_compound_meters():
    assert bars("(5CDEFG|", head(meter="6/8", unit="1/8")).startswith("C4:3/10")
    assert bars("(5CDEFG|", head(meter="4/4", unit="1/8")).startswith("C4:1/5")


@pytest.mark.parametrize(
    ("bar", "first"),
    [("(5CDEFG C4", "2/5"), ("(9CDEFGABcd", "4/9"), ("(6CDEFGA C4", "1/3"), ("(7CDEFGAB C4", "2/7")],
)
def test_tuplets_take_the_time_that_fills_the_bar(bar, first):
    """By the standard two (in compound meters three); many transcribers mean the next plain number."""
    melody = tune(f"{bar}|C8|", head(unit="1/8"))
    assert heard(melody).startswith(f"C4:{first} ")
    assert any(remark.startswith("tuplets of 5, 6, 7 or 9") for remark in melody.remarks)
    assert not any("longer or shorter" in remark for remark in melody.remarks)


def test_counts_are_told_with_their_first_bar():
    said = tune("C4|{gab}C2 {d}[EG]2|C/0 D2-E|^ z2 (0CD|").remarks
    assert "4 grace notes left out (first in bar 2)" in said
    assert "1 lower note of double stops or chords left out: the top note is kept" in said
    assert "1 zero length read as 1 (in bar 3)" in said
    assert "1 tie to another pitch or a rest left out (in bar 3)" in said
    assert "1 sign without a note left out (in bar 4)" in said
    assert "1 tuplet not understood, read as plain notes (in bar 4)" in said


def test_chord_symbols():
    melody = tune('"Am7"C2 "D7"D2|"N.C."E2 "(G)"z2|"Dm7(b5)/F"F4|"4"G4|')
    assert [(Fraction(c.onset, TICKS), c.root, c.kind) for c in melody.chords] == [
        (0, 9, "m7"), (2, 2, "7"), (4, None, "N"), (6, 7, ""), (8, 2, "m7b5"),
    ]  # fmt: skip


def test_quoted_words_are_no_chords():
    melody = tune('"A"C4|C4|C4|C4|C4|"B"D4|D4|D4|"^Fine"D4|"_D7"D4|"Segno"D4|"Gm99"D4|')
    assert melody.chords is None
    assert "single letters over few bars are taken for names of sections, not chords" in melody.remarks
    assert "1 chord symbol not understood and left out (in bar 12)" in melody.remarks


def test_sparse_chords_with_a_quality_stay():
    assert len(tune('"A7"C4|' + "C4|" * 20).chords) == 1


def test_accidentals_as_a_directive_says():
    """11.3: octave: in its own octave only; not: for its note only."""
    assert bars("^F f F|", head(more="%%propagate-accidentals octave")) == "F#4:1 F5:1 F#4:1"
    assert bars("^F f F|", head(more="I:propagate-accidentals not")) == "F#4:1 F5:1 F4:1"


def test_key_change_is_followed_and_told():
    melody = tune("C4|[K:D]F4|")
    assert melody.key.name == "C major"
    assert "1 key change followed; the first key is the one declared (in bar 2)" in melody.remarks
    assert tune("[K:D]F4|F4|", head("none")).key.name == "D major"


def test_an_empty_line_ends_the_tune():
    melody = tune("CDEF|\n\nAbc def gab|\n")
    assert heard(melody) == "C4:1 D4:1 E4:1 F4:1"


def test_an_empty_line_before_the_key_does_not():
    assert bars("CDEF|", "X:1\nT:Case\n\nM:4/4\nL:1/4\n\nK:D\n") == "C#4:1 D4:1 E4:1 F#4:1"


def test_case_56():
    """`C/0`, `>>`, `+deco+`, bad bars, all at once."""
    melody = tune("C/0 C>>D +fermata+E|||:|F]G:||::|:|A !x B|[|C [ D|")
    assert heard(melody) == "C4:1 C4:7/4 D4:1/4 E4:1 | F4:1 G4:1 | A4:1 r:1 B4:1 | C4:1 D4:1"


def test_source_technique_and_start():
    melody = tune("CDEF|")
    assert (melody.source, melody.technique, melody.onset_seconds) == ("abc", None, None)


def test_read_tune_by_itself():
    (only,) = split_tunes(PLAIN + "CDEF|")
    assert heard(read_tune(only)) == "C4:1 D4:1 E4:1 F4:1"
    with pytest.raises(InputError, match="no notes in it"):
        read_tune(split_tunes(PLAIN + "z4|z4|")[0])


@pytest.mark.parametrize(
    "body",
    ["C4|[K:D]D4|", "C4|\nK:D\nD4|", "C4|[K:D treble-8]D4|"],
)
def test_an_octave_clef_holds_past_a_change_of_key(body):
    # 4.6: the clef is optional in K:, and one left out is no change of clef.
    assert bars(body, PLAIN.replace("K:C", "K:C clef=treble-8")) == "C3:4 | D3:4"


def test_a_clef_of_its_own_changes_the_octave_and_nothing_else():
    assert bars("F4|[K:bass]F4|[K:clef=treble+8]F4|", PLAIN.replace("K:C", "K:G treble-8")) == "F#3:4 | F#4:4 | F#5:4"
    assert bars("F4|[K:none]F4|", PLAIN.replace("K:C", "K:G")) == "F#4:4 | F4:4"


def test_a_clef_named_by_key_and_voice_moves_once():
    head = "X:1\nM:4/4\nL:1/4\nV:1 clef=treble-8\nK:C treble-8\n"
    assert bars("V:1\nC4|", head) == "C3:4"
    assert bars("V:1 clef=treble\nC4|\nV:1 clef=treble-8\nD4|", head) == "C4:4 | D3:4"


def test_key_and_chords_of_a_transposing_part_sound_with_its_notes():
    # 4.6: transpose= moves the notes played; a part for B flat trumpet in D sounds in C.
    for head in ("X:1\nM:4/4\nL:1/4\nK:D transpose=-2\n", "X:1\nM:4/4\nL:1/4\nK:D\nV:1 transpose=-2\n"):
        melody = tune('"D"D2 "A7"E2|[K:G]"G"G4|', head)
        assert heard(melody) == "C4:2 D4:2 | F4:4"
        assert melody.key.name == "C major"
        assert [(c.root, c.pitch_classes) for c in melody.chords] == [
            (0, (0, 4, 7)),
            (7, (7, 11, 2, 5)),
            (5, (5, 9, 0)),
        ]


def test_a_block_of_text_is_no_music():
    # Section 11, text directives: what stands between %%begintext and %%endtext is printed, not played.
    assert bars("C4|\n%%begintext\nABC DEF\n%%endtext\nD4|") == "C4:4 | D4:4"
    melody = tune("C4|\n%%beginps\nABC DEF\n%%endtext\nD4|")
    assert heard(melody) == "C4:4"
    assert "%%beginps without %%endps: all that follows it is left out" in melody.remarks


@pytest.mark.parametrize("body", ["[CEG2 D2|", '"Am A2 D2|', "{gC2 D2|"])
def test_a_bracket_or_quotation_never_closed_is_told(body):
    assert any("1 bracket or quotation mark never closed" in remark for remark in tune(body).remarks)


def test_a_dotted_bar_line_is_no_repeat():
    assert not any("repeats" in remark for remark in tune("C4|D2.|E2|F4|").remarks)


def test_an_explicit_signature_without_a_mode_tells_no_mode():
    melody = tune("F4|", PLAIN.replace("K:C", "K:D exp ^f"))
    assert (melody.key.tonic, melody.key.mode) == (2, None)
    assert "the signature is changed by signs in K:; no mode is told" in melody.remarks


def test_texts_and_decorations_inside_a_chord_are_no_notes():
    # 4.12, 4.17: a decoration stands before the note it belongs to, in a chord as elsewhere.
    melody = tune('[!fermata!C!3!E]2 ["Am"CE]2|{!f!^g}C4|')
    assert heard(melody) == "E4:2 E4:2 | C4:4"
    assert [(c.onset // TICKS, c.root, c.kind) for c in melody.chords] == [(2, 9, "m")]
    assert "1 grace note left out (in bar 2)" in melody.remarks


def test_an_alternate_chord_is_printed_and_not_played():
    # 4.18: "G(Em)", the one in brackets for print only.
    chords = tune('"G(Em)"G2 "C7(b9)"C2|"Am7 (D)"A4|').chords
    assert [(c.root, c.kind) for c in chords][::2] == [(7, ""), (9, "m7")]
    assert 1 in chords[1].pitch_classes


def test_an_ending_named_by_a_text_is_whole():
    assert not any("never closed" in remark for remark in tune('C4|["last"D4|]').remarks)
