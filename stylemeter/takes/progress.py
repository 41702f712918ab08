"""Takes over time: each habit and trait as a trajectory over the style's band, and whether it moved.

Takes are compared at one common length, so that a trajectory is no effect of length: each is cut into excerpts of
that many notes. Its place is the mean of its overlapping excerpts' normal scores, its uncertainty what separate
excerpts of one take differ by (pooled over the takes) and, where the source guesses notes, what perturbing them does.
Whether something moved is asked of the order of the takes: see `trend`.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, ProfileError
from stylemeter.features import HABITS, Base, Line, measure, values
from stylemeter.music.excerpts import overlapping_starts, separate_starts
from stylemeter.music.melody import Melody
from stylemeter.placement.ranks import Ranks, column_mean, rank_excerpts
from stylemeter.placement.trust.capability import blind_reason
from stylemeter.placement.trust.uncertainty import DRAWS, perturbed
from stylemeter.style.profile import Profile
from stylemeter.style.ranks import benjamini_hochberg
from stylemeter.style.rung import Rung
from stylemeter.takes.progress_records import Moved, Point, Progress, Take, Trajectory
from stylemeter.takes.trend import half_width, pooled, third_means, trend_p

__all__ = ["MOVED_Q", "Moved", "Point", "Progress", "Take", "Trajectory", "common_length", "follow", "natural_order"]

Floats = npt.NDArray[np.float64]

#: q at or below which something is said to have moved.
MOVED_Q = 0.05

_NORMAL = NormalDist()


def natural_order(path: Path | str) -> tuple[list[tuple[bool, int, str]], str]:
    """Sort key by name: numbers by their value, so that take-2 comes before take-10.

    Examples
    --------
    >>> sorted(["take-10.mid", "Take-2.mid", "take-1.mid"], key=natural_order)
    ['take-1.mid', 'Take-2.mid', 'take-10.mid']
    """
    parts = re.findall(r"[0-9]{1,15}|[^0-9]+|[0-9]", str(path).casefold())
    return [(False, int(p), "") if p.isdecimal() else (True, 0, p) for p in parts], str(path)


def common_length(profile: Profile, counts: Sequence[int]) -> int:
    """Note count at which takes are compared.

    The longest at which the style is a norm and the shortest take still holds two separate excerpts, so that what
    excerpts of one take differ by is known; for takes too short for that, the longest that fits in once.

    Parameters
    ----------
    profile : Profile
    counts : sequence of int
        Notes of each take; those shorter than the style's shortest rung are passed over.

    Raises
    ------
    ProfileError
        If the style is too small for limits.
    InputError
        If no take is long enough.
    """
    rungs = profile.good_rungs or profile.provisional_rungs
    if not rungs:
        raise ProfileError("too few tune families for limits", where=profile.name, mend="choose another with --profile")
    enough = [n for n in counts if n >= rungs[0]]
    if not enough:
        raise InputError(f"no take has the {rungs[0]} notes that are the least", mend="play longer takes")
    shortest = min(enough)
    twice = [r for r in rungs if 2 * r <= shortest]
    return max(twice or [r for r in rungs if r <= shortest])


def follow(melodies: Sequence[Melody], profile: Profile, *, seed: int = 0) -> Progress:
    """Follow takes in the order given.

    Parameters
    ----------
    melodies : sequence of Melody
        One a take.
    profile : Profile
    seed : int
        Of the permutations and perturbations.

    Raises
    ------
    InputError
        If fewer than two takes are long enough.
    ProfileError
        If the style is too small.
    """
    length = common_length(profile, [len(m) for m in melodies])
    kept = [m for m in melodies if len(m) >= length]
    if len(kept) < 2:
        raise InputError("one take is too few to compare", mend="give two takes or more, six to tell a change")
    rung = profile.rung(length)
    cuts = [_cut(m, rung, seed + i) for i, m in enumerate(kept)]
    lacks = [measure(m).reasons for m in kept]
    habits = [_habit(name, cuts, lacks, profile, rung) for name in HABITS]
    features = [_feature(name, cuts, lacks, profile, rung) for name in profile.names]
    return Progress(
        profile=profile,
        length=length,
        families=profile.rung_families[length],
        takes=tuple(_take(m, length) for m in kept),
        left_out=tuple((m.title or m.path, len(m)) for m in melodies if len(m) < length),
        habits=_corrected(habits),
        features=_corrected(features),
    )


def _take(melody: Melody, length: int) -> Take:
    return Take(
        title=melody.title,
        path=melody.path,
        part=melody.part,
        notes=len(melody),
        key=melody.key.name if melody.key else "",
        excerpts=len(overlapping_starts(len(melody), length)),
        guessed_share=melody.guessed_share,
        remarks=melody.remarks,
    )


# -- one take ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Cut:
    """A take's excerpts, ranked: `overlap` cover all of it, `separate` share no note.

    `drawn` are the overlapping ones' means under perturbation: scores of shape (draws, F), statistics by habit.
    """

    overlap: Ranks
    separate: Ranks
    block: Floats
    excerpts: float
    drawn: tuple[Floats, dict[str, Floats]] | None


def _cut(melody: Melody, rung: Rung, seed: int) -> _Cut:
    notes, length = len(melody), rung.notes
    overlap = overlapping_starts(notes, length)
    separate = separate_starts(notes, length, most=notes // length)
    block = _block(melody, overlap, length)
    return _Cut(
        _ranked(rung, block),
        _ranked(rung, _block(melody, separate, length)),
        block,
        notes / length,
        _drawn(melody, rung, seed) if melody.guessed_share > 0 else None,
    )


def _block(melody: Melody, starts: Sequence[int], length: int) -> Floats:
    """Values of excerpts, of shape (n_excerpts, n_features)."""
    base = Base(melody)
    return np.array([values(Line(base, start, start + length)) for start in starts])


def _ranked(rung: Rung, block: Floats) -> Ranks:
    return rank_excerpts(lambda _: rung, ((rung.notes, 1.0),), block)


def _drawn(melody: Melody, rung: Rung, seed: int) -> tuple[Floats, dict[str, Floats]]:
    """Scores and statistics of the take as it might as well have been read."""
    rng = np.random.default_rng(seed)
    scores, statistics = [], []
    for _ in range(DRAWS):
        other = perturbed(melody, min(0.5, melody.guessed_share), rng)
        if len(other) < rung.notes:
            continue
        ranks = _ranked(rung, _block(other, overlapping_starts(len(other), rung.notes), rung.notes))
        scores.append(column_mean(ranks.z[rung.notes]))
        statistics.append([_mean(ranks.habits[name].statistic) for name in HABITS])
    table = np.array(statistics).reshape(-1, len(HABITS))
    return np.array(scores).reshape(-1, len(rung.names)), {n: table[:, i] for i, n in enumerate(HABITS)}


def _mean(found: Floats) -> float:
    """Mean of what is measured; NaN where nothing is."""
    there = found[np.isfinite(found)]
    return float(there.mean()) if len(there) else math.nan


def _deviation(found: Floats | None) -> float:
    """Standard deviation of what is measured under perturbation; 0 where nothing is guessed."""
    if found is None:
        return 0.0
    there = found[np.isfinite(found)]
    return float(there.std(ddof=1)) if len(there) > 1 else 0.0


# -- trajectories ------------------------------------------------------------------------------------------------


def _habit(
    name: str, cuts: Sequence[_Cut], lacks: Sequence[dict[str, str]], profile: Profile, rung: Rung
) -> Trajectory:
    """A habit's trajectory, not yet corrected for how many there are."""
    within = pooled([c.separate.habits[name].statistic for c in cuts])
    members = [m.name for m in HABITS[name].members]
    points = []
    for cut, lack in zip(cuts, lacks, strict=True):
        score = _mean(cut.overlap.habits[name].statistic)
        if not math.isfinite(score):
            told = Counter(lack[m] for m in members if m in lack)
            why = told.most_common(1)[0][0] if told else "too little of it in any excerpt of the length compared"
            points.append(_nowhere(why))
            continue
        half = half_width(within, cut.excerpts, _deviation(cut.drawn[1][name] if cut.drawn else None))
        p, low = rung.habit_p(np.array([score, score - half, score + half]), name)
        middle, lower, upper = (50 * (1 - p + low)).tolist()
        known = math.isfinite(half)
        points.append(Point(score, middle, lower if known else math.nan, upper if known else math.nan))
    caution = blind_reason(profile, name, rung.notes, profile.rung_families[rung.notes])
    return replace(_judged(name, points), caution=caution)


def _feature(
    name: str, cuts: Sequence[_Cut], lacks: Sequence[dict[str, str]], profile: Profile, rung: Rung
) -> Trajectory:
    """A trait's trajectory, not yet corrected."""
    column = rung.column[name]
    within = pooled([c.separate.z[rung.notes][:, column] for c in cuts])
    points = []
    for cut, lack in zip(cuts, lacks, strict=True):
        score = _mean(cut.overlap.z[rung.notes][:, column])
        if not math.isfinite(score):
            points.append(_nowhere(lack.get(name, "too little of it in any excerpt of the length compared")))
            continue
        half = half_width(within, cut.excerpts, _deviation(cut.drawn[0][:, column] if cut.drawn else None))
        middle, lower, upper = (_percentile(s) for s in (score, score - half, score + half))
        measured = cut.block[np.isfinite(cut.block[:, column]), column]
        points.append(Point(score, middle, lower, upper, float(np.median(measured))))
    return replace(_judged(name, points), limits=profile.limits(rung.notes, name, 0.9))


def _nowhere(reason: str) -> Point:
    return Point(math.nan, math.nan, math.nan, math.nan, reason=reason)


def _percentile(score: float) -> float:
    return 100 * _NORMAL.cdf(score) if math.isfinite(score) else math.nan


def _judged(name: str, points: Sequence[Point]) -> Trajectory:
    """What the order of the points says; q and the verdict come with the correction."""
    there = [p for p in points if math.isfinite(p.score)]
    slope, p = trend_p([point.score for point in points])
    first, last = third_means([point.percentile for point in points])
    steps = [abs(b.percentile - a.percentile) for a, b in pairwise(there)]
    return Trajectory(
        name=name,
        points=tuple(points),
        slope=slope,
        p=p,
        q=math.nan,
        moved="unmeasured" if len(there) < 2 else "few",
        apart=_apart(there),
        first=first,
        last=last,
        neighbours=sum(steps) / len(steps) if steps else math.nan,
    )


def _apart(there: Sequence[Point]) -> bool | None:
    """Whether the intervals of the first and the last of them do not overlap."""
    if len(there) < 2 or not math.isfinite(there[0].lower) or not math.isfinite(there[-1].lower):
        return None
    return there[0].upper < there[-1].lower or there[-1].upper < there[0].lower


def _corrected(trajectories: Sequence[Trajectory]) -> tuple[Trajectory, ...]:
    """Correct for how many are tested (Benjamini & Hochberg), and say what moved."""
    tested = [t for t in trajectories if math.isfinite(t.p)]
    q = dict(zip((t.name for t in tested), benjamini_hochberg([t.p for t in tested]).tolist(), strict=True))
    return tuple(replace(t, q=q[t.name], moved=_moved(t.slope, q[t.name])) if t.name in q else t for t in trajectories)


def _moved(slope: float, q: float) -> Moved:
    if q > MOVED_Q:
        return "steady"
    return "less" if slope < 0 else "more"
