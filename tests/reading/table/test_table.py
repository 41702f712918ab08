"""Note tables from spreadsheets, from other tools and from open data."""

import json
import re
from fractions import Fraction

import pytest
from helpers.places import ROOT
from helpers.same import assert_same
from helpers.written import written

from stylemeter.errors import InputError, UnknownNameError
from stylemeter.music.meter import TICKS
from stylemeter.reading.draft.numbers import Printed, bar_parts, parse_number, snap
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.table.read import read
from stylemeter.writing.table import to_csv, to_json

INPUTS = ROOT / "tests" / "inputs" / "table"
NLT = ("seconds", "bar_position", "pitch", "degree")


def table(text, **options):
    """The one melody of a table."""
    [melody] = read(text if isinstance(text, bytes) else text.encode(), ReadOptions(**options))
    return melody


def quarters(array):
    return [Fraction(int(ticks), TICKS) for ticks in array]


# what spreadsheets do -------------------------------------------------------------------------------------------------


def ours():
    return read((INPUTS / "ours.csv").read_bytes(), ReadOptions())[0]


def test_a_table_saved_by_a_spreadsheet_is_the_same():
    """Semicolons, decimal commas, padded and quoted comment lines, a byte order mark, CRLF, a blank last row."""
    [saved] = read((INPUTS / "ours_from_a_spreadsheet.csv").read_bytes(), ReadOptions())
    assert_same(saved, ours())


@pytest.mark.parametrize(
    "mangle",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: "\ufeff" + text,
        lambda text: re.sub("(?m)$", ",,,", text.rstrip("\n")),
        lambda text: re.sub("(?m)^(#.*)$", r'"\1"', text),
        lambda text: "\n".join(line if line[0] == "#" else line.replace(",", "\t") for line in text.split("\n")[:-1]),
        lambda text: "sep=,\n" + text,
        lambda text: text.replace("onset,duration,pitch", "Onset,Duration,Pitch"),
        lambda text: re.sub(r"(?m)^(\d\S*)$", lambda m: ",".join(f'"{c}"' for c in m[1].split(",")), text),
    ],
    ids=["crlf", "bom", "padded", "quoted comments", "tabs", "sep=", "capitals", "quoted cells"],
)
def test_what_a_spreadsheet_does_is_undone(mangle):
    text = (INPUTS / "ours.csv").read_text()
    assert_same(table(mangle(text)), ours())


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "cp1252"])
def test_other_encodings(encoding):
    text = (INPUTS / "ours.csv").read_text().replace("Invented line, slow", "Invención lenta")
    assert table(text.encode(encoding)).title == "Invención lenta"


def test_columns_in_another_order_and_more_of_them():
    text = "# stylemeter/notes/1\n# meter: 4/4\npitch,what I think,onset,duration\n60,good,0,1\n62,bad,1,1/2\n"
    melody = table(text)
    assert melody.pitch.tolist() == [60, 62]
    assert quarters(melody.duration) == [1, Fraction(1, 2)]


def test_rows_mended_by_hand_are_taken_at_their_onset():
    text = to_csv(written("C4:1 D4:1 E4:1 F4:1"))
    mended = table(text.replace("\n2,1,64,", "\n2.5,0.5,65,"))
    assert quarters(mended.onset) == [0, 1, Fraction(5, 2), 3]
    assert mended.beat.tolist() == [1, 2, 3.5, 4]
    assert mended.remarks == ("bar, beat or weight of 1 note did not follow from the onset: worked out anew",)


def test_notes_added_after_the_last_bar_get_bars():
    text = to_csv(written("C4:1 D4:4 E4:4", bars="1 4 4"))
    melody = table(text + "12,1,67,,,\n")
    assert melody.bar.tolist() == [0, 1, 2, 3]
    assert "1 bar added" in melody.remarks[0]


def test_an_unsorted_table_is_sorted_and_double_stops_reduced():
    text = "# stylemeter/notes/1\n# meter: 4/4\nonset,duration,pitch\n1,1,62\n0,1,60\n1,1,67\n"
    melody = table(text)
    assert melody.pitch.tolist() == [60, 67]
    assert melody.remarks == ("1 lower note of double stops or chords left out: the top note is kept",)


# tables from elsewhere ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "onset,duration,pitch\n0,0.5,66\n0.5,1/2,69\n1,1 1/2,74\n",
        "Note;Length;Start\nF#4;0,5;0\nA4;0,5;0,5\nD5;1,5;1\n",
        "start\tend\tmidi\n0\t0.5\t66\n0.5\t1\t69\n1\t2.5\t74\n",
        "offset,quarterLength,name,velocity\n0,0.5,F#4,90\n0.5,0.5,A4,90\n1,1.5,D5,90\n",
        "onset offset midi_pitch\n0 0.5 66\n0.5 1 69\n1 2.5 74\n",
        "beat,dur,note\n0,.5,gb4\n0.5,.5,a4\n1,1.5,d5\n",
        "bar,beat,length,pitch\n1,1,0.5,66\n1,1.5,0.5,69\n1,2,1.5,74\n",
        "pitch,duration\n66,0.5\n69,0.5\n74,1.5\n",
        json.dumps([{"onset": 0, "duration": 0.5, "pitch": 66}, {"onset": 0.5, "duration": "1/2", "pitch": "A4"}])[:-1]
        + ', {"onset": "1", "duration": 1.5, "pitch": 74}]',
        json.dumps({"notes": [{"start": 0, "end": 0.5, "midi": 66}, {"start": 0.5, "end": 1, "midi": 69}]})[:-2]
        + ', {"start": 1, "end": 2.5, "midi": 74}]}',
    ],
)
def test_any_names_any_order(text):
    melody = table(text)
    assert melody.pitch.tolist() == [66, 69, 74]
    assert quarters(melody.onset) == [0, Fraction(1, 2), 1]
    assert quarters(melody.duration) == [Fraction(1, 2), Fraction(1, 2), Fraction(3, 2)]


def test_without_a_header_the_user_names_the_columns():
    for text in ("0,0.5,66\n0.5,1,69\n", "[[0, 0.5, 66], [0.5, 1, 69]]", "0 0.5 66\n0.5 1 69\n"):
        assert table(text, columns=("onset", "duration", "pitch")).pitch.tolist() == [66, 69]


def test_printed_decimals_are_the_fractions_they_were_rounded_from():
    melody = table("onset,duration,pitch\n0.00,0.33,60\n0.33,0.33,62\n0.67,0.33,64\n1.00,0.38,65\n1.38,0.17,67\n")
    assert quarters(melody.onset) == [0, Fraction(1, 3), Fraction(2, 3), 1, Fraction(11, 8)]
    assert quarters(melody.duration)[3:] == [Fraction(3, 8), Fraction(1, 6)]
    assert melody.remarks[0] == "3 rounded onsets read as the simplest fraction of a beat that prints so"


def test_exact_decimals_are_not_touched():
    melody = table("onset,pitch\n0.0,60\n0.25,62\n0.375,64\n0.0625,65\n")
    assert quarters(melody.onset) == [0, Fraction(1, 16), Fraction(1, 4), Fraction(3, 8)]
    assert not any("rounded" in remark for remark in melody.remarks)


def test_seconds_need_a_tempo_and_are_laid_on_the_grid():
    text = "time,duration,midi\n0.01,0.45,60\n0.51,0.4,62\n1.02,0.5,64\n1.49,0.2,65\n1.74,0.2,67\n2.01,0.5,69\n"
    with pytest.raises(InputError, match="nothing tells the tempo"):
        table(text)
    melody = table(text, tempo=120)
    assert quarters(melody.onset) == [0, 1, 2, 3, Fraction(7, 2), 4]
    assert melody.onset_seconds.tolist() == [0.01, 0.51, 1.02, 1.49, 1.74, 2.01]
    assert melody.tempo == 120
    said = table("onset (ms),duration_s,midi\n10,0.45,60\n510,0.4,62\n1020,0.5,64\n", tempo=120)
    assert said.onset_seconds.tolist() == [0.01, 0.51, 1.02]
    assert quarters(said.duration) == [1, 1, 1]


def test_a_beat_given_in_seconds_moves_the_bars():
    text = "seconds,pitch\n0.5,59\n1.0,60\n1.5,62\n3.0,64\n"
    melody = table(text, tempo=120, first_beat=1.0)
    assert melody.bar.tolist() == [0, 1, 1, 2]
    assert melody.beat.tolist() == [4, 1, 2, 1]


def test_bar_and_beat_from_one_with_a_pickup():
    melody = table("bar,beat,length,pitch\n0,4,1,59\n1,1,1,60\n1,2.5,1.5,62\n2,1,4,64\n")
    assert melody.bar.tolist() == [0, 1, 1, 2]
    assert melody.beat.tolist() == [4, 1, 2.5, 1]


@pytest.mark.parametrize(("beats", "said"), [("1,4,6", True), ("1,1.5,2", False)])
def test_beats_of_compound_meters_either_way(beats, said):
    rows = "".join(f"1,{beat},60\n" for beat in beats.split(","))
    melody = table("bar,beat,pitch\n" + rows, meter="6/8")
    units = 0.5 if said else 1.5
    assert [float(q) for q in quarters(melody.onset)] == [(float(b) - 1) * units for b in beats.split(",")]
    assert any("lower number of the meter" in remark for remark in melody.remarks) is said


def test_what_the_table_says_of_the_whole():
    text = "# title: A line\n# key: Dm\n# meter: 3/4\n# tempo: 90\n# chords: Dm7 | G7\nonset,duration,pitch\n"
    melody = table(text + "0,1,62\n1,2,65\n3,3,67\n")
    assert (melody.title, melody.key.name, str(melody.meters[0]), melody.tempo) == ("A line", "D minor", "3/4", 90)
    assert [(chord.onset // TICKS, chord.kind) for chord in melody.chords] == [(0, "m7"), (3, "7")]
    record = {"title": "A line", "key": "Dm", "meter": "3/4", "bpm": 90, "chords": "Dm7 | G7", "notes": []}
    record["notes"] = [{"onset": 0, "duration": 1, "pitch": 62}, {"onset": 1, "duration": 5, "pitch": 65}]
    melody = table(json.dumps(record))
    assert (melody.title, melody.key.name, str(melody.meters[0]), melody.tempo) == ("A line", "D minor", "3/4", 90)


def test_units_that_differ_between_columns():
    melody = table("onset,duration (ms),pitch\n0,500,60\n1,250,62\n", tempo=120)
    assert quarters(melody.duration) == [1, Fraction(1, 2)]
    melody = table("seconds,duration (beats),pitch\n0,1,60\n0.5,0.5,62\n1,2,64\n", tempo=120)
    assert quarters(melody.duration) == [1, Fraction(1, 2), 2]


def test_times_that_lie_on_no_grid_are_doubted():
    """Seconds under the name of quarter notes: read, but asked about."""
    times = (0.013, 0.557, 1.071, 1.619, 2.143, 2.689)
    melody = table("onset,pitch\n" + "".join(f"{t},60\n" for t in times))
    assert any("name the column 'seconds' and give --tempo" in remark for remark in melody.remarks)


def test_beats_from_zero_and_beats_without_bars():
    melody = table("bar,beat,pitch\n1,0,60\n1,2,62\n2,0,64\n")
    assert quarters(melody.onset) == [0, 2, 4]
    assert "beat counted from 0" in melody.remarks
    melody = table("beat,pitch\n0,60\n1.5,62\n", meter="6/8")
    assert "beat counted in quarter notes" in melody.remarks


def test_onsets_before_0_are_a_pickup():
    """A line of chords begins with bar 1, as a lead sheet's does."""
    melody = table("# chords: Am | Dm\nonset,duration,pitch\n-1,1,64\n0,4,69\n4,4,62\n")
    assert quarters(melody.onset) == [-1, 0, 4]
    assert melody.bar.tolist() == [0, 1, 2]
    assert melody.beat.tolist() == [4, 1, 1]
    assert [(chord.onset // TICKS, chord.root) for chord in melody.chords] == [(0, 9), (4, 2)]
    assert table("onset,pitch\n-4,64\n0,69\n").bar.tolist() == [1, 2]
    assert table("onset,pitch\n-1,64\n-0.5,62\n").bar.tolist() == [0, 0]


def test_a_row_without_a_pitch_is_told():
    melody = table("onset,duration,pitch\n0,1,60\n1,1\n2,1,0\n3,1,R\n4,1,64\n")
    assert quarters(melody.onset) == [0, 4]
    assert "2 rows without a pitch taken for rests (first: row 3)" in melody.remarks
    assert not any("rests" in remark for remark in table("onset,pitch\n0,60\n1,R\n").remarks)


def test_words_behind_the_last_column_are_no_cells():
    assert quarters(table("onset,pitch\n0,60,nice\n1,62,,late\n").onset) == [0, 1]


def test_bars_without_beats_and_a_tempo_in_words_are_told():
    melody = table("# tempo: fast\nbar,duration,pitch\n1,1,60\n2,1,62\n")
    assert "bar not used: no column says the beat" in melody.remarks
    assert "tempo 'fast' not understood; give it with --tempo" in melody.remarks


def test_a_meter_as_a_list_and_a_key_as_an_object():
    melody = table('{"timeSignature": [3, 4], "key": {"tonic": "E"}, "notes": [{"onset": 0, "pitch": 60}]}')
    assert str(melody.meters[0]) == "3/4"
    assert any(remark.startswith('key \'{"tonic"') and "not understood" in remark for remark in melody.remarks)


def test_some_durations_missing_and_a_key_that_is_none():
    text = "# stylemeter/notes/1\n# meter: 4/4\nonset,duration,pitch\n0,1,60\n1,,62\n"
    melody = table(text)
    assert melody.duration is None
    assert "1 note without a duration: durations are left out altogether" in melody.remarks
    melody = table("# key: H moll\nonset,pitch\n0,60\n1,64\n")
    assert "key 'H moll' not understood; give it with --key" in melody.remarks


def test_rests_and_grace_notes():
    melody = table("pitch,duration\n60,1\nrest,0.5\n62,0\nD4,1/2\n0,1\n64,1\n")
    assert melody.pitch.tolist() == [60, 62, 64]
    assert quarters(melody.onset) == [0, Fraction(3, 2), 3]
    assert "1 note of no length left out, as grace notes are" in melody.remarks


def test_frequencies_and_techniques():
    melody = table("onset,frequency (Hz),technique\n0,440,bend\n1,466.1637615180899,bend;vibrato\n2,220,\n")
    assert melody.pitch.tolist() == pytest.approx([69, 70, 57])
    assert melody.technique.tolist() == [1, 65, 0]


def test_several_tables_in_one_file():
    one, other = written("C4:1 D4:1"), written("E4:1 F4:1")
    for write in (to_csv, to_json):
        melodies = read((write(one) + write(other)).encode(), ReadOptions())
        assert [m.pitch.tolist() for m in melodies] == [[60, 62], [64, 65]]
    listed = f"[{to_json(one)}, {to_json(other)}]"
    assert len(read(listed.encode(), ReadOptions())) == 2


def test_one_bad_table_does_not_stop_the_others():
    good, bad = to_csv(written("C4:1 D4:1")), to_csv(written("E4:1 F4:1")).replace("\n1,1,65", "\n1,-1,65")
    [melody] = read((bad + good).encode(), ReadOptions())
    assert melody.pitch.tolist() == [60, 62]
    assert melody.remarks[-1].startswith("table 1 left out: row ")


# open data: bars and fractions printed to two digits ------------------------------------------------------------------


def test_positions_in_the_layout_of_the_rock_corpus():
    [melody] = read((INPUTS / "positions.nlt").read_bytes(), ReadOptions(columns=NLT))
    assert quarters(melody.onset) == [Fraction(v) for v in ("0", "1/2", "4/3", "5/2", "31/4", "71/8")]
    assert melody.duration is None
    assert (melody.key.tonic, melody.key.mode, melody.key.source) == (0, None, "declared")
    assert melody.onset_seconds.tolist() == [1, 1.25, 1.5, 2, 2.5, 3]


def test_the_same_positions_in_three_four():
    """2.22 is 2 and two ninths there: a triplet of a beat."""
    [melody] = read((INPUTS / "positions.nlt").read_bytes(), ReadOptions(columns=NLT, meter="3/4"))
    assert quarters(melody.onset)[-1] == 6 + Fraction(2, 3)


def test_a_tonic_that_changes_is_told():
    text = "0.1 0.00 60 0\n0.2 0.25 62 2\n0.3 1.00 67 0\n0.4 1.25 69 2\n"
    melody = table(text, columns=NLT)
    assert melody.key.tonic == 0
    assert "the tonic changes 1 time (first to G in row 3): C kept throughout" in melody.remarks


@pytest.mark.parametrize(
    ("printed", "parts", "meant"),
    [
        ("0.94", (4, 4), "15/16"),
        ("0.94", (3, 4), "17/18"),
        ("0.44", (4, 4), "7/16"),
        ("0.44", (9, 8), "4/9"),
        ("0.12", (4, 4), "1/8"),
        ("0.45", (4, 4), "9/20"),
    ],
)
def test_snapping(printed, parts, meant):
    assert snap(parse_number(printed), bar_parts(*parts)) == Fraction(meant)


def test_snapping_takes_the_first_within_half_a_printed_digit():
    """Against a slow search in exact fractions."""
    for parts in (bar_parts(4, 4), bar_parts(6, 8), bar_parts(7, 8)):
        for hundredths in range(100):
            value = Fraction(hundredths, 100)
            slow = (
                Fraction(k, p) for p in parts for k in range(p + 1) if abs(Fraction(k, p) - value) <= Fraction(1, 200)
            )
            assert snap(Printed(value, 2), parts) == next(slow, None)


def mel_bars(text):
    """Where notes start in each bar of the corpus' own transcriptions: groups share a bar evenly, signs a group."""
    bars, meters = [], {}
    for raw in re.sub(r"%[^\n]*", "", text).replace("\n", " ").split("|"):
        meters.update({len(bars): m for m in re.findall(r"\[(\d+/\d+)\]", raw)})
        groups = re.sub(r"\[[^\]]*\]", "", raw).split()
        rest = re.fullmatch(r"R\*(\d+)", "".join(groups))
        if rest:
            bars += [[]] * int(rest[1])
            continue
        signs = [re.findall(r"[1-7._=-]", group) for group in groups]
        starts = [
            (g + Fraction(i, len(group))) / len(signs)
            for g, group in enumerate(signs)
            for i, sign in enumerate(group)
            if sign in "1234567"
        ]
        bars.append(starts)
    return bars, meters


@pytest.mark.data
def test_the_rock_corpus_against_its_own_exact_transcriptions(open_data):
    """Outside check: T. de Clercq & D. Temperley, Rock Corpus v2.1.

    The note lists print bar fractions to two digits; the transcriptions they were made from have them exactly.
    """
    folder = open_data / "rock-melodies"
    right = wrong = read_files = compared = 0
    for path in sorted((folder / "data/rock_corpus_v2-1/rs200_melody_nlt").glob("*.nlt"))[::8]:
        if not path.stat().st_size:
            continue
        truth, meters = mel_bars((folder / f"source/data/rs200_melody/{path.stem}.mel").read_text(errors="replace"))
        exact = sorted({bar + start for bar, starts in enumerate(truth) for start in starts})
        meter = meters.get(0, "4/4")
        [melody] = read(path.read_bytes(), ReadOptions(columns=NLT, meter=meter))
        read_files += 1
        bar = melody.meters[0].bar
        found = [Fraction(int(tick), bar) for tick in melody.onset]
        aligned = len(found) == len(exact) and all(
            abs(a - b) < Fraction(1, 50) for a, b in zip(found, exact, strict=True)
        )
        if not aligned or len(meters) > 1:
            continue  # the transcription jumps about, or changes its meter within the song
        compared += 1
        right += sum(a == b for a, b in zip(found, exact, strict=True))
        wrong += sum(a != b for a, b in zip(found, exact, strict=True))
    assert read_files >= 20
    assert compared >= 10
    assert wrong <= 0.002 * right


# parts, strings and frets ---------------------------------------------------------------------------------------------

PARTS = "onset,pitch,track\n" + "".join(
    f"{i},{40 + i},Bass\n{i},{60 + i},Lead\n{i}.5,{50 + i},Keys\n" for i in range(5)
)


def test_a_column_may_name_the_parts():
    [melody] = read(PARTS.encode(), ReadOptions())
    assert (melody.part, melody.pitch.tolist()) == ("Lead", [60, 61, 62, 63, 64])
    assert "several parts: read 2 Lead (5 notes), not 1 Bass, 3 Keys; choose with --part" in melody.remarks
    for wanted in ("1", "bass"):
        assert read(PARTS.encode(), ReadOptions(part=wanted))[0].pitch.tolist() == [40, 41, 42, 43, 44]


@pytest.mark.parametrize(
    ("data", "there"),
    [
        (PARTS.encode(), "1 Bass, 2 Lead, 3 Keys"),
        (b"onset,pitch\n0,60\n1,62\n", "1"),
        ((INPUTS / "ours.csv").read_bytes(), "1 Guitar"),
        ((INPUTS / "ours.json").read_bytes(), "1 Guitar"),
    ],
)
def test_a_part_that_is_not_there_lists_those_that_are(data, there):
    with pytest.raises(UnknownNameError, match=f"no part 'Kazoo'; there is: {there}$"):
        read(data, ReadOptions(part="Kazoo"))
    assert read(data, ReadOptions(part="1"))


@pytest.mark.parametrize("onset", ["onset", "onset (s)"])
def test_strings_and_frets_of_a_table_are_kept(onset):
    text = f"{onset},pitch,string,fret\n0,64,2,5\n1,66,2,7\n2,67,,\n"
    [melody] = read(text.encode(), ReadOptions(tempo=60.0))
    assert (melody.strings.tolist(), melody.frets.tolist()) == ([2, 2, -1], [5, 7, -1])
