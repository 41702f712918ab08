"""Writing a melody and reading it back."""

from __future__ import annotations

from stylemeter.melody import Melody
from stylemeter.reading.options import ReadOptions
from stylemeter.writing import write
from stylemeter.writing.midi import CHORD_PREFIX

KINDS = {"musicxml": "musicxml", "abc": "abc_notation", "midi": "midi", "csv": "table", "json": "table"}


def read_back(melody: Melody, name: str) -> Melody:
    """The melody out of the file written."""
    from importlib import import_module

    reader = import_module(f"stylemeter.reading.{KINDS[name]}")
    chord_text = CHORD_PREFIX if name == "midi" else None
    [back] = reader.read(write(melody, name), ReadOptions(chord_text=chord_text))
    return back
