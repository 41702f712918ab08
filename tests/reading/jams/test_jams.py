"""JAMS files made in code (item 60), and the open guitar takes where they are there."""

import json
import random

import numpy as np
import pytest

from stylemeter.errors import InputError, UnknownNameError
from stylemeter.music.meter import TICKS
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.jams.beats import annotated_beats, even_beats
from stylemeter.reading.jams.file import Observation
from stylemeter.reading.jams.read import read

#: C D E F as quarters at 120 a minute, 100 ms of each unsounded.
SCALE = [(0.5 * i, 0.4, 60 + p) for i, p in enumerate((0, 2, 4, 5))]


def observed(rows):
    return [{"time": t, "duration": d, "value": v, "confidence": None} for t, d, v in rows]


def place(position, measure=1, num_beats=4, beat_units=4):
    return {"position": position, "measure": measure, "num_beats": num_beats, "beat_units": beat_units}


def beats(count=16, start=0.0, first=1, per_bar=4, unit=4, seconds=0.5):
    rows = []
    for index in range(count):
        at = first - 1 + index
        rows.append((start + seconds * index, 0.0, place(at % per_bar + 1, at // per_bar + 1, per_bar, unit)))
    return rows


def jams(*strings, title="Take", **namespaces):
    found = [
        {"namespace": "note_midi", "data": observed(s), "annotation_metadata": {"data_source": str(i)}}
        for i, s in enumerate(strings)
    ]
    for namespace, data in namespaces.items():
        for rows in data if data and isinstance(data[0], list) else [data]:
            found += [{"namespace": namespace, "data": observed(rows)}]
    return json.dumps({"annotations": found, "file_metadata": {"title": title}, "sandbox": {}}).encode()


def one(data, **options):
    (melody,) = read(data, ReadOptions(**options))
    return melody


def notes_of(melody):
    return [
        (onset / TICKS, duration / TICKS, round(pitch, 2))
        for onset, duration, pitch in zip(
            melody.onset.tolist(), melody.duration.tolist(), melody.pitch.tolist(), strict=True
        )
    ]


def test_strings_are_one_take():
    melody = one(jams(SCALE[::2], SCALE[1::2], [], beat_position=beats()))
    assert notes_of(melody) == [(0, 1, 60), (1, 1, 62), (2, 1, 64), (3, 0.75, 65)]
    assert (melody.title, melody.source, melody.tempo) == ("Take", "jams", 120.0)
    assert any("3 gaps shorter than an eighth" in remark for remark in melody.remarks)
    assert 0 < melody.guessed_share < 0.05
    assert melody.onset_seconds is not None
    assert melody.onset_seconds.tolist() == [0.0, 0.5, 1.0, 1.5]
    assert melody.technique is None


def test_pitches_stay_fractions():
    rows = [(t, d, p + 0.37) for t, d, p in SCALE]
    assert [p for _, _, p in notes_of(one(jams(rows, beat_position=beats())))] == [60.37, 62.37, 64.37, 65.37]


def test_one_pitch_on_two_strings_within_5_ms():
    melody = one(jams(SCALE, [(0.503, 0.2, 62.2)], beat_position=beats()))
    assert [p for _, _, p in notes_of(melody)] == [60, 62, 64, 65]
    assert any("1 doubled note (same pitch within 30 ms) merged" in remark for remark in melody.remarks)


def test_double_stops_keep_the_top_note():
    melody = one(jams(SCALE, [(0.51, 0.4, 55.0), (1.01, 0.4, 57.0)], beat_position=beats()))
    assert [p for _, _, p in notes_of(melody)] == [60, 62, 64, 65]
    assert any("2 lower notes of double stops or chords left out" in remark for remark in melody.remarks)


def test_impossible_notes_are_left_out_and_counted():
    bad = [
        (0.7, -0.1, 60),
        (0.8, 0, 60),
        (0.9, 0.1, 200),
        (0.9, 0.1, "C"),
        (0.9, 0.1, True),
        (-1, 0.1, 60),
        (None, 1, 60),
    ]
    melody = one(jams(SCALE + bad, beat_position=beats()))
    assert [p for _, _, p in notes_of(melody)] == [60, 62, 64, 65]
    told = " / ".join(melody.remarks)
    assert "2 notes of no or negative length left out (first in bar 1)" in told
    assert "5 notes without a possible time or pitch left out" in told


def test_dense_data_as_a_record_of_lists():
    document = json.loads(jams(beat_position=beats()))
    columns = {"time": [0.0, 0.5], "duration": [0.5, 0.5], "value": [60, 62], "confidence": [None, None]}
    document["annotations"].append({"namespace": "note_midi", "data": columns})
    assert notes_of(one(json.dumps(document).encode())) == [(0, 1, 60), (1, 1, 62)]


def test_meter_pickup_and_bars():
    """In 3/4 from a pickup beat: the first annotated beat is the third of a bar."""
    melody = one(jams(SCALE, beat_position=beats(first=3, per_bar=3)))
    assert [str(m) for m in melody.meters] == ["3/4"]
    assert melody.bar.tolist() == [0, 1, 1, 1]
    assert melody.beat.tolist() == [3.0, 1.0, 2.0, 3.0]


def test_change_of_meter():
    rows = beats(4) + [(2.0 + 0.5 * i, 0.0, place(i + 1, 2, 3)) for i in range(3)]
    rows += [(3.5 + 0.5 * i, 0.0, place(i + 1, 3, 3)) for i in range(3)]
    notes = [(0.5 * i, 0.5, 60 + i) for i in range(10)]
    melody = one(jams(notes, beat_position=rows))
    assert [(m.onset // TICKS, str(m)) for m in melody.meters] == [(0, "4/4"), (4, "3/4")]
    assert melody.bar.tolist() == [1, 1, 1, 1, 2, 2, 2, 3, 3, 3]


def test_a_short_annotated_bar_is_kept():
    """Two beats of a 4/4 bar, then a new bar line: the bar is printed short."""
    rows = beats(6) + [(3.0 + 0.5 * i, 0.0, place(i % 4 + 1, 3)) for i in range(8)]
    notes = [(0.5 * i, 0.5, 60 + i) for i in range(9)]
    melody = one(jams(notes, beat_position=rows))
    assert melody.bar.tolist() == [1, 1, 1, 1, 2, 2, 3, 3, 3]
    assert melody.beat.tolist() == [1, 2, 3, 4, 1, 2, 1, 2, 3]


def test_beats_that_slow_down():
    seconds = np.concatenate(([0.0], np.cumsum(np.linspace(0.4, 0.8, 15))))
    rows = [(float(s), 0.0, place(i % 4 + 1, i // 4 + 1)) for i, s in enumerate(seconds)]
    middles = (seconds[:-1] + seconds[1:]) / 2
    times = sorted([*seconds[:-1].tolist(), *middles.tolist()])
    melody = one(jams([(t, 0.2, 60 + i % 5) for i, t in enumerate(times)], beat_position=rows))
    assert np.diff(melody.onset).tolist() == [TICKS // 2] * (len(times) - 1)


def test_chords_of_the_first_annotation():
    sheet = [(0.0, 1.0, "C:maj"), (1.0, 1.0, "G:7"), (2.0, 2.0, "oh no"), (4.0, 1.0, "N")]
    played = [(0.0, 1.0, "C:maj7/3")]
    melody = one(jams(SCALE, beat_position=beats(), chord=[sheet, played]))
    assert melody.chords is not None
    assert [(c.onset / TICKS, c.root, c.kind) for c in melody.chords] == [
        (0, 0, ""),
        (2, 7, "7"),
        (4, None, "N"),
        (8, None, "N"),
    ]
    assert any("1 chord not understood: no chord taken there (in bar 1)" in remark for remark in melody.remarks)


def test_key_is_declared_or_estimated():
    declared = one(jams(SCALE, beat_position=beats(), key_mode=[(0, 4, "D#:minor"), (2, 4, "G:dorian")]))
    assert declared.key is not None
    assert (declared.key.name, declared.key.source) == ("Eb minor", "declared")
    assert any("declares 2 keys: the first, Eb minor" in remark for remark in declared.remarks)
    estimated = one(jams(SCALE, beat_position=beats(), key_mode=[(0, 4, "N")]))
    assert estimated.key is not None
    assert estimated.key.source == "estimated"


def test_a_key_that_is_none_is_told():
    """Without it the remark on the estimate would say that the file names none."""
    notes = [(0.5 * i, 0.5, 60.0 + i) for i in range(4)]
    melody = one(jams(notes, beat_position=beats(), key_mode=[(0.0, 8.0, "H:dur")]))
    assert "key 'H:dur' not understood; give it with --key" in melody.remarks


def test_tempo_instead_of_beats():
    data = jams(SCALE, tempo=[(0.0, 4.0, 120.0)])
    assert notes_of(one(data))[:2] == [(0, 1, 60), (1, 1, 62)]
    assert any("first beat taken at the start" in remark for remark in one(data).remarks)
    later = one(data, first_beat=0.5)
    assert later.bar.tolist() == [0, 1, 1, 1]
    assert later.beat.tolist() == [4.0, 1.0, 2.0, 3.0]


def test_beats_the_user_says_go_before():
    melody = one(jams(SCALE, beat_position=beats()), tempo=60.0, first_beat=0.0)
    assert [o for o, _, _ in notes_of(melody)] == [0, 0.5, 1, 1.5]
    assert melody.tempo == 60.0


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (jams(SCALE), "has no beats; say them with --tempo and --first-beat"),
        (jams(SCALE, beat_position=[(0, 0, {"position": 9, "num_beats": 4}), (1, 0, None)]), "has no beats"),
        (jams([], beat_position=beats()), "no notes in it"),
        (jams([(1e5, 1, 60)], beat_position=beats()), "no notes in it"),
        (jams([(86000, 1, 60)], beat_position=beats()), "its last note ends in bar"),
        (jams(*[[(i / 1000, 0.1, 60) for i in range(20001)]], beat_position=beats()), "more than 20000 notes"),
        (b"{", "line 1, column 2: is not JSON"),
        (b"[1, 2]", "holds no annotations"),
        (b"{}", "holds no annotations"),
        (b'{"annotations": 3}', "holds no annotations"),
        (b"\xff\xfe{", "is not UTF-8"),
        (b"[" * 100000, "nested"),
        (b'{"annotations": [' + b"1" * 10000 + b"]}", "past all measure"),
        (b'{"annotations": [1, null, {"namespace": ["x"]}, {"namespace": "note_midi", "data": 5}]}', "no notes in it"),
        (json.dumps({"annotations": [{}] * 1001}).encode(), "more than 1000 annotations"),
    ],
    ids=range(15),
)
def test_refused_in_one_line(data, message):
    with pytest.raises(InputError) as caught:
        read(data, ReadOptions())
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_beats_are_read_leniently():
    """Units not said are quarters, counts not said the greatest place; doubled and impossible beats are passed over."""
    rows = [Observation(0.5 * i, 0, {"position": i % 3 + 1}) for i in range(6)]
    rows.insert(1, Observation(0.002, 0, {"position": 1}))
    rows.insert(3, Observation(0.7, 0, {"position": "x"}))
    found = annotated_beats(sorted(rows, key=lambda o: o.time))
    assert found is not None
    assert found.quarter.tolist() == [0, 1, 2, 3, 4, 5]
    assert [str(m) for m in found.meters] == ["3/4"]
    assert found.tempo == pytest.approx(120)
    assert found.quarters(np.array([-0.5, 0.25, 3.0])).tolist() == pytest.approx([-1.0, 0.5, 6.0])
    assert annotated_beats([]) is None


def test_bars_only_annotated():
    """One observation a bar: the beats between follow evenly."""
    found = annotated_beats([Observation(2.0 * i, 0, place(1, i + 1)) for i in range(4)])
    assert found is not None
    assert found.quarter.tolist() == [0, 4, 8, 12]


def test_even_beats():
    assert even_beats(90, 1.0).tempo == pytest.approx(90)


STRANGE = [None, -1, 0, 1e308, float("nan"), float("inf"), "x", [], {}, True, 10**400, -5.5, 127.5, [1], 1e-9, 65]


def places_in(value, path=()):
    """Path of every value inside nested records and lists."""
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in children:
        yield (*path, key)
        yield from places_in(child, (*path, key))


def changed(document, seed):
    """A document with some values put out of order."""
    dice = random.Random(seed)
    document = json.loads(json.dumps(document))
    places = list(places_in(document))
    for _ in range(dice.randint(1, 12)):
        path, inside = dice.choice(places), document
        try:
            for key in path[:-1]:
                inside = inside[key]
            inside[path[-1]] = dice.choice(STRANGE)
        except (KeyError, TypeError, IndexError):
            continue
    return json.dumps(document).encode()


def test_changed_values_are_read_or_refused():
    data = jams(
        SCALE * 3,
        SCALE[:2],
        beat_position=beats(),
        chord=[(0, 1, "C:maj")],
        key_mode=[(0, 1, "C:major")],
        tempo=[(0, 9, 120)],
    )
    document = json.loads(data)
    read_ones = 0
    for seed in range(150):
        try:
            melody = one(changed(document, seed))
        except InputError:
            continue
        read_ones += 1
        assert melody.duration is not None
        assert melody.duration.min() > 0
        assert np.isfinite(melody.pitch).all()
    assert read_ones > 75


def test_cut_bytes_are_refused():
    data = jams(SCALE, beat_position=beats())
    for cut in range(0, len(data) - 1, 37):
        with pytest.raises(InputError):
            read(data[:cut], ReadOptions())


@pytest.mark.data
class TestOpenGuitarTakes:
    """GuitarSet (Xi et al., ISMIR 2018, CC BY 4.0): what the takes are known to be by name and annotation."""

    @pytest.fixture
    def take(self, open_data):
        def read_take(name):
            path = open_data / "guitar-jams" / f"{name}.jams"
            if not path.exists():
                pytest.skip(f"{path.name} is not in the open collections")
            return one(path.read_bytes())

        return read_take

    def test_solo_in_g(self, take):
        melody = take("03_BN3-119-G_solo")
        assert (melody.key.name, melody.key.source) == ("G major", "declared")
        assert melody.tempo == pytest.approx(119, abs=0.1)
        assert (melody.bar.min(), melody.bar.max()) == (1, 16)
        assert [str(m) for m in melody.meters] == ["4/4"]
        assert [(c.root, c.kind) for c in melody.chords[:4]] == [(7, ""), (2, ""), (4, "m"), (11, "m")]
        assert {c.onset % (4 * TICKS) for c in melody.chords} == {0}
        # Nearly all of its notes are in G major, as played.
        inside = np.isin(np.floor(melody.pitch + 0.5) % 12, [7, 9, 11, 0, 2, 4, 6])
        assert inside.mean() > 0.9
        assert melody.guessed_share < 0.05

    def test_solo_of_the_older_release_has_no_key(self, take):
        melody = take("00_BN1-129-Eb_solo")
        assert melody.key.source == "estimated"
        assert (melody.bar.min(), melody.bar.max()) == (1, 12)
        assert any("behind its beats" in remark for remark in melody.remarks)

    @pytest.mark.parametrize("name", ["00_BN1-129-Eb_comp", "03_BN3-119-G_comp"])
    def test_chords_are_reduced_to_their_top_note(self, take, name):
        assert any("lower notes of double stops or chords left out" in remark for remark in take(name).remarks)


def test_strings_annotated_apart_say_string_and_fret():
    """Annotations counted from 0 for the lowest string, as the open guitar takes have them."""
    strings = [[(0.0, 0.4, 43.1)], [], [], [(0.5, 0.4, 57.2)], [(1.0, 0.4, 61.0)], [(1.5, 0.4, 69.0)]]
    melody = one(jams(*strings, beat_position=beats()))
    assert melody.strings.tolist() == [6, 3, 2, 1]
    assert melody.frets.tolist() == [3, 2, 2, 5]
    assert melody.tuning == (40, 45, 50, 55, 59, 64)


def test_strings_on_which_a_note_cannot_be_played_are_not_believed():
    melody = one(jams([(0.0, 0.4, 39.0)], [], [], [], [], [(1.5, 0.4, 69.0)], beat_position=beats()))
    assert melody.strings is None
    assert melody.tuning is None


def test_the_strings_are_one_part():
    data = jams(SCALE, beat_position=beats())
    assert one(data, part="1").pitch.tolist() == one(data).pitch.tolist()
    with pytest.raises(UnknownNameError, match="no part 'Kazoo'; there is: 1 all strings"):
        one(data, part="Kazoo")


def test_the_first_note_left_out_is_named():
    told = one(jams(SCALE[:2], [(0.9, 0.1, 200)], beat_position=beats())).remarks
    assert "1 note without a possible time or pitch left out (the first at 0.90 s)" in told
    told = one(jams(SCALE[:2], [(0.4, 0.1, 60), (-1, 0.1, 60)], beat_position=beats())).remarks
    assert "1 note without a possible time or pitch left out (the first: entry 2 of annotation 2)" in told
