"""What a placement says: plain frozen records, filled by `placement` and read by the reports."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from stylemeter.features.distributions import ScaleFit
from stylemeter.music.melody import Melody
from stylemeter.placement.lengths import Plan
from stylemeter.style.profile import Limits, Profile

__all__ = ["FeaturePlace", "HabitPlace", "HabitVerdict", "Placement", "Stretch", "Typicality", "Verdict"]

Verdict = Literal["below", "within", "above", "unmeasured"]
HabitVerdict = Literal["shown", "hinted", "none", "unmeasured"]

#: p of standing out as free of a habit, at or below which the opposite is stated.
FREE_P = 0.025


@dataclass(frozen=True, slots=True)
class Stretch:
    """A place in the solo: printed bars and notes, both ends included, notes counted from 1."""

    bar_from: int
    bar_to: int
    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class FeaturePlace:
    """Where one feature of the solo stands.

    Attributes
    ----------
    name : str
    value : float
        NaN where unmeasured.
    percentile : float
        0-100, mid-rank.
    limits : Limits or None
        The style's central range at this length, each limit with its 90 % confidence interval.
    p, q : float
        Two-sided conformal p; Benjamini-Hochberg over the measured features.
    verdict : {"below", "within", "above", "unmeasured"}
    clear : bool
        Outside, with q <= 0.05.
    unsure : bool
        Outside, but not so in every perturbation of an uncertain note table.
    reason : str
        Why it is unmeasured, or why its norm is provisional.
    evidence : tuple of Stretch
        The clearest place first.
    interval : tuple of float or None
        90 % interval of the percentile under perturbation.
    note : str
        Why the verdict is not what the value alone would say; empty where it is.
    """

    name: str
    value: float
    percentile: float
    limits: Limits | None
    p: float
    q: float
    verdict: Verdict
    clear: bool = False
    unsure: bool = False
    reason: str = ""
    evidence: tuple[Stretch, ...] = ()
    interval: tuple[float, float] | None = None
    note: str = ""

    @property
    def outside(self) -> bool:
        """Whether it lies outside the norm."""
        return self.verdict in ("below", "above")


@dataclass(frozen=True, slots=True)
class HabitPlace:
    """Whether the solo shows a habit.

    Attributes
    ----------
    name : str
    verdict : {"shown", "hinted", "none", "unmeasured"}
    statistic : float
        Mean normal score of its members, turned to the side that shows it.
    p, q : float
        p of showing it; q over the measured habits.
    p_free : float
        p of standing out as free of it.
    reason : str
        Why unmeasured, or why the style can hardly show it.
    features : tuple of str
        Members that speak for it, the strongest first.
    evidence : tuple of Stretch
        The clearest stretch.
    share : float
        Mid-rank of the statistic in the sample's own, 0..1.
    interval : tuple of float or None
        90 % interval of `share` under perturbation.
    """

    name: str
    verdict: HabitVerdict
    statistic: float
    p: float
    q: float
    p_free: float
    share: float
    reason: str = ""
    features: tuple[str, ...] = ()
    evidence: tuple[Stretch, ...] = ()
    unsure: bool = False
    interval: tuple[float, float] | None = None

    @property
    def free(self) -> bool:
        """Whether the solo stands out as free of the habit."""
        return self.p_free <= FREE_P


@dataclass(frozen=True, slots=True)
class Typicality:
    """How typical the solo is of a style as a whole.

    Attributes
    ----------
    profile, style : str
    p : float
        Share of the style's own tunes that lie as far out, corrected as a conformal p; NaN where it can't be told.
    distance : float
    families : int
        Families behind it.
    fitting, misfitting : tuple of str
        Features nearest to and furthest from the style's middle.
    tie : bool
        Whether the one ranked before it can't be told apart from it.
    reason : str
        Why it can't be told.
    """

    profile: str
    style: str
    p: float
    distance: float
    families: int
    fitting: tuple[str, ...] = ()
    misfitting: tuple[str, ...] = ()
    tie: bool = False
    reason: str = ""


@dataclass(frozen=True)
class Placement:
    """A solo placed against a style.

    Attributes
    ----------
    melody : Melody
    profile : Profile
    plan : Plan or None
    coverage : float
        Share of the style the norm holds.
    features : tuple of FeaturePlace
        In the order of the dictionary.
    habits : tuple of HabitPlace
    typicality : Typicality
        Against this style.
    scales : tuple of ScaleFit
    shapes : dict
        Distribution -> {"solo": shares, "style": shares, "distance": float, "percentile": float}.
    expected : float
        Features that chance alone would put outside.
    uncertain_share : float
        Share of the notes taken as uncertain; 0 where the note table is taken as it is.
    """

    melody: Melody
    profile: Profile
    plan: Plan | None
    coverage: float
    features: tuple[FeaturePlace, ...]
    habits: tuple[HabitPlace, ...]
    typicality: Typicality
    scales: tuple[ScaleFit, ...] = ()
    shapes: dict[str, dict[str, Any]] = field(default_factory=dict)
    expected: float = float("nan")
    uncertain_share: float = 0.0

    def feature(self, name: str) -> FeaturePlace:
        """One feature's place."""
        return next(f for f in self.features if f.name == name)

    @property
    def outside(self) -> list[FeaturePlace]:
        """Features outside the norm, the surest first."""
        return sorted((f for f in self.features if f.outside), key=lambda f: (f.q, f.p, f.name))
