"""Numbers as tables print them: exact fractions, rounded decimals, decimal commas, note names.

Conventions: a decimal was rounded when it was printed, so it stands for every number within half a unit of its
last digit; `snap` takes the one a musician would have meant.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from stylemeter.music.meter import TICKS, Meter

__all__ = ["QUARTER_PARTS", "Printed", "bar_parts", "midi_number", "parse_number", "snap"]

#: Longest cell worth reading as a number.
NUMBER_MAX = 40
#: Largest number of quarters, seconds or bars worth reading.
VALUE_MAX = 10**9

#: Parts of a beat in the order they are tried: plain notes and triplets first, what is rare last.
BEAT_PARTS = (1, 2, 3, 4, 6, 8, 12, 9, 5, 7)
#: Parts of a quarter note in the order they are tried.
QUARTER_PARTS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 9, 5, 7, 10, 14, 18, 20, 28)

_DECIMAL = re.compile(r"([+-]?)(?=[.,]?\d)(\d*)(?:[.,](\d*))?(?:[eE]([+-]?\d{1,2}))?", re.ASCII)
_RATIO = re.compile(r"([+-]?)(?:(\d+)\s+)?(\d+)\s*/\s*(\d+)", re.ASCII)
_NOTE_NAME = re.compile(r"([A-Ga-g])(##|bb|[#♯b♭x]?)(-?\d{1,2})")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1, "##": 2, "x": 2, "bb": -2}


@dataclass(frozen=True, slots=True)
class Printed:
    """A number and how many digits after the point it was printed with (0: exact)."""

    value: Fraction
    digits: int = 0


def parse_number(text: str) -> Printed | None:
    """Read a number, or None where it isn't one.

    Takes "1.5", "1,5", "-3/2", "1 1/2" and "1e-3".

    Examples
    --------
    >>> parse_number("1,50"), parse_number("1 1/2"), parse_number("02-Mar")
    (Printed(value=Fraction(3, 2), digits=2), Printed(value=Fraction(3, 2), digits=0), None)
    """
    text = text.strip().replace("−", "-")
    if not text or len(text) > NUMBER_MAX:
        return None
    found = _DECIMAL.fullmatch(text)
    if found:
        sign, whole, part, power = found.groups()
        printed = _scaled(int((whole or "0") + (part or "")), len(part or "") - int(power or 0))
    else:
        ratio = _RATIO.fullmatch(text)
        if not ratio or not int(ratio[4]):
            return None
        sign = ratio[1]
        printed = Printed(int(ratio[2] or 0) + Fraction(int(ratio[3]), int(ratio[4])))
    if printed.value > VALUE_MAX:
        return None
    return replace(printed, value=-printed.value) if sign == "-" else printed


def _scaled(number: int, digits: int) -> Printed:
    """A whole number with its point moved `digits` to the left."""
    return Printed(Fraction(number, 10**digits), digits) if digits > 0 else Printed(Fraction(number * 10**-digits))


def snap(printed: Printed, parts: Sequence[int]) -> Fraction | None:
    """The fraction a rounded number was printed for.

    Parameters
    ----------
    printed : Printed
    parts : sequence of int
        Denominators in the order they are tried.

    Returns
    -------
    Fraction or None
        The first that lies within half a unit of the last printed digit; None where none does.

    Examples
    --------
    >>> snap(Printed(Fraction("0.38"), 2), (4, 8, 12)), snap(Printed(Fraction("0.33"), 2), (4, 8, 12))
    (Fraction(3, 8), Fraction(1, 3))
    """
    if not printed.digits:
        return printed.value
    above, below = printed.value.as_integer_ratio()
    # In whole numbers: |near/part - above/below| <= 1 / (2 * 10^digits)
    units = 2 * 10**printed.digits
    for part in parts:
        near = (2 * above * part + below) // (2 * below)
        if abs(near * below - above * part) * units <= below * part:
            return Fraction(near, part)
    return None


@lru_cache(maxsize=64)
def bar_parts(numerator: int, denominator: int) -> tuple[int, ...]:
    """Parts of a bar in the order they are tried: those of its beats, then of its printed units.

    Examples
    --------
    >>> bar_parts(4, 4)[:5], bar_parts(6, 8)[:6]
    ((4, 8, 12, 16, 24), (2, 6, 4, 12, 18, 8))
    """
    meter = Meter(0, numerator, denominator)
    counts = (meter.bar // meter.beat, numerator)
    return tuple(dict.fromkeys(count * part for part in BEAT_PARTS for count in counts))


def nearest_tick(value: Fraction) -> int:
    """Tick nearest to a number of quarter notes."""
    return round(value * TICKS)


def midi_number(name: str) -> int | None:
    """MIDI note number of a note name with its octave, C4 = 60, or None where it isn't one.

    Examples
    --------
    >>> midi_number("F#4"), midi_number("Bb3"), midi_number("C-1"), midi_number("H4")
    (66, 58, 0, None)
    """
    found = _NOTE_NAME.fullmatch(name.strip())
    if not found:
        return None
    return _STEPS[found[1].upper()] + _SIGNS[found[2]] + 12 * (int(found[3]) + 1)
