"""Pairs: which takes of two folders are the same player's, as far as their names say so."""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["pair_names", "player_of"]

#: What stands in a file's name beside the player: numbers, dates and words for a take.
_BESIDE = re.compile(
    r"(?<![^\W\d_])(take|term|week|lesson|version|solo|try|v|t|no|x)?[\W_]*\d+[a-z]?(?![^\W\d_])", re.I
)
_WORDS = re.compile(
    r"(?<![^\W\d_])(take|term|week|lesson|version|solo|before|after|first|last|old|new)(?![^\W\d_])", re.I
)
#: Least pairs, and least share of each side's takes that must be in one.
PAIRS_LEAST, SHARE_LEAST = 3, 2 / 3


def player_of(label: str) -> str:
    """What is left of a file's name without its ending, numbers, dates and words for a take.

    Examples
    --------
    >>> [player_of(n) for n in ("Anna-2.mid", "anna_take-10.musicxml", "2024-03-01 anna.csv", "take-3.mid")]
    ['anna', 'anna', 'anna', '']
    """
    stem = re.sub(r"\.[A-Za-z0-9]{2,8}$", "", label.partition(" X:")[0])
    bare = _WORDS.sub(" ", _BESIDE.sub(" ", stem.casefold()))
    return " ".join(re.findall(r"[^\W_]+", bare))


def pair_names(a: Sequence[str], b: Sequence[str]) -> dict[str, tuple[list[int], list[int]]]:
    """Pair takes whose files are named alike, or whose names hold the same player.

    Parameters
    ----------
    a, b : sequence of str
        Names of files.

    Returns
    -------
    dict of (list of int, list of int)
        By player, the takes of each side; empty where the names don't pair most of them.
    """
    for key in (str.casefold, player_of):
        found: dict[str, tuple[list[int], list[int]]] = {}
        for side, names in enumerate((a, b)):
            for i, name in enumerate(names):
                if key(name):
                    found.setdefault(key(name), ([], []))[side].append(i)
        pairs = {name: both for name, both in sorted(found.items()) if both[0] and both[1]}
        held = [sum(len(both[side]) for both in pairs.values()) for side in (0, 1)]
        if len(pairs) >= PAIRS_LEAST and held[0] >= SHARE_LEAST * len(a) and held[1] >= SHARE_LEAST * len(b):
            return pairs
    return {}
