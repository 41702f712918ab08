"""Writing: what was read can be read again with the same features, by us and by general-purpose libraries."""

import re
from dataclasses import replace
from fractions import Fraction
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from helpers.melodies import melodies, real_melodies
from helpers.roundtrip import read_back
from helpers.same import features_that_differ
from helpers.written import written
from hypothesis import HealthCheck, Phase, given, settings

from stylemeter.errors import UnknownNameError
from stylemeter.music.melody import Key, Technique
from stylemeter.music.meter import TICKS, Bars, Meter
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.midi import read as midi
from stylemeter.reading.musicxml import read as musicxml
from stylemeter.writing import FORMATS, LOSSES, losses, write
from stylemeter.writing.layout import note_ends, printed_bars
from stylemeter.writing.musicxml import COLOUR, to_musicxml

often = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
    phases=[Phase.explicit, Phase.generate],
)
MODES = ("major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian")
#: Losses that change no feature.
HARMLESS = ("how the key is known", "seconds notes were played", "remarks and the share", "how far notes are bent")


def harmful(melody, name):
    return [loss for loss in losses(melody, name) if not loss.startswith(HARMLESS)]


#: Loss -> the features that may then differ: their families, or names.
MAY_CHANGE = {
    "that no durations": {"rhythm", "space", "degrees", "motif", "shape", "intervals"},
    "the tonic of a key": {"degrees"},
    "that no key": {"degrees"},
    "the key: MIDI": {"degrees"},
    "fractions of a semitone": {"shape"},
    "how notes are played": {"technique"},
    "grace notes": {"technique"},
    "that nothing is known of a guitar": {"technique"},
    "bars shorter or longer": {"degrees", "harmony", "rhythm", "space", "motif"},
    "whether the short first bar": {"degrees", "harmony", "rhythm", "space"},
    "changes of meter": {"degrees", "harmony", "rhythm", "space", "motif"},
    "chords before": {"harmony"},
    "times on neither": {"degrees", "harmony", "rhythm", "space", "motif", "shape", "intervals"},
}


def unexplained(melody, name):
    """Features that differ after a round trip though nothing that was lost bears on them."""
    from stylemeter.features import CATALOG

    allowed = set().union(
        *(MAY_CHANGE[key] for loss in harmful(melody, name) for key in MAY_CHANGE if loss.startswith(key))
    )
    differ = features_that_differ(melody, read_back(melody, name))
    return {feature: values for feature, values in differ.items() if CATALOG[feature].family not in allowed}


# what was read can be read again --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["musicxml", "abc", "midi"])
def test_twenty_folk_tunes_come_back_with_the_same_features(name, music21_corpus):
    tunes = real_melodies(60)[::3]
    assert len(tunes) >= 18
    for tune in tunes:
        assert unexplained(tune, name) == {}, tune.title
        if not harmful(tune, name):
            assert features_that_differ(tune, read_back(tune, name)) == {}


def one_at_a_time(melody):
    """The same melody with every note cut where the next one starts, so that no end is lost."""
    if melody.duration is None:
        return melody
    return replace(melody, duration=np.array(note_ends(melody)) - melody.onset)


@pytest.mark.parametrize("name", ["musicxml", "abc"])
@given(melody=melodies())
@often
def test_any_melody_comes_back_but_for_what_is_listed(name, melody):
    assert unexplained(one_at_a_time(melody), name) == {}


def test_the_end_of_overlapping_notes_is_lost_and_nothing_else():
    melody = build(Draft([RawNote(i * TICKS, 2 * TICKS, 60.0 + i) for i in range(14)], [Meter(0, 4, 4)]))
    for name in ("musicxml", "abc", "midi"):
        back = read_back(melody, name)
        assert np.array_equal(back.onset, melody.onset)
        assert back.duration.tolist() == [TICKS] * 13 + [2 * TICKS]
        assert any(loss.startswith("the end of notes") for loss in losses(melody, name))


def same_table(one, other):
    """Whether onsets, durations and pitches are the same, from the first note on."""
    start = int(one.onset[0]) - int(other.onset[0])
    return (
        np.array_equal(one.onset - start, other.onset)
        and np.array_equal(one.pitch, other.pitch)
        and np.array_equal(one.beat, other.beat)
        and np.array_equal(one.bar, other.bar)
        and (one.duration is None or np.array_equal(one.duration, other.duration))
    )


@pytest.fixture(scope="module")
def songs(open_data):
    """Songs of two open collections, from MusicXML and from MIDI."""
    scores = sorted((open_data / "jazz-age-songs").glob("*.mxl"))[:120]
    files = sorted((open_data / "pop-songs").glob("*.mid"))[:80]
    found = [musicxml.read(path.read_bytes(), ReadOptions())[0] for path in scores]
    return found + [midi.read(path.read_bytes(), ReadOptions(chord_text="chord "))[0] for path in files]


@pytest.mark.data
@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "least"), [("musicxml", 200), ("abc", 200), ("midi", 180), ("csv", 200), ("json", 200)]
)
def test_two_hundred_songs_come_back(name, least, songs):
    assert len(songs) == 200
    same = 0
    for place, melody in enumerate(songs):
        assert unexplained(melody, name) == {}, place
        same += same_table(melody, read_back(melody, name))
    assert same >= least


def test_the_same_melody_gives_the_same_bytes():
    melody = written("C4:1 D4:1/3 E4:1/3!bend F4:1/3 r:1 G4:5", chords="0:Dm7 2:G7", bars="1 4 4")
    for name in FORMATS:
        assert write(melody, name) == write(melody, name)
        assert not re.search(rb"20\d\d-\d\d", write(melody, name))


def test_a_format_that_is_none():
    for call in (write, losses):
        with pytest.raises(UnknownNameError, match="no format 'wav'; there is: "):
            call(written("C4:1"), "wav")
    assert set(LOSSES) == set(FORMATS)


# losses ---------------------------------------------------------------------------------------------------------------


def test_nothing_is_lost_in_tables():
    melody = written("C4:1!bend D4:1/7", timed=True).with_remarks("a remark")
    assert losses(melody, "csv") == losses(melody, "json") == []


@pytest.mark.parametrize(
    ("melody", "name", "words"),
    [
        (written("C4:1 D4:1", timed=False), "abc", "that no durations are known"),
        (written("C4:1!bend D4:1"), "abc", "how notes are played"),
        (written("C4:1!bend D4:1"), "musicxml", "how far notes are bent"),
        (written("C4:1 D4:1", key="D dorian"), "midi", "the key: MIDI knows major and minor only"),
        (written("C4:1 D4:1 E4:4", bars="1 4"), "midi", "a pickup: its bar becomes bar 1"),
        (written("C4:4 D4:3 E4:4", bars="4 3 4"), "midi", "bars shorter or longer than their meter"),
        (written("C4:1/5 D4:4/5"), "midi", "times on neither triplets nor 32nds"),
        (written("C4:1 D4:1", chords="0:C 40:G"), "musicxml", "chords before the first printed"),
        (build(Draft([RawNote(0, TICKS, 60.5)])), "abc", "fractions of a semitone"),
        (build(Draft([RawNote(0, TICKS, 60.0)], key=Key(2, None, "declared"))), "musicxml", "the tonic of a key"),
        (
            build(Draft([RawNote(0, 2 * TICKS, 60.0), RawNote(TICKS, TICKS, 62.0)])),
            "abc",
            "the end of notes that sound",
        ),
    ],
)
def test_losses_are_told_where_they_are_and_only_there(melody, name, words):
    plain = written("C4:1 D4:1 E4:1 F4:1", key="C major")
    assert any(loss.startswith(words) for loss in losses(melody, name))
    assert not any(loss.startswith(words) for loss in losses(plain, name))


# MusicXML -------------------------------------------------------------------------------------------------------------


def xml(melody, **options):
    return ET.fromstring(to_musicxml(melody, **options))


def values(root):
    """(type, dots, tuplet, tied on) of every note and rest."""
    found = []
    for note in root.iter("note"):
        actual = note.findtext("time-modification/actual-notes")
        tied = note.find("tie[@type='start']") is not None
        found.append((note.findtext("type"), len(note.findall("dot")), actual, tied))
    return found


def test_values_ties_dots_and_tuplets():
    root = xml(written("C4:3/2 D4:1/2 E4:1/3 F4:1/3 G4:1/3 A4:1/5 B4:1/5 C5:1/5 B4:1/5 A4:1/5 G4:5/4"))
    assert values(root) == [
        ("quarter", 1, None, False),
        ("eighth", 0, None, False),
        *[("eighth", 0, "3", False)] * 3,
        *[("16th", 0, "5", False)] * 5,
        ("quarter", 0, None, True),
        ("16th", 0, None, False),
        # rests up to the next beat, to the middle of the bar, and to its end
        ("16th", 0, None, False),
        ("eighth", 0, None, False),
        ("half", 0, None, False),
    ]
    assert [n.get("type") for n in root.iter("tuplet")] == ["start", "stop"] * 2


def test_a_syncopation_is_parted_at_the_middle_of_the_bar():
    root = xml(written("C4:3/2 D4:1 E4:3/2"))
    assert values(root) == [
        ("quarter", 1, None, False),
        ("eighth", 0, None, True),
        ("eighth", 0, None, False),
        ("quarter", 1, None, False),
    ]


def test_quarter_triplets_are_one_tuplet():
    root = xml(written("C4:2/3 D4:2/3 E4:2/3 F4:2"))
    assert values(root) == [*[("quarter", 0, "3", False)] * 3, ("half", 0, None, False)]


def test_septuplets():
    notes = " ".join(f"{'CDEFGAB'[i]}4:1/7" for i in range(7))
    assert values(xml(written(notes + " C5:3")))[:7] == [("16th", 0, "7", False)] * 7


@pytest.mark.parametrize("meter", [(4, 4), (3, 4), (6, 8), (7, 8), (5, 4), (12, 8), (3, 8), (2, 2), (3, 2), (5, 16)])
def test_every_bar_is_filled(meter):
    """Types, dots and tuplets add up to the durations, and the durations to the bar."""
    groups = ["1/2 1/2", "1/3 1/3 1/3", "3/4 1/4", "1/5 2/5 2/5", "5/2 3/2", "1/7 2/7 4/7", "1/16 15/16", "2/3 2/3 2/3"]
    groups += ["1/6 1/6 1/6 1/2", "4", "3/8 5/8", "1/4 1/2 1/4", "2/3 1/3", "7", "1/8 7/8", "1/9 8/9", "7/4 1/4"]
    lengths = [Fraction(v) for i in range(3 * len(groups)) for v in groups[i * 5 % len(groups)].split()]
    now, notes = Fraction(0), []
    for i, length in enumerate(lengths):
        notes.append(RawNote(round(now * TICKS), round(length * TICKS), 60.0 + i % 12))
        now += length
    root = xml(build(Draft(notes, [Meter(0, *meter)])))
    unit = Fraction(TICKS, int(root.findtext(".//divisions")))
    named = {"breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": Fraction(1, 2)}
    named |= {f"{n}{'nd' if n == 32 else 'th'}": Fraction(4, n) for n in (16, 32, 64, 128)}
    typed = untyped = 0
    for measure in root.iter("measure"):
        assert sum(int(n.findtext("duration")) for n in measure.iter("note")) * unit == Meter(0, *meter).bar
        for note in measure.iter("note"):
            if note.find("type") is None:
                untyped += 1
                continue
            typed += 1
            length = Fraction(named[note.findtext("type")]) * (2 - Fraction(1, 2 ** len(note.findall("dot"))))
            normal, actual = (int(note.findtext(f"time-modification/{n}-notes") or 1) for n in ("normal", "actual"))
            assert length * normal / actual * TICKS == int(note.findtext("duration")) * unit
    assert typed > 20 * untyped or meter[1] > 4
    assert typed > 3 * untyped


def test_ids_marks_and_bars_of_the_report():
    melody = written("C4:3 D4:3 E4:2 F4:4")
    root = xml(melody, marks={1})
    assert [n.get("id") for n in root.iter("note")] == ["n0", "n1", "n1-2", "n2", "n3"]
    assert [n.get("color") for n in root.iter("note")] == [None, COLOUR, COLOUR, None, None]
    part = xml(melody, bars=range(2, 4))
    assert [m.get("number") for m in part.iter("measure")] == ["2", "3"]
    assert part.findtext(".//time/beats") == "4"
    assert len({n.get("id") for n in root.iter("note")}) == 5


def test_the_chord_in_force_stands_over_the_first_bar_printed():
    melody = written("C4:4 D4:4 E4:4", chords="0:Dm7 3:G7 9:C")
    part = xml(melody, bars=range(2, 4))
    assert [h.find("kind").get("text") for h in part.iter("harmony")] == ["7", ""]
    assert [h.findtext("offset") for h in part.iter("harmony")] == [None, "1"]
    assert [h.find("kind").get("text") for h in xml(melody).iter("harmony")] == ["m7", "7", ""]


def test_pickup_rests_key_tempo_and_clef():
    low = Draft(
        [RawNote(0, TICKS, 45.0), RawNote(TICKS, 2 * TICKS, 50.0), RawNote(4 * TICKS, TICKS, 48.0)],
        [Meter(0, 4, 4)],
        [(0, TICKS), (TICKS, 4 * TICKS)],
        key=Key(2, "dorian", "declared"),
        tempo=96.5,
        title="Salt & pepper <1>",
    )
    root = xml(build(low))
    first, second = root.iter("measure")
    assert (first.get("number"), first.get("implicit")) == ("0", "yes")
    assert (second.get("number"), second.get("implicit")) == ("1", None)
    assert (root.findtext(".//fifths"), root.findtext(".//mode")) == ("0", "dorian")
    assert root.find(".//sound").get("tempo") == "96.5"
    assert root.findtext(".//clef-octave-change") == "-1"
    assert root.findtext("work/work-title") == "Salt & pepper <1>"
    assert [n.find("rest") is not None for n in second.iter("note")] == [False, True, False]


def test_accidentals_are_printed_once_a_bar_and_cancelled():
    root = xml(written("F#4:1 F#4:1 F4:1 F5:1 F#4:4", key="C major"))
    assert [n.findtext("accidental") for n in root.iter("note")] == ["sharp", None, "natural", None, "sharp"]
    assert [n.findtext("accidental") for n in xml(written("F#4:1 F4:1", key="G major")).iter("note")][:2] == [
        None,
        "natural",
    ]


def test_beams():
    root = xml(written("C4:3/4 D4:1/4 E4:1/2 F4:1/2 G4:1 r:1/2 A4:1/2"))
    assert [[b.text for b in n.iter("beam")] for n in root.iter("note")] == [
        ["begin"],
        ["end", "backward hook"],
        ["begin"],
        ["end"],
        [],
        [],
        [],
    ]


@pytest.mark.parametrize("mark", [m for m in Technique if m not in (Technique.GRACE, Technique.DEAD)])
def test_playing_marks_come_back(mark):
    bits = [Technique(0), mark, Technique(0), mark | Technique.STACCATO]
    notes = [RawNote(i * 15120, 15120, 60.0 + i, bits[i]) for i in range(4)]
    back = read_back(build(Draft(notes, [Meter(0, 4, 4)])), "musicxml")
    assert back.technique.tolist() == [int(b) for b in bits]
    assert back.pitch.tolist() == [60, 61, 62, 63]


def test_trill_and_vibrato_together():
    notes = [RawNote(i * TICKS, TICKS, 60.0 + i, Technique.TRILL | Technique.VIBRATO) for i in range(3)]
    back = read_back(build(Draft(notes, [Meter(0, 4, 4)])), "musicxml")
    assert back.technique.tolist() == [int(Technique.TRILL | Technique.VIBRATO)] * 3


def test_a_bar_of_rest_and_bars_that_had_to_be_added():
    melody = written("C4:4 r:4 D4:4")
    assert [r.get("measure") for r in xml(melody).iter("rest")] == ["yes"]
    bars = Bars(*(np.array([v]) for v in (0, 4 * TICKS, 1)))
    longer = replace(written("C4:1 D4:1"), bars=bars, duration=np.array([TICKS, 8 * TICKS]))
    assert [m.get("number") for m in xml(longer).iter("measure")] == ["1", "2", "3"]


def test_a_pickup_of_less_than_a_beat_and_times_no_value_stands_for():
    melody = written("C4:1/10080 D4:7/11 E4:1 F4:4", bars="1 4 4")
    untyped = [n for n in xml(melody).iter("note") if n.find("type") is None]
    assert untyped
    assert same_table(melody, read_back(melody, "musicxml"))
    assert same_table(melody, read_back(melody, "abc"))
    early = build(
        Draft([RawNote(5, TICKS, 60.0), RawNote(TICKS + 5, TICKS, 62.0)], [Meter(0, 2, 4)], [(5, 2 * TICKS - 5)])
    )
    assert printed_bars(early)[0].start == 5


def test_tempo_part_and_title_come_back():
    melody = replace(written("C4:1 D4:1"), tempo=96.75, title="A line", part="Tenor")
    for name in ("musicxml", "abc", "midi"):
        back = read_back(melody, name)
        assert back.tempo == pytest.approx(96.75, abs=1e-3)
        assert back.title == "A line"
    assert read_back(melody, "midi").part == read_back(melody, "musicxml").part == "Tenor"


def test_titles_xml_can_not_hold():
    assert xml(build(Draft([RawNote(0, TICKS, 60.0)], title="a\x00b\x1bc")))[0][0].text == "abc"
