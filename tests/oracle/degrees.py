"""Family *degrees*, and the scales beside it."""

from __future__ import annotations

import math
from fractions import Fraction

from oracle.registry import evidence, feature
from oracle.scale_use import all_scales
from oracle.terms import (
    at_least,
    chord_of_each_note,
    counts,
    degrees,
    durations,
    entropy,
    has_durations,
    mode,
    on_beat,
    once,
    phrases,
    ratio,
    semitones,
    share_of,
)

SETS = {"root_share": {0}, "third_share": {3, 4}, "fifth_share": {7}, "ninth_share": {1, 2}, "seventh_share": {10, 11}}

#: The modes that say what is inside; another mode is as good as none.
MODE_SETS = {
    "major": {0, 2, 4, 5, 7, 9, 11},
    "ionian": {0, 2, 4, 5, 7, 9, 11},
    "minor": {0, 2, 3, 5, 7, 8, 9, 10, 11},
    "aeolian": {0, 2, 3, 5, 7, 8, 9, 10, 11},
    "dorian": {0, 2, 3, 5, 7, 9, 10},
    "phrygian": {0, 1, 3, 5, 7, 8, 10},
    "lydian": {0, 2, 4, 6, 7, 9, 11},
    "mixolydian": {0, 2, 4, 5, 7, 9, 10},
    "locrian": {0, 1, 3, 5, 6, 8, 10},
}
MAJOR_PENTATONIC = {0, 2, 4, 7, 9}
MINOR_PENTATONIC = {0, 3, 5, 7, 10}
SECOND_ONLY = ("minor", "aeolian", "dorian", "phrygian", "locrian")


def notes_on(table, wanted):
    return {i for i, c in enumerate(degrees(table)) if c in wanted}


def _degree_share(name):
    def share(table):
        return ratio(len(notes_on(table, SETS[name])), len(table["notes"]))

    share.__name__ = name
    feature("degrees", needs=("key",))(share)
    evidence(name)(lambda table: notes_on(table, SETS[name]))


for _name in SETS:
    _degree_share(_name)


@feature("degrees", needs=("key", "rhythm", "durations"))
def root_time_share(table):
    d, c = durations(table), degrees(table)
    return ratio(sum(d[i] for i in range(len(d)) if c[i] == 0), sum(d))


evidence("root_time_share")(lambda table: notes_on(table, {0}))


@feature("degrees")
def degree_entropy(table):
    return entropy([q % 12 for q in semitones(table)])


def notes_outside_mode(table):
    outside = {i for i, c in enumerate(degrees(table)) if c not in MODE_SETS[mode(table)]}
    if not table["chords"]:
        return outside
    q, chord = semitones(table), chord_of_each_note(table)
    return {i for i in outside if chord[i] is None or q[i] % 12 not in chord[i]["pitch_classes"]}


@feature("degrees", needs=("key", "mode"))
def chromatic_share(table):
    return ratio(len(notes_outside_mode(table)), len(table["notes"]))


evidence("chromatic_share")(notes_outside_mode)


def notes_in_pentatonic(table):
    """The notes inside the set used."""
    second = notes_on(table, MINOR_PENTATONIC)
    if mode(table) in SECOND_ONLY:
        return second
    first = notes_on(table, MAJOR_PENTATONIC)
    return first if len(first) >= len(second) else second


@feature("degrees", needs=("key", "mode"))
def pentatonic_share(table):
    return ratio(len(notes_in_pentatonic(table)), len(table["notes"]))


evidence("pentatonic_share")(notes_in_pentatonic)


def notes_of_one_scale(table):
    """The notes of the seven-note scale that holds most of them; the first of equals."""
    classes = [q % 12 for q in semitones(table)]
    scale = max(all_scales(7), key=lambda scale: sum(c in scale for c in classes))
    return {i for i, c in enumerate(classes) if c in scale}


@feature("degrees")
def one_scale_share(table):
    return ratio(len(notes_of_one_scale(table)), len(table["notes"]))


evidence("one_scale_share")(notes_of_one_scale)


@feature("degrees")
def pitch_class_count(table):
    return len({q % 12 for q in semitones(table)})


def divergence(one, other):
    """Jensen-Shannon divergence, base 2, of two lists of classes."""
    a, b = counts(one), counts(other)
    total = 0.0
    for key in set(a) | set(b):
        p, q = a.get(key, 0) / len(one), b.get(key, 0) / len(other)
        middle = (p + q) / 2
        total += (p * math.log2(p / middle) if p else 0.0) / 2
        total += (q * math.log2(q / middle) if q else 0.0) / 2
    return total


@feature("degrees", minimum=32)
def degree_drift(table):
    classes = [q % 12 for q in semitones(table)]
    windows = [classes[start : start + 16] for start in range(0, len(classes) - 15, 16)]
    found = [divergence(windows[i], windows[i + 1]) for i in range(len(windows) - 1)]
    return math.fsum(found) / len(found)


@feature("degrees", needs=("key", "rhythm"))
def phrase_end_root_share(table):
    lasts = [phrase[-1] for phrase in phrases(table)]
    at_least(len(lasts), 3)
    c = degrees(table)
    return share_of([c[i] == 0 for i in lasts])


@evidence("phrase_end_root_share")
def phrase_end_roots(table):
    return {phrase[-1] for phrase in phrases(table)} & notes_on(table, {0})


@once
def notes_on_beat(table):
    return {i for i, on in enumerate(on_beat(table)) if on}


@feature("degrees", needs=("key", "rhythm"))
def strong_beat_root_share(table):
    strong = notes_on_beat(table)
    at_least(len(strong), 4)
    return ratio(len(strong & notes_on(table, {0})), len(strong))


evidence("strong_beat_root_share")(lambda table: notes_on_beat(table) & notes_on(table, {0}))


# scales ---------------------------------------------------------------------------------------------------------------

SCALES = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "phrygian": (0, 1, 3, 5, 7, 8, 10),
    "lydian": (0, 2, 4, 6, 7, 9, 11),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "aeolian": (0, 2, 3, 5, 7, 8, 10),
    "locrian": (0, 1, 3, 5, 6, 8, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    "phrygian dominant": (0, 1, 4, 5, 7, 8, 10),
    "melodic minor": (0, 2, 3, 5, 7, 9, 11),
    "lydian dominant": (0, 2, 4, 6, 7, 9, 10),
    "altered": (0, 1, 3, 4, 6, 8, 10),
    "major pentatonic": (0, 2, 4, 7, 9),
    "minor pentatonic": (0, 3, 5, 7, 10),
    "blues hexatonic": (0, 3, 5, 6, 7, 10),
    "major blues": (0, 2, 3, 4, 7, 9),
    "double harmonic": (0, 1, 4, 5, 7, 8, 11),
    "whole tone": (0, 2, 4, 6, 8, 10),
    "octatonic (half-whole)": (0, 1, 3, 4, 6, 7, 9, 10),
}


def scales(table):
    """name -> (share by note, share by time or None, rank: 1 best, equal where tied)."""
    shares = {}
    for name, scale in SCALES.items():
        inside = notes_on(table, set(scale))
        by_time = None
        if has_durations(table):
            d = durations(table)
            by_time = float(ratio(sum(d[i] for i in inside), sum(d)))
        shares[name] = (Fraction(len(inside), len(table["notes"])), by_time, len(scale))
    found = {}
    for name, (by_note, by_time, size) in shares.items():
        better = [s for s, _, n in shares.values() if s > by_note or (s == by_note and n < size)]
        found[name] = (float(by_note), by_time, 1 + len(better))
    return found
