"""The page of takes over time: trajectories over the style's band as plain SVG, and the same as numbers.

Conventions: the scale is that of normal scores, labelled in percentiles, so that what lies far out can still be seen
to move; the same takes give the same bytes; no dates.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

from stylemeter.practice.advice import Advice, Choice
from stylemeter.practice.words import format_range, format_value, words
from stylemeter.report.classroom.page import render
from stylemeter.report.classroom.words import of_hundred, say
from stylemeter.report.draw.html import write_html
from stylemeter.report.draw.svg import number, tag
from stylemeter.report.progress.document import answer, head, next_lines, numbers, sentence, trait_title, verdict
from stylemeter.takes.progress import By, Point, Progress, Trajectory

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["progress_html", "write_progress"]

_NORMAL = NormalDist()
#: Percentiles the scale is labelled with, and where it ends.
TICKS = (1, 5, 25, 50, 75, 95, 99)
END = 2.75

_WIDE, _LEFT, _TOP, _FOOT = 400.0, 34.0, 12.0, 172.0


def write_progress(
    progress: Progress,
    features: Sequence[Trajectory],
    advice: Advice,
    by: By,
    path: Path,
    following: Choice | None = None,
) -> None:
    """Write the page.

    Raises
    ------
    UsageError
        If the file can't be written.
    """
    write_html(progress_html(progress, features, advice, by, following), path)


def progress_html(
    progress: Progress, features: Sequence[Trajectory], advice: Advice, by: By, following: Choice | None = None
) -> str:
    """Return the page as HTML, with everything inside.

    Parameters
    ----------
    progress : Progress
    features : sequence of Trajectory
        Traits to show beside the habits.
    advice : Advice
    by : {"name", "date"}
        What the takes are in order of.
    following : Choice, optional
        What the last take asks for.
    """
    tested = sum(math.isfinite(t.p) for t in progress.features)
    return render(
        "progress.html.j2",
        style=progress.profile.style,
        head=head(progress, by),
        answer=answer(progress),
        following=[] if following is None else next_lines(following),
        takes=progress.takes,
        habits=[_view(t) for t in progress.habits],
        traits=[_view(t) for t in features],
        tested=tested,
        cautions=[advice.cautions, advice.credit],
    )


def _view(t: Trajectory) -> dict[str, Any]:
    """A card."""
    told = numbers(t.points)
    label = say("progress.picture", title=trait_title(t), numbers="; ".join(f"{i} {n}" for i, n in enumerate(told, 1)))
    feature = words().features.get(t.name)
    return {
        "title": trait_title(t),
        "moved": t.moved,
        "said": verdict(t),
        "sentence": sentence(t),
        "caution": t.caution,
        "explain": feature.explain if feature else words().habits[t.name].question,
        "usual": format_range(t.name, t.limits.lower, t.limits.upper) if t.limits else "",
        "picture": track(t.points, label),
        "numbers": told,
        "values": [format_value(t.name, p.value) for p in t.points] if feature else [],
    }


def track(points: Sequence[Point], label: str) -> Markup:
    """Draw points over the style's band.

    Parameters
    ----------
    points : sequence of Point
    label : str
        For those who can't see it.
    """
    right = _WIDE - 8
    step = (right - _LEFT) / max(1, len(points))
    places = [_LEFT + step * (i + 0.5) for i in range(len(points))]
    parts = [*_bands(right), *_ticks(right), *_take_numbers(places)]
    there = [(x, p) for x, p in zip(places, points, strict=True) if math.isfinite(p.percentile)]
    if len(there) > 1:
        way = " ".join(f"{number(x)},{number(_y(p.percentile))}" for x, p in there)
        parts.append(tag("polyline", points=way, class_="way"))
    for x, p in there:
        if math.isfinite(p.lower):
            low, high = _y(p.lower), _y(p.upper)
            parts.append(tag("line", x1=x, x2=x, y1=low, y2=high, class_="reach"))
            parts += [tag("line", x1=x - 3, x2=x + 3, y1=y, y2=y, class_="reach") for y in (low, high)]
        parts.append(tag("circle", cx=x, cy=_y(p.percentile), r=4.5, class_="solo"))
    box = f"0 0 {number(_WIDE)} {number(_FOOT + 22)}"
    return tag("svg", *parts, class_="plot track", viewBox=box, role="img", aria_label=label)


def _y(percentile: float) -> float:
    """Height of a percentile."""
    share = min(1 - 1e-9, max(1e-9, percentile / 100))
    score = min(END, max(-END, _NORMAL.inv_cdf(share)))
    return _FOOT - (_FOOT - _TOP) * (score + END) / (2 * END)


def _bands(right: float) -> list[Markup]:
    parts = []
    for low, high, kind in ((5, 95, "outer"), (25, 75, "inner")):
        top, foot = _y(high), _y(low)
        parts.append(tag("rect", x=_LEFT, y=top, width=right - _LEFT, height=foot - top, class_=f"band {kind}"))
    return [*parts, tag("line", x1=_LEFT, x2=right, y1=_y(50), y2=_y(50), class_="middle")]


def _ticks(right: float) -> list[Markup]:
    parts = [tag("line", x1=_LEFT, x2=right, y1=_FOOT, y2=_FOOT, class_="axis")]
    for p in TICKS:
        parts.append(tag("line", x1=_LEFT - 4, x2=_LEFT, y1=_y(p), y2=_y(p), class_="axis"))
        parts.append(tag("text", of_hundred(p), x=_LEFT - 7, y=_y(p) + 4, text_anchor="end"))
    return parts


def _take_numbers(places: Sequence[float]) -> list[Markup]:
    """Numbers of the takes below, as many as there is room for."""
    every = -(-len(places) // 16) if places else 1
    return [
        tag("text", str(i + 1), x=x, y=_FOOT + 15, text_anchor="middle")
        for i, x in enumerate(places)
        if i % every == 0 or i == len(places) - 1
    ]
