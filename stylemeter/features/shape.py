"""Where the line heads: its high point, and whether it builds."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import Lack, feature
from stylemeter.features.line import Line

__all__: list[str] = []

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]


def _climax(line: Line) -> Bools:
    marked = np.zeros(line.n, dtype=bool)
    marked[int(line.q.argmax())] = True
    return marked


@feature(
    "shape",
    "share of time",
    "how far along the highest note first sounds (0 start, 1 end)",
    needs=["rhythm"],
    evidence=_climax,
)
def climax_position(line: Line) -> float:
    """Place of the first highest note."""
    return (int(line.onset[int(line.q.argmax())]) - line.first) / line.span


def _last_third(line: Line) -> Bools:
    late: Bools = 3 * (line.onset - line.first) >= 2 * line.span
    return late


@feature(
    "shape", "share of notes", "notes that start in the last third of the time", needs=["rhythm"], evidence=_last_third
)
def density_build(line: Line) -> float:
    """Share of onsets in the last third."""
    return int(np.count_nonzero(_last_third(line))) / line.n


@feature(
    "shape", "semitones", "how much higher the last third of the notes lies than the first", bounds=(-127.0, 127.0)
)
def register_build(line: Line) -> float:
    """Mean pitch of the last third of the notes less that of the first."""
    third = line.n // 3
    return int(line.q[-third:].sum() - line.q[:third].sum()) / third


def _arches(line: Line) -> tuple[Ints, Ints, Bools]:
    """First and last note of each phrase of three notes or more, and whether its middle lies above both ends."""
    long = line.phrase_notes >= 3
    first, last = line.phrase_first[long], line.phrase_last[long]
    total = np.concatenate(([0], np.cumsum(line.q)))
    inner = total[last] - total[first + 1]
    count = last - first - 1
    # compared as whole numbers: the mean of the middle is not rounded
    arch = (inner > line.q[first] * count) & (inner > line.q[last] * count)
    return first, last, arch


def _convex_notes(line: Line) -> Bools:
    first, last, arch = _arches(line)
    return line.mark(first[arch], (last - first + 1)[arch])


@feature(
    "shape",
    "share of phrases",
    "phrases whose middle lies above both their ends",
    needs=["rhythm"],
    source="Huron 1996, Computing in Musicology 10:3-23",
    evidence=_convex_notes,
)
def convex_phrase_share(line: Line) -> float | Lack:
    """Share of convex phrases."""
    arch = _arches(line)[2]
    if len(arch) < 3:
        return Lack("fewer than 3 phrases of 3 notes")
    return int(np.count_nonzero(arch)) / len(arch)
