"""Tables of played notes, in seconds, laid on the grid as any played take (`reading.performed` has the rules)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError
from stylemeter.music.melody import Technique
from stylemeter.music.meter import TICKS, Meter
from stylemeter.reading.draft.build import Draft
from stylemeter.reading.draft.fields import to_ticks
from stylemeter.reading.performed.draft import Take, lay, settle
from stylemeter.reading.table.time import Source, bar_lines

__all__ = ["played_draft"]

Floats = npt.NDArray[np.float64]

#: Quarter notes the last note lasts where the table has no ends, and the shortest a note can last (seconds).
LAST, SHORTEST = 1.0, 1e-3


def played_draft(
    source: Source,
    pitches: Sequence[float],
    techniques: Sequence[Technique | None],
    places: Sequence[tuple[int, int]],
    meters: Sequence[Meter],
) -> Draft:
    """The draft of a table in seconds.

    Parameters
    ----------
    source : Source
        Its rows are those that sound; its "onset" column is in seconds.
    pitches : sequence of float
    techniques : sequence of (Technique or None)
    places : sequence of (string, fret)
        -1 where it isn't told.
    meters : sequence of Meter
        Empty where nobody told any.

    Returns
    -------
    Draft
        Notes, meters, bars, share of guesses and remarks.

    Raises
    ------
    InputError
        If the tempo isn't told, or a note ends before it starts or lies out of bounds.
    """
    if not source.rows:
        return Draft((), meters)
    rate = source.pace() / TICKS
    first = source.first_beat or 0.0
    seconds = np.array(source.seconds(source.columns["onset"]))
    ends = _ends(source, seconds, rate)
    for row, start in zip(source.rows, seconds.tolist(), strict=True):
        to_ticks(round((start - first) * rate * TICKS), "onset", row.where)
    shortest = min(meter.bar for meter in source.meters)
    bar_lines(source, int((seconds.max() - min(first, seconds.min())) * rate * TICKS) // shortest)
    stops = _next_onsets(seconds, LAST / rate) if ends is None else np.maximum(ends, seconds + SHORTEST)
    marks = None if None in techniques else np.array([int(t or 0) for t in techniques], dtype=np.int64)
    pace = np.full(len(seconds), 1 / rate)
    onset, stop = (seconds - first) * rate, (stops - first) * rate
    where = np.array(places, dtype=np.int64)
    laid = lay(Take(onset, stop, seconds, pace, np.array(pitches, dtype=float), marks, where), source.meters)
    if ends is None:
        laid = replace(laid, notes=[replace(note, duration=None) for note in laid.notes])
    draft, _ = settle(laid, meters)
    if source.first_beat is None:
        draft.remarks.append("beat 1 of bar 1 taken at second 0; say where it is with --first-beat")
    return draft


def _ends(source: Source, seconds: Floats, rate: float) -> Floats | None:
    """Seconds at which the notes end, None where the table doesn't say."""
    column = source.columns.get("duration") or source.columns.get("end")
    if column is None:
        return None
    if source.quarters(column):
        values = np.array([float(p.value) / rate for p in source.numbers(column)])
    else:
        values = np.array(source.seconds(column))
    ends = values if column.role == "end" else seconds + values
    for row, start, end in zip(source.rows, seconds.tolist(), ends.tolist(), strict=True):
        if end < start:
            what = f"{column.name} {row.cell(column)} ends before the onset"
            raise InputError(what, where=row.where, mend="mend the row or take it out")
    return ends


def _next_onsets(seconds: Floats, last: float) -> Floats:
    """For each onset the next later one."""
    later = np.unique(seconds)
    following = np.append(later[1:], later[-1] + last)
    return np.asarray(following[np.searchsorted(later, seconds)])
