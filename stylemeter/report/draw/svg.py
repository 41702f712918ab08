"""Plots as plain SVG: text stays text, colours come from the page's style sheet, shapes tell apart what colours do.

Conventions: pure functions from numbers to markup; lengths are in units of the view box; no ids, so that any number
of plots can stand in one page.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache

from markupsafe import Markup, escape

__all__ = ["Chart", "Spread", "chart", "hill", "number", "share_bar", "spread_strip", "standing_strip", "swatch", "tag"]


def tag(name: str, *children: str, **attributes: object) -> Markup:
    """An element; underscores in names of attributes stand for hyphens, a trailing one is dropped.

    Examples
    --------
    >>> tag("text", "a < b", x=1.50, text_anchor="end")
    Markup('<text x="1.5" text-anchor="end">a &lt; b</text>')
    """
    said = "".join([f' {_attribute(key)}="{_plain(value)}"' for key, value in attributes.items()])
    inside = "".join([child if isinstance(child, Markup) else escape(child) for child in children])
    return Markup(f"<{name}{said}>{inside}</{name}>" if inside else f"<{name}{said}/>")  # noqa: S704 - escaped above


@cache
def _attribute(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def _plain(value: object) -> str:
    """The value of an attribute, safe between quotation marks."""
    if isinstance(value, float):
        return number(value)
    return str(value) if isinstance(value, int) else str(escape(value))


def number(value: float) -> str:
    """A coordinate, to a hundredth.

    Examples
    --------
    >>> number(1.0), number(2.346), number(-0.001)
    ('1', '2.35', '0')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _picture(width: float, height: float, label: str, *children: str, kind: str) -> Markup:
    """A picture with a name for those who can't see it."""
    return tag(
        "svg",
        *children,
        class_=f"plot {kind}",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
        aria_label=label,
    )


# -- where a habit lies --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Spread:
    """How a style spreads along a line, and where the solo lies on it.

    Attributes
    ----------
    low, high : float
        Ends of the line.
    density : tuple of float
        Heights of equal cells from `low` to `high`, 0..1.
    norm, half : tuple of float
        Central range of the norm, and the middle half.
    solo : float or None
    interval : tuple of float or None
        Where the readings of uncertain notes put it.
    """

    low: float
    high: float
    density: tuple[float, ...]
    norm: tuple[float, float]
    half: tuple[float, float]
    solo: float | None = None
    interval: tuple[float, float] | None = None


_WIDE, _FOOT, _TOP = 340.0, 52.0, 18.0


def spread_strip(spread: Spread, label: str, words: Sequence[str], *, told: bool = True) -> Markup:
    """Draw a style as a hill and the solo as a diamond on it.

    Parameters
    ----------
    spread : Spread
    label : str
        For those who can't see it.
    words : sequence of str
        "less", "middle", "more", "this take".
    told : bool
        Whether the verdict can be told; else the diamond is hollow.
    """

    def x(value: float) -> float:
        return 8 + (_WIDE - 16) * (value - spread.low) / (spread.high - spread.low)

    hills = _hills(spread, x, [(spread.low, spread.high), spread.norm, spread.half])
    parts = [
        *(tag("path", d=d, class_=kind) for kind, d in zip(("hill", "hill norm", "hill half"), hills, strict=True)),
        tag("line", x1=4, x2=_WIDE - 4, y1=_FOOT, y2=_FOOT, class_="axis"),
        *(tag("line", x1=x(e), x2=x(e), y1=_FOOT - 4, y2=_FOOT + 4, class_="axis") for e in spread.norm),
    ]
    for text, at, anchor in zip(words, (4.0, _WIDE / 2, _WIDE - 4), ("start", "middle", "end"), strict=False):
        parts.append(tag("text", text, x=at, y=_FOOT + 18, text_anchor=anchor))
    if spread.solo is not None:
        parts += _diamond(x, spread, words[3], told)
    return _picture(_WIDE, _FOOT + 24, label, *parts, kind="spread")


def hill(spread: Spread, *, told: bool = True) -> Markup:
    """Draw the hill and the diamond alone, small, without a word: the picture of a button that says the rest."""

    def x(value: float) -> float:
        return 8 + (_WIDE - 16) * (value - spread.low) / (spread.high - spread.low)

    hills = _hills(spread, x, [(spread.low, spread.high), spread.norm, spread.half])
    parts = [tag("path", d=d, class_=kind) for kind, d in zip(("hill", "hill norm", "hill half"), hills, strict=True)]
    parts.append(tag("line", x1=4, x2=_WIDE - 4, y1=_FOOT, y2=_FOOT, class_="axis"))
    if spread.solo is not None:
        parts.append(
            _mark(min(max(x(spread.solo), 14.0), _WIDE - 14), _FOOT - 8, 14, "solo" if told else "solo hollow")
        )
    return tag(
        "svg", *parts, class_="plot hill-button", viewBox=f"0 8 {number(_WIDE)} {number(_FOOT)}", aria_hidden="true"
    )


def _hills(spread: Spread, x: Callable[[float], float], ranges: Sequence[tuple[float, float]]) -> Iterator[str]:
    """Outlines of the parts of the hill between two values."""
    cells = len(spread.density)
    width = (spread.high - spread.low) / cells
    middles = [spread.low + (i + 0.5) * width for i in range(cells)]

    def height(value: float) -> float:
        at = (value - spread.low) / width - 0.5
        left = min(max(int(at // 1), 0), cells - 1)
        right = min(left + 1, cells - 1)
        part = min(max(at - left, 0.0), 1.0)
        return _FOOT - (_FOOT - _TOP) * ((1 - part) * spread.density[left] + part * spread.density[right])

    tops = [f"{place}{_FOOT - (_FOOT - _TOP) * d:.1f}" for place, d in zip(_places(cells), spread.density, strict=True)]
    for low, high in ranges:
        inside = tops[bisect_right(middles, low) : bisect_left(middles, high)]
        ends = [f"L{x(v):.1f} {height(v):.1f}" for v in (low, high)]
        yield f"M{x(low):.1f} {_FOOT:g}{ends[0]}{''.join(inside)}{ends[1]}L{x(high):.1f} {_FOOT:g}Z"


@cache
def _places(cells: int) -> tuple[str, ...]:
    """Where the middles of the cells lie on the picture, as the start of a line to their height."""
    return tuple(f"L{8 + (_WIDE - 16) * (i + 0.5) / cells:.1f} " for i in range(cells))


def _diamond(x: Callable[[float], float], spread: Spread, word: str, told: bool) -> list[Markup]:
    """The solo: a stem, a diamond, its name, and a bar for its uncertainty."""
    assert spread.solo is not None
    at = x(spread.solo)
    anchor = "start" if at < 40 else "end" if at > _WIDE - 40 else "middle"
    name_at = {"start": max(2.0, at - 6), "end": min(_WIDE - 2, at + 6), "middle": at}[anchor]
    parts = [tag("line", x1=at, x2=at, y1=_TOP - 4, y2=_FOOT, class_="solo-line")]
    if spread.interval is not None:
        left, right = (min(max(x(v), 4.0), _WIDE - 4) for v in spread.interval)
        parts.append(tag("line", x1=left, x2=right, y1=_FOOT, y2=_FOOT, class_="solo-range"))
    parts.append(_mark(at, _FOOT, 6.5, "solo" if told else "solo hollow"))
    return [*parts, tag("text", word, x=name_at, y=_TOP - 7, text_anchor=anchor, class_="solo-name")]


def _mark(x: float, y: float, size: float, kind: str) -> Markup:
    """A diamond."""
    s = number(size)
    path = f"M{number(x)} {number(y - size)}l{s} {s}-{s} {s}-{s}-{s}Z"
    return tag("path", d=path, class_=kind)


# -- where a trait stands ------------------------------------------------------------------------------------------


def standing_strip(
    percentile: float, coverage: float, label: str, interval: tuple[float, float] | None = None
) -> Markup:
    """Draw a percentile as a mark on a short line, the norm as a band.

    Parameters
    ----------
    percentile : float
        0 to 100.
    coverage : float
        Share of the style the norm holds.
    label : str
    interval : tuple of float, optional
    """
    ground, between = _standing_ground(coverage), ""
    if interval is not None:
        between = tag("line", x1=5 + 0.9 * interval[0], x2=5 + 0.9 * interval[1], y1=7, y2=7, class_="solo-range")
    return _picture(100, 14, label, ground, between, _mark(5 + 0.9 * percentile, 7, 5, "solo"), kind="standing")


@lru_cache(maxsize=8)
def _standing_ground(coverage: float) -> Markup:
    """The line and the norm's band, the same for every trait."""
    edge = 50 * (1 - coverage)
    parts = (
        tag("line", x1=5, x2=95, y1=7, y2=7, class_="axis"),
        tag("rect", x=5 + 0.9 * edge, y=4, width=0.9 * (100 - 2 * edge), height=6, class_="band"),
        tag("line", x1=50, x2=50, y1=4, y2=10, class_="axis"),
    )
    return Markup("").join(parts)


def share_bar(share: float, label: str) -> Markup:
    """Draw a share as a part of a bar."""
    return _picture(
        200,
        10,
        label,
        tag("rect", x=0.5, y=0.5, width=199, height=9, class_="band"),
        tag("rect", x=0.5, y=2.5, width=199 * min(1.0, max(0.0, share)), height=5, class_="bar"),
        kind="share",
    )


# -- distributions -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Chart:
    """A distribution of the solo beside the style's.

    Attributes
    ----------
    solo, style : tuple of float
        Shares, one a cell.
    ticks : dict of int to str
        Labels by cell.
    axis : str
        What the cells are.
    """

    solo: tuple[float, ...]
    style: tuple[float, ...]
    ticks: dict[int, str] = field(default_factory=dict)
    axis: str = ""


_CHART, _LEFT, _BASE, _HEAD = 360.0, 34.0, 128.0, 10.0


def chart(data: Chart, label: str) -> Markup:
    """Draw a distribution: the style as wide outlined bars, the solo as narrow solid ones inside them."""
    step = _round_step(max(*data.solo, *data.style))
    top = step * max(1, -(-max(*data.solo, *data.style) // step))
    cell = (_CHART - _LEFT - 4) / len(data.solo)
    scale = (_BASE - _HEAD) / top
    parts = list(_grid(step, top, scale))
    for i, (own, other) in enumerate(zip(data.solo, data.style, strict=True)):
        x = _LEFT + i * cell
        for share, width, kind in ((other, 0.84, "style"), (own, 0.4, "bar")):
            if share > 0:
                height = max(0.8, share * scale)
                left = x + cell * (1 - width) / 2
                parts.append(tag("rect", x=left, y=_BASE - height, width=cell * width, height=height, class_=kind))
    parts.append(tag("line", x1=_LEFT, x2=_CHART - 4, y1=_BASE, y2=_BASE, class_="axis"))
    for i, text in data.ticks.items():
        parts.append(tag("text", text, x=_LEFT + (i + 0.5) * cell, y=_BASE + 14, text_anchor="middle"))
    parts.append(tag("text", data.axis, x=(_LEFT + _CHART) / 2, y=_BASE + 29, text_anchor="middle", class_="axis-name"))
    return _picture(_CHART, _BASE + 35, label, *parts, kind="chart")


def _grid(step: float, top: float, scale: float) -> list[Markup]:
    """Lines across, with their percentages."""
    parts = []
    for i in range(1, round(top / step) + 1):
        y = _BASE - i * step * scale
        parts.append(tag("line", x1=_LEFT, x2=_CHART - 4, y1=y, y2=y, class_="grid"))
        parts.append(tag("text", f"{round(100 * i * step)}%", x=_LEFT - 4, y=y + 4, text_anchor="end"))
    return parts


def _round_step(most: float) -> float:
    """Distance of the lines across: four of them at the most.

    Examples
    --------
    >>> [_round_step(v) for v in (0.09, 0.3, 0.62, 1.0)]
    [0.05, 0.1, 0.2, 0.5]
    """
    return next((step for step in (0.02, 0.05, 0.1, 0.2) if most <= 4 * step), 0.5)


def swatch(kind: str) -> Markup:
    """A sample of a mark, for a legend: "bar", "style", "solo"."""
    if kind == "solo":
        inside = _mark(8, 8, 6, "solo")
    else:
        width = 4 if kind == "bar" else 10
        inside = tag("rect", x=8 - width / 2, y=2, width=width, height=12, class_=kind)
    return tag("svg", inside, class_="plot swatch", viewBox="0 0 16 16", aria_hidden="true")
