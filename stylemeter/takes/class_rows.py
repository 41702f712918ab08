"""A class as plain rows: what is kept of each solo once it is placed, and what they have together.

Conventions: a row is the record of one solo, JSON-ready, small enough for thousands of them; unknown is None.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from stylemeter.features import CATALOG, HABITS
from stylemeter.music.melody import Melody
from stylemeter.placement.records import FeaturePlace, HabitPlace
from stylemeter.practice.findings import Findings
from stylemeter.style.ranks import benjamini_hochberg
from stylemeter.support.numbers import number

__all__ = ["SCHEMA", "Group", "Shared", "common", "groups", "keys_read", "pupil", "register_order", "row_of", "spread"]

#: Name and version of a row's layout.
SCHEMA = "stylemeter/class-solo/1"
#: Verdicts of habits, the strongest first.
VERDICTS = ("shown", "hinted", "none", "unmeasured")

#: q at or below which something is called common to the class.
COMMON_Q = 0.05
#: Least share of the solos, and least number of them.
COMMON_SHARE, COMMON_SOLOS = 0.5, 3

Row = Mapping[str, Any]


# -- one solo ----------------------------------------------------------------------------------------------------


def row_of(findings: Findings, name: str) -> dict[str, Any]:
    """What is kept of a solo.

    Parameters
    ----------
    findings : Findings
    name : str
        Of its page.

    Returns
    -------
    dict
    """
    placed = findings.placement
    measured = [f for f in placed.features if f.verdict != "unmeasured"]
    return {
        "schema": SCHEMA,
        "name": name,
        "solo": _solo(placed.melody),
        "compared": placed.plan.words if placed.plan else "",
        "reason": "" if placed.plan else placed.typicality.reason,
        "outside": sum(f.outside for f in measured),
        "clear": sum(f.clear for f in measured),
        "measured": len(measured),
        "expected": number(placed.expected),
        "typicality": number(placed.typicality.p),
        "first": {"kind": findings.first.kind, "name": findings.first.name, "work": findings.first.tip is not None},
        "habits": {h.name: _habit(h) for h in placed.habits},
        "features": {f.name: _feature(f) for f in placed.features},
    }


def _solo(melody: Melody) -> dict[str, Any]:
    return {
        "title": melody.title,
        "path": melody.path,
        "part": melody.part,
        "notes": len(melody),
        "bars": int(melody.bar[-1] - melody.bar[0]) + 1 if len(melody) else 0,
        "key": melody.key.name if melody.key else None,
        "key_source": melody.key.source if melody.key else None,
    }


def _habit(h: HabitPlace) -> dict[str, Any]:
    return {
        "verdict": h.verdict,
        "percentile": number(100 * h.share),
        "p": number(h.p),
        "q": number(h.q),
        "free": h.free,
        "unsure": h.unsure,
        "reason": h.reason,
        "bars": [[s.bar_from, s.bar_to] for s in h.evidence],
    }


def _feature(f: FeaturePlace) -> dict[str, Any]:
    return {
        "value": number(f.value),
        "percentile": number(f.percentile),
        "verdict": f.verdict,
        "clear": f.clear,
        "reason": f.reason,
    }


# -- the class ---------------------------------------------------------------------------------------------------


def pupil(row: Row) -> str:
    """Whose solo it is: the folder it lies in below the class's, else its file's name without the ending."""
    path = PurePosixPath(row["solo"]["path"].replace("\\", "/"))
    tune = row["name"].rpartition(".")[2] if "." in row["name"] else ""
    name = path.parts[0] if len(path.parts) > 1 else path.stem or row["solo"]["title"]
    return f"{name} ({tune})" if tune else name


def register_order(rows: Sequence[Row]) -> list[Row]:
    """Rows in the order of a register: by pupil, numbers as numbers, then by file."""
    return sorted(rows, key=lambda row: (_natural(pupil(row)), _natural(row["solo"]["path"]), row["name"]))


def _natural(text: str) -> list[tuple[int, int, str]]:
    """A text to sort by, its numbers as numbers."""
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part.casefold()) for part in re.split(r"(\d+)", text)]


@dataclass(frozen=True, slots=True)
class Group:
    """Pupils who have the same to do.

    Attributes
    ----------
    kind : {"work", "listen", "keep", "untold"}
    habit : str
        Empty for "keep" and "untold".
    rows : tuple of row
    """

    kind: str
    habit: str
    rows: tuple[Row, ...]


def groups(rows: Sequence[Row]) -> list[Group]:
    """Who works on what: the largest group first, then who listens for something, who keeps the take, who is untold."""
    ordered = register_order(rows)
    found: dict[tuple[str, str], list[Row]] = {}
    for row in ordered:
        first = row["first"]
        untold = row["reason"] or not row["measured"]
        kind = "untold" if untold else "work" if first.get("work") else "listen" if first["name"] else "keep"
        found.setdefault((kind, first["name"]), []).append(row)
    rank = {"work": 0, "listen": 1, "keep": 2, "untold": 3}
    order = sorted(found, key=lambda k: (rank[k[0]], -len(found[k]), list(HABITS).index(k[1]) if k[1] else 0))
    return [Group(kind, habit, tuple(found[kind, habit])) for kind, habit in order]


def keys_read(rows: Sequence[Row]) -> Counter[str]:
    """How many solos are read in each key that was estimated or told, the commonest first."""
    return Counter(row["solo"]["key"] for row in rows if row["solo"]["key"])


def spread(rows: Sequence[Row]) -> dict[str, dict[str, Any]]:
    """How the class spreads along each habit.

    Returns
    -------
    dict
        Habit -> {verdict: solos, "median": percentile or None, "percentiles": those measured, sorted}.
    """
    out: dict[str, dict[str, Any]] = {}
    for habit in HABITS:
        found = [row["habits"][habit] for row in rows]
        there = sorted(h["percentile"] for h in found if h["percentile"] is not None)
        counts = Counter(h["verdict"] for h in found)
        out[habit] = {v: counts[v] for v in VERDICTS} | {"median": _median(there), "percentiles": there}
    return out


def _median(values: Sequence[float]) -> float | None:
    """Median of sorted values."""
    if not values:
        return None
    middle = len(values) // 2
    return values[middle] if len(values) % 2 else (values[middle - 1] + values[middle]) / 2


@dataclass(frozen=True, slots=True)
class Shared:
    """A trait that much of the class has outside the norm, on the same side.

    Attributes
    ----------
    name, verdict : str
        A feature, "above" or "below".
    count, measured : int
        Solos with it, of those measured.
    expected : float
        Solos that chance alone would put there.
    q : float
        Of a binomial test, over all features and both sides.
    """

    name: str
    verdict: str
    count: int
    measured: int
    expected: float
    q: float


def common(rows: Sequence[Row], coverage: float) -> list[Shared]:
    """Traits at least half of the class has outside the norm, on the same side, more often than chance would.

    Parameters
    ----------
    rows : sequence of row
    coverage : float
        Share of the style the norm holds.

    Returns
    -------
    list of Shared
        The commonest first.

    Notes
    -----
    One-sided binomial tail, adjusted after Benjamini & Hochberg. It takes the solos as independent, which pupils of
    one teacher playing one tune are not: it says what they share, not why.
    """
    chance = _chance(rows, coverage)
    cases = []
    for name in CATALOG:
        verdicts = Counter(row["features"][name]["verdict"] for row in rows)
        measured = sum(verdicts.values()) - verdicts["unmeasured"]
        if measured >= COMMON_SOLOS:
            cases += [(name, side, verdicts[side], measured) for side in ("above", "below")]
    if not cases:
        return []
    q = benjamini_hochberg([_tail(count, measured, chance) for _, _, count, measured in cases])
    found = [
        Shared(name, side, count, measured, measured * chance, float(adjusted))
        for (name, side, count, measured), adjusted in zip(cases, q, strict=True)
        if adjusted <= COMMON_Q and count >= max(COMMON_SOLOS, COMMON_SHARE * measured)
    ]
    return sorted(found, key=lambda s: (-s.count / s.measured, s.q, s.name))


def _chance(rows: Sequence[Row], coverage: float) -> float:
    """Share of the style's own tunes on one side outside: nominal, or as calibrated where that is more."""
    told = [row["expected"] / row["measured"] for row in rows if row["measured"] and row["expected"] is not None]
    calibrated = sum(told) / len(told) if told else 0.0
    return max(1 - coverage, calibrated) / 2


def _tail(count: int, trials: int, chance: float) -> float:
    """Probability of so many or more.

    Examples
    --------
    >>> round(_tail(3, 3, 0.5), 9), _tail(0, 3, 0.5)
    (0.125, 1.0)
    """
    return min(
        1.0, sum(math.comb(trials, k) * chance**k * (1 - chance) ** (trials - k) for k in range(count, trials + 1))
    )
