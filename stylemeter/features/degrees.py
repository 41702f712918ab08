"""Which notes of the key the line uses, and where it rests on them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import Lack, Mask, Tally, distinct, entropy_of_counts, feature
from stylemeter.features.line import Line
from stylemeter.features.scale_use import SEVEN_NOTES

__all__ = ["WINDOW_NOTES", "one_scale_notes", "pentatonic_notes"]

Bools = npt.NDArray[np.bool_]

#: Notes a window of `degree_drift`.
WINDOW_NOTES = 16

_MAJOR_PENTATONIC = np.isin(np.arange(12), (0, 2, 4, 7, 9))
_MINOR_PENTATONIC = np.isin(np.arange(12), (0, 3, 5, 7, 10))
_MINOR_ONLY = ("minor", "dorian", "phrygian", "locrian")


@feature("degrees", "share of notes", "notes on the root", needs=["key"], sliceable=True)
def root_share(line: Line) -> Mask:
    """Share of notes on the root."""
    return Mask(line.degree == 0)


@feature("degrees", "share of notes", "notes on a third, minor or major", needs=["key"], sliceable=True)
def third_share(line: Line) -> Mask:
    """Share of notes on a third."""
    return Mask((line.degree == 3) | (line.degree == 4))


@feature("degrees", "share of notes", "notes on the fifth", needs=["key"], sliceable=True)
def fifth_share(line: Line) -> Mask:
    """Share of notes on the fifth."""
    return Mask(line.degree == 7)


@feature(
    "degrees", "share of notes", "notes on a ninth (the second degree), minor or major", needs=["key"], sliceable=True
)
def ninth_share(line: Line) -> Mask:
    """Share of notes on a ninth."""
    return Mask((line.degree == 1) | (line.degree == 2))


@feature("degrees", "share of notes", "notes on a seventh, minor or major", needs=["key"], sliceable=True)
def seventh_share(line: Line) -> Mask:
    """Share of notes on a seventh."""
    return Mask(line.degree >= 10)


@feature(
    "degrees", "share of sounding time", "time spent on the root", needs=["key", "rhythm", "durations"], sliceable=True
)
def root_time_share(line: Line) -> Mask:
    """Share of sounding time on the root."""
    return Mask(line.degree == 0, weight=line.duration)


@feature("degrees", "bits", "how evenly the twelve degrees are used", bounds=(0.0, np.log2(12)), sliceable=True)
def degree_entropy(line: Line) -> Tally:
    """Entropy of the degrees (the tonic cancels)."""
    return Tally(line.base.pitch_class[line.start : line.stop], entropy_of_counts)


@feature(
    "degrees",
    "share of notes",
    "notes outside the mode and the chord that sounds",
    needs=["key", "mode"],
    sliceable=True,
    version=2,
)
def chromatic_share(line: Line) -> Mask:
    """Share of notes outside the mode; a chord's own notes are never outside while it sounds."""
    outside = line.base.outside_mode
    assert outside is not None
    return Mask(outside[line.start : line.stop])


def pentatonic_notes(line: Line) -> Bools:
    """Notes inside the pentatonic set used: of a minor mode the minor one, else the one that holds more."""
    minor = _MINOR_PENTATONIC[line.degree]
    assert line.key is not None
    if line.key.mode in _MINOR_ONLY:
        return minor
    major = _MAJOR_PENTATONIC[line.degree]
    return major if np.count_nonzero(major) >= np.count_nonzero(minor) else minor


@feature("degrees", "share of notes", "notes inside one pentatonic scale on the root", needs=["key", "mode"])
def pentatonic_share(line: Line) -> Mask:
    """Share of notes inside a pentatonic scale."""
    return Mask(pentatonic_notes(line))


def _held_by_one_scale(counts: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    share: npt.NDArray[np.float64] = (counts @ SEVEN_NOTES[:, : counts.shape[-1]].T).max(axis=-1) / counts.sum(axis=-1)
    return share


def one_scale_notes(line: Line) -> Bools:
    """Notes of the seven-note scale that holds most of them; the first of equals."""
    classes = line.base.pitch_class[line.start : line.stop]
    held = np.bincount(classes, minlength=12) @ SEVEN_NOTES.T
    inside: Bools = SEVEN_NOTES[int(held.argmax())][classes]
    return inside


@feature(
    "degrees",
    "share of notes",
    "notes of the one major, harmonic or melodic minor scale that holds most of them",
    evidence=one_scale_notes,
    sliceable=True,
)
def one_scale_share(line: Line) -> Tally:
    """Share of the notes in one seven-note scale, on whatever tonic."""
    return Tally(line.base.pitch_class[line.start : line.stop], _held_by_one_scale)


@feature(
    "degrees", "classes", "how many of the twelve notes are used", bounds=(1.0, 12.0), discrete=True, sliceable=True
)
def pitch_class_count(line: Line) -> Tally:
    """Distinct pitch classes."""
    return Tally(line.base.pitch_class[line.start : line.stop], distinct)


@feature(
    "degrees",
    "divergence",
    "how much the notes used change from one window of 16 notes to the next",
    minimum_notes=2 * WINDOW_NOTES,
    source="Jensen-Shannon divergence, base 2 (Lin 1991)",
)
def degree_drift(line: Line) -> float:
    """Mean Jensen-Shannon divergence of the degrees between neighbouring windows."""
    windows = line.n // WINDOW_NOTES
    classes = line.base.pitch_class[line.start : line.start + windows * WINDOW_NOTES]
    cells = np.repeat(np.arange(windows), WINDOW_NOTES) * 12 + classes
    counts = np.bincount(cells, minlength=12 * windows).reshape(windows, 12)
    own = _TERMS[counts].sum(axis=1)
    both = _TERMS[counts[1:] + counts[:-1]].sum(axis=1)
    # H(middle) - (H(a) + H(b)) / 2, with H = log2 N - sum(c log2 c) / N and N = 32 and 16
    divergence = 1.0 - both / (2 * WINDOW_NOTES) + (own[1:] + own[:-1]) / (2 * WINDOW_NOTES)
    return float(np.mean(np.maximum(0.0, divergence)))


#: c * log2(c) of the counts two windows can have.
_TERMS = np.arange(2 * WINDOW_NOTES + 1, dtype=float)
_TERMS[1:] *= np.log2(_TERMS[1:])


def _root_ends(line: Line) -> Bools:
    marked = np.zeros(line.n, dtype=bool)
    marked[line.phrase_last] = line.degree[line.phrase_last] == 0
    return marked


@feature("degrees", "share of phrases", "phrases that end on the root", needs=["key", "rhythm"], evidence=_root_ends)
def phrase_end_root_share(line: Line) -> float | Lack:
    """Share of phrases that end on the root."""
    last = line.phrase_last
    if len(last) < 3:
        return Lack("fewer than 3 phrases")
    return int(np.count_nonzero(line.degree[last] == 0)) / len(last)


@feature("degrees", "share", "of the notes on a beat, those on the root", needs=["key", "rhythm"], sliceable=True)
def strong_beat_root_share(line: Line) -> Mask:
    """Share of the notes on a beat that are the root."""
    return Mask(line.degree == 0, of=line.on_beat, fewest=4, what="notes on a beat")
