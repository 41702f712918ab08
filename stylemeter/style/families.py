"""Tune families: tunes that share a run of intervals are variants of one tune, and count as one.

Splits, weights and the bootstrap go by family, or variants of a tune in both halves would flatter every check.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

__all__ = ["SHARED_INTERVALS", "tune_families"]

#: Intervals two tunes must share in a row.
SHARED_INTERVALS = 16


def tune_families(
    intervals: Sequence[npt.NDArray[np.integer]], shared: int = SHARED_INTERVALS
) -> npt.NDArray[np.int64]:
    """Number the families of tunes.

    Parameters
    ----------
    intervals : sequence of ndarray
        Semitone intervals of each tune.
    shared : int
        Length of the run.

    Returns
    -------
    ndarray of shape (n_tunes,)
        Family numbers from 0 in order of first appearance. A run of one interval repeated throughout (a note
        struck again and again) is shared by unrelated tunes and does not count.

    Examples
    --------
    >>> a = np.arange(20) % 5
    >>> tune_families([a, a[::-1], a + 0]).tolist()
    [0, 1, 0]
    """
    parent = list(range(len(intervals)))

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    owner: dict[bytes, int] = {}
    for tune, sequence in enumerate(intervals):
        text = np.clip(sequence, -127, 127).astype(np.int8).tobytes()
        for start in range(len(text) - shared + 1):
            run = text[start : start + shared]
            if run == run[:1] * shared:
                continue
            first = owner.setdefault(run, tune)
            if first != tune:
                a, b = root(first), root(tune)
                parent[max(a, b)] = min(a, b)
    roots = [root(i) for i in range(len(intervals))]
    number = {r: i for i, r in enumerate(dict.fromkeys(roots))}
    return np.array([number[r] for r in roots], dtype=np.int64)
