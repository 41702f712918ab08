"""Exact places and durations, and numbers that can be trusted.

Conventions: times are exact ticks (`meter.TICKS` a quarter note), an int or, where a file's divisions don't divide a
tick count, a `Fraction`; they are rounded once, when a place is absolute.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from functools import lru_cache

__all__ = ["Ticks", "number", "to_tick", "whole"]

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
