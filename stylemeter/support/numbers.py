"""Numbers as plain data holds them: unknown is None, never 0."""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["number", "numbers"]


def number(value: float | None) -> float | None:
    """Return a number, or None where it is unknown.

    Examples
    --------
    >>> number(float("nan")), number(0.5)
    (None, 0.5)
    """
    return None if value is None or not math.isfinite(value) else float(value)


def numbers(values: Sequence[float] | None) -> list[float | None] | None:
    """Return numbers, or None where there are none."""
    return None if values is None else [number(v) for v in values]
