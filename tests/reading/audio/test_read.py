"""A recording from its bytes to its melody, and on to its placement."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner
from helpers.same import assert_same
from reading.audio.takes import as_file, clicks, take

from stylemeter.cli import main
from stylemeter.errors import InputError
from stylemeter.music.meter import TICKS
from stylemeter.reading import ReadOptions, read_bytes
from stylemeter.reading.audio.read import HONEST, read
from stylemeter.reading.performed import tempo
from stylemeter.writing.table import to_csv, to_json


@pytest.fixture(scope="module")
def recording():
    sound, _, pitches, places, _ = take(21)
    return as_file(sound), pitches, places


def test_with_its_tempo_told_the_notes_lie_where_they_were_played(recording):
    data, pitches, places = recording
    [melody] = read(data, ReadOptions(tempo=96, first_beat=0.5))
    assert melody.source == "audio"
    assert len(melody) == len(pitches)
    assert (melody.pitch == pitches).mean() > 0.95
    assert (melody.onset == np.round(places * TICKS)).mean() > 0.95
    assert melody.confidence is not None
    assert melody.confidence.min() > 0.3
    assert HONEST in melody.remarks
    assert 0 < melody.guessed_share < 0.15


def test_count_in_says_tempo_and_first_beat():
    quarter = 60 / 96
    sound, _, _, places, _ = take(22, first=3.0)
    [melody] = read(as_file(clicks(sound, 4, quarter, 3.0)), ReadOptions(count_in=4))
    assert abs(melody.tempo - 96) < 0.5
    assert (melody.onset[: len(places)] == np.round(places[: len(melody)] * TICKS)).mean() > 0.9
    with pytest.raises(InputError, match="no count-in of 4 even clicks"):
        read(as_file(sound), ReadOptions(count_in=4))


def test_an_unknown_tempo_is_estimated_or_asked_for(recording, monkeypatch):
    data, *_ = recording
    monkeypatch.setattr(tempo, "SURE", 0.0)
    [melody] = read(data, ReadOptions())
    assert abs(melody.tempo / 96 - 1) < 0.03
    assert any("half or double" in remark for remark in melody.remarks)
    monkeypatch.setattr(tempo, "SURE", 99.0)
    with pytest.raises(InputError, match="can't be told for sure: 96") as caught:
        read(data, ReadOptions())
    assert caught.value.mend.count("--tempo") == 2


def test_too_few_notes_and_none():
    sound, *_ = take(23, notes=4)
    with pytest.raises(InputError, match="too few to tell a tempo"):
        read(as_file(sound), ReadOptions())
    rng = np.random.default_rng(0)
    with pytest.raises(InputError, match="no notes of a guitar"):
        read(as_file((0.05 * rng.standard_normal(16_000 * 8)).astype(np.float32)), ReadOptions(tempo=96))


def test_confidence_survives_the_note_table(recording):
    [melody] = read(recording[0], ReadOptions(tempo=96, first_beat=0.5))
    for text, kind in ((to_csv(melody), "csv"), (to_json(melody), "json")):
        [again] = read_bytes(text.encode(), kind)
        assert_same(melody, again)


def test_the_same_bytes_give_the_same_melody(recording):
    one, other = (read(recording[0], ReadOptions(tempo=96))[0] for _ in range(2))
    assert_same(one, other)


@pytest.fixture
def folder(tmp_path, recording, monkeypatch):
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))
    (tmp_path / "takes").mkdir()
    (tmp_path / "takes" / "monday.wav").write_bytes(recording[0])
    return tmp_path


def test_commands_take_recordings_like_any_file(folder):
    take_ = str(folder / "takes" / "monday.wav")
    run = CliRunner().invoke
    placed = run(
        main, ["place", take_, "--tempo", "96", "--key", "D dorian", "--profile", "old-fiddle-tunes", "--json"]
    )
    assert placed.exit_code == 0, placed.output
    document = json.loads(placed.stdout)
    assert any("real player" in remark for remark in document["solo"]["remarks"])
    for arguments in (["features", take_, "--tempo", "96"], ["notes", take_, "--tempo", "96", "--format", "musicxml"]):
        result = run(main, arguments)
        assert result.exit_code == 0, result.output
    refused = run(main, ["notes", take_, "--count-in", "1"])
    assert refused.exit_code == 2
    assert "2 to 16" in refused.output


def test_other_sound_is_told_how_to_be_converted(tmp_path):
    file = tmp_path / "take.m4a"
    file.write_bytes(b"\x00\x00\x00\x20ftypM4A " + bytes(64))
    result = CliRunner().invoke(main, ["notes", str(file)])
    assert result.exit_code == 4
    assert "convert it to WAV, FLAC, OGG or MP3" in result.output
