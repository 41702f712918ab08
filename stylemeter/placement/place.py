"""Placing a solo against a style: where it stands, how surely, at its own length.

A solo is compared at the two rungs around its note count, interpolated in log length. One longer than the highest
good rung is cut into overlapping excerpts of that rung and ranked by their medians; its habits' best stretches are
those of all of it.
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
from stylemeter.features import HABITS, SCANS, Base, Line, distributions, measure
from stylemeter.features.distributions import meter_label, scale_fits
from stylemeter.music.melody import Melody, checked
from stylemeter.placement.evidence import with_evidence, with_stretch
from stylemeter.placement.lengths import Plan, plan_for
from stylemeter.placement.ranks import Ranks, excerpt_values, measures, norm_of, rank
from stylemeter.placement.records import (
    CLEAR_Q,
    HINT_P,
    FeaturePlace,
    HabitPlace,
    HabitVerdict,
    Placement,
    Stretch,
    Typicality,
    Verdict,
)
from stylemeter.placement.styles import rank_styles, typicality
from stylemeter.placement.trust.capability import blind_reason, nearest_count
from stylemeter.style.profile import Limits, Profile, load_profile
from stylemeter.style.ranks import Ordered, benjamini_hochberg, jensen_shannon, midrank
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, FAMILIES_FOR_RUNG, Rung

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
    norm = norm_of(profile, plan)
    found = rank(norm, measures(base, plan, block), len(plan.starts))
    features = _features(profile, plan, norm, found, whole.values, whole.reasons, coverage)
    habits = [_unless_blind(h, profile, plan) for h in _habits(norm, found, whole.reasons)]
    expected, most = _expected(profile, plan, features, coverage)
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
        expected=expected,
        usual_most=most,
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
    norm: Rung,
    found: Ranks,
    whole: dict[str, float],
    reasons: dict[str, str],
    coverage: float,
) -> list[FeaturePlace]:
    """Every feature's place, q included."""
    names = profile.names
    values, share, p = (block[0].tolist() for block in (found.values, found.share, found.p))
    limits = [_limits(profile, plan, name, coverage) for name in names]
    measured = [i for i in range(len(names)) if math.isfinite(p[i]) and limits[i] is not None]
    q = np.full(len(names), np.nan)
    if measured:
        q[measured] = benjamini_hochberg([p[i] for i in measured])
    out = []
    for i, name in enumerate(names):
        sample = norm.ordered(name)
        limit = limits[i]
        if i not in measured or limit is None:
            why = reasons.get(name) or _why_not(int(sample.total), len(plan.starts), values[i])
            out.append(FeaturePlace(name, whole[name], math.nan, None, math.nan, math.nan, "unmeasured", reason=why))
            continue
        verdict = _verdict(values[i], limit)
        below, equal = sample.around(values[i])
        beyond = bool(equal == 0 and (below == 0 or below >= sample.total - 1e-6))
        thin = f"provisional: only {int(sample.total)} tune families have it at this length"
        out.append(
            FeaturePlace(
                name,
                values[i],
                100 * share[i],
                limit,
                p[i],
                float(q[i]),
                verdict,
                clear=verdict != "within" and bool(q[i] <= CLEAR_Q),
                reason=thin if sample.total < FAMILIES_FOR_RUNG else "",
                effect=_effect(sample, values[i]),
                beyond=int(sample.total) if beyond else 0,
            )
        )
    return out


def _effect(sample: Ordered, value: float) -> float:
    """Distance from the median in widths of the middle half; NaN where the sample is all alike."""
    median, width = sample.middle
    return (value - median) / width if width > 0 else math.nan


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


def _habits(norm: Rung, found: Ranks, reasons: dict[str, str]) -> list[HabitPlace]:
    """Every habit's verdict."""
    names = list(HABITS)
    p = np.array([found.habits[name].p[0] for name in names])
    free = np.array([found.habits[name].p_free[0] for name in names])
    measured = np.flatnonzero(np.isfinite(p))
    q, q_free = np.full(len(names), np.nan), np.full(len(names), np.nan)
    if len(measured):
        q[measured], q_free[measured] = benjamini_hochberg(p[measured]), benjamini_hochberg(free[measured])
    out = []
    for i, name in enumerate(names):
        if i not in measured:
            nan = math.nan
            out.append(HabitPlace(name, "unmeasured", nan, nan, nan, nan, nan, reason=_habit_lack(name, reasons)))
            continue
        ranks = found.habits[name]
        verdict: HabitVerdict = "shown" if q[i] <= CLEAR_Q else "hinted" if p[i] <= HINT_P else "none"
        telling = int(ranks.telling[0])
        out.append(
            HabitPlace(
                name,
                verdict,
                float(ranks.statistic[0]),
                float(p[i]),
                float(q[i]),
                float(free[i]),
                float(ranks.share[0]),
                features=_speaking(norm, found, name),
                q_free=float(q_free[i]),
                effect=_habit_effect(norm, found, name, telling),
                scan=_scan_of(name, ranks.surprises[0]),
                over_all=telling == 0,
            )
        )
    return out


def _scan_of(habit: str, surprises: Floats) -> str:
    """The habit's scan that finds most."""
    each = np.where(np.isnan(surprises[1:]), -np.inf, surprises[1:])
    return HABITS[habit].scans[int(each.argmax())].name if np.isfinite(each).any() else ""


def _habit_effect(norm: Rung, found: Ranks, habit: str, telling: int) -> float:
    """Effect of what shows a habit most."""
    if telling == 0:
        return _effect(norm.ordered(f"habit:{habit}"), float(found.habits[habit].statistic[0]))
    scan = HABITS[habit].scans[telling - 1].name
    return _effect(norm.ordered(f"scan:{scan}"), float(found.scans[0, list(SCANS).index(scan)]))


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


def _speaking(norm: Rung, found: Ranks, habit: str) -> tuple[str, ...]:
    """Members whose normal score, turned to the habit's side, is 1 or more; the strongest first, else as defined."""
    # rounded: of two members beyond every tune a hair in the sums of weights must not decide which comes first;
    # of equal ranks the one that lies further out comes first
    strength = []
    for m in HABITS[habit].members:
        column = norm.column[m.name]
        effect = _effect(norm.ordered(m.name), float(found.values[0, column]))
        score = round(float(found.z[0, column]) * m.side, 9)
        strength.append((score, round(effect * m.side, 9) if math.isfinite(effect) else 0.0, m.name))
    return tuple(name for score, _, name in sorted(strength, key=lambda s: (-s[0], -s[1])) if score >= 1)


def _expected(profile: Profile, plan: Plan, features: Sequence[FeaturePlace], coverage: float) -> tuple[float, float]:
    """Features that chance alone would put outside, and the most that nine in ten of the style's own have there.

    As calibrated where it was, else the nominal share and nothing.
    """
    measured = [f.name for f in features if f.verdict != "unmeasured"]
    clean = (profile.calibration or {}).get("clean", {})
    nearest = nearest_count(list(clean), plan.length)
    if abs(coverage - 0.9) < 1e-9 and nearest is not None:
        found = clean[nearest]
        expected = float(sum(found["outside"].get(name, 1 - coverage) for name in measured))
        most = found.get("outside_spread", {}).get("nine_in_ten", math.nan)
        return expected, float(most)
    return len(measured) * (1 - coverage), math.nan


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
