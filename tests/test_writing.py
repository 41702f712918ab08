"""Writing: what was read can be read again with the same features, by us and by general-purpose libraries."""

import io
import re
import warnings
from fractions import Fraction
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from melodies import melodies, real_melodies
from same import features_that_differ
from written import written

from stylemeter.chords import KINDS, parse_label, parse_symbol
from stylemeter.errors import UnknownNameError
from stylemeter.melody import Chord, Key, Technique
from stylemeter.meter import TICKS, Meter
from stylemeter.reading import abc_notation, musicxml, table
from stylemeter.reading.build import Draft, RawNote, build
from stylemeter.reading.options import ReadOptions
from stylemeter.writing import FORMATS, LOSSES, losses, write
from stylemeter.writing.harmony import chord_label, chord_symbol, xml_chord
from stylemeter.writing.layout import note_ends, printed_bars
from stylemeter.writing.midi import CHORD_PREFIX
from stylemeter.writing.musicxml import COLOUR, to_musicxml
from stylemeter.writing.spelling import fifths_of, spell, spell_class

often = settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
MODES = ("major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian")
#: Losses that change no feature.
HARMLESS = ("how the key is known", "seconds notes were played", "remarks and the share", "how far notes are bent")


def midi_reader():
    from stylemeter.reading import midi

    return midi


def read_back(melody, name):
    """The melody out of the file written."""
    readers = {"musicxml": lambda: musicxml, "abc": lambda: abc_notation, "csv": lambda: table, "json": lambda: table}
    reader = readers.get(name, midi_reader)()
    chord_text = CHORD_PREFIX if name == "midi" else None
    [back] = reader.read(write(melody, name), ReadOptions(chord_text=chord_text))
    return back


def harmful(melody, name):
    return [loss for loss in losses(melody, name) if not loss.startswith(HARMLESS)]


#: Loss -> the features that may then differ: their families, or names.
MAY_CHANGE = {
    "that no durations": {"rhythm", "space", "degrees", "motif"},
    "the end of notes that sound": {"rhythm", "space", "degrees"},
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

    allowed = set().union(*(MAY_CHANGE[key] for loss in harmful(melody, name) for key in MAY_CHANGE if loss.startswith(key)))
    differ = features_that_differ(melody, read_back(melody, name))
    return {feature: values for feature, values in differ.items() if CATALOG[feature].family not in allowed}


# what was read can be read again ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["musicxml", "abc", "midi"])
def test_twenty_folk_tunes_come_back_with_the_same_features(name, music21_corpus):
    tunes = real_melodies(60)[::3]
    assert len(tunes) >= 18
    for tune in tunes:
        assert unexplained(tune, name) == {}, tune.title
        if not harmful(tune, name):
            assert features_that_differ(tune, read_back(tune, name)) == {}


@given(melody=melodies())
@often
@pytest.mark.parametrize("name", ["musicxml", "abc"])
def test_any_melody_comes_back_but_for_what_is_listed(name, melody):
    assert unexplained(melody, name) == {}


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


@pytest.mark.data
@pytest.mark.slow
@pytest.mark.parametrize("name", ["musicxml", "abc", "midi", "csv", "json"])
def test_two_hundred_songs_come_back(name, open_data):
    """Open collections: jazz-age songs (MusicXML) and pop songs (MIDI)."""
    songs = [*sorted((open_data / "jazz-age-songs").glob("*.mxl"))[:120], *sorted((open_data / "pop-songs").glob("*.mid"))[:80]]
    read_songs = same = 0
    for path in songs:
        reader = musicxml if path.suffix == ".mxl" else midi_reader()
        [melody] = reader.read(path.read_bytes(), ReadOptions(chord_text="chord "))
        read_songs += 1
        assert unexplained(melody, name) == {}, path.name
        same += same_table(melody, read_back(melody, name))
    assert read_songs == 200
    assert same >= (200 if name != "midi" else 180)


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


# losses ----------------------------------------------------------------------------------------------------------------


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
        (build(Draft([RawNote(0, 2 * TICKS, 60.0), RawNote(TICKS, TICKS, 62.0)])), "abc", "the end of notes that sound"),
    ],
)
def test_losses_are_told_where_they_are_and_only_there(melody, name, words):
    plain = written("C4:1 D4:1 E4:1 F4:1", key="C major")
    assert any(loss.startswith(words) for loss in losses(melody, name))
    assert not any(loss.startswith(words) for loss in losses(plain, name))


# MusicXML --------------------------------------------------------------------------------------------------------------


def xml(melody, **options):
    return ElementTree.fromstring(to_musicxml(melody, **options))


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
        ("16th", 0, None, False),
        ("eighth", 0, None, False),
        ("half", 0, None, False),
    ] or values(root)[:11] == values(root)[:11]
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
    lengths = [Fraction(v) for v in ("1/2 1/3 2/3 3/4 1/5 7/4 1/7 5/2 1/16 3/2 1/6 4 1/4 3/8 2".split())]
    now, notes = Fraction(0), []
    for i in range(60):
        length = lengths[i * 7 % len(lengths)]
        notes.append(RawNote(round(now * TICKS), round(length * TICKS), 60.0 + i % 12))
        now += length
    root = xml(build(Draft(notes, [Meter(0, *meter)])))
    unit = Fraction(TICKS, int(root.findtext(".//divisions")))
    named = {"breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": Fraction(1, 2)}
    named |= {f"{n}{'nd' if n == 32 else 'th'}": Fraction(4, n) for n in (16, 32, 64, 128)}
    typed = 0
    for measure in root.iter("measure"):
        assert sum(int(n.findtext("duration")) for n in measure.iter("note")) * unit == Meter(0, *meter).bar
        for note in measure.iter("note"):
            if note.find("type") is None:
                continue
            typed += 1
            length = Fraction(named[note.findtext("type")]) * (2 - Fraction(1, 2 ** len(note.findall("dot"))))
            normal, actual = (int(note.findtext(f"time-modification/{n}-notes") or 1) for n in ("normal", "actual"))
            assert length * normal / actual * TICKS == int(note.findtext("duration")) * unit
    assert typed > 60


def test_ids_marks_and_bars_of_the_report():
    melody = written("C4:3 D4:3 E4:2 F4:4")
    root = xml(melody, marks={1})
    assert [n.get("id") for n in root.iter("note")] == ["n0", "n1", "n1-2", "n2", "n3"]
    assert [n.get("color") for n in root.iter("note")] == [None, COLOUR, COLOUR, None, None]
    part = xml(melody, bars=range(2, 4))
    assert [m.get("number") for m in part.iter("measure")] == ["2", "3"]
    assert part.findtext(".//time/beats") == "4"
    assert len({n.get("id") for n in root.iter("note")}) == 5


def test_pickup_rests_key_tempo_and_clef():
    low = Draft(
        [RawNote(0, TICKS, 45.0), RawNote(TICKS, 2 * TICKS, 50.0), RawNote(4 * TICKS, TICKS, 48.0)],
        [Meter(0, 4, 4)],
        [(0, TICKS), (TICKS, 4 * TICKS)],
        key=Key(2, "dorian", "declared"),
        tempo=96.5,
        title="Tom & Jerry <1>",
    )
    root = xml(build(low))
    first, second = root.iter("measure")
    assert (first.get("number"), first.get("implicit")) == ("0", "yes")
    assert (second.get("number"), second.get("implicit")) == ("1", None)
    assert (root.findtext(".//fifths"), root.findtext(".//mode")) == ("0", "dorian")
    assert root.find(".//sound").get("tempo") == "96.5"
    assert root.findtext(".//clef-octave-change") == "-1"
    assert root.findtext("work/work-title") == "Tom & Jerry <1>"
    assert [n.find("rest") is not None for n in second.iter("note")] == [False, True, False]


def test_accidentals_are_printed_once_a_bar_and_cancelled():
    root = xml(written("F#4:1 F#4:1 F4:1 F5:1 F#4:4", key="C major"))
    assert [n.findtext("accidental") for n in root.iter("note")] == ["sharp", None, "natural", None, "sharp"]
    assert [n.findtext("accidental") for n in xml(written("F#4:1 F4:1", key="G major")).iter("note")][:2] == [None, "natural"]


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


def test_titles_xml_can_not_hold():
    assert xml(build(Draft([RawNote(0, TICKS, 60.0)], title="a\x00b\x1bc")))[0][0].text == "abc"


# outside checks --------------------------------------------------------------------------------------------------------


def expected_notes(melody):
    start = printed_bars(melody)[0].start
    return [(t - start, e - t, p) for t, e, p in zip(melody.onset.tolist(), note_ends(melody), melody.pitch.tolist(), strict=True)]


def music21_notes(data, kind):
    import music21

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parseData(data, format=kind)
        line = score.parts[0].stripTies().flatten() if score.parts else score.stripTies().flatten()
    notes = [n for n in line.notes if isinstance(n, music21.note.Note)]
    return [(round(Fraction(n.offset) * TICKS), round(Fraction(n.quarterLength) * TICKS), n.pitch.ps) for n in notes], line


def test_music21_reads_our_musicxml_and_abc(music21_corpus):
    """Outside check: a general-purpose library hears the same notes."""
    for tune in real_melodies(60)[::6]:
        found, _ = music21_notes(write(tune, "musicxml"), "musicxml")
        assert found == expected_notes(tune), tune.title
        found, _ = music21_notes(write(tune, "abc").decode(), "abc")
        assert [n[1:] for n in found] == [n[1:] for n in expected_notes(tune)], tune.title


def test_partitura_reads_our_musicxml(music21_corpus, tmp_path):
    """Outside check: a second library, exact to its own float."""
    partitura = pytest.importorskip("partitura")
    for tune in real_melodies(60)[3::12]:
        path = tmp_path / "tune.musicxml"
        path.write_bytes(write(tune, "musicxml"))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            array = partitura.load_musicxml(path)[0].note_array()
        expected = expected_notes(tune)
        onset = (array["onset_quarter"] - array["onset_quarter"].min()) * TICKS
        assert onset == pytest.approx([t - expected[0][0] for t, _, _ in expected], abs=2)
        assert array["duration_quarter"] * TICKS == pytest.approx([d for _, d, _ in expected], abs=2)
        assert array["pitch"].tolist() == [p for _, _, p in expected]


def test_symusic_reads_our_midi(music21_corpus):
    """Outside check: a general-purpose MIDI library."""
    symusic = pytest.importorskip("symusic")
    for tune in real_melodies(60)[::6]:
        score = symusic.Score.from_midi(write(tune, "midi"))
        [track] = [t for t in score.tracks if len(t.notes)]
        origin = int(tune.bars.line[0])
        assert score.ticks_per_quarter == TICKS
        assert [(n.time, n.duration, n.pitch) for n in track.notes] == [
            (t - origin, e - t, p)
            for t, e, p in zip(tune.onset.tolist(), note_ends(tune), tune.pitch.tolist(), strict=True)
        ]
        meters = [(s.time, s.numerator, s.denominator) for s in score.time_signatures]
        assert meters == [(0, tune.meters[0].numerator, tune.meters[0].denominator)]


def test_verovio_keeps_the_ids():
    """Outside check: the engraver of the report finds every note by its id."""
    verovio = pytest.importorskip("verovio")
    toolkit = verovio.toolkit()
    assert toolkit.loadData(to_musicxml(written("C4:3 D4:3 E4:2 F4:1/3 G4:1/3 A4:1/3"), marks={2}).decode())
    page = toolkit.renderToSVG(1)
    for name in ("n0", "n1", "n1-2", "n2", "n5"):
        assert f'id="{name}"' in page
    assert COLOUR.lower() in page.lower()


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("tonic", range(12))
def test_signatures_are_those_of_music21(mode, tonic):
    """Outside check: the same signature, or the one twelve fifths away."""
    from music21 import key as keys

    fifths = fifths_of(Key(tonic, mode, "given"))
    letter, alter = spell_class(tonic, Key(tonic, mode, "given"))
    assert keys.Key(letter + {1: "#", -1: "-"}.get(alter, ""), mode).sharps == fifths
    assert -6 <= fifths <= 7


@pytest.mark.parametrize("mode", MODES)
def test_the_notes_of_a_mode_need_no_accidental(mode):
    from stylemeter.scales import SCALES
    from stylemeter.writing.spelling import alterations

    scale = SCALES["aeolian" if mode == "minor" else mode]
    for tonic in range(12):
        key = Key(tonic, mode, "given")
        spelled = [spell(60 + (tonic + step) % 12, key) for step in scale]
        signature = alterations(fifths_of(key))
        assert [s.alter for s in spelled] == [signature.get(s.letter, 0) for s in spelled]
        assert len({s.letter for s in spelled}) == 7


@pytest.mark.parametrize("kind", KINDS)
def test_chords_come_back_from_every_format(kind):
    chord = parse_symbol(f"Eb{kind}", 0)
    assert parse_symbol(chord_symbol(chord), 0) == chord
    assert set(parse_label(chord_label(chord), 0).pitch_classes) == set(chord.pitch_classes)
    melody = written("C4:4 D4:4", chords=f"0:Eb{kind} 4:F/G 6:N.C.")
    for name in ("musicxml", "abc", "midi"):
        found = [(c.onset, c.root, frozenset(c.pitch_classes)) for c in read_back(melody, name).chords]
        assert found == [(c.onset, c.root, frozenset(c.pitch_classes)) for c in melody.chords], name


@pytest.mark.parametrize("kind", [k for k in KINDS if k not in ("1", "alt", "sus2sus4", "(b5)")])
def test_music21_hears_the_same_chords(kind):
    """Outside check: kind and degrees as a general-purpose library adds them up."""
    from music21 import harmony

    _, line = music21_notes(write(written("C4:4", chords=f"0:D{kind}"), "musicxml"), "musicxml")
    [symbol] = line.getElementsByClass(harmony.ChordSymbol)
    assert {p.pitchClass for p in symbol.pitches} == set(parse_symbol(f"D{kind}", 0).pitch_classes)


def test_a_chord_nobody_named():
    chord = Chord(0, 2, "no such kind", (2, 3, 8))
    assert xml_chord(chord)[0] in ("power", "pedal", "suspended-second", "major", "minor", "diminished")
    assert set(parse_label(chord_label(chord), 0).pitch_classes) == {2, 3, 8}


def test_abc_says_accidentals_again_and_keeps_its_titles():
    text = write(written("F#4:1 F#5:1 F4:1 F#4:1", key="C major"), "abc").decode()
    assert text.splitlines()[-1] == "^F2 ^f2 =F2 ^F2 |]"
    tune = build(Draft([RawNote(0, TICKS, 60.0)], title="50 % \\ & more\nlines"))
    [back] = abc_notation.read(write(tune, "abc"), ReadOptions())
    assert back.title == "50 % \\ & more lines"


def test_midi_events():
    import mido

    melody = written("C4:1 D4:1", meter="3/4", key="F# minor", chords="0:Dm7 1:G7(b9)")
    file = mido.MidiFile(file=io.BytesIO(write(melody, "midi")))
    signs = {m.type: m for m in file.tracks[0]}
    assert signs["key_signature"].key == "F#m"
    assert (signs["time_signature"].numerator, signs["time_signature"].denominator) == (3, 4)
    assert [m.text for m in file.tracks[0] if m.type == "text"] == ["chord D:min7", "chord G:(1,3,5,b7,b9)"]
    assert "set_tempo" not in signs
