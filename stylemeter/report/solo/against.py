"""Two takes side by side: where each habit stood and stands, at which bars, and what moved.

One pair can't tell practice from chance, which is said: a move is only called one where the words for it change, or
the take passes a fifth of the style's tunes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from stylemeter.placement.records import HabitPlace
from stylemeter.practice.findings import Findings
from stylemeter.practice.words import habit_verdict, words
from stylemeter.report.solo.words import bars_words, say

__all__ = ["Side", "sides"]

#: Share of the style's tunes to be passed for a move.
PASSED = 0.2


@dataclass(frozen=True, slots=True)
class Side:
    """One habit in both takes.

    Attributes
    ----------
    title : str
    earlier, now : str
        Verdict and bars.
    moved : {"less", "more", ""}
    said : str
        What moved, in words; empty where nothing did.
    """

    title: str
    earlier: str
    now: str
    moved: Literal["less", "more", ""]
    said: str


def sides(now: Findings, earlier: Findings) -> Iterator[Side]:
    """Every habit, what moved first."""
    pairs = list(zip(earlier.placement.habits, now.placement.habits, strict=True))
    found = [
        Side(words().habits[b.name].title, _words(a), _words(b), moved, say(f"against.{moved}") if moved else "")
        for a, b in pairs
        for moved in [_moved(a, b)]
    ]
    yield from sorted(found, key=lambda side: not side.moved)


def _words(h: HabitPlace) -> str:
    """Verdict, and the clearest bars."""
    return f"{habit_verdict(h)}, {bars_words(h.evidence[0])}" if h.evidence else habit_verdict(h)


def _moved(a: HabitPlace, b: HabitPlace) -> Literal["less", "more", ""]:
    """Which way a habit went; empty where it can't be told or stayed."""
    if "unmeasured" in (a.verdict, b.verdict) or not abs(b.share - a.share) > 0:
        return ""
    there = ("shown", "hinted")
    changed = (a.verdict in there) != (b.verdict in there)
    if not changed and abs(b.share - a.share) < PASSED:
        return ""
    return "more" if b.share > a.share else "less"
