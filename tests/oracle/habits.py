"""Where a habit shows: what each note adds to a stretch, and the stretch with the greatest sum."""

from __future__ import annotations

from fractions import Fraction

from oracle.degrees import notes_in_pentatonic, notes_on_beat
from oracle.motif import motif_notes
from oracle.rhythm import beats_after
from oracle.scale_use import all_scales, degree_steps
from oracle.terms import breaths, chord_of_each_note, degrees, intervals, iois, is_step, phrase_ends, semitones
from oracle.weights import weights

FIFTHS = Fraction(-4, 5)


def runs(table):
    """The notes between two moves."""
    k, step = intervals(table), degree_steps(table)
    score = [Fraction(0)] * len(table["notes"])
    for i in range(1, len(k)):
        if k[i - 1] == 0 or k[i] == 0:
            score[i] = Fraction(-1)
        elif step[i - 1] and step[i]:
            score[i] = Fraction(1 if k[i - 1] * k[i] > 0 else -1)
        else:
            score[i] = Fraction(-8)
    return [score]


def reached_by(table, step):
    score = [Fraction(0)] * len(table["notes"])
    for i, k in enumerate(intervals(table)):
        score[i + 1] = Fraction(0 if k == 0 else 1 if step[i] else -16)
    return [score]


def stepwise(table):
    return reached_by(table, degree_steps(table))


def by_semitones(table):
    return reached_by(table, [is_step(k) for k in intervals(table)])


def root(table):
    beat, last, c, w = notes_on_beat(table), phrase_ends(table), degrees(table), weights(table)
    score = []
    for i in range(len(c)):
        counts = max((i in beat) + (w[i] >= -1), 1 if last[i] else 0)
        score.append(counts * (Fraction(1) if c[i] == 0 else FIFTHS))
    return [score]


def chord_root(table):
    q, w = semitones(table), weights(table)
    score = []
    for i, chord in enumerate(chord_of_each_note(table)):
        if chord is None or w[i] < -1:
            score.append(Fraction(0))
        else:
            score.append(Fraction(1) if q[i] % 12 == chord["root"] else FIFTHS)
    return [score]


def scale(table):
    return [[Fraction(1 if q % 12 in s else -16) for q in semitones(table)] for s in all_scales(7)]


def pentatonic(table):
    inside = notes_in_pentatonic(table)
    return [[Fraction(1 if i in inside else -16) for i in range(len(table["notes"]))]]


def rhythm(table):
    """The IOI that starts at a note against the one before it; the first and the last note have none to compare."""
    ioi = iois(table)
    score = [Fraction(0)] * len(table["notes"])
    for i in range(1, len(ioi)):
        score[i] = Fraction(1 if ioi[i] == ioi[i - 1] else -8)
    return [score]


def space(table):
    breath = breaths(table)
    score = [Fraction(0)] * len(table["notes"])
    for i in range(len(score) - 1):
        beats = beats_after(table, i)
        score[i] = min(beats, Fraction(1)) - (64 if beats > 1 or breath[i] else 0)
    return [score]


def same_lick(table):
    again = motif_notes(table)
    return [[Fraction(1) if i in again else Fraction(-1) for i in range(len(table["notes"]))]]


SCANS = {
    "runs": runs,
    "stepwise": stepwise,
    "semitones": by_semitones,
    "root": root,
    "chord_root": chord_root,
    "scale": scale,
    "pentatonic": pentatonic,
    "rhythm": rhythm,
    "space": space,
    "same_lick": same_lick,
}


def greatest_sum(table, name):
    """The greatest sum of any stretch of any reading, 0 where no note adds."""
    best = Fraction(0)
    for row in SCANS[name](table):
        for start in range(len(row)):
            total = Fraction(0)
            for amount in row[start:]:
                total += amount
                best = max(best, total)
    return best


def sum_of(table, name, start, stop):
    """The greatest sum any reading gives a stretch."""
    return max(sum(row[start:stop], Fraction(0)) for row in SCANS[name](table))
