"""From a sound file's bytes to one channel of `spectra.RATE` samples a second, a block at a time.

The file's own rate is kept until the blocks are resampled, so that an hour in eight channels needs no more memory than
its one channel at the end.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, LimitError
from stylemeter.reading.audio.spectra import RATE
from stylemeter.reading.intake import limits

__all__ = ["Sound", "decode_sound"]

Floats = npt.NDArray[np.float32]

#: Samples a second that can be meant.
RATE_MIN, RATE_MAX = 4_000, 768_000
CHANNELS_MAX = 64
#: Seconds read at once.
PIECE = 10
#: Below this rate the upper partials that tell octaves apart are missing.
DULL = 11_025
#: Level of the mix, against the loudest channel's, below which the channels cancel one another.
CANCELLED = 0.35
#: Level under which a file is silent (a 16-bit sample's step is 3e-5).
SILENT = 1e-4
#: Share of samples at the very top of their range from which a take is told to be clipped.
CLIPPED = 0.002
MEND = "export it again as WAV or FLAC"


@dataclass(frozen=True, slots=True)
class Sound:
    """One channel of a file, and what has to be told of it."""

    samples: Floats
    remarks: list[str]

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / RATE


def decode_sound(data: bytes) -> Sound:
    """Read a sound file.

    Raises
    ------
    InputError
        If it holds no sound that can be read.
    LimitError
        If it lasts longer than `limits.SOUND_LASTS_MAX`.
    """
    import soundfile

    try:
        file = soundfile.SoundFile(io.BytesIO(data))
    except (soundfile.SoundFileError, RuntimeError, TypeError) as error:
        raise InputError("is no sound that can be read (damaged, or cut off in its header)", mend=MEND) from error
    with file:
        rate, channels = int(file.samplerate), int(file.channels)
        if not RATE_MIN <= rate <= RATE_MAX or not 1 <= channels <= CHANNELS_MAX:
            raise InputError(f"has {channels} channels of {rate} samples a second: not a recording", mend=MEND)
        if 0 < file.frames < 2**62:
            _check_length(file.frames / rate)
        remarks: list[str] = []
        try:
            samples, loudest, level = _mixed(file, rate, None, remarks)
            if channels > 1 and level < CANCELLED * loudest[1]:
                file.seek(0)
                remarks.append(f"its {channels} channels cancel one another: channel {loudest[0] + 1} read alone")
                samples, _, _ = _mixed(file, rate, loudest[0], [])
            elif channels > 1:
                remarks.append(f"{channels} channels mixed to one")
        except (soundfile.SoundFileError, RuntimeError) as error:
            raise InputError("breaks off in what can't be read as sound", mend=MEND) from error
    if not len(samples):
        raise InputError("holds no sound: it lasts no time at all", mend="record it again")
    if level < SILENT and loudest[1] < SILENT:
        raise InputError("is silent", mend="check the input it was recorded from")
    if rate < DULL:
        remarks.append(f"recorded at {rate} samples a second: its treble is missing, so octaves can be mistaken")
    return Sound(samples, remarks)


def _check_length(seconds: float) -> None:
    """Refuse what lasts too long."""
    if seconds > limits.SOUND_LASTS_MAX:
        told = f"{seconds / 3600:.1f} hours" if seconds > 5400 else f"{seconds / 60:.0f} minutes"
        raise LimitError(
            f"lasts {told}: no more than {limits.SOUND_LASTS_MAX / 60:g} minutes can be read",
            mend="cut out the solo and give that",
        )


def _mixed(file: object, rate: int, only: int | None, remarks: list[str]) -> tuple[Floats, tuple[int, float], float]:
    """The file as one channel; its loudest channel with that one's level; and the mix's level."""
    out: list[Floats] = []
    power: npt.NDArray[np.float64] = np.zeros(1)
    mixed, count, broken, top = 0.0, 0, 0, 0
    for piece, powers, alone, nans, clipped in _pieces(file, rate, only):
        out.append(piece)
        power = power + powers
        mixed += alone[0]
        count += alone[1]
        broken += nans
        top += clipped
    if broken:
        remarks.append(f"{broken} samples are no numbers: silence taken there")
    if count and top > CLIPPED * count:
        remarks.append("clipped: it was recorded too loud, which can hide soft notes; turn the input down")
    if not out:
        return np.zeros(0, np.float32), (0, 0.0), 0.0
    levels = np.sqrt(power / max(count, 1))
    loudest = int(levels.argmax())
    return np.concatenate(out), (loudest, float(levels[loudest])), math.sqrt(mixed / max(count, 1))


def _pieces(
    file: object, rate: int, only: int | None
) -> Iterator[tuple[Floats, npt.NDArray[np.float64], tuple[float, int], int, int]]:
    """Resampled pieces, each with the power of every channel, of the mix, and counts of bad and clipped samples."""
    from scipy.signal import resample_poly

    divisor = math.gcd(rate, RATE)
    up, down = RATE // divisor, rate // divisor
    # pieces start on multiples of `down`, with what the filter reaches on either side, so that they fit seamlessly
    reach = down * math.ceil((10 * max(1.0, down / up) + 2) / down)
    step = down * max(1, PIECE * rate // down)
    before: Floats = np.zeros(reach, np.float32)
    held: Floats = np.zeros(0, np.float32)
    total = 0
    done = False
    while not done:
        block = file.read(step, dtype="float32", always_2d=True)  # type: ignore[attr-defined]
        total += len(block)
        _check_length(total / rate)
        done = len(block) < step
        bad = ~np.isfinite(block)
        nans = int(bad.sum())
        if nans:
            block = np.where(bad, np.float32(0), block)
        mono = np.ascontiguousarray(block[:, only] if only is not None else block.mean(axis=1))
        powers = np.einsum("ij,ij->j", block, block, dtype=np.float64)
        clipped = int((np.abs(block).max(axis=1, initial=0.0) > 0.9999).sum()) if len(block) else 0
        measured = (float(np.dot(mono, mono)), len(mono))
        held = np.concatenate([held, mono])
        if done:
            held = np.concatenate([held, np.zeros(reach, np.float32)])
        ready = (len(held) - reach) // down * down if not done else len(held) - reach
        if ready <= 0:
            if len(mono):
                yield np.zeros(0, np.float32), powers, measured, nans, clipped
            continue
        piece = np.concatenate([before, held[: ready + reach]])
        start = reach * up // down
        resampled = (
            piece[reach : reach + ready]
            if up == down
            else resample_poly(piece, up, down)[start : start + math.ceil(ready * up / down)]
        )
        before = np.concatenate([before, held[:ready]])[-reach:]
        held = held[ready:]
        yield np.asarray(resampled, dtype=np.float32), powers, measured, nans, clipped
