"""Checked values out of JSON records and table cells: each is what it should be, or one error says where it isn't."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from stylemeter.errors import InputError
from stylemeter.music.meter import TICKS
from stylemeter.reading.draft.numbers import QUARTER_PARTS, Printed, nearest_tick, parse_number, snap
from stylemeter.reading.intake.limits import TICKS_MAX

__all__ = ["as_list", "as_mapping", "as_text", "float_of", "int_of", "number_or_none", "shown", "ticks_of", "to_ticks"]

_AS_PRINTED = "write it as in a table this program prints"


def shown(value: object) -> str:
    """A value as quoted in an error, shortened."""
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def as_mapping(value: object, where: str) -> Mapping[str, Any]:
    """A JSON object, or an error."""
    if not isinstance(value, dict):
        raise InputError(f"{shown(value)} is not an object", where=where, mend=_AS_PRINTED)
    return cast("Mapping[str, Any]", value)


def as_list(value: object, where: str) -> list[Any]:
    """A JSON array, or an error."""
    if not isinstance(value, list):
        raise InputError(f"{shown(value)} is not a list", where=where, mend=_AS_PRINTED)
    return value


def as_text(value: object) -> str:
    """A text; empty where there is none."""
    return value if isinstance(value, str) else ""


def _printed(value: object) -> Printed | None:
    """A number as it was printed, from a cell or a JSON number."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return None
    return parse_number(value if isinstance(value, str) else repr(value))


def ticks_of(value: object, what: str, where: str) -> int:
    """Ticks of a time in quarter notes written as a fraction, a decimal or a number.

    A decimal that is not a tick and has fewer than five digits stands for the fraction it was rounded from.

    Examples
    --------
    >>> ticks_of("1/3", "onset", ""), ticks_of("0.33", "onset", ""), ticks_of(1.5, "onset", "")
    (3360, 3360, 15120)
    """
    printed = _printed(value)
    if printed is None:
        mend = "write it like 3/2 or 1.5; a spreadsheet may have made a date of it"
        raise InputError(f"{what} {shown(value)} is not a time in quarter notes", where=where, mend=mend)
    exact = printed.value
    if 0 < printed.digits < 5 and TICKS % exact.denominator:
        exact = snap(printed, QUARTER_PARTS) or exact
    return to_ticks(nearest_tick(exact), what, where)


def to_ticks(ticks: int, what: str, where: str) -> int:
    """The same ticks where they are within the limits, or an error."""
    if abs(ticks) > TICKS_MAX:
        raise InputError(f"{what} is more than {TICKS_MAX // TICKS} quarter notes away", where=where, mend="mend it")
    return ticks


def float_of(value: object, what: str, where: str, low: float, high: float) -> float:
    """A number from `low` to `high`, or an error."""
    number = number_or_none(value)
    if number is None or not low <= number <= high:
        raise InputError(f"{what} {shown(value)} is not a number from {low:g} to {high:g}", where=where, mend="mend it")
    return number


def number_or_none(value: object) -> float | None:
    """A number from a JSON number or from text, with a decimal comma too; None where it isn't one."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return None
    try:
        return float(value.strip().replace(",", ".") if isinstance(value, str) else value)
    except (ValueError, OverflowError):
        return None


def int_of(value: object, what: str, where: str, low: int, high: int) -> int:
    """A whole number from `low` to `high`, or an error."""
    number = float_of(value, what, where, low, high)
    if number != int(number):
        raise InputError(f"{what} {shown(value)} is not a whole number", where=where, mend="mend it")
    return int(number)
