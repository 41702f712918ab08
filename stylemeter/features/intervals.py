"""How the line moves from note to note: steps, skips (3-4 semitones), leaps (5 and more), runs and turns.

Intervals are taken across rests too; a run never crosses a breath or a phrase end.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stylemeter.features.catalog import Lack, Mask, Mean, Tally, entropy_of_counts, feature
from stylemeter.features.line import Line

__all__: list[str] = []

#: Notes a stepwise stretch in one direction must have to count as a scale run.
RUN_NOTES = 5

Bools = npt.NDArray[np.bool_]


@feature("intervals", "share", "of the intervals, those that are steps (1-2 semitones)", sliceable=True)
def step_share(line: Line) -> Mask:
    """Share of steps."""
    return Mask(line.step, reach=1)


@feature("intervals", "share", "of the intervals, those that are skips (3-4 semitones)", sliceable=True)
def skip_share(line: Line) -> Mask:
    """Share of skips."""
    return Mask(line.base.skip[line.start : line.start + line.m], reach=1)


@feature("intervals", "share", "of the intervals, those that are leaps (5 semitones or more)", sliceable=True)
def leap_share(line: Line) -> Mask:
    """Share of leaps."""
    return Mask(line.leap, reach=1)


@feature("intervals", "share", "of the intervals, those that repeat the note", sliceable=True)
def repeated_note_share(line: Line) -> Mask:
    """Share of repeated notes."""
    return Mask(line.k == 0, reach=1)


@feature("intervals", "share", "of the intervals, those of one semitone", sliceable=True)
def semitone_share(line: Line) -> Mask:
    """Share of semitones."""
    return Mask(np.abs(line.k) == 1, reach=1)


@feature("intervals", "share", "of the moves, those to the next note of the scale in use", sliceable=True)
def degree_step_share(line: Line) -> Mask:
    """Share of steps along the scale in use; repeated notes are no moves."""
    return Mask(line.degree_step, of=line.k != 0, reach=1, what="moves")


@feature("intervals", "semitones", "average size of a move, repeated notes left out", bounds=(1.0, 127.0))
def mean_move(line: Line) -> float | Lack:
    """Mean size of the intervals that are not 0."""
    moves = int(np.count_nonzero(line.k))
    return int(np.abs(line.k).sum()) / moves if moves else Lack("no moves")


@feature(
    "intervals", "semitones", "average size of an interval, repeated notes as 0", bounds=(0.0, 127.0), sliceable=True
)
def mean_interval(line: Line) -> Mean:
    """Mean size of an interval."""
    return Mean(line.base.abs_k[line.start : line.start + line.m], reach=1)


@feature(
    "intervals",
    "bits",
    "how varied the intervals are, up and down told apart",
    bounds=(0.0, np.log2(25)),
    sliceable=True,
)
def interval_entropy(line: Line) -> Tally:
    """Entropy of the intervals clipped to an octave."""
    return Tally(line.base.k_cell[line.start : line.start + line.m], entropy_of_counts, reach=1)


Runs = tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]


def _run_notes(line: Line, runs: Runs) -> Bools:
    """Notes of the runs of five or more."""
    starts, lengths = runs
    long = lengths >= RUN_NOTES
    return line.mark(starts[long], lengths[long])


def _longest_run_notes(line: Line, runs: Runs) -> Bools:
    starts, lengths = runs
    if not len(lengths):
        return np.zeros(line.n, dtype=bool)
    best = int(lengths.argmax())
    return line.mark(starts[best : best + 1], lengths[best : best + 1])


def _longest(runs: Runs) -> float:
    return float(runs[1].max()) if len(runs[1]) else 1.0


@feature("intervals", "share of notes", "notes in runs of 5 or more that move by 1-2 semitones in one direction")
def scale_run_share(line: Line) -> Mask:
    """Share of notes in runs by semitones and whole tones; a turning note belongs to both its runs."""
    return Mask(_run_notes(line, line.scale_runs))


@feature(
    "intervals",
    "notes",
    "the longest run of notes that move by 1-2 semitones in one direction",
    evidence=lambda line: _longest_run_notes(line, line.scale_runs),
    bounds=(1.0, np.inf),
    discrete=True,
    capped=True,
)
def longest_scale_run(line: Line) -> float:
    """Notes of the longest run; 1 where no step is taken."""
    return _longest(line.scale_runs)


@feature("intervals", "share of notes", "notes in runs of 5 or more along the scale in use")
def degree_run_share(line: Line) -> Mask:
    """Share of notes in runs along the scale in use; a turning note belongs to both its runs."""
    return Mask(_run_notes(line, line.degree_runs))


@feature(
    "intervals",
    "notes",
    "the longest run of notes along the scale in use",
    evidence=lambda line: _longest_run_notes(line, line.degree_runs),
    bounds=(1.0, np.inf),
    discrete=True,
    capped=True,
)
def longest_degree_run(line: Line) -> float:
    """Notes of the longest run along the scale in use; 1 where no step is taken."""
    return _longest(line.degree_runs)


@feature(
    "intervals",
    "share",
    "where a step follows a step, how often the direction is kept",
    source="Chiu & Temperley 2024, Music & Science, doi 10.1177/20592043231225731",
    sliceable=True,
)
def step_inertia(line: Line) -> Mask:
    """Share of the step-then-step pairs that keep direction."""
    pairs = line.step[:-1] & line.step[1:]
    return Mask(line.direction[:-1] == line.direction[1:], of=pairs, reach=2)


@feature(
    "intervals",
    "share",
    "where a step along the scale in use follows another, how often the direction is kept",
    source="Chiu & Temperley 2024, Music & Science, doi 10.1177/20592043231225731; steps along the scale in use",
    sliceable=True,
)
def degree_step_inertia(line: Line) -> Mask:
    """Share of the step-then-step pairs along the scale in use that keep direction."""
    pairs = line.degree_step[:-1] & line.degree_step[1:]
    return Mask(line.direction[:-1] == line.direction[1:], of=pairs, reach=2)


def _turns(line: Line) -> Bools:
    """Notes of each turn: from the move before it to the end of the move after it."""
    moves = np.flatnonzero(line.direction)
    turned = line.direction[moves[1:]] != line.direction[moves[:-1]]
    first, last = moves[:-1][turned], moves[1:][turned]
    return line.mark(first, last - first + 2)


@feature("intervals", "share", "how often the line turns, repeated notes passed over", evidence=_turns)
def direction_change_rate(line: Line) -> float | Lack:
    """Share of neighbours among the moves that have opposite signs."""
    moves = line.direction[line.direction != 0]
    if len(moves) < 2:
        return Lack("fewer than 2 moves")
    return int(np.count_nonzero(moves[1:] != moves[:-1])) / (len(moves) - 1)


@feature("intervals", "share", "of the leaps followed by a move, those the move turns back", sliceable=True)
def leap_reversal_share(line: Line) -> Mask:
    """Share of leaps that are reversed."""
    followed = line.leap[:-1] & (line.direction[1:] != 0)
    turned = line.direction[1:] != line.direction[:-1]
    return Mask(turned, of=followed, reach=2, fewest=3, what="leaps followed by a move")


@feature("intervals", "semitones", "from the lowest to the highest note", bounds=(0.0, 127.0), discrete=True)
def pitch_range(line: Line) -> float:
    """Range of the pitches."""
    return float(line.q.max() - line.q.min())
