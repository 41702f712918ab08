"""The texts: all there, plain, filled in correctly, and never a grade."""

import copy
import math
import re
import tomllib
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from helpers.placements import STYLE, feature_place, habit_place
from hypothesis import given
from hypothesis import strategies as st

import stylemeter
from stylemeter.errors import StylemeterError
from stylemeter.features import CATALOG, HABITS
from stylemeter.placement.records import Stretch
from stylemeter.practice.edits import RECIPES
from stylemeter.practice.words import (
    capital,
    change_words,
    direction_of,
    feature_verdict,
    fill,
    format_range,
    format_value,
    habit_sentence,
    habit_verdict,
    parse,
    percentile_words,
    sentence,
    words,
)

DOCUMENT = tomllib.loads((Path(stylemeter.__file__).parent / "texts" / "words.toml").read_text(encoding="utf-8"))
#: A difference is not a fault.
GRADES = re.compile(
    r"\b(wrong|bad|badly|poor|poorly|faults?|mistakes?|grades?|scores?|worse|worst|weakness|boring|lazy|fail\w*|"
    r"should|must|too (much|many|few|long|short|often|high|low|fast|slow|little of))\b",
    re.IGNORECASE,
)


def every_text(table=DOCUMENT):
    for value in table.values():
        if isinstance(value, dict):
            yield from every_text(value)
        elif isinstance(value, str):
            yield value


# -- what must be there --------------------------------------------------------------------------------------------


def test_every_feature_and_habit_has_its_words_and_nothing_else_has():
    assert list(words().features) == list(CATALOG)
    assert list(words().habits) == list(HABITS)
    assert list(words().families) == list(dict.fromkeys(f.family for f in CATALOG.values()))
    for own in words().habits.values():
        assert all(text for field, text in asdict(own).items() if not field.startswith("chord_"))
    assert {own.name for own in words().habits.values() if own.chord_shown} == {"root"}


def test_every_edit_can_be_said_and_every_thing_to_do_has_an_edit():
    said = {(n, way) for n, own in words().features.items() for way in ("up", "down") if getattr(own, way)}
    assert said == set(RECIPES)


def test_no_text_grades():
    texts = list(every_text())
    assert len(texts) > 500
    assert [text for text in texts if GRADES.search(text)] == []


def test_clauses_go_on_with_than():
    for own in words().features.values():
        for clause in (own.more, own.less):
            assert clause[0].islower()
            assert clause[-1] not in ".,;:"
            # the comparison that "than in ..." completes
            comparing = r"(\b(more|fewer|less|wider|narrower|longer|shorter|higher|lower|later|earlier)\b)"
            assert re.search(comparing, clause), clause
        assert own.more != own.less
        assert len(own.label) <= 34


def test_explanations_are_one_plain_sentence():
    for own in words().features.values():
        assert own.explain.endswith(".")
        assert not re.search(r"[.!?] ", own.explain), own.explain
        assert len(own.explain) < 175
        assert "_" not in own.explain


def test_habit_questions_ask():
    assert all(own.question.endswith("?") for own in words().habits.values())


def test_shares_say_what_they_are_a_share_of():
    for name, own in words().features.items():
        is_share = CATALOG[name].unit.startswith("share") and name != "climax_position"
        assert bool(own.of) == is_share, name
        assert own.show == ("percent" if CATALOG[name].unit.startswith("share") else "number")


# -- damaged files -------------------------------------------------------------------------------------------------


def damaged(change):
    document = copy.deepcopy(DOCUMENT)
    change(document)
    return document


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda d: d["features"].pop("npvi"), "features: entry 'npvi' is missing"),
        (lambda d: d["features"].update(swing_feel=d["features"]["npvi"]), "unknown entry 'swing_feel'"),
        (lambda d: d["features"]["npvi"].pop("more"), "features.npvi: text 'more' is missing"),
        (lambda d: d["features"]["npvi"].update(more=" "), "text 'more' is not a text or is empty"),
        (lambda d: d["features"]["npvi"].update(more=3), "text 'more' is not a text"),
        (lambda d: d["features"]["npvi"].update(colour="red"), "unknown text 'colour'"),
        (lambda d: d["features"]["npvi"].update(show="stars"), "shows 'stars'"),
        (lambda d: d["features"]["npvi"].update(digits=9), "a number has a unit and digits"),
        (lambda d: d["features"]["step_share"].update(digits=1), "a percentage has neither"),
        (lambda d: d["features"]["npvi"].update(up="do {what}"), "['what']"),
        (lambda d: d["features"]["npvi"].update(up="do {count"), "nobody says"),
        (lambda d: d["habits"]["runs"].pop("question"), "habits.runs: text 'question' is missing"),
        (lambda d: d["phrases"].update(than="than in {percent}"), "['percent']"),
        (lambda d: d.pop("verdicts"), "table 'verdicts' is missing"),
        (lambda d: d.update(habits=3), "habits: is not a table"),
        (lambda d: d["families"].update(shape="a"), "families.shape: is not a table"),
    ],
)
def test_a_damaged_file_is_refused_with_the_place(change, says):
    with pytest.raises(StylemeterError) as told:
        parse(damaged(change))
    assert says in str(told.value)
    assert "words.toml" in str(told.value)


def test_a_translation_is_read():
    def translate(document):
        document["features"]["step_share"]["label"] = "Schritte"
        document["phrases"]["than"] = "als in {count} von 100 {style} dieser Länge"

    assert parse(damaged(translate)).features["step_share"].label == "Schritte"


# -- filling in ----------------------------------------------------------------------------------------------------


def test_fill_counts_and_never_reads_what_it_fills_in():
    assert fill("{a|many {count}}", 1, count="x") == "a"
    assert fill("{a|many {count}}", 2, count="x") == "many x"
    assert fill("{style}", style="{one|two} {count}") == "{one|two} {count}"
    with pytest.raises(KeyError):
        fill("{style}")


def test_capital():
    assert capital("") == ""
    assert capital("éa b") == "Éa b"


@pytest.mark.parametrize(
    ("count", "total", "said"),
    [
        (1, 4, "1 of the 4 scale runs"),
        (2, 4, "2 of the 4 scale runs"),
        (4, 4, "all 4 scale runs"),
        (6, 4, "all 4 scale runs"),
        (1, 1, "the only scale run"),
    ],
)
def test_some_of_them(count, total, said):
    assert change_words("break {some} scale {run|runs}", count, total, amount="", bars=1) == f"break {said}"


def test_bars_are_counted():
    text = words().features["breaths_per_bar"].up
    assert change_words(text, 1, 0, amount="", bars=1) == "once, take a breath: a rest of half a beat or more"
    assert change_words(text, 3, 0, amount="", bars=16) == (
        "about once in every five bars, take a breath: a rest of half a beat or more"
    )


# -- values --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("step_share", 0.0, "0%"),
        ("step_share", 0.0099, "under 1%"),
        ("step_share", 0.01, "1%"),
        ("step_share", 0.374, "37%"),
        ("step_share", 0.99, "99%"),
        ("step_share", 0.9951, "over 99%"),
        ("step_share", 1.0, "100%"),
        ("longest_scale_run", 1.0, "1 note"),
        ("longest_scale_run", 9.0, "9 notes"),
        ("phrase_length", 8.5, "8.5 notes"),
        ("longest_stream", 1.0, "1 beat"),
        ("longest_stream", 12.5, "12.5 beats"),
        ("breaths_per_bar", 0.25, "0.25 a bar"),
        ("note_value_entropy", 1.0, "1 bit"),
        ("note_value_entropy", 1.234, "1.23 bits"),
        ("register_build", -0.04, "0.0 semitones"),
        ("register_build", -1.0, "-1 semitone"),
        ("npvi", 42.4, "42"),
        ("npvi", math.nan, "not measured"),
        ("npvi", math.inf, "not measured"),
    ],
)
def test_format_value(name, value, said):
    assert format_value(name, value) == said


def test_more_decimals_part_two_values():
    assert format_value("step_share", 0.3049, extra=1) == "30.5%"
    assert format_value("longest_scale_run", 7.25, extra=2) == "7.25 notes"


def test_ranges_say_the_unit_once():
    assert format_range("longest_stream", 1.0, 12.5) == "1 to 12.5 beats"
    assert format_range("breaths_per_bar", 0.1, 0.5) == "0.10 to 0.50 a bar"
    assert format_range("npvi", 10, 42.4) == "10 to 42"
    assert format_range("step_share", 0.001, 0.999) == "under 1% to over 99%"
    assert format_range("longest_stream", 1.0, math.nan) == "1 beat to not measured"


@given(
    st.floats(-1e9, 1e9) | st.sampled_from([math.nan, math.inf, -math.inf]),
    st.sampled_from(list(CATALOG)),
    st.integers(0, 3),
)
def test_any_value_is_said(value, name, extra):
    said = format_value(name, value, extra=extra)
    assert said
    assert said == said.strip()
    assert not re.match(r"-0(\.0*)?(?![\d.])", said)


# -- percentiles ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("percentile", "direction", "said"),
    [
        (97.0, "more", "than in 97 of 100 old fiddle tunes of this length"),
        (97.5, "more", "than in 98 of 100 old fiddle tunes of this length"),
        (98.5, "more", "than in 99 of 100 old fiddle tunes of this length"),
        (99.49, "more", "than in 99 of 100 old fiddle tunes of this length"),
        (99.5, "more", "than in almost every one of the old fiddle tunes of this length"),
        (100.0, "more", "than in almost every one of the old fiddle tunes of this length"),
        (100.0 + 1e-13, "more", "than in almost every one of the old fiddle tunes of this length"),
        (3.0, "less", "than in 97 of 100 old fiddle tunes of this length"),
        (2.5, "less", "than in 98 of 100 old fiddle tunes of this length"),
        (0.5, "less", "than in almost every one of the old fiddle tunes of this length"),
        (0.51, "less", "than in 99 of 100 old fiddle tunes of this length"),
        (0.0, "less", "than in almost every one of the old fiddle tunes of this length"),
        (0.49, "more", "than in almost none of the old fiddle tunes of this length"),
        (0.5, "more", "than in 1 of 100 old fiddle tunes of this length"),
        (100.0, "less", "than in almost none of the old fiddle tunes of this length"),
    ],
)
def test_percentiles_in_hundredths(percentile, direction, said):
    assert percentile_words(percentile, STYLE, direction) == said


@pytest.mark.parametrize(
    ("percentile", "said"),
    [(79, "8 of 10"), (94.9, "9 of 10"), (95, "almost every one of the"), (4.9, "almost none of the"), (5, "1 of 10")],
)
def test_few_families_are_said_in_tenths(percentile, said):
    words_said = percentile_words(percentile, STYLE, "more", small=True)
    assert words_said == f"than in {said} old fiddle tunes of this length"


@given(st.floats(0, 100), st.booleans(), st.sampled_from(["more", "less"]))
def test_all_of_them_is_never_said(percentile, small, direction):
    said = percentile_words(percentile, STYLE, direction, small=small)
    assert not re.search(r"\b(100 of 100|10 of 10|0 of)\b", said)
    assert said.endswith("of this length")


@pytest.mark.parametrize("percentile", [-1, 101, math.nan])
def test_what_is_no_percentile_is_refused(percentile):
    with pytest.raises(ValueError, match="not a percentile"):
        percentile_words(percentile, STYLE, "more")


# -- sentences -----------------------------------------------------------------------------------------------------


def test_sentences_of_features():
    above = feature_place("scale_run_share", "above", percentile=97.2)
    below = feature_place("scale_run_share", "below", percentile=2.9)
    assert sentence(above, STYLE) == (
        "More of its notes lie in scale runs than in 97 of 100 old fiddle tunes of this length."
    )
    assert sentence(below, STYLE) == (
        "Fewer of its notes lie in scale runs than in 97 of 100 old fiddle tunes of this length."
    )
    assert sentence(feature_place("scale_run_share"), STYLE) == (
        "Notes in scale runs: within the range usual for old fiddle tunes of this length."
    )
    lacking = feature_place("scale_run_share", "unmeasured", reason="fewer than 12 notes")
    assert sentence(lacking, STYLE) == "Notes in scale runs: not measured (fewer than 12 notes)."


def test_a_provisional_norm_is_said_in_tenths():
    place = feature_place("npvi", "above", percentile=91.0, reason="provisional: only 60 tune families")
    assert "than in 9 of 10 old fiddle tunes" in sentence(place, STYLE)


def test_uncertain_notes_are_told():
    place = feature_place("npvi", "above", unsure=True, clear=True)
    assert "not in every reading of the uncertain notes" in sentence(place, STYLE)
    assert feature_verdict(place) == "more than usual (hangs on uncertain notes)"


@pytest.mark.parametrize("name", list(CATALOG))
@pytest.mark.parametrize("verdict", ["below", "above", "within", "unmeasured"])
def test_every_feature_has_a_sentence_for_every_verdict(name, verdict):
    said = sentence(feature_place(name, verdict, reason="needs chords" if verdict == "unmeasured" else ""), STYLE)
    assert said[0] == said[0].upper()
    assert said[-1] == "."
    assert not set(said) & set("{}|_")


def test_verdicts_of_features():
    assert feature_verdict(feature_place("npvi")) == "as usual"
    assert feature_verdict(feature_place("npvi", "below", clear=True)) == "clearly less than usual"
    assert feature_verdict(feature_place("npvi", "below")) == "less than usual"


@pytest.mark.parametrize("name", list(HABITS))
def test_sentences_of_habits(name):
    own = words().habits[name]
    for verdict in ("shown", "hinted", "none"):
        said = getattr(own, verdict).format(style=STYLE, scale="one small scale")
        assert habit_sentence(habit_place(name, verdict), STYLE) == said
    free = habit_place(name, p_free=0.01)
    assert habit_sentence(free, STYLE) == own.free.format(style=STYLE)
    assert habit_verdict(free) == "the opposite"
    lacking = habit_place(name, "unmeasured", reason="needs a key", p=math.nan, p_free=math.nan)
    assert habit_sentence(lacking, STYLE) == f"{own.title}: not measured (needs a key)."


def test_habits_say_where():
    places = (Stretch(17, 20, (70, 71)), Stretch(9, 12, (30, 31)), Stretch(24, 24, (90,)))
    part = habit_place("runs", "shown", where="part", evidence=places)
    assert habit_sentence(part, STYLE) == (
        "In bars 9 to 12, bars 17 to 20 and bar 24 the line runs up and down scales "
        "more than old fiddle tunes of this length do."
    )
    whole = habit_place("scale", "hinted", where="throughout", evidence=places, scale="A minor pentatonic")
    assert habit_sentence(whole, STYLE).startswith("Throughout, the line may stay inside A minor pentatonic more than")
    chords = habit_place("root", "shown", scan="chord_root")
    assert "the root of each chord" in habit_sentence(chords, STYLE)
    assert "the root of each chord" not in habit_sentence(replace(chords, over_all=True), STYLE)


def test_what_lies_beyond_every_tune_says_so():
    beyond = feature_place("step_share", "above", percentile=100.0, beyond=193)
    assert sentence(beyond, STYLE) == (
        "More of its intervals are steps than in any of the 193 old fiddle tunes of this length."
    )


def test_a_shown_habit_is_never_its_opposite():
    both = habit_place("runs", "shown", p_free=0.01)
    assert habit_verdict(both) == "clearly"
    assert direction_of(both) == "more"


def test_directions():
    assert direction_of(feature_place("npvi", "above")) == "more"
    assert direction_of(feature_place("npvi", "below")) == "less"
    assert direction_of(feature_place("npvi", percentile=49.9)) == "less"
    assert direction_of(habit_place("runs", p_free=0.01)) == "less"
    assert direction_of(habit_place("runs", "hinted")) == "more"
