"""From a sound to what is heard in it: tuning, notes, how they are played, and what goes on beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stylemeter.reading.audio.curve import Gesture, gestures, joined
from stylemeter.reading.audio.decoder import FRAME, Note, Price, decode, odds
from stylemeter.reading.audio.network import Heard, hear
from stylemeter.reading.audio.spectra import PITCH_LOW
from stylemeter.reading.audio.tuning import tuning_of

__all__ = ["Listened", "listen", "understood"]

#: Frames after an onset in which another voice must begin with it, how likely it must begin, and then sound.
TOGETHER, BEGINS, SOUNDS = 5, 0.4, 0.5
#: Frames after its onset over which a voice is looked at.
WITHIN = 12


@dataclass(frozen=True, slots=True)
class Listened:
    """What is heard in a take.

    Attributes
    ----------
    notes : list of Note
        The line: the upper voice.
    gestures : list of Gesture
        One a note.
    heard : Heard
        What the network said.
    tuning : float
        Cents by which the guitar lies above 440 Hz.
    """

    notes: list[Note]
    gestures: list[Gesture]
    heard: Heard
    tuning: float


def listen(sound: npt.NDArray[np.float32]) -> Listened:
    """Listen to a mono sound of `spectra.RATE` samples a second."""
    tuning = tuning_of(sound)
    return understood(hear(sound, tuning), tuning)


def understood(heard: Heard, tuning: float = 0.0, price: Price | None = None) -> Listened:
    """The line in what the network said; `price` is what paths of the decoder pay."""
    notes = [replace(note, voices=_voices(note, heard)) for note in joined(decode(heard, price), heard)]
    played = gestures(notes, heard)
    notes = [replace(note, pitch=gesture.pitch) for note, gesture in zip(notes, played, strict=True)]
    return Listened(notes, played, heard, tuning)


def _voices(note: Note, heard: Heard) -> int:
    """How many voices begin with a note: those struck with it that sound on."""
    low, high = max(0, note.frame - TOGETHER), note.frame + TOGETHER
    begins = odds(heard.onset[low:high]).max(axis=0)
    stop = min(note.frame + WITHIN, note.frame + max(4, round((note.end - note.time) / FRAME)))
    sounds = odds(heard.sounding[note.frame + 2 : stop])
    lasting = sounds.mean(axis=0) if len(sounds) else np.zeros(heard.sounding.shape[1])
    others = (begins > BEGINS) & (lasting > SOUNDS)
    others[max(0, note.pitch - PITCH_LOW - 1) :] = False
    return 1 + int(others.sum())
