"""Strings of a guitar, where a format parts the notes by string without saying which is which.

Conventions: string 1 is the highest; a guitar in its usual tuning (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

__all__ = ["OPEN", "frets_of", "strings_of_groups"]

#: Open strings, the highest first.
OPEN = (64, 59, 55, 50, 45, 40)
#: The highest fret believed.
FRET_MAX = 24


def frets_of(pitch: npt.NDArray[np.float64], string: npt.NDArray[np.int64]) -> npt.NDArray[np.int64] | None:
    """Frets of notes on strings 1 to 6; None where one of them can't be played there.

    Examples
    --------
    >>> frets_of(np.array([64.2, 57.0]), np.array([1, 3])), frets_of(np.array([50.0]), np.array([1]))
    (array([0, 2]), None)
    """
    fret = np.floor(pitch + 0.5).astype(np.int64) - np.array(OPEN)[string - 1]
    return fret if len(fret) and fret.min() >= 0 and fret.max() <= FRET_MAX else None


def strings_of_groups(
    pitch: npt.NDArray[np.float64], group: npt.NDArray[np.int64], groups: Sequence[int]
) -> npt.NDArray[np.int64] | None:
    """Strings and frets of notes that come in six groups, counted up or down the strings.

    Parameters
    ----------
    pitch : ndarray of shape (n_notes,)
    group : ndarray of shape (n_notes,)
        Which of `groups` each note is in.
    groups : sequence of int
        The six, rising.

    Returns
    -------
    ndarray of shape (n_notes, 2) or None
        None where neither way of counting, or both ways, can be played on a guitar.

    Examples
    --------
    >>> strings_of_groups(np.array([64.0, 40.0]), np.array([1, 6]), range(1, 7)).tolist()
    [[1, 0], [6, 0]]
    """
    if len(groups) != len(OPEN):
        return None
    found = []
    for order in (groups, groups[::-1]):
        string = np.array([order.index(g) + 1 for g in group.tolist()], dtype=np.int64)
        fret = frets_of(pitch, string)
        if fret is not None:
            found.append(np.stack([string, fret], axis=1))
    return found[0] if len(found) == 1 else None
