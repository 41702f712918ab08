"""Small tools for MusicXML elements: numbers that can be trusted, exact places, and repairs counted by kind.

Conventions: times are exact ticks (`meter.TICKS` a quarter note), an int or, where the file's divisions don't
divide a tick count, a `Fraction`; they are rounded once, when a place is absolute.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from xml.etree.ElementTree import Element

from stylemeter.reading.build import count_words
from stylemeter.reading.guard import show

__all__ = ["Findings", "Ticks", "number", "said", "to_tick", "whole"]

Ticks = int | Fraction

#: Longest text worth reading as a number, blanks around it included.
_NUMBER_MAX = 80
_NUMBER = re.compile(r"[-+]?(?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})", re.ASCII)


def number(text: str | None) -> Ticks | None:
    """A plain decimal number, exactly; None where it isn't one (NaN, 1e9, blank).

    Examples
    --------
    >>> number(" 2.50 "), number("NaN"), number("-3"), number("1e99")
    (Fraction(5, 2), None, -3, None)
    """
    return None if text is None or len(text) > _NUMBER_MAX else _number(text)


@lru_cache(maxsize=4096)
def _number(text: str) -> Ticks | None:
    """The same for a short text; a score repeats a few of them over and over."""
    plain = text.strip()
    if not _NUMBER.fullmatch(plain):
        return None
    value = Fraction(plain)
    return value.numerator if value.denominator == 1 else value


def whole(text: str | None) -> int | None:
    """A whole number, or None where it isn't one."""
    value = number(text)
    return value if isinstance(value, int) else None


def to_tick(place: Ticks) -> int:
    """Nearest tick of an exact place, halves up.

    Examples
    --------
    >>> to_tick(Fraction(5, 2)), to_tick(7)
    (3, 7)
    """
    return place if isinstance(place, int) else math.floor(place + Fraction(1, 2))


def said(parent: Element | None, path: str) -> str:
    """Text of a child, safe to print, blanks made one; empty where there is none."""
    if parent is None:
        return ""
    return show(" ".join((parent.findtext(path) or "").split()))


class Findings:
    """Repairs and guesses by kind: how many there were, and the first bar they happened in."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str, str], tuple[int, int]] = {}

    def add(self, noun: str, rest: str, bar: int, count: int = 1, *, plural: str = "") -> None:
        """Count one more of a kind: "note" "left out" in the bar with that index; without a noun only said once."""
        number_so_far, first = self._found.get((noun, plural, rest), (0, bar))
        self._found[noun, plural, rest] = (number_so_far + count, min(first, bar))

    def lines(self, name: Callable[[int], str]) -> list[str]:
        """One remark a kind; `name` names a bar by its index.

        Examples
        --------
        >>> found = Findings()
        >>> found.add("grace note", "left out", 2)
        >>> found.add("grace note", "left out", 1)
        >>> found.lines(lambda index: f"bar {index + 1}")
        ['2 grace notes left out (first in bar 2)']
        """
        return [
            f"{count_words(count, noun, plural) + ' ' if noun else ''}{rest} "
            f"({'first ' if count > 1 else ''}in {name(bar)})"
            for (noun, plural, rest), (count, bar) in self._found.items()
        ]
