"""Advice: from a habit or a feature and the way it differs to plain words and one exercise.

The shipped texts are in ``advice.toml``. A teacher may lay a file of the same form over them; it is not trusted: its
size, its lengths and what it would send to a terminal are bounded here.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from os import PathLike
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np
import numpy.typing as npt

from stylemeter.errors import AdviceError, InputError
from stylemeter.features import CATALOG, HABITS
from stylemeter.music.melody import Key, Melody
from stylemeter.music.scales import MODE_SCALES
from stylemeter.placement.records import Placement
from stylemeter.practice.words import Direction, fill, habit_sentence, sentence, words
from stylemeter.reading.intake.guard import load
from stylemeter.support.printable import show
from stylemeter.support.texts import load_texts, texts_file
from stylemeter.writing.spelling import spell_class

__all__ = ["Advice", "Choice", "Tip", "advice_for", "first_thing", "load_advice", "read_advice"]

#: Bytes of an advice file, characters of one text in it, and dots in one of its lines.
BYTES_MAX = 256 * 1024
TEXT_MAX = 1000
DOTS_MAX = 200

_SHIPPED = texts_file("advice")
_KINDS: dict[str, Mapping[str, object]] = {"habits": HABITS, "features": CATALOG}

#: Characters a text can't hold: controls, surrogates, private use, unassigned, separators, and marks that turn lines.
_UNSAFE = frozenset({"Cc", "Cs", "Co", "Cn", "Zl", "Zp"})
_TURNING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


@dataclass(frozen=True, slots=True)
class Tip:
    """What to say of a difference, and what to practise.

    Attributes
    ----------
    name : str
        A feature or a habit.
    direction : {"more", "less"}
        More of it than the style has, or less.
    words : str
    exercise : str
    basis : str
        What it rests on: "common practice, no source", or what the teacher's file says.
    source : str
        Title of the advice it is from.
    variants : dict of str
        Exercises by `COLOURS`, where there are others than the plain one.
    """

    name: str
    direction: Direction
    words: str
    exercise: str
    basis: str
    source: str
    variants: Mapping[str, str] = field(default_factory=dict)

    def for_take(self, melody: Melody) -> Tip:
        """The tip as said of a take: the exercise for its colour, with the names of its notes."""
        exercise = next((self.variants[c] for c in colours(melody) if c in self.variants), self.exercise)
        return replace(self, exercise=_with_notes(exercise, melody.key), variants={})


#: What an exercise can be written for besides the plain one.
COLOURS = ("blues", "seven", "major", "minor")
#: Share of the flat fifth from which minor third, flat fifth and flat seventh together are a blues.
BLUE = 0.02
_NAMED = {"minor_third": 3, "major_third": 4, "fourth": 5, "fifth": 7, "minor_sixth": 8, "major_sixth": 9}
_NAMED |= {"root": 0, "major_seventh": 11}
#: Degrees named by the mode: the nearest of its notes.
_BY_MODE = {"ninth": (2, 1), "third": (4, 3), "sixth": (9, 8), "seventh": (11, 10)}
_NOTE_NAME = re.compile(r"\{(" + "|".join([*_NAMED, *_BY_MODE]) + r")\}")


def colours(melody: Melody) -> Iterator[str]:
    """What a take is, of `COLOURS`, the most telling first.

    A blues has a minor third over a major chord on the root, or minor third, flat fifth and flat seventh and no major
    seventh (common practice, no source).
    """
    key = melody.key
    semitones = np.floor(melody.pitch + 0.5).astype(np.int64)
    if key is not None and len(semitones) and _is_blues(melody, (semitones - key.tonic) % 12):
        yield "blues"
    if len(np.unique(semitones % 12)) >= 7:
        yield "seven"
    if key is not None and key.mode in ("major", "minor"):
        yield key.mode


def _is_blues(melody: Melody, degree: npt.NDArray[np.int64]) -> bool:
    share = np.bincount(degree, minlength=12) / len(degree)
    if share[6] >= BLUE and share[3] > 0 and share[10] > 0 and share[11] == 0:
        return True
    assert melody.key is not None
    tonic = melody.key.tonic
    home = [c.root == tonic and (tonic + 4) % 12 in c.pitch_classes for c in melody.chords or ()]
    if not any(home):
        return False
    onsets = np.array([c.onset for c in melody.chords or ()])
    under = np.searchsorted(onsets, melody.onset, side="right") - 1
    over_home = (under >= 0) & np.array(home)[np.maximum(under, 0)]
    return bool(np.any(over_home & (degree == 3)))


def _with_notes(text: str, key: Key | None) -> str:
    """A text with the names of notes in brackets: " (F)" for "{third}" in D minor, nothing without a key."""

    def named(found: re.Match[str]) -> str:
        if key is None or (key.mode is None and found[1] in _BY_MODE):
            return ""
        degree = _NAMED.get(found[1], -1)
        if degree < 0:
            scale = MODE_SCALES[key.mode or "major"]
            degree = next(d for d in _BY_MODE[found[1]] if d in scale)
        letter, alter = spell_class((key.tonic + degree) % 12, key)
        return f" ({letter}{ {-1: 'b', 1: '#'}.get(alter, '') })"

    return _NOTE_NAME.sub(named, text)


@dataclass(frozen=True, slots=True)
class Advice:
    """Tips by name and direction, and the cautions to print once a report.

    Attributes
    ----------
    title : str
    tips : dict of Tip
        By (name, direction).
    cautions, credit : str
        How to practise without being hurt, and whose guidance that is.
    """

    title: str
    tips: Mapping[tuple[str, Direction], Tip]
    cautions: str
    credit: str


@dataclass(frozen=True, slots=True)
class Choice:
    """The one thing to work on, and the one sentence that says so.

    Attributes
    ----------
    kind : {"habit", "none"}
    name : str
        Empty where there is none.
    tip : Tip or None
        Only where the habit is shown: what one take merely hints at is listened for in the next one first.
    reason : str
        The sentence: what to work on, what to listen for, or that nothing needs it.
    """

    kind: Literal["habit", "none"]
    name: str
    tip: Tip | None
    reason: str


# -- reading -----------------------------------------------------------------------------------------------------


def load_advice(path: str | PathLike[str] | None = None) -> Advice:
    """Load the shipped advice, a teacher's own file laid over it.

    Parameters
    ----------
    path : path or None
        The teacher's file: its entries take the place of the shipped ones, its cautions are added to theirs.

    Raises
    ------
    AdviceError
        If the file can't be read, isn't TOML, names what isn't there, or holds something else than short texts.
    """
    if path is None:
        return _shipped()
    where = show(path)
    try:
        Path(path).stat()
        if not Path(path).is_file():
            raise AdviceError("is not a file", where=where, mend="give an advice file (.toml)")
        data = load(path)
    except (InputError, OSError, ValueError) as error:
        what = error.what if isinstance(error, InputError) else _system_words(error)
        raise AdviceError(what, where=where, mend="give an advice file (.toml)") from None
    return _lay_over(read_advice(data, where), _shipped())


def _system_words(error: OSError | ValueError) -> str:
    """What the system says of a file it can't show."""
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return "no such file"
    return f"can't be read ({getattr(error, 'strerror', None) or 'not a file name'})"


@lru_cache(maxsize=1)
def _shipped() -> Advice:
    return _advice_of(load_texts(_SHIPPED), _SHIPPED.name)


def _lay_over(own: Advice, under: Advice) -> Advice:
    """Entries of `own` in the place of those of `under`; cautions are only ever added to."""
    cautions = f"{under.cautions} {own.cautions}".strip()
    credit = f"{under.credit} {own.credit}".strip()
    return Advice(own.title, {**under.tips, **own.tips}, cautions, credit)


def read_advice(data: bytes, where: str) -> Advice:
    """Read an advice file.

    Parameters
    ----------
    data : bytes
    where : str
        Name said in errors.

    Raises
    ------
    AdviceError
    """
    return _advice_of(_parse(data, where), where)


def _advice_of(document: dict[str, Any], where: str) -> Advice:
    """Check a document and take its tips."""
    known = ("title", "basis", "cautions", *_KINDS)
    for name in document:
        if name not in known:
            raise _unknown("field", name, known, where)
    file_name = re.split(r"[\\/]", where)[-1]
    title = _text(document, "title", where) if "title" in document else file_name
    basis = _text(document, "basis", where) if "basis" in document else f"from {title}"
    tips: dict[tuple[str, Direction], Tip] = {}
    for kind, there in _KINDS.items():
        for name, table in _table(document.get(kind, {}), f"{where}: {kind}").items():
            if name not in there:
                raise _unknown(kind[:-1], name, there, f"{where}: {kind}")
            for tip in _entry(table, f"{where}: {kind}.{name}", Tip(name, "more", "", "", basis, title)):
                tips[name, tip.direction] = tip
    cautions = _table(document.get("cautions", {}), f"{where}: cautions")
    for name in cautions:
        if name not in ("text", "credit"):
            raise _unknown("field", name, ("text", "credit"), f"{where}: cautions")
    said = {name: _text(cautions, name, f"{where}: cautions") for name in cautions}
    return Advice(title, tips, said.get("text", ""), said.get("credit", ""))


def _parse(data: bytes, where: str) -> dict[str, Any]:
    """TOML as a document, in bounded time."""
    if len(data) > BYTES_MAX:
        raise AdviceError(f"is larger than {BYTES_MAX // 1024} KiB", where=where, mend="shorten its texts")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise AdviceError("is not UTF-8 text", where=f"{where}, line {line}", mend="save it as UTF-8") from None
    # the parser takes quadratic time for keys of very many parts
    for number, line_text in enumerate(text.split("\n"), 1):
        if line_text.count(".") > DOTS_MAX:
            raise AdviceError(f"more than {DOTS_MAX} dots in a line", where=f"{where}, line {number}")
    import tomllib  # only a teacher's own file needs it

    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _bad_line(str(error), where) from None
    except (RecursionError, ValueError):
        raise AdviceError("is not an advice file: numbers or brackets beyond all bounds", where=where) from None


def _bad_line(message: str, where: str) -> AdviceError:
    """Turn the parser's message, which ends in the place, into ours."""
    found = re.search(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$", message)
    what = show(message[: found.start()] if found else message)
    place = f"{where}, line {found[1]}" if found and found[1] else f"{where}, at its end" if found else where
    return AdviceError(f"not TOML: {what[:1].lower()}{what[1:]}", where=place, mend='write name = "text"')


def _unknown(kind: str, name: str, there: Iterable[str], where: str) -> AdviceError:
    """Say that a name isn't there, and which ones are near it."""
    import difflib

    near = difflib.get_close_matches(name[:100], list(there), 3, 0.5)
    return AdviceError(
        f"unknown {kind} {show(name, 60)!r}",
        where=where,
        mend="did you mean " + " or ".join(near) + "?" if near else "there is: " + ", ".join(there),
    )


def _table(found: Any, where: str) -> dict[str, Any]:
    if not isinstance(found, dict):
        raise AdviceError("is not a table", where=where, mend="write it in [brackets] with its texts below")
    return found


def _entry(found: Any, where: str, blank: Tip) -> list[Tip]:
    """Tips of one feature or habit."""
    tips = []
    known = ("words", "exercise", "basis", *(f"exercise_{colour}" for colour in COLOURS))
    table = _table(found, where)
    if not table:
        raise AdviceError("holds nothing", where=where, mend="write its tables .more or .less")
    for direction, texts in table.items():
        if direction not in ("more", "less"):
            raise _unknown("direction", direction, ("more", "less"), where)
        here = f"{where}.{direction}"
        for name in _table(texts, here):
            if name not in known:
                raise _unknown("field", name, known, here)
        basis = _text(texts, "basis", here) if "basis" in texts else blank.basis
        said, exercise = _text(texts, "words", here), _text(texts, "exercise", here)
        way = cast("Direction", direction)
        own = {c: _text(texts, f"exercise_{c}", here) for c in COLOURS if f"exercise_{c}" in texts}
        tips.append(replace(blank, direction=way, words=said, exercise=exercise, basis=basis, variants=own))
    return tips


def _text(table: Mapping[str, Any], name: str, where: str) -> str:
    """A short, plain text, its white space evened out."""
    found = table.get(name)
    if found is None:
        raise AdviceError(f"text {name!r} is missing", where=where, mend=f'write {name} = "..."')
    if not isinstance(found, str):
        raise AdviceError(f"{name!r} is not a text", where=where, mend="put it in quotes")
    text = " ".join(found.split())
    if not text:
        raise AdviceError(f"text {name!r} is empty", where=where, mend="write what to say, or take the entry out")
    if len(text) > TEXT_MAX:
        raise AdviceError(f"text {name!r} has {len(text)} characters", where=where, mend=f"{TEXT_MAX} are the most")
    # printable ASCII, as ours is, holds nothing unsafe: it need not be looked at sign by sign
    plain = text.isascii() and text.isprintable()
    bad = None if plain else next((s for s in text if s in _TURNING or unicodedata.category(s) in _UNSAFE), None)
    if bad is not None:
        raise AdviceError(f"text {name!r} holds the control character {show(bad)}", where=where, mend="take it out")
    return text


# -- choosing ----------------------------------------------------------------------------------------------------


def advice_for(advice: Advice, name: str, direction: Direction) -> Tip | None:
    """Tip for a feature or habit and the way it differs, or None where the advice has none."""
    return advice.tips.get((name, direction))


def first_thing(placement: Placement, advice: Advice) -> Choice:
    """Choose the one thing to work on, and say it in one sentence.

    The rule: the habit shown with the least p; else the one hinted at with the least p. What depends on uncertain
    notes comes after what doesn't; ties go by how far out it lies, in widths of the style's middle. Nothing else is
    advised on: a trait outside the norm without a habit is told, not worked on.
    """
    style, said = placement.profile.style, words().first
    if placement.plan is None:
        return Choice("none", "", None, fill(said["impossible"], style=style, reason=placement.typicality.reason))
    if {*(h.verdict for h in placement.habits), *(f.verdict for f in placement.features)} == {"unmeasured"}:
        return Choice("none", "", None, fill(said["unmeasured"], style=style, reason=placement.habits[0].reason))
    there = [h for h in placement.habits if h.verdict in ("shown", "hinted")]
    there.sort(key=lambda h: (h.unsure, h.verdict != "shown", *_least(h.p, -h.effect)))
    for h in there[:1]:
        own = words().habits[h.name]
        why = habit_sentence(h, style)
        inside = why[:1].lower() + why[1:]
        kind = "unsure" if h.unsure else h.verdict
        tip = advice_for(advice, h.name, "more") if kind == "shown" else None
        reason = fill(said[kind], work=own.work, title=own.title.lower(), why=inside, style=style)
        return Choice("habit", h.name, tip and tip.for_take(placement.melody), reason)
    clear = [f for f in placement.outside if f.clear and not f.unsure]
    if clear:
        what = sentence(clear[0], style)
        return Choice("none", "", None, fill(said["clear"], style=style, what=what[:1].lower() + what[1:]))
    return Choice("none", "", None, fill(said["none"], style=style))


def _least(*values: float) -> tuple[float, ...]:
    """Values to sort by, the unknown ones last."""
    return tuple(v if math.isfinite(v) else math.inf for v in values)
