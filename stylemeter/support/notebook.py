"""What a notebook shows of a result: one small table, everything from outside escaped."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

__all__ = ["html_table", "shortened"]

#: Rows of a table before the rest is only counted.
ROWS_MAX = 12


def shortened(text: str, most: int = 60) -> str:
    """A text of one line, its end left out where it is long.

    Examples
    --------
    >>> shortened("The long and winding title", 12)
    'The long an…'
    """
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1] + "…"


def html_table(caption: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table in HTML; numbers are rounded, unknown ones left empty, and rows beyond a dozen counted.

    Examples
    --------
    >>> html_table("Two & more", ["name", "value"], [["a", 0.25], ["b", float("nan")]])[:50]
    '<table><caption>Two &amp; more</caption><thead><tr'
    """
    kept = list(rows)
    head = "".join(f"<th>{escape(name)}</th>" for name in header)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(_cell(cell))}</td>" for cell in row) + "</tr>" for row in kept[:ROWS_MAX]
    )
    more = len(kept) - ROWS_MAX
    foot = f'<tfoot><tr><td colspan="{len(header)}">and {more} more</td></tr></tfoot>' if more > 0 else ""
    return (
        f"<table><caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody>{foot}</table>"
    )


def _cell(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.4g}" if math.isfinite(value) else ""
    return shortened(str(value))
