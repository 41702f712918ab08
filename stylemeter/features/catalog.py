"""The catalogue: one decorator declares a feature, and everything else is driven by it.

A feature is a pure function of a `Line`. It returns a number, a `Mask` (then its value is the share of the mask,
its evidence the mask itself: the number and the place shown can't disagree), a `Tally` of codes, a `Mean` of terms, or
a `Lack` that says why there is none.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from stylemeter.features.line import Line
from stylemeter.music.scales import MODE_SCALES
from stylemeter.support.notebook import html_table

__all__ = [
    "CATALOG",
    "Feature",
    "Lack",
    "Mask",
    "Mean",
    "Tally",
    "distinct",
    "entropy_of_counts",
    "feature",
    "largest_share",
    "variation",
]

Bools = npt.NDArray[np.bool_]
Need = Literal["key", "mode", "rhythm", "durations", "chords", "technique"]
Family = Literal["intervals", "degrees", "harmony", "rhythm", "space", "shape", "motif", "technique"]

#: Fewest notes any feature is measured on.
MINIMUM_NOTES = 12

_NEED_WORDS: dict[Need, str] = {
    "key": "needs a key",
    "mode": "needs a key with a mode",
    "rhythm": "needs a rhythm, which this source does not tell",
    "durations": "needs durations, which this source does not have",
    "chords": "needs chords",
    "technique": "needs playing marks, which this source cannot say",
}


@dataclass(slots=True)
class Lack:
    """Why a feature is unmeasured."""

    reason: str


@dataclass(slots=True)
class Mask:
    """A share as the things counted.

    Attributes
    ----------
    where : ndarray of bool
        Of each note, interval, pair of intervals, ...: whether it counts.
    of : ndarray of bool or None
        Which of them are in the denominator; all by default.
    weight : ndarray or None
        Weights; equal by default.
    reach : int
        Notes a thing covers beyond the one it starts at: 0 for notes, 1 for intervals, 2 for pairs of intervals.
    fewest : int
        Least denominator.
    what : str
        What the denominator counts, for the reason.
    """

    where: Bools
    of: Bools | None = None
    weight: npt.NDArray[np.int64] | None = None
    reach: int = 0
    fewest: int = 1
    what: str = ""

    def value(self) -> float | Lack:
        """Value of the share."""
        where = self.where if self.of is None else self.where & self.of
        if self.weight is not None:
            total = int(self.weight.sum())
            counted = int(self.weight[where].sum())
        else:
            total = len(where) if self.of is None else int(np.count_nonzero(self.of))
            counted = int(np.count_nonzero(where))
        return counted / total if total >= self.fewest else self.lack()

    def lack(self) -> Lack:
        """Why there is no value."""
        return Lack(f"fewer than {self.fewest} {self.what}" if self.what else "nothing to take a share of")

    def notes(self, line: Line) -> Bools:
        """Notes the counted things cover."""
        where = self.where if self.of is None else self.where & self.of
        if not self.reach:
            return where
        return line.mark(np.flatnonzero(where), self.reach + 1)


@dataclass(slots=True)
class Tally:
    """A value that only depends on how often each code occurs.

    Attributes
    ----------
    code : ndarray of int
        Of each note or interval, from 0.
    reduce : callable
        Counts of shape (..., n_codes) -> values of shape (...).
    commonest : bool
        Whether the entries with the commonest code are its evidence.
    reach : int
        As of a `Mask`.
    """

    code: npt.NDArray[np.int64]
    reduce: Callable[[npt.NDArray[np.int64]], npt.NDArray[np.float64]]
    commonest: bool = False
    reach: int = 0

    def value(self) -> float:
        """Value of the counts."""
        return float(self.reduce(np.bincount(self.code)))

    def notes(self, line: Line) -> Bools:
        """Notes that have the commonest code (of a tie the lowest), where that is the evidence."""
        if not self.commonest:
            return np.zeros(line.n, dtype=bool)
        where: Bools = self.code == int(np.bincount(self.code).argmax())
        return line.mark(np.flatnonzero(where), self.reach + 1) if self.reach else where


@dataclass(slots=True)
class Mean:
    """A mean of one number a note or interval; no place of its own.

    Attributes
    ----------
    terms : ndarray
    reach : int
        As of a `Mask`.
    """

    terms: npt.NDArray[np.int64] | npt.NDArray[np.float64]
    reach: int = 0

    def value(self) -> float:
        """Mean of the terms."""
        return float(self.terms.sum()) / len(self.terms)

    def notes(self, line: Line) -> Bools:
        """Nothing: a mean has no place."""
        return np.zeros(line.n, dtype=bool)


Result = float | Lack | Mask | Tally | Mean
Measure = Callable[[Line], Result]


@dataclass(frozen=True, slots=True)
class Feature:
    """An entry of the dictionary.

    Attributes
    ----------
    name, family, unit, meaning, source : str
        `meaning` in one plain line; `source` of the definition.
    needs : tuple of str
        Columns the melody must have.
    minimum_notes : int
        Fewer notes leave it unmeasured.
    habit : str or None
        The habit it speaks for.
    invariances : tuple of str
        What must not change the value: "transposition", "octave", "tempo", "shift" (by whole bars), "augmentation"
        (all times and the meter's unit doubled).
    measure : callable
        `Line -> float | Lack | Mask | Tally | Mean`.
    evidence : callable or None
        `Line -> ndarray of bool`, where the mask does not say it.
    bounds : tuple of float
        Least and greatest value possible.
    discrete : bool
        Whether it takes few distinct values at a given length.
    capped : bool
        Whether it counts notes, so that an excerpt's own length is its greatest value.
    sliceable : bool
        Whether the terms of its mask, tally or mean are the whole tune's, cut: then excerpts share them.
    version : int
        Raised when the definition changes.
    """

    name: str
    family: Family
    unit: str
    meaning: str
    source: str
    needs: tuple[Need, ...]
    minimum_notes: int
    invariances: tuple[str, ...]
    measure: Measure
    evidence: Callable[[Line], Bools] | None
    bounds: tuple[float, float]
    discrete: bool
    capped: bool
    sliceable: bool
    version: int

    def lack(self, line: Line) -> str | None:
        """Why it can't be measured on these notes, or None."""
        for need in self.needs:
            if not has(line, need):
                return _NEED_WORDS[need]
        if line.n < self.minimum_notes:
            return f"fewer than {self.minimum_notes} notes"
        return None

    def value(self, line: Line) -> float | Lack:
        """Measure it."""
        reason = self.lack(line)
        if reason is not None:
            return Lack(reason)
        result = self.measure(line)
        return result if isinstance(result, float | Lack) else result.value()

    def where(self, line: Line) -> Bools:
        """Notes that are its evidence; none where it is unmeasured or has no place."""
        nothing = np.zeros(line.n, dtype=bool)
        if self.lack(line) is not None:
            return nothing
        result = self.measure(line)
        if isinstance(result, Lack) or (not isinstance(result, float) and isinstance(result.value(), Lack)):
            return nothing
        if self.evidence is not None:
            return self.evidence(line)
        return nothing if isinstance(result, float) else result.notes(line)


def has(line: Line, need: Need) -> bool:
    """Whether a melody has what a feature needs.

    A partly missing column is missing: the readers drop it whole.
    """
    melody = line.melody
    if need == "key":
        return melody.key is not None
    if need == "mode":
        return melody.key is not None and melody.key.mode in MODE_SCALES
    if need == "rhythm":
        return melody.rhythm_known
    if need == "durations":
        return melody.duration is not None
    if need == "chords":
        return bool(melody.chords)
    return melody.technique is not None


class Catalog(dict[str, Feature]):
    """The features by name; shown as their number and families."""

    def __repr__(self) -> str:
        counts = Counter(f.family for f in self.values())
        return f"<{len(self)} features: {', '.join(f'{name} ({count})' for name, count in counts.items())}>"

    def _repr_html_(self) -> str:
        rows = [[f.name, f.family, f.unit, f.meaning] for f in self.values()]
        return html_table("Features", ["feature", "family", "unit", "meaning"], rows)


#: Every feature by name, in the order of the dictionary.
CATALOG: dict[str, Feature] = Catalog()

#: Families whose every feature looks at when notes sound.
_TIMED: frozenset[Family] = frozenset({"harmony", "rhythm", "space", "motif"})

_DICTIONARY = "feature dictionary, version 1"


def feature(
    family: Family,
    unit: str,
    meaning: str,
    *,
    needs: Iterable[Need] = (),
    minimum_notes: int = MINIMUM_NOTES,
    source: str = _DICTIONARY,
    invariances: Iterable[str] = ("transposition", "octave", "tempo", "shift"),
    evidence: Callable[[Line], Bools] | None = None,
    bounds: tuple[float, float] = (0.0, 1.0),
    discrete: bool = False,
    capped: bool = False,
    sliceable: bool = False,
    version: int = 1,
) -> Callable[[Measure], Measure]:
    """Declare a feature; its name is the function's.

    Parameters
    ----------
    family, unit, meaning, needs, minimum_notes, source, invariances, evidence, bounds : optional
    discrete, capped, sliceable, version : optional
        See `Feature`.
    """

    def register(function: Measure) -> Measure:
        name = function.__name__
        if name in CATALOG:
            raise ValueError(f"feature {name} is declared twice")
        CATALOG[name] = Feature(
            name,
            family,
            unit,
            meaning,
            source,
            (*(("rhythm",) if family in _TIMED else ()), *needs),
            minimum_notes,
            tuple(invariances),
            function,
            evidence,
            bounds,
            discrete,
            capped,
            sliceable,
            version,
        )
        return function

    return register


#: c * log2(c) of the counts melodies have; longer ones are worked out when met.
_TERMS = np.arange(4096, dtype=float)
_TERMS[1:] *= np.log2(_TERMS[1:])


def entropy_of_counts(counts: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """Plug-in entropy in bits along the last axis.

    Examples
    --------
    >>> float(entropy_of_counts(np.array([32, 16, 8, 4, 1, 1, 1, 1])))
    2.0
    """
    total = counts.sum(axis=-1)
    if total.size and int(total.max()) >= len(_TERMS):
        p = counts / total[..., None]
        return np.asarray(-(p * np.log2(np.where(p > 0, p, 1.0))).sum(axis=-1))
    # rounding may leave a hair below zero where all counts fall in one cell
    bits: npt.NDArray[np.float64] = np.maximum(0.0, (_TERMS[total] - _TERMS[counts].sum(axis=-1)) / total)
    return bits


def distinct(counts: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """Codes that occur, along the last axis."""
    return np.asarray((counts > 0).sum(axis=-1), dtype=float)


def largest_share(counts: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """Share of the commonest code, along the last axis."""
    share: npt.NDArray[np.float64] = counts.max(axis=-1) / counts.sum(axis=-1)
    return share


def variation(counts: npt.NDArray[np.int64]) -> float:
    """Standard deviation (ddof 0) over mean of whole numbers, not all 0; summed exactly.

    Examples
    --------
    >>> variation(np.array([2, 4]))
    0.3333333333333333
    """
    total = int(counts.sum())
    return math.sqrt(len(counts) * int((counts * counts).sum()) - total * total) / total
