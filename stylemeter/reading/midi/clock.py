"""MIDI ticks as seconds, as quarter notes, and as exact written time.

Conventions: file ticks are integers from the start; written ticks are `meter.TICKS` to a quarter note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stylemeter.music.meter import TICKS

__all__ = ["Clock", "grid_share", "is_written", "on_grid", "written_ticks"]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Microseconds a quarter note lasts where the file does not say (MIDI 1.0).
DEFAULT_TEMPO = 500_000
#: Share of onsets on 24ths of a quarter from which a file was written, not performed.
WRITTEN_SHARE = 0.75
#: Share on any simple part of a quarter, where ticks are fine enough for that to be no accident.
SIMPLE_SHARE, SIMPLE_DIVISION = 0.9, 240
#: Parts of a quarter note that writing uses: triplets and sixteenths, 128ths, quintuplets, septuplets.
PARTS = (24, 32, 20, 28)


@dataclass(frozen=True, slots=True)
class Clock:
    """The tempo map of a file.

    Attributes
    ----------
    tick, second, pace : ndarray of shape (n_tempos,)
        From which tick, at which second, how many seconds a tick.
    """

    tick: Ints
    second: Floats
    pace: Floats

    @classmethod
    def of(cls, tempos: Sequence[tuple[int, int]], division: int) -> Clock:
        """The clock of a file that counts in quarter notes; `tempos` as (tick, microseconds a quarter), in order."""
        rows = {0: DEFAULT_TEMPO} | dict(tempos)
        tick = np.array(sorted(rows), dtype=np.int64)
        pace = np.array([rows[int(t)] for t in tick]) / 1e6 / division
        second = np.concatenate(([0.0], np.cumsum(np.diff(tick) * pace[:-1])))
        return cls(tick, second, pace)

    @classmethod
    def even(cls, tick_seconds: float) -> Clock:
        """The clock of a file that counts in seconds."""
        return cls(np.zeros(1, dtype=np.int64), np.zeros(1), np.array([tick_seconds]))

    def seconds(self, ticks: Ints) -> Floats:
        """Seconds from the start."""
        index = np.searchsorted(self.tick, ticks, side="right") - 1
        return np.asarray(self.second[index] + (ticks - self.tick[index]) * self.pace[index])

    def ticks(self, seconds: float) -> float:
        """Ticks from the start, of a time in seconds."""
        index = max(int(np.searchsorted(self.second, seconds, side="right")) - 1, 0)
        return float(self.tick[index] + (seconds - self.second[index]) / self.pace[index])

    def tick_seconds(self, ticks: Ints) -> Floats:
        """How many seconds a tick lasts there."""
        return np.asarray(self.pace[np.searchsorted(self.tick, ticks, side="right") - 1])


def _on_parts(ticks: Ints, division: int, parts: int) -> tuple[npt.NDArray[np.bool_], Ints]:
    """Which ticks stand for a multiple of a quarter's part, and for which one.

    Where the part is no whole number of ticks, the nearest tick stands for it.
    """
    nearest = (2 * ticks * parts + division) // (2 * division)
    off = np.abs(nearest * division - ticks * parts) * 2
    slack = 0 if division % parts == 0 else parts
    return off <= slack, nearest


def grid_share(ticks: Ints, division: int, parts: Sequence[int] = (24,)) -> float:
    """Share of ticks that lie on one of these parts of a quarter note.

    Examples
    --------
    >>> grid_share(np.array([0, 240, 160, 7]), 480)
    0.75
    """
    return float(on_grid(ticks, division, parts).mean())


def on_grid(ticks: Ints, division: int, parts: Sequence[int] = PARTS) -> npt.NDArray[np.bool_]:
    """Which ticks lie on one of these parts of a quarter note."""
    found = np.zeros(len(ticks), dtype=bool)
    for part in parts:
        found |= _on_parts(ticks, division, part)[0]
    return found


def is_written(ticks: Ints, division: int) -> bool:
    """Whether onsets are exact written time: most on 24ths of a quarter, or nearly all on simple parts of it.

    Examples
    --------
    >>> is_written(np.arange(0, 4800, 96), 480), is_written(np.arange(0, 4800, 97), 480)
    (True, False)
    """
    if grid_share(ticks, division) >= WRITTEN_SHARE:
        return True
    return division >= SIMPLE_DIVISION and grid_share(ticks, division, PARTS) >= SIMPLE_SHARE


def written_ticks(ticks: Ints, division: int) -> Ints:
    """Written time that file ticks stand for, exact where it is a simple part of a quarter.

    Parameters
    ----------
    ticks : ndarray of shape (n,)
    division : int
        File ticks to a quarter note. Where a triplet, say, is no whole number of them, the nearest tick stands for it.

    Examples
    --------
    >>> written_ticks(np.array([480, 160, 45]), 480).tolist(), written_ticks(np.array([256, 85]), 256).tolist()
    ([10080, 3360, 945], [10080, 3360])
    """
    written = (2 * ticks * TICKS + division) // (2 * division)
    open_still = np.ones(len(ticks), dtype=bool)
    for parts in PARTS:
        if 4 * parts > division and division % parts:
            continue
        found, nearest = _on_parts(ticks, division, parts)
        written = np.where(open_still & found, nearest * (TICKS // parts), written)
        open_still &= ~found
    return np.asarray(written, dtype=np.int64)
