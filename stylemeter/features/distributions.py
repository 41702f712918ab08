"""Whole distributions beside the scalars, and which scales the notes fit.

Each is a vector of shares. `onsets` exists where one meter holds throughout, and is compared within that meter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import MINIMUM_NOTES
from stylemeter.features.line import Line
from stylemeter.music.meter import TICKS
from stylemeter.music.scales import SCALES

__all__ = ["IOI_CELLS", "ScaleFit", "distributions", "meter_label", "scale_fits"]

Shares = npt.NDArray[np.float64]

#: Times from onset to onset with a cell of their own, in quarters; then "longer than 4" and "other".
IOI_CELLS = ("1/8", "1/6", "1/4", "1/3", "3/8", "1/2", "2/3", "3/4", "1", "3/2", "2", "3", "4", "longer", "other")

_IOI_TICKS = [TICKS * int(a) // int(b or 1) for a, _, b in (cell.partition("/") for cell in IOI_CELLS[:-2])]
_CELLS_A_QUARTER = 24


def distributions(line: Line) -> dict[str, Shares]:
    """Share vectors of a stretch; those that can't be measured are not there.

    Returns
    -------
    dict of ndarray
        ``intervals`` (25 cells, -12..12), ``degrees`` (12), ``iois`` (15, see `IOI_CELLS`), ``onsets`` (24 a quarter
        of the bar).
    """
    if line.n < MINIMUM_NOTES:
        return {}
    found = {
        "intervals": _shares(np.bincount(line.base.k_cell[line.start : line.start + line.m], minlength=25)),
    }
    if line.melody.rhythm_known:
        found["iois"] = _shares(_ioi_counts(line))
    if line.key is not None:
        found["degrees"] = _shares(np.bincount(line.degree, minlength=12))
    if line.one_meter and line.melody.rhythm_known:
        # rounded up: a bar of an odd number of 64ths is not a whole number of cells
        cells = -(-line.meter.bar * _CELLS_A_QUARTER // TICKS)
        found["onsets"] = _shares(np.bincount(line.base.cell[line.start : line.stop], minlength=cells))
    return found


def meter_label(line: Line) -> str:
    """Meter the `onsets` are compared within; 2/2 is 4/4.

    Returns
    -------
    str
        Empty where the meter changes.
    """
    if not line.n or not line.one_meter:
        return ""
    meter = line.meter
    return "4/4" if (meter.numerator, meter.denominator) == (2, 2) else str(meter)


def _ioi_counts(line: Line) -> npt.NDArray[np.int64]:
    """Counts of the times from onset to onset in the cells of `IOI_CELLS`."""
    cell = np.full(len(line.base.ioi_values), len(IOI_CELLS) - 1)
    cell[line.base.ioi_values > 4 * TICKS] = len(IOI_CELLS) - 2
    for index, ticks in enumerate(_IOI_TICKS):
        cell[line.base.ioi_values == ticks] = index
    return np.bincount(cell[line.base.ioi_code[line.start : line.start + line.m]], minlength=len(IOI_CELLS))


def _shares(counts: npt.NDArray[np.int64]) -> Shares:
    """Counts as shares."""
    shares: Shares = counts / counts.sum()
    return shares


@dataclass(frozen=True, slots=True)
class ScaleFit:
    """How much of a stretch a scale on the tonic holds.

    Attributes
    ----------
    name : str
        A name of `scales.SCALES`.
    notes : float
        Share of the notes.
    time : float
        Share of the sounding time; NaN without durations.
    rank : int
        1 for the best; equal shares with equally many classes share a rank.
    """

    name: str
    notes: float
    time: float
    rank: int


def scale_fits(line: Line) -> list[ScaleFit]:
    """Rank the catalogue's scales by the share of notes they hold, then by fewer classes; ties share a rank.

    Returns
    -------
    list of ScaleFit
        Empty without a key or with fewer than 12 notes.
    """
    if line.key is None or line.n < MINIMUM_NOTES:
        return []
    notes = np.bincount(line.degree, minlength=12)
    timed = line.melody.duration is not None
    time = np.bincount(line.degree, weights=line.duration, minlength=12) if timed else None
    rows = []
    for name, classes in SCALES.items():
        held = int(notes[list(classes)].sum())
        of_time = float(time[list(classes)].sum() / time.sum()) if time is not None else float("nan")
        rows.append((-held, len(classes), name, of_time))
    order = sorted(rows, key=lambda r: r[:2])
    ranks = sorted({r[:2] for r in order})
    starts = {pair: 1 + sum(r[:2] < pair for r in order) for pair in ranks}
    return [ScaleFit(name, -held / line.n, of_time, starts[held, size]) for held, size, name, of_time in order]
