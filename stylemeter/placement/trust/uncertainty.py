"""How far a placement depends on notes that may be wrong: the note table is perturbed and placed again.

Each uncertain note is dropped, merged into the one before it, or shifted by a sixteenth, at random but seeded; every
percentile gets the interval of its values, and flags that don't survive are marked unsure.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stylemeter.errors import UsageError
from stylemeter.features import Base
from stylemeter.music.melody import Melody, grid_columns
from stylemeter.music.meter import TICKS
from stylemeter.placement.lengths import Plan
from stylemeter.placement.ranks import Measures, Ranks, joined, measures, norm_of, rank
from stylemeter.placement.records import FeaturePlace, HabitPlace, Placement

__all__ = ["DRAWS", "chances", "perturbed", "with_uncertainty"]

Floats = npt.NDArray[np.float64]

#: Perturbed note tables.
DRAWS = 40
#: Share of them in which a flag must hold to be sure.
SURVIVES = 0.8
#: Part of the perturbed percentiles told.
INTERVAL = (0.05, 0.95)

_SIXTEENTH = TICKS // 4


def chances(melody: Melody, share: float) -> Floats:
    """Chance of each note to be wrong: the share, dealt out by how surely each was heard where the source says.

    Parameters
    ----------
    melody : Melody
    share : float
        Mean of the chances.

    Returns
    -------
    ndarray of shape (n_notes,)

    Examples
    --------
    >>> melody = Melody.from_arrays([0, 1], [60, 62], confidence=[1.0, 0.8], key="C major")
    >>> chances(melody, 0.1).round(3).tolist(), chances(melody, 0.05).round(3).tolist()
    ([0.0, 0.2], [0.0, 0.1])
    """
    if melody.confidence is None:
        return np.full(len(melody), share)
    misheard = 1 - melody.confidence
    mean = float(misheard.mean())
    if mean >= share:
        return np.asarray(misheard * (share / mean if mean else 0.0))
    # what is left is the grid's, and no note's more than another's
    elsewhere = 1 - (1 - share) / (1 - mean) if mean < 1 else 0.0
    return np.asarray(1 - (1 - misheard) * (1 - elsewhere))


def perturbed(melody: Melody, share: float, rng: np.random.Generator) -> Melody:
    """Make one note table that might as well have been read.

    Parameters
    ----------
    melody : Melody
    share : float
        Chance of a note to be dropped, merged or shifted (equally likely); see `chances`.
    rng : Generator

    Returns
    -------
    Melody
        On the same bars; the first note stays.
    """
    count = len(melody)
    fate = np.where(rng.random(count) < chances(melody, share), rng.integers(1, 4, count), 0)
    fate[0] = 0
    onset = melody.onset.copy()
    duration = None if melody.duration is None else melody.duration.copy()
    for i in np.flatnonzero(fate == 3).tolist():
        _shift(onset, duration, i, int(rng.choice([-1, 1])) * _SIXTEENTH, int(melody.bars.end[-1]))
    if duration is not None:
        for i in np.flatnonzero(fate == 2).tolist():
            before = i - 1
            while fate[before] in (1, 2):
                before -= 1
            duration[before] = max(duration[before], onset[i] + duration[i] - onset[before])
    keep = np.flatnonzero((fate == 0) | (fate == 3))
    bar, beat, weight = grid_columns(onset[keep], melody.meters, melody.bars)
    return replace(
        melody.only(keep),
        onset=onset[keep],
        duration=None if duration is None else duration[keep],
        bar=bar,
        beat=beat,
        weight=weight,
        onset_seconds=None,
    )


def _shift(onset: npt.NDArray[np.int64], duration: npt.NDArray[np.int64] | None, i: int, by: int, end: int) -> None:
    """Shift one onset, where it stays between its neighbours and on the bars."""
    wanted = int(onset[i]) + by
    after = int(onset[i + 1]) if i + 1 < len(onset) else end
    if not int(onset[i - 1]) < wanted < after:
        return
    onset[i] = wanted
    if duration is not None:
        duration[i] = max(duration[i] - by, _SIXTEENTH // 4)
        # the note before it still ends where this one begins, if it did
        duration[i - 1] = duration[i - 1] + by if duration[i - 1] + onset[i - 1] == wanted - by else duration[i - 1]


def with_uncertainty(placed: Placement, share: float, *, draws: int = DRAWS, seed: int = 0) -> Placement:
    """Add the intervals that uncertain notes leave, and mark what does not survive.

    Parameters
    ----------
    placed : Placement
    share : float
        Share of the notes taken as uncertain, 0 to 0.5.
    draws : int
        Perturbed note tables.
    seed : int

    Raises
    ------
    UsageError
        If the share is out of range.
    """
    if not 0 <= share <= 0.5:
        raise UsageError(f"{share:g} of the notes uncertain is out of range", mend="0 to 0.5")
    plan = placed.plan
    if plan is None or share == 0:
        return placed
    rng = np.random.default_rng(seed)
    drawn = joined([_measures(perturbed(placed.melody, share, rng), plan) for _ in range(draws)])
    ranks = rank(norm_of(placed.profile, plan), drawn, len(plan.starts))
    block = drawn.values
    names = placed.profile.names
    features = [
        _feature(f, block[:, names.index(f.name)], ranks.share[:, names.index(f.name)]) for f in placed.features
    ]
    habits = [_habit(h, ranks) for h in placed.habits]
    return replace(placed, features=tuple(features), habits=tuple(habits), uncertain_share=share)


def _measures(melody: Melody, plan: Plan) -> Measures:
    """Measures of a perturbed solo, its excerpts begun where they were as far as its notes go."""
    last = max(0, len(melody) - plan.length)
    starts = tuple(min(start, last) for start in plan.starts)
    return measures(Base(melody), replace(plan, starts=starts))


def _interval(share: Floats, own: float) -> tuple[float, float] | None:
    """Interval of what was measured, round the solo's own rank; None where too little was.

    Perturbing drops and merges notes, which moves every rank a little the same way: it is how far the readings lie
    apart that counts, so they are moved to have the solo's own rank in their middle.
    """
    there = share[np.isfinite(share)]
    if 2 * len(there) < len(share):
        return None
    low, middle, high = np.quantile(there, [INTERVAL[0], 0.5, INTERVAL[1]])
    return max(0.0, float(own + low - middle)), min(1.0, float(own + high - middle))


def _feature(f: FeaturePlace, value: Floats, share: Floats) -> FeaturePlace:
    """Add a feature's interval, and whether its flag survives."""
    if f.verdict == "unmeasured" or f.limits is None:
        return f
    found = _interval(share, f.percentile / 100)
    interval = None if found is None else (100 * found[0], 100 * found[1])
    if not f.outside:
        return replace(f, interval=interval)
    beyond = value < f.limits.lower if f.verdict == "below" else value > f.limits.upper
    return replace(f, interval=interval, unsure=bool(np.mean(beyond) < SURVIVES))


def _habit(h: HabitPlace, ranks: Ranks) -> HabitPlace:
    """Add a habit's interval, and whether its flag survives."""
    if h.verdict == "unmeasured":
        return h
    found = ranks.habits[h.name]
    interval = _interval(found.share, h.share)
    if h.verdict == "none":
        return replace(h, interval=interval)
    return replace(h, interval=interval, unsure=bool(np.mean(found.p <= 0.05) < SURVIVES))
