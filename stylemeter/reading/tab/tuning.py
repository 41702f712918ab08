"""Open strings of a tablature: from the labels of its lines, a "Tuning:" line, or the usual tuning.

Conventions: pitches of open strings as MIDI numbers, the top line first; a capo raises them all, and frets count from
it. The usual tunings are common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from stylemeter.errors import InputError
from stylemeter.music.keys import pitch_class
from stylemeter.reading.draft.numbers import midi_number

__all__ = ["TURNED", "Strings", "capo_of", "strings_of"]

#: Usual tunings by number of strings, the lowest line first, the likeliest tuning first.
USUAL: dict[int, tuple[tuple[str, tuple[int, ...]], ...]] = {
    4: (
        ("bass", (28, 33, 38, 43)),
        ("ukulele", (67, 60, 64, 69)),
        ("mandolin", (55, 62, 69, 76)),
        ("guitar without its lowest strings", (50, 55, 59, 64)),
    ),
    5: (
        ("five-string bass", (23, 28, 33, 38, 43)),
        ("banjo", (67, 50, 55, 59, 62)),
        ("five-string bass", (28, 33, 38, 43, 48)),
        ("guitar without its lowest string", (45, 50, 55, 59, 64)),
        ("guitar without its highest string", (40, 45, 50, 55, 59)),
    ),
    6: (("guitar", (40, 45, 50, 55, 59, 64)),),
    7: (("seven-string guitar", (35, 40, 45, 50, 55, 59, 64)),),
    8: (("eight-string guitar", (30, 35, 40, 45, 50, 55, 59, 64)),),
}
#: How far a string may be tuned from the usual: strings are let down further than they are drawn up.
_DOWN, _UP = -7, 4
#: The highest capo believed.
CAPO_MAX = 12

_NAMED = {
    "drop d": "D A D G B E",
    "double drop d": "D A D G B D",
    "open g": "D G D G B D",
    "open d": "D A D F# A D",
    "open e": "E B E G# B E",
    "open a": "E A E A C# E",
}
#: "half a step down", "tuned down a whole tone", "down 3 semitones".
_AMOUNT = (
    r"(?:(half|1/2|½|one and a half|1 1/2|1½|whole|full|one|two|three|four|[1-4]|an?)(?:[\s-]+(?:an?[\s-]+)?|(?=st)))?"
    r"((?:half|whole|full)?[\s-]*(?:step|tone)|semi[\s-]?tone)s?\b"
)
_LOWERED = re.compile(
    rf"\b(?:down|lower(?:ed)?)\b(?:\s+by)?[\s:]+{_AMOUNT}|(?<![\w/])-?{_AMOUNT}[\s-]+(?:down|lower|flat)\b",
    re.IGNORECASE,
)
_COUNTS = {
    "half": 0.5,
    "1/2": 0.5,
    "½": 0.5,
    "one and a half": 1.5,
    "1 1/2": 1.5,
    "1½": 1.5,
    "two": 2,
    "three": 3,
    "four": 4,
}
#: A whole line that says no more than that.
_ONLY_LOWERED = re.compile(r"[\W_]*(?:(?:all|both|guitars?|strings?|is|are|tuned?|tuning)[\s:-]+)*", re.IGNORECASE)
_ROOT = r"([A-Ga-g](?:[#b♯♭]|[\s-]?(?:flat|sharp)\b)?)"
_STANDARD = re.compile(rf"{_ROOT}[\s-]+(?:standard|std)\b", re.IGNORECASE)
_DROPPED = re.compile(rf"drop(?:ped)?[\s-]+{_ROOT}(?![\w#♯♭])", re.IGNORECASE)
TURNED = "the lowest string on the top line"
_TOKEN = re.compile(r"[A-H][#b♯♭]?\d?|[a-h]#?\d?")
#: The same, parted from the next.
_NAME = re.compile(r"[A-Ha-h][#b♯♭]?\d?")
_TUNING = re.compile(r"\btuning\b\s*(?:is\b)?[\s:=-]*([^\s:=-].*)", re.IGNORECASE)
_TUNED = re.compile(r"\btuned?\b(?:\s+(?:to|in|the|your|all|guitars?|strings))*[\s:=-]+(.+)", re.IGNORECASE)
_WORD = re.compile(r"\btuning\b", re.IGNORECASE)
_CAPO_BEFORE = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[\s-]+fret[\s-]+capo\b", re.IGNORECASE)
_ORDINALS = dict(zip(("first", "second", "third", "fourth", "fifth", "sixth", "seventh"), range(1, 8), strict=True))
_CAPO = re.compile(
    r"\bcapo\b[\s:=-]*(?:on|at)?\s*(?:fret|the)?\s*(\d{1,3}|first|second|third|fourth|fifth|sixth|seventh|[IVX]{1,4}\b|none|no\b)?",
    re.IGNORECASE,
)
_NO_CAPO = re.compile(r"\b(?:no|without(?: a)?)\s+capo\b", re.IGNORECASE)
_ROMAN = {"I": 1, "V": 5, "X": 10}


@dataclass(frozen=True, slots=True)
class Strings:
    """Open strings, the top line first, and what had to be guessed."""

    open: tuple[float, ...]
    remarks: tuple[str, ...] = ()


def capo_of(texts: Iterable[str]) -> int:
    """Fret of the capo that a line of text names; 0 where none does.

    Raises
    ------
    InputError
        If it is beyond `CAPO_MAX`.

    Examples
    --------
    >>> capo_of(["Capo: 3rd fret"]), capo_of(["capo II"]), capo_of(["no capo"])
    (3, 2, 0)
    """
    for text in texts:
        found = _CAPO_BEFORE.search(text) or _CAPO.search(text)
        if not found or _NO_CAPO.search(text) or not found[1]:
            continue
        word = found[1].upper()
        fret = int(word) if word.isdigit() else _ORDINALS.get(word.lower()) or _roman(word)
        if fret > CAPO_MAX:
            raise InputError(f"capo {word}", mend=f"a capo on fret 1 to {CAPO_MAX} can be read")
        return fret
    return 0


def _roman(word: str) -> int:
    """A Roman number; 0 for "none" and the like."""
    values = [_ROMAN.get(letter, 0) for letter in word]
    if 0 in values:
        return 0
    return sum(-v if v < max(values[i:]) else v for i, v in enumerate(values))


def strings_of(labels: Sequence[str], texts: Iterable[str]) -> Strings:
    """Open strings of a tablature, without the capo.

    Parameters
    ----------
    labels : sequence of str
        Label of each line, the top one first; empty where a line has none.
    texts : iterable of str
        The other lines of the file: a "Tuning:" line goes before the labels.

    Returns
    -------
    Strings

    Examples
    --------
    >>> strings_of(["e", "B", "G", "D", "A", "D"], []).open
    (64.0, 59.0, 55.0, 50.0, 45.0, 38.0)
    >>> strings_of([""] * 6, ["Tuning: half step down"]).open[0]
    63.0
    """
    for text in texts:
        found = _TUNING.search(text)
        said = _said(found[1], labels) if found else None
        said = said or _said_otherwise(text, labels)
        if said is not None:
            return said
        if found and len(found[1].split()) < 8:
            fallback = _from_labels(labels)
            words = f"tuning {found[1].strip()[:40]!r} not understood"
            return Strings(fallback.open, (words, *fallback.remarks))
    return _from_labels(labels)


def _said_otherwise(text: str, labels: Sequence[str]) -> Strings | None:
    """Strings of "Drop D tuning", "tuned to DADGAD" and "(half step down)"; None where a line says no such thing."""
    word, tuned = _WORD.search(text), _TUNED.search(text)
    for part in (text[: word.start()].strip(" \t-([*") if word else "", tuned[1] if tuned else ""):
        said = _said(part, labels) if part else None
        if said is not None:
            return said
    words = _ONLY_LOWERED.sub("", text, count=1)
    lowered = _LOWERED.match(words)
    alone = lowered is not None and not re.search(r"\w", words[lowered.end() :])
    return _said(words, labels) if alone else None


def _from_labels(labels: Sequence[str]) -> Strings:
    """Strings named at the lines, or the usual ones."""
    if all(_class_of(label) is not None for label in labels):
        return _match(labels)
    name, pitches = USUAL[len(labels)][0]
    return Strings(_downward(pitches), (f"strings not named: tuned as a {name} usually is",))


def _said(text: str, labels: Sequence[str]) -> Strings | None:
    """Strings of a tuning said in letters or by its name; None where it isn't understood."""
    plain = re.sub(r"\(.*?\)", " ", text).strip(" .:")
    usual = USUAL[len(labels)][0][1]
    lower = _lowered(text)
    named = _named(plain, usual, len(labels))
    inside = [_tokens(part.strip(), len(labels)) for part in re.findall(r"\((.*?)\)", text)]
    if named is None and (tokens := next((t for t in (_tokens(plain, len(labels)), *inside) if t), [])):
        listed = _listed(tokens, labels)
        # Letters that are lowered already are not lowered once more.
        return replace(listed, open=tuple(p - lower for p in listed.open)) if max(listed.open) == max(usual) else listed
    if named is not None:
        return _downward_or_turned([pitch - lower for pitch in named], labels)
    if not lower:
        return None
    own = _from_labels(labels)
    # Strings named as lowered already are not lowered once more.
    if max(own.open) != max(usual):
        return own
    return replace(own, open=tuple(pitch - lower for pitch in own.open))


def _tokens(plain: str, count: int) -> list[str]:
    """Names of the strings at the head of a line; none where they aren't as many as the lines."""
    words = re.split(r"[\s,/-]+", plain)
    if len(words) >= count and all(_NAME.fullmatch(word) for word in words[:count]):
        return [word[0].upper() + word[1:] for word in words[:count]]
    found = re.match(rf"(?:(?:{_TOKEN.pattern})[\s,/-]*){{{count}}}(?![\w#♯♭])", plain)
    return _TOKEN.findall(found[0]) if found else []


def _lowered(text: str) -> int:
    """Semitones all strings are let down by, as the words say."""
    found = _LOWERED.search(text)
    if not found:
        return 0
    number, unit = (found[1], found[2]) if found[2] else (found[3], found[4])
    size = 1 if re.match(r"semi|half", unit, re.IGNORECASE) else 2
    return int(_COUNTS.get((number or "").lower(), int(number) if (number or "").isdigit() else 1) * size)


def _named(plain: str, usual: Sequence[int], count: int) -> list[int] | None:
    """Pitches of a tuning of a name, the lowest string first; None where it has none known here."""
    words = " ".join(plain.lower().replace("-", " ").split())
    if re.match(r"(?:e )?standard|normal|usual|regular", words):
        return list(usual)
    root = _STANDARD.match(plain)
    if root:
        return [pitch + _shift(_class_of(_sign(root[1])) or 0, usual[0]) for pitch in usual]
    root = _DROPPED.match(plain)
    if root:
        down = _shift(_class_of(_sign(root[1])) or 0, usual[0] - 2)
        return [usual[0] - 2 + down, *(pitch + down for pitch in usual[1:])]
    known = max((name for name in _NAMED if words.startswith(name)), key=len, default=None)
    # "Open D minor" is another one.
    if (
        known is None
        or count != len(_NAMED[known].split())
        or re.match(r"[#b♯♭m]|\s*m(?:in|aj|\b)", words[len(known) :])
    ):
        return None
    return [int(pitch) for pitch in reversed(_match(list(reversed(_NAMED[known].split()))).open)]


def _sign(name: str) -> str:
    """A note name with its accidental as a sign."""
    letter, word = name[0].upper(), name[1:].strip(" -").lower()
    return letter + {"flat": "b", "sharp": "#"}.get(word, word)


def _listed(tokens: list[str], labels: Sequence[str]) -> Strings:
    """Strings of a list of letters, as many as there are lines, from either side."""
    classes, own = ([_class_of(name) for name in names] for names in (tokens, labels))
    octaves = [midi_number(token) for token in tokens]
    if None not in octaves:
        pitches = [pitch for pitch in octaves if pitch is not None]
        return _downward_or_turned(pitches if pitches[0] < pitches[-1] else pitches[::-1], labels)
    if own in (classes, classes[::-1]):
        return _from_labels(labels)
    found = _match(tokens[::-1])
    turned = TURNED in found.remarks
    pitches = [int(pitch) for pitch in (found.open if turned else reversed(found.open))]
    remarks = tuple(remark for remark in found.remarks if remark != TURNED)
    strings = _downward_or_turned(pitches, labels)
    return replace(strings, remarks=(*strings.remarks, *remarks))


def _downward_or_turned(pitches: Sequence[int], labels: Sequence[str]) -> Strings:
    """Pitches from the lowest string up, on the lines as their labels say: the highest on top, or turned."""
    if TURNED in _from_labels(labels).remarks:
        return Strings(tuple(float(pitch) for pitch in pitches), (TURNED,))
    return Strings(_downward(pitches))


def _downward(pitches: Sequence[int]) -> tuple[float, ...]:
    """Pitches from the top line down."""
    return tuple(float(pitch) for pitch in reversed(pitches))


def _class_of(label: str) -> int | None:
    """Pitch class of a string's label."""
    name = label.rstrip("0123456789")
    return pitch_class("B" if name in ("H", "h") else name)


def _match(labels: Sequence[str]) -> Strings:
    """Pitches of named strings: the nearest to a usual tuning, the lowest string on the bottom or the top line."""
    exact = [midi_number(label) for label in labels]
    if all(pitch is not None for pitch in exact):
        return Strings(tuple(float(pitch or 0) for pitch in exact))
    classes = [_class_of(label) or 0 for label in labels]
    candidates = []
    for turned in (False, True):
        for name, usual in USUAL[len(labels)]:
            from_top = usual if turned else usual[::-1]
            shifts = [_shift(c, pitch) for c, pitch in zip(classes, from_top, strict=True)]
            candidates.append((sum(map(abs, shifts)), turned, name, from_top, shifts))
    _, turned, name, from_top, shifts = min(candidates, key=lambda c: c[:2])
    remarks = [TURNED] if turned else []
    if len(labels) < 6:
        remarks.append(f"{len(labels)} strings read as a {name}")
    return Strings(tuple(float(p + s) for p, s in zip(from_top, shifts, strict=True)), tuple(remarks))


def _shift(wanted: int, pitch: int) -> int:
    """Semitones from a usual string to one of another pitch class."""
    up = (wanted - pitch) % 12
    return up if up <= _UP else up - 12 if up - 12 >= _DOWN else up
