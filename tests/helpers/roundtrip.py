"""Writing a melody and reading it back."""

from __future__ import annotations

from stylemeter.music.melody import Melody
from stylemeter.reading.intake.options import ReadOptions
from stylemeter.reading.kinds import KINDS
from stylemeter.writing import write
from stylemeter.writing.midi import CHORD_PREFIX


def read_back(melody: Melody, name: str) -> Melody:
    """The melody out of the file written."""
    from importlib import import_module

    reader = import_module(KINDS[name].module)
    chord_text = CHORD_PREFIX if name == "midi" else None
    [back] = reader.read(write(melody, name), ReadOptions(chord_text=chord_text))
    return back
