"""Advice: complete, laid over by a teacher's own file, refused in one clear line, one thing chosen by the rule."""

import os
import re

import pytest
from helpers.placements import STYLE, feature_place, habit_place, placement
from helpers.written import written as melody_of

from stylemeter.errors import AdviceError
from stylemeter.features import CATALOG, HABITS
from stylemeter.practice.advice import BYTES_MAX, TEXT_MAX, advice_for, first_thing, load_advice, read_advice

DIRECTIONS = ("more", "less")
GRADES = re.compile(r"\b(wrong|bad|badly|poor|faults?|mistakes?|boring|should|must|too (much|many|few|long))\b", re.I)


def written(tmp_path, text, name="teacher.toml"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refused(tmp_path, text):
    with pytest.raises(AdviceError) as told:
        load_advice(written(tmp_path, text))
    said = str(told.value)
    assert "\n" not in said
    assert "teacher.toml" in said
    return said


# -- what ships ----------------------------------------------------------------------------------------------------


def test_there_is_a_tip_for_everything_in_both_directions():
    shipped = load_advice()
    assert set(shipped.tips) == {(name, way) for name in [*HABITS, *CATALOG] for way in DIRECTIONS}
    for tip in shipped.tips.values():
        assert tip.words.endswith(".")
        assert tip.exercise.endswith(".")
        assert len(tip.exercise) <= 260
        assert not GRADES.search(f"{tip.words} {tip.exercise}"), tip


def test_features_and_habits_have_different_names():
    assert not set(HABITS) & set(CATALOG)


def test_directions_say_different_things():
    shipped = load_advice()
    for name in [*HABITS, *CATALOG]:
        assert advice_for(shipped, name, "more").exercise != advice_for(shipped, name, "less").exercise


def test_the_shipped_tips_are_marked_as_common_practice():
    # common practice, no source: the exercises are a teacher's everyday ones (motif, landing notes, rests, ...)
    assert {tip.basis for tip in load_advice().tips.values()} == {"common practice, no source"}


def test_the_trade_s_exercises_are_among_them():
    # common practice, no source
    said = " ".join(" ".join([t.words, t.exercise, *t.variants.values()]) for t in load_advice().tips.values())
    wanted = ["motif", "harmonic minor", "dotted", "ahead of the beat", "rest", "ninth", "seventh"]
    assert [word for word in wanted if word not in said] == []


def test_cautions_defer_to_licensed_practice_and_count_no_minutes():
    # NASM and PAMA, "Protecting Your Neuromusculoskeletal Health: Student Information Sheet": warm up, regular
    # breaks, no sudden increases, talk to a medical professional; voluntary, to be credited; it gives no minutes.
    shipped = load_advice()
    for wanted in ("Warm up", "breaks", "slowly", "stop at pain", "health professional"):
        assert wanted in shipped.cautions
    assert "NASM" in shipped.credit
    assert "PAMA" in shipped.credit
    assert "not a standard" in shipped.credit
    assert not re.search(r"\d|minute|hour", shipped.cautions + shipped.credit)


def test_nothing_is_advised_of_what_is_not_there():
    assert advice_for(load_advice(), "swing_feel", "more") is None


# -- a teacher's own file ------------------------------------------------------------------------------------------

OWN = """
title = "Evening class"
basis = "what I do on Tuesdays"

[cautions]
text = "Shake out your hands."

[features.step_share.more]
words = "Mostly steps."
exercise = "Play   it
in thirds."
""".replace("Play   it\nin", "Play   it\\nin")


def test_a_teacher_s_entries_take_the_place_of_the_shipped_ones(tmp_path):
    advice = load_advice(written(tmp_path, OWN))
    tip = advice_for(advice, "step_share", "more")
    assert (tip.words, tip.exercise) == ("Mostly steps.", "Play it in thirds.")
    assert (tip.basis, tip.source) == ("what I do on Tuesdays", "Evening class")
    assert advice_for(advice, "step_share", "less") == advice_for(load_advice(), "step_share", "less")
    assert len(advice.tips) == len(load_advice().tips)


def test_cautions_are_added_to_and_never_taken_away(tmp_path):
    advice = load_advice(written(tmp_path, OWN))
    assert advice.cautions == load_advice().cautions + " Shake out your hands."
    assert advice.credit == load_advice().credit


def test_without_a_title_the_file_s_name_stands_for_it(tmp_path):
    text = '[habits.runs.more]\nwords = "a"\nexercise = "b"\nbasis = "my own"\n'
    text += '[habits.runs.less]\nwords = "c"\nexercise = "d"'
    advice = load_advice(written(tmp_path, text))
    assert advice_for(advice, "runs", "more").basis == "my own"
    assert advice_for(advice, "runs", "less").basis == "from teacher.toml"


def test_an_empty_file_changes_nothing(tmp_path):
    assert load_advice(written(tmp_path, "# nothing yet\n")).tips == load_advice().tips


def test_the_shipped_advice_can_be_copied_and_edited(tmp_path):
    from pathlib import Path

    import stylemeter

    text = (Path(stylemeter.__file__).parent / "texts" / "advice.toml").read_text(encoding="utf-8")
    assert load_advice(written(tmp_path, text)).tips == load_advice().tips


def test_a_byte_order_mark_is_passed_over(tmp_path):
    assert load_advice(written(tmp_path, b"\xef\xbb\xbf" + OWN.encode())).title == "Evening class"


# -- refusals ------------------------------------------------------------------------------------------------------


ENTRY = '[features.step_share.more]\nwords = "a"\nexercise = "b"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[features.step_shar.more]", "teacher.toml: features: unknown feature 'step_shar'; did you mean step_share"),
        ("[habits.stepwize.more]", "unknown habit 'stepwize'; did you mean stepwise"),
        ("[habits.zzz.more]", "unknown habit 'zzz'; there is: runs, stepwise, root, scale, rhythm, space"),
        ("[habit.runs.more]", "unknown field 'habit'; did you mean habits"),
        ("[features.step_share.above]", "features.step_share: unknown direction 'above'; there is: more, less"),
        ('[features.step_share.more]\nwords = "a"', "features.step_share.more: text 'exercise' is missing"),
        (ENTRY + 'exercice = "c"', "features.step_share.more: unknown field 'exercice'; did you mean exercise"),
        ('[features.step_share.more]\nwords = 3\nexercise = "b"', "features.step_share.more: 'words' is not a text"),
        ('[features.step_share.more]\nwords = " "\nexercise = "b"', "text 'words' is empty"),
        ("[features.step_share]", "features.step_share: holds nothing"),
        ("[features]\nstep_share = 3", "features.step_share: is not a table"),
        ("features = [1]", "features: is not a table"),
        ('title = "a\\u001b[2Jb"', "holds the control character \\x1b"),
        ('title = "a\\u202eb"', "holds the control character \\u202e"),
        ("[cautions]\nminutes = 20", "cautions: unknown field 'minutes'"),
        ("[cautions]\ntext = 20", "cautions: 'text' is not a text"),
        ('title = "a"\ntitle = "b"\n', "teacher.toml, line 2: not TOML: cannot overwrite a value"),
        ('title = "a"\n\nwords', "teacher.toml, at its end: not TOML"),
        ("title = a b", "teacher.toml, line 1: not TOML"),
        (b'title = "a"\nbasis = "\xff"', "teacher.toml, line 2: is not UTF-8 text"),
        ("x = " + "[" * 5000, "brackets beyond all bounds"),
        ("x = " + "1" * 5000, "numbers or brackets beyond all bounds"),
        ("a." * 5000 + "a = 1", "teacher.toml, line 1: more than 200 dots in a line"),
        (f'title = "{"a" * (TEXT_MAX + 1)}"', f"text 'title' has {TEXT_MAX + 1} characters"),
        ("#" * (BYTES_MAX + 1), "is larger than 256 KiB"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_in_one_line(tmp_path, text, says):
    assert says in refused(tmp_path, text)


def test_what_is_not_a_file_is_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    for name, says in (("", "is not a file"), ("pipe.toml", "is not a file"), ("none.toml", "no such file")):
        with pytest.raises(AdviceError, match=says):
            load_advice(tmp_path / name)
    with pytest.raises(AdviceError, match="is empty"):
        load_advice(written(tmp_path, b""))
    with pytest.raises(AdviceError, match="can't be read"):
        load_advice("a\0b")


def test_a_strange_name_is_shown_safely(tmp_path):
    path = written(tmp_path, "x = ", name="a\x1b[2J.toml")
    with pytest.raises(AdviceError) as told:
        load_advice(path)
    assert "\x1b" not in str(told.value)
    with pytest.raises(AdviceError) as told:
        load_advice(written(tmp_path, '["features"."a\\u001bb"]\nc = 1'))
    assert "\x1b" not in str(told.value)


@pytest.mark.parametrize("cut", range(0, len(OWN), 7))
def test_a_truncated_file_is_read_or_refused(cut):
    said = "cut.toml"
    try:
        read_advice(OWN[:cut].encode(), "cut.toml")
    except AdviceError as error:
        said = str(error)
    assert said.startswith("cut.toml")


# -- one thing first -----------------------------------------------------------------------------------------------


def chosen(features=(), habits=()):
    choice = first_thing(placement(features, habits), load_advice())
    assert STYLE in choice.reason or choice.kind == "habit"
    return choice


def test_the_surest_shown_habit_comes_first():
    choice = chosen(
        [feature_place("npvi", "above", clear=True, q=0.0001, p=0.0001)],
        [
            habit_place("runs", "shown", q=0.04, p=0.01),
            habit_place("root", "shown", q=0.01, p=0.005),
            habit_place("space", "hinted", q=0.06, p=0.001),
        ],
    )
    assert (choice.kind, choice.name) == ("habit", "root")
    assert choice.tip == advice_for(load_advice(), "root", "more").for_take(placement().melody)
    assert choice.reason.startswith("Work on landing elsewhere than on the root: the line comes back to the root")


def test_what_is_only_hinted_at_is_listened_for_without_an_exercise():
    choice = chosen(
        [feature_place("npvi", "above", clear=True, q=0.0001)],
        [habit_place("runs", "hinted", p=0.03, q=0.1), habit_place("space", "hinted", p=0.02, q=0.1)],
    )
    assert choice.name == "space"
    assert choice.tip is None
    assert choice.reason.startswith("Nothing is sure yet, but listen for no air in the next take: the line may leave")


def test_a_trait_alone_is_told_and_not_worked_on():
    clear = chosen(
        [
            feature_place("npvi", "above", q=0.2, p=0.001, effect=9.0),
            feature_place("leap_share", "below", clear=True, q=0.03, p=0.002, effect=-1.5),
            feature_place("root_share", "above", clear=True, q=0.04, p=0.003, effect=3.0),
        ]
    )
    assert (clear.kind, clear.name, clear.tip) == ("none", "", None)
    assert "keep this take; what differs most, more of its notes are the root than in" in clear.reason
    unclear = chosen([feature_place("npvi", "above", p=0.04), feature_place("leap_share", "below", p=0.03)])
    assert (unclear.kind, unclear.tip) == ("none", None)
    assert unclear.reason == "Nothing here stands out against old fiddle tunes: keep this take."


def test_ties_go_by_the_dictionary_and_uncertain_ones_last():
    tied = [habit_place(n, "shown", q=0.01, p=0.01) for n in ("runs", "stepwise")]
    assert chosen(habits=tied).name == "runs"
    unsure = [habit_place("runs", "shown", q=0.001, p=0.001, unsure=True), tied[1]]
    assert chosen(habits=unsure).name == "stepwise"


def test_what_hangs_on_uncertain_notes_is_checked_before_it_is_worked_on():
    choice = chosen(habits=[habit_place("runs", "shown", q=0.001, p=0.001, unsure=True)])
    assert choice.tip is None
    assert choice.reason == (
        "It looks like scale runs, but that hangs on notes that are not sure: check them before you work on it."
    )
    assert "Work on" not in choice.reason


def test_nothing_outside_says_so():
    choice = chosen()
    assert (choice.kind, choice.name, choice.tip) == ("none", "", None)
    assert choice.reason == "Nothing here stands out against old fiddle tunes: keep this take."


BLUES = "A3:1/2 C4:1/2 D4:1/2 Eb4:1/2 E4:1/2 G4:1/2 A4:1 G4:1/2 Eb4:1/2 D4:1/2 C4:1/2 A3:2"


@pytest.mark.parametrize(
    ("text", "key", "chords", "wanted", "never"),
    [
        ("C4:1 D4:1 E4:1 G4:1 A4:1 C5:3", "C major", "", "major seventh (B)", "minor"),
        ("A3:1 C4:1 D4:1 E4:1 G4:1 A4:3", "A minor", "", "raised seventh (G#) of harmonic minor", "major seventh"),
        (BLUES, "A minor", "", "major third (C#)", "harmonic minor"),
        # a minor third over a major chord on the root is a blues too
        ("A3:1 C4:1 D4:1 E4:1 G4:1 A4:3", "A minor", "0:A7", "major third (C#)", "harmonic minor"),
        ("C4:1 D4:1 E4:1 F4:1 G4:1 A4:1 B4:2", "C major", "", "into the third (E) first", "minor"),
        ("D4:1 E4:1 F4:1 A4:1 B4:1 D5:3", "D dorian", "", "first the ninth (E), then the sixth (B)", "harmonic minor"),
        ("D4:1 E4:1 F4:1 A4:1 B4:1 D5:3", None, "", "first the ninth, then the sixth.", "("),
    ],
)
def test_the_exercise_knows_the_key_and_the_blues(text, key, chords, wanted, never):
    # common practice, no source: a blues and a major piece are not sent to harmonic minor
    tip = advice_for(load_advice(), "scale", "more").for_take(melody_of(text, key=key, chords=chords))
    assert wanted in tip.exercise
    assert never not in tip.exercise
    assert not set("{}") & set(tip.exercise)


def test_being_free_of_a_habit_is_nothing_to_practise():
    assert chosen(habits=[habit_place("runs", p_free=0.001)]).kind == "none"


def test_nothing_measured_says_so():
    choice = chosen([feature_place(n, "unmeasured") for n in CATALOG], [habit_place(n, "unmeasured") for n in HABITS])
    assert choice.kind == "none"
    assert choice.reason.startswith("Against old fiddle tunes nothing can be said of this take")
