"""Text tablature as people type, send and paste it: rhythm that is told or is not, players, headings, broken lines.

All licks are invented. What players, phones and word processors do to tablature is common practice, no source.
"""

import re
from fractions import Fraction

import pytest

from stylemeter.errors import UnknownNameError
from stylemeter.features import CATALOG, Line, measure
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.tab.read import read


def tab(text, **options):
    [melody] = read(text.encode(), ReadOptions(**options))
    return melody


def system(*lines, labels="eBGDAE", above="", below=""):
    """A system with these top lines, the strings below left empty."""
    empty = re.sub(r"[^|]", "-", lines[0])
    rows = [f"{n}|{line}|" for n, line in zip(labels, [*lines, *[empty] * (len(labels) - len(lines))], strict=True)]
    return "\n".join([above, *rows, below]) + "\n"


def beats(melody):
    return [Fraction(int(t), TICKS) for t in melody.onset]


# where beat 1 is ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lead", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("step", [3, 4, 6])
def test_a_regular_line_starts_on_the_beat_however_many_dashes_lead_it(lead, step):
    bar = "-" * lead + ("5" + "-" * (step - 1)) * 4
    for line in (bar, bar[:-1], bar[:-2], bar + "-"):
        melody = tab(system("|".join([line] * 4)))
        assert beats(melody) == list(range(16)), line
        values = measure(Line(melody)).values
        assert (values["offbeat_onset_share"], values["syncopation_index"]) == (0, 0)


def test_the_lead_most_bars_have_holds_for_a_bar_that_begins_with_a_rest():
    melody = tab(system("--2---4---5---7--|------4---5---7--|--2-4-5-7-5-4-2-4|--2-------4------"))
    half = Fraction(1, 2)
    assert beats(melody) == [0, 1, 2, 3, 5, 6, 7, *(8 + half * i for i in range(8)), 12, 14]


def test_off_beats_stay_off_the_beat():
    melody = tab(system("-5---7---8---7---|---5---7---8---7-|-5---7---8---7---"))
    half = Fraction(1, 2)
    assert beats(melody) == [0, 1, 2, 3, 4 + half, 5 + half, 6 + half, 7 + half, 8, 9, 10, 11]


# rhythm that nobody tells ---------------------------------------------------------------------------------------------

#: One line of tablature without a bar line: sixteen notes, as they come.
UNBARRED = "\n".join(
    f"{name}{line}"
    for name, line in zip(
        "eBGDAE", ["-" * 50, "-" * 50, "-5-7-9-7-5-4-5-7-" + "-" * 33, "-" * 17 + "-7-5-4-5-7-9-7-5-" + "-" * 16]
        + ["-" * 50] * 2, strict=True,
    )
)  # fmt: skip


@pytest.mark.parametrize(
    "text",
    [
        UNBARRED,
        UNBARRED + "\n\n" + UNBARRED,
        system("-5-7-8-7-5-7-8-7-5-7-8-7-5-7-8-7-"),
        system("-5-7-8-7-5-|-5-7-8-7-5-7-8-|-5-7-8-7-5-|-8-7-8-7-5-"),
    ],
    ids=["no bar lines", "two systems", "a line between two bar lines", "bars of five and seven"],
)
def test_without_a_rhythm_traits_of_rhythm_and_air_are_unmeasured_and_pitch_stands(text):
    melody = tab(text)
    assert not melody.rhythm_known
    assert melody.guessed_share == 0
    assert sum(r.startswith("rhythm not known") for r in melody.remarks) == 1
    measured = measure(Line(melody))
    for name, feature in CATALOG.items():
        if feature.family in ("rhythm", "space", "motif", "harmony"):
            assert measured.reasons[name] == "needs a rhythm, which this source does not tell", name
    for name in ("step_share", "mean_interval", "scale_run_share", "root_share", "degree_entropy", "pitch_range"):
        assert name not in measured.reasons


def test_each_line_without_bar_lines_counts_as_a_bar():
    melody = tab(UNBARRED + "\n\n" + UNBARRED)
    assert melody.bar.tolist() == [1] * 16 + [2] * 16


def test_a_line_that_is_one_plain_bar_is_a_bar():
    melody = tab(system("--2---4---5---7--"))
    assert melody.rhythm_known
    assert beats(melody) == [0, 1, 2, 3]


# counts ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("over", [True, False])
def test_counts_say_when_notes_start(over):
    count = "   1 e & a 2   & a 3   &   4"
    melody = tab(system("-5-7-8-7-5---7-8-7---5---4-", **{"above" if over else "below": count}))
    quarter = Fraction(1, 4)
    wanted = [0, quarter, 2 * quarter, 3 * quarter, 1, 6 * quarter, 7 * quarter, 2, 10 * quarter, 3]
    assert beats(melody) == wanted
    assert melody.duration is None
    assert (melody.guessed_share, melody.rhythm_known) == (0, True)


def test_counts_may_name_rests_and_come_over_several_bars():
    melody = tab(system("-----5---7-|-8---------", above="   1   2   3   1   2   3"))
    assert str(melody.meters[0]) == "3/4"
    assert beats(melody) == [1, 2, 3]


def test_an_even_and_a_between_numbers_is_a_triplet():
    melody = tab(system("-5-7-8-7-5-4-5-----7-----", above="   1 & a 2 & a 3     4"))
    third = Fraction(1, 3)
    assert beats(melody) == [0, third, 2 * third, 1, 1 + third, 1 + 2 * third, 2, 3]


# players --------------------------------------------------------------------------------------------------------------

ONE, TWO = system("--5---7---8---7--", "-----------------"), system("-----------------", "--5---5---5---5--")


def test_one_player_after_another_is_two_parts():
    text = f"Gtr 1 lead\n{ONE}{ONE}\nGtr 2\n{TWO}{TWO}{TWO}"
    melody = tab(text)
    assert melody.pitch.tolist() == [69, 71, 72, 71] * 2
    assert melody.part == "Gtr 1 lead"
    assert "several parts: read 1 Gtr 1 lead (8 notes), not 2 Gtr 2; choose with --part" in melody.remarks
    assert tab(text, part="2").pitch.tolist() == [64] * 12 == tab(text, part="gtr 2").pitch.tolist()


def test_system_by_system_is_two_parts():
    text = f"Gtr I\n{ONE}\nGtr II (rhythm)\n{TWO}\nGtr. I\n{ONE}\nGtr. II\n{TWO}"
    melody = tab(text)
    assert melody.pitch.tolist() == [69, 71, 72, 71] * 2
    assert beats(melody) == list(range(8))
    assert tab(text, part="Gtr II (rhythm)").pitch.tolist() == [64] * 8


def test_a_guitar_over_a_bass_is_two_parts():
    bass = system("-----------------", "-----------------", "--5---5---7---7--", labels="GDAE")
    melody = tab(ONE + bass)
    assert melody.pitch.tolist() == [69, 71, 72, 71]
    assert tab(ONE.strip("\n") + "\n" + bass.strip("\n") + "\n").pitch.tolist() == [69, 71, 72, 71]
    assert tab(ONE + bass, part="4 strings").pitch.tolist() == [38, 38, 40, 40]


def test_sections_are_no_players():
    melody = tab(f"[Intro]\n{ONE}\n[Guitar solo]\n{ONE}\nSolo\n{ONE}")
    assert len(melody) == 12
    assert melody.part == ""


@pytest.mark.parametrize("wanted", ["Kazoo", "3"])
def test_a_part_that_is_not_there_lists_those_that_are(wanted):
    with pytest.raises(UnknownNameError, match="there is: 1 Gtr 1 lead, 2 Gtr 2"):
        tab(f"Gtr 1 lead\n{ONE}\nGtr 2\n{TWO}", part=wanted)
    with pytest.raises(UnknownNameError, match=f"no part '{wanted}'"):
        tab(ONE, part=wanted)
    assert len(tab(ONE, part="1")) == 4


# headings -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "key", "tempo", "meter"),
    [
        ("Slow take (C#m, 132bpm)", "C# minor", 132, None),
        ("tempo 84", None, 84, None),
        ("Tempo: ca. 96", None, 96, None),
        ("12/8 slow blues", None, None, "12/8"),
        ("Waltz, 3/4", None, None, "3/4"),
        ("in Em, 120 bpm", "E minor", 120, None),
        ("key of A minor", "A minor", None, None),
        ("Key - Bb", "Bb major", None, None),
        ("Key: A blues", "A blues", None, None),
        ("♩ = 72", None, 72, None),
        ("G major, 4/4, 100 bpm", "G major", 100, "4/4"),
        ("E minor pentatonic (E minor pentatonic, 90 BPM)", "E minor", 90, None),
        ("Tuning: 1/2 step down", None, None, None),
        ("A little thing in 1995", None, None, None),
    ],
)
def test_headings_as_people_write_them(head, key, tempo, meter):
    melody = tab(head + "\n" + ONE)
    declared = melody.key.name if melody.key.source == "declared" else None
    assert (declared, melody.tempo) == (key, tempo)
    assert str(melody.meters[0]) == (meter or "4/4")
    assert ("no meter given: 4/4 assumed; say it with --meter" in melody.remarks) == (meter is None)


def test_chord_names_over_the_bars_hold_where_they_stand():
    melody = tab(system("--5---7---8---7--|--8---7---5---7--", above="  Am                Dm7     G7"))
    assert [(Fraction(c.onset, TICKS), c.root, c.kind) for c in melody.chords] == [
        (0, 9, "m"),
        (4, 2, "m7"),
        (6, 7, "7"),
    ]


def test_with_a_capo_chord_names_are_told_and_left_out():
    melody = tab("Capo 2\n" + system("--5---7---8---7--|--8---7---5---7--", above="  Am                Dm"))
    assert melody.chords is None
    assert any("chord names left out" in remark for remark in melody.remarks)


# broken lines ---------------------------------------------------------------------------------------------------------

PLAIN = tab(ONE).pitch.tolist()


@pytest.mark.parametrize("dash", "\u2013\u2014\u2500\u2501\u2212\uff0d")
def test_other_dashes_and_drawn_bar_lines(dash):
    assert tab(ONE.replace("-", dash)).pitch.tolist() == PLAIN
    assert tab(ONE.replace("-", dash).replace("|", "\u2502")).pitch.tolist() == PLAIN


@pytest.mark.parametrize("dash", "\u2013\u2014")
def test_two_hyphens_made_one_dash_count_as_two(dash):
    """A word processor joins hyphens between signs, not all of them."""
    line = "--5--7--8--7--|--5--4--5--7--"
    typed = system(line)
    joined = typed.replace(line, line.replace("--7", dash + "7"))
    assert joined != typed
    assert beats(tab(joined)) == beats(tab(typed))
    assert tab(joined).pitch.tolist() == tab(typed).pitch.tolist()


@pytest.mark.parametrize("mark", ["> ", ">", ">> ", "> > "])
def test_mail_quotes(mark):
    quoted = "".join(f"{mark}{line}\n" for line in ONE.splitlines())
    assert tab(quoted).pitch.tolist() == PLAIN


@pytest.mark.parametrize(
    "remark", [" let ring", "  <- slow, with the thumb - gently", " (x2)", " 2x - softly", " yeah"]
)
@pytest.mark.parametrize("place", [0, 3])
def test_remarks_behind_the_last_bar_line(remark, place):
    rows = ONE.strip("\n").split("\n")
    rows[place] += remark
    assert tab("\n".join(rows)).pitch.tolist() == PLAIN


def test_two_or_three_named_strings_are_a_guitar_s():
    assert tab("B|--5---7---8---7--|\nG|-----------------|\n").pitch.tolist() == [64, 66, 67, 66]
    assert tab("e|-----------------|\nB|-----------------|\nG|--5---7---9---7--|\n").pitch.tolist() == [60, 62, 64, 62]
    assert tab("A|--5---7---8---7--|\nE|-----------------|\n").pitch.tolist() == [50, 52, 53, 52]
    assert tab("Tuning: half step down\nG|--5---7--|\nD|---------|\n").pitch.tolist() == [59, 61]
    three = tab(ONE + "\nB|--5---7---8---7--|\nG|-----------------|\n")
    assert three.pitch.tolist() == [*PLAIN, 64, 66, 67, 66]


def test_a_name_with_a_fret_behind_it():
    text = "e ------------\nB 19b21--17---\nG ------------\nD ------------\nA ------------\nE ------------\n"
    melody = tab(text)
    assert melody.pitch.tolist() == [80, 76]
    assert melody.frets.tolist() == [19, 17]


def test_strings_a_program_wrapped():
    long = [f"{n}|{'-' * 30}{rest}" for n, rest in zip("eBGDAE", ["5-"] + ["--"] * 5, strict=True)]
    wrapped = "".join(f"{line}\n{end}\n" for line, end in zip(long, ["-7---|"] + ["-----|"] * 5, strict=True))
    assert tab(wrapped).pitch.tolist() == [69, 71]


def test_strings_a_blank_line_apart():
    spread = "\n\n".join(ONE.strip("\n").split("\n")) + "\n"
    assert tab(spread).pitch.tolist() == PLAIN


# strings and frets ----------------------------------------------------------------------------------------------------


def test_strings_frets_and_tuning_are_kept():
    melody = tab("Tuning: Drop D, capo 1\n" + system("--5---7--", "---------", "---------", "--------------7--"[:9]))
    assert melody.tuning == (39, 46, 51, 56, 60, 65)
    assert list(zip(melody.strings.tolist(), melody.frets.tolist(), strict=True)) == [(1, 5), (1, 7)]
    assert [melody.tuning[-s] + f for s, f in zip(melody.strings, melody.frets, strict=True)] == melody.pitch.tolist()


def test_a_bent_note_keeps_the_fret_it_is_stopped_at():
    melody = tab(system("-----------------", "--8b10----5---<7>"))
    assert melody.pitch.tolist() == [69, 64, 78]
    assert melody.frets.tolist() == [8, 5, 7]
    assert melody.strings.tolist() == [2, 2, 2]


def test_with_the_lowest_string_on_top_string_1_is_still_the_highest():
    melody = tab(system("-----------------", labels="EADGBe").replace("e|--", "e|-5").replace("E|--", "E|-3", 1))
    assert melody.strings.tolist() == [1]
    assert melody.tuning == (40, 45, 50, 55, 59, 64)
