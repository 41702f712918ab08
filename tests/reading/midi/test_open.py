"""Open MIDI melodies as read here and by symusic, a general-purpose library.

The collection (see corpus/*.toml): onsets on 24ths of a quarter note at 480 ticks, chords as text events, keys
declared; melodies of POP909 (Wang et al., ISMIR 2020) and POP909-CL (arXiv:2510.06528), both MIT-licensed.
"""

import numpy as np
import pytest

from stylemeter.music.meter import TICKS
from stylemeter.reading.intake.options import ReadOptions
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
