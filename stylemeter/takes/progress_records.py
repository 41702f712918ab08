"""What following takes over time says: plain frozen records, filled by `progress` and read by the reports."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from stylemeter.style.profile import Limits, Profile
from stylemeter.takes.trend import FEWEST

__all__ = ["Moved", "Point", "Progress", "Take", "Trajectory"]

#: Moved down or up; no more than chance; too few takes to tell; measured in fewer than two takes.
Moved = Literal["less", "more", "steady", "few", "unmeasured"]


@dataclass(frozen=True, slots=True)
class Take:
    """A take as compared.

    Attributes
    ----------
    title, path, part : str
    notes : int
    key : str
    excerpts : int
        Overlapping excerpts of the common length.
    guessed_share : float
        Share of the notes the source is likely to have wrong.
    remarks : tuple of str
    """

    title: str
    path: str
    part: str
    notes: int
    key: str
    excerpts: int
    guessed_share: float
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Point:
    """Where a take stands.

    Attributes
    ----------
    score : float
        Normal score of a trait, statistic of a habit; NaN where unmeasured.
    percentile, lower, upper : float
        0 to 100, mid-rank, with its 90 % interval; NaN where it is not known.
    value : float
        Median of a trait over the excerpts; NaN for a habit.
    reason : str
        Why it is unmeasured.
    """

    score: float
    percentile: float
    lower: float
    upper: float
    value: float = math.nan
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Trajectory:
    """A habit or a trait from take to take.

    Attributes
    ----------
    name : str
    points : tuple of Point
        One a take.
    slope : float
        Change of the score a take.
    p, q : float
        Of the takes' order; q over the habits, or over the traits. NaN with too few takes.
    moved : Moved
    apart : bool or None
        Whether the intervals of the first and the last measured take do not overlap; None where they are not known.
    first, last : float
        Mean percentile of the first third of the takes and of the last.
    neighbours : float
        Mean distance between the percentiles of one take and the next.
    caution : str
        Why the style can hardly show it; empty where it can.
    limits : Limits or None
        The style's usual range of a trait at this length.
    """

    name: str
    points: tuple[Point, ...] = field(repr=False)
    slope: float
    p: float
    q: float
    moved: Moved
    apart: bool | None
    first: float
    last: float
    neighbours: float
    caution: str = ""
    limits: Limits | None = None


@dataclass(frozen=True)
class Progress:
    """Takes followed over time.

    Attributes
    ----------
    profile : Profile
    length : int
        Notes at which all are compared.
    families : int
        Tune families of the style at this length.
    takes : tuple of Take
    left_out : tuple of (title or path, notes)
        Takes too short to be compared.
    habits, features : tuple of Trajectory
    """

    profile: Profile
    length: int
    families: int
    takes: tuple[Take, ...]
    left_out: tuple[tuple[str, int], ...]
    habits: tuple[Trajectory, ...]
    features: tuple[Trajectory, ...]

    def __repr__(self) -> str:
        moved = [f"{t.name} ({t.moved})" for t in (*self.habits, *self.features) if t.moved in ("less", "more")]
        return "\n".join(
            [
                f"<Progress over {len(self.takes)} takes against {self.profile.style} ({self.profile.name})",
                f" compared in excerpts of {self.length} notes, {len(self.left_out)} takes too short",
                f" moved: {', '.join(moved) or 'nothing beyond chance'}>",
            ]
        )

    @property
    def missing(self) -> int:
        """Takes still needed before a change can be told from chance."""
        return max(0, FEWEST - len(self.takes))

    @property
    def keys(self) -> list[str]:
        """Keys the takes are read in."""
        return sorted({take.key for take in self.takes})

    @property
    def certain(self) -> bool:
        """Whether intervals are known at all."""
        return any(math.isfinite(p.lower) for t in self.habits for p in t.points)
