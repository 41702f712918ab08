"""The texts of ``words.toml`` as typed records, checked when they are loaded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, get_args

from stylemeter.errors import StylemeterError
from stylemeter.features import CATALOG, HABITS
from stylemeter.support.texts import CHOICE, NAME, load_texts, texts_file

__all__ = ["Direction", "FeatureWords", "HabitWords", "Titled", "Words", "parse", "words"]

#: Which way something differs: more of it than the style has, or less.
Direction = Literal["more", "less"]
Show = Literal["percent", "number"]

_FILE = texts_file("words")

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
    "often_bar": "times",
    "often_bars": "bars",
    "often_once": "",
    "times": "count",
    "twice": "",
    "numbers": "",
    "some": "count total",
    "some_all": "total",
    "some_both": "",
    "some_only": "",
    "share_up": "count total things",
    "share_down": "count total things",
    "bring_up": "amount",
    "bring_down": "amount",
    "first_step": "change",
    "one_scale": "",
    "in_part": "where sentence",
    "throughout": "sentence",
    "bar": "low",
    "bars": "low high",
    "in_bars": "bars",
    "beyond": "clause count style",
}
_FIRST = {
    "shown": "work title why style",
    "hinted": "work title why style",
    "unsure": "work title why style",
    "clear": "style what",
    "none": "style",
    "unmeasured": "style reason",
    "impossible": "style reason",
}
_VERDICTS = ("below", "within", "above", "unmeasured", "clear", "unsure")
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
    """What is said of one habit.

    Attributes
    ----------
    title : str
    work : str
        What to work on: goes on with "Work on".
    shown, hinted, none, free : str
        A sentence a verdict, with ``{style}``.
    well : str
        What a take that stands out as free of it does well.
    usual : str
        What is as the style has it where it isn't shown.
    question : str
        What a teacher listens for.
    chord_shown, chord_hinted : str
        Said where it is each chord's own note and not the key's; empty where that can't be.
    """

    name: str
    title: str
    work: str
    well: str
    usual: str
    shown: str
    hinted: str
    none: str
    free: str
    question: str
    chord_shown: str = ""
    chord_hinted: str = ""


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
    return parse(load_texts(_FILE))


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
        stray = set(NAME.findall(text)) - set(wanted[name].split())
        plain = NAME.sub("", CHOICE.sub("", text))
        if stray or set("{}") & set(plain):
            raise StylemeterError(f"text {name!r} fills in what nobody says: {sorted(stray) or plain}", where=where)
    return {name: found.get(name, "") for name in wanted}


_FEATURE_TEXTS = dict.fromkeys(("label", "more", "less", "explain", "show", "unit", "of"), "")
_CHANGE_NAMES = "count some amount these_bars often"


def _feature(name: str, found: Any, where: str) -> FeatureWords:
    rest = {k: v for k, v in found.items() if k != "digits"} if isinstance(found, Mapping) else found
    wanted = {**_FEATURE_TEXTS, "up": _CHANGE_NAMES, "down": _CHANGE_NAMES}
    texts = _texts(rest, wanted, where, frozenset({"unit", "of", "up", "down"}))
    number = texts["show"] == "number"
    digits = found.get("digits", 0)
    if texts["show"] not in get_args(Show):
        raise StylemeterError(f"shows {texts['show']!r}: it can be percent or number", where=where)
    wanted_with_it = {"digits", "unit"} if number else set()
    if type(digits) is not int or not 0 <= digits <= 4 or {"digits", "unit"} & set(found) != wanted_with_it:
        raise StylemeterError("a number has a unit and digits (0 to 4), a percentage has neither", where=where)
    return FeatureWords(name=name, digits=digits, **texts)  # type: ignore[arg-type]


def _habit(name: str, found: Any, where: str) -> HabitWords:
    said = dict.fromkeys(("shown", "hinted"), "style scale")
    plain = dict.fromkeys(("title", "work", "well", "usual", "question"), "")
    wanted = {**plain, **said, **dict.fromkeys(("none", "free"), "style")}
    own = {k: v for k, v in found.items() if k != "chord"} if isinstance(found, Mapping) else found
    texts = _texts(own, wanted, where)
    chord = _texts(found["chord"], said, f"{where}.chord") if "chord" in found else {}
    return HabitWords(name=name, **texts, **{f"chord_{key}": text for key, text in chord.items()})


def _titled(name: str, found: Any, where: str) -> Titled:  # noqa: ARG001 - one signature for all readers
    return Titled(**_texts(found, {"title": "", "explain": ""}, where))
