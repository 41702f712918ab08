"""What a plain document must look like: small checks put together, each with a size.

Conventions: a shape is a function of a value and of where it stands; it raises `ShapeError`. Documents of ours are
files that a user can edit, copy half or be handed: no field is believed to be there, of its type or of a bearable size.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from stylemeter.support.files import read_bounded
from stylemeter.support.printable import show

__all__ = [
    "Shape",
    "ShapeError",
    "either",
    "listed",
    "load_json",
    "mapped",
    "nothing",
    "number",
    "record",
    "text",
    "whole",
]

Shape = Callable[[Any, str], None]


class ShapeError(ValueError):
    """A document that is not what it should be: says which field, and what is wrong with it."""


def load_json(path: Path, most: int) -> Any:
    """A JSON file of ours.

    Parameters
    ----------
    path : Path
    most : int
        Bytes it may have.

    Raises
    ------
    OSError
        As `files.read_bounded`.
    ShapeError
        If it is no JSON.
    """
    try:
        return json.loads(read_bounded(path, most).decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise ShapeError(f"no JSON ({show(str(error), 80)})") from None


def text(most: int = 10_000, pattern: str = "") -> Shape:
    """A text of so many characters at most, all of it of a pattern where there is one."""

    def check(value: Any, where: str) -> None:
        _must(isinstance(value, str) and len(value) <= most, where, f"no text of {most} characters at most")
        _must(not pattern or re.fullmatch(pattern, value) is not None, where, "not spelled as it should be")

    return check


def whole(low: int = 0, high: int = 10_000_000) -> Shape:
    """A whole number."""

    def check(value: Any, where: str) -> None:
        fits = isinstance(value, int) and not isinstance(value, bool) and low <= value <= high
        _must(fits, where, f"no whole number from {low} to {high}")

    return check


def number(value: Any, where: str) -> None:
    """A finite number."""
    fits = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e30 and math.isfinite(value)
    _must(fits, where, "no number")


def nothing(value: Any, where: str) -> None:
    """None."""
    _must(value is None, where, "not empty")


def either(*shapes: Shape) -> Shape:
    """One of several shapes."""

    def check(value: Any, where: str) -> None:
        last: ShapeError | None = None
        for shape in shapes:
            try:
                return shape(value, where)
            except ShapeError as error:
                last = error
        if last is not None:
            raise last
        return None

    return check


def listed(shape: Shape, most: int, *lengths: int) -> Shape:
    """A list of so many at most; of one of some lengths where these are given."""

    def check(value: Any, where: str) -> None:
        _must(isinstance(value, list) and len(value) <= most, where, f"no list of {most} at most")
        _must(not lengths or len(value) in lengths, where, f"not {' or '.join(map(str, lengths))} long")
        for place, item in enumerate(value):
            shape(item, f"{where}[{place}]")

    return check


def mapped(shape: Shape, most: int) -> Shape:
    """A table of so many names at most, each with the same kind of thing."""

    def check(value: Any, where: str) -> None:
        _must(isinstance(value, dict) and len(value) <= most, where, f"no table of {most} at most")
        for key, item in value.items():
            shape(item, f"{where}.{show(key, 40)}")

    return check


def record(needed: Mapping[str, Shape], more: Mapping[str, Shape] | None = None) -> Shape:
    """A table with these fields, and with some others that may be there; what else is there is let be."""

    def check(value: Any, where: str) -> None:
        _must(isinstance(value, dict), where, "no table")
        for key in needed:
            _must(key in value, f"{where}.{key}" if where else key, "missing")
        for key, shape in {**needed, **(more or {})}.items():
            if key in value:
                shape(value[key], f"{where}.{key}" if where else key)

    return check


def _must(fits: bool, where: str, what: str) -> None:
    if not fits:
        raise ShapeError(f"{where or 'the document'} is {what}")
