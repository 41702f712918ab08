"""One change to a melody as data, and how changes are applied."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stylemeter.music.melody import Melody, ends_of, grid_columns

__all__ = ["Edit", "apply_edits", "disjoint"]

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Edit:
    """One change, said of the rows of the melody it was proposed for.

    Attributes
    ----------
    pitch : tuple of (row, semitone)
        New sounding MIDI numbers; the fraction of a bent pitch is kept.
    time : tuple of (row, onset, duration)
        New times in ticks.
    drop : tuple of int
        Rows left out.
    add : tuple of (onset, duration, semitone)
        New notes.
    marks : tuple of (row, bits)
        New technique bits.
    claims : frozenset of int
        Places it relies on: of two edits that claim one, only the first is taken.
    """

    pitch: tuple[tuple[int, int], ...] = ()
    time: tuple[tuple[int, int, int], ...] = ()
    drop: tuple[int, ...] = ()
    add: tuple[tuple[int, int, int], ...] = ()
    marks: tuple[tuple[int, int], ...] = ()
    claims: frozenset[int] = frozenset()

    @property
    def timed(self) -> bool:
        """Whether it changes more than pitches and marks."""
        return bool(self.time or self.drop or self.add)


def disjoint(edits: Iterable[Edit], most: int) -> list[Edit]:
    """Edits that don't touch each other's places, in their order, at most `most`."""
    taken: set[int] = set()
    kept: list[Edit] = []
    for edit in edits:
        if taken.isdisjoint(edit.claims):
            taken |= edit.claims
            kept.append(edit)
            if len(kept) == most:
                break
    return kept


def apply_edits(melody: Melody, edits: Sequence[Edit]) -> Melody:
    """Apply changes proposed for a melody, in order.

    Bar lines, meters, key and chords stay; every note keeps a place on the grid.

    Returns
    -------
    Melody
    """
    semitone = np.floor(melody.pitch + 0.5).astype(np.int64)
    pitch = melody.pitch.copy()
    marks = None if melody.technique is None else melody.technique.copy()
    for edit in edits:
        for row, new in edit.pitch:
            pitch[row] = melody.pitch[row] + (new - semitone[row])
        for row, bits in edit.marks:
            assert marks is not None
            marks[row] = bits
    if any(edit.timed for edit in edits):
        return _retimed(melody, edits, pitch, marks)
    strings, frets = (_unknown(column, pitch != melody.pitch) for column in (melody.strings, melody.frets))
    return replace(melody, pitch=pitch, technique=marks, strings=strings, frets=frets)


def _unknown(column: Ints | None, where: npt.NDArray[np.bool_]) -> Ints | None:
    """Strings or frets, unknown where the pitch was changed."""
    return None if column is None else np.where(where, -1, column)


def _retimed(melody: Melody, edits: Sequence[Edit], pitch: npt.NDArray[np.float64], marks: Ints | None) -> Melody:
    """Rebuild the note table with new times, without the dropped notes and with the added ones."""
    onset = melody.onset.copy()
    duration = np.zeros(len(onset), dtype=np.int64) if melody.duration is None else melody.duration.copy()
    keep = np.ones(len(onset), dtype=bool)
    for edit in edits:
        for row, start, length in edit.time:
            onset[row], duration[row] = start, length
        keep[list(edit.drop)] = False
    added = np.array([note for edit in edits for note in edit.add], dtype=np.int64).reshape(-1, 3)
    starts = np.concatenate([onset[keep], added[:, 0]])
    order = np.argsort(starts, kind="stable")
    blank = np.zeros(len(added), dtype=np.int64)
    moved = np.concatenate([(onset != melody.onset)[keep], np.ones(len(added), dtype=bool)])
    bar, weight = np.concatenate([melody.bar[keep], blank]), np.concatenate([melody.weight[keep], blank])
    beat = np.concatenate([melody.beat[keep], blank.astype(float)])
    # only what moved needs a new place on the grid
    bar[moved], beat[moved], weight[moved] = grid_columns(starts[moved], melody.meters, melody.bars)
    placed = (_unknown(column, pitch != melody.pitch) for column in (melody.strings, melody.frets))
    strings, frets = (None if c is None else np.concatenate([c[keep], blank - 1])[order] for c in placed)
    phrases = None
    if melody.phrases is not None:
        # an added note is of the phrase of the note before it
        before = np.searchsorted(melody.onset, added[:, 0], side="right") - 1
        phrases = np.concatenate([melody.phrases[keep], melody.phrases[np.maximum(before, 0)]])[order]
    return replace(
        melody,
        onset=starts[order],
        duration=None if melody.duration is None else np.concatenate([duration[keep], added[:, 1]])[order],
        pitch=np.concatenate([pitch[keep], added[:, 2].astype(float)])[order],
        technique=None if marks is None else np.concatenate([marks[keep], blank])[order],
        strings=strings,
        frets=frets,
        phrase_ends=None if phrases is None else ends_of(phrases),
        confidence=None if melody.confidence is None else np.concatenate([melody.confidence[keep], blank + 1.0])[order],
        bar=bar[order],
        beat=beat[order],
        weight=weight[order],
        onset_seconds=None,
    )
