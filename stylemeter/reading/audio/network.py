"""The network: spectra to what sounds in every frame, by numpy alone, or by onnxruntime where it is installed.

The weights ship as `network.onnx`, half floats; `MODEL.md` beside it says how they were made. Both ways compute the
same in single precision and differ by rounding (below 1e-3 in a logit), so that the notes are the same.

Conventions: maps have shape (n_frames, PITCHES). The network sees `BESIDE` frames on either side of a frame.
"""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.reading.audio.spectra import HOP, LOWEST, PITCH_LOW, PITCHES, blocks

__all__ = ["BESIDE", "Heard", "hear", "weights"]

Floats = npt.NDArray[np.float32]

#: Frames on either side that what is said of a frame depends on.
BESIDE = 88
#: Frames worked on at once.
BLOCK = 500
#: First bin of the lowest pitch, and from there to its partials 1/2, 1, 2, 3, 4, 5, 6, 7, 8.
FIRST = round(3 * (PITCH_LOW - 1 / 3 - LOWEST))
PARTIALS = (-36, 0, 36, 57, 72, 84, 93, 101, 108)
#: Dilations of the blocks in time and in pitch, and the block after which what all pitches say together is added.
DILATIONS = ((1, 1), (1, 12), (2, 1), (4, 12), (8, 1), (16, 1), (1, 1))
SHARED = 2

FILE = "network.onnx"
#: Set to "numpy" to leave onnxruntime aside.
ENGINE = "STYLEMETER_AUDIO_ENGINE"


@dataclass(frozen=True, slots=True)
class Heard:
    """What the network says of a take.

    Attributes
    ----------
    onset, sounding, line : ndarray of shape (n_frames, PITCHES)
        Logits: a note begins, it sounds, it is the upper voice.
    cents : ndarray of shape (n_frames, PITCHES)
        Cents by which a note that sounds lies above its pitch.
    onset_any, voiced, band : ndarray of shape (n_frames,)
        Logits: any note begins, any sounds, a band is heard beside the guitar.
    """

    onset: Floats
    sounding: Floats
    line: Floats
    cents: Floats
    onset_any: Floats
    voiced: Floats
    band: Floats


def hear(sound: Floats, tuning: float = 0.0) -> Heard:
    """Listen to a take.

    Parameters
    ----------
    sound : ndarray of shape (n_samples,)
        Mono, `spectra.RATE` samples a second.
    tuning : float
        Cents by which the instrument lies above 440 Hz.

    Returns
    -------
    Heard
    """
    run = _engine()
    count = len(sound) // HOP
    maps, tracks = np.empty((4, count, PITCHES), np.float32), np.empty((3, count), np.float32)
    for first, skip, spectra in blocks(sound, BLOCK, BESIDE, tuning):
        block_maps, block_tracks = run(spectra)
        stop = min(first + BLOCK, count)
        maps[:, first:stop] = block_maps[:, skip : skip + stop - first]
        tracks[:, first:stop] = block_tracks[:, skip : skip + stop - first]
    maps[3] *= 50
    return Heard(maps[0], maps[1], maps[2], maps[3], tracks[0], tracks[1], tracks[2])


def _engine() -> Callable[[Floats], tuple[Floats, Floats]]:
    """How the network is run here."""
    if os.environ.get(ENGINE, "").strip() != "numpy" and importlib.util.find_spec("onnxruntime"):
        session = _session()
        return lambda spectra: tuple(a[0] for a in session.run(None, {"spectra": spectra[None]}))
    return lambda spectra: _forward(spectra, weights())


@lru_cache(maxsize=1)
def _session() -> Any:
    """The session of onnxruntime: one thread, so that the same sums are made everywhere."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = False
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(_bytes(), options, providers=["CPUExecutionProvider"])


def _bytes() -> bytes:
    """The file of the network."""
    return files("stylemeter.reading.audio").joinpath(FILE).read_bytes()


@lru_cache(maxsize=1)
def weights() -> dict[str, Floats]:
    """Weights by name, in single precision."""
    graph = next(value for number, value in _protobuf(_bytes()) if number == 7)
    found = [_tensor(value) for number, value in _protobuf(graph) if number == 5]
    return {name: array for name, array in found if array.dtype == np.float32}


def _protobuf(data: bytes) -> Iterator[tuple[int, Any]]:
    """Numbers and values of a message's fields, as far as ONNX uses them (varints, bytes)."""
    at = 0
    while at < len(data):
        key, at = _varint(data, at)
        if key & 7 == 0:
            value, at = _varint(data, at)
            yield key >> 3, value
        elif key & 7 == 2:
            length, at = _varint(data, at)
            yield key >> 3, data[at : at + length]
            at += length
        else:
            at += 4 if key & 7 == 5 else 8


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """A number and the place behind it."""
    value = shift = 0
    while True:
        byte = data[at]
        value |= (byte & 127) << shift
        at, shift = at + 1, shift + 7
        if byte < 128:
            return value, at


def _tensor(data: bytes) -> tuple[str, npt.NDArray[Any]]:
    """Name and values of a tensor: half floats made single; others left as their bytes."""
    dims: list[int] = []
    kind, name, raw = 0, "", b""
    for number, value in _protobuf(data):
        if number == 1:
            dims += [value] if isinstance(value, int) else _packed(value)
        elif number == 2:
            kind = value
        elif number == 8:
            name = value.decode()
        elif number == 9:
            raw = value
    if kind == 10:
        return name, np.frombuffer(raw, np.float16).reshape(dims).astype(np.float32)
    return name, np.frombuffer(raw, np.float32).reshape(dims) if kind == 1 else np.frombuffer(raw, np.uint8)


def _packed(data: bytes) -> list[int]:
    """Varints one behind the other."""
    out, at = [], 0
    while at < len(data):
        value, at = _varint(data, at)
        out.append(value)
    return out


def _forward(spectra: Floats, w: dict[str, Floats]) -> tuple[Floats, Floats]:
    """Spectra of shape (3, n_frames, BINS) to maps (4, n_frames, PITCHES) and tracks (3, n_frames)."""
    x = np.maximum(_stem(np.pad(spectra, ((0, 0), (1, 1), (0, 40))), w["stem.weight"], w["stem.bias"]), 0)
    for i, (in_time, in_pitch) in enumerate(DILATIONS):
        y = _conv(x, w[f"blocks.{i}.a.weight"], w[f"blocks.{i}.a.bias"], in_time, in_pitch)
        np.maximum(y, 0, out=y)
        y = _conv(y, w[f"blocks.{i}.b.weight"], w[f"blocks.{i}.b.bias"])
        y += x
        x = np.maximum(y, 0, out=y)
        if i == SHARED:
            g = np.maximum(_conv1(_summary(x), w["shared1.weight"], w["shared1.bias"]), 0)
            x += np.maximum(_conv1(g, w["shared2.weight"], w["shared2.bias"]), 0)[:, :, None]
    g = np.maximum(_conv1(_summary(x), w["last.weight"], w["last.bias"]), 0)
    mixed = _conv(x, w["mix.weight"], w["mix.bias"])
    mixed += g[:, :, None]
    np.maximum(mixed, 0, out=mixed)
    maps = w["maps.weight"].reshape(4, -1) @ mixed.reshape(len(mixed), -1) + w["maps.bias"][:, None]
    tracks = w["tracks.weight"][:, :, 0] @ g + w["tracks.bias"][:, None]
    return maps.reshape(4, *x.shape[1:]), tracks


def _summary(x: Floats) -> Floats:
    """Mean and largest over the pitches."""
    return np.concatenate([x.mean(axis=2), x.max(axis=2)])


def _stem(spectra: Floats, weight: Floats, bias: Floats) -> Floats:
    """The first convolution, over the bins of a pitch and its partials: three frames, seven bins, steps of three."""
    width, count = len(bias), spectra.shape[1] - 2
    parts = [spectra[..., FIRST + h : FIRST + h + 3 * PITCHES] for h in PARTIALS]
    stacked = np.pad(np.concatenate(parts), ((0, 0), (0, 0), (2, 2)))
    columns = np.concatenate([stacked[:, :, k : k + 3 * PITCHES : 3] for k in range(7)])
    out = np.zeros((width, count * PITCHES), np.float32)
    for k in range(3):
        taps = weight[:, :, k].transpose(0, 2, 1).reshape(width, -1)
        out += taps @ columns[:, k : k + count].reshape(len(columns), -1)
    out += bias[:, None]
    return out.reshape(width, count, PITCHES)


def _conv(x: Floats, weight: Floats, bias: Floats, in_time: int = 1, in_pitch: int = 1) -> Floats:
    """A convolution over (n_frames, PITCHES) that keeps the shape; three pitches wide."""
    width, count, pitches = x.shape
    reach = weight.shape[2] // 2 * in_time
    # the three neighbours in pitch are laid one under the other; frames are then only offsets into them
    columns = np.zeros((3, width, count + 2 * reach, pitches), np.float32)
    columns[0, :, reach : reach + count, in_pitch:] = x[:, :, :-in_pitch]
    columns[1, :, reach : reach + count] = x
    columns[2, :, reach : reach + count, :-in_pitch] = x[:, :, in_pitch:]
    flat = columns.reshape(3 * width, -1)
    out = np.empty((len(bias), count * pitches), np.float32)
    out[:] = bias[:, None]
    for k in range(weight.shape[2]):
        taps = np.ascontiguousarray(weight[:, :, k].transpose(0, 2, 1).reshape(len(bias), -1))
        start = k * in_time * pitches
        out += taps @ flat[:, start : start + count * pitches]
    return out.reshape(len(bias), count, pitches)


def _conv1(x: Floats, weight: Floats, bias: Floats) -> Floats:
    """A convolution over frames that keeps their number."""
    reach = weight.shape[2] // 2
    padded = np.pad(x, ((0, 0), (reach, reach)))
    taps = [weight[:, :, k] @ padded[:, k : k + x.shape[1]] for k in range(weight.shape[2])]
    return np.sum(taps, axis=0, dtype=np.float32) + bias[:, None]
