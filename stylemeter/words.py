"""What the tool says about features, habits, families and verdicts: typed access to ``words.toml``.

Every such text lives in that one file, ready to be translated; here they are checked, filled in and counted.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal, get_args

from stylemeter.errors import StylemeterError
from stylemeter.features import CATALOG, HABITS
from stylemeter.placed import FeaturePlace, HabitPlace

__all__ = [
    "Direction",
    "FeatureWords",
    "HabitWords",
    "Titled",
    "Words",
    "capital",
    "change_words",
    "direction_of",
    "feature_verdict",
    "fill",
    "format_range",
    "format_value",
    "habit_sentence",
    "habit_verdict",
    "parse",
    "percentile_words",
    "sentence",
    "words",
]

#: Which way something differs: more of it than the style has, or less.
Direction = Literal["more", "less"]
Show = Literal["percent", "number"]

_FILE = Path(__file__).resolve().parent / "words.toml"

#: ``{one|many}``; either side may hold ``{names}``.
_CHOICE = re.compile(r"\{((?:[^{}|]|\{\w+\})*)\|((?:[^{}|]|\{\w+\})*)\}")
_NAME = re.compile(r"\{(\w+)\}")

_DISTRIBUTIONS = ("intervals", "degrees", "iois", "onsets")

_PHRASES = {
    "than": "count style",
    "than_small": "count style",
    "than_almost_all": "style",
    "than_almost_none": "style",
    "outside": "clause than",
    "unsure": "clause than",
    "within": "label style",
    "unmeasured": "label reason",
    "no_value": "",
    "no_reason": "",
    "under_one_percent": "",
    "over_99_percent": "",
    "value_range": "low high",
    "these_bars": "count",
    "some": "count total",
    "some_all": "total",
    "some_only": "",
    "share_up": "count total things",
    "share_down": "count total things",
    "bring_up": "amount",
    "bring_down": "amount",
}
_FIRST = {
    "shown": "title style",
    "hinted": "title style",
    "clear": "label style",
    "outside": "label style",
    "none": "style",
    "unmeasured": "style",
}
_VERDICTS = ("below", "within", "above", "unmeasured", "clear", "unclear", "unsure")
_HABIT_VERDICTS = ("shown", "hinted", "none", "free", "unmeasured")


@dataclass(frozen=True, slots=True)
class FeatureWords:
    """What is said of one feature.

    Attributes
    ----------
    name, label : str
    more, less : str
        Clauses that go on with "than in 97 of 100 old fiddle tunes of this length".
    explain : str
        One plain sentence.
    show : {"percent", "number"}
    unit : str
        Follows a number; ``"beat|beats"`` parts one from many.
    digits : int
        Decimals.
    of : str
        What a share is a share of, in the plural; empty where it isn't one.
    up, down : str
        What to do to come up, or down, to the usual range (see `change_words`); empty where nobody can say.
    """

    name: str
    label: str
    more: str
    less: str
    explain: str
    show: Show
    unit: str
    digits: int
    of: str
    up: str
    down: str

    def clause(self, direction: Direction) -> str:
        """The clause of a direction."""
        return self.more if direction == "more" else self.less


@dataclass(frozen=True, slots=True)
class HabitWords:
    """What is said of one habit: its title, a sentence a verdict (with ``{style}``), and what a teacher listens for."""

    name: str
    title: str
    shown: str
    hinted: str
    none: str
    free: str
    question: str


@dataclass(frozen=True, slots=True)
class Titled:
    """Title of a family of features or of a distribution, and what it holds."""

    title: str
    explain: str


@dataclass(frozen=True, slots=True)
class Words:
    """Every text, by name."""

    features: Mapping[str, FeatureWords]
    habits: Mapping[str, HabitWords]
    families: Mapping[str, Titled]
    distributions: Mapping[str, Titled]
    verdicts: Mapping[str, str]
    habit_verdicts: Mapping[str, str]
    first: Mapping[str, str]
    phrases: Mapping[str, str]

    def title(self, name: str) -> str:
        """What a feature or habit is called."""
        return self.habits[name].title if name in self.habits else self.features[name].label


# -- loading -----------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def words() -> Words:
    """Load the texts, once."""
    return parse(tomllib.loads(_FILE.read_text(encoding="utf-8")))


def parse(document: Mapping[str, Any], where: str = "words.toml") -> Words:
    """Check a document of texts.

    Raises
    ------
    StylemeterError
        If a text is missing, empty, of the wrong type or without use, or a feature or habit is unknown.
    """
    families = dict.fromkeys(f.family for f in CATALOG.values())
    top = ("phrases", "verdicts", "habit_verdicts", "first", "families", "distributions", "habits", "features")
    _same_names(document, top, where, "table")
    return Words(
        features=_tables(document["features"], CATALOG, f"{where}: features", _feature),
        habits=_tables(document["habits"], HABITS, f"{where}: habits", _habit),
        families=_tables(document["families"], families, f"{where}: families", _titled),
        distributions=_tables(document["distributions"], _DISTRIBUTIONS, f"{where}: distributions", _titled),
        verdicts=_texts(document["verdicts"], dict.fromkeys(_VERDICTS, ""), f"{where}: verdicts"),
        habit_verdicts=_texts(document["habit_verdicts"], dict.fromkeys(_HABIT_VERDICTS, ""), f"{where}: verdicts"),
        first=_texts(document["first"], _FIRST, f"{where}: first"),
        phrases=_texts(document["phrases"], _PHRASES, f"{where}: phrases"),
    )


def _same_names(found: Any, wanted: Any, where: str, kind: str) -> None:
    """Refuse missing and unknown names."""
    if not isinstance(found, Mapping):
        raise StylemeterError("is not a table", where=where)
    for name in wanted:
        if name not in found:
            raise StylemeterError(f"{kind} {name!r} is missing", where=where)
    for name in found:
        if name not in wanted:
            raise StylemeterError(f"unknown {kind} {name!r}", where=where)


def _tables(found: Any, wanted: Any, where: str, read: Callable[[str, Any, str], Any]) -> dict[str, Any]:
    """One table a name, in the order wanted."""
    _same_names(found, wanted, where, "entry")
    return {name: read(name, found[name], f"{where}.{name}") for name in wanted}


def _texts(found: Any, wanted: Mapping[str, str], where: str, optional: frozenset[str] = frozenset()) -> dict[str, str]:
    """Texts by name, each with the names it may fill in."""
    _same_names(
        {**dict.fromkeys(optional, ""), **found} if isinstance(found, Mapping) else found, wanted, where, "text"
    )
    for name, text in found.items():
        if not isinstance(text, str) or (not text.strip() and name != "unit"):
            raise StylemeterError(f"text {name!r} is not a text or is empty", where=where)
        stray = set(_NAME.findall(text)) - set(wanted[name].split())
        plain = _NAME.sub("", _CHOICE.sub("", text))
        if stray or set("{}") & set(plain):
            raise StylemeterError(f"text {name!r} fills in what nobody says: {sorted(stray) or plain}", where=where)
    return {name: found.get(name, "") for name in wanted}


_FEATURE_TEXTS = dict.fromkeys(("label", "more", "less", "explain", "show", "unit", "of"), "")
_CHANGE_NAMES = "count some amount these_bars"


def _feature(name: str, found: Any, where: str) -> FeatureWords:
    rest = {k: v for k, v in found.items() if k != "digits"} if isinstance(found, Mapping) else found
    wanted = {**_FEATURE_TEXTS, "up": _CHANGE_NAMES, "down": _CHANGE_NAMES}
    texts = _texts(rest, wanted, where, frozenset({"unit", "of", "up", "down"}))
    number = texts["show"] == "number"
    digits = found.get("digits", 0)
    if texts["show"] not in get_args(Show):
        raise StylemeterError(f"shows {texts['show']!r}: it can be percent or number", where=where)
    if type(digits) is not int or not 0 <= digits <= 4 or number != ("digits" in found and "unit" in found):
        raise StylemeterError("a number has a unit and digits (0 to 4), a percentage has neither", where=where)
    return FeatureWords(name=name, digits=digits, **texts)  # type: ignore[arg-type]


def _habit(name: str, found: Any, where: str) -> HabitWords:
    wanted = {"title": "", "question": "", **dict.fromkeys(("shown", "hinted", "none", "free"), "style")}
    return HabitWords(name=name, **_texts(found, wanted, where))


def _titled(name: str, found: Any, where: str) -> Titled:  # noqa: ARG001 - one signature for all readers
    return Titled(**_texts(found, {"title": "", "explain": ""}, where))


# -- filling in --------------------------------------------------------------------------------------------------


def fill(text: str, number: float = 0, **parts: str) -> str:
    """Fill in a text; what is filled in is never read as a text itself.

    Parameters
    ----------
    text : str
        With ``{names}`` and ``{one|many}``.
    number : float
        Chooses between one and many.
    parts : str
        By name.

    Examples
    --------
    >>> fill("put {count} {breath|breaths} in", 1, count="1"), fill("put {count} {breath|breaths} in", 3, count="3")
    ('put 1 breath in', 'put 3 breaths in')
    """
    chosen = _CHOICE.sub(lambda m: m[1] if number == 1 else m[2], text)
    return _NAME.sub(lambda m: parts[m[1]], chosen)


def change_words(text: str, count: int, total: int, *, amount: str, bars: int) -> str:
    """Fill in what to do: an ``up`` or ``down`` text.

    Parameters
    ----------
    text : str
    count : int
        How many things to change.
    total : int
        How many there are of them.
    amount : str
        What comes of it.
    bars : int
        Bars of the solo.

    Examples
    --------
    >>> change_words("break {some} scale {run|runs}", 2, 4, amount="", bars=8)
    'break 2 of the 4 scale runs'
    >>> change_words("break {some} scale {run|runs}", 1, 1, amount="", bars=8)
    'break the only scale run'
    >>> change_words("put {count} {breath|breaths} into {these_bars}", 3, 0, amount="", bars=16)
    'put 3 breaths into these 16 bars'
    """
    phrases = words().phrases
    which = "some" if count < total else "some_all" if total > 1 else "some_only"
    return fill(
        text,
        total if "{some}" in text else count,
        count=str(count),
        some=fill(phrases[which], count=str(count), total=str(total)),
        amount=amount,
        these_bars=fill(phrases["these_bars"], bars, count=str(bars)),
    )


def capital(text: str) -> str:
    """The text with its first letter as a capital.

    Examples
    --------
    >>> capital("more of it")
    'More of it'
    """
    return text[:1].upper() + text[1:]


def format_value(name: str, value: float, *, extra: int = 0) -> str:
    """A feature's value as it is shown.

    Parameters
    ----------
    name : str
        A feature.
    value : float
    extra : int
        More decimals than usual, where two values would look alike.

    Examples
    --------
    >>> format_value("step_share", 0.374), format_value("longest_stream", 1.0), format_value("mean_interval", 2.14)
    ('37%', '1 beat', '2.1 semitones')
    >>> format_value("chromatic_share", 0.004), format_value("npvi", float("nan"))
    ('under 1%', 'not measured')
    """
    own, phrases = words().features[name], words().phrases
    if not math.isfinite(value):
        return phrases["no_value"]
    if own.show == "percent":
        if not extra and 0 < value < 0.005:
            return phrases["under_one_percent"]
        if not extra and 0.995 < value < 1:
            return phrases["over_99_percent"]
        return f"{_number(100 * value, extra)}%"
    shown = _number(value, own.digits + extra)
    return f"{shown} {_unit(own.unit, shown)}".rstrip()


def _unit(unit: str, shown: str) -> str:
    """The unit for one or for many."""
    one, bar, many = unit.partition("|")
    return many if bar and shown not in ("1", "-1") else one


def _number(value: float, digits: int) -> str:
    """A number with its decimals, without them where it is whole, and never as -0."""
    if abs(value - round(value)) < 1e-9:
        return str(round(value))
    shown = f"{value:.{digits}f}"
    return shown if float(shown) else shown.lstrip("-")


def format_range(name: str, low: float, high: float) -> str:
    """A range of a feature's values as it is shown.

    Examples
    --------
    >>> format_range("step_share", 0.31, 0.62), format_range("pitch_range", 12, 24)
    ('31% to 62%', '12 to 24 semitones')
    """
    ends = [format_value(name, low), format_value(name, high)]
    unit = words().features[name].unit
    # the unit is said once: after the second number
    if unit and math.isfinite(low) and math.isfinite(high):
        ends[0] = ends[0].partition(" ")[0]
    return fill(words().phrases["value_range"], low=ends[0], high=ends[1])


# -- saying where something stands -------------------------------------------------------------------------------


def direction_of(place: FeaturePlace | HabitPlace) -> Direction:
    """Which way a feature or habit differs: for one inside its range, the side of the middle it lies on."""
    if isinstance(place, HabitPlace):
        opposite = place.verdict not in ("shown", "hinted") and place.free
        return "less" if opposite else "more"
    if place.outside:
        return "less" if place.verdict == "below" else "more"
    return "less" if place.percentile < 50 else "more"


def percentile_words(percentile: float, style: str, direction: Direction, *, small: bool = False) -> str:
    """Say a percentile as a count of tunes.

    Parameters
    ----------
    percentile : float
        0 to 100, mid-rank.
    style : str
        What the style's tunes are, in the plural.
    direction : {"more", "less"}
        Which clause it goes on with.
    small : bool
        Whether the style has few tune families: then it is said in tenths.

    Returns
    -------
    str
        Rounded half up. All of them is never said, for the next tune may be the one: "almost every one".

    Raises
    ------
    ValueError
        If the percentile is not in 0..100.

    Examples
    --------
    >>> percentile_words(97.2, "old fiddle tunes", "more")
    'than in 97 of 100 old fiddle tunes of this length'
    >>> percentile_words(21, "old fiddle tunes", "less", small=True)
    'than in 8 of 10 old fiddle tunes of this length'
    >>> percentile_words(99.5, "old fiddle tunes", "more")
    'than in almost every one of the old fiddle tunes of this length'
    """
    if not 0 <= percentile <= 100:
        raise ValueError(f"{percentile} is not a percentile")
    beyond = percentile if direction == "more" else 100 - percentile
    whole = 10 if small else 100
    count = math.floor(beyond * whole / 100 + 0.5)
    phrases = words().phrases
    if count >= whole:
        return fill(phrases["than_almost_all"], style=style)
    if count <= 0:
        return fill(phrases["than_almost_none"], style=style)
    return fill(phrases["than_small" if small else "than"], count=str(count), style=style)


def sentence(place: FeaturePlace, style: str) -> str:
    """Say in one sentence where a feature stands.

    Parameters
    ----------
    place : FeaturePlace
        A provisional norm (one with a reason) is said in tenths.
    style : str
        What the style's tunes are, in the plural.
    """
    own, phrases = words().features[place.name], words().phrases
    if place.verdict == "unmeasured":
        reason = place.reason or phrases["no_reason"]
        return capital(fill(phrases["unmeasured"], label=own.label, reason=reason))
    if not place.outside:
        return capital(fill(phrases["within"], label=own.label, style=style))
    direction = direction_of(place)
    than = percentile_words(place.percentile, style, direction, small=bool(place.reason))
    return capital(fill(phrases["unsure" if place.unsure else "outside"], clause=own.clause(direction), than=than))


def habit_sentence(place: HabitPlace, style: str) -> str:
    """Say in one sentence whether a habit is shown, or its opposite."""
    own, phrases = words().habits[place.name], words().phrases
    if place.verdict == "unmeasured":
        return fill(phrases["unmeasured"], label=own.title, reason=place.reason or phrases["no_reason"])
    if place.verdict == "none" and place.free:
        return fill(own.free, style=style)
    return fill({"shown": own.shown, "hinted": own.hinted, "none": own.none}[place.verdict], style=style)


def feature_verdict(place: FeaturePlace) -> str:
    """A feature's verdict in words, with how sure it is where it lies outside."""
    verdicts = words().verdicts
    said = verdicts[place.verdict]
    if not place.outside:
        return said
    surely = "unsure" if place.unsure else "clear" if place.clear else "unclear"
    return f"{said} ({verdicts[surely]})"


def habit_verdict(place: HabitPlace) -> str:
    """A habit's verdict in words."""
    free = place.verdict == "none" and place.free
    return words().habit_verdicts["free" if free else place.verdict]
