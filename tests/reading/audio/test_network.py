"""The weights that ship, and the two ways to run them."""

from __future__ import annotations

import hashlib
import re
from importlib.resources import files

import numpy as np
import pytest
from reading.audio.takes import take

from stylemeter.reading.audio import network
from stylemeter.reading.audio.listen import listen

ROOM = files("stylemeter.reading.audio")


def test_the_weights_are_those_of_the_card():
    data = ROOM.joinpath("network.onnx").read_bytes()
    card = ROOM.joinpath("MODEL.md").read_text("utf-8")
    assert len(data) <= 600_000
    assert re.search(r"network\.onnx`?, SHA-256 `([0-9a-f]{64})`", card)[1] == hashlib.sha256(data).hexdigest()


def test_numpy_and_onnxruntime_hear_the_same_notes(monkeypatch):
    pytest.importorskip("onnxruntime")
    sound = take(3)[0]
    other = listen(sound)
    monkeypatch.setenv(network.ENGINE, "numpy")
    own = listen(sound)
    assert np.abs(own.heard.onset - other.heard.onset).max() < 1e-2
    as_rows = lambda found: [(n.frame, n.pitch, round(n.time, 3), round(n.end, 3)) for n in found.notes]  # noqa: E731
    assert as_rows(own) == as_rows(other)


def test_the_weights_are_read_as_onnx_reads_them():
    onnx = pytest.importorskip("onnx")
    graph = onnx.load_from_string(ROOM.joinpath("network.onnx").read_bytes()).graph
    theirs = {
        t.name: onnx.numpy_helper.to_array(t) for t in graph.initializer if t.data_type == onnx.TensorProto.FLOAT16
    }
    ours = network.weights()
    assert theirs.keys() <= ours.keys()
    assert all(np.array_equal(ours[name], array.astype(np.float32)) for name, array in theirs.items())


def test_blocks_do_not_show(monkeypatch):
    sound = take(3)[0]
    whole = network.hear(sound)
    monkeypatch.setattr(network, "BLOCK", 173)
    pieces = network.hear(sound)
    assert np.abs(whole.onset - pieces.onset).max() < 1e-2
