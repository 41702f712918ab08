"""Family *distributions*: share vectors, or None where unmeasured."""

from __future__ import annotations

import math
from fractions import Fraction

from oracle.registry import MINIMUM
from oracle.rhythm import onset_cells
from oracle.terms import bar_length_of, degrees, intervals, iois, meter_in_force, onsets

IOI_CELLS = [
    Fraction(1, 8),
    Fraction(1, 6),
    Fraction(1, 4),
    Fraction(1, 3),
    Fraction(3, 8),
    Fraction(1, 2),
    Fraction(2, 3),
    Fraction(3, 4),
    Fraction(1),
    Fraction(3, 2),
    Fraction(2),
    Fraction(3),
    Fraction(4),
]


def shares(cells, size):
    found = [0] * size
    for cell in cells:
        found[cell] += 1
    return [count / len(cells) for count in found]


def interval_cells(table):
    return shares([max(-12, min(12, k)) + 12 for k in intervals(table)], 25)


def degree_cells(table):
    return None if table["solo"]["key"] is None else shares(degrees(table), 12)


def ioi_cell(ioi):
    if ioi in IOI_CELLS:
        return IOI_CELLS.index(ioi)
    return 13 if ioi > 4 else 14


def ioi_cells(table):
    return shares([ioi_cell(v) for v in iois(table)], 15)


def onset_distribution(table):
    meters = {meter_in_force(table, t) for t in onsets(table)}
    if len(meters) > 1:
        return None
    return shares(onset_cells(table), math.ceil(24 * bar_length_of(meters.pop())))


def distributions(table):
    """name -> list of shares, or None where unmeasured."""
    made = {"intervals": interval_cells, "degrees": degree_cells, "iois": ioi_cells, "onsets": onset_distribution}
    enough = len(table["notes"]) >= MINIMUM
    return {name: function(table) if enough else None for name, function in made.items()}
