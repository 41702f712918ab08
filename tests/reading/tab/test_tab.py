"""Text tablature: strings, signs, rhythm letters, spacing, and what isn't tablature. All licks are invented."""

import math
import random
import re
from collections import Counter
from fractions import Fraction

import numpy as np
import pytest
from helpers.places import ROOT

from stylemeter.errors import InputError
from stylemeter.music.melody import Technique
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.tab.read import read
from stylemeter.reading.tab.spacing import Spaced, by_spacing
from stylemeter.reading.tab.strokes import NODES, columns_of
from stylemeter.reading.tab.systems import TabBar

INPUTS = ROOT / "tests" / "inputs" / "tab"


def tab(text, **options):
    [melody] = read(text if isinstance(text, bytes) else text.encode(), ReadOptions(**options))
    return melody


def system(*lines, labels="eBGDAE", above="", below=""):
    """A system with these top lines, the strings below left empty."""
    empty = re.sub(r"[^|]", "-", lines[0])
    full = [*lines, *[empty] * (len(labels) - len(lines))]
    rows = [f"{label}|{line}|" for label, line in zip(labels, full, strict=True)]
    return "\n".join([above, *rows, below]) + "\n"


def quarters(array):
    return [Fraction(int(ticks), TICKS) for ticks in array]


def strokes(text):
    """(semitones above the open string, technique) of one string's strokes."""
    found = Counter()
    columns = columns_of(TabBar((text,), 0), found)
    return [(s.rise, s.technique) for c in columns for s in c.strokes if not s.held], +found


# whole files ----------------------------------------------------------------------------------------------------------


def test_letters_capo_signs_and_words():
    melody = tab((INPUTS / "lettered.tab").read_bytes())
    assert melody.pitch.tolist() == [66, 64, 66, 69, 68, 66, 68, 66, 64, 64, 66, 64, 64, 42]
    thirds = [Fraction(13, 3), Fraction(14, 3)]
    assert quarters(melody.onset) == [0, 1, Fraction(3, 2), 2, 3, 4, *thirds, 6, 8, Fraction(19, 2), 10, 11, 12]
    third = Fraction(1, 3)
    half, dotted = Fraction(1, 2), Fraction(3, 2)
    assert quarters(melody.duration) == [1, half, half, 1, 1, third, third, third, 2, dotted, half, 1, 1, 4]
    marks = [Technique(bits).words for bits in melody.technique.tolist()]
    assert marks[4:11] == [["bend"], [], ["hammer-on"], ["pull-off"], ["vibrato"], [], ["slide"]]
    assert marks[12] == ["harmonic"]
    assert melody.bar.tolist() == [1] * 5 + [2] * 4 + [3] * 4 + [4]
    assert (melody.title, melody.tempo, melody.key.name) == ("Invented lick in letters", 104, "F# minor")
    assert melody.guessed_share == 0
    assert melody.remarks == (
        "capo on fret 2: frets counted from it",
        "chord names left out: with a capo they may be shapes or sounds; give them with --chords",
        "1 dead note left out",
    )


def test_spacing_dropped_tuning_two_digits_and_words_between():
    melody = tab((INPUTS / "spaced.tab").read_bytes())
    assert melody.pitch.tolist() == [55, 57, 55, 54, 52, 50, 52, 54, 60, 62, 60, 57, 69, 71, 72, 67, 67]
    assert quarters(melody.onset) == [*(Fraction(i, 2) for i in range(8)), *range(4, 13)]
    assert melody.duration is None
    assert melody.guessed_share == 1
    assert melody.remarks[0].startswith("rhythm guessed from the spacing")
    # The low D under two notes: 38 where a standard tuning has 40.
    assert "2 lower notes of double stops or chords left out: the top note is kept" in melody.remarks


# signs ----------------------------------------------------------------------------------------------------------------

T = Technique
NONE = Technique(0)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("-5h7-", [(5, NONE), (7, T.HAMMER_ON)]),
        ("-7p5-", [(7, NONE), (5, T.PULL_OFF)]),
        ("-5h7p5-", [(5, NONE), (7, T.HAMMER_ON), (5, T.PULL_OFF)]),
        ("-5/7\\5-", [(5, NONE), (7, T.SLIDE), (5, T.SLIDE)]),
        ("-5s7-", [(5, NONE), (7, T.SLIDE)]),
        ("-/7-", [(7, T.SLIDE)]),
        ("-7\\---5-", [(7, T.SLIDE), (5, NONE)]),
        ("-7b9-", [(9, T.BEND)]),
        ("-7b(9)-", [(9, T.BEND)]),
        ("-7b9r7-", [(9, T.BEND), (7, T.RELEASE)]),
        ("-7b---", [(9, T.BEND)]),
        ("-7b½-", [(8, T.BEND)]),
        ("-7b1/2-", [(8, T.BEND)]),
        ("-7b1/4-", [(7.5, T.BEND)]),
        ("-7bfull-", [(9, T.BEND)]),
        ("-7b9r-", [(9, T.BEND | T.RELEASE)]),
        ("-12~-", [(12, T.VIBRATO)]),
        ("-12tr-", [(12, T.TRILL)]),
        ("-t12p5-", [(12, T.HAMMER_ON), (5, T.PULL_OFF)]),
        ("-<12>-[7]-", [(12, T.HARMONIC), (19, T.HARMONIC)]),
        ("-x-X-5-", [(None, NONE), (None, NONE), (5, NONE)]),
        ("-5--(5)-", [(5, NONE)]),
        ("-5--(7)-", [(5, NONE), (7, NONE)]),
        ("-10-12-", [(10, NONE), (12, NONE)]),
        ("-57-", [(5, NONE), (7, NONE)]),
        ("-1012-", [(10, NONE), (12, NONE)]),
        ("-pb7-", [(9, T.PRE_BEND)]),
        ("-7pb9-", [(9, T.PRE_BEND)]),
        ("-7pb(9)r7-", [(9, T.PRE_BEND), (7, T.RELEASE)]),
        ("-7pb5-", [(7, T(0)), (5, T.PRE_BEND)]),
        ("-7tr(8)-", [(7, T.TRILL)]),
    ],
)  # fmt: skip
def test_signs(text, expected):
    assert strokes(text)[0] == expected


@pytest.mark.parametrize(
    ("text", "counted"),
    [
        ("-x-5-", {"dead": 1}),
        ("-7b--5b-", {"bend": 2}),
        ("-57-", {"digits": 1}),
        ("-<8>-", {"harmonic": 1}),
        ("-5-", {}),
    ],
)
def test_guesses_are_counted(text, counted):
    assert dict(strokes(text)[1]) == counted


def test_harmonics_lie_where_the_string_divides():
    """Equal temperament: fret f stops a string at 2^(-f/12) of its length; a node of partial n lies at a k/n of it."""
    for fret, semitones in NODES.items():
        place = 1 - 2 ** (-fret / 12)
        partial = min(range(2, 6), key=lambda n: min(abs(place - k / n) for k in range(1, n) if math.gcd(k, n) == 1))
        assert semitones == round(12 * math.log2(partial)), fret


def test_a_held_note_over_a_bar_line_goes_on():
    melody = tab(system("-5---7---|-(7)--5---", above="   H   H    H    H"))
    assert melody.pitch.tolist() == [69, 71, 69]
    assert quarters(melody.duration) == [2, 4, 2]


def test_chords_keep_their_top_note_even_in_misaligned_columns():
    melody = tab(system("--9---7-", "-10---8-"))
    assert melody.pitch.tolist() == [73, 71]


# rhythm ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("above", "below"),
    [("  Q  E E Q.   E", ""), ("", "  q  e e q.   e"), ("Q  E E Q.   E", "")],
    ids=["above", "below", "off"],
)
def test_letters_above_below_and_a_little_off(above, below):
    melody = tab(system("5--7-8-7----5-", above=above, below=below))
    assert quarters(melody.onset) == [0, 1, Fraction(3, 2), 2, Fraction(7, 2)]
    assert quarters(melody.duration) == [1, Fraction(1, 2), Fraction(1, 2), Fraction(3, 2), Fraction(1, 2)]


def test_a_letter_without_a_fret_is_a_rest():
    melody = tab(system("-5---8-7-", above="   Q Q Q Q"))
    assert quarters(melody.onset) == [0, 2, 3]


def test_a_line_of_chord_names_is_no_rhythm():
    melody = tab(system("-5-7-8-7-|-5-7-8-7-", above="   E         A7"))
    assert melody.duration is None
    melody = tab(system("-5-7-8-7-|-5-7-8-7-", above="   E         E"))
    assert melody.guessed_share == 0 or melody.duration is None


def test_a_short_first_bar_is_a_pickup():
    melody = tab(system("-5-|-7-8-7-5-|-3-----", above="   Q   Q Q Q Q   W"))
    assert melody.bar.tolist() == [0, 1, 1, 1, 1, 2]
    assert melody.beat.tolist() == [4, 1, 2, 3, 4, 1]


def test_the_meter_of_lettered_bars_is_seen():
    melody = tab(system("-5-7-8-|-7-5-3-|-5-----", above="   Q Q Q   Q Q Q   H."))
    assert str(melody.meters[0]) == "3/4"
    assert any("3/4 taken from the length of the bars" in remark for remark in melody.remarks)
    assert str(tab("Time: 6/8\n" + system("-5-7-8-|-7-5-3-")).meters[0]) == "6/8"


@pytest.mark.parametrize(
    ("columns", "width", "meter", "expected"),
    [
        ([1, 3, 5, 7], 9, (4, 4), [0, 1, 2, 3]),
        ([0, 2, 4, 6], 8, (4, 4), [0, 1, 2, 3]),
        ([1, 3, 5, 7, 9, 11, 13, 15], 17, (4, 4), [i / 2 for i in range(8)]),
        ([1, 5, 7, 13], 17, (4, 4), [0, 1, 1.5, 3]),
        ([1, 2, 3, 4, 9], 17, (4, 4), [0, 0.25, 0.5, 0.75, 2]),
        ([1, 3, 5, 7, 9, 11, 13, 15, 17, 19, 21, 23], 25, (4, 4), [i / 3 for i in range(12)]),
        ([1, 3, 5], 7, (3, 4), [0, 1, 2]),
        ([1, 3, 5, 7, 9, 11], 13, (6, 8), [i / 2 for i in range(6)]),
        ([9, 13], 17, (4, 4), [2, 3]),
    ],
)
def test_spacing(columns, width, meter, expected):
    [onsets], _ = by_spacing([Spaced(tuple(columns), width)], Meter(0, *meter))
    assert [tick / TICKS for tick in onsets] == pytest.approx(expected)


def test_every_even_spacing_of_a_bar_comes_out_even():
    """Bars as the file format's writers space them: every part of the bar one, two or three columns wide."""
    for parts in (4, 8, 16, 12):
        for step in (1, 2, 3, 4):
            columns = [1 + i * step for i in range(parts)]
            [found], _ = by_spacing([Spaced(tuple(columns), 1 + parts * step)], Meter(0, 4, 4))
            assert np.diff([*found, 4 * TICKS]).tolist() == [4 * TICKS // parts] * parts, (parts, step)


def test_crowded_bars_never_put_two_notes_in_one_place():
    chance = random.Random(5)
    for _ in range(200):
        width = chance.randint(2, 60)
        columns = sorted(chance.sample(range(width), chance.randint(1, min(width, 40))))
        meter = Meter(0, *chance.choice([(4, 4), (3, 4), (7, 8), (3, 16)]))
        [found], _ = by_spacing([Spaced(tuple(columns), width)], meter)
        assert len(set(found)) == len(found)
        assert list(found) == sorted(found)
        assert found[0] >= 0


def test_the_meter_the_user_says_lays_the_bars():
    melody = tab(system("-5-7-8-|-7-5-3-"), meter="3/4")
    assert melody.bar.tolist() == [1, 1, 1, 2, 2, 2]


def test_tempo_and_key():
    lick = system("-5-7-8-")
    assert (tab("bpm: 92\n" + lick).tempo, tab("bpm: 92\n" + lick, tempo=60.0).tempo) == (92, 60)
    assert "key 'H' not understood; give it with --key" in tab("Key: H\n" + lick).remarks


def test_repeats_are_told():
    for text in (system(":-5-7-:"), system("-5-7-").replace("E|-----|", "E|-----| x2")):
        assert "repeats read once, as written" in tab(text).remarks


# systems --------------------------------------------------------------------------------------------------------------


def test_systems_one_under_the_other_without_a_blank_line():
    one = system("-5-7-8-7-").strip("\n")
    melody = tab(f"{one}\n{one}\n")
    assert melody.pitch.tolist() == [69, 71, 72, 71] * 2


def test_ragged_ends_double_bar_lines_and_tab_characters():
    text = "e||-5-7-8-7-||-5\nB||---------||---\nG|---------|\nD|---------|---|\nA|---------|---|\nE|---------|---||\n"
    with pytest.raises(InputError, match="line 3: 1 bar on this string, 2 on the others"):
        tab(text)
    assert tab(text.replace("G|---------|", "G|---------|---|")).pitch.tolist() == [69, 71, 72, 71, 69]
    assert tab(text.replace("G|---------|", "G\t|---------|\t---|")).pitch.tolist() == [69, 71, 72, 71, 69]


@pytest.mark.parametrize(
    "line",
    ["   |-3-|", "  |------| let ring", "---------------", "|-1.-----|"],
)
@pytest.mark.parametrize("under", [False, True])
def test_a_bracket_beside_named_strings_is_no_string(line, under):
    """Else six strings would be seven, all tuned and fretted as others."""
    six = system("-5-7-8-7-").strip("\n") + "\n"
    melody = tab(six + line + "\n" if under else line + "\n" + six)
    assert melody.pitch.tolist() == [69, 71, 72, 71]
    place = 7 if under else 1
    assert f"line {place} left out: not like the strings beside it" in melody.remarks


@pytest.mark.parametrize("blank", ["", " "])
@pytest.mark.parametrize("place", [0, 5])
def test_one_of_six_strings_without_a_name_is_a_string(place, blank):
    rows = rows_of("-5-7-8-7-")
    rows[place] = blank + rows[place][1:]
    assert tab("\n".join(rows) + "\n").pitch.tolist() == [69, 71, 72, 71]


def test_a_heading_over_strings_is_no_string():
    assert tab("A: --- verse ---\n" + system("-5-7-8-7-").strip("\n")).pitch.tolist() == [69, 71, 72, 71]


def test_a_bracket_over_strings_without_names_is_no_string():
    bare = "\n".join(row.replace(label, "", 1) for label, row in zip("eBGDAE", rows_of("-5-7-8-7-"), strict=True))
    assert tab("  |-3-|\n" + bare + "\n").pitch.tolist() == [69, 71, 72, 71]
    seven = tab(bare + "\n" + bare.split("\n")[1] + "\n")
    assert "strings not named: tuned as a seven-string guitar usually is" in seven.remarks


def rows_of(line):
    return system(line).strip("\n").split("\n")


@pytest.mark.parametrize("place", range(6))
@pytest.mark.parametrize(
    ("sign", "said"), [("-5q7-8-7-", "('q' stands on it)"), ("-5&7-8-7- yeah |", "('&yea' stands on it)")]
)
def test_a_string_that_cannot_be_read_is_told_and_not_passed_over(place, sign, said):
    """Passed over it would leave five or four strings, which are another instrument's."""
    rows = rows_of("-5-7-8-7-")
    rows[place] = rows[place][:2] + sign + "|"
    with pytest.raises(InputError) as caught:
        tab("\n".join(rows) + "\n")
    assert f"line {place + 1}: a string that can't be read {said}" in str(caught.value)


def test_what_a_page_puts_before_a_string_is_told():
    with pytest.raises(InputError, match=r"line 1: a string that can't be read \('\[tab\]e\|' stands on it\)"):
        tab("[tab]" + "\n".join(rows_of("-5-7-8-7-")) + "[/tab]\n")


def test_web_pages_signs_and_other_dashes():
    six = "\n".join(rows_of("-5-7-<12>-")) + "\n"
    read_as_typed = tab(six).pitch.tolist()
    page = six.replace("<", "&lt;").replace(">", "&gt;").replace("e|", "&nbsp;e|")
    assert tab(page).pitch.tolist() == read_as_typed == [69, 71, 76]
    for dash in "\u2013\u2014\u2212\u2500":
        assert tab(six.replace("-", dash)).pitch.tolist() == read_as_typed


@pytest.mark.parametrize(
    ("end", "last"),
    [("8", 72), ("<12>", 76), ("8v", 72), ("12", 76), ("8 x4", 72), ("8 twice", 72)],
)
def test_a_last_fret_without_a_dash_behind_it(end, last):
    rows = [row[:-1] for row in rows_of("-5-7-")]
    rows[0] += end
    assert tab("\n".join(rows) + "\n").pitch.tolist() == [69, 71, last]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hello\n", "no tablature in it; write each string on its own line, like e|--0--3--|"),
        ("e|-5-7-|\nC|-----|\nG|-----|\n", "no tablature in it"),
        (system("-----"), "no notes in it"),
        (system("-x-x-"), "no notes in it"),
        ((INPUTS / "uneven.tab").read_text(), "line 3: 1 bar on this string, 2 on the others; put the bar lines under"),
        (system("-5-7-8-7-", above="   Q Q Q"), "line 2, bar 1 of the system: 4 notes and 3 rhythm letters"),
        ("Capo 40\n" + system("-5-7-"), "capo 40; a capo on fret 1 to 12 can be read"),
        ("Time: 4/5\n" + system("-5-7-"), "Time:: meter 4/5 is not a meter"),
        ("e" + "-" * 5000 + "\n", "more than 50000 lines, or one of more than 2000 characters"),
        ("e|-5-7-|\n" * 11, "11 strings one under the other"),
    ],
)  # fmt: skip
def test_clear_errors(text, said):
    with pytest.raises(InputError) as caught:
        tab(text)
    assert said in str(caught.value)


SEEDS = ["lettered.tab", "spaced.tab"]


def mutated(data, chance):
    data = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        place = chance.randrange(len(data))
        kind = chance.randrange(4)
        if kind == 0:
            data[place] = chance.choice(b"0123456789-|hpbr/\\~x()<> \neBGDAE\xff\x00")
        elif kind == 1:
            del data[place : place + chance.randint(1, 25)]
        elif kind == 2:
            data[place:place] = data[place : place + chance.randint(1, 80)]
        else:
            data[place:place] = chance.choice(
                [b"99", b"|", b"\n", b"---", b"(7)", b"7b", b"\t", b"x", b"Tuning: ", b"Capo 9\n"]
            )
    return bytes(data)


@pytest.mark.parametrize("name", SEEDS)
@pytest.mark.parametrize("count", [60, pytest.param(400, marks=pytest.mark.slow)])
def test_any_bytes_give_a_melody_or_one_clear_line(name, count):
    data = (INPUTS / name).read_bytes()
    chance = random.Random(f"{name} {count}")
    outcomes = Counter()
    for _ in range(count):
        try:
            [melody] = read(mutated(data, chance), ReadOptions())
        except InputError as error:
            outcomes["refused"] += 1
            outcomes["of several lines"] += "\n" in str(error)
        else:
            outcomes["read"] += 1
            assert len(melody)
            assert np.all((melody.pitch >= 0) & (melody.pitch <= 127))
    assert min(outcomes["read"], outcomes["refused"]) > 0
    assert not outcomes["of several lines"]
