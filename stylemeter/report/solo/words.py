"""Texts of the page: access to ``page.toml``, and the small phrases made of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from stylemeter.placement.records import Stretch
from stylemeter.support.texts import Texts, texts_of

__all__ = [
    "bars_range",
    "bars_words",
    "joined",
    "percent",
    "percentile_text",
    "places_words",
    "q_words",
    "say",
    "standing_words",
    "table",
    "texts",
]


def texts() -> Texts:
    """The texts by "section.name".

    Raises
    ------
    StylemeterError
        If an entry is not a text.
    """
    return texts_of("page", "page")


def table(section: str) -> dict[str, str]:
    """The texts of one section, in the order of the file."""
    return texts().section(section)


def say(name: str, number: float = 0, /, **parts: object) -> str:
    """Fill in a text.

    Parameters
    ----------
    name : str
        "section.name".
    number : float
        Chooses between one and many.
    parts : object
        What is filled in, by name.

    Examples
    --------
    >>> say("styles.families", 1, count=1), say("styles.families", 39, count=39)
    ('1 tune family at this length', '39 tune families at this length')
    """
    return texts().say(name, number, **parts)


def joined(items: Sequence[str]) -> str:
    """A list in words.

    Examples
    --------
    >>> joined(["runs", "leaps", "rests"])
    'runs, leaps and rests'
    """
    head = texts()["comma"].join(items[:-1])
    return texts()["and"].join([head, *items[-1:]] if head else items[-1:])


def percent(share: float) -> str:
    """A share as a whole percentage; what is neither none nor all is never said to be.

    Examples
    --------
    >>> percent(0.374), percent(0.001), percent(0.999), percent(1.0)
    ('37%', '1%', '99%', '100%')
    """
    whole = round(100 * share)
    if 0 < share < 1:
        whole = min(99, max(1, whole))
    return f"{whole}%"


def bars_range(low: int, high: int) -> str:
    """Bar numbers: "3" or "3-5"."""
    return str(low) if low == high else f"{low}–{high}"


def bars_words(stretch: Stretch) -> str:
    """A place in words.

    Examples
    --------
    >>> bars_words(Stretch(3, 3, (1,))), bars_words(Stretch(3, 5, (1, 2)))
    ('bar 3', 'bars 3–5')
    """
    one = stretch.bar_from == stretch.bar_to
    return say("flagged.bars", 1 if one else 2, bars=bars_range(stretch.bar_from, stretch.bar_to))


def places_words(evidence: Iterable[Stretch], most: int = 2) -> str:
    """The clearest places in words, and how many more there are."""
    there = list(evidence)
    said = joined([bars_words(s) for s in there[:most]])
    more = len(there) - most
    return say("traits.more_places", more, bars=said, count=more) if more > 0 else said


def standing_words(percentile: float, *, small: bool = False) -> str:
    """A percentile as a count of tunes, in hundredths or, with few tunes, tenths; never all of them.

    Examples
    --------
    >>> standing_words(97.2), standing_words(0.1), standing_words(21, small=True)
    ('more than 97 of 100', 'less than almost every one', 'less than 8 of 10')
    """
    whole = 10 if small else 100
    way = "more" if percentile >= 50 else "less"
    beyond = percentile if way == "more" else 100 - percentile
    count = math.floor(beyond * whole / 100 + 0.5)
    if count >= whole:
        return say(f"traits.{way}_than_almost_all")
    return say(f"traits.{way}_than", count=count, whole=whole)


def percentile_text(percentile: float) -> str:
    """A percentile as a whole number, never all or none.

    Examples
    --------
    >>> percentile_text(96.6), percentile_text(99.7), percentile_text(0.2)
    ('97', 'over 99', 'under 1')
    """
    if percentile > 99:
        return say("traits.over")
    return say("traits.under") if percentile < 1 else f"{percentile:.0f}"


def q_words(q: float) -> str:
    """A q in words, never as 0.

    Examples
    --------
    >>> q_words(0.0312), q_words(0.00001)
    ('q 0.031', 'q under 0.001')
    """
    return say("traits.small_q") if q < 0.001 else say("traits.q", q=f"{q:.3f}" if q < 0.1 else f"{q:.2f}")
