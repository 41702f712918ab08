"""Two samples side by side: two styles, two folders, two terms of a class, two players.

Both are cut at one length of the ladder, so that no difference is an effect of length; a tune family counts as one
value, the mean of its excerpts. What differs is told with its size and how surely, trait by trait; shapes by their
distance; and the patterns that tell the two apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import numpy.typing as npt

from stylemeter.errors import InputError, ProfileError, UsageError
from stylemeter.features import CATALOG, habit_of
from stylemeter.music.excerpts import LADDER
from stylemeter.style.collections import Collection, tune_sources
from stylemeter.style.effects import (
    Effect,
    distance_interval,
    drawn_times,
    effect,
    log_odds,
    paired_effect,
    robust_log_odds,
)
from stylemeter.style.families import tune_families
from stylemeter.style.patterns import KINDS, Kind, Lines, count_patterns
from stylemeter.style.profile import Profile
from stylemeter.style.ranks import benjamini_hochberg, family_weights, jensen_shannon
from stylemeter.style.sampling import Sample, gather
from stylemeter.style.vocabulary import LENGTHS, SHARED_BY
from stylemeter.takes.pairs import pair_names

__all__ = [
    "Comparison",
    "PatternDifference",
    "Shape",
    "Side",
    "Trait",
    "compare",
    "gathered_side",
    "joined_families",
    "profile_side",
    "united",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: q at or below which a difference is told as one.
DIFFERS_Q = 0.05
#: Least families a side in which a trait must be measured, and a pattern be found in both sides together.
LEAST_FAMILIES, LEAST_SHARING = 5, 8
#: Share of its families that a side must keep at the length chosen.
KEPT = 0.75
#: Pseudo-counts of all patterns of a kind and length together, in proportion to how common they are in both sides.
PRIOR = 500.0
#: Share of a pattern's occurrences that a longer one must hold to be told in its place.
EXPLAINED = 0.8
#: Traits in the summary, one a habit or family of features.
HEARD = 5
#: Least size of a difference in the summary: 57 of 100 pairs of tunes go one way.
HEARD_DELTA = 0.147


# -- the sides -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Rows:
    """Excerpts of one length.

    Attributes
    ----------
    unit : ndarray of shape (R,)
        Tune family of each row.
    values : ndarray of shape (R, F)
    tune : ndarray of shape (R,) or None
        Tune of each row, where it is known.
    """

    unit: Ints
    values: npt.NDArray[np.float32]
    tune: Ints | None = None


@dataclass(frozen=True, eq=False)
class Side:
    """One of two samples.

    Attributes
    ----------
    name : str
        As said.
    profile : Profile or None
        A fitted style.
    sample : Sample or None
        Tunes read; exactly one of the two is there.
    family : ndarray of shape (n_tunes,) or None
        Tune family of each, the numbers of both sides' together.
    """

    name: str
    profile: Profile | None = None
    sample: Sample | None = None
    family: Ints | None = None

    @cached_property
    def families(self) -> dict[int, int]:
        """Families by note count."""
        if self.profile is not None:
            return self.profile.rung_families
        assert self.sample is not None
        assert self.family is not None
        found = {n: len(np.unique(self.family[self.sample.tune[self.sample.rung == n]])) for n in LADDER}
        return {n: count for n, count in found.items() if count}

    def rows(self, notes: int) -> Rows:
        """Excerpts of a length."""
        if self.profile is not None:
            rung = self.profile.full_rung(notes)
            return Rows(rung.family, rung.values)
        assert self.sample is not None
        assert self.family is not None
        at = np.flatnonzero(self.sample.rung == notes)
        return Rows(self.family[self.sample.tune[at]], self.sample.values[at], self.sample.tune[at])

    @property
    def tunes(self) -> int:
        """Tunes there are."""
        if self.profile is not None:
            return self.profile.tunes
        assert self.sample is not None
        return len(self.sample.labels)


def profile_side(profile: Profile) -> Side:
    """A fitted style as a side."""
    return Side(profile.name, profile=profile)


def gathered_side(
    name: str,
    collections: Sequence[Collection],
    *,
    open_data: Path | None = None,
    workers: int = 1,
    scheduler: str | None = None,
) -> tuple[Side, list[str]]:
    """Read collections, folders or files as a side.

    Returns
    -------
    side, remarks
        A line for each tune that could not be read or was left out.
    """
    parts, remarks = [], []
    for collection in collections:
        sources, notes = tune_sources(collection, open_data)
        remarks += notes
        parts.append((sources, collection.reading))
    sample = gather(parts, workers=workers, scheduler=scheduler)
    return Side(name, sample=sample), remarks + sample.failures


def joined_families(sides: Sequence[Side]) -> list[Side]:
    """Number the tune families of all sides together: one tune's variants on two sides are one family."""
    read = [s.sample for s in sides if s.sample is not None]
    if not read:
        return list(sides)
    family = tune_families([line for sample in read for line in sample.intervals])
    found, at = [], 0
    for side in sides:
        if side.sample is None:
            found.append(side)
            continue
        count = len(side.sample.labels)
        found.append(replace(side, family=family[at : at + count]))
        at += count
    return found


def united(name: str, sides: Sequence[Side]) -> Side:
    """Several sides of tunes read, their families numbered together, as one."""
    samples = [s.sample for s in sides if s.sample is not None]
    families = [s.family for s in sides if s.family is not None]
    starts = np.cumsum([0, *(len(s.labels) for s in samples)])
    sample = Sample(
        labels=[label for s in samples for label in s.labels],
        intervals=[line for s in samples for line in s.intervals],
        lines=[line for s in samples for line in s.lines],
        packed=[text for s in samples for text in s.packed],
        tune=np.concatenate([s.tune + start for s, start in zip(samples, starts[:-1], strict=True)]),
        rung=np.concatenate([s.rung for s in samples]),
        values=np.concatenate([s.values for s in samples]),
        shapes={k: [cells for s in samples for cells in s.shapes[k]] for k in samples[0].shapes},
        meter=[label for s in samples for label in s.meter],
        failures=[line for s in samples for line in s.failures],
        digest="",
    )
    return Side(name, sample=sample, family=np.concatenate(families))


# -- what is found -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Trait:
    """How a trait differs.

    Attributes
    ----------
    name : str
        A feature.
    families : tuple of int
        In which it is measured, on either side; pairs, where the takes are paired.
    middle : tuple of float
        Median on either side.
    effect : Effect or None
        Positive where the first side has more; None with fewer than five families.
    q : float
    """

    name: str
    families: tuple[int, int]
    middle: tuple[float, float]
    effect: Effect | None
    q: float = math.nan

    @property
    def differs(self) -> bool:
        """Whether the difference is told as one."""
        return self.q <= DIFFERS_Q


@dataclass(frozen=True)
class Shape:
    """How a distribution differs.

    Attributes
    ----------
    name : {"intervals", "degrees", "iois", "onsets"}
    label : str
        Meter the onsets are compared within.
    distance : float
        Jensen-Shannon, base 2.
    interval : tuple of float
        By family bootstrap; NaN for fitted styles, which keep the mean alone.
    chance : float
        The distance one in twenty shuffles go beyond.
    cells : tuple of tuple of float
        Mean shares of either side.
    """

    name: str
    label: str
    distance: float
    interval: tuple[float, float]
    chance: float
    cells: tuple[tuple[float, ...], tuple[float, ...]]


@dataclass(frozen=True)
class PatternDifference:
    """A pattern that tells the two apart.

    Attributes
    ----------
    kind : {"intervals", "rhythm", "degrees"}
    pattern : str
    length : int
    counts, families : tuple of int
    rates : tuple of float
        Occurrences a hundred places a pattern of its kind and length has.
    log_odds, z : float
        See `effects.log_odds`; positive where the first side has more.
    robust_z, p, q : float
        See `effects.robust_log_odds`.
    """

    kind: Kind
    pattern: str
    length: int
    counts: tuple[int, int]
    families: tuple[int, int]
    rates: tuple[float, float]
    log_odds: float
    z: float
    robust_z: float
    p: float
    q: float


@dataclass(frozen=True, eq=False)
class Comparison:
    """All that is found.

    Attributes
    ----------
    names : tuple of str
    notes : int
        Length of the excerpts.
    families, tunes : tuple of int
    players : tuple of str
        Whose takes are paired; empty where they are not.
    traits : tuple of Trait
        The surest and greatest differences first.
    shapes : tuple of Shape
    patterns : tuple of PatternDifference
        Those that tell the two apart, told once, the strongest first.
    tried : int
        Patterns q is adjusted over.
    heard : tuple of Trait
        What a listener would hear first.
    reason : str
        Why there are no patterns; empty where there may be.
    """

    names: tuple[str, str]
    notes: int
    families: tuple[int, int]
    tunes: tuple[int, int]
    players: tuple[str, ...]
    traits: tuple[Trait, ...]
    shapes: tuple[Shape, ...]
    patterns: tuple[PatternDifference, ...]
    tried: int
    heard: tuple[Trait, ...]
    reason: str = ""


def compare(a: Side, b: Side, *, notes: int | None = None, paired: bool = True, seed: int = 0) -> Comparison:
    """Compare two sides.

    Parameters
    ----------
    a, b : Side
        Families numbered together (`joined_families`).
    notes : int, optional
        Length of the ladder to compare at; else the longest that keeps three quarters of either side's families.
    paired : bool
        Whether takes are paired where their names say so.
    seed : int

    Raises
    ------
    InputError
        If a side has too few families.
    UsageError
        If the length is not one of the ladder's, or a side has too few families there.
    """
    length = _length(a, b, notes)
    rows = a.rows(length), b.rows(length)
    pairs = _pairs(a, b) if paired else {}
    traits = _traits(rows, pairs, seed)
    patterns, tried, reason = _patterns(a, b)
    return Comparison(
        names=(a.name, b.name),
        notes=length,
        families=(a.families[length], b.families[length]),
        tunes=(a.tunes, b.tunes),
        players=tuple(pairs),
        traits=traits,
        shapes=_shapes(a, b, length, seed),
        patterns=patterns,
        tried=tried,
        heard=_heard(traits),
        reason=reason,
    )


def _length(a: Side, b: Side, notes: int | None) -> int:
    """Length to compare at."""
    if notes is not None and notes not in LADDER:
        raise UsageError(
            f"--notes {notes} is not a length tunes are cut at", mend="one of " + ", ".join(map(str, LADDER))
        )
    for side in (a, b):
        most = max(side.families.values(), default=0)
        if most < LEAST_FAMILIES:
            raise InputError(
                f"{most} different tunes of {LADDER[0]} notes or more are too few to compare",
                where=side.name,
                mend=f"{LEAST_FAMILIES} are the least",
            )
    if notes is not None:
        for side in (a, b):
            if side.families.get(notes, 0) < LEAST_FAMILIES:
                raise UsageError(
                    f"{side.name} has {side.families.get(notes, 0)} different tunes of {notes} notes or more",
                    mend=f"{LEAST_FAMILIES} are the least: take shorter excerpts with --notes",
                )
        return notes
    enough = [
        n
        for n in LADDER
        if all(s.families.get(n, 0) >= max(LEAST_FAMILIES, KEPT * max(s.families.values())) for s in (a, b))
    ]
    return max(enough, default=LADDER[0])


def _pairs(a: Side, b: Side) -> dict[str, tuple[list[int], list[int]]]:
    """Takes of either side by player, where names say so."""
    if a.sample is None or b.sample is None:
        return {}
    return pair_names(a.sample.labels, b.sample.labels)


# -- traits --------------------------------------------------------------------------------------------------------


def _unit_means(rows: Rows) -> Floats:
    """Mean of each family's excerpts, of shape (families, F); NaN where none is measured."""
    _, unit = np.unique(rows.unit, return_inverse=True)
    values = rows.values.astype(float)
    measured = np.isfinite(values)
    count = np.zeros((int(unit.max()) + 1, values.shape[1]))
    total = np.zeros_like(count)
    np.add.at(count, unit, measured)
    np.add.at(total, unit, np.where(measured, values, 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        means: Floats = np.where(count > 0, total / count, np.nan)
    return means


def _traits(rows: tuple[Rows, Rows], pairs: dict[str, tuple[list[int], list[int]]], seed: int) -> tuple[Trait, ...]:
    if pairs:
        found = _paired_traits(rows, pairs, seed)
    else:
        means = [_unit_means(r) for r in rows]
        # all traits in the same draws
        times = [drawn_times(len(m), seed=seed + side) for side, m in enumerate(means)]
        found = []
        for i, name in enumerate(CATALOG):
            there = [np.isfinite(m[:, i]) for m in means]
            x, y = (m[mask, i] for m, mask in zip(means, there, strict=True))
            enough = min(len(x), len(y)) >= LEAST_FAMILIES
            drawn = (t[:, mask] for t, mask in zip(times, there, strict=True))
            found.append(
                Trait(
                    name,
                    (len(x), len(y)),
                    (_middle(x), _middle(y)),
                    effect(x, y, *drawn, seed=seed) if enough else None,
                )
            )
    return _adjusted(found)


def _paired_traits(rows: tuple[Rows, Rows], pairs: dict[str, tuple[list[int], list[int]]], seed: int) -> list[Trait]:
    """A value a player on either side: the mean over the excerpts of the player's takes."""
    means = []
    for side, excerpts in enumerate(rows):
        player = np.full(int(excerpts.tune.max()) + 1 if excerpts.tune is not None else 0, -1, dtype=np.int64)
        for number, both in enumerate(pairs.values()):
            inside = [t for t in both[side] if t < len(player)]
            player[inside] = number
        assert excerpts.tune is not None
        of = player[excerpts.tune]
        table = np.full((len(pairs), excerpts.values.shape[1]), np.nan)
        present = np.unique(of[of >= 0])
        table[present] = _unit_means(Rows(of[of >= 0], excerpts.values[of >= 0]))
        means.append(table)
    found = []
    for i, name in enumerate(CATALOG):
        both = np.isfinite(means[0][:, i]) & np.isfinite(means[1][:, i])
        x, y = means[0][both, i], means[1][both, i]
        count = int(both.sum())
        enough = count >= LEAST_FAMILIES
        found.append(
            Trait(name, (count, count), (_middle(x), _middle(y)), paired_effect(x, y, seed=seed) if enough else None)
        )
    return found


def _middle(values: Floats) -> float:
    return float(np.median(values)) if len(values) else math.nan


def _adjusted(traits: Sequence[Trait]) -> tuple[Trait, ...]:
    """With q over the traits compared, the differences first, the greatest first."""
    told = [t for t in traits if t.effect is not None]
    q = benjamini_hochberg([t.effect.p for t in told if t.effect is not None]).tolist()
    rest = [t for t in traits if t.effect is None]
    ranked = [replace(t, q=v) for t, v in zip(told, q, strict=True)]
    ranked.sort(key=lambda t: (not t.differs, -abs(t.effect.delta) if t.effect else 0.0))
    return (*ranked, *rest)


def _heard(traits: Sequence[Trait]) -> tuple[Trait, ...]:
    """The greatest sure differences, one a habit or family of features."""
    found: list[Trait] = []
    groups = set()
    for t in traits:
        group = habit_of(CATALOG[t.name]) or CATALOG[t.name].family
        if t.effect is None or not t.differs or abs(t.effect.delta) < HEARD_DELTA or group in groups:
            continue
        groups.add(group)
        found.append(t)
    return tuple(found[:HEARD])


# -- shapes --------------------------------------------------------------------------------------------------------


def _shapes(a: Side, b: Side, notes: int, seed: int) -> tuple[Shape, ...]:
    found = []
    for name in ("intervals", "degrees", "iois", "onsets"):
        left, right = _cells(a, name, notes), _cells(b, name, notes)
        for label in sorted(left.keys() & right.keys()):
            x, y = left[label], right[label]
            if x.shape[-1] != y.shape[-1] or not x.shape[-1]:
                continue
            cells = tuple(x.mean(axis=0).tolist()), tuple(y.mean(axis=0).tolist())
            if min(len(x), len(y)) >= LEAST_FAMILIES:
                distance, interval, chance = distance_interval(x, y, seed=seed)
            elif a.profile is not None or b.profile is not None:
                distance, interval, chance = float(jensen_shannon(*cells)), (math.nan, math.nan), math.nan
            else:
                continue
            found.append(Shape(name, label, distance, interval, chance, cells))
    return tuple(found)


def _cells(side: Side, name: str, notes: int) -> dict[str, Floats]:
    """Mean distribution of each family by meter ("" where that doesn't matter); of a fitted style its mean alone."""
    if side.profile is not None:
        kept = side.profile.norm(notes).distributions.get(name)
        means = kept if isinstance(kept, dict) else {"": kept or []}
        return {label: np.array([cells], dtype=float) for label, cells in means.items() if cells}
    sample, family = side.sample, side.family
    assert sample is not None
    assert family is not None
    found: dict[str, Floats] = {}
    rows = np.flatnonzero(sample.rung == notes)
    labels = [sample.meter[r] if name == "onsets" else "" for r in rows.tolist()]
    for label in sorted(set(labels)):
        chosen = [r for r, there in zip(rows.tolist(), labels, strict=True) if there == label]
        chosen = [r for r in chosen if len(sample.shapes[name][r])]
        if not chosen or (name == "onsets" and not label):
            continue
        block = np.stack([sample.shapes[name][r] for r in chosen]).astype(float)
        unit = np.unique(family[sample.tune[chosen]], return_inverse=True)[1].astype(np.int64)
        weight = family_weights(unit, np.ones(len(unit), dtype=bool))
        means_of = np.zeros((int(unit.max()) + 1, block.shape[1]))
        np.add.at(means_of, unit, block * weight[:, None])
        found[label] = means_of
    return found


# -- patterns ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Counts:
    """Patterns of a kind and length on one side.

    `row` finds a pattern's place by its text in `columns`: counts, families, sums of squares and of products.
    `dropped` is the number of families that a pattern left out may have.
    """

    row: dict[str, int]
    columns: tuple[Floats, Floats, Floats, Floats]
    places: float
    squared_places: float
    dropped: float

    def of(self, texts: Sequence[str]) -> list[Floats]:
        """Columns for patterns; one that is not there was dropped, and counts as if all that may have it did."""
        at = np.array([self.row.get(t, -1) for t in texts], dtype=np.int64)
        instead = (self.dropped, self.dropped, self.dropped, 0.0)
        return [np.append(column, there)[at] for column, there in zip(self.columns, instead, strict=True)]


_COLUMNS = ("count", "families", "squares", "products")


def _counts(side: Side, kind: Kind) -> dict[int, _Counts]:
    """Patterns of a kind, by length."""
    if side.profile is not None:
        voc = side.profile.vocabulary
        lengths, texts = voc.column(kind, "length"), voc.column(kind, "pattern")
        found = {}
        for length in LENGTHS:
            rows = np.flatnonzero(lengths == length)
            count, families, squares, products = (voc.column(kind, n)[rows].astype(float) for n in _COLUMNS)
            row = {texts[r]: i for i, r in enumerate(rows.tolist())}
            name = f"{kind} {length}"
            columns = (count, families, squares, products)
            places, squared = float(voc.places[name]), float(voc.squared_places[name])
            found[length] = _Counts(row, columns, places, squared, SHARED_BY - 1.0)
        return found
    assert side.sample is not None
    assert side.family is not None
    lines = Lines.of(side.sample.lines)
    unit = np.unique(side.family, return_inverse=True)[1].astype(np.int64)
    found = {}
    for counted in count_patterns(lines, kind, LENGTHS, family=unit, least_families=2):
        row = {lines.text(kind, note, counted.length): i for i, note in enumerate(counted.first.tolist())}
        count, families, squares, products = (getattr(counted, n).astype(float) for n in _COLUMNS)
        columns = (count, families, squares, products)
        squared = float((counted.family_places.astype(float) ** 2).sum())
        found[counted.length] = _Counts(row, columns, float(len(counted.places)), squared, 1.0)
    return found


def _patterns(a: Side, b: Side) -> tuple[tuple[PatternDifference, ...], int, str]:
    """Patterns that tell the sides apart, how many were tried, and why there can be none."""
    found: list[PatternDifference] = []
    for kind in KINDS:
        try:
            left, right = _counts(a, kind), _counts(b, kind)
        except ProfileError as error:  # a style fitted by an earlier version
            return (), 0, str(error)
        for length in LENGTHS:
            found += _differences(kind, length, left[length], right[length])
    if not found:
        return (), 0, f"no pattern is shared by {LEAST_SHARING} different tunes"
    q = benjamini_hochberg([d.p for d in found]).tolist()
    found = [replace(d, q=v) for d, v in zip(found, q, strict=True)]
    return _told_once([d for d in found if d.q <= DIFFERS_Q], found), len(found), ""


def _differences(kind: Kind, length: int, a: _Counts, b: _Counts) -> list[PatternDifference]:
    from scipy.special import ndtr

    if not a.places or not b.places:
        return []
    texts = sorted(a.row.keys() | b.row.keys())
    if not texts:
        return []
    x, y = a.of(texts), b.of(texts)
    enough = np.flatnonzero(x[1] + y[1] >= LEAST_SHARING)
    if not len(enough):
        return []
    x, y = [c[enough] for c in x], [c[enough] for c in y]
    prior = PRIOR * (x[0] + y[0]) / (a.places + b.places)
    delta, z = log_odds(x[0], a.places, y[0], b.places, prior, PRIOR)
    sides = [(c[0], c[2], c[3], side.places, side.squared_places) for c, side in ((x, a), (y, b))]
    robust = robust_log_odds(delta, prior, *sides)
    p = 2 * ndtr(-np.abs(robust))
    return [
        PatternDifference(
            kind,
            texts[row],
            length,
            (int(x[0][i]), int(y[0][i])),
            (int(x[1][i]), int(y[1][i])),
            (100 * x[0][i] / a.places, 100 * y[0][i] / b.places),
            float(delta[i]),
            float(z[i]),
            float(robust[i]),
            float(p[i]),
            math.nan,
        )
        for i, row in enumerate(enough.tolist())
    ]


def _told_once(told: Sequence[PatternDifference], tried: Sequence[PatternDifference]) -> tuple[PatternDifference, ...]:
    """The strongest first; each as the longest pattern that holds most of its occurrences, and none inside another."""
    by_text = {(d.kind, d.pattern): d for d in tried}
    longer: dict[tuple[str, str], list[PatternDifference]] = {}
    for d in tried:
        parts = d.pattern.split(" ")
        for part in (parts[1:], parts[:-1]):
            longer.setdefault((d.kind, " ".join(part)), []).append(d)
    found: list[PatternDifference] = []
    for d in sorted(told, key=lambda d: (-abs(d.robust_z), d.length, d.kind, d.pattern)):
        side = 0 if d.log_odds > 0 else 1
        if any(_nested(d, f) for f in found):
            continue
        while True:
            best = max(
                (w for w in longer.get((d.kind, d.pattern), []) if (w.log_odds > 0) == (d.log_odds > 0)),
                key=lambda w: (w.counts[side], w.pattern),
                default=None,
            )
            if best is None or best.counts[side] < EXPLAINED * d.counts[side] or best.q > DIFFERS_Q:
                break
            d = by_text[best.kind, best.pattern]
        if not any(_nested(d, f) for f in found):
            found.append(d)
    return tuple(found)


def _nested(d: PatternDifference, f: PatternDifference) -> bool:
    """Whether one holds the other, in intervals; what a rhythm or degrees add is another pattern."""
    if d.kind != f.kind or (d.log_odds > 0) != (f.log_odds > 0):
        return False
    x, y = f" {d.pattern} ", f" {f.pattern} "
    return x in y or y in x
