"""Which rungs of a style, and which excerpts of a solo, are compared with each other.

A solo is compared at the two rungs around its note count, interpolated in log length. One longer than the highest
good rung is cut into overlapping excerpts of that rung; a thin rung is never fallen back on while a good one is there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from stylemeter.music.excerpts import overlapping_starts
from stylemeter.style.profile import Profile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, FAMILIES_FOR_RUNG

__all__ = ["Plan", "plan_for", "plan_of"]


@dataclass(frozen=True, slots=True)
class Plan:
    """At which rungs, and with which excerpts, a solo of a note count is compared.

    Attributes
    ----------
    notes : int
    rungs : tuple of (notes, share)
        One or two rungs and how much each counts; the shares add up to 1.
    starts : tuple of int
        First note of each excerpt; one, 0, unless the solo is cut.
    length : int
        Notes an excerpt.
    provisional : bool
        Whether no rung has enough families to be a norm.
    words : str
        How it is compared, in plain words.
    """

    notes: int
    rungs: tuple[tuple[int, float], ...]
    starts: tuple[int, ...]
    length: int
    provisional: bool
    words: str


def plan_for(profile: Profile, notes: int) -> Plan | None:
    """Choose rungs and excerpts for a solo of so many notes; see `plan_of`."""
    return plan_of(profile.rung_families, notes)


def plan_of(families: Mapping[int, int], notes: int) -> Plan | None:
    """Choose rungs and excerpts.

    Parameters
    ----------
    families : mapping of int to int
        Rung -> families behind it.
    notes : int
        Notes of the solo.

    Returns
    -------
    Plan or None
        None where no rung has enough families for limits.
    """
    good = sorted(rung for rung, count in families.items() if count >= FAMILIES_FOR_RUNG)
    if not good or (good[0] > notes and good[0] > min(families)):
        return _provisional(families, notes)
    if notes >= good[-1]:
        return _at_the_top(good[-1], notes)
    lower = max((g for g in good if g <= notes), default=good[0])
    if lower > notes:
        words = f"in their shortest excerpts, {lower} notes (it has {notes})"
        return Plan(notes, ((lower, 1.0),), (0,), notes, False, words)
    if lower == notes:
        return Plan(notes, ((lower, 1.0),), (0,), notes, False, f"at its own length, {notes} notes")
    upper = min(g for g in good if g > notes)
    share = math.log(notes / lower) / math.log(upper / lower)
    words = f"between excerpts of {lower} and of {upper} notes (it has {notes})"
    return Plan(notes, ((lower, 1 - share), (upper, share)), (0,), notes, False, words)


def _at_the_top(highest: int, notes: int) -> Plan:
    """The highest good rung, for a solo as long or longer."""
    starts = tuple(overlapping_starts(notes, highest))
    words = f"at its own length, {highest} notes"
    if notes > highest:
        words = f"in {len(starts)} overlapping excerpts of {highest} notes (it has {notes})"
    return Plan(notes, ((highest, 1.0),), starts, highest, False, words)


def _provisional(families: Mapping[int, int], notes: int) -> Plan | None:
    """The fullest fitting rung, where no rung is good."""
    there = sorted(rung for rung, count in families.items() if count >= FAMILIES_FOR_LIMITS)
    if not there:
        return None
    fitting = [r for r in there if r <= notes] or there[:1]
    best = max(fitting, key=lambda r: (families[r], r))
    words = f"provisionally, with excerpts of {best} notes from only {families[best]} tune families"
    starts = tuple(overlapping_starts(notes, best))
    return Plan(notes, ((best, 1.0),), starts, min(best, notes), True, words)
