"""What a placement says: plain frozen records, filled by `placement` and read by the reports."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from stylemeter.errors import UnknownNameError
from stylemeter.features import CATALOG
from stylemeter.features.distributions import ScaleFit
from stylemeter.music.melody import Melody
from stylemeter.placement.lengths import Plan
from stylemeter.style.profile import Limits, Profile
from stylemeter.support.notebook import html_table

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FeaturePlace", "HabitPlace", "HabitVerdict", "Placement", "Stretch", "Typicality", "Verdict"]

Verdict = Literal["below", "within", "above", "unmeasured"]
HabitVerdict = Literal["shown", "hinted", "none", "unmeasured"]

#: q at or below which a flag is clear, a habit shown, and its opposite stated.
CLEAR_Q = 0.05
#: p at or below which a habit is hinted.
HINT_P = 0.05


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
    effect : float
        Distance from the style's median in widths of its middle half, below it negative; NaN where all are alike.
    beyond : int
        Tune families it lies beyond, where it lies beyond every one of them; else 0.
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
    effect: float = float("nan")
    beyond: int = 0

    def __repr__(self) -> str:
        norm = f", norm {self.limits.lower:.3g} to {self.limits.upper:.3g}" if self.limits else ""
        why = f" ({self.reason})" if self.reason else ""
        verdict = f"{self.verdict}, clear" if self.clear else self.verdict
        return f"<FeaturePlace {self.name}: {self.value:.3g}{norm}, {verdict}{why}>"

    @property
    def outside(self) -> bool:
        """Whether it lies outside the norm."""
        return self.verdict in ("below", "above")

    @property
    def size(self) -> float:
        """How far from the style's median it lies, either way; 0 where that can't be said."""
        return abs(self.effect) if self.effect == self.effect else 0.0


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
    p_free, q_free : float
        p of standing out as free of it over the whole; q over the measured habits.
    reason : str
        Why unmeasured, or why the style can hardly show it.
    features : tuple of str
        Members that speak for it, the strongest first.
    evidence : tuple of Stretch
        The stretches that show it, the clearest first.
    share : float
        Mid-rank of what shows it most in the sample's own, 0..1.
    where : {"throughout", "part", ""}
        Whether it is said of the whole solo or of the stretches only; empty unless shown or hinted.
    dose : float
        Share of the notes in the stretches; NaN unless shown or hinted.
    effect : float
        Distance of what shows it most from the style's median, in widths of its middle half.
    scan : str
        The scan that finds it, a name of `features.SCANS`: "chord_root" where the roots are the chords'.
    over_all : bool
        Whether the whole of the solo shows it more than any stretch does.
    scale : str
        Of one scale: which ("A minor pentatonic").
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
    q_free: float = float("nan")
    where: Literal["throughout", "part", ""] = ""
    dose: float = float("nan")
    effect: float = float("nan")
    scan: str = ""
    over_all: bool = False
    scale: str = ""

    def __repr__(self) -> str:
        told = f" ({self.reason})" if self.reason else f", p {self.p:.3g}, q {self.q:.3g}"
        return f"<HabitPlace {self.name}: {self.verdict}{told}>"

    @property
    def free(self) -> bool:
        """Whether the solo stands out as free of the habit, as strictly as another shows it."""
        return self.q_free <= CLEAR_Q


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


P = TypeVar("P", FeaturePlace, HabitPlace)


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
    usual_most : float
        Features that nine in ten of the style's own, held out, have outside at most; NaN where it was not calibrated.
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
    usual_most: float = float("nan")
    uncertain_share: float = 0.0

    def __repr__(self) -> str:
        return f"<Placement of {self.summary()}>"

    def summary(self) -> str:
        """What it comes to, in four short lines: solo, style, habits, features outside the norm."""
        chance = f"{self.expected:.1f} by chance"
        shown = [f"{h.name} ({h.verdict})" for h in self.habits if h.verdict in ("shown", "hinted")]
        outside = ", ".join(f.name for f in self.outside[:5]) + (", ..." if len(self.outside) > 5 else "")
        measured = sum(f.verdict != "unmeasured" for f in self.features)
        compared = self.plan.words if self.plan else "too short, or the profile too small, to compare"
        return "\n".join(
            [
                repr(self.melody)[1:-1],
                f" against {self.profile.style} ({self.profile.name}), {compared}",
                f" habits: {', '.join(shown) or 'none shown'}",
                f" outside: {len(self.outside)} of {measured} features ({chance}): {outside or 'none'}",
            ]
        )

    def _repr_html_(self) -> str:
        rows = [
            [h.name, "habit", math.nan, 100 * h.share, math.nan, math.nan, h.q, h.verdict]
            for h in self.habits
            if h.verdict in ("shown", "hinted")
        ]
        for f in self.outside:
            lower, upper = (f.limits.lower, f.limits.upper) if f.limits else (math.nan, math.nan)
            rows.append([f.name, CATALOG[f.name].family, f.value, f.percentile, lower, upper, f.q, f.verdict])
        caption = f"{repr(self.melody)[1:-1]} against {self.profile.style}"
        return html_table(caption, ["", "family", "value", "percentile", "lower", "upper", "q", "verdict"], rows)

    def feature(self, name: str) -> FeaturePlace:
        """One feature's place.

        Raises
        ------
        UnknownNameError
        """
        return self._one("feature", self.features, name)

    def habit(self, name: str) -> HabitPlace:
        """One habit's place.

        Raises
        ------
        UnknownNameError
        """
        return self._one("habit", self.habits, name)

    @staticmethod
    def _one(kind: str, places: Sequence[P], name: str) -> P:
        for place in places:
            if place.name == name:
                return place
        raise UnknownNameError.among(kind, str(name), [p.name for p in places])

    def to_frame(self) -> pd.DataFrame:
        """Return the features' places as a frame.

        Returns
        -------
        DataFrame of n_features rows
            Indexed by feature: `family`, `unit`, `value` (in that unit), `percentile` (0 to 100), `lower` and `upper`
            (ends of the norm), `p`, `q`, `verdict`, `clear`, `reason`. NaN where unmeasured.

        Examples
        --------
        >>> from stylemeter import Melody, place
        >>> air = Melody.from_arrays(range(32), [60, 62, 64, 65, 67, 65, 64, 62] * 4, [1] * 32, key="C major")
        >>> place(air, "pop-songs").to_frame().loc["step_share", "verdict"]
        'above'
        """
        import pandas as pd

        nan = math.nan
        rows = [
            {
                "feature": f.name,
                "family": CATALOG[f.name].family,
                "unit": CATALOG[f.name].unit,
                "value": f.value,
                "percentile": f.percentile,
                "lower": f.limits.lower if f.limits else nan,
                "upper": f.limits.upper if f.limits else nan,
                "p": f.p,
                "q": f.q,
                "verdict": f.verdict,
                "clear": f.clear,
                "reason": f.reason,
            }
            for f in self.features
        ]
        return pd.DataFrame(rows).set_index("feature")

    @property
    def outside(self) -> list[FeaturePlace]:
        """Features outside the norm: the clear ones first, then by how far out they lie."""
        return sorted((f for f in self.features if f.outside), key=lambda f: (not f.clear, -f.size, f.p, f.name))
