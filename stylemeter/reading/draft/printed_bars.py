"""Printed bars against the meter: which are odd, and which bar a tick lies in.

Conventions: spans are (start, length) in ticks, in printed order, without gaps.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Sequence

import numpy as np

from stylemeter.music.meter import Bars, Meter, meter_at
from stylemeter.reading.draft.build import count_words

__all__ = ["bar_name", "cut_spans", "odd_bars", "tell_bars"]

Span = tuple[int, int]


def cut_spans(lines: Collection[int], end: int) -> list[Span]:
    """Spans between bar lines, from tick 0 to the end of the music.

    Examples
    --------
    >>> cut_spans([0, 4, 4, 8], 10)
    [(0, 4), (4, 4), (8, 2)]
    """
    ticks = sorted({0, end, *(line for line in lines if 0 < line < end)})
    return [(a, b - a) for a, b in itertools.pairwise(ticks)]


def odd_bars(spans: Sequence[Span], meters: Sequence[Meter], sections: Collection[int]) -> list[int]:
    """Where bars start that are longer than the meter says, or shorter without a reason.

    Parameters
    ----------
    spans : sequence of (start, length)
    meters : sequence of Meter
    sections : collection of int
        Ticks at which a section or an ending begins or ends: the bars on either side may be short there, as may
        the first and the last one.

    Examples
    --------
    >>> from stylemeter.music.meter import TICKS as q
    >>> odd_bars([(0, q), (q, 4 * q), (5 * q, 3 * q), (8 * q, 5 * q), (13 * q, 2 * q)], (Meter(0, 4, 4),), ())
    [50400, 80640]
    """
    odd = []
    index = 0
    while index < len(spans):
        start, length = spans[index]
        full = meter_at(meters, start).bar
        if length < full and index + 1 < len(spans) and length + spans[index + 1][1] == full:
            index += 2
            continue
        at_edge = index in (0, len(spans) - 1) or start in sections or start + length in sections
        if length > full or (length < full and not at_edge):
            odd.append(start)
        index += 1
    return odd


def bar_name(bars: Bars, tick: int) -> str:
    """The bar a tick lies in as it is told: "bar 3", "the pickup"; outside of all bars the first or last one."""
    if not len(bars.number):
        return "bar 1"
    index = int(np.searchsorted(bars.line, tick, side="right")) - 1
    number = int(bars.number[min(max(index, 0), len(bars.number) - 1)])
    return f"bar {number}" if number else "the pickup"


def tell_bars(
    spans: list[Span], meters: Sequence[Meter], sections: Collection[int], bars: Bars, remarks: list[str]
) -> list[Span] | None:
    """Say what is odd about the printed bars.

    Parameters
    ----------
    spans : list of (start, length)
    meters : sequence of Meter
        Empty where none is known: nothing is odd then.
    sections : collection of int
        As in `odd_bars`.
    bars : Bars
        As laid over the spans, for their numbers.
    remarks : list of str
        Added to.

    Returns
    -------
    list of (start, length) or None
        The bars to count by; None where there are no bar lines and full bars are counted from the beginning.

    Examples
    --------
    >>> from stylemeter.music.meter import TICKS as q, lay_bars
    >>> spans, meters, said = [(0, 4 * q), (4 * q, 5 * q), (9 * q, 3 * q)], (Meter(0, 4, 4),), []
    >>> tell_bars(spans, meters, (), lay_bars(spans, meters), said) == spans, said
    (True, ['1 bar longer or shorter than the meter says (in bar 2)'])
    """
    if sections and spans and set(sections) - {0, spans[-1][0] + spans[-1][1]}:
        remarks.append("repeats and endings are read as written, once each")
    if not spans or not meters:
        return spans or None
    if len(spans) == 1 and spans[0][1] > meters[0].bar:
        remarks.append("no bar lines within it: bars are counted from the beginning")
        return None
    if odd := odd_bars(spans, meters, sections):
        where = f"{'first ' if len(odd) > 1 else ''}in {bar_name(bars, odd[0])}"
        remarks.append(f"{count_words(len(odd), 'bar')} longer or shorter than the meter says ({where})")
    return spans
