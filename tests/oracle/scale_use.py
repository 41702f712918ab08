"""The scale a line uses round each move, and the moves that go to its next note."""

from __future__ import annotations

import math
from fractions import Fraction

from oracle.terms import intervals, once

#: In the order in which equals are decided, each on every tonic from C upwards.
KINDS = (
    (0, 3, 5, 7, 10),
    (0, 3, 5, 6, 7, 10),
    (0, 2, 4, 6, 8, 10),
    (0, 2, 4, 5, 7, 9, 11),
    (0, 2, 3, 5, 7, 8, 11),
    (0, 2, 3, 5, 7, 9, 11),
    (0, 1, 3, 4, 6, 7, 9, 10),
)


def all_scales(size=None):
    found = []
    for kind in KINDS:
        for tonic in range(12):
            notes = {(tonic + degree) % 12 for degree in kind}
            if notes not in found and size in (None, len(notes)):
                found.append(notes)
    return found


def has_wide_step(scale):
    return any((c + 3) % 12 in scale and not {(c + 1) % 12, (c + 2) % 12} & scale for c in scale)


def scale_of(classes):
    """The likeliest scale of a window: 95 in 100 notes equally on its own, the others equally on the rest."""
    best, found = -math.inf, None
    for scale in all_scales():
        if has_wide_step(scale) and not scale <= set(classes):
            continue
        inside = sum(c in scale for c in classes)
        likelihood = inside * math.log(0.95 / len(scale)) + (len(classes) - inside) * math.log(0.05 / (12 - len(scale)))
        if likelihood > best + 1e-8:
            best, found = likelihood, scale
    return found


@once
def degree_steps(table):
    """Whether each move is one of 1-2 semitones, or of 3 between neighbours of the scale in use round it."""
    tune = [math.floor(Fraction(note["pitch"]) + Fraction(1, 2)) for note in table.get("tune", table["notes"])]
    found = []
    for i, k in enumerate(intervals(table)):
        if abs(k) != 3:
            found.append(abs(k) in (1, 2))
            continue
        at = table.get("first", 0) + i
        start = max(0, min(at - 7, len(tune) - 16))
        scale = scale_of([q % 12 for q in tune[start : start + 16]])
        low = min(tune[at], tune[at + 1]) % 12
        found.append({low, (low + 3) % 12} <= scale and not {(low + 1) % 12, (low + 2) % 12} & scale)
    return found
