"""The six habits on the page: a strip each, and the flagged bars with how much and what to practise."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stylemeter.features import HABITS, Base, Line
from stylemeter.music.melody import Melody
from stylemeter.placement.records import FeaturePlace, HabitPlace, Stretch
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import Direction, capital, feature_verdict, habit_verdict, percentile_words, words
from stylemeter.report.draw.notation import Engraved, engrave
from stylemeter.report.draw.svg import spread_strip
from stylemeter.report.solo.spread import habit_spread
from stylemeter.report.solo.words import bars_range, bars_words, percentile_text, say

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["MARKS", "Flagged", "HabitView", "flagged", "habit_views"]

#: Sign of each verdict; the word always stands beside it.
MARKS = {"shown": "■", "hinted": "◪", "none": "○", "free": "◁", "unmeasured": "–"}
#: Most bars of a picture.
BARS_MAX = 8


@dataclass(frozen=True, slots=True)
class HabitView:
    """One habit's strip and words.

    Attributes
    ----------
    kind : str
        Verdict, "free" for the opposite.
    anchor : str
        Id of the flagged bars; empty where there are none.
    """

    name: str
    title: str
    question: str
    kind: str
    mark: str
    verdict: str
    sentence: str
    strip: Markup | None
    standing: str = ""
    interval: str = ""
    unsure: bool = False
    place: str = ""
    anchor: str = ""
    others: str = ""


@dataclass(frozen=True, slots=True)
class Flagged:
    """A stretch to look at, with how much and one exercise."""

    anchor: str
    title: str
    mark: str
    verdict: str
    sentence: str
    where: str
    marked: str
    engraved: Engraved
    seen_in: str = ""
    amount: str = ""
    checked: bool = False
    advice: str = ""
    exercise: str = ""
    basis: str = ""


def habit_views(findings: Findings) -> Iterator[HabitView]:
    """Every habit, in the order of the dictionary."""
    for h in findings.placement.habits:
        yield _view(findings, h)


def _view(findings: Findings, h: HabitPlace) -> HabitView:
    placed, own = findings.placement, words().habits[h.name]
    kind = "free" if h.verdict == "none" and h.free else h.verdict
    standing = _standing(findings, h)
    spread = habit_spread(placed, h)
    strip = None
    if spread is not None:
        label = " ".join(part for part in (f"{own.title}: {habit_verdict(h)}.", standing) if part)
        names = [say(f"habits.{name}") for name in ("less", "middle", "more", "solo")]
        strip = spread_strip(spread, label, names, told=h.verdict != "unmeasured")
    others = findings.others_can(h.name) if h.verdict == "unmeasured" else []
    return HabitView(
        name=h.name,
        title=own.title,
        question=own.question,
        kind=kind,
        mark=MARKS[kind],
        verdict=habit_verdict(h),
        sentence=findings.sentence(h.name),
        strip=strip,
        standing=standing,
        interval="" if h.interval is None else _interval(h.interval),
        unsure=h.unsure,
        place=say("habits.place", bars=bars_words(h.evidence[0])) if h.evidence else "",
        anchor=f"look-{h.name}" if h.evidence else "",
        others=say("habits.others", names=", ".join(others)) if others else "",
    )


def _standing(findings: Findings, h: HabitPlace) -> str:
    """Where the solo stands among the style's tunes, in words; empty where that isn't known."""
    if h.share != h.share:
        return ""
    plan, style = findings.placement.plan, findings.placement.profile.style
    way: Direction = "more" if h.share >= 0.5 else "less"
    small = bool(plan and plan.provisional)
    than = percentile_words(100 * min(1.0, max(0.0, h.share)), style, way, small=small)
    return say(f"habits.{way}_than", than=than) + "."


def _interval(interval: tuple[float, float]) -> str:
    low, high = (percentile_text(100 * end) for end in interval)
    return say("habits.interval", low=low, high=high)


# -- flagged bars --------------------------------------------------------------------------------------------------


def flagged(findings: Findings) -> Iterator[Flagged]:
    """Stretches of the habits shown or hinted at; without any, that of the trait to practise first."""
    placed = findings.placement
    there = [h for h in placed.habits if h.evidence]
    if there:
        line = Line(Base(placed.melody))
    for h in there:
        yield _flag(findings, h, _habit_notes(h, line))
    if not there and findings.first.kind == "feature":
        place = findings.placed(findings.first.name)
        if place.evidence:
            yield _flag(findings, place, [n - 1 for n in place.evidence[0].notes])


def _habit_notes(h: HabitPlace, line: Line) -> list[int]:
    """Notes of the clearest stretch that speak for a habit by its own amounts; all of it where none does."""
    notes = np.array(h.evidence[0].notes) - 1
    speaking = notes[HABITS[h.name].amount(line)[notes] > 0]
    return [int(i) for i in (speaking if len(speaking) else notes)]


def _flag(findings: Findings, place: HabitPlace | FeaturePlace, notes: list[int]) -> Flagged:
    melody, stretch = findings.placement.melody, place.evidence[0]
    bars = _window(melody, stretch, notes)
    inside = [i for i in notes if bars[0] <= int(melody.bar[i]) <= bars[-1]]
    where = _where(stretch, bars)
    marked = say("flagged.marked", len(inside), count=len(inside))
    title = capital(words().title(place.name))
    label = f"{title}. {say('flagged.picture', where=where, marked=marked)}"
    tip, change = findings.tip(place.name), findings.changes.get(place.name)
    return Flagged(
        anchor=f"look-{place.name}",
        title=title,
        mark=MARKS[place.verdict] if isinstance(place, HabitPlace) else "▲" if place.verdict == "above" else "▼",
        verdict=habit_verdict(place) if isinstance(place, HabitPlace) else feature_verdict(place),
        sentence=findings.sentence(place.name),
        where=capital(where),
        marked=marked,
        engraved=engrave(melody, inside, bars, f"score-{place.name.replace('_', '-')}", label),
        seen_in=", ".join(words().features[n].label for n in place.features) if isinstance(place, HabitPlace) else "",
        amount=capital(change.words) if change else "",
        checked=bool(change and change.checked),
        advice=tip.words if tip else "",
        exercise=tip.exercise if tip else "",
        basis=tip.basis if tip else "",
    )


def _window(melody: Melody, stretch: Stretch, notes: list[int]) -> range:
    """At most `BARS_MAX` bars of a stretch: those with the most evidence, of a tie the first."""
    low, high = stretch.bar_from, stretch.bar_to
    if high - low < BARS_MAX:
        return range(low, high + 1)
    bars = melody.bar[notes]
    starts = range(low, high - BARS_MAX + 2)
    best = max(starts, key=lambda s: (int(((bars >= s) & (bars < s + BARS_MAX)).sum()), -s))
    return range(best, best + BARS_MAX)


def _where(stretch: Stretch, bars: range) -> str:
    """The bars shown, and of which stretch they are."""
    if len(bars) == stretch.bar_to - stretch.bar_from + 1:
        return bars_words(stretch)
    shown = bars_range(bars[0], bars[-1])
    return say("flagged.of_bars", bars=shown, low=stretch.bar_from, high=stretch.bar_to)
