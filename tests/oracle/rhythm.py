"""Family *rhythm*."""

from __future__ import annotations

import math
from fractions import Fraction

from oracle.registry import evidence, feature
from oracle.terms import (
    at_least,
    bar_index,
    bar_length_of,
    beat_at,
    beat_of,
    counts,
    durations,
    entropy,
    full_bars,
    iois,
    is_compound,
    meter_in_force,
    next_line,
    on_pulse,
    once,
    onsets,
    onsets_in,
    positions,
    ratio,
    share_of,
    span_in_bars,
)
from oracle.weights import is_multiple, weight_of, weights

SIXTEENTH = Fraction(1, 4)
DOTTED = [Fraction(3, 32) * 2**j for j in range(7)]
THIRTY_SECOND_OF_A_QUARTER = Fraction(1, 32)
TWENTY_FOURTH = Fraction(1, 24)


@once
def sixteenths(table):
    """For every bar (time, weight) of every position on its sixteenths, by the meter at its line."""
    found = []
    for index, (line, _, _) in enumerate(table["bars"]):
        meter = meter_in_force(table, line)
        time, grid = line, []
        while time < next_line(table, index):
            grid.append((time, weight_of(time - line, meter)))
            time += SIXTEENTH
        found.append(grid)
    return found


def weights_inside(table, start, stop):
    """Weights of the sixteenth positions strictly inside (start, stop)."""
    grids = sixteenths(table)[bar_index(table, start) :]
    found = []
    for grid in grids:
        if grid[0][0] >= stop:
            break
        found += [weight for time, weight in grid if start < time < stop]
    return found


@once
def syncopations(table):
    """max(0, R_i - w_i) of each note; 0 where no position is inside."""
    t, w = onsets(table), weights(table)
    found = []
    for i in range(len(t)):
        stop = t[i + 1] if i + 1 < len(t) else next_line(table, bar_index(table, t[i]))
        inside = weights_inside(table, t[i], stop)
        found.append(max(0, max(inside) - w[i]) if inside else 0)
    return found


@feature("rhythm")
def syncopation_index(table):
    return ratio(sum(syncopations(table)), span_in_bars(table))


@feature("rhythm")
def offbeat_onset_share(table):
    return share_of([not on for on in on_pulse(table)])


evidence("offbeat_onset_share")(lambda table: {i for i, on in enumerate(on_pulse(table)) if not on})


@feature("rhythm", needs=("durations",))
def note_value_entropy(table):
    return entropy(durations(table))


@feature("rhythm")
def ioi_entropy(table):
    return entropy(iois(table))


def commonest(values):
    """The modal value, the shortest of a tie."""
    found = counts(values)
    return min(v for v in found if found[v] == max(found.values()))


@feature("rhythm", needs=("durations",))
def commonest_value_share(table):
    d = durations(table)
    value = commonest(d)
    return share_of([v == value for v in d])


@feature("rhythm")
def commonest_ioi_share(table):
    ioi = iois(table)
    value = commonest(ioi)
    return share_of([v == value for v in ioi])


def notes_of_commonest_value(table):
    d = durations(table)
    value = commonest(d)
    return {i for i in range(len(d)) if d[i] == value}


evidence("commonest_value_share")(notes_of_commonest_value)


@evidence("commonest_ioi_share")
def notes_of_commonest_ioi(table):
    ioi = iois(table)
    value = commonest(ioi)
    return {i + side for i in range(len(ioi)) if ioi[i] == value for side in (0, 1)}


def is_dotted(duration, meter):
    if duration not in DOTTED or duration == bar_length_of(meter):
        return False
    return not (is_compound(meter) and is_multiple(duration, beat_of(meter)))


def dotted_notes(table):
    d, t = durations(table), onsets(table)
    return {i for i in range(len(d)) if is_dotted(d[i], meter_in_force(table, t[i]))}


@feature("rhythm", needs=("durations",))
def dotted_share(table):
    return ratio(len(dotted_notes(table)), len(table["notes"]))


evidence("dotted_share")(dotted_notes)


def tuplet_notes(table):
    x, d = positions(table), durations(table)
    plain = THIRTY_SECOND_OF_A_QUARTER
    return {i for i in range(len(d)) if not is_multiple(x[i], plain) or not is_multiple(d[i], plain)}


@feature("rhythm", needs=("durations",))
def tuplet_share(table):
    return ratio(len(tuplet_notes(table)), len(table["notes"]))


evidence("tuplet_share")(tuplet_notes)


def pairwise_variability(values):
    """Normalised pairwise variability index of a list of lengths."""
    total = Fraction(0)
    for i in range(len(values) - 1):
        total += abs(values[i] - values[i + 1]) / (Fraction(values[i] + values[i + 1]) / 2)
    return 100 * total / (len(values) - 1)


@feature("rhythm")
def npvi(table):
    return pairwise_variability(iois(table))


def bar_rhythms(table):
    """(index of the bar, its line, meter and onset positions) of the full bars with an onset."""
    found = []
    for index, line, stop in full_bars(table):
        inside = tuple(t - line for t in onsets_in(table, line, stop))
        if inside:
            found.append((index, line, (meter_in_force(table, line), inside)))
    return found


def recurring_bars(table):
    rhythms = bar_rhythms(table)
    return [rhythms[j][2] in [earlier[2] for earlier in rhythms[:j]] for j in range(len(rhythms))]


@feature("rhythm")
def rhythm_recurrence(table):
    again = recurring_bars(table)
    at_least(len(again), 4)
    return share_of(again)


@evidence("rhythm_recurrence")
def notes_of_recurring_bars(table):
    chosen = set()
    for again, (index, line, _) in zip(recurring_bars(table), bar_rhythms(table), strict=True):
        inside = onsets_in(table, line, next_line(table, index)) if again else []
        chosen |= {i for i, t in enumerate(onsets(table)) if t in inside}
    return chosen


@once
def onset_cells(table):
    """x rounded half up to a 24th of a quarter; what rounds to the bar's end is 0."""
    found = []
    for t, x in zip(onsets(table), positions(table), strict=True):
        index = bar_index(table, t)
        cell = math.floor(x / TWENTY_FOURTH + Fraction(1, 2))
        length = next_line(table, index) - table["bars"][index][0]
        found.append(0 if cell * TWENTY_FOURTH >= length else cell)
    return found


@feature("rhythm")
def bar_onset_entropy(table):
    return entropy(onset_cells(table))


def beats_after(table, i):
    """IOI_i in beats."""
    return iois(table)[i] / beat_at(table, onsets(table)[i])
