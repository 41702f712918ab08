"""The kinds of chord we name, and the nearest name for any other.

Conventions: intervals are semitones above the root, modulo 12, in stacked order, the root first. A chord that is
not in `KINDS` gets its nearest kind with what is left out and added in parentheses ("9(no5)", "7b5(#9)"), so that
root + kind can be read again. What "add9", "11", "13" and "alt" hold is common practice, no source (13 and maj13
leave out the eleventh; alt holds the whole altered scale).
"""

from __future__ import annotations

from collections.abc import Sequence

from stylemeter.errors import InputError
from stylemeter.music.melody import Chord

__all__ = ["KINDS", "LENGTH_MAX", "NATURAL", "chord_on", "name_chord", "not_a_chord"]

#: Short kind, as written after the root -> intervals above the root.
KINDS: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "dim": (0, 3, 6),
    "aug": (0, 4, 8),
    "(b5)": (0, 4, 6),
    "sus2": (0, 2, 7),
    "sus4": (0, 5, 7),
    "sus2sus4": (0, 2, 5, 7),
    "5": (0, 7),
    "1": (0,),
    "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9),
    "6/9": (0, 4, 7, 9, 2),
    "m6/9": (0, 3, 7, 9, 2),
    "add9": (0, 4, 7, 2),
    "madd9": (0, 3, 7, 2),
    "add11": (0, 4, 7, 5),
    "7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11),
    "m7": (0, 3, 7, 10),
    "mmaj7": (0, 3, 7, 11),
    "dim7": (0, 3, 6, 9),
    "m7b5": (0, 3, 6, 10),
    "7#5": (0, 4, 8, 10),
    "7b5": (0, 4, 6, 10),
    "maj7#5": (0, 4, 8, 11),
    "maj7b5": (0, 4, 6, 11),
    "7sus4": (0, 5, 7, 10),
    "7sus2": (0, 2, 7, 10),
    "9": (0, 4, 7, 10, 2),
    "maj9": (0, 4, 7, 11, 2),
    "m9": (0, 3, 7, 10, 2),
    "mmaj9": (0, 3, 7, 11, 2),
    "m9b5": (0, 3, 6, 10, 2),
    "9#5": (0, 4, 8, 10, 2),
    "9sus4": (0, 5, 7, 10, 2),
    "7b9": (0, 4, 7, 10, 1),
    "7#9": (0, 4, 7, 10, 3),
    "7b9sus4": (0, 5, 7, 10, 1),
    "7#5b9": (0, 4, 8, 10, 1),
    "7#5#9": (0, 4, 8, 10, 3),
    "7#11": (0, 4, 7, 10, 6),
    "9#11": (0, 4, 7, 10, 2, 6),
    "maj7#11": (0, 4, 7, 11, 6),
    "maj9#11": (0, 4, 7, 11, 2, 6),
    "7b13": (0, 4, 7, 10, 8),
    "7b9b13": (0, 4, 7, 10, 1, 8),
    "alt": (0, 4, 10, 1, 3, 6, 8),
    "11": (0, 4, 7, 10, 2, 5),
    "maj11": (0, 4, 7, 11, 2, 5),
    "m11": (0, 3, 7, 10, 2, 5),
    "13": (0, 4, 7, 10, 2, 9),
    "maj13": (0, 4, 7, 11, 2, 9),
    "m13": (0, 3, 7, 10, 2, 5, 9),
    "13sus4": (0, 5, 7, 10, 2, 9),
    "13b9": (0, 4, 7, 10, 1, 9),
    "13#11": (0, 4, 7, 10, 2, 6, 9),
    "maj13#11": (0, 4, 7, 11, 2, 6, 9),
}

_KIND_OF = {frozenset(intervals): kind for kind, intervals in KINDS.items()}

#: Semitones above the root of each degree of the major scale.
NATURAL = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 11, 8: 0, 9: 2, 10: 4, 11: 5, 12: 7, 13: 9}
#: What an added interval is called in a kind.
_ADDED = ("1", "b9", "9", "#9", "3", "11", "#11", "5", "b13", "13", "7", "maj7")
#: Intervals a chord may be said to lack, by degree.
_LEFT_OUT = {0: "1", 3: "3", 4: "3", 6: "5", 7: "5", 8: "5"}


def name_chord(base: str, kept: Sequence[int]) -> tuple[str, tuple[int, ...]]:
    """Kind of a set of intervals: its own name, or the nearest kind with what is left out and added."""
    own = _KIND_OF.get(frozenset(kept))
    if own is not None:
        return own, KINDS[own]
    near = min(
        _nameable(kept), key=lambda kind: (_difference(kind, kept), kind != base, KINDS[kind][1:2] != KINDS[base][1:2])
    )
    words = [f"no{_LEFT_OUT[i]}" for i in KINDS[near] if i not in kept]
    words += [_added(near, i) for i in kept if i not in KINDS[near]]
    return f"{near}({','.join(words)})", tuple(kept)


def _nameable(kept: Sequence[int]) -> list[str]:
    """Kinds from which these intervals can be told: only root, third or fifth may be left out, and not in part."""
    found = []
    for kind, intervals in KINDS.items():
        gone = [i for i in intervals if i not in kept]
        stays = {_LEFT_OUT.get(i) for i in intervals if i in kept}
        if not kind.startswith("(") and all(i in _LEFT_OUT and _LEFT_OUT[i] not in stays for i in gone):
            found.append(kind)
    return found


def _difference(kind: str, kept: Sequence[int]) -> int:
    """How many intervals are in the one and not in the other."""
    return len(set(KINDS[kind]) ^ set(kept))


def _added(kind: str, interval: int) -> str:
    """Word for an interval beside a kind, with "add" where it would else take the natural one's place."""
    word = _ADDED[interval]
    replaces = word[0] in "b#" and NATURAL[int(word[1:])] in KINDS[kind]
    return f"add{word}" if replaces else word


#: Longest symbol or label worth reading.
LENGTH_MAX = 48


def chord_on(onset: int, tonic: int, kind: str, intervals: Sequence[int], bass: int | None) -> Chord:
    """Put a chord on its root; a bass it does not hold comes last."""
    classes = [(tonic + i) % 12 for i in intervals]
    if bass is not None and bass not in classes:
        classes.append(bass)
    return Chord(onset, tonic, kind, tuple(classes))


def not_a_chord(text: str, place: int, noun: str = "chord symbol") -> InputError:
    """Error that names the character at which a chord stops making sense."""
    mend = 'write it like "Dm7", "F#maj7", "Bb7b9", "G/B" or "N.C."'
    if noun != "chord symbol":
        mend = 'write it like "D:min7", "F#:maj7/3", "Bb:7(b9)" or "N"'
    return InputError(f"{text!r} is not a {noun}", where=f"character {place} of {text!r}", mend=mend)
