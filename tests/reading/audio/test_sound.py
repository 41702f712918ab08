"""Sound files of every kind and damage."""

from __future__ import annotations

import numpy as np
import pytest
from reading.audio.takes import RATE, as_file

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.audio.sound import decode_sound
from stylemeter.reading.intake import limits

TONE = (0.5 * np.sin(2 * np.pi * 220 * np.arange(RATE * 3) / RATE)).astype(np.float32)


def tone(rate: int, seconds: float = 3.0) -> np.ndarray:
    return (0.5 * np.sin(2 * np.pi * 220 * np.arange(int(rate * seconds)) / rate)).astype(np.float32)


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_every_rate_comes_out_at_ours(rate):
    found = decode_sound(as_file(tone(rate, 12.0), rate)).samples
    assert abs(len(found) - 12 * RATE) <= 2
    wanted = tone(RATE, 12.0)
    inner = slice(RATE // 10, len(wanted) - RATE // 10)
    # seams between the pieces would show here
    assert np.abs(found[: len(wanted)][inner] - wanted[: len(found)][inner]).max() < 2e-3


@pytest.mark.parametrize(
    ("form", "subtype"), [("WAV", "PCM_16"), ("WAV", "FLOAT"), ("FLAC", None), ("OGG", None), ("MP3", None)]
)
def test_every_format(form, subtype):
    found = decode_sound(as_file(TONE, RATE, form, subtype))
    assert abs(found.seconds - 3) < 0.2
    spectrum = np.abs(np.fft.rfft(found.samples[: RATE * 2]))
    assert abs(spectrum.argmax() / 2 - 220) < 1


def test_eight_channels_are_mixed_and_told():
    found = decode_sound(as_file(np.stack([TONE] * 8, axis=1)))
    assert found.remarks == ["8 channels mixed to one"]
    assert np.abs(found.samples - TONE).max() < 1e-3


def test_channels_that_cancel_are_not_mixed():
    found = decode_sound(as_file(np.stack([0.8 * TONE, -TONE], axis=1)))
    assert "channel 2 read alone" in found.remarks[0]
    assert np.abs(found.samples).max() > 0.4


def test_what_is_wrong_is_told_in_a_line():
    whole = as_file(TONE)
    with pytest.raises(InputError, match="no sound that can be read"):
        decode_sound(whole[:20])
    with pytest.raises(InputError, match="no time at all"):
        decode_sound(as_file(TONE[:0]))
    with pytest.raises(InputError, match="silent"):
        decode_sound(as_file(0 * TONE))
    with pytest.raises(InputError, match="not a recording"):
        decode_sound(as_file(TONE, 1_000))


def test_a_file_cut_off_is_read_as_far_as_it_goes():
    found = decode_sound(as_file(TONE)[: RATE * 2])
    assert 0.9 < found.seconds < 1.1


def test_numbers_that_are_none_and_clipping_are_told():
    bad = TONE.copy()
    bad[100:110] = np.nan
    assert "10 samples are no numbers" in decode_sound(as_file(bad, subtype="FLOAT")).remarks[0]
    assert "clipped" in decode_sound(as_file(np.clip(4 * TONE, -1, 1))).remarks[0]


def test_low_rates_are_told():
    assert "treble is missing" in decode_sound(as_file(tone(8_000), 8_000)).remarks[0]


def test_a_long_file_is_refused_before_it_is_decoded(monkeypatch):
    monkeypatch.setattr(limits, "SOUND_LASTS_MAX", 2)
    with pytest.raises(LimitError, match="cut out the solo"):
        decode_sound(as_file(TONE))
