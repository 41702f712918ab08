"""Family *shape*."""

from __future__ import annotations

from fractions import Fraction

from oracle.registry import evidence, feature
from oracle.terms import at_least, onsets, phrases, ratio, semitones, share_of, span


@feature("shape", needs=("rhythm",))
def climax_position(table):
    q, t = semitones(table), onsets(table)
    first = q.index(max(q))
    return ratio(t[first] - t[0], span(table))


@feature("shape", needs=("rhythm",))
def density_build(table):
    t = onsets(table)
    late = [v for v in t if v - t[0] >= Fraction(2, 3) * span(table)]
    return ratio(len(late), len(t))


@evidence("density_build")
def late_notes(table):
    t = onsets(table)
    return {i for i in range(len(t)) if t[i] - t[0] >= Fraction(2, 3) * span(table)}


def mean(values):
    return Fraction(sum(values), len(values))


@feature("shape")
def register_build(table):
    q = semitones(table)
    third = len(q) // 3
    return mean(q[-third:]) - mean(q[:third])


def convex(pitches):
    """Whether the mean of the middle lies above both ends."""
    middle = mean(pitches[1:-1])
    return middle > pitches[0] and middle > pitches[-1]


def longer_phrases(table):
    return [phrase for phrase in phrases(table) if len(phrase) >= 3]


@feature("shape", needs=("rhythm",))
def convex_phrase_share(table):
    q = semitones(table)
    chosen = longer_phrases(table)
    at_least(len(chosen), 3)
    return share_of([convex([q[i] for i in phrase]) for phrase in chosen])


@evidence("convex_phrase_share")
def notes_of_convex_phrases(table):
    q = semitones(table)
    return {i for phrase in longer_phrases(table) if convex([q[j] for j in phrase]) for i in phrase}
