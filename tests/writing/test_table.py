"""Our note tables as text: exact layout, exact round trips, and what spreadsheets can't break."""

import csv
import io
import json
import re

import numpy as np
import pandas as pd
import pytest
from helpers.melodies import melodies
from helpers.places import ROOT
from helpers.same import assert_same, features_that_differ
from helpers.written import written
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from stylemeter.music.melody import Chord, Key
from stylemeter.music.meter import TICKS, Meter
from stylemeter.practice.edits.edit import Edit, apply_edits
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.table.read import read
from stylemeter.writing import losses
from stylemeter.writing.musicxml import to_musicxml
from stylemeter.writing.table import decimal_text, escape, quarters_text, to_csv, to_json, to_record, unescape

INPUTS = ROOT / "tests" / "inputs" / "table"
often = settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
#: Keys that only an estimate or a user gives, and chords that no symbol names.
KEYS = [Key(9, "minor", "estimated", "C major", 0.1234567890123), Key(6, None, "declared"), Key(1, "locrian", "given")]
STRANGE = (Chord(0, 11, "weird kind | 100 %", (11, 2)), Chord(5, 3, "", (3, 9)), Chord(TICKS, None, "N", ()))

FRACTION = {"type": "string", "pattern": r"^-?\d+(/\d+)?$"}
LAYOUT = {
    "type": "object",
    "additionalProperties": False,
    "required": ["schema", "solo", "notes", "bars", "chords", "remarks"],
    "properties": {
        "schema": {"const": "stylemeter/notes/1"},
        "solo": {
            "required": ["title", "part", "key", "meter", "tempo"],
            "properties": {
                "meter": {"items": {"prefixItems": [FRACTION, {"type": "integer"}, {"type": "integer"}]}},
                "key": {
                    "type": ["object", "null"],
                    "required": ["tonic", "mode", "name", "source", "runner_up", "margin"],
                },
                "tempo": {"type": ["number", "null"]},
                "tuning": {"type": "array", "items": {"type": "integer"}},
            },
        },
        "notes": {
            "items": {
                "required": ["onset", "duration", "pitch", "bar", "beat", "weight", "technique"],
                "properties": {
                    "onset": FRACTION,
                    "duration": {"anyOf": [FRACTION, {"type": "null"}]},
                    "pitch": {"type": "number"},
                    "bar": {"type": "integer"},
                    "beat": {"type": "number"},
                    "weight": {"type": "integer"},
                    "technique": {"type": ["array", "null"], "items": {"type": "string"}},
                    "string": {"type": ["integer", "null"]},
                    "fret": {"type": ["integer", "null"]},
                    "phrase_end": {"type": "boolean"},
                },
            }
        },
        "bars": {"items": {"prefixItems": [FRACTION, FRACTION, {"type": "integer"}], "minItems": 3}},
        "chords": {"type": ["array", "null"], "items": {"required": ["onset", "root", "kind", "pitch_classes"]}},
        "remarks": {"items": {"type": "string"}},
    },
}


def again(text):
    [melody] = read(text.encode(), ReadOptions())
    return melody


@pytest.mark.parametrize("kind", ["csv", "json"])
def test_a_table_written_by_hand_says_what_it_says(kind):
    [melody] = read((INPUTS / f"ours.{kind}").read_bytes(), ReadOptions())
    assert (melody.onset / TICKS).tolist() == pytest.approx([0, 1, 4 / 3, 5 / 3, 5, 9])
    assert melody.onset.tolist() == [0, 10080, 13440, 16800, 50400, 90720]
    assert melody.duration.tolist() == [10080, 3360, 3360, 13440, 630, 20160]
    assert melody.pitch.tolist() == [57, 62, 64, 65.5, 60, 62]
    assert melody.bar.tolist() == [0, 1, 1, 1, 2, 3]
    assert melody.beat.tolist() == [4, 1, 1 + 1 / 3, 1 + 6720 / 10080, 1, 1]
    assert melody.weight.tolist() == [-2, 0, -3, -3, 0, 0]
    assert melody.technique.tolist() == [0, 16, 0, 1 | 64, 2 | 4, 8]
    assert melody.key == Key(2, "dorian", "declared")
    assert melody.meters == (Meter(0, 4, 4), Meter(90720, 3, 4))
    assert melody.bars.line.tolist() == [-30240, 10080, 50400, 90720]
    assert melody.bars.end.tolist() == [10080, 50400, 90720, 120960]
    assert [chord.kind for chord in melody.chords] == ["m7", "7b9(#11)", "N"]
    assert (melody.title, melody.part, melody.source) == ("Invented line, slow", "Guitar", "musicxml")
    assert (melody.tempo, melody.guessed_share) == (96.5, 0.25)
    assert melody.remarks == ("1 grace note left out, as said (bar 2)",)


@pytest.mark.parametrize(("kind", "write"), [("csv", to_csv), ("json", to_json)])
def test_writing_gives_the_same_bytes_again(kind, write):
    data = (INPUTS / f"ours.{kind}").read_bytes()
    [melody] = read(data, ReadOptions())
    assert write(melody).encode() == data


def test_csv_and_json_say_the_same():
    one, other = (read((INPUTS / f"ours.{kind}").read_bytes(), ReadOptions())[0] for kind in ("csv", "json"))
    assert_same(one, other)


def played_on_strings():
    """Four notes of a guitar a semitone down; the source doesn't say where the third is played."""
    places = [(3, 2, 56), (3, 4, 58), (-1, -1, 61), (2, 5, 63)]
    notes = [RawNote(i * TICKS, TICKS, float(pitch), string=s, fret=f) for i, (s, f, pitch) in enumerate(places)]
    return build(Draft(notes, tuning=(39, 44, 49, 54, 58, 63), phrase_ends=[TICKS + 1]))


@pytest.mark.parametrize("write", [to_csv, to_json])
def test_strings_frets_tuning_and_phrase_ends_come_back(write):
    melody = played_on_strings()
    assert melody.strings.tolist() == [3, 3, -1, 2]
    assert melody.frets.tolist() == [2, 4, -1, 5]
    assert (
        [melody.tuning[-s] + f for s, f in ((3, 2), (3, 4), (2, 5))] == [56, 58, 63] == melody.pitch[[0, 1, 3]].tolist()
    )
    assert melody.phrase_ends.tolist() == [False, True, False, True]
    back = again(write(melody))
    assert_same(melody, back)
    assert write(back) == write(melody)
    Draft202012Validator(LAYOUT).validate(json.loads(to_json(melody)))


def test_a_stretch_keeps_where_it_is_played_and_where_its_phrases_end():
    melody = played_on_strings()
    assert melody.only(np.array([0, 2, 3])).phrase_ends.tolist() == [True, False, True]
    assert melody.only(slice(1, 3)).frets.tolist() == [4, -1]
    changed = apply_edits(melody, [Edit(pitch=((0, 57),), add=((2 * TICKS + TICKS // 2, TICKS // 2, 60),))])
    assert changed.strings.tolist() == [-1, 3, -1, -1, 2]
    assert changed.phrase_ends.tolist() == [False, True, False, False, True]


def test_strings_are_written_where_notation_has_them():
    score = to_musicxml(played_on_strings()).decode()
    assert re.findall(r"<string>(\d+)</string>\s*<fret>(\d+)</fret>", score) == [("3", "2"), ("3", "4"), ("2", "5")]
    assert any("tuning" in words for words in losses(played_on_strings(), "musicxml"))


@given(melody=melodies())
@often
def test_any_melody_comes_back_equal(melody):
    for write in (to_csv, to_json):
        text = write(melody)
        back = again(text)
        assert_same(melody, back)
        assert write(back) == text
        assert features_that_differ(melody, back) == {}


@given(
    title=st.text(max_size=30),
    remarks=st.lists(st.text(max_size=40), max_size=3),
    tempo=st.none() | st.floats(5, 1000),
    share=st.floats(0, 1),
    key=st.sampled_from(KEYS),
    seconds=st.booleans(),
)
@often
def test_any_words_and_numbers_come_back_equal(title, remarks, tempo, share, key, seconds):
    notes = [RawNote(i * 4001, 3000 + i, 60 + i / 7, seconds=0.1 + i / 3 if seconds else None) for i in range(12)]
    draft = Draft(notes, [Meter(0, 4, 4)], key=key, chords=STRANGE, title=title, part=title[::-1], tempo=tempo)
    draft.remarks.extend(remarks)
    melody = build(Draft(**{name: getattr(draft, name) for name in draft.__slots__} | {"guessed_share": share}))
    for write in (to_csv, to_json):
        assert_same(melody, again(write(melody)))


@given(melody=melodies())
@settings(often, max_examples=20)
def test_json_has_the_layout_promised(melody):
    record = json.loads(to_json(melody))
    Draft202012Validator(LAYOUT).validate(record)
    assert record == json.loads(json.dumps(to_record(melody)))


def test_every_tick_has_a_decimal_of_its_own():
    texts = [decimal_text(tick) for tick in range(-TICKS, TICKS)]
    assert len(set(texts)) == 2 * TICKS
    assert max(len(text.partition(".")[2]) for text in texts) == 5
    assert [round(float(text) * TICKS) for text in texts] == list(range(-TICKS, TICKS))


def test_quarters_are_exact_fractions():
    assert [quarters_text(t) for t in (0, 1, 3360, 15120, -2520)] == ["0", "1/10080", "1/3", "3/2", "-1/4"]


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@x", "\t=x", 'a,"b",=c', "a; -3", "100 %41", " x ", "a,", "\r\n"]
)
def test_text_a_spreadsheet_would_run_is_escaped(text):
    written_text = escape(text)
    assert not re.search(r"(^|[,;\t])\s*[=+\-@]", written_text)
    assert not set(written_text) & set('"\t\r\n')
    assert unescape(written_text) == text


def test_no_cell_is_one_a_spreadsheet_makes_a_date_or_formula_of():
    melody = written("C4:1/3 D4:1/3!bend E4:1/3 F4:5/7 G4:1/16 A4:3", chords="0:Dm7 1:G7")
    for row in csv.reader(io.StringIO(to_csv(melody))):
        for cell in row:
            assert not cell.startswith(("=", "+", "@", "\t"))
            if not cell.startswith("#"):
                # A minus sign only before a number, a slash nowhere: 3/2 would become a day in March.
                assert "/" not in cell
                assert not cell.startswith("-") or cell[1:].replace(".", "").isdigit()


def test_pandas_reads_the_csv():
    """Outside check: a general-purpose CSV reader sees the same columns."""
    melody = written("C4:1/3 D4:1/3 E4:1/3 F4:1 r:1 G4:3/2", chords="0:Dm7 1:G7(b9,#11)", bars="1 4")
    frame = pd.read_csv(io.StringIO(to_csv(melody)), comment="#")
    assert list(frame) == ["onset", "duration", "pitch", "bar", "beat", "weight"]
    assert np.array_equal((frame.onset * TICKS).round(), melody.onset)
    assert np.array_equal((frame.duration * TICKS).round(), melody.duration)
    assert np.allclose(frame.beat, melody.beat, atol=1e-5)
    assert np.array_equal(frame.weight, melody.weight)


def test_only_uneven_bars_are_listed():
    assert "# bars" not in to_csv(written("C4:4 D4:4 E4:4"))
    assert "# bars: -3 1 0 x3\n" in to_csv(written("C4:1 D4:4 E4:4", bars="1 4 4"))


def test_empty_bars_and_columns_that_are_not_there_survive():
    melody = written("C4:1 r:11 D4:1", timed=False)
    for write in (to_csv, to_json):
        back = again(write(melody))
        assert back.duration is None
        assert back.technique is None
        assert back.bars.number.tolist() == [1, 2, 3, 4]
        assert back.bar.tolist() == [1, 4]
