"""Where on the neck a melody lies: the source's own strings and frets, and a sensible fingering where it has none.

Conventions: string 1 is the thinnest, the top line of tablature; fret 0 is the open string; a tuning is the open
strings' MIDI numbers, the thickest string first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.music.melody import Melody

__all__ = ["FRETS", "STANDARD", "Fingering", "fingering", "for_guitar"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: E A D G B E.
STANDARD = (40, 45, 50, 55, 59, 64)
#: Highest fret used; common practice, no source.
FRETS = 22
#: Frets a hand covers without leaving its place, and one more at a stretch.
REACH = 4

# Costs, common practice, no source: what a player avoids, in frets of hand movement.
#: Leaving the place at all, each fret of the way, and what a pause of a beat leaves of it.
LEAVE, WAY, PAUSED = 0.8, 0.5, 0.4
#: A stretched finger, each string crossed beyond the next, each fret of the hand away from home.
STRETCH, CROSS, FAR = 1.2, 0.15, 0.05
#: An open string with the hand in first position, and anywhere else: it rings where fretted notes don't.
OPEN, OPEN_ABOVE = 0.3, 3.0
#: Each fret above the ninth, on the thickest string; less on thinner ones, where lines up there are played.
THICK, HIGH = 0.2, 9
#: The place a hand likes best, where nothing else decides.
HOME = 5


#: Words in a part's name that tell a guitar, and what its range tells where nothing else does: the median lies below
#: the first, or a note below the second (the violin's lowest), none outside the neck.
NAMES, MEDIAN, LOWEST = ("guit", "gtr"), 62, 55


def for_guitar(melody: Melody) -> bool:
    """Whether a melody is a guitar's, which is written an octave above where it sounds.

    Told by its strings, its playing marks or the name of its part, else by its range.

    Examples
    --------
    >>> from stylemeter.reading.draft.build import Draft, RawNote, build
    >>> for_guitar(build(Draft([RawNote(0, 5040, 57.0)]))), for_guitar(build(Draft([RawNote(0, 5040, 74.0)])))
    (True, False)
    """
    if melody.technique is not None or melody.tuning is not None:
        return True
    if any(name in melody.part.lower() for name in NAMES):
        return True
    if not len(melody):
        return False
    low, middle, high = melody.pitch.min(), np.median(melody.pitch), melody.pitch.max()
    on_neck = low >= STANDARD[0] and high <= STANDARD[-1] + FRETS
    return bool((on_neck and low < LOWEST) or middle < MEDIAN)


@dataclass(frozen=True, slots=True)
class Fingering:
    """String and fret of every note.

    Attributes
    ----------
    strings, frets : ndarray of shape (n_notes,)
    tuning : tuple of int
    own : bool
        Whether any of it is ours rather than the source's.
    """

    strings: Ints
    frets: Ints
    tuning: tuple[int, ...]
    own: bool


def fingering(melody: Melody) -> Fingering | None:
    """Give every note a string and a fret: the source's, else those with the least movement of the hand.

    Parameters
    ----------
    melody : Melody

    Returns
    -------
    Fingering or None
        None where a note lies outside the range of the guitar.

    Notes
    -----
    The cheapest way through the notes is found by dynamic programming over (string, place of the hand): a place covers
    four frets, and moving it costs less where the line pauses. A bent note is fretted at the pitch it reaches.

    References
    ----------
    .. [1] S. I. Sayegh, Fingering for string instruments with the optimum path paradigm, Computer Music Journal
       13 (3), 1989 (the method; the costs are our own).
    """
    tuning = melody.tuning or STANDARD
    told_strings, told_frets = melody.strings, melody.frets
    semitones = np.floor(melody.pitch + 0.5).astype(np.int64)
    choices: list[_Places] = []
    for i, pitch in enumerate(semitones.tolist()):
        if told_strings is not None and told_frets is not None and told_strings[i] > 0 and told_frets[i] >= 0:
            places = _places([(int(told_strings[i]), int(told_frets[i]))])
        else:
            on = ((s, pitch - tuning[-s]) for s in range(1, len(tuning) + 1))
            places = _places([(string, fret) for string, fret in on if 0 <= fret <= FRETS])
        if not len(places.string):
            return None
        choices.append(places)
    if not choices:
        return None
    way = _cheapest(choices, _pauses(melody))
    strings = np.array([places.string[k] for places, k in zip(choices, way, strict=True)], dtype=np.int64)
    frets = np.array([places.fret[k] for places, k in zip(choices, way, strict=True)], dtype=np.int64)
    own = told_strings is None or bool(np.any(told_strings <= 0))
    return Fingering(strings, frets, tuning, own)


@dataclass(frozen=True, slots=True)
class _Places:
    """Ways to play a note: string, fret, place of the hand, and what each costs by itself."""

    string: Ints
    fret: Ints
    hand: Ints
    cost: Floats


def _places(on: list[tuple[int, int]]) -> _Places:
    rows = []
    for string, fret in on:
        if fret == 0:
            # an open string leaves the hand where it is: any place will do
            rows += [(string, 0, hand, OPEN if hand <= 2 else OPEN_ABOVE) for hand in range(1, FRETS)]
            continue
        rows += [(string, fret, fret - finger, 0.0) for finger in range(REACH) if fret - finger >= 1]
        if fret > REACH:
            rows.append((string, fret, fret - REACH, STRETCH))
    table = np.array(rows, dtype=float).reshape(-1, 4)
    on_string, at, hand = (table[:, k].astype(np.int64) for k in range(3))
    high = THICK * (on_string - 1) / 5 * np.maximum(at - HIGH, 0)
    return _Places(on_string, at, hand, table[:, 3] + FAR * np.abs(hand - HOME) + high)


def _pauses(melody: Melody) -> Floats:
    """What is left of the cost of moving before each note: less after a beat's time."""
    left = np.ones(len(melody))
    beats = np.array([meter.beat for meter in melody.note_meters[:-1]], dtype=float)
    left[1:] = np.where(np.diff(melody.onset) >= beats, PAUSED, 1.0)
    return left


def _cheapest(choices: list[_Places], pauses: Floats) -> list[int]:
    """Index of the place taken at each note, the cheapest way through; of a tie the first."""
    total = choices[0].cost
    came: list[Ints] = []
    for before, places, left in zip(choices, choices[1:], pauses[1:].tolist(), strict=False):
        moved = np.abs(before.hand[:, None] - places.hand[None, :])
        crossed = np.abs(before.string[:, None] - places.string[None, :])
        step = left * np.where(moved > 0, LEAVE + WAY * moved, 0.0) + CROSS * np.maximum(crossed - 1, 0)
        through = total[:, None] + step
        best = through.argmin(axis=0)
        came.append(best)
        total = through[best, np.arange(len(places.string))] + places.cost
    way = [int(total.argmin())]
    for best in reversed(came):
        way.append(int(best[way[-1]]))
    return way[::-1]
