"""Where notes fall and how long they last."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import Lack, Mask, Mean, Tally, entropy_of_counts, feature, largest_share
from stylemeter.features.line import Line

__all__: list[str] = []

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]


def _strengths(line: Line) -> Ints:
    """Syncopation of each note: the last one's up to its bar's end."""
    between, as_last = line.base.syncopation
    strengths = between[line.start : line.stop].copy()
    strengths[-1] = as_last[line.stop - 1]
    return strengths


@feature(
    "rhythm",
    "per bar",
    "how strongly notes off the beat hold through the stronger beats after them",
    source="Longuet-Higgins & Lee 1984, Music Perception 1(4):424-441; per note, strict, over bars",
    evidence=lambda line: _strengths(line) > 0,
    bounds=(0.0, np.inf),
)
def syncopation_index(line: Line) -> float:
    """Summed syncopation a bar."""
    return int(_strengths(line).sum()) / line.span_bars


@feature("rhythm", "share of notes", "notes that do not fall on a pulse", version=2)
def offbeat_onset_share(line: Line) -> Mask:
    """Share of notes off the pulse: the beat, or a part of it where the line is written in small values."""
    return Mask(~line.on_pulse)


def _values(line: Line) -> Ints:
    """Codes of the durations."""
    return line.base.value_code[1][line.start : line.stop]


def _iois(line: Line) -> Ints:
    """Codes of the times from onset to onset."""
    return line.base.ioi_code[line.start : line.start + line.m]


@feature("rhythm", "bits", "how varied the note values are", needs=["durations"], bounds=(0.0, np.inf), sliceable=True)
def note_value_entropy(line: Line) -> Tally:
    """Entropy of the durations."""
    return Tally(_values(line), entropy_of_counts)


@feature("rhythm", "bits", "how varied the times from note to note are", bounds=(0.0, np.inf), sliceable=True)
def ioi_entropy(line: Line) -> Tally:
    """Entropy of the inter-onset intervals."""
    return Tally(_iois(line), entropy_of_counts, reach=1)


@feature("rhythm", "share of notes", "notes that have the commonest note value", needs=["durations"], sliceable=True)
def commonest_value_share(line: Line) -> Tally:
    """Share of the modal duration."""
    return Tally(_values(line), largest_share, commonest=True)


@feature("rhythm", "share", "times from note to note that are the commonest one", sliceable=True)
def commonest_ioi_share(line: Line) -> Tally:
    """Share of the modal inter-onset interval."""
    return Tally(_iois(line), largest_share, commonest=True, reach=1)


@feature("rhythm", "share of notes", "notes with a dotted value", needs=["durations"], sliceable=True)
def dotted_share(line: Line) -> Mask:
    """Share of dotted values."""
    return Mask(line.base.dotted[line.start : line.stop])


@feature("rhythm", "share of notes", "notes of triplets and other tuplets", needs=["durations"], sliceable=True)
def tuplet_share(line: Line) -> Mask:
    """Share of notes off the binary grid."""
    return Mask(line.base.tuplet[line.start : line.stop])


@feature(
    "rhythm",
    "0-200",
    "how much each time from note to note differs from the next (0: all equal)",
    source="normalised Pairwise Variability Index, Grabe & Low 2002",
    bounds=(0.0, 200.0),
    sliceable=True,
)
def npvi(line: Line) -> Mean:
    """NPVI of the inter-onset intervals."""
    a, b = line.ioi[:-1], line.ioi[1:]
    return Mean(200.0 * np.abs(a - b) / (a + b), reach=2)


def _recurring(line: Line) -> Bools:
    """Notes of the full bars whose rhythm an earlier one had."""
    bars = line.full_bars[line.full_bar_counts > 0]
    seen: set[object] = set()
    again = []
    for bar, pattern in zip(bars.tolist(), _bar_patterns(line), strict=True):
        if pattern in seen:
            again.append(bar)
        seen.add(pattern)
    return np.isin(line.base.bar_index[line.start : line.stop], again)


@feature(
    "rhythm",
    "share of full bars",
    "full bars whose rhythm has been heard in an earlier bar",
    evidence=_recurring,
)
def rhythm_recurrence(line: Line) -> float | Lack:
    """Share of the full bars with an onset that repeat an earlier one's onsets."""
    patterns = _bar_patterns(line)
    if len(patterns) < 4:
        return Lack("fewer than 4 full bars with a note")
    return 1.0 - len(set(patterns)) / len(patterns)


def _bar_patterns(line: Line) -> list[object]:
    """Rhythm of each full bar with an onset among the notes of the stretch."""
    bars = line.full_bars[line.full_bar_counts > 0]
    base = line.base
    if line.stop >= base.n or int(base.onset[line.stop]) >= line.last:
        return list(base.bar_pattern[bars].tolist())
    # a note after the cut starts while one before it still sounds: only the notes of the cut count
    index = base.bar_index[line.start : line.stop]
    x = base.x[line.start : line.stop]
    meters = base.bar_meters
    return [(meters[b].bar, meters[b].beat, *x[index == b].tolist()) for b in bars.tolist()]


@feature("rhythm", "bits", "how many different places in the bar notes fall on", bounds=(0.0, np.inf), sliceable=True)
def bar_onset_entropy(line: Line) -> Tally:
    """Entropy of the positions in the bar, to a 24th of a quarter."""
    return Tally(line.base.cell[line.start : line.stop], entropy_of_counts)
