"""A style's vocabulary: the patterns its tunes share, and how strongly its own tunes lean on one.

``vocabulary.parquet`` holds the counts of every pattern that three tune families or more share, so that no melody can
be rebuilt from it, and, in its metadata, what the style's own tunes do at each length: how often a pattern that comes
back comes back (by its length and how common it is), how strong the strongest is in each tune, how rarely common
patterns are played, and which share of a tune is common stock. A solo is judged by these: tunes repeat themselves, so
that counts taken as independent would flag most tunes of the style itself.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from stylemeter.errors import ProfileError
from stylemeter.music.excerpts import LADDER
from stylemeter.style.patterns import KINDS, Counted, Kind, Lines, closed_repeats, count_patterns, possible

__all__ = [
    "FILE",
    "LENGTHS",
    "RUNGS",
    "SHARED_BY",
    "STOCK_LENGTH",
    "Pool",
    "Style",
    "Vocabulary",
    "cover",
    "covered_notes",
    "fit_vocabulary",
    "load_vocabulary",
    "over_pool",
    "over_score",
    "under_score",
]

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

#: Name of the file in a profile's folder, and the version of its layout.
FILE = "vocabulary.parquet"
SCHEMA = "stylemeter/vocabulary/1"
#: Intervals of the patterns counted.
LENGTHS = tuple(range(3, 11))
#: Families that must share a pattern for it to be kept.
SHARED_BY = 3
#: Intervals of the patterns by which shares of a tune are told: figures of six notes.
STOCK_LENGTH = 5
#: Note counts at which the style's own tunes are looked at; solos are longer than most excerpts.
RUNGS = (*LADDER, 512, 768, 1024)
#: Most families looked at, and least.
FAMILIES_MOST, FAMILIES_LEAST = 400, 39
#: Least expected number at which a pattern counts as missed.
UNDER_LEAST = 1.0
#: Most intervals of the figures judged together; longer ones are passages.
POOLS = {"short": 4, "middle": 6, "long": 10}
#: Ranks of scores that are kept: the first so many, then each a tenth on from the one before.
RANKS_EXACT = 100
#: The highest scores of a pool: one in so many, and so many at least.
TAIL_PART, TAIL_LEAST = 20, 10


def over_pool(kind: Kind, length: int) -> str:
    """Patterns a pattern that comes back is judged among: tunes repeat short figures, long ones and passages unlike.

    Parameters
    ----------
    kind : Kind
    length : int
        Intervals.
    """
    size = next((name for name, most in POOLS.items() if length <= most), "passages")
    return f"{kind} {size}"


def over_score(covered: float, expected: float, length: int, notes: int) -> float:
    """How much of a melody a pattern takes up beyond what is to be expected, as a share of its notes.

    Parameters
    ----------
    covered : float
        Notes in its occurrences.
    expected : float
        Occurrences to be expected; 0 for a pattern fewer than `SHARED_BY` families share.
    length : int
        Intervals.
    notes : int
        Of the melody.
    """
    return round((covered - min(float(notes), expected * (length + 1))) / notes, 6)


def under_score(count: int, expected: float) -> float:
    """How far a pattern falls short of what is to be expected, in units of chance: (expected - count) / its root."""
    return round((expected - count) / math.sqrt(expected), 6)


# -- what a style does at a length ---------------------------------------------------------------------------------


def tail_of(down: Floats) -> list[float]:
    """Where the highest of sorted scores begin (`down`, from the highest), their share, and their mean excess."""
    count = max(TAIL_LEAST, len(down) // TAIL_PART)
    if len(down) < 4 * count:
        return []
    start = float(down[count])
    excess = float((down[:count] - start).mean())
    return [start, (count + 1) / (len(down) + 1), float(f"{excess:.6g}")] if excess > 0 else []


def tail_p(tail: Sequence[float], score: float) -> float:
    """Share of scores beyond one among the highest."""
    start, share, excess = tail
    return float(share * math.exp(-(score - start) / excess))


@dataclass(frozen=True)
class Pool:
    """Scores of the style's own patterns, the strongest first.

    Attributes
    ----------
    total : int
        How many there are.
    rank : list of int
        1 for the strongest; those kept.
    score : list of float
        At each rank.
    tail : list of float
        Where the highest scores begin, the share of all that lie beyond, and by how much they do on average; empty
        where there are too few.
    """

    total: int
    rank: list[int]
    score: list[float]
    tail: list[float] = field(default_factory=list)

    def p(self, score: float) -> float:
        """Share of the patterns whose score is as high: (as high + 1) / (all + 1), never told too small.

        Among the highest scores the share falls off exponentially: a count of them alone could not tell a score a
        little beyond all of the style's from one far beyond.
        """
        if self.tail and score > self.tail[0]:
            return tail_p(self.tail, score)
        kept = len(self.score) - int(
            np.searchsorted(np.asarray(self.score)[::-1], score - 1e-9 * abs(score), side="left")
        )
        as_high = 0 if kept == 0 else self.rank[kept] - 1 if kept < len(self.rank) else self.total
        return (as_high + 1) / (self.total + 1)


@dataclass(frozen=True)
class Style:
    """What the style's own tunes do in excerpts of one length.

    Attributes
    ----------
    notes : int
    excerpts : int
        One a family.
    over, under : dict of Pool
        By `over_pool`, and by kind.
    strongest, rarest : Pool
        Of each excerpt's least p, taken from 0: the least are the strongest.
    stock : list of float
        Share of an excerpt's notes in figures that other families share: 5 %, 95 % and 50 % of the excerpts.
    """

    notes: int
    excerpts: int
    over: dict[str, Pool]
    under: dict[str, Pool]
    strongest: Pool
    rarest: Pool
    stock: list[float]

    @classmethod
    def of(cls, row: dict[str, Any]) -> Style:
        """Read it from plain data."""
        pools = {side: {name: Pool(*found) for name, found in row[side].items()} for side in ("over", "under")}
        least = {side: Pool(*row[side]) for side in ("strongest", "rarest")}
        return cls(**{**row, **pools, **least})

    def p(self, side: Literal["over", "under"], pool: str, score: float) -> float:
        """Share of the style's own patterns of a pool whose score is as high; 1 where it has none."""
        found: Pool | None = getattr(self, side).get(pool)
        return 1.0 if found is None else found.p(score)

    def tunes(self, side: Literal["over", "under"], p: float) -> float:
        """Share of the style's own tunes whose strongest pattern is as strong as one of this p."""
        return (self.strongest if side == "over" else self.rarest).p(-p)


# -- fitting -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Excerpts:
    """Excerpts of one length: notes of the whole, as `note`, and their own lines."""

    notes: int
    note: Ints
    lines: Lines
    family: Ints


def _excerpts(lines: Lines, family: Ints, seed: int) -> list[_Excerpts]:
    """Choose an excerpt a family at each length."""
    rng = np.random.default_rng(seed)
    sizes = np.diff(lines.start)
    found = []
    for notes in RUNGS:
        long = np.flatnonzero(sizes >= notes)
        names, first = np.unique(family[long], return_index=True)
        if len(names) < FAMILIES_LEAST:
            break
        chosen = np.sort(rng.permutation(len(names))[:FAMILIES_MOST])
        tunes = long[first[chosen]]
        start = lines.start[tunes] + (rng.random(len(tunes)) * (sizes[tunes] - notes + 1)).astype(np.int64)
        pieces = [(a, a + notes) for a in start.tolist()]
        note = np.concatenate([np.arange(a, b) for a, b in pieces])
        found.append(_Excerpts(notes, note, lines.part(pieces), family[tunes]))
    return found


@dataclass(frozen=True, eq=False)
class _Looked:
    """What was counted of one kind and length, at the notes of the excerpts only."""

    count: Ints
    families: Ints
    places: int
    family_places: Ints
    group: list[Ints]
    own: list[Ints]

    @classmethod
    def of(cls, counted: Counted, excerpts: Sequence[_Excerpts]) -> _Looked:
        """Take of a count what the excerpts need: the whole holds an entry a note."""
        return cls(
            counted.count,
            counted.families,
            len(counted.places),
            counted.family_places,
            [counted.group[e.note].astype(np.int64) for e in excerpts],
            [counted.own[e.note].astype(np.int64) for e in excerpts],
        )


def fit_vocabulary(lines: Lines, family: Ints, *, seed: int = 0) -> bytes:
    """Count the patterns of a style and look at what its own tunes do with them.

    Parameters
    ----------
    lines : Lines
        Its tunes.
    family : ndarray of shape (n_tunes,)
        Tune family of each, numbers from 0.
    seed : int
        Of the choice of excerpts.

    Returns
    -------
    bytes
        The file.
    """
    excerpts = _excerpts(lines, family, seed)
    tallies = [_Tally(e) for e in excerpts]
    columns: dict[str, list[Any]] = {
        name: [] for name in ("length", "pattern", "count", "families", "squares", "products")
    }
    tables, places, squared = [], {}, {}
    for kind in KINDS:
        looked = {}
        columns = {name: [] for name in columns}
        for counted in count_patterns(lines, kind, LENGTHS, family=family, least_families=SHARED_BY):
            columns["length"].append(np.full(len(counted.first), counted.length, dtype=np.int8))
            columns["pattern"] += [lines.text(kind, note, counted.length) for note in counted.first.tolist()]
            for name in ("count", "families", "squares", "products"):
                columns[name].append(getattr(counted, name))
            places[f"{kind} {counted.length}"] = len(counted.places)
            squared[f"{kind} {counted.length}"] = int((counted.family_places.astype(np.int64) ** 2).sum())
            looked[counted.length] = _Looked.of(counted, excerpts)
        tables.append(_table(columns))
        for place, tally in enumerate(tallies):
            tally.add(kind, looked, place)
    meta = {
        "schema": SCHEMA,
        "families": int(family.max(initial=-1)) + 1,
        "notes": len(lines),
        "shared_by": SHARED_BY,
        "places": places,
        "squared_places": squared,
        "styles": [tally.document() for tally in tallies],
    }
    return _file(tables, meta)


class _Tally:
    """What the excerpts of one length do, gathered kind by kind."""

    def __init__(self, excerpts: _Excerpts) -> None:
        self.excerpts = excerpts
        self.over: list[tuple[int, str, float]] = []
        self.under: list[tuple[int, str, float]] = []
        self.stock: list[float] = []

    def add(self, kind: Kind, looked: dict[int, _Looked], place: int) -> None:
        """Take in one kind."""
        self._repeats(kind, looked, place)
        reach = possible(self.excerpts.lines, kind)
        for length, found in looked.items():
            self._missed(kind, length, found, place, reach)
        if kind == "intervals":
            self._stock(looked[STOCK_LENGTH], place, reach)

    def _repeats(self, kind: Kind, looked: dict[int, _Looked], place: int) -> None:
        """Patterns that come back: each excerpt is judged by the other families' counts."""
        lines = self.excerpts.lines
        reach = possible(lines, kind)
        found = closed_repeats(lines, kind)
        for excerpt, length, at in zip(found.melody.tolist(), found.length.tolist(), found.places, strict=True):
            first, expected = int(at[0]), 0.0
            if length in looked:
                there = looked[length]
                group = int(there.group[place][first])
                if group >= 0 and there.families[group] - 1 >= SHARED_BY:
                    others = int(there.count[group] - there.own[place][first])
                    family = self.excerpts.family[excerpt]
                    of_others = there.places - int(there.family_places[family])
                    a, b = lines.start[excerpt], lines.start[excerpt + 1]
                    expected = others / of_others * int((reach[a:b] >= length).sum())
            score = over_score(covered_notes(at, length), expected, length, self.excerpts.notes)
            self.over.append((excerpt, over_pool(kind, length), score))

    def _missed(self, kind: Kind, length: int, found: _Looked, place: int, reach: npt.NDArray[np.int32]) -> None:
        """How often each excerpt plays what is to be expected of it."""
        lines = self.excerpts.lines
        number = lines.melodies
        here = reach >= length
        own_places = np.bincount(lines.melody[here], minlength=number)
        rate = found.count / max(1, found.places)
        common = np.flatnonzero(rate * own_places.max(initial=0) >= UNDER_LEAST)
        if not len(common):
            return
        column = np.full(len(found.count) + 1, -1, dtype=np.int64)
        column[common] = np.arange(len(common))
        at = column[found.group[place]]
        at[~here] = -1
        at[found.group[place] < 0] = -1
        played = np.zeros((number, len(common)), dtype=np.int64)
        np.add.at(played, (lines.melody[at >= 0], at[at >= 0]), 1)
        expected = own_places[:, None] * rate[common][None, :]
        for excerpt, pattern in zip(*np.nonzero(expected >= UNDER_LEAST), strict=True):
            score = under_score(int(played[excerpt, pattern]), float(expected[excerpt, pattern]))
            self.under.append((int(excerpt), kind, score))

    def _stock(self, found: _Looked, place: int, reach: npt.NDArray[np.int32]) -> None:
        lines, group = self.excerpts.lines, found.group[place]
        shared = (group >= 0) & (reach >= STOCK_LENGTH)
        shared &= found.families[np.maximum(group, 0)] - 1 >= SHARED_BY if len(found.families) else False
        covered = cover(np.flatnonzero(shared), STOCK_LENGTH, len(lines))
        shares = [covered[a:b].mean() for a, b in zip(lines.start[:-1], lines.start[1:], strict=True)]
        self.stock = [float(f"{s:.4g}") for s in np.quantile(shares, [0.05, 0.95, 0.5])]

    def document(self) -> dict[str, Any]:
        """As plain data."""
        number = self.excerpts.lines.melodies
        over, strongest = _pools(self.over, number)
        under, rarest = _pools(self.under, number)
        return {
            "notes": self.excerpts.notes,
            "excerpts": number,
            "over": over,
            "under": under,
            "strongest": strongest,
            "rarest": rarest,
            "stock": self.stock,
        }


def cover(starts: Ints, length: int, notes: int) -> npt.NDArray[np.bool_]:
    """Notes of patterns of so many intervals that begin at `starts`."""
    edge = np.zeros(notes + length + 2, dtype=np.int64)
    np.add.at(edge, starts, 1)
    np.add.at(edge, starts + length + 1, -1)
    return np.cumsum(edge)[:notes] > 0


def covered_notes(places: Ints, length: int) -> int:
    """Notes in the occurrences of a pattern that starts at `places`, sorted."""
    return int(np.minimum(np.diff(places), length + 1).sum()) + length + 1


def _pools(rows: list[tuple[int, str, float]], excerpts: int) -> tuple[dict[str, list[Any]], list[Any]]:
    """Scores by pool, and the least p of each excerpt judged by the others."""
    least = np.ones(excerpts)
    pools: dict[str, list[Any]] = {}
    for name in sorted({row[1] for row in rows}):
        of = np.array([row[0] for row in rows if row[1] == name], dtype=np.int64)
        score = np.array([row[2] for row in rows if row[1] == name])
        ordered = np.sort(score)
        highest = np.full(excerpts, -np.inf)
        np.maximum.at(highest, of, score)
        as_high = len(ordered) - np.searchsorted(ordered, highest - 1e-9, side="left")
        own_as_high = np.bincount(of[score >= highest[of] - 1e-9], minlength=excerpts)
        own = np.bincount(of, minlength=excerpts)
        p = (as_high - own_as_high + 1) / (len(ordered) - own + 1)
        tail = tail_of(ordered[::-1])
        for excerpt in np.flatnonzero(highest > (tail[0] if tail else np.inf)).tolist():
            others = tail_of(np.sort(score[of != excerpt])[::-1])
            if others and highest[excerpt] > others[0]:
                p[excerpt] = tail_p(others, float(highest[excerpt]))
        least = np.where(own > 0, np.minimum(least, p), least)
        pools[name] = [*_ranked(ordered[::-1]), tail]
    return pools, _ranked(-np.sort([float(f"{p:.6g}") for p in least.tolist()]))


def _ranked(scores: Floats) -> list[Any]:
    """Scores from the highest down as a `Pool` keeps them."""
    ranks, rank = [], 1
    while rank <= len(scores):
        ranks.append(rank)
        rank = rank + 1 if rank < RANKS_EXACT else rank + rank // 10
    return [len(scores), ranks, [float(scores[r - 1]) for r in ranks]]


# -- the file ------------------------------------------------------------------------------------------------------


def _table(columns: dict[str, list[Any]]) -> Any:
    import pyarrow as pa

    kinds = {
        "length": pa.int8(),
        "count": pa.int32(),
        "families": pa.int32(),
        "squares": pa.int64(),
        "products": pa.int64(),
    }

    def joined(name: str) -> Any:
        return pa.array(np.concatenate(columns[name]) if columns[name] else [], type=kinds[name])

    pattern = pa.array(columns["pattern"], type=pa.string())
    return pa.table({"length": joined("length"), "pattern": pattern} | {n: joined(n) for n in list(kinds)[1:]})


def _file(tables: Sequence[Any], meta: dict[str, Any]) -> bytes:
    """One row group a kind, in the order of `KINDS`."""
    import pyarrow.parquet as pq

    stream = io.BytesIO()
    text = json.dumps(meta, separators=(",", ":"), allow_nan=False)
    # its own schema in the metadata too would be as long as the rest
    how = {"compression": "zstd", "compression_level": 9, "use_dictionary": False, "store_schema": False}
    with pq.ParquetWriter(stream, tables[0].schema, **how) as writer:
        for table in tables:
            writer.write_table(table, row_group_size=max(1, len(table)))
        writer.add_key_value_metadata({"stylemeter": text})
    return stream.getvalue()


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """A style's vocabulary as loaded.

    Attributes
    ----------
    families, notes : int
    places, squared_places : dict of int
        By "kind length": how many patterns the tunes hold, and the sum of its squares over families.
    styles : list of Style
        By length, rising.
    """

    families: int
    notes: int
    places: dict[str, int]
    squared_places: dict[str, int]
    styles: list[Style]
    _columns: dict[Kind, dict[str, Any]] = field(repr=False, default_factory=dict)

    def column(self, kind: Kind, name: str) -> Any:
        """Return "length", "pattern" (a list), "count", "families", "squares" or "products" of a kind's patterns."""
        return self._columns[kind][name]

    @cached_property
    def _index(self) -> dict[Kind, dict[str, int]]:
        return {}

    def index(self, kind: Kind) -> dict[str, int]:
        """Row of each pattern of a kind, by its text."""
        if kind not in self._index:
            self._index[kind] = {text: i for i, text in enumerate(self.column(kind, "pattern"))}
        return self._index[kind]

    def places_of(self, kind: Kind, length: int) -> int:
        """Patterns of a kind and length in the style's tunes; of those longer than are counted, of the longest."""
        return self.places.get(f"{kind} {min(length, LENGTHS[-1])}", 0)

    def counts(self, kind: Kind, row: int) -> tuple[int, int]:
        """Occurrences of a pattern, and families that share it."""
        return int(self.column(kind, "count")[row]), int(self.column(kind, "families")[row])

    def per_hundred(self, kind: Kind, length: int, count: int) -> float:
        """Occurrences a hundred notes of the style."""
        return 100 * count / max(1, self.notes)

    def rungs(self, notes: int) -> list[tuple[Style, float]]:
        """Lengths to judge a solo at, with their weights: the two around its own, in the logarithm.

        Returns
        -------
        list of (Style, float)
            Empty where the style is too small.
        """
        if not self.styles:
            return []
        at = [s.notes for s in self.styles]
        if notes <= at[0]:
            return [(self.styles[0], 1.0)]
        if notes >= at[-1]:
            return [(self.styles[-1], 1.0)]
        upper = next(i for i, n in enumerate(at) if n >= notes)
        share = float(np.log(notes / at[upper - 1]) / np.log(at[upper] / at[upper - 1]))
        return [(self.styles[upper - 1], 1 - share), (self.styles[upper], share)]


def load_vocabulary(source: Path | bytes, digest: str | None = None) -> Vocabulary:
    """Load a vocabulary.

    Parameters
    ----------
    source : Path or bytes
        The file, or what it holds.
    digest : str, optional
        SHA-256 it must have.

    Raises
    ------
    ProfileError
        If it is missing, damaged or of another version.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    where = "" if isinstance(source, bytes) else str(source.parent)
    try:
        data = source if isinstance(source, bytes) else source.read_bytes()
    except OSError:
        raise ProfileError(
            "has no vocabulary", where=where, mend="fit it anew with this version: stylemeter fit"
        ) from None
    if digest is not None and hashlib.sha256(data).hexdigest() != digest:
        raise ProfileError(f"{FILE} is truncated or edited", where=where, mend="fit or install it anew")
    try:
        file = pq.ParquetFile(io.BytesIO(data))
        meta = json.loads((file.metadata.metadata or {})[b"stylemeter"])
        if meta["schema"] != SCHEMA:
            raise ProfileError(f"vocabulary of another version ({meta['schema']!r})", where=where, mend="fit it anew")
        columns: dict[Kind, dict[str, Any]] = {}
        for kind, group in zip(KINDS, _groups(file), strict=True):
            columns[kind] = {n: group.column(n).to_numpy() for n in group.column_names if n != "pattern"}
            columns[kind]["pattern"] = group.column("pattern").to_pylist()
        styles = [Style.of(row) for row in meta["styles"]]
        return Vocabulary(meta["families"], meta["notes"], meta["places"], meta["squared_places"], styles, columns)
    except (KeyError, ValueError, TypeError, pa.ArrowException) as error:
        raise ProfileError(f"damaged vocabulary ({error})", where=where, mend="fit it anew") from None


def _groups(file: Any) -> Iterator[Any]:
    """A table a kind; a kind without a pattern has an empty row group or none."""
    for place in range(len(KINDS)):
        yield file.read_row_group(place)
