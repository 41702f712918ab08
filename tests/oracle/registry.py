"""Names to functions, with what a feature needs before it can be counted at all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from oracle import terms

MINIMUM = 12
FEATURES: dict[str, Oracle] = {}
EVIDENCE: dict[str, Any] = {}
#: Families that ask when notes sound.
TIMED = ("harmony", "rhythm", "space", "motif")


@dataclass(frozen=True)
class Oracle:
    name: str
    family: str
    function: Any
    needs: tuple[str, ...]
    minimum: int


def feature(family, *, needs=(), minimum=MINIMUM):
    """Enter a function under its own name."""

    def enter(function):
        timed = ("rhythm",) if family in TIMED else ()
        FEATURES[function.__name__] = Oracle(function.__name__, family, function, (*timed, *needs), minimum)
        return function

    return enter


def evidence(*names):
    """Enter a function ``table -> set of note numbers`` as the evidence of the named features."""

    def enter(function):
        for name in names:
            EVIDENCE[name] = function
        return function

    return enter


#: What may be needed -> whether a table has it, and what to say where it hasn't.
NEEDS = {
    "key": (lambda table: table["solo"]["key"] is not None, terms.NEEDS_KEY),
    "mode": (lambda table: terms.mode(table) in terms.MODES, terms.NEEDS_MODE),
    "rhythm": (lambda table: table["solo"].get("rhythm_known", True), terms.NEEDS_RHYTHM),
    "durations": (terms.has_durations, terms.NEEDS_DURATIONS),
    "chords": (lambda table: bool(table["chords"]), terms.NEEDS_CHORDS),
    "technique": (lambda table: all(n["technique"] is not None for n in table["notes"]), terms.NEEDS_TECHNIQUE),
}


def check_needs(table, needs):
    """Stop at the first need that is missing; a partly missing column is missing."""
    for need in needs:
        there, reason = NEEDS[need]
        if not there(table):
            raise terms.Unmeasured(reason)


def value(table, name):
    """(value, None), or (NaN, the category of the reason)."""
    entry = FEATURES[name]
    try:
        check_needs(table, entry.needs)
        if len(table["notes"]) < entry.minimum:
            raise terms.Unmeasured(terms.TOO_FEW_NOTES)
        return float(entry.function(table)), None
    except terms.Unmeasured as why:
        return math.nan, str(why)


def measure(table):
    return {name: value(table, name) for name in FEATURES}


def evidence_of(table, name):
    """Whether each note is evidence; nothing where the feature is unmeasured."""
    if math.isnan(value(table, name)[0]):
        return [False] * len(table["notes"])
    chosen = EVIDENCE[name](table)
    return [i in chosen for i in range(len(table["notes"]))]
