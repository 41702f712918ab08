"""Placing a solo against a style: where it stands, how surely, at its own length.

A solo is compared at the two rungs around its note count, interpolated in log length. One longer than the highest
good rung is cut into overlapping excerpts of that rung: p and percentile averaged, values as medians.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from os import PathLike
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.errors import ProfileError
from stylemeter.features import HABITS, Base, Line, distributions, measure
from stylemeter.features.distributions import meter_label, scale_fits
from stylemeter.music.melody import Melody, checked
from stylemeter.placement.evidence import with_evidence, with_stretch
from stylemeter.placement.lengths import Plan, plan_for
from stylemeter.placement.ranks import Standings, excerpt_values, standings
from stylemeter.placement.records import FeaturePlace, HabitPlace, HabitVerdict, Placement, Stretch, Typicality, Verdict
from stylemeter.placement.styles import rank_styles, typicality
from stylemeter.placement.trust.capability import blind_reason, nearest_count
from stylemeter.style.profile import Limits, Profile, load_profile
from stylemeter.style.ranks import benjamini_hochberg, jensen_shannon, midrank
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, FAMILIES_FOR_RUNG

__all__ = [
    "FeaturePlace",
    "HabitPlace",
    "Placement",
    "Plan",
    "Stretch",
    "Typicality",
    "place",
    "plan_for",
    "rank_styles",
    "typicality",
]

Floats = npt.NDArray[np.float64]

#: q at or below which a flag is clear, and a habit shown.
CLEAR_Q = 0.05
#: p at or below which a habit is hinted.
HINT_P = 0.05


def place(
    melody: Melody, profile: Profile | str | PathLike[str], *, coverage: float = 0.9, evidence: bool = True
) -> Placement:
    """Place a solo against a style.

    Parameters
    ----------
    melody : Melody
    profile : Profile, str or path
        The style: a profile, its name or its folder.
    coverage : float
        Share of the style the norm holds, 0.5 to 0.99.
    evidence : bool
        Whether to find the bars and notes too.

    Returns
    -------
    Placement

    Raises
    ------
    WrongTypeError
        If the melody is no melody, or the profile no profile, name or folder.
    UnknownNameError
        If no profile is called so.
    ProfileError
        If the profile is damaged or `coverage` is out of range.

    References
    ----------
    .. [1] V. Vovk, A. Gammerman & G. Shafer, "Algorithmic Learning in a Random World", Springer, 2005 (the rank p).
    .. [2] Y. Benjamini & Y. Hochberg, "Controlling the false discovery rate", Journal of the Royal Statistical
       Society B 57(1):289-300, 1995 (q).

    Examples
    --------
    >>> scale = Melody.from_arrays(range(32), [60, 62, 64, 65, 67, 65, 64, 62] * 4, [1] * 32, key="C major")
    >>> place(scale, "pop-songs").feature("step_share").verdict
    'above'
    """
    profile = load_profile(profile)
    checked(melody, "a solo")
    if not 0.5 <= coverage <= 0.99:
        raise ProfileError(f"coverage {coverage:g} is out of range", mend="0.5 to 0.99")
    base = Base(melody)
    line = Line(base)
    whole = measure(line)
    plan = plan_for(profile, base.n) if base.n else None
    if plan is None:
        return _unplaced(melody, profile, coverage, whole.values, whole.reasons)
    block = excerpt_values(base, plan)
    found = standings(profile, plan, block)
    features = _features(profile, plan, found, block, whole.values, whole.reasons, coverage)
    habits = [_unless_blind(h, profile, plan) for h in _habits(profile, plan, found, whole.reasons)]
    if evidence:
        features = [with_evidence(f, line) for f in features]
        habits = [with_stretch(h, line) for h in habits]
    return Placement(
        melody=melody,
        profile=profile,
        plan=plan,
        coverage=coverage,
        features=tuple(features),
        habits=tuple(habits),
        typicality=typicality(profile, plan, block),
        scales=tuple(scale_fits(line)),
        shapes=_shapes(profile, plan, base),
        expected=_expected(profile, plan, features, coverage),
    )


def _unplaced(
    melody: Melody, profile: Profile, coverage: float, values: dict[str, float], reasons: dict[str, str]
) -> Placement:
    """Placement against a profile that is too small for any limits."""
    most = max(profile.rung_families.values(), default=0)
    why = f"the profile has only {most} tune families, {FAMILIES_FOR_LIMITS} are the least for limits"
    nan = float("nan")
    features = [
        FeaturePlace(n, v, nan, None, nan, nan, "unmeasured", reason=reasons.get(n, why)) for n, v in values.items()
    ]
    habits = [HabitPlace(n, "unmeasured", nan, nan, nan, nan, nan, reason=why) for n in HABITS]
    odd = Typicality(profile.name, profile.style, nan, nan, most, reason=why)
    return Placement(melody, profile, None, coverage, tuple(features), tuple(habits), odd)


def _limits(profile: Profile, plan: Plan, name: str, coverage: float) -> Limits | None:
    """Limits interpolated between the rungs."""
    parts = [(profile.limits(notes, name, coverage), share) for notes, share in plan.rungs]
    if any(found is None for found, _ in parts):
        return None

    def mix(pick: Any) -> float:
        return float(sum(share * pick(found) for found, share in parts))

    return Limits(
        mix(lambda f: f.lower),
        mix(lambda f: f.upper),
        (mix(lambda f: f.lower_ci[0]), mix(lambda f: f.lower_ci[1])),
        (mix(lambda f: f.upper_ci[0]), mix(lambda f: f.upper_ci[1])),
    )


def _features(
    profile: Profile,
    plan: Plan,
    found: Standings,
    block: Floats,
    whole: dict[str, float],
    reasons: dict[str, str],
    coverage: float,
) -> list[FeaturePlace]:
    """Every feature's place, q included."""
    names = profile.names
    limits = [_limits(profile, plan, name, coverage) for name in names]
    measured = [i for i in range(len(names)) if np.isfinite(found.p[i]) and limits[i] is not None]
    q = np.full(len(names), np.nan)
    if measured:
        q[measured] = benjamini_hochberg(found.p[measured])
    out = []
    for i, name in enumerate(names):
        families = min(profile.rung(notes).counts[name] for notes, _ in plan.rungs)
        if i not in measured:
            why = reasons.get(name) or _why_not(families, len(plan.starts), found.value[i])
            value = whole[name]
            out.append(FeaturePlace(name, value, math.nan, None, math.nan, math.nan, "unmeasured", reason=why))
            continue
        value, limit = float(found.value[i]), limits[i]
        assert limit is not None
        verdict, note = _verdict(value, limit), ""
        if verdict != "within" and len(block) > 1 and 1 - coverage < 2 * min(found.share[i], 1 - found.share[i]):
            # of the excerpts of a long solo the values' median may lie outside where their ranks on average do not
            beyond = sum(_verdict(float(v), limit) != "within" for v in block[:, i])
            verdict, note = "within", f"outside in {beyond} of its {len(block)} excerpts, inside on average"
        thin = f"provisional: only {families} tune families have it at this length"
        out.append(
            FeaturePlace(
                name,
                value,
                100 * float(found.share[i]),
                limit,
                float(found.p[i]),
                float(q[i]),
                verdict,
                clear=verdict != "within" and bool(q[i] <= CLEAR_Q),
                reason=thin if families < FAMILIES_FOR_RUNG else "",
                note=note,
            )
        )
    return out


def _verdict(value: float, limit: Limits) -> Verdict:
    """Compare a value with its limits, both in single precision like the sample."""
    single = np.float32(value)
    if single < np.float32(limit.lower):
        return "below"
    return "above" if single > np.float32(limit.upper) else "within"


def _why_not(families: int, excerpts: int, value: float) -> str:
    """Why a feature that the solo has can't be placed."""
    if excerpts > 1 and not math.isfinite(value):
        return "too little of it in any excerpt of the length compared"
    if families < FAMILIES_FOR_LIMITS:
        return f"only {families} tune families of the style have it at this length"
    return "not measured at the length compared"


def _habits(profile: Profile, plan: Plan, found: Standings, reasons: dict[str, str]) -> list[HabitPlace]:
    """Every habit's verdict."""
    names = list(HABITS)
    p = np.array([found.habits[name][1] for name in names])
    measured = np.flatnonzero(np.isfinite(p))
    q = np.full(len(names), np.nan)
    if len(measured):
        q[measured] = benjamini_hochberg(p[measured])
    out = []
    for i, name in enumerate(names):
        statistic, one, free, share = found.habits[name]
        if i not in measured:
            nan = math.nan
            out.append(HabitPlace(name, "unmeasured", nan, nan, nan, nan, nan, reason=_habit_lack(name, reasons)))
            continue
        verdict: HabitVerdict = "shown" if q[i] <= CLEAR_Q else "hinted" if one <= HINT_P else "none"
        speaking = _speaking(profile, plan, found, name)
        out.append(HabitPlace(name, verdict, statistic, one, float(q[i]), free, share, features=speaking))
    return out


def _unless_blind(h: HabitPlace, profile: Profile, plan: Plan) -> HabitPlace:
    """Say "unmeasured" instead of "none" where the style could not have shown the habit."""
    if h.verdict != "none" or h.free:
        return h
    families = min(profile.rung_families[notes] for notes, _ in plan.rungs)
    reason = blind_reason(profile, h.name, plan.length, families)
    return replace(h, verdict="unmeasured", reason=reason) if reason else h


def _habit_lack(name: str, reasons: dict[str, str]) -> str:
    """Why no member of a habit is measured."""
    told = [reasons[m.name] for m in HABITS[name].members if m.name in reasons]
    return max(set(told), key=told.count) if told else "too few tune families of the style have it at this length"


def _speaking(profile: Profile, plan: Plan, found: Standings, habit: str) -> tuple[str, ...]:
    """Members whose normal score, turned to the habit's side, is 1 or more; the strongest first, else as defined."""
    notes = max(plan.rungs, key=lambda r: r[1])[0]
    mean = found.z[notes]
    column = profile.rung(notes).column
    # rounded: of two members beyond every tune a hair in the sums of weights must not decide which comes first;
    # sorting keeps the order of what is equal
    scores = [(round(float(mean[column[m.name]]) * m.side, 9), m.name) for m in HABITS[habit].members]
    return tuple(name for score, name in sorted(scores, key=lambda s: -s[0]) if score >= 1)


def _expected(profile: Profile, plan: Plan, features: Sequence[FeaturePlace], coverage: float) -> float:
    """Features that chance alone would put outside: as calibrated where it was, else the nominal share."""
    measured = [f.name for f in features if f.verdict != "unmeasured"]
    clean = (profile.calibration or {}).get("clean", {})
    nearest = nearest_count(list(clean), plan.length)
    if abs(coverage - 0.9) < 1e-9 and nearest is not None:
        shares = clean[nearest]["outside"]
        return float(sum(shares.get(name, 1 - coverage) for name in measured))
    return len(measured) * (1 - coverage)


def _shapes(profile: Profile, plan: Plan, base: Base) -> dict[str, dict[str, Any]]:
    """Distributions of the solo beside the style's, with their distance and its rank."""
    lines = [Line(base, start, start + plan.length) for start in plan.starts]
    notes = max(plan.rungs, key=lambda r: r[1])[0]
    norm = profile.norm(notes)
    label = meter_label(lines[0])
    out: dict[str, dict[str, Any]] = {}
    for name in ("intervals", "degrees", "iois", "onsets"):
        style = norm.shares(name, label)
        own = [d[name] for d in (distributions(line) for line in lines) if name in d]
        if not style or not own or len(own[0]) != len(style):
            continue
        solo = np.mean(own, axis=0)
        distance = jensen_shannon(np.stack(own), np.array(style))
        sample = profile.rung(notes).ordered(f"js:{name}")
        below, equal = sample.around(distance)
        out[name] = {
            "solo": solo.tolist(),
            "style": list(style),
            "distance": float(distance.mean()),
            "percentile": 100 * float(np.mean(midrank(below, equal, sample.total))) if sample.total else math.nan,
        }
    return out
