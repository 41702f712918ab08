"""MIDI files as read here and by symusic and mido, two general-purpose libraries.

The collection (see corpus/*.toml): onsets on 24ths of a quarter note at 480 ticks, chords as text events, keys
declared; melodies of POP909 (Wang et al., ISMIR 2020) and POP909-CL (arXiv:2510.06528), both MIT-licensed.
"""

import io
import random

import numpy as np
import pytest

from stylemeter.music.meter import TICKS
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.midi.file import scan
from stylemeter.reading.midi.parts import decode
from stylemeter.reading.midi.read import read

FILES = 60
#: Our ticks to a tick of these files.
RATIO = TICKS // 480


@pytest.fixture(scope="module")
def songs(open_data):
    paths = sorted((open_data / "pop-songs").glob("*.mid"))
    if not paths:
        pytest.skip("the pop songs are not in the open collections")
    return [path.read_bytes() for path in paths[:: max(1, len(paths) // FILES)]][:FILES]


@pytest.mark.data
def test_same_onsets_and_pitches_as_symusic(songs):
    from symusic import Score

    for data in songs:
        (melody,) = read(data, ReadOptions())
        (track,) = [t for t in Score.from_midi(data).tracks if len(t.notes)]
        top: dict[int, int] = {}
        for note in track.notes:
            top[note.time] = max(note.pitch, top.get(note.time, 0))
        assert melody.onset.tolist() == [RATIO * time for time in sorted(top)]
        assert melody.pitch.tolist() == [top[time] for time in sorted(top)]
        assert melody.guessed_share == 0


@pytest.mark.data
def test_meters_and_tempos_as_symusic_has_them(songs):
    from symusic import Score

    for data in songs:
        (melody,) = read(data, ReadOptions())
        score = Score.from_midi(data)
        last = int(melody.onset[-1])
        theirs = [(RATIO * m.time, m.numerator, m.denominator) for m in score.time_signatures]
        ours = [(m.onset, m.numerator, m.denominator) for m in melody.meters]
        assert ours == [m for i, m in enumerate(theirs) if m[0] <= last and (i == 0 or m[1:] != theirs[i - 1][1:])]
        assert melody.tempo == pytest.approx(score.tempos[0].qpm, abs=0.01)


@pytest.mark.data
def test_every_chord_and_key_is_understood(songs):
    """Seven files in eight have chords from the start; the others none before their last change of key."""
    covered = []
    for data in songs:
        (melody,) = read(data, ReadOptions(chord_text="chord "))
        assert melody.chords
        assert not any("not understood" in remark for remark in melody.remarks)
        assert melody.key is not None
        first = melody.chords[0].onset
        covered.append(float(np.mean(melody.onset >= first)))
    assert np.mean(np.array(covered) > 0.95) > 0.8


@pytest.mark.data
def test_played_ends_are_told_from_written_ones(songs):
    """Onsets are written, most ends are not: the gaps between held keys are closed, and said so; none overlap."""
    closed = 0
    for data in songs:
        (melody,) = read(data, ReadOptions())
        assert melody.duration is not None
        assert melody.duration.min() > 0
        assert np.all(melody.onset[:-1] + melody.duration[:-1] <= melody.onset[1:])
        closed += any("taken as articulation and closed" in remark for remark in melody.remarks)
    assert closed > len(songs) / 2


def as_mido_decodes(data):
    """Of each track: last tick, name, notes (onset, channel, pitch), bends, tempos, meters, keys, texts."""
    import mido

    for track in mido.MidiFile(file=io.BytesIO(data)).tracks:
        tick, name = 0, ""
        notes, bends, tempos, meters, keys, texts = [], [], [], [], [], []
        for message in track:
            tick += message.time
            match message.type:
                case "note_on" if message.velocity and message.channel != 9:
                    notes.append((tick, message.channel, message.note))
                case "pitchwheel":
                    bends.append((tick, message.pitch / 8192 * 2.0))
                case "set_tempo":
                    tempos.append((tick, message.tempo))
                case "time_signature":
                    meters.append((tick, (message.numerator, message.denominator)))
                case "key_signature":
                    keys.append((tick, message.key))
                case "track_name":
                    name = name or message.name
                case "text" | "lyrics" | "marker" | "cue_marker":
                    texts.append((tick, message.text))
        yield tick, name, sorted(notes), sorted(bends), tempos, meters, keys, texts


def as_decoded_here(data):
    """The same of ours."""
    for track, signs in decode(scan(data)):
        channels = track.channels.items()
        notes = sorted((t, n, p) for n, c in channels for t, p in zip(c.onset, c.pitch, strict=True))
        bends = sorted(bend for _, c in channels for bend in c.bends)
        yield track.end, track.name, notes, bends, signs.tempos, signs.meters, signs.keys, signs.texts


def a_random_file(seed):
    """A file with every event that is decoded, written by mido."""
    import mido

    rng = random.Random(seed)
    keys = ["Cb", "F#", "C", "Abm", "A#m", "Am", "Gb", "Em"]
    file = mido.MidiFile(ticks_per_beat=480)
    for _ in range(3):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=f"Track {rng.random():.3f}")])
        for _ in range(200):
            time, channel = rng.choice([0, 0, 1, 60, 480, 20_000]), rng.randrange(16)
            note, velocity = rng.randrange(128), rng.choice([0, 1, 64])
            track.append(
                rng.choice(
                    [
                        mido.Message("note_on", note=note, velocity=velocity, channel=channel, time=time),
                        mido.Message("note_off", note=note, channel=channel, time=time),
                        mido.Message("pitchwheel", pitch=rng.randrange(-8192, 8192), channel=channel, time=time),
                        mido.Message("program_change", program=note, channel=channel, time=time),
                        mido.Message("control_change", control=7, value=note, channel=channel, time=time),
                        mido.Message("aftertouch", value=note, channel=channel, time=time),
                        mido.Message("sysex", data=[1, 2, note], time=time),
                        mido.MetaMessage("set_tempo", tempo=rng.randrange(1, 2**24), time=time),
                        mido.MetaMessage("time_signature", numerator=rng.randrange(1, 65), denominator=2, time=time),
                        mido.MetaMessage("key_signature", key=rng.choice(keys), time=time),
                        mido.MetaMessage(rng.choice(["text", "lyrics", "marker"]), text=f"word {note}", time=time),
                    ]
                )
            )
        track.append(mido.MetaMessage("end_of_track", time=rng.randrange(100)))
        file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


@pytest.mark.parametrize("seed", range(20))
def test_every_event_is_as_mido_decodes_it(seed):
    data = a_random_file(seed)
    assert list(as_decoded_here(data)) == list(as_mido_decodes(data))


def test_the_midi_files_beside_music21s_scores_are_as_mido_decodes_them(music21_corpus):
    paths = sorted(music21_corpus.parent.rglob("*.mid"))
    assert paths
    for path in paths:
        try:
            theirs = list(as_mido_decodes(path.read_bytes()))
        except (OSError, ValueError, KeyError, EOFError):  # damaged on purpose
            continue
        ours = list(as_decoded_here(path.read_bytes()))
        assert [t[2] for t in ours if t[2]] == [t[2] for t in theirs if t[2]], path.name
