"""All that is said of one solo: its placement, the amounts, the advice and the other styles, ready to be reported."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from stylemeter.errors import UnknownNameError
from stylemeter.features import HABITS
from stylemeter.music.melody import Melody
from stylemeter.placement.place import place, rank_styles
from stylemeter.placement.records import FeaturePlace, HabitPlace, Placement, Typicality
from stylemeter.placement.trust.capability import capability, others_that_can
from stylemeter.placement.trust.uncertainty import with_uncertainty
from stylemeter.practice.advice import Advice, Choice, Tip, advice_for, first_thing
from stylemeter.practice.amounts import Change, changes
from stylemeter.practice.words import direction_of, habit_sentence, sentence
from stylemeter.style.profile import Profile
from stylemeter.support.numbers import number

__all__ = ["Findings", "Settings", "find_out"]


@dataclass(frozen=True, slots=True)
class Settings:
    """How solos are judged.

    Attributes
    ----------
    coverage : float
        Share of the style the norm holds.
    uncertain : float or None
        Share of the notes taken as uncertain; None takes what the source says of itself.
    """

    coverage: float = 0.9
    uncertain: float | None = None


@dataclass(frozen=True)
class Findings:
    """A solo's placement and all that is said of it.

    Attributes
    ----------
    placement : Placement
    advice : Advice
    changes : dict of Change
        By feature or habit.
    styles : tuple of Typicality
        Every installed style, most typical first.
    first : Choice
        The one thing to practise first.
    others : tuple of Profile
        The other styles' profiles.
    """

    placement: Placement
    advice: Advice
    changes: dict[str, Change]
    styles: tuple[Typicality, ...]
    first: Choice
    others: tuple[Profile, ...] = field(default=(), repr=False)

    def __repr__(self) -> str:
        return f"<Findings on {self.placement.summary()}\n to practise first: {self.first.name or self.first.kind}>"

    def _repr_html_(self) -> str:
        return self.placement._repr_html_()

    @property
    def headline(self) -> str:
        """The one sentence: what to work on, what to listen for, or that nothing needs it."""
        return self.first.reason

    def placed(self, name: str) -> FeaturePlace | HabitPlace:
        """Place of a feature or habit.

        Raises
        ------
        UnknownNameError
        """
        if name not in self._places:
            raise UnknownNameError.among("feature or habit", str(name), list(self._places))
        return self._places[name]

    @cached_property
    def _places(self) -> dict[str, FeaturePlace | HabitPlace]:
        places: list[FeaturePlace | HabitPlace] = [*self.placement.habits, *self.placement.features]
        return {place.name: place for place in places}

    @cached_property
    def _sentences(self) -> dict[str, str]:
        style = self.placement.profile.style
        return {
            name: sentence(place, style) if isinstance(place, FeaturePlace) else habit_sentence(place, style)
            for name, place in self._places.items()
        }

    def tip(self, name: str) -> Tip | None:
        """Advice on a feature outside the norm or a habit shown or hinted at."""
        place_ = self.placed(name)
        told = place_.outside if isinstance(place_, FeaturePlace) else place_.verdict in ("shown", "hinted")
        tip = advice_for(self.advice, name, direction_of(place_)) if told else None
        return tip and tip.for_take(self.placement.melody)

    def advice_document(self, name: str) -> dict[str, str] | None:
        """Advice as plain data."""
        tip = self.tip(name)
        return tip_document(tip) if tip else None

    def change_document(self, name: str) -> dict[str, Any] | None:
        """Amount as plain data."""
        change = self.changes.get(name)
        if change is None:
            return None
        said = {"words": change.words, "count": change.count, "checked": change.checked, "after": number(change.after)}
        return said | {"frees": change.frees, "notes": [row + 1 for row in change.rows]}

    def sentence(self, name: str) -> str:
        """One sentence on a feature or habit."""
        return self._sentences[name]

    def can_show(self, habit: str) -> dict[str, Any]:
        """How well this style, and which others, can show a habit at this length."""
        plan = self.placement.plan
        length = plan.length if plan else len(self.placement.melody)
        profile = self.placement.profile
        found = capability(profile, habit, length)
        return found.to_document() | {"others": others_that_can(self.others, habit, length, profile.name)}

    def others_can(self, habit: str) -> list[str]:
        """Names of the other styles that can show a habit; none where the solo itself is what lacks it."""
        if not any(math.isfinite(self.placement.feature(m.name).value) for m in HABITS[habit].members):
            return []
        others: list[str] = self.can_show(habit)["others"]
        return others

    def first_document(self) -> dict[str, Any]:
        """The one thing to practise first, as plain data."""
        tip = self.first.tip
        return {
            "kind": self.first.kind,
            "name": self.first.name,
            "reason": self.first.reason,
            "advice": tip_document(tip) if tip else None,
        }


#: Habits of one kind: where one of them is there, that the take stands out as free of the other reads as the opposite.
KIN = (frozenset({"runs", "stepwise"}), frozenset({"root", "scale"}), frozenset({"rhythm", "space"}))


def _agreeing(placement: Placement) -> Placement:
    """The placement without the opposite of a habit whose kin is shown or hinted at."""
    there = {h.name for h in placement.habits if h.verdict in ("shown", "hinted")}
    kin = {name for pair in KIN if pair & there for name in pair}
    habits = [replace(h, p_free=math.nan) if h.name in kin and h.free else h for h in placement.habits]
    return replace(placement, habits=tuple(habits))


def tip_document(tip: Tip) -> dict[str, str]:
    """A tip as plain data."""
    return {"words": tip.words, "exercise": tip.exercise, "basis": tip.basis, "source": tip.source}


def find_out(
    melody: Melody,
    profile: Profile,
    styles: Sequence[Profile],
    advice: Advice,
    settings: Settings | None = None,
    known: Sequence[Typicality] = (),
) -> Findings:
    """Place a solo and gather all that is said of it.

    Parameters
    ----------
    melody : Melody
    profile : Profile
        The style it is compared with.
    styles : sequence of Profile
        The styles it is ranked in.
    advice : Advice
    settings : Settings, optional
    known : sequence of Typicality
        The solo's typicalities, where they were worked out before.

    Returns
    -------
    Findings
    """
    chosen = settings or Settings()
    placement = place(melody, profile, coverage=chosen.coverage)
    uncertain = melody.guessed_share if chosen.uncertain is None else chosen.uncertain
    placement = _agreeing(with_uncertainty(placement, min(0.5, uncertain)))
    if not known and placement.plan is not None:
        known = (placement.typicality,)
    return Findings(
        placement=placement,
        advice=advice,
        changes=changes(placement),
        styles=tuple(rank_styles(melody, styles, known)),
        first=first_thing(placement, advice),
        others=tuple(styles),
    )
