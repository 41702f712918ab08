"""How much: the plain amount that would bring a feature or a habit inside the norm, and whether that was tried.

Where there is an edit for it (see `stylemeter.practice.edits`) the edits are applied at the evidence and the feature
measured again until it lies inside: then the amount is their number, checked. Else it follows from the definition.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from stylemeter.features import CATALOG, HABITS, Base, Line
from stylemeter.features.catalog import Lack, Mask
from stylemeter.music.melody import Melody
from stylemeter.placement.records import FeaturePlace, HabitPlace, Placement
from stylemeter.practice.edits import Edited, Goal, find_edits
from stylemeter.practice.edits.free import free_habit
from stylemeter.practice.words import FeatureWords, change_words, fill, format_value, words

__all__ = ["Change", "Edited", "amount", "change_for", "changes", "find_edits"]


@dataclass(frozen=True, slots=True)
class Change:
    """What would bring a feature inside its norm.

    Attributes
    ----------
    words : str
        The amount in words: "break 2 of the 4 scale runs".
    count : int or None
        How many things that is; None where it is said as an amount only.
    checked : bool
        Whether it was tried on the notes and the feature measured again.
    after : float
        The value then; NaN where it was not tried.
    frees : bool or None
        Of a habit: whether it is neither shown nor hinted at then, as far as the whole solo judged again says; False
        where it is a first step only. None for a feature, and where it was not tried.
    edited : Melody or None
        The solo with the change made, where it was tried.
    rows : tuple of int
        Of a habit: the notes of the solo it changes, counted from 0.
    """

    words: str
    count: int | None
    checked: bool
    after: float
    edited: Melody | None = field(default=None, compare=False, repr=False)
    frees: bool | None = None
    rows: tuple[int, ...] = ()


# -- saying it ---------------------------------------------------------------------------------------------------


def amount(
    melody: Melody | Base,
    name: str,
    target_low: float,
    target_high: float,
    *,
    length: int | None = None,
    tried: bool = True,
) -> Change | None:
    """How much would bring a feature into a range.

    Parameters
    ----------
    melody : Melody or Base
        A `Base` shares work between features.
    name : str
        A feature.
    target_low, target_high : float
        The range.
    length : int, optional
        Notes an excerpt, where the value is the median of overlapping ones.
    tried : bool
        Whether to try it on the notes; else it is worked out by the definition.

    Returns
    -------
    Change or None
        None where the feature lies inside already or is unmeasured.
    """
    base = melody if isinstance(melody, Base) else Base(melody)
    goal = Goal(name, target_low, target_high, length=length)
    value = goal.value(base)
    if not math.isfinite(value) or goal.inside(value) or not target_low <= target_high:
        return None
    up = goal.below(value)
    own = words().features[name]
    found = find_edits(base, name, target_low, target_high, length=length) if tried else None
    text = own.up if up else own.down
    if found is None or not text:
        return _worked_out(Line(base), own, value, target_low if up else target_high)
    return Change(_filled(text, base.melody, own, value, found), found.count, True, found.value, found.melody)


def _filled(text: str, melody: Melody, own: FeatureWords, value: float, found: Edited) -> str:
    """The words of a checked amount."""
    # a share of the way along is said as such, everything else as a difference
    said = found.value if own.show == "percent" else abs(found.value - value)
    return change_words(text, found.count, found.total, amount=format_value(own.name, said), bars=_bars(melody))


def _bars(melody: Melody) -> int:
    """Bars the notes lie in, a pickup not counted."""
    return max(1, int(melody.bar[-1]) - max(1, int(melody.bar[0])) + 1)


def _worked_out(line: Line, own: FeatureWords, value: float, target: float) -> Change:
    """The amount by the definition: of a share how many of how many, of anything else the difference."""
    up = target > value
    phrases = words().phrases
    total = _denominator(line, own) if own.of else math.nan
    if math.isfinite(total):
        # a hair's rounding must not add one
        count = max(1, math.ceil(abs(target - value) * total - 1e-6))
        parts = {"count": str(count), "total": str(round(total)), "things": own.of}
        return Change(fill(phrases["share_up" if up else "share_down"], count, **parts), count, False, math.nan)
    tries = [format_value(own.name, abs(target - value), extra=extra) for extra in range(5)]
    # with as few decimals as show that it isn't nothing
    by = next((said for said in tries if any(digit in said for digit in "123456789")), tries[-1])
    return Change(fill(phrases["bring_up" if up else "bring_down"], amount=by), None, False, math.nan)


def _denominator(line: Line, own: FeatureWords) -> float:
    """How many things a share is taken of; of a share of time, beats."""
    result = CATALOG[own.name].measure(line)
    if isinstance(result, Mask):
        if result.weight is not None:
            return float((result.weight / line.beat).sum())
        return float(len(result.where) if result.of is None else np.count_nonzero(result.of))
    counts: dict[str, Callable[[], float]] = {
        "commonest_ioi_share": lambda: line.m,
        "direction_change_rate": lambda: int(np.count_nonzero(line.direction)) - 1,
        "convex_phrase_share": lambda: int(np.count_nonzero(line.phrase_notes >= 3)),
        "share of notes": lambda: line.n,
        "share of time": lambda: line.span_beats,
        "share of beats": lambda: line.span_beats,
        "share of phrases": lambda: len(line.phrase_last),
        "share of full bars": lambda: int(np.count_nonzero(line.full_bar_counts)),
    }
    found = counts.get(own.name) or counts.get(CATALOG[own.name].unit)
    return math.nan if found is None else float(found())


# -- of a placement ----------------------------------------------------------------------------------------------


def change_for(placement: Placement, name: str) -> Change | None:
    """How much would bring a feature, or what speaks for a habit, inside the norm.

    Parameters
    ----------
    placement : Placement
    name : str
        A feature or a habit.

    Returns
    -------
    Change or None
        None for a feature that isn't outside and a habit that is neither shown nor hinted at. For a habit: the
        change of its strongest member outside the norm; where none is, what brings the strongest member into the
        inner three quarters of the norm's range, on the side that shows the habit.
    """
    return _changes(placement, [name]).get(name)


#: Features outside, the surest first, whose amounts are tried on the notes; the others' are worked out.
TRIED = 8


def changes(placement: Placement) -> dict[str, Change]:
    """Changes of all features outside and of all habits shown or hinted at, by name."""
    return _changes(placement, [*(h.name for h in placement.habits), *(f.name for f in placement.features)])


def _changes(placement: Placement, names: Sequence[str]) -> dict[str, Change]:
    """Changes by name, what is outside worked out once."""
    base = Base(placement.melody)
    done: dict[str, Change | None] = {}
    surest = {f.name for f in placement.outside[:TRIED]}

    def of(place: FeaturePlace, narrower: float = 0.0, above: bool = False, for_habit: bool = True) -> Change | None:
        if narrower:
            return _member_change(placement, base, place, 0.0 if above else narrower, narrower if above else 0.0)
        if place.name not in done:
            # a habit's own amount is always tried, whichever member says it
            tried = place.name in surest or for_habit
            done[place.name] = _member_change(placement, base, place, 0.0, 0.0, tried) if place.outside else None
        return done[place.name]

    found: dict[str, Change | None] = {}
    for name in names:
        if name in HABITS:
            found[name] = _habit_change(placement, next(h for h in placement.habits if h.name == name), of)
        else:
            found[name] = of(placement.feature(name), for_habit=False)
    return {name: change for name, change in found.items() if change is not None}


def _member_change(
    placement: Placement, base: Base, place: FeaturePlace, less_below: float, less_above: float, tried: bool = True
) -> Change | None:
    """Change of a feature, the norm's range made narrower by shares of its width."""
    if place.limits is None:
        return None
    width = place.limits.upper - place.limits.lower
    low, high = place.limits.lower + less_below * width, place.limits.upper - less_above * width
    plan = placement.plan
    length = plan.length if plan is not None and len(plan.starts) > 1 else None
    return amount(base, place.name, low, high, length=length, tried=tried)


#: Share of the norm's width to come in by, where a habit's members lie inside the norm.
INNER = 0.25


def _habit_change(placement: Placement, place: HabitPlace, of: Callable[..., Change | None]) -> Change | None:
    """The fewest edits that free a habit; where none are known, the change of its strongest member."""
    if place.verdict not in ("shown", "hinted"):
        return None
    return _freeing(placement, place) or _member_of_habit(placement, place, of)


def _freeing(placement: Placement, place: HabitPlace) -> Change | None:
    """What frees a habit, or how far a first step goes, in the words of the trait edited."""
    found = free_habit(placement, place)
    own = None if found is None else words().features[found.name]
    if found is None or own is None or not own.down:
        return None
    value = placement.feature(found.name).value
    measured = CATALOG[found.name].value(Line(Base(found.melody)))
    after = math.nan if isinstance(measured, Lack) else measured
    said = after if own.show == "percent" else abs(after - value)
    amount_words = format_value(own.name, said)
    text = change_words(own.down, found.count, found.total, amount=amount_words, bars=_bars(placement.melody))
    if not found.gone:
        text = fill(words().phrases["first_step"], change=text)
    return Change(text, found.count, True, after, found.melody, found.gone, found.rows)


def _member_of_habit(placement: Placement, place: HabitPlace, of: Callable[..., Change | None]) -> Change | None:
    """Change of a habit's strongest member outside, else of the strongest one."""
    sides = {m.name: m.side for m in HABITS[place.name].members}
    order = [*place.features, *(name for name in sides if name not in place.features)]
    members = [placement.feature(name) for name in order]
    telling = [m for m in members if m.verdict == ("above" if sides[m.name] > 0 else "below")]
    inside = [m for m in members if m.verdict == "within"]
    tries = [(m, 0.0) for m in telling] + [(m, INNER) for m in inside]
    found = (of(member, narrower, sides[member.name] > 0) for member, narrower in tries)
    return next((change for change in found if change is not None), None)
