"""The lines of a tablature as they were typed, before mail, web pages, phones and word processors got at them.

Conventions: columns count, so whatever stands for one hyphen becomes one. A long dash that a word processor made of
two or three hyphens becomes as many as bring its line to the length of those beside it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

__all__ = ["typed_lines"]

_WRITTEN = {"&nbsp;": " ", "&lt;": "<", "&gt;": ">", "&amp;": "&", "&#124;": "|", "\u00a0": " ", "\u3000": " "}
#: What stands for one hyphen or one bar line wherever it stands: other hyphens, the minus sign, lines of drawn boxes.
_SIGNS = str.maketrans(
    dict.fromkeys("\u2010\u2011\u2212\u2500\u2501\u2504\u2505\u2508\u2509\u254c\u254d\u2550\uff0d", "-")
    | dict.fromkeys("\u00a6\u2502\u2503\u2506\u2507\u250a\u250b\u254e\u254f\u2551\uff5c", "|")
    | dict.fromkeys("\u250c\u2510\u2514\u2518\u251c\u2524\u252c\u2534\u253c\u2520\u2528\u2523\u252b\u255f\u2562", "|")
)
#: Dashes that word processors put for one, two or three hyphens.
_SHORT, _LONG = "\u2012\u2013", "\u2014\u2015"
_EITHER = re.compile(f"[{_SHORT}{_LONG}]")
#: Hyphens a short and a long one stand for, the likeliest first.
_WIDTHS = ((1, 1), (2, 2), (1, 2), (2, 3), (1, 3), (3, 3))
_QUOTED = re.compile(r"^ {0,2}(?:> ?)+(?=\S| )")
#: A string with its name that goes on in the line below, and how it goes on there.
_NAMED = re.compile(r"\s*[A-Ha-h][#b♯♭]?\d?\s*[|:\-].*-.*")
_GOES_ON = re.compile(r"[\s\d|:*.~hpbrxtsHPBRXTS^/\\()<>\[\]\-]+")
#: Strings from which lines one under the other count as wrapped, and the shortest line a program wraps.
_FEWEST, _WRAPPED = 4, 24


def typed_lines(text: str) -> list[str]:
    r"""Lines of a text, as typed.

    Examples
    --------
    >>> typed_lines("> e|--5--|\n> B|\u2014\u2014\u2014--|")
    ['e|--5--|', 'B|-----|']
    """
    lines = []
    for line in text.replace("\r\n", "\n").replace("\r", "\n").split("\n"):
        for name, sign in _WRITTEN.items():
            line = line.replace(name, sign)
        lines.append(_QUOTED.sub("", line.expandtabs(8), count=1).translate(_SIGNS).rstrip())
    for start, stop in _blocks(lines):
        lines[start:stop] = _with_hyphens(lines[start:stop])
    return list(_unwrapped(lines))


def _blocks(lines: Sequence[str]) -> Iterator[tuple[int, int]]:
    """Stretches of lines without a blank one that hold long dashes."""
    start = 0
    for number, line in enumerate([*lines, ""]):
        if line.strip():
            continue
        if any(_EITHER.search(one) for one in lines[start:number]):
            yield start, number
        start = number + 1


def _with_hyphens(block: Sequence[str]) -> list[str]:
    """A block with hyphens for its long dashes, as many as make its strings equally long."""
    drawn = [line for line in block if _is_drawn(line)]
    plain = Counter(_length(line) for line in drawn if not _EITHER.search(line))
    if plain:
        wanted = max(plain, key=lambda length: (plain[length], length))
        return [_replaced(line, _nearest(line, wanted)) if _is_drawn(line) else line for line in block]
    widths = min(_WIDTHS, key=lambda w: len({_length(_replaced(line, w)) for line in drawn}))
    return [_replaced(line, widths) if _is_drawn(line) else line for line in block]


def _is_drawn(line: str) -> bool:
    """Whether a line is more dashes than words."""
    dashes = line.count("-") + len(_EITHER.findall(line))
    return dashes >= 2 and dashes >= len(re.findall(r"[^\W\d_]", line))


def _length(line: str) -> int:
    """Columns of a line up to its last bar line."""
    return line.rfind("|") + 1 or len(line)


def _nearest(line: str, wanted: int) -> tuple[int, int]:
    """How many hyphens a line's long dashes must stand for to come nearest to a length."""
    return min(_WIDTHS, key=lambda w: abs(_length(_replaced(line, w)) - wanted))


def _replaced(line: str, widths: tuple[int, int]) -> str:
    """A line with hyphens for its short and long dashes."""
    return _EITHER.sub(lambda m: "-" * widths[m[0] in _LONG], line)


def _unwrapped(lines: Sequence[str]) -> Iterator[str]:
    """Lines with strings that were wrapped put together again; an empty line stands where the rest of one stood."""
    index = 0
    while index < len(lines):
        stop = index
        while stop + 1 < len(lines) and _is_wrapped(lines[stop], lines[stop + 1]):
            stop += 2
        if stop - index >= 2 * _FEWEST:
            yield from (lines[i] + lines[i + 1].strip() for i in range(index, stop, 2))
            yield from [""] * ((stop - index) // 2)
            index = stop
        else:
            yield lines[index]
            index += 1


def _is_wrapped(line: str, below: str) -> bool:
    """Whether a string goes on in the line below."""
    if len(line) < _WRAPPED or line.endswith("|") or not _NAMED.fullmatch(line) or _NAMED.fullmatch(below):
        return False
    return bool(_GOES_ON.fullmatch(below)) and bool(re.search(r"[-|]", below))
