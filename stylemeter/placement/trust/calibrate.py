"""Held-out checks of a profile: how often it flags clean tunes of its own style, and which habits it can show.

Families are dealt into folds; each fold is placed against rungs made of the others, at note counts on and between
the rungs. With injections, a habit is put into clean held-out excerpts and the share that is seen is counted.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from stylemeter.features import CATALOG, HABITS, Base, Line, clearest_stretch, values
from stylemeter.music.excerpts import LADDER, overlapping_starts
from stylemeter.music.melody import Melody
from stylemeter.placement.lengths import plan_of
from stylemeter.placement.ranks import Ranks, column_mean, column_median, rank_excerpts
from stylemeter.placement.trust.injection import INJECTIONS, cut, inject
from stylemeter.style.families import tune_families
from stylemeter.style.fit import complete
from stylemeter.style.ranks import benjamini_hochberg, weighted_quantile
from stylemeter.style.rung import FAMILIES_FOR_LIMITS, Rung
from stylemeter.style.sampling import Sample

__all__ = ["COUNTS", "DOSES", "Settings", "calibrate", "held_out"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Note counts checked: every rung, and one between each pair.
COUNTS = (16, 20, 24, 28, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384)
#: Share of the notes a habit is put into: a half is the weak dose, all of them the strong one.
DOSES = {"half": 0.5, "whole": 1.0}

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
    inject_counts: tuple[int, ...] = (24, 32, 48, 64, 96, 128)
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
    limits: dict[int, Floats] = field(default_factory=dict)

    def limits_of(self, notes: int, coverage: float) -> Floats:
        """Lower and upper limit of every feature at a rung, of shape (2, F); NaN with too few families."""
        if notes not in self.limits:
            rung = self.rungs[notes]
            rows = np.full((2, len(rung.names)), np.nan)
            for i, name in enumerate(rung.names):
                sample = rung.ordered(name)
                if sample.total >= FAMILIES_FOR_LIMITS:
                    shares = [(1 - coverage) / 2, (1 + coverage) / 2]
                    rows[:, i] = weighted_quantile(sample.values, sample.weight, shares)
            self.limits[notes] = rows
        return self.limits[notes]


def _folds(sample: Sample, family: Ints, settings: Settings) -> list[_Fold]:
    """Deal the families into folds and complete each one's rungs."""
    rng = np.random.default_rng(settings.seed)
    dealt = rng.permutation(int(family.max()) + 1) % settings.folds
    fold_of_tune = dealt[family]
    folds = []
    for k in range(settings.folds):
        rungs = {}
        for notes in LADDER:
            rows = np.flatnonzero((sample.rung == notes) & (fold_of_tune[sample.tune] != k))
            if not len(rows):
                continue
            rung = Rung(notes, list(CATALOG), family[sample.tune[rows]], sample.values[rows])
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


def _block(lines: Sequence[Line]) -> Floats:
    return np.array([values(line) for line in lines]).reshape(len(lines), len(CATALOG))


@dataclass(frozen=True, slots=True)
class _Judged:
    """Verdicts of many excerpts."""

    outside: npt.NDArray[np.bool_]
    measured: npt.NDArray[np.bool_]
    clear: npt.NDArray[np.bool_]
    shown: dict[str, npt.NDArray[np.bool_]]
    hinted: dict[str, npt.NDArray[np.bool_]]


def _judge(fold: _Fold, notes: int, melodies: Sequence[tuple[Base, int]], settings: Settings) -> _Judged | None:
    """Place excerpts (base, start) of a note count against a fold, as `placement` would."""
    plan = plan_of(fold.families, notes) if settings.matched else plan_of({64: fold.families.get(64, 0)}, 64)
    if plan is None or plan.provisional or not melodies:
        return None
    cuts = overlapping_starts(notes, plan.length) if settings.matched else [0]
    length = plan.length if settings.matched else notes
    per_cut = [_block([Line(base, start + c, start + c + length) for base, start in melodies]) for c in cuts]
    ranks = [rank_excerpts(fold.rungs.__getitem__, plan.rungs, block) for block in per_cut]
    value = per_cut[0] if len(cuts) == 1 else np.stack([column_median(np.stack(v)) for v in zip(*per_cut, strict=True)])
    lower, upper = np.zeros(len(CATALOG)), np.zeros(len(CATALOG))
    for rung_notes, part in plan.rungs:
        ends = fold.limits_of(rung_notes, settings.coverage)
        lower, upper = lower + part * ends[0], upper + part * ends[1]
    p = _mean([r.p for r in ranks])
    single = value.astype(np.float32)
    measured = np.isfinite(p) & np.isfinite(lower) & np.isfinite(value)
    low, high = lower.astype(np.float32), upper.astype(np.float32)
    outside = measured & ((single < low) | (single > high))
    q = _adjusted(np.where(measured, p, np.nan))
    shown, hinted = _habit_verdicts(ranks)
    return _Judged(outside, measured, outside & (q <= 0.05), shown, hinted)


def _mean(blocks: Sequence[Floats]) -> Floats:
    """Mean of the measured entries over the excerpts of a long solo."""
    if len(blocks) == 1:
        return blocks[0]
    stacked = np.stack(blocks)
    return column_mean(stacked.reshape(len(blocks), -1)).reshape(blocks[0].shape)


def _adjusted(p: Floats) -> Floats:
    """Benjamini-Hochberg over the measured entries of each row."""
    q = np.full(p.shape, np.nan)
    for row, out in zip(p, q, strict=True):
        there = np.isfinite(row)
        if there.any():
            out[there] = benjamini_hochberg(row[there])
    return q


def _habit_verdicts(ranks: Sequence[Ranks]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Which excerpts show or hint at each habit."""
    names = list(HABITS)
    p = np.column_stack([_mean([r.habits[name].p[:, None] for r in ranks]) for name in names])
    q = _adjusted(p)
    shown = {name: q[:, i] <= 0.05 for i, name in enumerate(names)}
    hinted = {name: (q[:, i] > 0.05) & (p[:, i] <= 0.05) for i, name in enumerate(names)}
    return shown, hinted


def _share(hits: int, of: int) -> float | None:
    return round(hits / of, 4) if of else None


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
    outside = np.concatenate([j.outside for j in judged])
    measured = np.concatenate([j.measured for j in judged])
    clear = np.concatenate([j.clear for j in judged])
    count = len(outside)
    return {
        "excerpts": count,
        "outside": {
            name: _share(int(outside[:, i].sum()), int(measured[:, i].sum()))
            for i, name in enumerate(CATALOG)
            if measured[:, i].sum() >= FEWEST
        },
        "outside_mean": round(float(outside.sum() / measured.sum()), 4),
        "measured_mean": round(float(measured.sum() / count), 2),
        "clear_mean": round(float(clear.sum() / count), 4),
        "habits": {
            name: {
                "shown": _share(int(sum(j.shown[name].sum() for j in judged)), count),
                "hinted": _share(int(sum(j.hinted[name].sum() for j in judged)), count),
            }
            for name in HABITS
        },
    }


def _injected(
    sample: Sample, family: Ints, folds: Sequence[_Fold], notes: int, habit: str, dose: str, settings: Settings
) -> dict[str, Any] | None:
    """How often a habit is seen when it is put into clean excerpts."""
    rng = np.random.default_rng([settings.seed, notes, list(INJECTIONS).index(habit), list(DOSES).index(dose)])
    shown = hinted = count = placed = right = 0
    for fold in folds:
        held = held_out(sample, family, fold, notes, -(-settings.inject_most // len(folds)), rng)
        held = [h for h in held if h.melody.key is not None and (habit != "scale" or h.melody.key.mode is not None)]
        changed = [inject(habit, cut(h.melody, h.start, h.start + notes), DOSES[dose], rng) for h in held]
        found = _judge(fold, notes, [(Base(melody), 0) for melody, _, _ in changed], settings)
        if found is None:
            continue
        count += len(changed)
        shown += int(found.shown[habit].sum())
        hinted += int(found.hinted[habit].sum())
        for seen, (melody, start, stop) in zip(found.shown[habit] | found.hinted[habit], changed, strict=True):
            if seen and dose == "half":
                placed += 1
                right += _lies_in(clearest_stretch(HABITS[habit], Line(melody)), start, stop)
    if count < FEWEST:
        return None
    result = {"excerpts": count, "shown": _share(shown, count), "hinted": _share(hinted, count)}
    return result | ({"right_place": _share(right, placed)} if dose == "half" else {})


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
    with_injections: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Any]:
    """Run the held-out checks of a sample.

    Parameters
    ----------
    sample : Sample
    settings : Settings
    with_injections : bool
    progress : callable, optional
        Called with steps done and steps in all.

    Returns
    -------
    dict
        What goes into ``calibration.json``.
    """
    family = tune_families(sample.intervals)
    folds = _folds(sample, family, settings)
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
        "coverage": settings.coverage,
        "seed": settings.seed,
        "matched": settings.matched,
        "input_digest": sample.digest,
        "clean": clean,
        "injected": injected,
    }
