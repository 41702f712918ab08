"""What general-purpose libraries make of the files we write: the outside checks of writing, and its spellings."""

import io
import warnings
from dataclasses import replace
from fractions import Fraction

import pytest
from helpers.melodies import real_melodies
from helpers.roundtrip import read_back
from helpers.written import written

from stylemeter.music.chords.symbols import KINDS, parse_label, parse_symbol
from stylemeter.music.melody import Chord, Key
from stylemeter.music.meter import TICKS
from stylemeter.music.scales import SCALES
from stylemeter.reading.draft.build import Draft, RawNote, build
from stylemeter.writing import write
from stylemeter.writing.harmony import chord_label, chord_symbol, xml_chord
from stylemeter.writing.layout import note_ends, printed_bars
from stylemeter.writing.musicxml import COLOUR, to_musicxml
from stylemeter.writing.spelling import alterations, fifths_of, spell, spell_class

MODES = ("major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian")


def expected_notes(melody):
    start = printed_bars(melody)[0].start
    return [
        (t - start, e - t, p)
        for t, e, p in zip(melody.onset.tolist(), note_ends(melody), melody.pitch.tolist(), strict=True)
    ]


def music21_notes(data, kind):
    import music21

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parseData(data, format=kind)
        line = score.parts[0].stripTies().flatten() if score.parts else score.stripTies().flatten()
    notes = [n for n in line.notes if isinstance(n, music21.note.Note)]
    return [
        (round(Fraction(n.offset) * TICKS), round(Fraction(n.quarterLength) * TICKS), n.pitch.ps) for n in notes
    ], line


def test_music21_reads_our_musicxml_and_abc(music21_corpus):
    """Outside check: a general-purpose library hears the same notes."""
    for tune in real_melodies(60)[::6]:
        found, _ = music21_notes(write(tune, "musicxml"), "musicxml")
        assert found == expected_notes(tune), tune.title
        found, _ = music21_notes(write(tune, "abc").decode(), "abc")
        assert [n[1:] for n in found] == [n[1:] for n in expected_notes(tune)], tune.title


@pytest.mark.slow
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


#: Chords music21 adds up otherwise: it has the eleventh in every thirteenth (we leave it out, as players do).
THIRTEENTHS = {"13", "maj13"}


@pytest.mark.parametrize("kind", [k for k in KINDS if k not in THIRTEENTHS])
def test_music21_hears_the_same_chords(kind):
    """Outside check: kind and degrees as a general-purpose library adds them up."""
    from music21 import harmony

    _, line = music21_notes(write(written("C4:4", chords=f"0:D{kind}"), "musicxml"), "musicxml")
    [symbol] = line.getElementsByClass(harmony.ChordSymbol)
    assert {p.pitchClass for p in symbol.pitches} == set(parse_symbol(f"D{kind}", 0).pitch_classes)


def test_a_chord_nobody_named():
    chord = Chord(0, 2, "no such kind", (2, 3, 8))
    assert set(parse_label(chord_label(chord), 0).pitch_classes) == {2, 3, 8}
    assert xml_chord(Chord(0, 0, "no such kind", (0, 3, 6, 7))) == ("minor", "m", ((11, 1, "add"),))
    melody = replace(written("C4:4"), chords=(chord,))
    for name in ("musicxml", "midi"):
        [back] = read_back(melody, name).chords
        assert (back.root, set(back.pitch_classes)) == (2, {2, 3, 8})


def test_abc_says_accidentals_again_and_keeps_its_titles():
    text = write(written("F#4:1 F#5:1 F4:1 F#4:1", key="C major"), "abc").decode()
    assert text.splitlines()[-1] == "^F2 ^f2 =F2 ^F2 |]"
    tune = build(Draft([RawNote(0, TICKS, 60.0)], title="50 % \\ & more\nlines"))
    # ABC 2.1, 8.2: a backslash in front of \\, % and &.
    assert "T:50 \\% \\\\ \\& more lines\n" in write(tune, "abc").decode()


def test_midi_events():
    import mido

    melody = written("C4:1 D4:1", meter="3/4", key="F# minor", chords="0:Dm7 1:G7(b9)")
    file = mido.MidiFile(file=io.BytesIO(write(melody, "midi")))
    signs = {m.type: m for m in file.tracks[0]}
    assert signs["key_signature"].key == "F#m"
    assert (signs["time_signature"].numerator, signs["time_signature"].denominator) == (3, 4)
    assert [m.text for m in file.tracks[0] if m.type == "text"] == ["chord D:min7", "chord G:(1,3,5,b7,b9)"]
    assert "set_tempo" not in signs
