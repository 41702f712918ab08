"""Cutting a melody into stretches of a note count.

Length biases most features, so a style's sample is cut at a ladder of note counts and a solo compared at its own.
"""

from __future__ import annotations

__all__ = ["EXCERPTS_A_TUNE", "LADDER", "overlapping_starts", "separate_starts"]

#: Note counts at which a sample is cut.
LADDER = (16, 24, 32, 48, 64, 96, 128, 192, 256, 384)
#: Most excerpts a tune gives to a rung.
EXCERPTS_A_TUNE = 3


def separate_starts(notes: int, length: int, most: int = EXCERPTS_A_TUNE) -> list[int]:
    """Starts of up to `most` excerpts that do not overlap, spread evenly with equal margins.

    Examples
    --------
    >>> separate_starts(100, 16), separate_starts(40, 32), separate_starts(10, 16)
    ([13, 42, 71], [4], [])
    """
    count = min(most, notes // length)
    margin = (notes - count * length) / (count + 1)
    return [int((j + 1) * margin) + j * length for j in range(count)]


def overlapping_starts(notes: int, length: int) -> list[int]:
    """Starts of excerpts that cover all notes, evenly spaced and half overlapping or more.

    Examples
    --------
    >>> overlapping_starts(100, 64), overlapping_starts(64, 64)
    ([0, 18, 36], [0])
    """
    if notes <= length:
        return [0]
    steps = -(-2 * (notes - length) // length)
    return [round(j * (notes - length) / steps) for j in range(steps + 1)]
