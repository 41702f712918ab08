"""What comes again: figures of four notes, their outlines and rhythms, and how compressible the line is."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import Mask, feature
from stylemeter.features.line import FIGURE_NOTES, Line

__all__ = ["FIGURE_NOTES", "lz76", "motif_notes"]

Bools = npt.NDArray[np.bool_]


def lz76(text: str) -> int:
    """Count the components of the exhaustive history of a sequence, an unfinished last one included.

    Parameters
    ----------
    text : str
        One character a symbol.

    References
    ----------
    A. Lempel & J. Ziv, "On the complexity of finite sequences", IEEE Trans. Information Theory 22(1):75-81, 1976.

    Examples
    --------
    >>> lz76("0001101001000101"), lz76("010")
    (6, 3)
    """
    count = start = 0
    while start < len(text):
        length, found = 1, 0
        # as the component grows, its copy can only be found further right
        while start + length <= len(text):
            found = text.find(text[start : start + length], found, start + length - 1)
            if found < 0:
                break
            length += 1
        count += 1
        start += length
    return count


def _again(line: Line, kind: int) -> Bools:
    """Notes of the figures that come again at least four notes away, inside one phrase each.

    Parameters
    ----------
    line : Line
    kind : int
        Which of `Base.figure_keys`.
    """
    count = max(0, line.n - FIGURE_NOTES + 1)
    whole = line.base.whole_line
    cut = slice(line.start, line.start + count)
    if not np.array_equal(line.same_phrase, whole.same_phrase[cut]):
        return _again_slowly(line, line.base.figure_keys[kind])
    # phrases are those of the whole tune, so the nearest partners found there serve every excerpt
    before, after = line.base.figure_partners[kind]
    met = (before[cut] >= line.start) | (after[cut] <= line.stop - FIGURE_NOTES)
    return line.mark(np.flatnonzero(met), FIGURE_NOTES)


def _again_slowly(line: Line, keys: list[int]) -> Bools:
    """`_again` where a phrase ends elsewhere than in the whole tune: the cut has its own median."""
    count = max(0, line.n - FIGURE_NOTES + 1)
    first: dict[int, int] = {}
    last: dict[int, int] = {}
    same = line.same_phrase.tolist()
    cut = keys[line.start : line.start + count]
    for i, key in enumerate(cut):
        if key >= 0 and same[i]:
            first.setdefault(key, i)
            last[key] = i
    starts = [
        i
        for i, key in enumerate(cut)
        if key >= 0 and same[i] and (i - first[key] >= FIGURE_NOTES or last[key] - i >= FIGURE_NOTES)
    ]
    return line.mark(np.array(starts, dtype=np.int64), FIGURE_NOTES)


def motif_notes(line: Line) -> Bools:
    """Notes in figures that occur again exactly (transposed or not), worked out once a line."""
    found: Bools | None = line.__dict__.get("_motif_notes")
    if found is None:
        found = line.__dict__["_motif_notes"] = _again(line, 0)
    return found


@feature("motif", "share of notes", "notes in four-note figures that come again, at any pitch")
def motif_coverage(line: Line) -> Mask:
    """Share of notes in recurring figures."""
    return Mask(motif_notes(line))


@feature(
    "motif", "share of notes", "notes in figures that come again changed: same rhythm and outline, other intervals"
)
def varied_repeat_share(line: Line) -> Mask:
    """Share of notes in figures whose outline occurs again, outside `motif_coverage`."""
    return Mask(_again(line, 1) & ~motif_notes(line))


@feature("motif", "share of notes", "notes in four-note rhythms that come again, whatever the pitches")
def rhythm_figure_coverage(line: Line) -> Mask:
    """Share of notes in recurring rhythms."""
    return Mask(_again(line, 2))


@feature(
    "motif",
    "per interval",
    "how little of the line repeats what came before (high: always new)",
    source="Lempel & Ziv 1976, IEEE Trans. Information Theory 22(1):75-81",
    bounds=(0.0, 1.0),
)
def lz_complexity(line: Line) -> float:
    """LZ76 components an interval."""
    return lz76(line.base.lz_text[line.start : line.start + line.m]) / line.m
