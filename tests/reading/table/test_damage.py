"""Tables that are none, or are damaged: one clear line, whatever the bytes."""

import json
import random
from collections import Counter

import numpy as np
import pytest
from helpers.places import ROOT

from stylemeter.errors import InputError
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.table.read import read

INPUTS = ROOT / "tests" / "inputs" / "table"
NLT = ("seconds", "bar_position", "pitch", "degree")


def table(text, **options):
    """The one melody of a table."""
    [melody] = read(text.encode(), ReadOptions(**options))
    return melody


#: The beginning of a table of ours.
OURS = "# stylemeter/notes/1\n# meter: 4/4\n"


def solo(fields):
    """A JSON table of ours of one note, with these fields of the solo."""
    return f'{{"schema": "stylemeter/notes/1", "solo": {{{fields}}}, "notes": [{{"onset": 0, "pitch": 60}}]}}'


def failure(text, **options):
    with pytest.raises(InputError) as caught:
        table(text, **options)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("onset,duration,pitch\n0,1,60\n1,-1,62\n", "row 3: duration -1 is below 0; mend the row or take it out"),
        ("start,end,midi\n0,1,60\n2,1,62\n", "row 3: end 1 is before the onset; mend the row or take it out"),
        ("onset,duration,pitch\n0,1,60\n02-Mar,1,62\n", "row 3: onset '02-Mar' is not a number; a spreadsheet"),
        ("# x\nonset,pitch\n0,60\n1,H4\n", "row 4: pitch 'H4' is not a pitch; write a MIDI number"),
        ("onset,pitch\n0,60\n1,200\n", "row 3: pitch 200 is outside of MIDI's 0 to 127"),
        ("onset,pitch,technique\n0,60,wobble\n", "row 2: unknown technique 'wobble'; marks are: bend"),
        ("bar_position,pitch\n0.0,60\n-1.5,62\n", "row 3: bar_position -1.5 is below 0"),
        ("bar_position,pitch\n0.0,60\n99999,62\n", "bar 100000; at most 5000 bars are read"),
        ("onset,pitch\n0,60\n1e9,62\n", "row 3: onset is more than 80000 quarter notes away"),
        ("0,1,60\n1,1,62\n", "row 1: the first line names no column known here; name the columns"),
        ("onset,duration\n0,1\n", "no column of pitches (columns known: onset, duration)"),
        ("pitch,velocity\n60,90\n", "no column of onsets (columns known: pitch)"),
        ("onset,pitch\n", "no notes in it"),
        ("# stylemeter/notes/1\nonset,pitch\n0,60\n", "meter: '' is not a meter"),
        ("# stylemeter/notes/1\n# meter: 4/4\nonset,duration,pitch\n1,0,62\n", "row 4: duration 0 is not over 0"),
        ("# stylemeter/notes/1\n# meter: 4/4\n# bars: 0 4\nonset,pitch\n0,60\n", "bars: '0 4' is not a bar"),
        ("# stylemeter/notes/1\n# meter: 4/4\n# bars: 4 8 1\nonset,pitch\n0,60\n", "a note lies before the first bar"),
        ("# stylemeter/notes/1\n# meter: 4/4\n# chords: 0 Hm7\nonset,pitch\n0,60\n", "chords, place 1"),
        ('{"notes": [{"onset": 0, "pitch": 60}, {"onset": 1, "pitch": "x"}]}', "note 2: pitch 'x' is not a pitch"),
        ('{"schema": "stylemeter/notes/2"}', "layout 'stylemeter/notes/2' is not known; this version reads"),
        ('{"schema": "stylemeter/notes/1", "notes": [{"onset": 0}]}', "note 1: pitch None is not a number from 0"),
        ("[[0, 1, 60]]", "lists without column names; write objects with onset, duration and pitch"),
        ("[1, 2]", "no list of notes"),
        ("[] 5", "no list of notes"),
        ('{"notes": []} [', "line 1, character 16: not JSON"),
        ("bar,beat,pitch\n1,1,60\none,2,62\n", "row 3: bar 'one' is not a bar number"),
        (OURS + "onset,pitch\n", "no notes in it"),
        (OURS + "# bars: 0 4 1 | 0 4 2\nonset,pitch\n0,60\n", "bars: bar lines do not rise, or there are none"),
        (OURS + "# bars: 0 4 1 x9999\nonset,pitch\n0,60\n", "bars: more than 5000 bars"),
        (OURS + "# bars: 4 0 1\nonset,pitch\n0,60\n", "bars: bar ['4', '0', 1] ends before it starts"),
        (solo('"meter": []'), "meter: 0 meters; give at least one"),
        (solo('"meter": [["0", 4]]'), "meter: ['0', 4] is not a meter; write [onset, numerator, denominator]"),
        (solo('"meter": [["0", 4.5, 4]]'), "meter: number 4.5 is not a whole number"),
        (solo('"meter": [["0", 4, 4]], "key": {"tonic": 0, "mode": "hp"}'), "key: mode 'hp' is not known; modes are:"),
        (solo('"meter": [["0", 4, 4]], "key": "H"'), "key: 'H' is not a key"),
        ('{"onset": 1}', "no list of notes in it; give a list of objects with onset, duration and pitch"),
        ('[{"onset": 0, "pitch": [60, 64]}]', "note 1: pitch '[60, 64]' is not a pitch"),
        ("onset,duration,pitch\n0,1,60\n#REF!,1,62\n", "row 3: onset '#REF!' is not a number"),
        ("onset,duration,pitch\n0,1,60\n#DIV/0!,1,62\n", "row 3: onset '#DIV/0!' is not a number"),
        ("onset,duration,pitch\n0,1,60\n2,5,1,5,62\n", "row 3: 5 cells under 3 column names; name every column"),
        ("onset,duration,pitch\n1,0,1,60\n2,1,1,62\n", "row 2: 4 cells under 3 column names"),
        ('{"notes": [}', "line 1, character 12: not JSON"),
        ("[" * 100_000, "JSON that holds no note table"),
        ("onset,pitch\n0,\"60\n1,62\n", "line 2: a quote opened here is never closed"),
    ],
)  # fmt: skip
def test_clear_errors(text, said):
    assert said in failure(text)


def test_too_many_rows():
    assert "at most 20000 notes are read" in failure("onset,pitch\n" + "0,60\n" * 20_001)
    assert "at most 20000" in failure("[" + "{}," * 20_000 + "{}]")
    assert "more than 5000 bars" in failure("# stylemeter/notes/1\n# meter: 1/64\nonset,pitch\n0,60\n79000,62\n")
    assert "at most 10000" in failure("# stylemeter/notes/1\n" * 10_001)
    rows = "0,60\n" * 20_001
    assert "at most 20000" in failure(f"{OURS}onset,pitch\n{rows}")
    assert "field larger than field limit" in failure("onset,pitch\n0," + "9" * 200_000)
    assert "more than 250000 rows" in failure("0\n" * 250_001)
    assert "a table of more than 8 MiB" in failure("," * (8 * 2**20 + 1))
    # A row of nothing but commas is a blank one, and no slower than any other text of its size.
    assert "no notes in it" in failure("," * 2**20)


def test_numbers_that_would_take_forever():
    for cell in ("1e999999999", "9" * 5000, "1/" + "9" * 5000, "nan", "inf", "1e-99"):
        if cell == "1e-99":
            assert table(f"onset,pitch\n0,60\n1,62\n{cell},61\n").pitch.tolist() == [61, 62]
        else:
            assert "is not a number" in failure(f"onset,pitch\n{cell},60\n")
    assert "is not a time in quarter notes" in failure(
        '{"schema": "stylemeter/notes/1", "solo": {"meter": [["0", 4, 4]]}, "notes": [{"onset": NaN, "pitch": 60}]}'
    )


SEEDS = {
    "csv": ((INPUTS / "ours.csv").read_bytes(), {}),
    "json": ((INPUTS / "ours.json").read_bytes(), {}),
    "spreadsheet": ((INPUTS / "ours_from_a_spreadsheet.csv").read_bytes(), {}),
    "positions": ((INPUTS / "positions.nlt").read_bytes(), {"columns": NLT}),
    "seconds": (b"time,duration,midi\n0.01,0.45,60\n0.51,0.4,62\n1.02,0.5,64\n", {"tempo": 120.0}),
    "bars": (b"bar,beat,length,pitch,technique\n1,1,0.5,66,bend\n1,1.5,0.5,A4,\n2,2,1/2,74,\n", {}),
}


def mutated(data, chance):
    """Some bytes changed, cut out or doubled."""
    data = bytearray(data)
    for _ in range(chance.randint(1, 6)):
        place = chance.randrange(len(data)) if data else 0
        kind = chance.randrange(4)
        if kind == 0 and data:
            data[place] = chance.randrange(256)
        elif kind == 1:
            del data[place : place + chance.randint(1, 30)]
        elif kind == 2:
            data[place:place] = data[place : place + chance.randint(1, 60)]
        else:
            data[place:place] = chance.choice([b'"', b"\n", b"#", b"-", b"99999999", b"\x00", b"|", b"{", b"/0", b",,"])
    return bytes(data)


@pytest.mark.parametrize("name", SEEDS)
@pytest.mark.parametrize("count", [40, pytest.param(300, marks=pytest.mark.slow)])
def test_any_bytes_give_melodies_or_one_clear_line(name, count):
    data, options = SEEDS[name]
    chance = random.Random(f"{name} {count}")
    outcomes = Counter()
    for _ in range(count):
        try:
            melodies = read(mutated(data, chance), ReadOptions(**options))
        except InputError as error:
            outcomes["refused"] += 1
            outcomes["of several lines"] += "\n" in str(error) or not str(error)
        else:
            outcomes["read"] += 1
            assert all(len(m) and np.isfinite(m.pitch).all() and (m.weight <= 0).all() for m in melodies)
    assert outcomes["refused"] > 0
    assert outcomes["read"] > 0 or name == "json"
    assert not outcomes["of several lines"]


#: What may stand where a table expects something else.
ODD = [
    None,
    True,
    -1,
    0,
    0.5,
    1e300,
    10**400,
    "",
    "x",
    "1/3",
    "9" * 60,
    [],
    [[]],
    {},
    {"onset": 1},
    "=1",
    [-1, 2, 3],
    "N",
]


def odd_one_out(value, chance):
    """The same JSON with one value, somewhere in it, replaced."""
    if isinstance(value, dict | list) and value and chance.random() < 0.9:
        keys = list(value) if isinstance(value, dict) else range(len(value))
        key = chance.choice(list(keys))
        changed = value.copy()
        changed[key] = odd_one_out(value[key], chance)
        return changed
    return chance.choice(ODD)


@pytest.mark.parametrize("count", [150, pytest.param(1500, marks=pytest.mark.slow)])
def test_any_value_in_json_gives_melodies_or_one_clear_line(count):
    chance = random.Random(count)
    record = json.loads((INPUTS / "ours.json").read_text())
    foreign = {"notes": [{"onset": 0, "duration": 1, "pitch": 60, "technique": ["bend"]}, {"onset": 1, "pitch": "D4"}]}
    outcomes = Counter()
    for turn in range(count):
        text = json.dumps(odd_one_out(foreign if turn % 3 == 0 else record, chance))
        try:
            melodies = read(text.encode(), ReadOptions())
        except InputError:
            outcomes["refused"] += 1
        else:
            outcomes["read"] += 1
            assert all(len(m) and np.isfinite(m.pitch).all() for m in melodies)
    assert min(outcomes["read"], outcomes["refused"]) > count / 20


ONE_NOTE = b"onset,duration,pitch,bar,beat,weight\n0,1,60,1,1,0\n"


def test_a_percent_sign_that_is_no_escape_stands_as_written():
    # found by damaging a table: %ea alone is no character
    data = b"# stylemeter/notes/1\n# title: Bread %eats\n# meter: 4/4\n" + ONE_NOTE
    [melody] = read(data, ReadOptions())
    assert melody.title == "Bread %eats"


def test_a_chord_kind_that_is_no_text():
    data = b"# stylemeter/notes/1\n# meter: 4/4\n# chords: 0 D:%EA7 2.5.9\n" + ONE_NOTE
    with pytest.raises(InputError, match="is not a chord"):
        read(data, ReadOptions())


@pytest.mark.parametrize("end", ["", "\n", "\r\n"])
def test_a_quote_that_is_never_closed_is_told_with_its_line(end):
    """RFC 4180: a quoted cell may hold line ends, so one quote too many swallows every row behind it."""
    rows = ["onset,duration,pitch,technique", *(f"{i},1,{60 + i}," for i in range(6))]
    rows[3] = '2,1,62,"bend'
    with pytest.raises(InputError, match="line 4: a quote opened here is never closed"):
        read(("\n".join(rows) + end).encode(), ReadOptions())
    rows[3] = '2,1,62,"bend"'
    assert len(read(("\n".join(rows) + end).encode(), ReadOptions())[0]) == 6
