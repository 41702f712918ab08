"""Looking for the fewest edits, in the order proposed, that bring a feature inside a range."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stylemeter.features import CATALOG, Base, Line
from stylemeter.features.catalog import Lack
from stylemeter.music.excerpts import overlapping_starts
from stylemeter.music.melody import Melody
from stylemeter.practice.edits.edit import Edit, apply_edits, disjoint
from stylemeter.practice.edits.recipes import RECIPES, Recipe
from stylemeter.practice.edits.scene import Scene

__all__ = ["Edited", "Goal", "find_edits"]

#: A longer melody is not edited: its amounts are worked out.
CHECKED_NOTES_MAX = 500
#: Edits proposed at once, and how often new ones are proposed for what the last ones left.
EDITS_A_ROUND = 128
ROUNDS = 8
#: Edits passed over, each for taking the feature right through its norm, before giving up.
SKIPS = 3
#: Share of the way left that a round must make for another to be tried.
PROGRESS = 0.1


@dataclass(frozen=True)
class Edited:
    """A melody edited until a feature lies inside its norm.

    Attributes
    ----------
    melody : Melody
    count : int
        Edits made.
    value : float
        The feature's value then.
    before : Melody
        The melody with the last edit not made: there the feature lies outside still.
    total : int
        How many things there were of the kind edited.
    """

    melody: Melody
    count: int
    value: float
    before: Melody
    total: int


@dataclass(frozen=True, slots=True)
class Goal:
    """A feature, the range it is to come into, and how it is measured.

    Attributes
    ----------
    name : str
    low, high : float
    up : bool
        Whether it comes from below.
    length : int or None
        Notes an excerpt, where the value is the median of overlapping ones.
    """

    name: str
    low: float
    high: float
    up: bool = True
    length: int | None = None

    def value(self, melody: Melody | Base) -> float:
        """Measure the feature: of a melody longer than `length` the median of its excerpts; NaN where unmeasured."""
        base = melody if isinstance(melody, Base) else Base(melody)
        if self.length is None or base.n <= self.length:
            return _measured(Line(base), self.name)
        starts = overlapping_starts(base.n, self.length)
        found = [_measured(Line(base, start, start + self.length), self.name) for start in starts]
        found = [value for value in found if math.isfinite(value)]
        return float(np.median(found)) if found else math.nan

    def below(self, value: float) -> bool:
        """Whether a value lies below the range."""
        return _not_below(self.low, value) and not _not_below(value, self.low)

    def reached(self, value: float) -> bool:
        """Whether a value has come to the near limit, or beyond."""
        return _not_below(value, self.low) if self.up else _not_below(self.high, value)

    def inside(self, value: float) -> bool:
        """Whether a value lies in the range."""
        return _not_below(value, self.low) and _not_below(self.high, value)

    def nearer(self, value: float, than: float) -> bool:
        """Whether a value has come nearer by a fair part of the way that was left."""
        left = (self.low if self.up else self.high) - than
        return left != 0 and (value - than) / left > PROGRESS


def _measured(line: Line, name: str) -> float:
    value = CATALOG[name].value(line)
    return math.nan if isinstance(value, Lack) else value


def _not_below(a: float, b: float) -> bool:
    """Whether a >= b in single precision, as the samples are kept; never for NaN."""
    return bool(np.float32(a) >= np.float32(b))


def find_edits(
    melody: Melody | Base, name: str, low: float, high: float, *, length: int | None = None
) -> Edited | None:
    """Edit a melody at the evidence until a feature lies inside a range.

    Parameters
    ----------
    melody : Melody or Base
        A `Base` shares work between features.
    name : str
        A feature that lies outside.
    low, high : float
        The range.
    length : int, optional
        Notes an excerpt, where the value is the median of overlapping ones.

    Returns
    -------
    Edited or None
        None where it lies inside already, is unmeasured, or no edits bring it inside. One edit less would not do,
        in the order the edits are made.
    """
    goal = Goal(name, low, high, length=length)
    base = melody if isinstance(melody, Base) else Base(melody)
    value = goal.value(base)
    if not math.isfinite(value) or goal.inside(value) or base.n > CHECKED_NOTES_MAX:
        return None
    goal = Goal(name, low, high, goal.below(value), length)
    recipe = RECIPES.get((name, "up" if goal.up else "down"))
    return None if recipe is None else _search(base, value, goal, recipe)


def _search(base: Base, value: float, goal: Goal, recipe: Recipe) -> Edited | None:
    """Apply edits, round by round, each on what the last one left."""
    count = total = 0
    for turn in range(ROUNDS):
        scene = Scene(Line(base), goal.name, goal.up, goal.low, goal.high, value)
        total = total if turn else recipe.total(scene)
        proposed = recipe.editor(scene)
        edits = proposed[:EDITS_A_ROUND] if recipe.cumulative else disjoint(proposed, EDITS_A_ROUND)
        if not edits:
            return None
        make = _Make(base.melody, edits, goal, recipe.cumulative)
        number, after = _first_inside(make)
        if number and goal.inside(after):
            return Edited(make(number), count + number, after, make(number - 1), total)
        number, reached = make.furthest()
        if recipe.cumulative or goal.reached(reached) or not goal.nearer(reached, value):
            return None
        base, count, value = Base(make(number)), count + number, reached
    return None


class _Make:
    """The melody with the first so many of some edits made, and what was measured on it."""

    def __init__(self, melody: Melody, edits: list[Edit], goal: Goal, cumulative: bool) -> None:
        self.melody = melody
        self.edits = edits
        self.goal = goal
        self.cumulative = cumulative
        self.measured: dict[int, float] = {}

    def __call__(self, number: int) -> Melody:
        first = max(0, number - 1) if self.cumulative else 0
        return apply_edits(self.melody, self.edits[first:number])

    def value(self, number: int) -> float:
        """The feature's value with so many edits made."""
        if number not in self.measured:
            self.measured[number] = self.goal.value(self(number))
        return self.measured[number]

    def skip(self, number: int) -> None:
        """Pass over the last of so many edits."""
        del self.edits[number - 1]
        self.measured = {n: v for n, v in self.measured.items() if n < number}

    def furthest(self) -> tuple[int, float]:
        """Of the numbers of edits measured, the one that came furthest, and its value."""
        known = [(n, v) for n, v in sorted(self.measured.items()) if math.isfinite(v)]
        sign = 1 if self.goal.up else -1
        return max(known, key=lambda nv: (sign * nv[1], -nv[0]), default=(0, math.nan))


def _first_inside(make: _Make) -> tuple[int, float]:
    """Number of edits that bring the value inside where one less doesn't, and the value; 0 where none does.

    Edits that take it right through are passed over.
    """
    for _ in range(SKIPS + 1):
        number, value = _crossing(make)
        if not number or make.goal.inside(value) or make.cumulative:
            return number, value
        make.skip(number)
    return 0, math.nan


def _crossing(make: _Make) -> tuple[int, float]:
    """A number of edits that reaches the near limit where one less doesn't; tried are 1, 2, 4, ..., then by halving."""
    low, high, most = 0, 1, len(make.edits)
    while not make.goal.reached(make.value(min(high, most))):
        if high >= most:
            return 0, math.nan
        low, high = high, 2 * high
    high = min(high, most)
    while high - low > 1:
        middle = (low + high) // 2
        if make.goal.reached(make.value(middle)):
            high = middle
        else:
            low = middle
    return high, make.value(high)
