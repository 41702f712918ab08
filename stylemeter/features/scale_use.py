"""The scale a line uses, found from its own notes window by window, and its steps: moves to the scale's next note.

A move of one or two semitones is a step in any scale. Pentatonic and blues scales and the harmonic minor have wider
ones, of three semitones: those count where that scale is in use. No key is needed, and none is believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.music.melody import Key
from stylemeter.music.scales import SCALES

__all__ = ["SEVEN_NOTES", "WINDOW", "ScaleInUse", "degree_steps", "scale_in_use"]

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

#: Notes round a move by which its scale is found.
WINDOW = 16
#: The scales looked for: one name a set of intervals, since a mode has the notes of its parent scale.
KINDS = (
    "minor pentatonic",
    "blues hexatonic",
    "whole tone",
    "major",
    "harmonic minor",
    "melodic minor",
    "octatonic (half-whole)",
)
#: Different notes up to which a scale is told by them.
FEW = 4
#: Scales whose tonics are spelled as a major key's.
_LIKE_MAJOR = ("major", "lydian", "mixolydian", "major pentatonic", "major blues", "lydian dominant", "whole tone")
#: Share of the notes a scale in use may leave outside.
OUTSIDE = 0.05


def _sets() -> tuple[list[tuple[str, int]], Bools]:
    """Every kind on every tonic that gives other notes: names with tonics, and members of shape (n_sets, 12)."""
    names, members = [], []
    for kind in KINDS:
        seen: set[frozenset[int]] = set()
        for tonic in range(12):
            classes = frozenset((tonic + degree) % 12 for degree in SCALES[kind])
            if classes not in seen:
                seen.add(classes)
                names.append((kind, tonic))
                members.append(np.isin(np.arange(12), list(classes)))
    return names, np.array(members)


_NAMES, _MEMBERS = _sets()
#: The scales of seven notes among them, of shape (36, 12).
SEVEN_NOTES: Bools = _MEMBERS[_MEMBERS.sum(axis=1) == 7]
_SIZE = _MEMBERS.sum(axis=1)
_INSIDE = np.log((1 - OUTSIDE) / _SIZE)
_BESIDE = np.log(OUTSIDE / (12 - _SIZE))
#: Whether three semitones lie between two neighbouring notes of the set, by the class of the lower one.
_WIDE = np.array(
    [[m[c] and m[(c + 3) % 12] and not m[(c + 1) % 12] and not m[(c + 2) % 12] for c in range(12)] for m in _MEMBERS]
)
_HAS_WIDE = _WIDE.any(axis=1)


def _best(counts: Ints) -> Ints:
    """Set that explains each row's notes best: each inside is one of its notes, 5 in 100 lie outside.

    The likelihood prefers the smaller of two scales that hold the same notes. A scale with wide steps is in use only
    where all of its notes are heard: an arpeggio is no pentatonic run.

    Parameters
    ----------
    counts : ndarray of shape (n_windows, 12)
    """
    inside = counts @ _MEMBERS.T
    likelihood = inside * _INSIDE + (counts.sum(axis=1)[:, None] - inside) * _BESIDE
    heard = ((counts > 0).astype(np.int64) @ _MEMBERS.T) == _SIZE
    # rounded, so that of equals the first is taken, whatever the order of the sums
    found: Ints = np.where(heard | ~_HAS_WIDE, likelihood.round(9), -np.inf).argmax(axis=1)
    return found


def degree_steps(q: Ints, k: Ints) -> Bools:
    """Whether each move goes to the next note of the scale in use.

    Parameters
    ----------
    q : ndarray of shape (n_notes,)
        Pitches in semitones.
    k : ndarray of shape (n_notes - 1,)
        Intervals.

    Returns
    -------
    ndarray of bool, shape (n_notes - 1,)
        One or two semitones, or three between neighbours of the scale that the 16 notes with the move in their middle
        use (at the ends, the first or the last 16).
    """
    size = np.abs(k)
    step: Bools = (size == 1) | (size == 2)
    wide = np.flatnonzero(size == 3)
    if not len(wide):
        return step
    n = len(q)
    classes = q % 12
    heard = np.zeros((n + 1, 12), dtype=np.int64)
    heard[np.arange(1, n + 1), classes] = 1
    heard = heard.cumsum(axis=0)
    start = np.clip(wide - (WINDOW // 2 - 1), 0, max(0, n - WINDOW))
    best = _best(heard[np.minimum(start + WINDOW, n)] - heard[start])
    lower = np.minimum(q[wide], q[wide + 1]) % 12
    step[wide] = _WIDE[best, lower]
    return step


@dataclass(frozen=True, slots=True)
class ScaleInUse:
    """The scale that holds a stretch of notes best.

    Attributes
    ----------
    name : str
        A name of `scales.SCALES`.
    tonic : int
        Pitch class.
    notes : float
        Share of the notes inside.
    classes : tuple of int
        Pitch classes used inside it.
    """

    name: str
    tonic: int
    notes: float
    classes: tuple[int, ...]

    def title(self, key: Key | None) -> str:
        """As said: "A minor pentatonic"; of up to four notes which they are, for many scales hold them.

        Parameters
        ----------
        key : Key or None
            By which notes are spelled.
        """
        own = Key(self.tonic, "major" if self.name in _LIKE_MAJOR else "minor", "estimated")
        if len(self.classes) > FEW:
            return f"{own.tonic_name} {self.name}"
        names = [(key or own).spelled(c) for c in self.classes]
        return f"the notes {', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else f"the one note {names[0]}"


def scale_in_use(classes: Ints, tonic: int | None = None) -> ScaleInUse | None:
    """Find the scale a stretch of notes uses, named on the tonic where one of its modes begins there.

    Parameters
    ----------
    classes : ndarray of shape (n_notes,)
        Pitch classes.
    tonic : int, optional
        The key's.

    Returns
    -------
    ScaleInUse or None
        None without notes.

    Examples
    --------
    >>> scale_in_use(np.array([9, 0, 2, 4, 7, 9, 7, 4, 2, 0]), tonic=9)
    ScaleInUse(name='minor pentatonic', tonic=9, notes=1.0, classes=(0, 2, 4, 7, 9))
    """
    if not len(classes):
        return None
    counts = np.bincount(classes, minlength=12)
    best = int(_best(counts[None])[0])
    share = float(counts[_MEMBERS[best]].sum() / len(classes))
    kind, own = _NAMES[best]
    used = tuple(np.flatnonzero(_MEMBERS[best] & (counts > 0)).tolist())
    if tonic is not None:
        members = frozenset(np.flatnonzero(_MEMBERS[best]).tolist())
        for name, degrees in SCALES.items():
            if frozenset((tonic + d) % 12 for d in degrees) == members:
                return ScaleInUse(name, tonic, share, used)
    return ScaleInUse(kind, own, share, used)
