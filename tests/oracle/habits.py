"""Where a habit shows most clearly: an amount a note, and the stretch with the greatest sum."""

from __future__ import annotations

from fractions import Fraction

from oracle.degrees import notes_in_pentatonic, notes_on_beat
from oracle.intervals import notes_in_scale_runs
from oracle.motif import motif_notes
from oracle.rhythm import beats_after
from oracle.terms import degrees, intervals, iois, is_step, phrase_ends

HALF = Fraction(1, 2)


def runs(table):
    inside = notes_in_scale_runs(table)
    return [Fraction(i in inside) for i in range(len(table["notes"]))]


def stepwise(table):
    amount = [Fraction(0)] * len(table["notes"])
    for i, k in enumerate(intervals(table)):
        if k == 0:
            continue
        for note in (i, i + 1):
            amount[note] += HALF if is_step(k) else -HALF
    return amount


def root(table):
    strong, last, c = notes_on_beat(table), phrase_ends(table), degrees(table)
    amount = []
    for i in range(len(c)):
        if i not in strong and not last[i]:
            amount.append(Fraction(0))
        else:
            amount.append(Fraction(1) if c[i] == 0 else Fraction(-3, 10))
    return amount


def scale(table):
    inside = notes_in_pentatonic(table)
    return [Fraction(1) if i in inside else Fraction(-3) for i in range(len(table["notes"]))]


def rhythm(table):
    """The IOI that starts at a note against the one before it; the first and the last note have none to compare."""
    ioi = iois(table)
    amount = [Fraction(0)] * len(table["notes"])
    for i in range(1, len(ioi)):
        amount[i] = Fraction(1) if ioi[i] == ioi[i - 1] else Fraction(-3, 2)
    return amount


def space(table):
    amount = [Fraction(0)] * len(table["notes"])
    for i in range(len(amount) - 1):
        beats = beats_after(table, i)
        amount[i] = Fraction(1) if beats <= 1 else -2 * (beats - 1)
    return amount


def same_lick(table):
    again = motif_notes(table)
    return [Fraction(1) if i in again else Fraction(-1) for i in range(len(table["notes"]))]


PLACES = {
    "runs": runs,
    "stepwise": stepwise,
    "root": root,
    "scale": scale,
    "rhythm": rhythm,
    "space": space,
    "same_lick": same_lick,
}


def centred(amount):
    mean = sum(amount) / len(amount)
    return [a - mean for a in amount]


def greatest_stretch(scores):
    """(start, stop) of the stretch with the greatest sum, the first of several; None where no note stands out."""
    best, place = None, None
    for start in range(len(scores)):
        total = Fraction(0)
        for stop in range(start + 1, len(scores) + 1):
            total += scores[stop - 1]
            if best is None or total > best:
                best, place = total, (start, stop)
    return place if best else None


def scores(table, habit):
    return centred(PLACES[habit](table))


def place(table, habit):
    return greatest_stretch(scores(table, habit))
