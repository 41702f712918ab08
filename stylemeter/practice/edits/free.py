"""Looking for the fewest edits after which a habit is no longer there, judged as the whole solo is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from stylemeter.features import Base, Line, scan
from stylemeter.music.melody import Melody
from stylemeter.placement.lengths import Plan
from stylemeter.placement.ranks import measures, norm_of, rank
from stylemeter.placement.records import HINT_P, HabitPlace, Placement
from stylemeter.practice.edits.edit import Edit, apply_edits, disjoint
from stylemeter.practice.edits.recipes import RECIPES
from stylemeter.practice.edits.scene import Scene
from stylemeter.practice.edits.search import CHECKED_NOTES_MAX

__all__ = ["Freed", "free_habit"]

#: Share of the notes that may be changed at most: more is no edit of this solo but another one.
CHANGED_MAX = 0.25

#: Scan that shows a habit -> the traits whose edits may free it, in the order they are tried; of the longest run, how
#: long one may stay.
_TRAITS: dict[str, tuple[str | tuple[str, float], ...]] = {
    "runs": ("degree_run_share", ("longest_degree_run", 3.0), ("longest_degree_run", 2.0)),
    "stepwise": ("degree_step_share",),
    "semitones": ("degree_step_share",),
    "root": ("strong_beat_root_share",),
    "chord_root": ("strong_beat_chord_root_share",),
    "scale": ("one_scale_share",),
    "pentatonic": ("pentatonic_share", "one_scale_share"),
    "rhythm": ("commonest_ioi_share",),
    "space": ("longest_stream",),
}


@dataclass(frozen=True)
class Freed:
    """A solo edited until a habit is gone, or as far as a first step goes.

    Attributes
    ----------
    melody : Melody
        Edited.
    name : str
        The trait whose edits they are.
    count : int
        Edits made.
    rows : tuple of int
        Notes of the solo they change, counted from 0.
    p : float
        p of the habit then.
    gone : bool
        Whether it is neither shown nor hinted at then.
    total : int
        How many things there were of the kind edited.
    """

    melody: Melody
    name: str
    count: int
    rows: tuple[int, ...]
    p: float
    gone: bool
    total: int


def free_habit(placement: Placement, place: HabitPlace) -> Freed | None:
    """Edit a solo until a habit is neither shown nor hinted at.

    Parameters
    ----------
    placement : Placement
    place : HabitPlace
        Shown or hinted at.

    Returns
    -------
    Freed or None
        None where no edits are known, or the solo is too long to try them.

    Notes
    -----
    Each edit is the one nearest the middle of the stretch that shows the habit most by then; where none shows it any
    longer, the most telling that is left. One edit less would not do, in this order.
    """
    if placement.plan is None or not place.scan or len(placement.melody) > CHECKED_NOTES_MAX:
        return None
    best: Freed | None = None
    for trait in _TRAITS.get(place.scan, ()):
        name, high = (trait, None) if isinstance(trait, str) else trait
        found = _freed_by(placement, placement.plan, place, name, high)
        if found is not None and (best is None or (found.gone, found.p) > (best.gone, best.p)):
            best = found
        if best is not None and best.gone:
            break
    return best


def _freed_by(
    placement: Placement, plan: Plan, place: HabitPlace, name: str, high: float | None = None
) -> Freed | None:
    """The fewest edits of one trait that free a habit, or as many as may be made."""
    melody, recipe = placement.melody, RECIPES[name, "down"]
    there = placement.feature(name)
    low = there.limits.lower if there.limits is not None else 0.0
    scene = Scene(Line(Base(melody)), name, False, low, low if high is None else high, there.value)
    edits = _within_bounds(_spread(melody, place.scan, disjoint(recipe.editor(scene), len(melody))), len(melody))
    if not edits:
        return None
    tried: dict[int, tuple[Melody, float]] = {}

    def after(number: int) -> float:
        if number not in tried:
            changed = apply_edits(melody, edits[:number])
            tried[number] = changed, _p(placement, plan, changed, place.name)
        return tried[number][1]

    fewest = _fewest(after, len(edits))
    number = fewest or len(edits)
    p = after(number)
    if fewest is None and not p > place.p:
        return None
    rows = sorted({row for edit in edits[:number] for row in _rows(edit)})
    return Freed(tried[number][0], name, number, tuple(rows), p, fewest is not None, recipe.total(scene))


def _rows(edit: Edit) -> set[int]:
    """Notes an edit changes; an added one is the change of the note it comes after."""
    changed = {row for row, _ in edit.pitch} | {row for row, _, _ in edit.time} | set(edit.drop)
    return changed or set(sorted(edit.claims)[:1])


def _within_bounds(edits: list[Edit], notes: int) -> list[Edit]:
    """As many of the edits as change no more notes than they may."""
    left, kept = CHANGED_MAX * notes, []
    for edit in edits:
        left -= len(_rows(edit))
        if left < 0:
            break
        kept.append(edit)
    return kept


def _spread(melody: Melody, name: str, edits: list[Edit]) -> list[Edit]:
    """Edits in the order in which each breaks what stretch is left of a habit at its middle."""
    left = list(edits)
    order: list[Edit] = []
    while left:
        base = Base(apply_edits(melody, order))
        found = scan(Line(base), name)
        if found is None or found[0] <= 0:
            break
        _, start, stop = found
        first, last = int(base.onset[start]), int(base.onset[stop - 1])
        inside = [e for e in left if first <= int(melody.onset[min(_rows(e))]) <= last]
        if not inside:
            break
        nearest = min(inside, key=lambda e: abs(int(melody.onset[min(_rows(e))]) - (first + last) / 2))
        order.append(nearest)
        left.remove(nearest)
        if sum(len(_rows(e)) for e in order) > CHANGED_MAX * len(melody):
            break
    return [*order, *left]


def _p(placement: Placement, plan: Plan, melody: Melody, habit: str) -> float:
    """P of a habit in an edited solo, its excerpts begun where they were as far as its notes go."""
    last = max(0, len(melody) - plan.length)
    moved = replace(plan, starts=tuple(min(start, last) for start in plan.starts))
    found = rank(norm_of(placement.profile, plan), measures(Base(melody), moved), len(plan.starts))
    p = float(found.habits[habit].p[0])
    return p if np.isfinite(p) else 1.0


def _fewest(after: Callable[[int], float], most: int) -> int | None:
    """The number of edits that frees where one less does not; tried are 1, 2, 4, ..., then by halving."""
    low, high = 0, 1
    while after(min(high, most)) <= HINT_P:
        if high >= most:
            return None
        low, high = high, 2 * high
    high = min(high, most)
    while high - low > 1:
        middle = (low + high) // 2
        if after(middle) > HINT_P:
            high = middle
        else:
            low = middle
    return high
