"""Which notes are beamed together: those of one beat, whatever beams their values have."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from stylemeter.music.meter import TICKS, Meter
from stylemeter.writing.values import Element

__all__ = ["beams"]


def beams(elements: Sequence[Element], line: int, meter: Meter) -> list[list[str]]:
    """Beams of each element of a bar, the first (outermost) first: "begin", "continue", "end" or a hook.

    Parameters
    ----------
    elements : sequence of Element
    line : int
        Tick of the bar line beats count from.
    meter : Meter

    Examples
    --------
    >>> from stylemeter.writing.values import Value
    >>> notes = [Element(0, 7560, 0, value=Value(5040, 1)), Element(7560, 2520, 1, value=Value(2520, 0))]
    >>> beams(notes, 0, Meter(0, 4, 4))
    [['begin'], ['end', 'backward hook']]
    """
    window = max(meter.beat, TICKS)

    def group(place: int) -> tuple[int, int]:
        """Beat of a beamed note; rests and longer notes stand alone."""
        element = elements[place]
        return ((element.start - line) // window, -1) if _count(element) else (0, place)

    found: list[list[str]] = []
    for _, places in groupby(range(len(elements)), key=group):
        found += _group([_count(elements[i]) for i in places])
    return found


def _count(element: Element) -> int:
    """Beams of a value: one for an eighth, none for rests and what has no written value."""
    if element.note is None or element.value is None:
        return 0
    return max(0, (TICKS // element.value.plain).bit_length() - 1)


def _group(counts: Sequence[int]) -> list[list[str]]:
    """Beams of notes beamed together, from how many each has."""
    if len(counts) < 2:
        return [[] for _ in counts]
    return [[_beam(counts, place, level) for level in range(1, counts[place] + 1)] for place in range(len(counts))]


def _beam(counts: Sequence[int], place: int, level: int) -> str:
    """What one beam does at one note."""
    before = place > 0 and counts[place - 1] >= level
    after = place + 1 < len(counts) and counts[place + 1] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "forward hook" if place == 0 else "backward hook"
