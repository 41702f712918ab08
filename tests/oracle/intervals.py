"""Family *intervals*."""

from __future__ import annotations

from fractions import Fraction

from oracle.registry import evidence, feature
from oracle.scale_use import degree_steps
from oracle.terms import (
    at_least,
    breaths,
    entropy,
    intervals,
    is_leap,
    is_skip,
    is_step,
    once,
    phrase_ends,
    ratio,
    semitones,
    share_of,
)


@feature("intervals")
def step_share(table):
    return share_of([is_step(k) for k in intervals(table)])


@feature("intervals")
def skip_share(table):
    return share_of([is_skip(k) for k in intervals(table)])


@feature("intervals")
def leap_share(table):
    return share_of([is_leap(k) for k in intervals(table)])


@feature("intervals")
def repeated_note_share(table):
    return share_of([k == 0 for k in intervals(table)])


@feature("intervals")
def semitone_share(table):
    return share_of([abs(k) == 1 for k in intervals(table)])


@feature("intervals")
def mean_interval(table):
    k = intervals(table)
    return ratio(sum(abs(v) for v in k), len(k))


@feature("intervals")
def interval_entropy(table):
    return entropy([max(-12, min(12, k)) for k in intervals(table)])


@feature("intervals")
def degree_step_share(table):
    return share_of([step for step, k in zip(degree_steps(table), intervals(table), strict=True) if k != 0])


@feature("intervals")
def mean_move(table):
    moves = [abs(k) for k in intervals(table) if k != 0]
    return ratio(sum(moves), len(moves))


def runs_by(table, steps):
    """Longest stretches of notes that move by steps in one direction, inside a phrase and a breath."""
    k, breath, last = intervals(table), breaths(table), phrase_ends(table)
    runs = []
    now = [0]
    for i in range(len(k)):
        joined = steps[i] and not breath[i] and not last[i]
        if not joined:
            runs.append(now)
            now = [i + 1]
        elif len(now) > 1 and (k[i] > 0) != (k[i - 1] > 0):
            runs.append(now)
            now = [i, i + 1]  # the turning note belongs to both
        else:
            now.append(i + 1)
    return [*runs, now]


@once
def scale_runs(table):
    return runs_by(table, [is_step(k) for k in intervals(table)])


@once
def degree_runs(table):
    return runs_by(table, degree_steps(table))


def notes_in(runs):
    return {i for run in runs if len(run) >= 5 for i in run}


@feature("intervals")
def scale_run_share(table):
    return Fraction(len(notes_in(scale_runs(table))), len(table["notes"]))


@feature("intervals")
def longest_scale_run(table):
    return max(len(run) for run in scale_runs(table))


@feature("intervals")
def degree_run_share(table):
    return Fraction(len(notes_in(degree_runs(table))), len(table["notes"]))


@feature("intervals")
def longest_degree_run(table):
    return max(len(run) for run in degree_runs(table))


def degree_step_pairs(table):
    step = degree_steps(table)
    return [i for i in range(len(step) - 1) if step[i] and step[i + 1]]


@feature("intervals")
def degree_step_inertia(table):
    return share_of([keeps_direction(table, i) for i in degree_step_pairs(table)])


def step_pairs(table):
    """Numbers i of the pairs (k_i, k_i+1) that are both steps."""
    k = intervals(table)
    return [i for i in range(len(k) - 1) if is_step(k[i]) and is_step(k[i + 1])]


def keeps_direction(table, i):
    k = intervals(table)
    return (k[i] > 0) == (k[i + 1] > 0)


@feature("intervals")
def step_inertia(table):
    return share_of([keeps_direction(table, i) for i in step_pairs(table)])


def moving_pairs(table):
    """Neighbours among the non-zero intervals, as pairs of interval numbers."""
    moving = [i for i, k in enumerate(intervals(table)) if k != 0]
    return [(moving[j], moving[j + 1]) for j in range(len(moving) - 1)]


@feature("intervals")
def direction_change_rate(table):
    k = intervals(table)
    return share_of([k[i] * k[j] < 0 for i, j in moving_pairs(table)])


def answered_leaps(table):
    """Numbers of the leaps whose next interval is not zero."""
    k = intervals(table)
    return [i for i in range(len(k) - 1) if is_leap(k[i]) and k[i + 1] != 0]


@feature("intervals")
def leap_reversal_share(table):
    k = intervals(table)
    leaps = answered_leaps(table)
    at_least(len(leaps), 3)
    return share_of([k[i] * k[i + 1] < 0 for i in leaps])


@feature("intervals")
def pitch_range(table):
    q = semitones(table)
    return max(q) - min(q)


# evidence: an interval is at both its notes ---------------------------------------------------------------------------


def notes_of_intervals(chosen):
    return {i + side for i in chosen for side in (0, 1)}


def _interval_evidence(name, test):
    @evidence(name)
    def notes(table):
        return notes_of_intervals([i for i, k in enumerate(intervals(table)) if test(k)])

    return notes


_interval_evidence("step_share", is_step)
_interval_evidence("skip_share", is_skip)
_interval_evidence("leap_share", is_leap)
_interval_evidence("repeated_note_share", lambda k: k == 0)
_interval_evidence("semitone_share", lambda k: abs(k) == 1)
evidence("scale_run_share")(lambda table: notes_in(scale_runs(table)))
evidence("degree_run_share")(lambda table: notes_in(degree_runs(table)))


def longest_of(runs):
    longest = max(runs, key=len)  # max keeps the first of several
    return set(longest) if len(longest) > 1 else set()


evidence("longest_scale_run")(lambda table: longest_of(scale_runs(table)))
evidence("longest_degree_run")(lambda table: longest_of(degree_runs(table)))
evidence("degree_step_share")(
    lambda table: notes_of_intervals([i for i, step in enumerate(degree_steps(table)) if step])
)


@evidence("degree_step_inertia")
def notes_of_kept_degree_steps(table):
    return {i + j for i in degree_step_pairs(table) if keeps_direction(table, i) for j in (0, 1, 2)}


@evidence("step_inertia")
def notes_of_kept_steps(table):
    return {i + j for i in step_pairs(table) if keeps_direction(table, i) for j in (0, 1, 2)}


@evidence("direction_change_rate")
def notes_of_turns(table):
    k = intervals(table)
    return {note for i, j in moving_pairs(table) if k[i] * k[j] < 0 for note in range(i, j + 2)}


@evidence("leap_reversal_share")
def notes_of_reversed_leaps(table):
    k = intervals(table)
    return {i + j for i in answered_leaps(table) if k[i] * k[i + 1] < 0 for j in (0, 1, 2)}
