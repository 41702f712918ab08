"""Held-out checks of a profile: how often it flags clean tunes of its own style, and which habits it can show.

Families (or whole players, where they are known) are dealt into folds; each fold is placed against rungs made of the
others, at note counts on, between and beyond the rungs. With injections, a habit is put into clean held-out excerpts,
into all of the notes or a part, and the share that is seen is counted.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG, HABITS, Base, Line, scan
from stylemeter.music.excerpts import LADDER
from stylemeter.music.melody import Melody
from stylemeter.placement.lengths import Plan, plan_of
from stylemeter.placement.ranks import joined, measures, rank, rung_for
from stylemeter.placement.records import CLEAR_Q
from stylemeter.placement.trust.injection import DOSES, INJECTIONS, Dose, cut, inject
from stylemeter.style.families import tune_families
from stylemeter.style.fit import complete, rung_of
from stylemeter.style.ranks import benjamini_hochberg
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, Rung
from stylemeter.style.sampling import Sample

__all__ = ["COUNTS", "Settings", "calibrate", "held_out"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

#: Note counts checked: every rung, and one between each pair.
COUNTS = (16, 20, 24, 28, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384)
#: Fewest excerpts a share is told of.
FEWEST = 30


@dataclass(frozen=True, slots=True)
class Settings:
    """How a calibration is run.

    Attributes
    ----------
    folds : int
    most : int
        Excerpts a note count (one a family at most).
    inject_counts : tuple of int
        Note counts at which habits are put in.
    inject_most : int
        Excerpts a habit, dose and count.
    coverage : float
    seed : int
    matched : bool
        Compare at the excerpt's own length; False compares all with one rung, which must fail visibly.
    """

    folds: int = 5
    most: int = 1000
    inject_counts: tuple[int, ...] = (24, 32, 48, 64, 96, 128, 192, 256, 384)
    inject_most: int = 200
    coverage: float = 0.9
    seed: int = 0
    matched: bool = True


@dataclass
class _Fold:
    """Rungs made of the other folds' families, and the tunes held out."""

    rungs: dict[int, Rung]
    families: dict[int, int]
    tunes: Ints
    _norms: dict[int, tuple[Rung, Floats]] = field(default_factory=dict)

    def norm(self, plan: Plan, coverage: float) -> tuple[Rung, Floats]:
        """The sample at a plan's length, and the limits of every feature, of shape (2, F); NaN with too few."""
        if plan.length not in self._norms:
            shares = [(1 - coverage) / 2, (1 + coverage) / 2]
            limits = np.zeros((2, len(CATALOG)))
            for notes, part in plan.rungs:
                samples = [self.rungs[notes].ordered(name) for name in CATALOG]
                enough = [s.total >= FAMILIES_FOR_LIMITS for s in samples]
                ends = [s.quantiles(shares) if e else [np.nan] * 2 for s, e in zip(samples, enough, strict=True)]
                limits += part * np.array(ends).T
            self._norms[plan.length] = rung_for(self.rungs.__getitem__, plan.rungs, plan.length), limits
        return self._norms[plan.length]


def _folds(sample: Sample, family: Ints, groups: Ints, settings: Settings) -> list[_Fold]:
    """Deal the groups into folds and complete each one's rungs."""
    rng = np.random.default_rng(settings.seed)
    _, number = np.unique(groups, return_inverse=True)
    dealt = rng.permutation(int(number.max()) + 1) % settings.folds
    fold_of_tune = dealt[number]
    folds = []
    for k in range(settings.folds):
        rungs = {}
        for notes in LADDER:
            rows = np.flatnonzero((sample.rung == notes) & (fold_of_tune[sample.tune] != k))
            if not len(rows):
                continue
            rung = rung_of(sample, family, notes, rows)
            if rung.families >= FAMILIES_FOR_LIMITS:
                complete(rung, distance=False)
                rungs[notes] = rung
        families = {notes: rung.families for notes, rung in rungs.items()}
        folds.append(_Fold(rungs, families, np.flatnonzero(fold_of_tune == k)))
    return folds


@dataclass(frozen=True, slots=True)
class Held:
    """A held-out excerpt: its melody (cut out) and which it was."""

    tune: int
    melody: Melody
    start: int


def held_out(sample: Sample, family: Ints, fold: _Fold, notes: int, most: int, rng: np.random.Generator) -> list[Held]:
    """Draw one excerpt of a note count from as many held-out families as there are, `most` at most."""
    lengths = np.array([len(sample.intervals[t]) + 1 for t in fold.tunes])
    long = fold.tunes[lengths >= notes]
    chosen: dict[int, int] = {}
    for tune in rng.permutation(long).tolist():
        chosen.setdefault(int(family[tune]), tune)
    out = []
    for tune in sorted(chosen.values()):
        length = len(sample.intervals[tune]) + 1
        out.append((tune, int(rng.integers(0, length - notes + 1))))
    picked = [out[i] for i in sorted(rng.permutation(len(out))[:most].tolist())]
    return [Held(tune, sample.melody(tune), start) for tune, start in picked]


@dataclass(frozen=True, slots=True)
class _Judged:
    """Verdicts of many excerpts, of shape (C, features) and (C, habits)."""

    measured: Bools
    outside: Bools
    clear: Bools
    p: Floats
    shown: Bools
    hinted: Bools
    free: Bools
    habit_p: Floats
    telling: Ints


def _judge(fold: _Fold, notes: int, melodies: Sequence[tuple[Base, int]], settings: Settings) -> _Judged | None:
    """Place excerpts (base, start) of a note count against a fold, as `place` would."""
    plan = plan_of(fold.families, notes) if settings.matched else plan_of({64: fold.families.get(64, 0)}, 64)
    if plan is None or plan.provisional or not melodies:
        return None
    norm, (low, high) = fold.norm(plan, settings.coverage)
    if settings.matched:
        found = rank(norm, joined([measures(b, _moved(plan, start)) for b, start in melodies]), len(plan.starts))
    else:
        whole = Plan(notes, plan.rungs, (0,), notes, False, "")
        found = rank(norm, joined([measures(base, _moved(whole, start)) for base, start in melodies]))
    single = found.values.astype(np.float32)
    measured = np.isfinite(found.p) & np.isfinite(low) & np.isfinite(found.values)
    outside = measured & ((single < low.astype(np.float32)) | (single > high.astype(np.float32)))
    habit_p = np.column_stack([h.p for h in found.habits.values()])
    free = np.column_stack([h.p_free for h in found.habits.values()])
    shown = _adjusted(habit_p) <= CLEAR_Q
    return _Judged(
        measured=measured,
        outside=outside,
        clear=outside & (_adjusted(np.where(measured, found.p, np.nan)) <= CLEAR_Q),
        p=np.where(measured, found.p, np.nan),
        shown=shown,
        hinted=~shown & (habit_p <= 0.05),
        free=_adjusted(free) <= CLEAR_Q,
        habit_p=habit_p,
        telling=np.column_stack([h.telling for h in found.habits.values()]),
    )


def _moved(plan: Plan, by: int) -> Plan:
    """The plan of an excerpt that begins at a note of its tune."""
    return replace(plan, starts=tuple(start + by for start in plan.starts))


def _adjusted(p: Floats) -> Floats:
    """Benjamini-Hochberg over the measured entries of each row."""
    q = np.full(p.shape, np.nan)
    for row, out in zip(p, q, strict=True):
        there = np.isfinite(row)
        if there.any():
            out[there] = benjamini_hochberg(row[there])
    return q


def _share(hits: int, of: int) -> float | None:
    return round(hits / of, 4) if of else None


def _from_uniform(p: Floats) -> float | None:
    """Kolmogorov-Smirnov distance of p-values from what they should be: uniform."""
    there = np.sort(p[np.isfinite(p)])
    if len(there) < FEWEST:
        return None
    steps = np.arange(len(there) + 1) / len(there)
    return round(float(max((steps[1:] - there).max(), (there - steps[:-1]).max())), 4)


def _clean(
    sample: Sample, family: Ints, folds: Sequence[_Fold], notes: int, settings: Settings
) -> dict[str, Any] | None:
    """Flags on clean held-out excerpts of one note count."""
    rng = np.random.default_rng([settings.seed, notes])
    judged = []
    for fold in folds:
        held = held_out(sample, family, fold, notes, -(-settings.most // len(folds)), rng)
        found = _judge(fold, notes, [(Base(h.melody), h.start) for h in held], settings)
        if found is not None:
            judged.append(found)
    if sum(len(j.outside) for j in judged) < FEWEST:
        return None

    def all_of(name: str) -> Any:
        return np.concatenate([getattr(j, name) for j in judged])

    outside, measured, p, habit_p = all_of("outside"), all_of("measured"), all_of("p"), all_of("habit_p")
    count = len(outside)
    number = outside.sum(axis=1)
    distances = [d for i in range(len(CATALOG)) if (d := _from_uniform(p[:, i])) is not None]
    return {
        "excerpts": count,
        "outside": {
            name: _share(int(outside[:, i].sum()), int(measured[:, i].sum()))
            for i, name in enumerate(CATALOG)
            if measured[:, i].sum() >= FEWEST
        },
        "outside_mean": round(float(outside.sum() / measured.sum()), 4),
        "outside_spread": {
            "mean": round(float(number.mean()), 2),
            "sd": round(float(number.std()), 2),
            "nine_in_ten": int(np.quantile(number, 0.9, method="higher")),
        },
        "measured_mean": round(float(measured.sum() / count), 2),
        "clear_mean": round(float(all_of("clear").sum() / count), 4),
        "any_clear": _share(int(all_of("clear").any(axis=1).sum()), count),
        "from_uniform": round(float(np.median(distances)), 4) if distances else None,
        "habits": {
            name: {
                "shown": _share(int(all_of("shown")[:, i].sum()), count),
                "hinted": _share(int(all_of("hinted")[:, i].sum()), count),
                "free": _share(int(all_of("free")[:, i].sum()), count),
                "from_uniform": _from_uniform(habit_p[:, i]),
            }
            for i, name in enumerate(HABITS)
        },
    }


def _injected(
    sample: Sample, family: Ints, folds: Sequence[_Fold], notes: int, habit: str, dose: Dose, settings: Settings
) -> dict[str, Any] | None:
    """How often a habit is seen when it is put into clean excerpts."""
    rng = np.random.default_rng([settings.seed, notes, list(INJECTIONS).index(habit), list(DOSES).index(dose)])
    column = list(HABITS).index(habit)
    shown = hinted = count = placed = right = 0
    for fold in folds:
        held = held_out(sample, family, fold, notes, -(-settings.inject_most // len(folds)), rng)
        held = [h for h in held if h.melody.key is not None and (habit != "scale" or h.melody.key.mode is not None)]
        changed = [inject(habit, cut(h.melody, h.start, h.start + notes), dose, rng) for h in held]
        found = _judge(fold, notes, [(Base(melody), 0) for melody, _, _ in changed], settings)
        if found is None:
            continue
        count += len(changed)
        shown += int(found.shown[:, column].sum())
        hinted += int(found.hinted[:, column].sum())
        if dose not in ("half", "quarter"):
            continue
        for row in np.flatnonzero((found.shown | found.hinted)[:, column]).tolist():
            melody, start, stop = changed[row]
            placed += 1
            right += _lies_in(_place(habit, melody, int(found.telling[row, column])), start, stop)
    if count < FEWEST:
        return None
    result = {"excerpts": count, "shown": _share(shown, count), "hinted": _share(hinted, count)}
    return result | ({"right_place": _share(right, placed)} if dose in ("half", "quarter") else {})


def _place(habit: str, melody: Melody, telling: int) -> tuple[int, int] | None:
    """The stretch that shows a habit: of the scan that shows it most, else of its first."""
    found = scan(Line(melody), HABITS[habit].scans[max(0, telling - 1)].name)
    return None if found is None else found[1:]


def _lies_in(stretch: tuple[int, int] | None, start: int, stop: int) -> bool:
    """Whether most of a named stretch lies in the notes that were changed."""
    if stretch is None:
        return False
    common = min(stop, stretch[1]) - max(start, stretch[0])
    return 2 * common > stretch[1] - stretch[0]


def calibrate(
    sample: Sample,
    settings: Settings,
    *,
    groups: Sequence[int] | None = None,
    with_injections: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Any]:
    """Run the held-out checks of a sample.

    Parameters
    ----------
    sample : Sample
    settings : Settings
    groups : sequence of int, optional
        Of each tune, what is held out together: a player, say. Its family by default.
    with_injections : bool
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    dict
        What goes into ``calibration.json``.
    """
    family = tune_families(sample.intervals)
    folds = _folds(sample, family, family if groups is None else np.asarray(groups), settings)
    steps = len(COUNTS) + (len(INJECTIONS) * len(DOSES) * len(settings.inject_counts) if with_injections else 0)
    done = 0

    def step() -> None:
        nonlocal done
        done += 1
        if progress:
            progress(done, steps)

    clean: dict[str, Any] = {}
    injected: dict[str, Any] = {}
    for notes in COUNTS:
        found = _clean(sample, family, folds, notes, settings)
        if found is not None:
            clean[str(notes)] = found
        step()
    for habit in INJECTIONS if with_injections else ():
        injected[habit] = {dose: {} for dose in DOSES}
        for dose in DOSES:
            for notes in settings.inject_counts:
                found = _injected(sample, family, folds, notes, habit, dose, settings)
                if found is not None:
                    injected[habit][dose][str(notes)] = found
                step()
    return {
        "schema": "stylemeter/calibration/1",
        "folds": settings.folds,
        "held_out": "families" if groups is None else "groups",
        "coverage": settings.coverage,
        "seed": settings.seed,
        "matched": settings.matched,
        "input_digest": sample.digest,
        "clean": clean,
        "injected": injected,
    }
