"""How typical a solo is of one style as a whole, and which styles it is most typical of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stylemeter.features import Base
from stylemeter.music.melody import Melody
from stylemeter.placement.lengths import Plan, plan_for
from stylemeter.placement.ranks import column_mean, excerpt_values
from stylemeter.placement.records import Typicality
from stylemeter.style.profile import Profile
from stylemeter.style.ranks import conformal_high

__all__ = ["rank_styles", "typicality"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def typicality(profile: Profile, plan: Plan, block: Floats) -> Typicality:
    """Judge the distance of a solo by the style's own.

    Parameters
    ----------
    block : ndarray of shape (n_excerpts, n_features)
    """
    p = distance = 0.0
    pull: Floats | None = None
    z: Floats | None = None
    names: list[str] = []
    families = min(profile.rung_families[notes] for notes, _ in plan.rungs)
    for notes, share in plan.rungs:
        model = profile.norm(notes).distance
        if model is None:
            why = f"only {families} tune families at this length"
            return Typicality(profile.name, profile.style, math.nan, math.nan, families, reason=why)
        rung = profile.rung(notes)
        columns = [rung.column[n] for n in model.features]
        scores = rung.standing(block[:, columns], model.features).z
        far = model.distance(scores)
        sample = rung.ordered("distance")
        below, _ = sample.around(far)
        p += share * float(np.mean(conformal_high(below, sample.total)))
        distance += share * float(far.mean())
        if pull is None or share >= 0.5:
            z, names = column_mean(scores), model.features
            pull = model.pull(z)
    assert pull is not None
    assert z is not None
    if 2 * int(np.isfinite(z).sum()) < len(z):
        why = "too little of the solo could be measured"
        return Typicality(profile.name, profile.style, math.nan, math.nan, families, reason=why)
    order = np.argsort(-pull, kind="stable")
    misfitting = tuple(names[i] for i in order[:3] if abs(z[i]) > 1)
    near = sorted(range(len(names)), key=lambda i: (abs(float(np.nan_to_num(z[i], nan=9.0))), names[i]))
    fitting = tuple(names[i] for i in near[:3] if abs(z[i]) < 0.5)
    return Typicality(profile.name, profile.style, p, distance, families, fitting, misfitting)


def rank_styles(melody: Melody, profiles: Sequence[Profile], known: Sequence[Typicality] = ()) -> list[Typicality]:
    """Rank styles by how typical the solo is of each, marking ties.

    Parameters
    ----------
    melody : Melody
    profiles : sequence of Profile
    known : sequence of Typicality
        What was worked out before of this solo in some of the profiles.

    Returns
    -------
    list of Typicality
        Most typical first; those that can't tell last.
    """
    base = Base(melody)
    found = []
    # styles that cut the solo alike share its measured excerpts
    blocks: dict[tuple[tuple[int, ...], int], Floats] = {}
    told = {t.profile: replace(t, tie=False) for t in known}
    for profile in profiles:
        if profile.name in told:
            found.append(told[profile.name])
            continue
        plan = plan_for(profile, base.n) if base.n else None
        if plan is None:
            families = max(profile.rung_families.values(), default=0)
            why = f"only {families} tune families"
            found.append(Typicality(profile.name, profile.style, math.nan, math.nan, families, reason=why))
        else:
            cut = (plan.starts, plan.length)
            if cut not in blocks:
                blocks[cut] = excerpt_values(base, plan)
            found.append(typicality(profile, plan, blocks[cut]))
    ordered = sorted(found, key=lambda t: (not math.isfinite(t.p), -t.p if math.isfinite(t.p) else 0.0, t.profile))
    return [
        replace(t, tie=i > 0 and _tied(ordered[i - 1], t)) if math.isfinite(t.p) else t for i, t in enumerate(ordered)
    ]


def _tied(a: Typicality, b: Typicality) -> bool:
    """Whether two p differ by no more than the samples behind them can tell (two standard errors)."""
    error = math.sqrt(a.p * (1 - a.p) / (a.families + 1) + b.p * (1 - b.p) / (b.families + 1))
    return abs(a.p - b.p) <= 2 * max(error, 1 / (min(a.families, b.families) + 1))
