"""Key estimation by correlation of sounding time with key profiles, and keys as people write them.

References
----------
.. [1] C. L. Krumhansl, Cognitive Foundations of Musical Pitch, Oxford 1990 (the correlation method).
.. [2] J. Albrecht & D. Shanahan, "The use of large corpora to train a new type of key-finding algorithm",
   Music Perception 31(1):59-67, 2013 (the profiles used by default).
.. [3] C. L. Krumhansl & E. J. Kessler, Psychological Review 89:334-368, 1982 (the rating profiles).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from stylemeter.errors import UsageError
from stylemeter.music.melody import Key, KeySource
from stylemeter.music.scales import mode_name

__all__ = ["PROFILES", "KeyFit", "estimate", "move_signature", "parse_key", "pitch_class", "rank_keys"]

Floats = npt.NDArray[np.float64]

#: Profile pairs (major, minor), C first. Used relative to each other only, so their scale does not matter.
PROFILES: dict[str, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "albrecht-shanahan": (
        (0.238, 0.006, 0.111, 0.006, 0.137, 0.094, 0.016, 0.214, 0.009, 0.080, 0.008, 0.081),
        (0.220, 0.006, 0.104, 0.123, 0.019, 0.103, 0.012, 0.214, 0.062, 0.022, 0.061, 0.052),
    ),
    "krumhansl-kessler": (
        (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
        (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
    ),
    "temperley-essen": (
        (0.184, 0.001, 0.155, 0.003, 0.191, 0.109, 0.005, 0.214, 0.001, 0.078, 0.004, 0.055),
        (0.192, 0.005, 0.149, 0.179, 0.002, 0.144, 0.002, 0.201, 0.038, 0.012, 0.053, 0.022),
    ),
}

#: Digits of a margin worth keeping.
MARGIN_DIGITS = 4

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def move_signature(fifths: int, semitones: int) -> int:
    """Sharps (> 0) or flats (< 0) of a signature after transposition, -5 to 6 where it moves.

    Examples
    --------
    >>> move_signature(1, -2), move_signature(-7, 12), move_signature(0, 6)
    (-1, -7, 6)
    """
    return fifths if semitones % 12 == 0 else (fifths + 7 * semitones + 5) % 12 - 5


@dataclass(frozen=True, slots=True)
class KeyFit:
    """A candidate key and the correlation of its profile with the sounding time."""

    tonic: int
    mode: str
    correlation: float

    @property
    def name(self) -> str:
        """The key as said."""
        return Key(self.tonic, self.mode, "estimated").name


def pitch_class(name: str) -> int | None:
    """Pitch class of a note name (``"F#"``, ``"Bb"``, ``"E♭"``), or None where it isn't one.

    Examples
    --------
    >>> pitch_class("F#"), pitch_class("cb"), pitch_class("H")
    (6, 11, None)
    """
    found = re.fullmatch(r"([A-Ga-g])([#♯b♭x]{0,2})", name.strip())
    if not found:
        return None
    letter, signs = found.groups()
    shift = sum({"#": 1, "♯": 1, "x": 2}.get(sign, -1) for sign in signs)
    return (_STEPS[letter.upper()] + shift) % 12


def parse_key(text: str, source: KeySource = "given") -> Key:
    """Read a key as people write it: ``"D dorian"``, ``"Ddor"``, ``"F#m"``, ``"Bb"``, ``"A minor"``.

    Raises
    ------
    UsageError
        If it isn't a key.

    Examples
    --------
    >>> parse_key("D dorian").name, parse_key("F#m").name, parse_key("Bb").name
    ('D dorian', 'F# minor', 'Bb major')
    """
    found = re.fullmatch(r"\s*([A-Ga-g][#♯b♭]?)[\s_:-]*([A-Za-z]*)\s*", text)
    tonic = pitch_class(found[1]) if found else None
    mode = "major" if found and found[2] in ("", "M") else mode_name(found[2]) if found else None
    if tonic is None or mode is None:
        raise UsageError(f"{text!r} is not a key", mend='write it like "D dorian", "Bb major" or "F#m"')
    return Key(tonic, mode, source)


@lru_cache(maxsize=8)
def _templates(profile: str) -> Floats:
    """The 24 rotated profiles, majors first, each centred and of length 1: their dot products are correlations."""
    rows = np.array([np.roll(np.array(shape), tonic) for shape in PROFILES[profile] for tonic in range(12)])
    rows -= rows.mean(axis=1, keepdims=True)
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    rows.setflags(write=False)
    return rows


def rank_keys(weights: npt.ArrayLike, profile: str = "albrecht-shanahan") -> list[KeyFit]:
    """Rank the 24 major and minor keys.

    Parameters
    ----------
    weights : array_like of shape (12,)
        Sounding time (any unit) a pitch class, C first.
    profile : str
        A name of `PROFILES`.

    Returns
    -------
    list of KeyFit
        Best first; empty where the weights are all equal (no correlation exists).

    References
    ----------
    Krumhansl 1990: Pearson correlation with each rotated profile.
    """
    given = np.asarray(weights, dtype=float)
    if given.min() == given.max():  # not the deviation: that of equal fractions is a hair above 0
        return []
    centred = given - given.mean()
    correlations = (_templates(profile) @ (centred / np.linalg.norm(centred))).tolist()
    names = [(tonic, mode) for mode in ("major", "minor") for tonic in range(12)]
    fits = [KeyFit(tonic, mode, r) for (tonic, mode), r in zip(names, correlations, strict=True)]
    return sorted(fits, key=lambda f: (-f.correlation, f.tonic, f.mode))


def estimate(weights: npt.ArrayLike, among: Iterable[tuple[int, str]] | None = None) -> Key | None:
    """Estimate a key, telling the runner-up and the margin.

    Parameters
    ----------
    weights : array_like of shape (12,)
        Sounding time a pitch class.
    among : iterable of (tonic, mode), optional
        Candidates to choose from (say, the two keys of a signature); all 24 by default.

    Returns
    -------
    Key or None
        None where nothing can be told from the notes.
    """
    allowed = None if among is None else set(among)
    fits = [f for f in rank_keys(weights) if allowed is None or (f.tonic, f.mode) in allowed]
    if not fits:
        return None
    best = fits[0]
    if len(fits) == 1:
        return Key(best.tonic, best.mode, "estimated")
    return Key(
        best.tonic, best.mode, "estimated", fits[1].name, round(best.correlation - fits[1].correlation, MARGIN_DIGITS)
    )
