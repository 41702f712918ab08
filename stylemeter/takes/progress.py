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
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from os import PathLike
from pathlib import Path
from statistics import NormalDist
from typing import Literal

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, ProfileError
from stylemeter.features import HABITS, Base, Line, dose, measure, scan_totals, values
from stylemeter.music.excerpts import overlapping_starts, separate_starts
from stylemeter.music.melody import Melody
from stylemeter.placement.ranks import Measures, Ranks, column_mean, rank
from stylemeter.placement.trust.capability import blind_reason
from stylemeter.placement.trust.uncertainty import DRAWS, perturbed
from stylemeter.reading import find
from stylemeter.style.profile import Limits, Profile
from stylemeter.style.ranks import benjamini_hochberg
from stylemeter.style.rung import Rung
from stylemeter.takes.trend import FEWEST, half_width, joint_trend_p, pooled, third_means, trend_p

__all__ = [
    "MOVED_Q",
    "By",
    "Moved",
    "Point",
    "Progress",
    "Take",
    "Trajectory",
    "common_length",
    "follow",
    "in_order",
    "natural_order",
]

Floats = npt.NDArray[np.float64]

#: q at or below which something is said to have moved.
MOVED_Q = 0.05

_NORMAL = NormalDist()


#: Order of takes: by their names with their numbers, or when the files were last changed.
By = Literal["name", "date"]
#: Where in a style something stands.
Zone = Literal["low", "usual", "high", "unknown"]
#: Percentile of the style up to which, or from 100 less it, a take stands at its edge.
EDGE = 10.0

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
    dose : float
        Share of the take's notes in stretches that show a habit; NaN for a trait.
    """

    score: float
    percentile: float
    lower: float
    upper: float
    value: float = math.nan
    reason: str = ""
    dose: float = math.nan


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

    @property
    def began(self) -> Zone:
        """Where in the style the first third of the takes stands."""
        return _zone(self.first)

    @property
    def ended(self) -> Zone:
        """Where in the style the last third of the takes stands."""
        return _zone(self.last)

    @property
    def came_home(self) -> bool:
        """Whether it moved from the style's edge into what is usual there."""
        return self.moved in ("less", "more") and self.ended == "usual" and self.began in ("low", "high")


def _zone(percentile: float) -> Zone:
    """Low or high is the outer tenth."""
    if not math.isfinite(percentile):
        return "unknown"
    return "low" if percentile < EDGE else "high" if percentile > 100 - EDGE else "usual"


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


def natural_order(path: Path | str) -> tuple[list[tuple[bool, int, str]], str]:
    """Sort key by name: numbers by their value, so that take-2 comes before take-10.

    Examples
    --------
    >>> sorted(["take-10.mid", "Take-2.mid", "take-1.mid"], key=natural_order)
    ['take-1.mid', 'Take-2.mid', 'take-10.mid']
    """
    parts = re.findall(r"[0-9]{1,15}|[^0-9]+|[0-9]", str(path).casefold())
    return [(False, int(p), "") if p.isdecimal() else (True, 0, p) for p in parts], str(path)


def in_order(takes: Iterable[str | PathLike[str]], by: By = "name") -> list[Path]:
    """The files named or in the folders named, in the order they were played.

    Parameters
    ----------
    takes : iterable of path
    by : {"name", "date"}
        By their names, numbers in them counted, or when they were last changed.
    """
    files = find(takes)
    if by == "date":
        return sorted(files, key=lambda p: (_changed(p), natural_order(p)))
    return sorted(files, key=natural_order)


def _changed(path: Path) -> int:
    """When a file was last changed, in nanoseconds; 0 where nobody can say (reading it tells why)."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


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

    base: Base
    overlap: Ranks
    separate: Ranks
    excerpts: float
    drawn: tuple[Floats, dict[str, Floats]] | None


def _cut(melody: Melody, rung: Rung, seed: int) -> _Cut:
    notes, length = len(melody), rung.notes
    overlap = overlapping_starts(notes, length)
    separate = separate_starts(notes, length, most=notes // length)
    return _Cut(
        Base(melody),
        _ranked(rung, melody, overlap),
        _ranked(rung, melody, separate),
        notes / length,
        _drawn(melody, rung, seed) if melody.guessed_share > 0 else None,
    )


def _ranked(rung: Rung, melody: Melody, starts: Sequence[int]) -> Ranks:
    """Excerpts of a take ranked."""
    base = Base(melody)
    lines = [Line(base, start, start + rung.notes) for start in starts]
    block = np.array([values(line) for line in lines]).reshape(len(lines), len(rung.names))
    totals = np.array([scan_totals(line) for line in lines])
    return rank(rung, Measures(block, totals, totals))


def _drawn(melody: Melody, rung: Rung, seed: int) -> tuple[Floats, dict[str, Floats]]:
    """Scores and statistics of the take as it might as well have been read."""
    rng = np.random.default_rng(seed)
    scores, statistics = [], []
    for _ in range(DRAWS):
        other = perturbed(melody, min(0.5, melody.guessed_share), rng)
        if len(other) < rung.notes:
            continue
        ranks = _ranked(rung, other, overlapping_starts(len(other), rung.notes))
        scores.append(column_mean(ranks.z))
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
    name: str,
    cuts: Sequence[_Cut],
    lacks: Sequence[dict[str, str]],
    profile: Profile,
    rung: Rung,
) -> Trajectory:
    """A habit's trajectory, not yet corrected for how many there are."""
    within = pooled([c.separate.habits[name].statistic for c in cuts])
    members = [m.name for m in HABITS[name].members]
    scans = [s.name for s in HABITS[name].scans]
    # what counts as a stretch is what is out of the ordinary in the style
    least = {scan: rung.ordered(f"scan:{scan}").middle[0] for scan in scans}
    doses = {scan: [dose(Line(c.base), scan, least[scan]) for c in cuts] for scan in scans}
    points = []
    for i, (cut, lack) in enumerate(zip(cuts, lacks, strict=True)):
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
        held = doses[scans[0]][i]
        points.append(Point(score, middle, lower if known else math.nan, upper if known else math.nan, dose=held))
    caution = blind_reason(profile, name, rung.notes, profile.rung_families[rung.notes])
    found = replace(_judged(name, points), caution=caution)
    direction, joint = joint_trend_p([[p.score for p in points], *doses.values()])
    if not math.isfinite(joint):
        return found
    # the slope is the score's own; where it is the stretches that moved, it says no more than which way
    slope = found.slope if found.slope * direction > 0 else direction * abs(found.slope)
    return replace(found, slope=slope, p=joint)


def _feature(
    name: str, cuts: Sequence[_Cut], lacks: Sequence[dict[str, str]], profile: Profile, rung: Rung
) -> Trajectory:
    """A trait's trajectory, not yet corrected."""
    column = rung.column[name]
    within = pooled([c.separate.z[:, column] for c in cuts])
    points = []
    for cut, lack in zip(cuts, lacks, strict=True):
        score = _mean(cut.overlap.z[:, column])
        if not math.isfinite(score):
            points.append(_nowhere(lack.get(name, "too little of it in any excerpt of the length compared")))
            continue
        half = half_width(within, cut.excerpts, _deviation(cut.drawn[0][:, column] if cut.drawn else None))
        middle, lower, upper = (_percentile(s) for s in (score, score - half, score + half))
        measured = cut.overlap.values[np.isfinite(cut.overlap.values[:, column]), column]
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
