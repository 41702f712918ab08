"""The page of a comparison: what a listener would hear, traits with their intervals, shapes and figures as pictures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stylemeter.features.distributions import IOI_CELLS
from stylemeter.music.melody import Key, Melody
from stylemeter.music.meter import TICKS
from stylemeter.practice.words import format_value, words
from stylemeter.report.comparison.document import (
    head,
    heard_sentence,
    pattern_sentence,
    q_text,
    shape_sentence,
    shift_text,
    signed,
)
from stylemeter.report.draw.html import write_html
from stylemeter.report.draw.svg import Chart, chart, swatch, tag
from stylemeter.report.vocabulary.page import Sheet, render
from stylemeter.report.vocabulary.words import say
from stylemeter.support.printable import show
from stylemeter.takes.comparison import Comparison, PatternDifference, Shape, Trait

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["comparison_html", "write_comparison"]

#: Figures a side that are drawn.
PATTERNS_MOST = 6


def write_comparison(comparisons: Sequence[Comparison], by: str, path: Path) -> None:
    """Write the page.

    Parameters
    ----------
    comparisons : sequence of Comparison
    by : str
        Column they are grouped by; empty for one comparison.
    path : Path

    Raises
    ------
    UsageError
        If the file can't be written.
    """
    write_html(comparison_html(comparisons, by), path)


def comparison_html(comparisons: Sequence[Comparison], by: str) -> str:
    """Return the page as HTML, with everything inside."""
    first = comparisons[0]
    one = say("compare.title", a=show(first.names[0]), b=show(first.names[1]))
    sheet = Sheet()
    return render(
        "comparison.html.j2",
        sheet,
        title=one if len(comparisons) == 1 else say("compare.group_title", column=show(by)),
        comparisons=[_view(c, sheet, i) for i, c in enumerate(comparisons)],
        many=len(comparisons) > 1,
    )


def _view(c: Comparison, sheet: Sheet, place: int) -> dict[str, Any]:
    differ = sum(t.differs for t in c.traits)
    compared = [t for t in c.traits if t.effect is not None]
    a, b = (show(n) for n in c.names)
    return {
        "title": say("compare.title", a=a, b=b),
        "names": (a, b),
        "head": head(c),
        "heard": [heard_sentence(c, t) for t in c.heard],
        "traits_intro": say("compare.traits_intro", count=differ, all=len(compared), a=a, b=b),
        "traits": [_trait(t) for t in compared],
        "shapes": [{"said": shape_sentence(s), "picture": _chart(s, (a, b))} for s in c.shapes],
        "swatches": (swatch("bar"), swatch("style")),
        "patterns": [_patterns(c, side, sheet, f"c{place}s{side}") for side in (0, 1)],
        "patterns_said": say("compare.no_patterns", reason=c.reason)
        if c.reason
        else say("compare.patterns_intro", tried=c.tried)
        if c.patterns
        else say("compare.nothing_patterns"),
    }


def _trait(t: Trait) -> dict[str, Any]:
    assert t.effect is not None
    e = t.effect
    low, high = e.delta_interval
    label = words().features[t.name].label
    said = f"{signed(e.delta)} ({signed(low)}, {signed(high)})"
    return {
        "label": label,
        "differs": t.differs,
        "middle": [format_value(t.name, m) for m in t.middle],
        "delta": said,
        "picture": _effect(e.delta, low, high, f"{label}: {said}"),
        "shift": shift_text(t.name, e.shift),
        "q": q_text(t.q),
    }


def _effect(delta: float, low: float, high: float, label: str) -> Markup:
    """An effect from -1 to 1 as a mark on a line, with its interval."""

    def x(value: float) -> float:
        return 100 + 92 * value

    return tag(
        "svg",
        tag("line", x1=x(-1), x2=x(1), y1=8, y2=8, class_="axis"),
        tag("line", x1=x(0), x2=x(0), y1=2, y2=14, class_="zero"),
        tag("line", x1=x(low), x2=x(high), y1=8, y2=8, class_="reach"),
        tag("circle", cx=x(delta), cy=8.0, r=4.5, class_="solo"),
        class_="plot effect",
        viewBox="0 0 200 16",
        role="img",
        aria_label=label,
    )


def _chart(s: Shape, names: tuple[str, str]) -> Markup:
    own = words().distributions[s.name]
    data = Chart(s.cells[0], s.cells[1], _ticks(s), own.title)
    return chart(data, f"{own.title}: {names[0]}, {names[1]}")


def _ticks(s: Shape) -> dict[int, str]:
    """Labels below the chart, by cell."""
    cells = len(s.cells[0])
    if s.name == "intervals":
        return {i: f"{'+' if i > 12 else '−' if i < 12 else ''}{abs(i - 12)}" for i in range(0, cells, 3)}
    if s.name == "degrees":
        signs = ("1", "♭2", "2", "♭3", "3", "4", "♯4", "5", "♭6", "6", "♭7", "7")
        return dict(enumerate(signs))
    if s.name == "iois":
        return {i: cell for i, cell in enumerate(IOI_CELLS[:-2]) if cell in ("1/8", "1/4", "1/2", "1", "2", "4")}
    return {i: str(1 + i // 24) for i in range(0, cells, 24)}


# -- figures -------------------------------------------------------------------------------------------------------


def _patterns(c: Comparison, side: int, sheet: Sheet, prefix: str) -> dict[str, Any]:
    own = [d for d in c.patterns if (d.log_odds > 0) == (side == 0)][:PATTERNS_MOST]
    return {
        "title": say("compare.side_has", name=show(c.names[side])),
        "figures": list(_figures(own, sheet, prefix)),
    }


def _figures(patterns: Sequence[PatternDifference], sheet: Sheet, prefix: str) -> Iterator[dict[str, Any]]:
    for number, d in enumerate(patterns):
        said = pattern_sentence(d)
        music = None if d.kind == "degrees" else sheet.take(_melody(d), [0], d.length, f"{prefix}p{number}", said)
        yield {"said": said, "music": music}


def _melody(d: PatternDifference) -> Melody:
    """A pattern from C, in eighths where it has no rhythm, its last note as long as the one before."""
    from fractions import Fraction

    from stylemeter.reading.draft.build import Draft, RawNote, build

    pitch, now, notes, length = 72.0, 0, [], TICKS // 2
    for step in d.pattern.split(" "):
        interval, colon, time = step.partition(":")
        length = int(Fraction(time) * TICKS) if colon else length
        notes.append(RawNote(now, length, pitch))
        pitch, now = pitch + int(interval), now + length
    notes.append(RawNote(now, length, pitch))
    low = min(n.pitch for n in notes)
    shift = 12.0 if low < 60 else 0.0
    raised = [RawNote(n.onset, n.duration, n.pitch + shift) for n in notes]
    return build(Draft(raised, key=Key(0, "major", "given")))
