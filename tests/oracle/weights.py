"""Metrical weight, written from the page: Longuet-Higgins & Lee's levels, and the rule off the grid."""

from __future__ import annotations

import functools
from fractions import Fraction

from oracle.terms import bar_length_of, beat_of, is_compound, meter_in_force, once, onsets, position_of

THIRTY_SECOND = Fraction(1, 8)


def division_list(meter):
    """Beats of a bar in factors (2s before 3s, else one level), 3 in compound meters, then 2s to the 32nd."""
    beat = beat_of(meter)
    beats = bar_length_of(meter) / beat
    assert beats.denominator == 1
    rest, twos, threes = int(beats), [], []
    while rest % 2 == 0:
        twos.append(2)
        rest //= 2
    while rest % 3 == 0:
        threes.append(3)
        rest //= 3
    found = twos + threes if rest == 1 else [int(beats)]
    unit = beat
    if is_compound(meter):
        found.append(3)
        unit /= 3
    while unit > THIRTY_SECOND:
        found.append(2)
        unit /= 2
    return found


@functools.cache
def level_units(meter):
    """Length of a unit of each level, the bar's own (level 0) first."""
    units = [bar_length_of(meter)]
    for factor in division_list(meter):
        units.append(units[-1] / factor)
    return units


def is_multiple(x, unit):
    return (Fraction(x) / unit).denominator == 1


@functools.cache
def weight_of(x, meter):
    """Weight of a position x quarters after a bar line."""
    units = level_units(meter)
    x = Fraction(x) % units[0]
    for level, unit in enumerate(units):
        if is_multiple(x, unit):
            return -level
    lowest = -(len(units) - 1)
    first = units.index(beat_of(meter))
    for level in range(first, len(units)):
        if is_multiple(x, units[level] / 3):
            return max(lowest - 1, -(level + 1))
    for level in range(first, len(units)):
        if is_multiple(x, units[level] / 5) or is_multiple(x, units[level] / 7):
            return max(lowest - 1, -(level + 2))
    return lowest - 1


@once
def weights(table):
    return [weight_of(position_of(table, t), meter_in_force(table, t)) for t in onsets(table)]
