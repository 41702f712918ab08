"""Many excerpts of one tune at once: what excerpts share is worked out on the whole tune and cut by running sums.

The definitions are the catalogue's own: a sliceable feature's mask, codes or terms are those of the whole tune, so an
excerpt's counts are differences of running sums. All other features are measured excerpt by excerpt.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import CATALOG, Feature, Lack, Mask, Mean, Tally, has
from stylemeter.features.line import Base, Line

__all__ = ["excerpt_block"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def excerpt_block(base: Base, cuts: Sequence[tuple[int, int]]) -> Floats:
    """Measure every feature on many excerpts.

    Parameters
    ----------
    base : Base
    cuts : sequence of (start, stop)
        Notes of each excerpt.

    Returns
    -------
    ndarray of shape (n_excerpts, n_features)
        NaN where unmeasured; the same values as `measure` gives one by one.
    """
    block = np.full((len(cuts), len(CATALOG)), np.nan)
    if not cuts:
        return block
    edges = np.array(cuts, dtype=np.int64)
    whole = Line(base)
    lines = [Line(base, start, stop) for start, stop in cuts]
    size = edges[:, 1] - edges[:, 0]
    for column, feature in enumerate(CATALOG.values()):
        if not all(has(whole, need) for need in feature.needs):
            continue
        long = size >= feature.minimum_notes
        if feature.sliceable and whole.n >= feature.minimum_notes:
            block[:, column] = np.where(long, _cut(feature, whole, edges), np.nan)
            continue
        for row in np.flatnonzero(long).tolist():
            value = feature.value(lines[row])
            block[row, column] = np.nan if isinstance(value, Lack) else value
    return block


def _cut(feature: Feature, whole: Line, edges: Ints) -> Floats:
    """Values of a sliceable feature from the whole tune's terms."""
    terms = feature.measure(whole)
    assert not isinstance(terms, float | Lack)
    start, stop = edges[:, 0], edges[:, 1] - terms.reach
    if isinstance(terms, Tally):
        codes = np.zeros((len(terms.code) + 1, int(terms.code.max()) + 1), dtype=np.int64)
        codes[np.arange(1, len(terms.code) + 1), terms.code] = 1
        counts = np.cumsum(codes, axis=0)
        return np.asarray(terms.reduce(counts[stop] - counts[start]))
    if isinstance(terms, Mean):
        return _between(terms.terms, start, stop) / (stop - start)
    return _mask_shares(terms, start, stop)


def _between(terms: npt.NDArray[np.generic], start: Ints, stop: Ints) -> Floats:
    """Sum of the terms of each excerpt."""
    sums = np.zeros(len(terms) + 1, dtype=float if terms.dtype.kind == "f" else np.int64)
    np.cumsum(terms, out=sums[1:])
    between: Floats = sums[stop] - sums[start]
    return between


def _mask_shares(mask: Mask, start: Ints, stop: Ints) -> Floats:
    """Shares of a mask."""
    where = mask.where if mask.of is None else mask.where & mask.of
    if mask.weight is not None:
        counted = _between(np.where(where, mask.weight, 0), start, stop)
        total = _between(mask.weight, start, stop)
    else:
        counted = _between(where, start, stop)
        total = (stop - start).astype(float) if mask.of is None else _between(mask.of, start, stop)
    enough = total >= mask.fewest
    return np.where(enough, counted / np.where(enough, total, 1), np.nan)
